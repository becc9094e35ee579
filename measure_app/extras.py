"""What the program itself keeps in a run under `extra`: notes, questions, second marks, readings set aside.

What does not have the shape written here is passed over; the key it lies under is `own_extra`'s.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import msgspec
import numpy as np
from msgspec.structs import replace

from calibration import Segment
from measure_app.edits import ClearLanding, ClearSurface, Edit, SetLanding, SetSurface
from measure_app.errors import RunFileError
from measure_app.finders import Part
from measure_app.own_extra import KEY, own_of, with_own
from measure_app.run import By, LinePart, Reading, Run, Spot
from measure_app.words import marked, said

Shows = Callable[[int, Spot | None], bool]
"""Tells whether a position read in a frame may be seen or counted."""
MAX_TEXT = 20_000
"""Longest text kept, characters."""
MAX_ENTRIES = 10_000
"""Most entries of one list that are read."""


@dataclass(frozen=True, slots=True)
class Question:
    """A question that the teacher set, and the answer."""

    question: str
    answer: str = ""


@dataclass(frozen=True, slots=True)
class EarlierMark:
    """An earlier mark of the same part in the same frame, kept for the reader's scatter."""

    frame: int
    part: Part
    spot: Spot


@dataclass(frozen=True, slots=True)
class SetAsideReading:
    """A reading that a person took out of the fits, and why."""

    reading: Reading
    reason: str


@dataclass(frozen=True, slots=True)
class ReaderScatter:
    """How well a reader meets the same place again."""

    part: Part
    sd_px: float
    """Standard deviation of one mark along the line, px."""
    frames: int
    """Frames that were marked more than once."""
    freedom: int
    """Marks less frames."""


def _entries(run: Run, key: str) -> Iterator[dict[str, Any]]:
    entries = own_of(run).get(key)
    if isinstance(entries, list | tuple):
        for entry in entries[:MAX_ENTRIES]:
            if isinstance(entry, dict):
                yield entry


def _with(run: Run, key: str, value: Any) -> Run:
    """Return the run with one of the program's own keys set, or taken away where the value says nothing."""
    return with_own(run, key, value or None)


def _text(value: object) -> str:
    return value[:MAX_TEXT] if isinstance(value, str) else ""


def notes_of(run: Run) -> str:
    """Return the notes on the whole run; "" where there are none."""
    return _text(own_of(run).get("notes"))


class SetNotes(Edit, frozen=True):
    """Write the notes on the whole run."""

    label: ClassVar[str] = marked("write notes")
    notes: str

    def _changed(self, run: Run) -> Run:
        return _with(run, "notes", _bounded(self.notes, "notes"))


def questions_of(run: Run) -> tuple[Question, ...]:
    """Return the questions that the teacher set, with the answers given so far."""
    read = (Question(_text(e.get("question")), _text(e.get("answer"))) for e in _entries(run, "questions"))
    return tuple(each for each in read if each.question)


class SetQuestions(Edit, frozen=True):
    """Set the questions, or answer them."""

    label: ClassVar[str] = marked("set questions")
    questions: tuple[Question, ...]

    def _changed(self, run: Run) -> Run:
        entries = [
            {"question": _bounded(each.question, "questions"), "answer": _bounded(each.answer, "questions")}
            for each in self.questions
            if each.question.strip()
        ]
        return _with(run, "questions", entries)


def _bounded(text: str, key: str) -> str:
    if len(text) > MAX_TEXT:
        words = said(
            "at most {most} characters are kept, got {text}; shorten it", most=MAX_TEXT, text=len(text)
        )
        raise RunFileError(words, where=f"extra.{KEY}.{key}")
    return text


def earlier_marks_of(run: Run) -> tuple[EarlierMark, ...]:
    """Return the marks that were repeated, oldest first."""
    return tuple(_read_marks(run))


def _read_marks(run: Run) -> Iterator[EarlierMark]:
    for entry in _entries(run, "second_marks"):
        try:
            frame = msgspec.convert(entry.get("frame"), int)
            part = Part(entry.get("part"))
            spot = msgspec.convert(entry.get("spot"), Spot)
        except (msgspec.ValidationError, ValueError):
            continue
        if frame >= 0 and all(math.isfinite(v) for v in (*spot.px, spot.px_u)):
            yield EarlierMark(frame, part, spot)


def spot_of(reading: Reading | None, part: Part) -> Spot | None:
    """Return one part of a reading."""
    if reading is None:
        return None
    return reading.surface if part is Part.SURFACE else reading.landing


def reading_of(run: Run, frame: int) -> Reading | None:
    """Return the reading of one frame."""
    return next((reading for reading in run.readings if reading.frame == frame), None)


class KeepMark(Edit, frozen=True):
    """Take the hand mark of a frame out of sight, so that the frame can be marked again for repeatability.

    The mark is kept beside the run; the frame has no reading of that part until it is marked anew.
    """

    label: ClassVar[str] = marked("mark again")
    frame: int
    part: Part

    def _changed(self, run: Run) -> Run:
        spot = spot_of(reading_of(run, self.frame), self.part)
        if spot is None or spot.by is not By.HAND:
            words = said(
                "frame {frame} has no {part} read by hand; mark it once, then again",
                frame=self.frame,
                part=said(self.part.value),
            )
            raise RunFileError(words, where="readings")
        marks = (*earlier_marks_of(run), EarlierMark(self.frame, self.part, spot))
        return _with(_with_spot(run, self.frame, self.part, None), "second_marks", _mark_entries(marks))


class MarkAgain(Edit, frozen=True):
    """Read a part a second time where it was read by hand; the mark before is kept, to tell the scatter."""

    label: ClassVar[str] = marked("mark again")
    frame: int
    part: Part
    spot: Spot

    def _changed(self, run: Run) -> Run:
        kept = KeepMark(self.frame, self.part).apply(run)
        return _with_spot(kept, self.frame, self.part, self.spot)


class BringBackMarks(Edit, frozen=True):
    """Give frames that were to be marked again, and were not, their last mark back."""

    label: ClassVar[str] = marked("bring marks back")

    def _changed(self, run: Run) -> Run:
        marks = list(earlier_marks_of(run))
        for mark in waiting_marks(run):
            marks.remove(mark)
            run = _with_spot(run, mark.frame, mark.part, mark.spot)
        return _with(run, "second_marks", _mark_entries(marks))


def waiting_marks(run: Run) -> tuple[EarlierMark, ...]:
    """Return the last mark of every frame that waits to be marked again."""
    last = {(mark.frame, mark.part): mark for mark in earlier_marks_of(run)}
    return tuple(m for m in last.values() if spot_of(reading_of(run, m.frame), m.part) is None)


def _with_spot(run: Run, frame: int, part: Part, spot: Spot | None) -> Run:
    if spot is None:
        return (ClearSurface(frame) if part is Part.SURFACE else ClearLanding(frame)).apply(run)
    return (SetSurface(frame, spot) if part is Part.SURFACE else SetLanding(frame, spot)).apply(run)


def _mark_entries(marks: Iterable[EarlierMark]) -> list[dict[str, Any]]:
    return [
        {"frame": each.frame, "part": each.part.value, "spot": msgspec.to_builtins(each.spot)}
        for each in marks
    ]


def reader_scatter(run: Run, part: Part, shows: Shows | None = None) -> ReaderScatter | None:
    """Work out how well the reader repeats a mark.

    Marks of one frame are compared along the line on which the part is read (the vertical for a surface and
    the horizontal for a landing where no line is drawn); the variances of all frames are pooled.

    Parameters
    ----------
    run : Run
    part : Part
    shows : callable, optional
        Tells of a frame and a mark there whether it counts, such as only the marks of one reader.

    Returns
    -------
    ReaderScatter or None
        None while no frame has been marked twice.
    """
    line = run.gauge_line if part is Part.SURFACE else run.landing_line
    along = _direction(line, part)
    marks: dict[int, list[Spot]] = {}
    for mark in earlier_marks_of(run):
        if mark.part is part and (shows is None or shows(mark.frame, mark.spot)):
            marks.setdefault(mark.frame, []).append(mark.spot)
    squares, freedom, frames = 0.0, 0, 0
    for frame, spots in marks.items():
        now = spot_of(reading_of(run, frame), part)
        if now is not None and now.by is By.HAND and (shows is None or shows(frame, now)):
            spots.append(now)
        if len(spots) < 2:
            continue
        places = np.array([spot.px for spot in spots], dtype=np.float64) @ along
        squares += float(np.sum((places - places.mean()) ** 2))
        freedom += len(spots) - 1
        frames += 1
    if not freedom:
        return None
    return ReaderScatter(part, math.sqrt(squares / freedom), frames, freedom)


def _direction(line: LinePart | None, part: Part) -> np.ndarray[Any, np.dtype[np.float64]]:
    if line is not None:
        return Segment(line.from_px, line.to_px).direction
    return np.array([0.0, 1.0]) if part is Part.SURFACE else np.array([1.0, 0.0])


class SetHandUncertainty(Edit, frozen=True):
    """Give hand marks of one part the same standard uncertainty, such as the reader's own scatter."""

    label: ClassVar[str] = marked("set uncertainty of hand marks")
    part: Part
    px_u: float
    frames: frozenset[int] | None = None
    """In these frames only, such as those that one reader marked; None: in all."""

    def _changed(self, run: Run) -> Run:
        return replace(run, readings=tuple(self._one(reading) for reading in run.readings))

    def _one(self, reading: Reading) -> Reading:
        spot = spot_of(reading, self.part)
        meant = self.frames is None or reading.frame in self.frames
        if spot is None or spot.by is not By.HAND or not meant:
            return reading
        changes: dict[str, Any] = {self.part.value: replace(spot, px_u=self.px_u)}
        return replace(reading, **changes)


def set_aside_of(run: Run) -> tuple[SetAsideReading, ...]:
    """Return the readings that a person took out, in order of frames."""
    return tuple(sorted(_read_aside(run), key=lambda each: each.reading.frame))


def _read_aside(run: Run) -> Iterator[SetAsideReading]:
    seen: set[int] = set()
    for entry in _entries(run, "set_aside"):
        try:
            reading = msgspec.convert(entry.get("reading"), Reading)
        except msgspec.ValidationError:
            continue
        spots = [spot for spot in (reading.surface, reading.landing) if spot is not None]
        sound = all(math.isfinite(v) for spot in spots for v in (*spot.px, spot.px_u))
        if sound and spots and reading.frame not in seen:
            seen.add(reading.frame)
            yield SetAsideReading(reading, _text(entry.get("reason")))


def frames_set_aside(run: Run) -> frozenset[int]:
    """Return the frames whose reading a person took out; a search shall not bring them back."""
    return frozenset(each.reading.frame for each in _read_aside(run))


class SetAside(Edit, frozen=True):
    """Take the readings of some frames out of the fits, with a reason; they are kept and can be put back.

    Where a frame was set aside before, what was put aside then stays for the parts that were not read anew,
    and the earlier reason stands before the new one.
    """

    label: ClassVar[str] = marked("set aside")
    frames: tuple[int, ...]
    reason: str

    def _changed(self, run: Run) -> Run:
        reason = _bounded(self.reason.strip(), "set_aside")
        if not reason:
            raise RunFileError(
                said("say in a few words why, such as “splash hides the landing”"), where="reason"
            )
        aside = {each.reading.frame: each for each in set_aside_of(run)}
        out = {r.frame: r for r in run.readings if r.frame in self.frames and (r.surface or r.landing)}
        again = [frame for frame in self.frames if frame in aside or frame in out]
        if not again:
            raise RunFileError(said("there is no reading to set aside in these frames"), where="readings")
        for frame in again:
            aside[frame] = _set_aside(aside.get(frame), out.get(frame), reason)
        rest = tuple(r for r in run.readings if r.frame not in out)
        return replace(_with(run, "set_aside", _aside_entries(list(aside.values()))), readings=rest)


def _set_aside(before: SetAsideReading | None, reading: Reading | None, reason: str) -> SetAsideReading:
    """Join what is set aside now to what was before; one of both is there."""
    if before is None or reading is None:
        kept = reading or (before.reading if before is not None else Reading(frame=0))
    else:
        old = before.reading
        kept = replace(
            reading,
            surface=reading.surface or old.surface,
            landing=reading.landing or old.landing,
            note=reading.note or old.note,
        )
    if before is not None and before.reason and reason not in before.reason:
        reason = f"{before.reason}; {reason}"[:MAX_TEXT]
    return SetAsideReading(kept, reason if before is None or reason not in before.reason else before.reason)


class PutBack(Edit, frozen=True):
    """Put readings that were set aside back; a reading made since then in the same frame stays instead."""

    label: ClassVar[str] = marked("put back")
    frames: tuple[int, ...]

    def _changed(self, run: Run) -> Run:
        aside = set_aside_of(run)
        back = {each.reading.frame: each.reading for each in aside if each.reading.frame in self.frames}
        if not back:
            raise RunFileError(said("nothing was set aside in these frames"), where=f"extra.{KEY}.set_aside")
        for reading in run.readings:
            back.pop(reading.frame, None)
        kept = [each for each in aside if each.reading.frame not in self.frames]
        readings = tuple(sorted((*run.readings, *back.values()), key=lambda r: r.frame))
        return replace(_with(run, "set_aside", _aside_entries(kept)), readings=readings)


def _aside_entries(kept: list[SetAsideReading]) -> list[dict[str, Any]]:
    return [
        {"reading": msgspec.to_builtins(each.reading), "reason": each.reason}
        for each in sorted(kept, key=lambda each: each.reading.frame)
    ]


class ClearReadings(Edit, frozen=True):
    """Take back the readings of some frames, or one part of them."""

    label: ClassVar[str] = marked("delete readings")
    frames: tuple[int, ...]
    parts: tuple[Part, ...] = (Part.SURFACE, Part.LANDING)

    def _changed(self, run: Run) -> Run:
        names = {part.value: None for part in self.parts}
        readings = (replace(r, **names) if r.frame in self.frames else r for r in run.readings)
        return replace(run, readings=tuple(r for r in readings if r.surface or r.landing or r.note))
