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

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patheffects import Normal, Stroke

WIDTH_PX = 1500
"""Width of the picture."""
_INCHES = 5.2
_MOST_LABELS = 6


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

    height, width = picture.shape[:2]
    with our_style():
        legend_room = 0.42
        figure = Figure(figsize=(_INCHES, _INCHES * height / width + legend_room), dpi=WIDTH_PX / _INCHES)
        share = 1.0 - legend_room / (_INCHES * height / width + legend_room)
        axes = figure.add_axes((0.0, 1.0 - share, 1.0, share))
        axes.set_axis_off()
        axes.imshow(
            _shrunk(picture)[..., ::-1],
            extent=(-0.5, width - 0.5, height - 0.5, -0.5),
            interpolation="antialiased",
            aspect="auto",
        )
        _draw_marks(axes, run)
        axes.set_xlim(-0.5, width - 0.5)
        axes.set_ylim(height - 0.5, -0.5)
        handles, labels = axes.get_legend_handles_labels()
        if handles:
            figure.legend(
                handles, labels, loc="lower center", ncols=min(3, len(handles)), fontsize=7.2,
                frameon=False, borderpad=0.1, columnspacing=1.2, handlelength=2.2, labelspacing=0.25,
            )  # fmt: skip
        return _jpeg(figure)


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
        _line(axes, places, YELLOW, "-", "rules, as graduated" if number == 0 else None, marker="|")
        step = max(1, -(-len(marks) // _MOST_LABELS))
        for graduation in marks[::step]:
            axes.annotate(
                f"{100 * graduation.value_m:.4g} cm".replace("-", "−"), graduation.px, xytext=(3, 3),
                textcoords="offset points", fontsize=5.6, color=INK, path_effects=_halo(PAPER, 1.8),
                annotation_clip=True,
            )  # fmt: skip
    if run.plumb is not None:
        _line(axes, [run.plumb.top_px, run.plumb.bottom_px], SKY, (0, (1, 1.5)), "plumb")
    if run.gauge_line is not None:
        ends = [run.gauge_line.from_px, run.gauge_line.to_px]
        _line(axes, ends, BLUE, (0, (6, 2)), "gauge line: the surface is read here")
    if run.landing_line is not None:
        ends = [run.landing_line.from_px, run.landing_line.to_px]
        _line(axes, ends, VERMILION, (0, (3, 1.5)), "landing line: the throw is read here")
    for part, marker, colour, says in (
        (run.orifice, "o", GREEN, "hole's centre, head zero"),
        (run.throw_zero, "X", GREEN, "throw zero"),
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
