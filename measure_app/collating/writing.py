"""All files of a class, in one step."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from measure_app.collating.class_result import ClassResult
from measure_app.collating.figures import FIGURE_NAMES, class_figures
from measure_app.collating.tables import FORMAT, tables
from measure_app.errors import Stopped
from measure_app.report import check_folder
from measure_app.report.whole import write_folder
from measure_app.runfile import encode_run
from measure_app.words import said

KNOWN_FILES = frozenset(
    {
        "collated.csv",
        "observers.csv",
        "frames.csv",
        "marks.csv",
        "findings.json",
        "pooled.run.json",
        *(f"figures/{name}.{kind}" for name in FIGURE_NAMES for kind in ("png", "svg", "pdf")),
    }
)
"""Every file that a class's result may hold."""


def check_class_folder(folder: Path) -> None:
    """Make sure that a class's results may be written to a folder, before any work is done.

    Raises
    ------
    OutputError
        The folder holds other things, or cannot be written to.
    """
    check_folder(folder, KNOWN_FILES, FORMAT)


def write_class(
    result: ClassResult, folder: Path, *, stop_requested: Callable[[], bool] | None = None
) -> tuple[str, ...]:
    """Write a class's results into a folder, all of them or none.

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
    files = tables(result)
    if result.pooled is not None:
        files["pooled.run.json"] = encode_run(result.pooled.run)
    for name, data in class_figures(result):
        files[name] = data
        if stop_requested is not None and stop_requested():
            raise Stopped(said("stopped; nothing was written"))
    write_folder(folder, files, KNOWN_FILES, FORMAT)
    return tuple(files)
