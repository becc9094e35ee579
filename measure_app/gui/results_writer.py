"""Writes results as the command line does, in a thread."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from measure_app.decoder import Decoder, open_film
from measure_app.errors import ClipError
from measure_app.giving_back import give_back
from measure_app.gui.lane import Job

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from measure_app.outcome import Outcome


@dataclass(frozen=True, slots=True, eq=False)
class Writing:
    """What is to be written, and where."""

    outcome: Outcome
    folder: Path
    film: Path | None
    """For the picture of the set-up."""
    decoder: Decoder


def write_results(wish: Writing, job: Job) -> Path:
    """Write tables, findings, figures, workbooks and report; for a `Lane`."""
    from measure_app.report import check_folder, results_of, write_checked

    check_folder(wish.folder)
    try:
        write_checked(
            results_of(wish.outcome),
            wish.folder,
            picture=_picture(wish),
            stop_requested=job.stop_requested,
            telling=job.say,
        )
    finally:
        give_back()
    return wish.folder


def _picture(wish: Writing) -> NDArray[np.uint8] | None:
    """Take the frame from a film of this thread's own: the window goes on stepping through the other."""
    from measure_app.report import setup_frame

    if wish.film is None:
        return None
    try:
        with open_film(wish.decoder, wish.film) as film:
            return setup_frame(wish.outcome, film)
    except ClipError:
        return None
