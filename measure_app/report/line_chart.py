"""A straight line with its points, its equation and what is left over."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import FloatArray
from measure_app.report.style import BLUE, GREEN, INK, QUIET, VERMILION
from measure_app.words import marked, said

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_BARS = 40
"""Points that get error bars; more would hide the points."""

_ENDINGS = {1: marked("{n}st"), 2: marked("{n}nd"), 3: marked("{n}rd")}
_LINE_LOOKS: tuple[dict[str, Any], ...] = (
    {"color": VERMILION, "linestyle": "-", "linewidth": 1.6},
    {"color": GREEN, "linestyle": (0, (5, 2.5)), "linewidth": 1.6},
)


@dataclass(frozen=True, slots=True)
class ChartLine:
    """A straight line and what the legend says of it."""

    slope: float
    intercept: float
    says: str
    """Equation with uncertainties, and how it was fitted."""


@dataclass(frozen=True, slots=True, eq=False)
class LineChart:
    """What one figure of points and lines shows."""

    name: str
    """Stem of the file."""
    title: str
    x_title: str
    y_title: str
    residual_title: str
    x: FloatArray
    """(n,) points that the lines are fitted to."""
    y: FloatArray
    x_u: FloatArray
    """(n,) own standard uncertainties."""
    y_u: FloatArray
    x_shared_u: float
    """Standard uncertainty that all x have in common, at the middle of the range."""
    y_shared_u: float
    lines: tuple[ChartLine, ...]
    """At most two; residuals are of the first."""
    left_out_x: FloatArray = field(default_factory=lambda: np.empty(0))
    left_out_y: FloatArray = field(default_factory=lambda: np.empty(0))
    errors_say: str = ""
    """What the errors in the lines' equations are, and the slope with those of all sources."""
    note: str = ""
    """One or two sentences under the figure."""


def draw_line_chart(chart: LineChart) -> Figure:
    """Draw a line chart: points, lines and equations above, residuals of the first line below."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.2, 6.2), layout="constrained")
    if chart.lines:
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3.1, 1))
        _draw_residuals(below, chart)
        below.set_xlabel(chart.x_title)
    else:
        above = figure.subplots()
        above.set_xlabel(chart.x_title)
    above.set_title(chart.title)
    above.set_ylabel(chart.y_title)
    _draw_points(above, chart)
    if chart.x.size:
        _frame_points(above, chart)
    for line, look in zip(chart.lines, _LINE_LOOKS, strict=False):
        ends = np.array(above.get_xlim())
        above.plot(
            ends, line.intercept + line.slope * ends, **look, label=line.says, scalex=False, scaley=False
        )
    if above.get_legend_handles_labels()[0]:
        above.legend(loc="upper left" if _rises(chart) else "upper right")
    _draw_shared(above, chart)
    foot = " ".join(words for words in (_about_bars(chart), chart.note) if words)
    figure.supxlabel(_wrapped(foot, 122), x=0.02, ha="left", fontsize=7.8, color=QUIET)
    return figure


def _draw_points(axes: Axes, chart: LineChart) -> None:
    if chart.left_out_x.size:
        axes.plot(
            chart.left_out_x, chart.left_out_y, linestyle="", marker="x", markersize=3.5, color=QUIET,
            markeredgewidth=0.8, label=said("left out"), zorder=1.5,
        )  # fmt: skip
    if not chart.x.size:
        return
    few = _with_bars(chart)
    axes.errorbar(
        chart.x[few], chart.y[few], xerr=chart.x_u[few], yerr=chart.y_u[few], linestyle="", ecolor=BLUE,
        elinewidth=0.8, capsize=0, alpha=0.7, zorder=2,
    )  # fmt: skip
    crowd = chart.x.size > 120
    axes.plot(
        chart.x, chart.y, linestyle="", marker="o", markersize=2.6 if crowd else 4.2, color=BLUE,
        alpha=0.55 if crowd else 0.9, markeredgewidth=0, zorder=2.5,
        label=said("readings ({count})", count=int(chart.x.size)),
    )  # fmt: skip


def _with_bars(chart: LineChart) -> slice:
    return slice(None, None, max(1, -(-chart.x.size // MOST_BARS)))


def _frame_points(axes: Axes, chart: LineChart) -> None:
    """Fit the axes to the readings kept; a stray one left out must not squeeze them."""
    for setter, values, u in ((axes.set_xlim, chart.x, chart.x_u), (axes.set_ylim, chart.y, chart.y_u)):
        low, high = float(np.min(values - u)), float(np.max(values + u))
        margin = 0.05 * (high - low) or 0.05 * abs(high) or 1.0
        setter(low - margin, high + margin)


def _rises(chart: LineChart) -> bool:
    if chart.lines:
        return chart.lines[0].slope >= 0
    return chart.x.size < 2 or bool(np.polyfit(chart.x, chart.y, 1)[0] >= 0)


def _draw_shared(axes: Axes, chart: LineChart) -> None:
    """Draw the error that all points share as one cross in the free corner, to the scale of the axes."""
    if not (chart.x_shared_u > 0 or chart.y_shared_u > 0):
        return
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    at_x = left + (0.93 if _rises(chart) else 0.07) * (right - left)
    at_y = low + 0.14 * (high - low)
    axes.errorbar(
        at_x, at_y, xerr=chart.x_shared_u or None, yerr=chart.y_shared_u or None, ecolor=INK, elinewidth=1.5,
        capsize=0, linestyle="", zorder=4,
    )  # fmt: skip
    axes.annotate(
        said("shared by all"), (at_x, at_y), xytext=(0, -9), textcoords="offset points", va="top",
        ha="right" if _rises(chart) else "left", fontsize=7.8, color=INK,
    )  # fmt: skip
    axes.set(xlim=(left, right), ylim=(low, high))


def _draw_residuals(axes: Axes, chart: LineChart) -> None:
    first = chart.lines[0]
    residuals = chart.y - (first.intercept + first.slope * chart.x)
    u = np.hypot(chart.y_u, first.slope * chart.x_u)
    few = _with_bars(chart)
    axes.axhline(0.0, color=VERMILION, linewidth=1.2)
    axes.errorbar(
        chart.x[few], residuals[few], yerr=u[few], linestyle="", ecolor=BLUE, elinewidth=0.8, alpha=0.7
    )
    axes.plot(
        chart.x, residuals, linestyle="", marker="o", markersize=2.2 if chart.x.size > 120 else 3.4,
        color=BLUE, alpha=0.6, markeredgewidth=0,
    )  # fmt: skip
    axes.set_ylabel(chart.residual_title)
    reach = 1.1 * float(np.max(np.abs(residuals) + u, initial=0.0)) or 1.0
    axes.set_ylim(-reach, reach)


def _about_bars(chart: LineChart) -> str:
    if not chart.x.size:
        return said("No reading has what this figure needs.")
    step = _with_bars(chart).step
    bars = said("Bars: standard uncertainty of a single reading.")
    if step > 1:
        bars = said(
            "Bars: standard uncertainty of a single reading, drawn at every {nth} point.", nth=_ordinal(step)
        )
    if chart.x_shared_u > 0 or chart.y_shared_u > 0:
        bars += " " + said("The mark “shared by all” shows the error that moves all points together.")
    return bars


def _ordinal(n: int) -> str:
    if not 10 <= n % 100 <= 20 and n % 10 in (1, 2, 3):
        return said(_ENDINGS[n % 10], n=n)
    return said("{n}th", n=n)


def _wrapped(text: str, width: int) -> str:
    import textwrap

    return "\n".join(textwrap.wrap(text, width))
