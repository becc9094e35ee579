"""The marks of a whole class: which criteria apply, and what each observer gets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from measure_app.collating.class_key import PARTS, Reference, Source
from measure_app.collating.class_result import Observer
from measure_app.collating.marks import Criteria, Work, marks_of
from measure_app.collating.teachers_key import TeachersKey
from measure_app.finders import Part


def marked(
    observers: Sequence[Observer],
    references: Mapping[Part, Reference],
    teacher: TeachersKey,
    criteria: Criteria,
) -> tuple[Observer, ...]:
    """Give every observer marks.

    A criterion that says nothing of this class applies to nobody: no readings in the key, the same set-up for
    all, no frames asked for, no questions.
    """
    own_setup = any(not each.answer.setup.same for each in observers)
    key_cv = teacher.outcome.findings.finding("speed_coefficient") if teacher.outcome is not None else None
    asked = any(each.answer.asked for each in observers)
    questions = max((each.answer.questions for each in observers), default=0)
    cv = float(key_cv.value) if key_cv is not None and np.isfinite(key_cv.value) else None
    return tuple(
        replace(
            each,
            marks=marks_of(
                Work(
                    deviations_px={
                        part.value: each.deviations[part] if references[part].source is Source.KEY else None
                        for part in PARTS
                    },
                    read=_read(each) if asked else None,
                    scale_errors=_scale_errors(each) if own_setup else None,
                    cv_error=None if cv is None else _cv_error(each, cv),
                    answered=(each.answer.answered, questions) if questions else None,
                ),
                criteria,
            ),
        )
        for each in observers
    )


def _read(observer: Observer) -> tuple[int, int]:
    """Frames of the share with both parts read, of all its frames; a free observer has read all of none."""
    answer = observer.answer
    asked = answer.asked
    if not asked:
        return 1, 1
    both = np.all([np.isfinite(answer.places[part][:, 0]) for part in PARTS], axis=0)
    there = set(answer.frames[both].tolist())
    return sum(frame in there for frame in asked), len(asked)


def _scale_errors(observer: Observer) -> tuple[float, ...]:
    facts = observer.answer.setup
    ratios = [*facts.scale.values(), facts.drop]
    return tuple(ratio - 1.0 for ratio in ratios if ratio is not None)


def _cv_error(observer: Observer, key_cv: float) -> float:
    return observer.answer.cv_fit[0] - key_cv if observer.answer.cv_fit is not None else np.nan
