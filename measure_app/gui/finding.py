"""Finding the rest, in a thread: one pass over the film, with progress, that can be stopped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from measure_app.giving_back import give_back
from measure_app.gui.lane import Job
from measure_app.run import By, LinePart, Run

if TYPE_CHECKING:  # the engine is loaded by the thread that first needs it, not before the first frame
    from measure_app.clip import FrameSource
    from measure_app.measuring import Search

Key = tuple[object, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Hunt:
    """A run whose film is to be searched."""

    run: Run
    source: FrameSource


def find(hunt: Hunt, job: Job) -> Search:
    """Search the film; for a `Lane`. A set-up that cannot be used is said before the long pass."""
    from measure_app.measuring import search
    from measure_app.outcome import calibration_of

    info = hunt.source.info
    calibration_of(hunt.run, (info.width, info.height))
    try:
        return search(hunt.run, hunt.source, progress=job.progress, stop_requested=job.stop_requested)
    finally:
        give_back()


def key_of(run: Run) -> Key:
    """Return what a search depends on, hand readings aside: another key, and it is out of date."""
    return (
        run.clip.path,
        run.clip.start_frame,
        run.clip.stop_frame,
        _ends(run.gauge_line),
        _ends(run.landing_line),
        run.plumb,
        run.orifice.px if run.orifice is not None else None,
        run.throw_zero.px if run.throw_zero is not None else None,
    )


def has_found(run: Run) -> bool:
    """Whether any reading of the run was found."""
    return any(
        spot is not None and spot.by is By.FOUND
        for reading in run.readings
        for spot in (reading.surface, reading.landing)
    )


def _ends(line: LinePart | None) -> Key | None:
    return None if line is None else (line.from_px, line.to_px)
