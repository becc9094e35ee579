"""Marks by criteria that the teacher sets in a small TOML file."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta

from analysis import FloatArray
from measure_app.errors import AppError
from measure_app.plain_file import first_bytes
from measure_app.refusals import explained, placed
from measure_app.saving import reason_of
from measure_app.words import said

_MAX_BYTES = 64 * 1024
_Weight = Annotated[float, Meta(ge=0.0, le=1000.0)]
_Tolerance = Annotated[float, Meta(gt=0.0, le=1e6)]


class CriteriaError(AppError):
    """A file of criteria cannot be used; `where` names the file and the key."""


class Places(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Readings of one part against the key."""

    weight: _Weight
    tolerance_px: _Tolerance


class Scale(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Scale of heads and throws, and the drop, against the key's."""

    weight: _Weight
    tolerance_percent: _Tolerance


class Coefficient(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Speed coefficient against the key's."""

    weight: _Weight
    tolerance: _Tolerance


class Weighted(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A share that has no tolerance."""

    weight: _Weight


class Criteria(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What counts, and how much; a part that is left out does not count."""

    surface: Places | None = None
    """Share of surface readings within the tolerance."""
    landing: Places | None = None
    complete: Weighted | None = None
    """Share of the frames asked for that were read, both parts."""
    setup: Scale | None = None
    """Whether an observer's own set-up gives the key's lengths."""
    cv: Coefficient | None = None
    questions: Weighted | None = None
    """Share of questions that have an answer; what the answer says is for the teacher to read."""


USUAL = Criteria(
    surface=Places(30.0, 3.0),
    landing=Places(30.0, 6.0),
    complete=Weighted(20.0),
    setup=Scale(10.0, 2.0),
    cv=Coefficient(10.0, 0.03),
)
"""Criteria where the teacher sets none."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What one observer gets."""

    items: dict[str, float | None]
    """Points by criterion; None where it does not apply to this class."""
    total: float
    most: float
    """Most that could be got by the criteria that apply."""

    @property
    def percent(self) -> float:
        """Total in percent of the most that could be got."""
        return 100.0 * self.total / self.most if self.most > 0 else math.nan


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """What is marked of one observer; None or empty where a criterion does not apply to the class."""

    deviations_px: dict[str, FloatArray | None]
    """For surface and landing: readings less the key, NaN where the key says nothing."""
    read: tuple[int, int] | None
    """Frames read, of frames asked for."""
    scale_errors: tuple[float, ...] | None
    """Relative errors of scale and drop; empty: the observer's set-up gives no lengths."""
    cv_error: float | None
    """NaN: the observer's readings give none."""
    answered: tuple[int, int] | None


def load_criteria(path: Path) -> Criteria:
    """Read criteria from a TOML file.

    Raises
    ------
    CriteriaError
        The file cannot be read, or names what there is not; one line.
    """
    where = str(path)
    try:
        data = first_bytes(path, _MAX_BYTES + 1)
        if len(data) > _MAX_BYTES:
            raise CriteriaError(said("is too large to be criteria"), where=where)
        tree = tomllib.loads(data.decode("utf-8-sig"))
        criteria = msgspec.convert(tree, Criteria)
    except OSError as error:
        raise CriteriaError(
            said("cannot be read ({reason_of})", reason_of=reason_of(error)),
            where=where,
        ) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise CriteriaError(
            said("is not TOML ({error}); mend the text there", error=error),
            where=where,
        ) from None
    except msgspec.ValidationError as error:
        key, words = explained(error, tree, Criteria)
        words = words.removesuffix("what another program wants to keep goes under extra").rstrip("; ")
        if words == "unknown key" and "." not in key:
            words = said(
                "there is no such criterion; there are {join}", join=", ".join(Criteria.__struct_fields__)
            )
        raise CriteriaError(words, where=placed(where, key)) from None
    numbers = [v for part in tree.values() for v in part.values()]
    if not all(math.isfinite(v) for v in numbers):
        raise CriteriaError(said("holds a number that is not finite; write a plain number"), where=where)
    if not numbers:
        raise CriteriaError(said("names no criterion; write at least one, such as [surface]"), where=where)
    return criteria


def marks_of(work: Work, criteria: Criteria) -> Marks:
    """Mark one observer's work.

    A reading within the tolerance counts in full, one beyond twice the tolerance not at all, in between it
    fades evenly; the scale, the drop and the speed coefficient likewise, the worst of them counting.
    """
    items: dict[str, float | None] = {}
    for name in ("surface", "landing"):
        rule: Places | None = getattr(criteria, name)
        off = work.deviations_px.get(name)
        if rule is not None:
            items[name] = None if off is None else rule.weight * _mean(_within(off, rule.tolerance_px))
    if criteria.complete is not None:
        items["complete"] = _share(work.read, criteria.complete.weight)
    if criteria.setup is not None:
        errors = work.scale_errors
        worst = max(map(abs, errors)) if errors else math.nan
        tolerance = criteria.setup.tolerance_percent / 100.0
        items["setup"] = None if errors is None else criteria.setup.weight * _one(worst, tolerance)
    if criteria.cv is not None:
        error = work.cv_error
        items["cv"] = None if error is None else criteria.cv.weight * _one(error, criteria.cv.tolerance)
    if criteria.questions is not None:
        items["questions"] = _share(work.answered, criteria.questions.weight)
    most = sum(getattr(criteria, name).weight for name, points in items.items() if points is not None)
    return Marks(items, sum(points for points in items.values() if points is not None), most)


def _within(off: FloatArray, tolerance: float) -> FloatArray:
    sound = np.abs(off[np.isfinite(off)])
    return np.asarray(np.clip(2.0 - sound / tolerance, 0.0, 1.0))


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if values.size else 0.0


def _one(error: float, tolerance: float) -> float:
    return float(np.clip(2.0 - abs(error) / tolerance, 0.0, 1.0)) if math.isfinite(error) else 0.0


def _share(counts: tuple[int, int] | None, weight: float) -> float | None:
    if counts is None or counts[1] == 0:
        return None
    return weight * min(1.0, counts[0] / counts[1])
