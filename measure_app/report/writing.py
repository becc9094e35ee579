"""All files of a result, in one step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from measure_app.errors import Stopped
from measure_app.report.findings_json import findings_json
from measure_app.report.line_chart import draw_line_chart
from measure_app.report.readings_csv import readings_csv
from measure_app.report.results import Results
from measure_app.report.strip_chart import draw_strip_chart
from measure_app.report.style import our_style, pdf_of, png_of, svg_of
from measure_app.report.whole import write_folder
from measure_app.words import said

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_all(
    results: Results,
    folder: Path,
    *,
    picture: NDArray[np.uint8] | None = None,
    report: bool = True,
    stop_requested: Callable[[], bool] | None = None,
) -> tuple[str, ...]:
    """Write a result into a folder: readings, findings, figures, workbooks and report, all of them or none.

    Parameters
    ----------
    results : Results
        What is written.
    folder : Path
        New, empty, or an earlier result, which is then replaced.
    picture : (h, w, 3) uint8, optional
        A frame of the film as displayed (blue, green, red), on which the report shows the set-up.
    report : bool
        False: readings.csv, findings.json and figures only, which is quicker.
    stop_requested : callable, optional
        Asked between files; True stops before anything is put in place.

    Returns
    -------
    tuple of str
        Names of the files within the folder.

    Raises
    ------
    OutputError
        The folder holds other things, or cannot be written; what was there before is unchanged.
    Stopped
        It was asked to stop; what was there before is unchanged.
    """
    files: dict[str, bytes] = {}
    for name, data in _files(results, picture, report=report):
        files[name] = data
        if stop_requested is not None and stop_requested():
            raise Stopped(said("stopped; nothing was written"))
    write_folder(folder, files)
    return tuple(files)


def _files(
    results: Results, picture: NDArray[np.uint8] | None, *, report: bool
) -> Iterator[tuple[str, bytes]]:
    yield "readings.csv", readings_csv(results.rows)
    yield "findings.json", findings_json(results)
    yield from figures(results)
    if report:
        yield from _workbooks(results)
        yield from _report(results, picture)


def _workbooks(results: Results) -> Iterator[tuple[str, bytes]]:
    from measure_app.report.workbook import NAMES, workbook_xlsx

    for variant, name in NAMES.items():
        yield name, workbook_xlsx(results, variant)


def _report(results: Results, picture: NDArray[np.uint8] | None) -> Iterator[tuple[str, bytes]]:
    from measure_app.report.content import content_of
    from measure_app.report.report_html import report_html
    from measure_app.report.report_pdf import report_pdf

    content = content_of(results, picture)
    if content.setup is not None:
        yield f"figures/{content.setup.name}", content.setup.data
    yield "report.pdf", report_pdf(content)
    yield "report.html", report_html(content)


def figures(results: Results) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of every figure, as PNG, SVG and PDF."""
    drawings: dict[str, Callable[[], Figure]] = {
        **{chart.name: partial(draw_strip_chart, chart) for chart in results.strips},
        **{chart.name: partial(draw_line_chart, chart) for chart in results.lines},
    }
    if not drawings:
        return
    with our_style():
        for name, draw in drawings.items():
            figure = draw()
            yield f"figures/{name}.png", png_of(figure)
            yield f"figures/{name}.svg", svg_of(figure)
            yield f"figures/{name}.pdf", pdf_of(figure)
