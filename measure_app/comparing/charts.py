"""Figures of a comparison: every run beside the mean, and how coefficients go with the hole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from analysis import finding_name, with_uncertainty
from measure_app.comparing.comparison import Comparison
from measure_app.comparing.holes import Holes
from measure_app.comparing.pools import Pool, scaled
from measure_app.report.style import (
    BLUE,
    GREEN,
    INK,
    QUIET,
    SKY,
    VERMILION,
    our_style,
    pdf_of,
    png_of,
    svg_of,
)
from measure_app.words import said

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FIGURE_NAMES = ("comparison", "holes")
MOST_PANELS = 6
MOST_LABELS = 30
_FIRST = (
    "speed_coefficient",
    "discharge_coefficient",
    "gravity_combined",
    "gravity_from_clock",
    "head_zero_offset_m",
    "drain_rate_root_m_per_s",
)
"""What is drawn if there is not room for everything."""


def figures_of(comparison: Comparison) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of every figure, as PNG, SVG and PDF."""
    drawings: dict[str, Callable[[], Figure]] = {}
    if chosen := drawn_pools(comparison.pools):
        drawings["comparison"] = partial(draw_pools, chosen)
    if comparison.holes is not None:
        drawings["holes"] = partial(draw_holes, comparison.holes)
    if not drawings:
        return
    with our_style():
        for name, draw in drawings.items():
            figure = draw()
            yield (
                f"figures/{name}.png",
                png_of(figure),
            )
            yield (
                f"figures/{name}.svg",
                svg_of(figure),
            )
            yield (
                f"figures/{name}.pdf",
                pdf_of(figure),
            )


def drawn_pools(pools: Sequence[Pool]) -> tuple[Pool, ...]:
    """Choose the pools that are drawn, at most `MOST_PANELS`."""
    order = {name: i for i, name in enumerate(_FIRST)}
    ranked = sorted(pools, key=lambda pool: order.get(pool.name, len(order)))
    return tuple(ranked[:MOST_PANELS])


def draw_pools(pools: Sequence[Pool]) -> Figure:
    """Draw a panel for each pool: runs with own and whole uncertainties, the mean and its own."""
    from matplotlib.figure import Figure

    most = max(len(pool.runs) for pool in pools)
    columns = min(2, len(pools))
    rows = -(-len(pools) // columns)
    height = rows * (1.5 + 0.22 * min(most, MOST_LABELS))
    figure = Figure(figsize=(4.3 * columns + 0.6, height + 0.5), layout="constrained")
    for i, pool in enumerate(pools):
        _draw_pool(figure.add_subplot(rows, columns, i + 1), pool)
    words = said(
        "Thick bars: standard uncertainty of each run's own errors. Thin bars: with what the "
        "runs share. Band: mean and its standard uncertainty. Open square: the odd one out."
    )
    figure.supxlabel(_wrapped(words, 66 * columns), x=0.02, ha="left", fontsize=7.8, color=QUIET)
    return figure


def _draw_pool(axes: Axes, pool: Pool) -> None:
    factor, unit = scaled(pool)
    found = pool.found
    at = np.arange(len(found.values))[::-1]
    x = factor * np.array([each.value for each in found.values])
    own = factor * np.array([each.independent_u for each in found.values])
    whole = factor * np.array([each.u for each in found.values])
    mean, u = factor * found.mean.value, factor * found.mean.u
    axes.axvspan(mean - u, mean + u, facecolor=SKY, alpha=0.35, linewidth=0)
    axes.axvline(mean, color=INK, linewidth=1.0, linestyle=(0, (5, 2.5)))
    axes.errorbar(x, at, xerr=whole, linestyle="", ecolor=BLUE, elinewidth=0.8, capsize=2.5, zorder=2)
    axes.errorbar(x, at, xerr=own, linestyle="", ecolor=BLUE, elinewidth=2.6, zorder=2)
    odd = np.array([i == found.odd for i in range(len(x))])
    axes.plot(x[~odd], at[~odd], "o", color=BLUE, markersize=5, zorder=3)
    axes.plot(
        x[odd], at[odd], "s", markerfacecolor="white", markeredgecolor=VERMILION, markeredgewidth=1.6,
        markersize=7, zorder=3,
    )  # fmt: skip
    few = len(x) <= MOST_LABELS
    labels = [_clipped(each.label) if few else str(i + 1) for i, each in enumerate(found.values)]
    axes.set_yticks(at if few else at[:: max(1, len(x) // MOST_LABELS)])
    axes.set_yticklabels(labels if few else labels[:: max(1, len(x) // MOST_LABELS)], parse_math=False)
    axes.set_ylim(-0.7, len(x) - 0.3)
    group = "" if pool.group == "all runs" else f", {pool.group}"
    axes.set_title(f"{finding_name(pool.name)}{group}", fontsize=10)
    tail = "" if unit in ("", "1") else f" / {unit}"
    shown = with_uncertainty(mean, u, unit)
    agree = (
        said("agree")
        if found.consistent
        else said("scatter {birge:.1f} × what was stated", birge=found.birge)
    )
    axes.set_xlabel(
        said(
            "{symbol}{tail}\nmean {shown}; runs {agree}",
            symbol=pool.symbol,
            tail=tail,
            shown=shown,
            agree=agree,
        ),
        fontsize=8.5,
    )
    axes.grid(visible=False, axis="y")


def draw_holes(holes: Holes) -> Figure:
    """Draw Cv and Cd against the hole's diameter, and the offset of the head's zero against 1/d."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.6, 6.4), layout="constrained")
    panels = figure.subplot_mosaic([["Cv", "Cd"], ["offset", "offset"]])
    d = 1e3 * holes.diameters_m
    for name, panel, symbol, marker in (
        ("speed_coefficient", "Cv", "$C_v$", "o"),
        ("discharge_coefficient", "Cd", "$C_d$", "s"),
    ):
        values, u = holes.column(name)
        there = np.isfinite(values)
        axes = panels[panel]
        axes.errorbar(
            d[there], values[there], yerr=u[there], linestyle="", marker=marker, color=BLUE, markersize=5.5,
            elinewidth=1.0, capsize=2.5,
        )  # fmt: skip
        axes.set_title(
            said("{capitalize} and the hole", capitalize=finding_name(name).capitalize()),
            fontsize=10,
        )
        axes.set_xlabel(said("diameter of the hole $d$ / mm"))
        axes.set_ylabel(symbol)
        axes.ticklabel_format(useOffset=False)
        axes.margins(x=0.1, y=0.15)
    below = panels["offset"]
    _draw_offsets(below, holes)
    words = said("Bars: standard uncertainty. ") + " ".join(
        f"{each[:1].upper()}{each[1:]}." for each in holes.says
    )
    figure.supxlabel(_wrapped(words, 128), x=0.02, ha="left", fontsize=7.8, color=QUIET)
    return figure


def _draw_offsets(axes: Axes, holes: Holes) -> None:
    values, u = holes.column("head_zero_offset_m")
    there = np.isfinite(values)
    x = 1e-3 / holes.diameters_m
    ends = np.array([0.0, 1.1 * float(np.max(x))])
    low, high = (1e6 * each for each in holes.predicted_m2)
    axes.fill_between(
        ends, low * ends, high * ends, facecolor=GREEN, alpha=0.25, linewidth=0, hatch="//",
        edgecolor=GREEN, label=said("$-h_c$, surface tension alone"),
    )  # fmt: skip
    if there.any():
        axes.errorbar(
            x[there], 1e3 * values[there], yerr=1e3 * u[there], linestyle="", marker="o", color=BLUE,
            markersize=5.5, elinewidth=1.0, capsize=2.5, label="runs",
        )  # fmt: skip
    if holes.fitted_m2 is not None and holes.fitted_m is not None:
        axes.plot(
            ends, 1e3 * holes.fitted_m[0] + 1e6 * holes.fitted_m2[0] * ends, color=VERMILION,
            linestyle=(0, (5, 2.5)), linewidth=1.4, label=said("line through the runs"),
        )  # fmt: skip
    axes.axhline(0.0, color=INK, linewidth=0.8)
    axes.set_xlim(*ends)
    axes.set_xlabel(said("1/d / mm$^{-1}$"))
    axes.set_ylabel(said("offset $δ_h$ / mm"))
    axes.set_title(said("Head that is lost, and the size of the hole"))
    axes.legend(loc="best")


def _clipped(label: str, most: int = 24) -> str:
    plain = "".join(c if c.isprintable() else "?" for c in label)
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"


def _wrapped(words: str, width: int) -> str:
    import textwrap

    return "\n".join(textwrap.wrap(words, width))
