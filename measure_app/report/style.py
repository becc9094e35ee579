"""How our figures look, and how they are turned into files.

Colours are picks from the palette of Okabe and Ito (2008), which people with any of the common kinds of
colour vision tell apart; beside its colour each thing has a marker, a dash pattern or a hatch of its own.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from measure_app.words import decimal_mark, numeral

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK = "#20242b"
QUIET = "#6d7480"
PAPER = "#ffffff"
GRID = "#dfe3e8"
BLUE = "#0072B2"
VERMILION = "#D55E00"
GREEN = "#009E73"
YELLOW = "#F0E442"
SKY = "#56B4E9"

DPI = 150
"""Resolution of the PNG files, dots per inch."""

_SETTINGS: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "mathtext.fontset": "dejavusans",
    "text.color": INK,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.titlesize": 11.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 10.0,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": GRID,
    "grid.linewidth": 0.7,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "legend.frameon": True,
    "legend.framealpha": 0.92,
    "legend.edgecolor": GRID,
    "legend.fontsize": 8.5,
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "hatch.linewidth": 0.7,
    "figure.dpi": DPI,
    # The same figure gives the same bytes: element names do not depend on chance.
    "svg.hashsalt": "clepsydra",
}


@contextmanager
def our_style() -> Iterator[None]:
    """Draw in our style whatever the user's own matplotlib settings are."""
    import logging

    # A home folder that cannot be written to is no concern of a person who measures.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        yield


def speak_numbers(figure: Figure) -> None:
    """Write the numbers at the axes of a figure with the decimal mark of the reader's language."""
    if decimal_mark() == ".":
        return
    from matplotlib.ticker import ScalarFormatter

    class Spoken(ScalarFormatter):
        """Numbers as they are by default, but for the mark."""

        def __call__(self, x: float, pos: int | None = None) -> str:
            return numeral(super().__call__(x, pos))

        def get_offset(self) -> str:
            return numeral(super().get_offset())

    for axes in figure.axes:
        for each in (axes, *axes.child_axes):
            for axis in (each.xaxis, each.yaxis):
                # Ticks whose labels were given, as places of a class or round lengths, have another kind.
                if type(axis.get_major_formatter()) is ScalarFormatter:
                    axis.set_major_formatter(Spoken())


def png_of(figure: Figure) -> bytes:
    """Return a figure as PNG, the same bytes for the same figure, and settle where its parts lie."""
    speak_numbers(figure)
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    out = io.BytesIO()
    # Figure.savefig would draw everything once more, only to lay it out.
    canvas: Any = FigureCanvasAgg(figure)  # its printing methods carry no types
    canvas.print_png(out, metadata={"Software": None})
    return out.getvalue()


def pdf_of(figure: Figure) -> bytes:
    """Return a figure as PDF, the same bytes for the same figure; it must have been laid out by `png_of`."""
    from matplotlib.backends.backend_pdf import FigureCanvasPdf

    figure.set_layout_engine("none")
    FigureCanvasPdf(figure)
    out = io.BytesIO()
    figure.savefig(out, format="pdf", metadata={"CreationDate": None, "Creator": None, "Producer": None})
    return out.getvalue()


def svg_of(figure: Figure) -> bytes:
    """Return a figure as SVG, the same bytes for the same figure; `png_of` must have laid it out."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    figure.set_layout_engine("none")
    out = io.BytesIO()
    canvas: Any = FigureCanvasSVG(figure)  # as above
    canvas.print_svg(out, metadata={"Date": None, "Creator": None})
    return out.getvalue()
