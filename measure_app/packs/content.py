"""The runs of a pack: what is given, what is withheld, which frames are whose."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from measure_app.contract import checked
from measure_app.extras import Question, SetQuestions, questions_of
from measure_app.packs.design import Shares
from measure_app.packs.errors import PackError
from measure_app.packs.manifest import PackMark, with_pack_mark
from measure_app.plain_file import first_bytes
from measure_app.run import CameraPart, ConditionsPart, Reading, Run
from measure_app.saving import reason_of
from measure_app.words import said

SETUP_PARTS = (
    "camera",
    "conditions",
    "drop",
    "gauge_line",
    "landing_line",
    "orifice",
    "plumb",
    "rules",
    "throw_zero",
)
"""The parts of a set-up that a teacher gives or withholds, by their keys in the run file."""
_EMPTY: dict[str, Any] = {"rules": (), "camera": CameraPart(), "conditions": ConditionsPart()}
MAX_QUESTIONS = 100
MAX_QUESTION = 2000
_MAX_QUESTIONS_BYTES = 256 * 1024


@dataclass(frozen=True, slots=True)
class PackPlan:
    """What a pack shall be."""

    withhold: frozenset[str] = frozenset()
    """Parts of the set-up that students find out for themselves."""
    give_readings: bool = False
    """Whether the readings go along, as for a worked example; set aside by default."""
    questions: tuple[Question, ...] | None = None
    """None: those that the run holds, without its answers."""
    blind: bool = False
    students: int | None = None
    """How many shares; None: one run for all."""
    each: int | None = None
    common: int | None = None
    height: int | None = None
    """Rows of the film at most, px; None: as it is."""
    most_bytes: int | None = None
    """Size of the film at most; None: no limit."""


def set_up_given(run: Run, withhold: Collection[str]) -> Run:
    """Return the run without some parts of its set-up.

    Raises
    ------
    PackError
        There is no such part.
    """
    unknown = sorted(set(withhold) - set(SETUP_PARTS))
    if unknown:
        raise PackError(
            said(
                "there is no part {unknown!r}; the parts are {listed}",
                unknown=unknown[0],
                listed=", ".join(SETUP_PARTS),
            ),
            where="withhold",
        )
    return replace(run, **{name: _EMPTY.get(name) for name in withhold})


def run_for_students(run: Run, plan: PackPlan) -> Run:
    """Return the run that a pack is made of.

    Only what a student shall see is in it: no observer, no readings unless they are given, no notes, no
    answers, no marks set aside, and nothing that other programs keep in it, for it might tell the answer.
    """
    questions = plan.questions if plan.questions is not None else questions_of(run)
    bare = replace(
        set_up_given(run, plan.withhold),
        observer="",
        readings=run.readings if plan.give_readings else (),
        falls=run.falls if plan.give_readings else (),
        extra={},
    )
    return SetQuestions(tuple(Question(each.question) for each in questions)).apply(bare)


def runs_of(run: Run, plan: PackPlan, mark: PackMark, shares: Shares | None) -> tuple[Run, ...]:
    """Return one run for each share, or one for all.

    The frames of a share stand in its run as readings that have a note and nothing else, so that they are
    seen in every list of readings, and the student has only to fill them in.
    """
    bare = run_for_students(run, plan)
    if shares is None:
        return (checked(with_pack_mark(bare, mark)),)
    count = len(shares.frames)
    made = []
    for number, frames in enumerate(shares.frames, 1):
        own = replace(mark, share=number, shares=count, frames=frames)
        there = {reading.frame: reading for reading in bare.readings}
        note = said("share {number}: please read", number=number)
        readings = tuple(there.get(frame) or Reading(frame=frame, note=note) for frame in frames)
        made.append(checked(with_pack_mark(replace(bare, readings=readings), own)))
    return tuple(made)


def load_questions(path: Path) -> tuple[Question, ...]:
    """Read questions from a text file, one a line; empty lines and lines that start with # are passed over.

    Raises
    ------
    PackError
        The file cannot be read, is no text, or holds no question, or too many.
    """
    where = str(path)
    try:
        data = first_bytes(path, _MAX_QUESTIONS_BYTES + 1)
        text = data.decode("utf-8-sig")
    except OSError as error:
        raise PackError(said("cannot be read ({reason})", reason=reason_of(error)), where=where) from None
    except UnicodeDecodeError:
        raise PackError(
            said("is not UTF-8 text; save it as UTF-8, one question a line"), where=where
        ) from None
    lines = [line.strip() for line in text.splitlines()]
    questions = [line for line in lines if line and not line.startswith("#")]
    _check_questions(questions, len(data), where)
    return tuple(Question(each) for each in questions)


def _check_questions(questions: Sequence[str], size: int, where: str) -> None:
    if not questions:
        raise PackError(said("holds no question; write one a line"), where=where)
    if len(questions) > MAX_QUESTIONS or size > _MAX_QUESTIONS_BYTES:
        raise PackError(
            said("holds more than {most} questions; keep fewer", most=MAX_QUESTIONS),
            where=where,
        )
    if any(len(each) > MAX_QUESTION for each in questions):
        raise PackError(
            said("a question is longer than {most} characters; shorten it", most=MAX_QUESTION),
            where=where,
        )
