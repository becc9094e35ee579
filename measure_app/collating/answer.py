"""One answer: read from bytes that may be anything, held against nothing yet but the key's film.

`read_answer` is all that happens to a single file; it needs nothing but its arguments, so that it runs alike
in this process, in others beside it, and on other machines.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from msgspec.structs import replace

from analysis import FloatArray, IntArray
from measure_app.collating.class_key import PARTS, Key
from measure_app.collating.setup_facts import SetupFacts, setup_facts
from measure_app.errors import AppError
from measure_app.extras import earlier_marks_of, questions_of
from measure_app.finders import Part
from measure_app.outcome import Outcome, outcome_of
from measure_app.packs import PackMark, pack_mark_of, scaled_back
from measure_app.run import By, Reading, Run, Spot
from measure_app.runfile import decode_run
from measure_app.words import said

MAX_ANSWER_BYTES = 8 * 1024 * 1024
"""Largest answer that is read; twenty thousand readings stay below."""
MAX_READINGS = 20_000


@dataclass(frozen=True, slots=True)
class Refusal:
    """A file that is no answer, and why."""

    file: str
    reason: str
    is_copy: bool = False
    """Whether the reason names another file, of which this one is a copy."""


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What one observer handed in; positions are px of the key's film."""

    file: str
    digest: str
    """SHA-256 of the file."""
    name: str
    """As the observer wrote it; "" if not."""
    share: int | None
    asked: tuple[int, ...]
    """Frames of the observer's share; empty: free."""
    frames: IntArray
    """(n,) frames with a reading that counts, each once."""
    places: dict[Part, FloatArray]
    """(n, 2) px; NaN where that part was not read."""
    repeats: dict[Part, tuple[tuple[int, float, float], ...]]
    """(frame, x, y) of earlier marks of the same frames."""
    head_m: FloatArray
    """(n,) by the answer's own set-up; NaN where it does not tell."""
    throw_m: FloatArray
    cv: FloatArray
    """(n,) speed coefficient of each frame alone."""
    cv_fit: tuple[float, float] | None
    """Speed coefficient of all readings together and its standard uncertainty."""
    cv_why: str
    """Why there is none."""
    setup: SetupFacts
    answered: int
    """Questions with an answer."""
    questions: int
    remarks: tuple[str, ...]

    def along(self, part: Part, key: Key) -> FloatArray:
        """(n,) places along the key's line, px."""
        line = key.lines[part]
        if line is None:
            return np.full(len(self.frames), np.nan)
        return line.along(self.places[part])


def read_answer(file: str, data: bytes, key: Key) -> Answer | Refusal:
    """Read one answer.

    Parameters
    ----------
    file : str
        Its name, as it shall be shown.
    data : bytes
        Its content, whatever that is.
    key : Key
        Whose film it must be made from.

    Returns
    -------
    Answer or Refusal
        A refusal names the reason in words; nothing that a file can hold raises.
    """
    if len(data) > MAX_ANSWER_BYTES:
        return Refusal(
            file,
            said(
                "is larger than an answer can be ({max_answer_bytes} MB)",
                max_answer_bytes=MAX_ANSWER_BYTES // 2**20,
            ),
        )
    if data[:4] == b"PK\x03\x04":
        return Refusal(
            file, said("is a pack or another ZIP; the answer is the run file saved from it (.run.json)")
        )
    try:
        run = decode_run(data, "")
        return _answer(file, data, run, key)
    except AppError as error:
        return Refusal(file, str(error).lstrip(": "))
    except (ArithmeticError, ValueError, IndexError, MemoryError, np.linalg.LinAlgError) as error:
        return Refusal(
            file,
            said("cannot be worked out ({name}: {error})", name=type(error).__name__, error=str(error)[:120]),
        )


def _answer(file: str, data: bytes, run: Run, key: Key) -> Answer | Refusal:
    mark = pack_mark_of(run)
    run, foreign = _on_key_film(run, mark, key)
    if foreign:
        return Refusal(file, foreign)
    run, remarks = _counted(run, key)
    if len(run.readings) > MAX_READINGS:
        return Refusal(
            file,
            said("holds more than {max_readings} readings", max_readings=MAX_READINGS),
        )
    if not run.readings:
        return Refusal(file, said("holds no reading of a frame of this film"))
    n = len(run.readings)
    frames = np.array([reading.frame for reading in run.readings], dtype=np.int64)
    places = {part: np.array([_xy(_spot(r, part)) for r in run.readings], dtype=np.float64) for part in PARTS}
    setup = setup_facts(run, key)
    outcome, why = _outcome(run, key)
    head, throw, cv = _lengths(outcome, n)
    fit = outcome.findings.finding("speed_coefficient") if outcome is not None else None
    if outcome is not None and fit is None:
        why = next(
            (u.missing for u in outcome.findings.undetermined if u.name == "speed_coefficient"),
            said("not determined"),
        )
    questions = questions_of(run)
    return Answer(
        file=file,
        digest=hashlib.sha256(data).hexdigest(),
        name=" ".join("".join(c if c.isprintable() else " " for c in run.observer).split())[:80],
        share=mark.share if mark is not None else None,
        asked=tuple(f for f in mark.frames if f < key.info.n_frames) if mark is not None else (),
        frames=frames,
        places=places,
        repeats=_repeats(run, mark),
        head_m=head,
        throw_m=throw,
        cv=cv,
        cv_fit=(float(fit.value), float(fit.u))
        if fit is not None and np.isfinite([fit.value, fit.u]).all()
        else None,
        cv_why="" if fit is not None else why,
        setup=setup,
        answered=sum(bool(each.answer.strip()) for each in questions),
        questions=len(questions),
        remarks=remarks,
    )


def _on_key_film(run: Run, mark: PackMark | None, key: Key) -> tuple[Run, str]:
    """Return the run in the pixels of the key's film, or why it belongs to another film."""
    theirs, ours = (run.clip.sha256 or "").lower(), (key.run.clip.sha256 or "").lower()
    if mark is not None and mark.original_sha256 is not None and theirs != ours:
        if ours and mark.original_sha256 != ours:
            return run, said("was read from another film than the key's (its pack was made from another)")
        # The program says how the pack's film came from the original; lengths in px are turned back by it.
        return scaled_back(run, mark.rescaling), ""
    if theirs and ours and theirs != ours:
        return run, said("was read from another film than the key's (clip.sha256 differs)")
    return run, ""


def _counted(run: Run, key: Key) -> tuple[Run, tuple[str, ...]]:
    """Return the run with the readings that count: within the film, by hand where there are any by hand."""
    remarks = []
    within = [r for r in run.readings if r.frame < key.info.n_frames and (r.surface or r.landing)]
    beyond = sum(1 for r in run.readings if r.frame >= key.info.n_frames)
    if beyond:
        remarks.append(said("{beyond} readings lie beyond the film's last frame", beyond=beyond))
    hand = [_only(r, By.HAND) for r in within]
    hand = [r for r in hand if r.surface or r.landing]
    if hand and _spots(hand) < _spots(within):
        remarks.append(said("readings found by the program do not count where others were made by hand"))
    elif not hand and within:
        remarks.append(said("no reading was made by hand; those that the program found are taken"))
    if (run.clip.capture_rate_hz or 0.0) != (key.run.clip.capture_rate_hz or 0.0):
        remarks.append(said("the capture rate differs from the key's; times are the key's"))
    clip = replace(run.clip, start_frame=0, stop_frame=None)
    return replace(run, clip=clip, readings=tuple(hand or within)), tuple(remarks)


def _spots(readings: Sequence[Reading]) -> int:
    return sum((r.surface is not None) + (r.landing is not None) for r in readings)


def _only(reading: Reading, by: By) -> Reading:
    def kept(spot: Spot | None) -> Spot | None:
        return spot if spot is not None and spot.by is by else None

    return replace(reading, surface=kept(reading.surface), landing=kept(reading.landing))


def _outcome(run: Run, key: Key) -> tuple[Outcome | None, str]:
    try:
        return outcome_of(run, key.seconds, key.info), ""
    except AppError as error:
        return None, str(error)


def _lengths(outcome: Outcome | None, n: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heads, throws and speed coefficients of the single frames."""
    nothing = np.full(n, np.nan)
    if outcome is None or len(outcome.lengths.readings) != n:
        return nothing, nothing.copy(), nothing.copy()
    heads, throws = np.array(outcome.lengths.heads.values), np.array(outcome.lengths.throws.values)
    findings = outcome.findings
    with np.errstate(all="ignore"):
        ideal = np.sqrt(2.0 * findings.accepted_gravity.value * findings.paired_head_m)
        cv = np.asarray(findings.speed_m_s / ideal)
    return heads, throws, np.where(np.isfinite(cv), cv, np.nan)


def _repeats(run: Run, mark: PackMark | None) -> dict[Part, tuple[tuple[int, float, float], ...]]:
    """Return earlier marks of the same frames; they lie under `extra`, which nothing else rescales."""
    how = mark.rescaling if mark is not None and mark.original_sha256 is not None else None
    found: dict[Part, list[tuple[int, float, float]]] = {part: [] for part in PARTS}
    for each in earlier_marks_of(run):
        px = how.back(each.spot.px) if how is not None else each.spot.px
        found[each.part].append((each.frame, px.x, px.y))
    return {part: tuple(marks) for part, marks in found.items()}


def _spot(reading: Reading, part: Part) -> Spot | None:
    return reading.surface if part is Part.SURFACE else reading.landing


def _xy(spot: Spot | None) -> Any:
    return spot.px if spot is not None else (np.nan, np.nan)
