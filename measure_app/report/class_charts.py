"""Figures of a class: everybody's readings on the strips, scatter by frame, Mandel's h and k."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis import FloatArray
from measure_app.report.strip_chart import StripChart, draw_strip_chart
from measure_app.report.style import BLUE, GREEN, INK, PAPER, QUIET, SKY, VERMILION, YELLOW
from measure_app.words import said

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LOOKS = tuple((colour, marker) for marker in "osD^vP" for colour in (SKY, YELLOW, VERMILION, GREEN, PAPER))
MOST_LABELS = 40
"""Observers whose numbers are written under the bars one by one."""


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One observer's readings of one part."""

    label: str
    """Number of the observer."""
    time_s: FloatArray
    along: FloatArray
    """px along the line, or off the reference."""
    faulty: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """One observer's h or k."""

    label: str
    value: float
    beyond: bool
    counts: bool


def draw_class_strip(strip: StripChart, tracks: Sequence[Track]) -> Figure:
    """Draw a strip with the readings of all observers; those with a fault are crosses."""
    figure = draw_strip_chart(strip)
    _draw_tracks(figure.axes[0], tracks, np.inf)
    return figure


def _draw_tracks(axes: Axes, tracks: Sequence[Track], limit: float) -> None:
    """Draw everybody's readings, those beyond the limit at its edge; observers of one look in one go."""
    from matplotlib.patheffects import Normal, Stroke

    sound = [track for track in tracks if not track.faulty]
    for i, (colour, marker) in enumerate(_LOOKS):
        time_s, along = _joined(sound[i :: len(_LOOKS)], limit)
        if time_s.size:
            axes.plot(
                time_s, along, linestyle="", marker=marker, markersize=3.5, markerfacecolor=colour,
                markeredgecolor=INK, markeredgewidth=0.5, zorder=5, scalex=False, scaley=False,
            )  # fmt: skip
    time_s, along = _joined([track for track in tracks if track.faulty], limit)
    if time_s.size:
        axes.plot(
            time_s, along, linestyle="", marker="x", markersize=5, color=VERMILION, zorder=6, scalex=False,
            scaley=False, path_effects=[Stroke(linewidth=2.6, foreground=INK), Normal()],
        )  # fmt: skip


def _joined(tracks: Sequence[Track], limit: float) -> tuple[FloatArray, FloatArray]:
    if not tracks:
        return np.empty(0), np.empty(0)
    along = np.concatenate([track.along for track in tracks])
    return np.concatenate([track.time_s for track in tracks]), np.clip(along, -0.97 * limit, 0.97 * limit)


def draw_scatter(panels: Sequence[tuple[str, Sequence[Track], float | None]], time_title: str) -> Figure:
    """Draw readings off the reference over time, a panel for each part.

    Parameters
    ----------
    panels : sequence of (title, tracks, reproducibility standard deviation in px or None)
    time_title : str
        Of the axis below.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 3.1 * max(1, len(panels))), layout="constrained")
    for row, (title, tracks, sd) in enumerate(panels):
        axes = figure.add_subplot(len(panels), 1, row + 1)
        axes.set_title(title)
        axes.set_ylabel(said("off the reference / px"))
        axes.axhline(0.0, color=INK, linewidth=0.9)
        limit = _limit(tracks, sd)
        if sd is not None:
            axes.axhspan(-2 * sd, 2 * sd, facecolor=SKY, alpha=0.25, linewidth=0, label="±2 $s_R$")
        _draw_tracks(axes, tracks, limit)
        axes.set_xlim(*_span(tracks))
        axes.set_ylim(-limit, limit)
        if row == len(panels) - 1:
            axes.set_xlabel(time_title)
        if axes.get_legend_handles_labels()[0]:
            axes.legend(loc="upper right")
    return figure


def _limit(tracks: Sequence[Track], sd: float | None) -> float:
    """Half the height of a panel: what counts fills it, what is far off stands at its edge."""
    sound = [np.abs(track.along[np.isfinite(track.along)]) for track in tracks if not track.faulty]
    largest = max((float(each.max()) for each in sound if each.size), default=1.0)
    return 1.15 * max(largest, 4.0 * sd if sd is not None else 0.0, 1.0)


def _span(tracks: Sequence[Track]) -> tuple[float, float]:
    """From the first time to the last, with a little room."""
    times = np.concatenate([track.time_s for track in tracks])
    first, last = float(times.min()), float(times.max())
    room = 0.03 * (last - first) or 1.0
    return first - room, last + room


def draw_bars(panels: Sequence[tuple[str, Sequence[Bar], float | None, float | None]], symbol: str) -> Figure:
    """Draw Mandel's h or k of every observer with the limits at 5 % and 1 %.

    Parameters
    ----------
    panels : sequence of (title, bars, limit at 5 %, limit at 1 %)
    symbol : str
        "h", whose limits hold on both sides, or "k".
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.6, 2.9 * max(1, len(panels))), layout="constrained")
    for row, (title, bars, five, one) in enumerate(panels):
        axes = figure.add_subplot(len(panels), 1, row + 1)
        axes.set_title(title)
        axes.set_ylabel(said("Mandel's {symbol}", symbol=f"${symbol}$"))
        top = max(
            [abs(bar.value) for bar in bars if bar.counts] + [v for v in (five, one) if v is not None] + [1.0]
        )
        limit = 1.25 * top
        _bars(axes, bars, limit)
        for value, dash, words in ((five, (0, (4, 3)), "5 %"), (one, "solid", "1 %")):
            if value is None:
                continue
            axes.axhline(
                value,
                color=INK,
                linewidth=0.9,
                linestyle=dash,
                label=said("exceeded by chance in {share}", share=words),
            )
            if symbol == "h":
                axes.axhline(-value, color=INK, linewidth=0.9, linestyle=dash)
        axes.axhline(0.0, color=QUIET, linewidth=0.8)
        axes.set_ylim(-limit if symbol == "h" else 0.0, limit)
        if row == len(panels) - 1:
            axes.set_xlabel(said("observer's number (×: held against the others, not among them)"))
        if axes.get_legend_handles_labels()[0]:
            axes.legend(loc="upper right", ncols=2)
    return figure


def _bars(axes: Axes, bars: Sequence[Bar], limit: float) -> None:
    places = np.arange(len(bars))
    values = np.clip([bar.value for bar in bars], -0.97 * limit, 0.97 * limit)
    colours = [VERMILION if bar.beyond else BLUE for bar in bars]
    drawn = axes.bar(places, values, width=0.75, color=colours, edgecolor=INK, linewidth=0.4)
    for patch, bar in zip(drawn, bars, strict=True):
        if bar.beyond:
            patch.set_hatch("///")
    outside = [i for i, bar in enumerate(bars) if not bar.counts]
    axes.plot(places[outside], values[outside], linestyle="", marker="x", color=INK, markersize=5)
    labels = [bar.label if len(bars) <= MOST_LABELS or bar.beyond else "" for bar in bars]
    axes.set_xticks(places, labels, fontsize=7 if len(bars) > 20 else 8.5)
    axes.set_xlim(-0.8, len(bars) - 0.2)
    axes.grid(visible=False, axis="x")
