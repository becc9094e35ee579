"""All files of a result, in one step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from measure_app.errors import Stopped
from measure_app.report.checked import checked
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


Telling = Callable[[int, int, str], None]
"""Told before each part: how many are done, how many there are, and what comes now, in words."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something to be written that takes a while."""

    words: str
    """What it is, as a person reads it."""
    files: Callable[[], Iterator[tuple[str, bytes]]]
    """Makes name and bytes of its files."""


def write_checked(
    results: Results,
    folder: Path,
    *,
    picture: NDArray[np.uint8] | None = None,
    report: bool = True,
    stop_requested: Callable[[], bool] | None = None,
    telling: Telling | None = None,
) -> tuple[Results, tuple[str, ...]]:
    """Hold the intervals of a result against Monte Carlo, then write it as `write_all` does.

    Returns
    -------
    tuple of Results and tuple of str
        The result as it was written, and the names of its files within the folder.

    Raises
    ------
    OutputError, Stopped
        As `write_all`.
    """
    count = len(_parts(results, picture, report=report)) + 2
    if telling is not None:
        telling(0, count, said("checking the intervals by Monte Carlo"))
    results = checked(results, stop_requested=stop_requested)
    _stop_if_wished(stop_requested)
    tell = None if telling is None else (lambda done, _count, words: telling(done + 1, count, words))
    files = write_all(
        results, folder, picture=picture, report=report, stop_requested=stop_requested, telling=tell
    )
    return results, files


def write_all(
    results: Results,
    folder: Path,
    *,
    picture: NDArray[np.uint8] | None = None,
    report: bool = True,
    stop_requested: Callable[[], bool] | None = None,
    telling: Telling | None = None,
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
    telling : callable, optional
        Told what is being made.

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
    parts = _parts(results, picture, report=report)
    for done, part in enumerate(parts):
        if telling is not None:
            telling(done, len(parts) + 1, part.words)
        for name, data in part.files():
            files[name] = data
            _stop_if_wished(stop_requested)
    if telling is not None:
        telling(len(parts), len(parts) + 1, said("putting the files in place"))
    write_folder(folder, files)
    return tuple(files)


def _stop_if_wished(stop_requested: Callable[[], bool] | None) -> None:
    if stop_requested is not None and stop_requested():
        raise Stopped(said("stopped; nothing was written"))


def _parts(results: Results, picture: NDArray[np.uint8] | None, *, report: bool) -> list[Part]:
    parts = [
        _file("readings.csv", lambda: readings_csv(results.rows)),
        _file("findings.json", lambda: findings_json(results)),
        *_figures(results),
    ]
    return [*parts, *_workbooks(results), *_report(results, picture)] if report else parts


def _file(name: str, make: Callable[[], bytes]) -> Part:
    return Part(name, lambda: iter([(name, make())]))


def _workbooks(results: Results) -> list[Part]:
    from measure_app.report.workbook import NAMES, workbook_xlsx

    return [_file(name, partial(workbook_xlsx, results, variant)) for variant, name in NAMES.items()]


def _report(results: Results, picture: NDArray[np.uint8] | None) -> list[Part]:
    from measure_app.report.content import content_of
    from measure_app.report.report_html import report_html
    from measure_app.report.report_pdf import report_pdf

    content = cache(lambda: content_of(results, picture))

    def set_up() -> Iterator[tuple[str, bytes]]:
        picture_of = content().setup
        if picture_of is not None:
            yield f"figures/{picture_of.name}", picture_of.data

    return [
        Part(said("what the report says"), set_up),
        _file("report.pdf", lambda: report_pdf(content())),
        _file("report.html", lambda: report_html(content())),
    ]


def figures(results: Results) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of every figure, as PNG, SVG and PDF."""
    for part in _figures(results):
        yield from part.files()


def _figures(results: Results) -> list[Part]:
    drawings: dict[str, Callable[[], Figure]] = {
        **{chart.name: partial(draw_strip_chart, chart) for chart in results.strips},
        **{chart.name: partial(draw_line_chart, chart) for chart in results.lines},
    }
    return [Part(f"figures/{name}", partial(_drawn, name, draw)) for name, draw in drawings.items()]


def _drawn(name: str, draw: Callable[[], Figure]) -> Iterator[tuple[str, bytes]]:
    with our_style():
        figure = draw()
        yield f"figures/{name}.png", png_of(figure)
        yield f"figures/{name}.svg", svg_of(figure)
        yield f"figures/{name}.pdf", pdf_of(figure)
