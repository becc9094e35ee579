"""From the run in hand to its outcome, in a thread; of the rules also where the run is not whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from msgspec.structs import replace

from calibration import FloatArray, Pixel
from measure_app.errors import AppError, SetupIncomplete
from measure_app.gui.lane import Job
from measure_app.run import OrificePart, Run

if TYPE_CHECKING:  # the engine is loaded by the thread that first needs it, not before the first frame
    from calibration import RuleFit
    from measure_app.clip import ClipInfo
    from measure_app.measuring import Search
    from measure_app.outcome import Outcome


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """A run whose outcome is wanted."""

    run: Run
    seconds: FloatArray | None
    info: ClipInfo
    found: Search | None


@dataclass(frozen=True, slots=True, eq=False)
class Derived:
    """What can be said of it."""

    outcome: Outcome | None
    lack: AppError | None = None
    """Why there is no outcome."""
    rule_fits: tuple[RuleFit, ...] = ()
    """Of the rules alone, where there is no outcome."""


def derive(question: Question, _job: Job) -> Derived:
    """Work out the outcome of a run; for a `Lane`."""
    from measure_app.outcome import outcome_of

    try:
        outcome = outcome_of(question.run, question.seconds, question.info, found=question.found)
    except SetupIncomplete as error:
        return Derived(None, error, _rules_alone(question.run, question.info))
    return Derived(outcome)


def check_intervals(outcome: Outcome, job: Job) -> Outcome:
    """Hold the intervals of an outcome against trials, as is done before it is written; for a `Lane`."""
    from measure_app.report import checked, results_of

    made = checked(results_of(outcome), stop_requested=job.stop_requested).outcome
    return outcome if made is None else made


def _rules_alone(run: Run, info: ClipInfo) -> tuple[RuleFit, ...]:
    """Fit the rules of a run that lacks an orifice: their scales do not depend on where it is."""
    from measure_app.outcome import calibration_of

    if not run.rules:
        return ()
    size = (info.width, info.height)
    middle = OrificePart(px=Pixel(info.width / 2, info.height / 2), px_u=1.0)
    try:
        return calibration_of(run if run.orifice else replace(run, orifice=middle), size).rule_fits
    except SetupIncomplete:
        return ()
