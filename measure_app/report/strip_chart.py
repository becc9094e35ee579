"""A strip with what was read on it, what was found, the fitted law and what was refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from analysis import FloatArray
from measure_app.report.style import INK, PAPER, QUIET, SKY, VERMILION, YELLOW
from measure_app.words import said

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_COLUMNS = 1400
"""Columns of the picture; a longer film is thinned to them."""
Corner = Literal["upper right", "upper left", "lower left", "lower right"]
_LEGEND = (0.5, 0.42)
"""The part of the figure, across and up, that a legend may take where the figure is small."""
MOST_NOTES = 6
"""Refused spans that are told in words under the figure."""


def _none() -> FloatArray:
    return np.empty(0)


@dataclass(frozen=True, slots=True)
class Refusal:
    """A span of time without a reading."""

    first_s: float
    last_s: float
    says: str


@dataclass(frozen=True, slots=True, eq=False)
class StripChart:
    """What one figure of a strip shows; places are px along the strip's line, times are seconds."""

    name: str
    """Stem of the file."""
    title: str
    levels: NDArray[np.uint8] | NDArray[np.uint16]
    """(n, L) luma, one row a frame."""
    time_s: FloatArray
    """(n,) s, time of each row."""
    starts_low: bool
    """Whether the line's start belongs at the bottom of the picture."""
    along_title: str
    hand_s: FloatArray = field(default_factory=_none)
    hand_along: FloatArray = field(default_factory=_none)
    found_s: FloatArray = field(default_factory=_none)
    found_along: FloatArray = field(default_factory=_none)
    """NaN breaks the line."""
    law_s: FloatArray = field(default_factory=_none)
    law_along: FloatArray = field(default_factory=_none)
    law_says: str = ""
    refusals: tuple[Refusal, ...] = ()
    scale_along: FloatArray = field(default_factory=_none)
    """Places of round values of the length measured, for the axis on the right."""
    scale_says: tuple[str, ...] = ()
    scale_title: str = ""
    note: str = ""


def draw_strip_chart(chart: StripChart) -> Figure:
    """Draw a strip chart: time to the right, distance along the line upward."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 4.9), layout="constrained")
    axes = figure.subplots()
    axes.grid(visible=False)
    axes.spines[["top", "right"]].set_visible(True)
    axes.set_title(chart.title)
    axes.set_xlabel(said("time t / s"))
    axes.set_ylabel(chart.along_title)
    _draw_levels(axes, chart)
    _draw_refusals(axes, chart)
    _draw_readings(axes, chart)
    if chart.scale_along.size:
        right = axes.secondary_yaxis("right")
        right.set_yticks(chart.scale_along, chart.scale_says)
        right.set_ylabel(chart.scale_title)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(loc=_free_corner(chart), facecolor=PAPER)
    if foot := _foot(chart):
        figure.supxlabel(foot, x=0.02, ha="left", fontsize=7.8, color=QUIET)
    return figure


def _free_corner(chart: StripChart) -> Corner:
    """Choose the corner in which the fewest readings lie under a legend."""
    n, length = chart.levels.shape
    step = float(np.median(np.diff(chart.time_s))) if n > 1 else 1.0
    start, span = float(chart.time_s[0]), float(chart.time_s[-1] - chart.time_s[0]) + step
    # The law fills gaps between readings, and is a mark itself.
    across = (np.concatenate([chart.found_s, chart.hand_s, chart.law_s]) - start) / span
    up = (np.concatenate([chart.found_along, chart.hand_along, chart.law_along]) + 0.5) / length
    up = up if chart.starts_low else 1.0 - up

    def under(corner: str) -> int:
        beside = across > 1.0 - _LEGEND[0] if "right" in corner else across < _LEGEND[0]
        level = up > 1.0 - _LEGEND[1] if "upper" in corner else up < _LEGEND[1]
        return int(np.sum(beside & level))

    corners: tuple[Corner, ...] = ("upper right", "upper left", "lower left", "lower right")
    return min(corners, key=under)


def _draw_levels(axes: Axes, chart: StripChart) -> None:
    """Show the pixels over true time: each moment shows the frame that was on the screen then."""
    n, length = chart.levels.shape
    step = float(np.median(np.diff(chart.time_s))) if n > 1 else 1.0
    start, stop = float(chart.time_s[0]), float(chart.time_s[-1]) + step
    moments = start + (np.arange(min(MOST_COLUMNS, 2 * n)) + 0.5) * (stop - start) / min(MOST_COLUMNS, 2 * n)
    rows = np.clip(np.searchsorted(chart.time_s, moments, side="right") - 1, 0, n - 1)
    picture = np.asarray(chart.levels)[rows].T
    low, high = np.percentile(picture, (0.5, 99.5))
    axes.imshow(
        picture,
        cmap="gray",
        vmin=float(low),
        vmax=max(float(high), float(low) + 1.0),
        aspect="auto",
        interpolation="nearest",
        origin="lower",
        extent=(start, stop, -0.5, length - 0.5),
    )
    axes.set_xlim(start, stop)
    axes.set_ylim(*((-0.5, length - 0.5) if chart.starts_low else (length - 0.5, -0.5)))


def _draw_refusals(axes: Axes, chart: StripChart) -> None:
    step = float(np.median(np.diff(chart.time_s))) if len(chart.time_s) > 1 else 1.0
    for number, refusal in enumerate(chart.refusals):
        axes.axvspan(
            refusal.first_s,
            refusal.last_s + step,
            facecolor=(1.0, 1.0, 1.0, 0.35),
            edgecolor=INK,
            hatch="////",
            linewidth=0.0,
            label=said("no reading") if number == 0 else None,
        )


def _draw_readings(axes: Axes, chart: StripChart) -> None:
    from matplotlib.patheffects import Normal, Stroke

    def halo(colour: str, width: float) -> list[Stroke | Normal]:
        return [Stroke(linewidth=width, foreground=colour), Normal()]

    if chart.found_s.size:
        axes.plot(
            chart.found_s, chart.found_along, color=YELLOW, linewidth=0.9, label=said("found"),
            path_effects=halo(INK, 2.0), scalex=False, scaley=False,
        )  # fmt: skip
    if chart.law_s.size:
        axes.plot(
            chart.law_s, chart.law_along, color=VERMILION, linewidth=1.3, linestyle=(0, (4, 3)),
            label=chart.law_says or said("fitted law"), scalex=False, scaley=False,
            path_effects=halo(PAPER, 2.2),
        )  # fmt: skip
    if chart.hand_s.size:
        axes.plot(
            chart.hand_s, chart.hand_along, linestyle="", marker="D", markersize=4.5, markerfacecolor=SKY,
            markeredgecolor=INK, markeredgewidth=0.9, label=said("read by hand"), zorder=5, scalex=False,
            scaley=False,
        )  # fmt: skip


def _foot(chart: StripChart) -> str:
    import textwrap

    lines = textwrap.wrap(chart.note, 118)
    for refusal in chart.refusals[:MOST_NOTES]:
        lines += textwrap.wrap(f"{_span(refusal)}: {refusal.says}", 118)
    if len(chart.refusals) > MOST_NOTES:
        lines.append(
            said(
                "… and {more} more spans without a reading, see readings.csv",
                more=len(chart.refusals) - MOST_NOTES,
            )
        )
    return "\n".join(lines)


def _span(refusal: Refusal) -> str:
    if refusal.first_s == refusal.last_s:
        return said("{time:.2f} s", time=refusal.first_s)
    return said("{first:.2f} s to {last:.2f} s", first=refusal.first_s, last=refusal.last_s)
