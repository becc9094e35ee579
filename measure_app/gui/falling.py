"""Marks of a fall, one for each frame: which edit a press on the frame becomes. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from msgspec.structs import replace

from calibration import Pixel
from measure_app.edits import AddFall, ChangeFall, Edit, RemoveFall
from measure_app.run import FallMark, FallPart, Run
from measure_app.words import marked

What = Literal["drop", "jet drop", "jet front"]
KINDS: dict[What, str] = {
    "drop": marked("a drop that is let go"),
    "jet drop": marked("a drop of the jet"),
    "jet front": marked("the front of a jet just opened"),
}
"""What may fall, in words."""


@dataclass(frozen=True, slots=True)
class Marking:
    """What comes of one press."""

    edit: Edit | None
    """None: the mark is the first of a new fall, which needs a second to be one."""
    first: FallMark | None
    """A mark that is held until there is a second."""
    fall: int | None
    """The fall to which further marks belong."""


def with_mark(run: Run, fall: int | None, what: What, first: FallMark | None, mark: FallMark) -> Marking:
    """Say what a press on the frame means.

    Parameters
    ----------
    run : Run
    fall : int or None
        The fall that is being marked; None: a new one.
    what : str
        Kind of a new fall, one of `KINDS`.
    first : FallMark or None
        The first mark of a new fall, if there is one.
    mark : FallMark
        The press. One in a frame that has a mark of this fall mends it.
    """
    if fall is not None and fall < len(run.falls):
        part = run.falls[fall]
        others = (each for each in part.marks if each.frame != mark.frame)
        return Marking(ChangeFall(fall, replace(part, marks=_in_order(*others, mark))), None, fall)
    if first is None or first.frame == mark.frame:
        return Marking(None, mark, None)
    part = FallPart(_new_name(run, what), what, _in_order(first, mark))
    return Marking(AddFall(part), None, len(run.falls))


def without_last(part: FallPart) -> FallPart | None:
    """Return a fall without its last mark; None where only two are left."""
    return replace(part, marks=part.marks[:-1]) if len(part.marks) > 2 else None


def mark_in(run: Run, fall: int, frame: int) -> FallMark | None:
    """Return the mark that a fall has in a frame; None where there is none, or no such fall."""
    if not 0 <= fall < len(run.falls):
        return None
    return next((mark for mark in run.falls[fall].marks if mark.frame == frame), None)


def moved_mark(run: Run, fall: int, frame: int, to: Pixel) -> Edit:
    """Return the edit that puts a fall's mark elsewhere in its frame."""
    part = run.falls[fall]
    marks = (replace(mark, px=to) if mark.frame == frame else mark for mark in part.marks)
    return ChangeFall(fall, replace(part, marks=tuple(marks)))


def without_mark(run: Run, fall: int, frame: int) -> Edit:
    """Return the edit that takes a fall's mark away; with one mark left the fall goes too."""
    part = run.falls[fall]
    marks = tuple(mark for mark in part.marks if mark.frame != frame)
    return ChangeFall(fall, replace(part, marks=marks)) if len(marks) >= 2 else RemoveFall(fall)


def _in_order(*marks: FallMark) -> tuple[FallMark, ...]:
    return tuple(sorted(marks, key=lambda mark: mark.frame))


def _new_name(run: Run, what: What) -> str:
    """Return a name that no fall of the run has."""
    taken = {part.name for part in run.falls}
    return next(name for n in range(1, len(taken) + 2) if (name := f"{what} {n}") not in taken)
