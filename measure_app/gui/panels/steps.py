"""The six steps of the work, and what each of them still lacks. No Qt here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from calibration import Measures
from measure_app.run import Run
from measure_app.words import counted, marked, said

if TYPE_CHECKING:
    from measure_app.clip import ClipInfo
    from measure_app.outcome import Outcome

ENOUGH = 3
"""Frames with a reading below which a straight line says nothing about its own scatter."""


class Step(Enum):
    """The steps, in the order in which they are usually taken; the value is the name shown."""

    FILM = marked("Film")
    RULES = marked("Rules")
    DATUM = marked("Datum")
    READINGS = marked("Readings")
    FINDINGS = marked("Findings")
    HAND_IN = marked("Hand-in")


@dataclass(frozen=True, slots=True)
class StepState:
    """How far one step is."""

    step: Step
    done: bool
    lacks: tuple[str, ...]
    """What it cannot do without, each in a few words; empty when done."""
    unlocks: str
    """What the step gives, or what more would give, in one sentence."""
    waits: str = ""
    """What was given and is not used yet for want of something, in a few words; it keeps nothing from being done."""


def step_states(run: Run | None, info: ClipInfo | None, outcome: Outcome | None) -> tuple[StepState, ...]:
    """Tell how far each step is.

    Parameters
    ----------
    run : Run or None
        The run in hand.
    info : ClipInfo or None
        What is known of its film; None while the film is not open.
    outcome : Outcome or None
        The newest outcome.

    Returns
    -------
    tuple of StepState
        One for each `Step`, in order.
    """
    tell = (
        (Step.FILM, _film_lacks(run, info), _film_unlocks(run, info)),
        (Step.RULES, _rules_lack(run), said("Positions in the frame become millimetres.")),
        (Step.DATUM, _datum_lacks(run, outcome), _datum_unlocks(run, outcome)),
        (Step.READINGS, _readings_lack(run), _readings_unlock(run)),
        (Step.FINDINGS, _findings_lack(run, outcome), _findings_unlock(outcome)),
        (
            Step.HAND_IN,
            _hand_in_lacks(run, outcome),
            said("Writes tables, graphs and a report for others to check."),
        ),
    )
    told = ((step, tuple(lacks), unlocks) for step, lacks, unlocks in tell)  # some are generators: read once
    waits = {Step.DATUM: waiting_words(run)}
    return tuple(
        StepState(step, not lacks, lacks, unlocks, waits.get(step, "")) for step, lacks, unlocks in told
    )


def depths_waiting(run: Run | None) -> int:
    """Count what is told to stand off the jet's plane and is not carried there without the camera's distance."""
    if run is None or run.camera.distance_m is not None:
        return 0
    placed = (run.orifice, run.throw_zero, run.gauge_line, run.landing_line, *run.rules, *run.falls)
    return sum(each is not None and each.behind_m != 0.0 for each in placed)


def waiting_words(run: Run | None) -> str:
    """Say what waits for the camera's distance, "" where nothing does."""
    waiting = depths_waiting(run)
    if not waiting:
        return ""
    return counted(
        "one depth waits for the camera's distance",
        "{count} depths wait for the camera's distance",
        waiting,
    )


def _film_lacks(run: Run | None, info: ClipInfo | None) -> list[str]:
    if run is None:
        return [said("a film")]
    if info is None:
        return [said("the film itself: find it again if it was moved")]
    stop = info.n_frames if run.clip.stop_frame is None else min(run.clip.stop_frame, info.n_frames)
    if stop - run.clip.start_frame < 2:
        return [said("a part of two frames or more")]
    return []


def _film_unlocks(run: Run | None, info: ClipInfo | None) -> str:
    if run is not None and info is not None and not info.file_rate:
        return said("Without a clock all that needs no time is worked out; the drain rate is not.")
    if info is not None and info.capture_rate_hint and run is not None and run.clip.capture_rate_hz is None:
        return said("If it is slow motion, the capture rate sets the clock right.")
    return said("Gives every frame its time.")


def _rules_lack(run: Run | None) -> list[str]:
    if run is None or not run.rules:
        return [said("two graduations on a rule")]
    kinds = {rule.measures for rule in run.rules}
    lacks = []
    if not kinds & {Measures.HEAD, Measures.BOTH}:
        lacks.append(said("a rule for heads"))
    if not kinds & {Measures.THROW, Measures.BOTH}:
        lacks.append(said("a rule for throws"))
    return lacks


def _datum_lacks(run: Run | None, outcome: Outcome | None) -> list[str]:
    if run is None:
        return [said("the orifice's centre")]
    lacks = []
    if run.orifice is None:
        lacks.append(said("the orifice's centre"))
    if run.gauge_line is None:
        lacks.append(said("the gauge line"))
    if run.landing_line is None:
        lacks.append(said("the landing line"))
    denied = outcome is not None and any(outcome.calibration.drop().reasons)
    read = run.landing_line is not None and not denied
    if run.drop is None and not read:
        lacks.append(said("the drop"))
    return lacks


def _datum_unlocks(run: Run | None, outcome: Outcome | None) -> str:
    if run is None or _datum_lacks(run, outcome):
        return said("Heads and throws count from the right place, and the film can be searched.")
    if depths_waiting(run):
        return said("With the camera's distance: depths before and behind the jet are corrected.")
    more = []
    if run.orifice is None or run.orifice.diameter_m is None:
        more.append(said("the hole's diameter"))
    if run.conditions.container_area_m2 is None:
        more.append(said("the container's area"))
    if more:
        return said(
            "With {join}: the discharge coefficient, and a g from the clock.", join=said(" and ").join(more)
        )
    if run.camera.distance_m is None:
        return said("With the camera's distance: depths before and behind the jet are corrected.")
    if run.conditions.gravity_m_s2 is None and run.conditions.latitude_deg is None:
        return said("With the latitude: the local g instead of the standard one.")
    return said("Heads and throws count from the right place, and the film can be searched.")


def readings_counted(run: Run) -> tuple[int, int, int]:
    """Count frames with a surface, with a landing, and with both, in the part measured."""
    start, stop = run.clip.start_frame, run.clip.stop_frame
    inside = [r for r in run.readings if r.frame >= start and (stop is None or r.frame < stop)]
    surfaces = sum(r.surface is not None for r in inside)
    landings = sum(r.landing is not None for r in inside)
    return surfaces, landings, sum(r.surface is not None and r.landing is not None for r in inside)


def _readings_lack(run: Run | None) -> list[str]:
    surfaces, landings, both = readings_counted(run) if run is not None else (0, 0, 0)
    if not surfaces and not landings:
        return [said("readings: mark a few frames, or let the program find them")]
    if both >= ENOUGH or (
        landings == 0 and run is not None and run.landing_line is None and surfaces >= ENOUGH
    ):
        return []
    if both:
        return [
            counted(
                "{count} more frame with surface and landing",
                "{count} more frames with surface and landing",
                ENOUGH - both,
            )
        ]
    return [
        said("landings in frames that have the other part read")
        if surfaces >= landings
        else said("surfaces in frames that have the other part read")
    ]


def _readings_unlock(run: Run | None) -> str:
    if run is None or not run.readings:
        return said("Head and throw against time: the straight lines and the speed coefficient.")
    surfaces, landings, both = readings_counted(run)
    return said(
        "So far {surfaces} surfaces and {landings} landings, {both} frames with both.",
        surfaces=surfaces,
        landings=landings,
        both=both,
    )


def _findings_lack(run: Run | None, outcome: Outcome | None) -> Iterator[str]:
    if outcome is None or not outcome.found_anything:
        pending = [s for s, lacks in _earlier(run, outcome) if lacks]
        if pending:
            steps = ", ".join(said(step.value) for step in pending)
            yield counted("the step {steps}", "the steps {steps}", len(pending), steps=steps)
        else:
            yield said("readings that can be turned into lengths")
    elif not outcome.findings.findings:
        yield said("more readings")


def _earlier(run: Run | None, outcome: Outcome | None) -> Iterator[tuple[Step, list[str]]]:
    yield Step.RULES, _rules_lack(run)
    yield Step.DATUM, _datum_lacks(run, outcome)
    yield Step.READINGS, _readings_lack(run)


def _findings_unlock(outcome: Outcome | None) -> str:
    if outcome is None or not outcome.findings.findings:
        return said("The speed coefficient with its uncertainty, and what to improve first.")
    cv = outcome.findings.finding("speed_coefficient")
    open_ones = len(outcome.findings.undetermined)
    if cv is not None:
        tail = said("; {open_ones} more with further inputs", open_ones=open_ones) if open_ones else ""
        return said("{count} findings{tail}.", count=len(outcome.findings.findings), tail=tail)
    return said(
        "{count} findings; the speed coefficient needs heads and throws.",
        count=len(outcome.findings.findings),
    )


def _hand_in_lacks(run: Run | None, outcome: Outcome | None) -> Iterator[str]:
    if run is None or not run.title.strip():
        yield said("a title")
    if run is None or not run.observer.strip():
        yield said("the observer's name")
    if outcome is None or not outcome.found_anything:
        yield said("something to hand in")
