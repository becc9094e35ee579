"""The figures once more, cut down for a page: no title and no small print, which the page sets itself."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from measure_app.report.line_chart import LineChart, draw_line_chart
from measure_app.report.strip_chart import StripChart, draw_strip_chart
from measure_app.report.style import our_style, png_of, svg_of
from measure_app.words import said

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_DRAWN_POINTS = 1500
"""Points up to which a figure is drawn as lines (SVG); beyond, as a picture (PNG), which then is smaller."""
_SMALL: dict[Any, Any] = {
    "font.size": 7.6,
    "axes.labelsize": 7.6,
    "xtick.labelsize": 7.2,
    "ytick.labelsize": 7.2,
    "legend.fontsize": 6.8,
    "savefig.dpi": 300,
}


@contextmanager
def small_style() -> Iterator[None]:
    """Draw for a place half a page wide."""
    with our_style():
        import matplotlib as mpl

        mpl.rcParams.update(_SMALL)
        yield


def compact_strip(chart: StripChart) -> tuple[str, bytes]:
    """Return name and bytes of a strip for half a page's width; the caller sets `small_style`."""
    figure = draw_strip_chart(replace(chart, note=""))
    return _cut(figure, chart.name, (3.55, 1.92), as_picture=False)


def compact_lines(chart: LineChart) -> tuple[str, bytes]:
    """Return name and bytes of a line chart for half a page's width; the caller sets `small_style`."""
    words = (said("free intercept"), said("through the origin"))
    lines = tuple(replace(line, says=says) for line, says in zip(chart.lines, words, strict=False))
    if len(lines) == 1 and chart.lines[0].intercept == 0.0:
        lines = (replace(lines[0], says=words[1]),)
    small = replace(
        chart,
        lines=lines,
        note="",
        x_title=_symbol(chart.x_title),
        y_title=_symbol(chart.y_title),
        # The findings tell what is shared; its mark has no room here.
        x_shared_u=0.0,
        y_shared_u=0.0,
    )
    figure = draw_line_chart(small)
    as_picture = chart.x.size > MOST_DRAWN_POINTS
    return _cut(figure, chart.name, (3.55, 1.9), as_picture=as_picture, residual_title=chart.residual_title)


def _symbol(title: str) -> str:
    """Take symbol and unit out of an axis title, which come after two spaces."""
    return title.rpartition("  ")[2]


def _cut(
    figure: Figure, name: str, size: tuple[float, float], *, as_picture: bool, residual_title: str = ""
) -> tuple[str, bytes]:
    figure.set_size_inches(*size)
    figure.supxlabel("")
    for axes in figure.axes:
        axes.set_title("", loc="left")
        if axes.get_ylabel() == residual_title:
            # In one line it is longer than its panel is high.
            axes.set_ylabel(residual_title.replace(" / ", "\n/ ", 1), fontsize=6.8)
    png = png_of(figure)  # settles the layout as well, which SVG needs
    return (f"{name}.png", png) if as_picture else (f"{name}.svg", svg_of(figure))
