"""All files of a comparison, in one step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from measure_app.comparing.charts import FIGURE_NAMES, figures_of
from measure_app.comparing.comparison import Comparison
from measure_app.comparing.tables import FORMAT, comparison_csv, comparison_json
from measure_app.comparing.workbook import comparison_xlsx
from measure_app.errors import Stopped
from measure_app.report import check_folder
from measure_app.report.whole import write_folder
from measure_app.words import said

TOLD_IN = "comparison.json"
KNOWN_FILES = frozenset(
    {
        TOLD_IN,
        "comparison.csv",
        "comparison.xlsx",
        *(f"figures/{name}.{kind}" for name in FIGURE_NAMES for kind in ("png", "svg", "pdf")),
    }
)
"""Every file that a comparison may hold."""


def check_comparison_folder(folder: Path) -> None:
    """Make sure that a comparison may be written to a folder, before any work is done.

    Raises
    ------
    OutputError
        The folder holds other things, or cannot be written to.
    """
    check_folder(folder, KNOWN_FILES, FORMAT, TOLD_IN)


def write_comparison(
    comparison: Comparison, folder: Path, *, stop_requested: Callable[[], bool] | None = None
) -> tuple[str, ...]:
    """Write a comparison into a folder, all files or none.

    Returns
    -------
    tuple of str
        Names of the files.

    Raises
    ------
    OutputError
        The folder holds other things, or cannot be written; what was there before is unchanged.
    Stopped
        It was asked to stop; what was there before is unchanged.
    """
    files: dict[str, bytes] = {}
    for name, data in _files(comparison):
        files[name] = data
        if stop_requested is not None and stop_requested():
            raise Stopped(said("stopped; nothing was written"))
    write_folder(folder, files, KNOWN_FILES, FORMAT, TOLD_IN)
    return tuple(files)


def _files(comparison: Comparison) -> Iterator[tuple[str, bytes]]:
    yield TOLD_IN, comparison_json(comparison)
    yield "comparison.csv", comparison_csv(comparison)
    yield from figures_of(comparison)
    yield "comparison.xlsx", comparison_xlsx(comparison)
