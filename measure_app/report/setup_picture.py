"""A frame of the film with rules, plumb, hole, datum and lines drawn on it."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration import Pixel
from measure_app.report.style import BLUE, GREEN, INK, PAPER, SKY, VERMILION, YELLOW, our_style
from measure_app.run import Run
from measure_app.words import numeral, said

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patheffects import Normal, Stroke

    from measure_app.clip import FrameSource
    from measure_app.outcome import Outcome

WIDTH_PX = 1500
"""Width of the picture."""
_INCHES = 5.2
_LEGEND_SIZE = 7.2
_MOST_LABELS = 6
_MARGIN = 0.08
"""Room around the marks, of their larger span."""
_LEAST_PX = 60
"""A part smaller than this is no set-up; the whole frame is shown then."""


def setup_frame(outcome: Outcome, film: FrameSource) -> NDArray[np.uint8] | None:
    """Take the frame to show the set-up on: that of the first reading that was kept.

    Parameters
    ----------
    outcome : Outcome
        What came of the run.
    film : FrameSource
        Its film, open.

    Returns
    -------
    (h, w, 3) uint8, or None
        Blue, green, red, as displayed; None where that frame cannot be read.
    """
    from measure_app.errors import ClipError

    first = next((row.frame for row in outcome.rows if row.kept), outcome.run.clip.start_frame)
    try:
        return film.frame(first).bgr()
    except ClipError:
        return None


def setup_picture(run: Run, picture: NDArray[np.uint8]) -> bytes:
    """Draw the set-up on a frame.

    Parameters
    ----------
    run : Run
        Its marks.
    picture : (h, w, 3) uint8
        The frame as displayed: blue, green, red.

    Returns
    -------
    bytes
        JPEG, the same bytes for the same run and frame.
    """
    from matplotlib.figure import Figure

    left, right, top, bottom = _part_shown(run, picture.shape[1], picture.shape[0])
    aspect = (bottom - top) / (right - left)
    with our_style():
        legend_room = 0.42
        figure = Figure(figsize=(_INCHES, _INCHES * aspect + legend_room), dpi=WIDTH_PX / _INCHES)
        share = 1.0 - legend_room / (_INCHES * aspect + legend_room)
        axes = figure.add_axes((0.0, 1.0 - share, 1.0, share))
        axes.set_axis_off()
        axes.imshow(
            _shrunk(picture[top:bottom, left:right])[..., ::-1],
            extent=(left - 0.5, right - 0.5, bottom - 0.5, top - 0.5),
            interpolation="antialiased",
            aspect="auto",
        )
        _draw_marks(axes, run)
        axes.set_xlim(left - 0.5, right - 0.5)
        axes.set_ylim(bottom - 0.5, top - 0.5)
        handles, labels = axes.get_legend_handles_labels()
        if handles:
            legend = figure.legend(
                handles, labels, loc="lower center", ncols=min(3, len(handles)), fontsize=_LEGEND_SIZE,
                frameon=False, borderpad=0.1, columnspacing=1.2, handlelength=2.2, labelspacing=0.25,
            )  # fmt: skip
            # Words of another language may be longer than ours.
            fits = 0.96 * figure.bbox.width / legend.get_window_extent().width
            for words in legend.get_texts():
                words.set_fontsize(_LEGEND_SIZE * min(1.0, fits))
        return _jpeg(figure)


def _part_shown(run: Run, width: int, height: int) -> tuple[int, int, int, int]:
    """Left, right, top, bottom of the part of the frame that holds the marks, px; the ends are one past."""
    places = [graduation.px for rule in run.rules for graduation in rule.graduations]
    for line in (run.gauge_line, run.landing_line):
        places += [] if line is None else [line.from_px, line.to_px]
    places += [mark.px for mark in (run.orifice, run.throw_zero) if mark is not None]
    if len(places) < 2:
        return 0, width, 0, height
    beside = places if run.plumb is None else [*places, run.plumb.top_px, run.plumb.bottom_px]
    across = np.array([place[0] for place in beside])
    # A plumb line may hang over the whole frame; as much of it as stands beside the rest will do.
    down = np.array([place[1] for place in places])
    margin = _MARGIN * max(float(np.ptp(across)), float(np.ptp(down)))
    left, right = max(0, int(across.min() - margin)), min(width, int(across.max() + margin))
    top, bottom = max(0, int(down.min() - margin)), min(height, int(down.max() + margin))
    if right - left < _LEAST_PX or bottom - top < _LEAST_PX:
        return 0, width, 0, height
    return left, right, top, bottom


def _shrunk(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    import cv2

    height, width = picture.shape[:2]
    if width <= WIDTH_PX:
        return picture
    size = (WIDTH_PX, max(1, round(height * WIDTH_PX / width)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _jpeg(figure: Figure) -> bytes:
    import cv2

    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=figure.dpi)
    drawn = cv2.imdecode(np.frombuffer(out.getvalue(), np.uint8), cv2.IMREAD_COLOR)
    if drawn is None:
        raise ValueError("the drawn set-up is no picture")
    _, encoded = cv2.imencode(".jpg", drawn, [cv2.IMWRITE_JPEG_QUALITY, 90])
    return encoded.tobytes()


def _draw_marks(axes: Axes, run: Run) -> None:
    for number, rule in enumerate(run.rules):
        marks = rule.graduations
        places = [graduation.px for graduation in marks]
        _line(axes, places, YELLOW, "-", said("rules, as graduated") if number == 0 else None, marker="|")
        step = max(1, -(-len(marks) // _MOST_LABELS))
        for graduation in marks[::step]:
            axes.annotate(
                numeral(f"{100 * graduation.value_m:.4g} cm".replace("-", "−")), graduation.px, xytext=(3, 3),
                textcoords="offset points", fontsize=5.6, color=INK, path_effects=_halo(PAPER, 1.8),
                annotation_clip=True,
            )  # fmt: skip
    if run.plumb is not None:
        _line(axes, [run.plumb.top_px, run.plumb.bottom_px], SKY, (0, (1, 1.5)), said("plumb"))
    if run.gauge_line is not None:
        ends = [run.gauge_line.from_px, run.gauge_line.to_px]
        _line(axes, ends, BLUE, (0, (6, 2)), said("gauge line: the surface is read here"))
    if run.landing_line is not None:
        ends = [run.landing_line.from_px, run.landing_line.to_px]
        _line(axes, ends, VERMILION, (0, (3, 1.5)), said("landing line: the throw is read here"))
    for part, marker, colour, says in (
        (run.orifice, "o", GREEN, said("hole's centre, head zero")),
        (run.throw_zero, "X", GREEN, said("throw zero")),
    ):
        if part is not None:
            axes.plot(
                [part.px[0]], [part.px[1]], linestyle="", marker=marker, markersize=6.5, color=colour,
                markerfacecolor="none" if marker == "o" else colour,
                markeredgecolor=colour if marker == "o" else INK,
                markeredgewidth=1.4 if marker == "o" else 0.6, label=says, path_effects=_halo(PAPER, 2.6),
            )  # fmt: skip


def _line(
    axes: Axes,
    places: Sequence[Pixel],
    colour: str,
    dashes: str | tuple[int, tuple[float, ...]],
    says: str | None,
    marker: str = "",
) -> None:
    x, y = zip(*places, strict=True)
    axes.plot(
        x, y, color=colour, linestyle=dashes, linewidth=1.5, label=says, marker=marker, markersize=6,
        path_effects=_halo(INK, 2.6),
    )  # fmt: skip


def _halo(colour: str, width: float) -> list[Stroke | Normal]:
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width, foreground=colour), Normal()]
