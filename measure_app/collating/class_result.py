"""What a class's answers say together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis import FloatArray
from measure_app.collating.answer import Answer, Refusal
from measure_app.collating.class_key import Reference
from measure_app.collating.marks import Criteria, Marks
from measure_app.collating.pooling import Pooled
from measure_app.collating.precision import Precision
from measure_app.collating.slips import Fault, Spread
from measure_app.collating.teachers_key import TeachersKey
from measure_app.finders import Part
from measure_app.words import marked

QUANTITIES = {
    "surface_px": marked("surface, along the gauge line"),
    "landing_px": marked("landing, along the landing line"),
    "head_mm": marked("head, by each observer's own set-up"),
    "throw_mm": marked("throw, by each observer's own set-up"),
    "cv": marked("speed coefficient of a single frame"),
}
"""What repeatability and reproducibility are worked out for, in words."""
UNITS = {"surface_px": "px", "landing_px": "px", "head_mm": "mm", "throw_mm": "mm", "cv": "1"}


@dataclass(frozen=True, slots=True)
class Standing:
    """How one observer stands in one quantity."""

    n: int
    bias: float
    """Against the average of the observers who count, in the unit of the quantity."""
    s: float | None
    h: float | None
    k: float | None
    k_critical_1: float | None
    counts: bool
    """Whether the observer took part in the precision; if not, h and k hold the others against them."""


@dataclass(frozen=True, slots=True, eq=False)
class Observer:
    """One observer."""

    number: int
    """From 1, in the order of the files' digests: it tells nothing of the name and is the same every time."""
    shown: str
    """Name as it is shown: the observer's own, the file's, or the number."""
    answer: Answer
    deviations: Mapping[Part, FloatArray]
    """(n,) px, places less the reference; NaN where the reference says nothing."""
    faults: tuple[Fault, ...]
    remarks: tuple[str, ...]
    twins: tuple[str, ...]
    """Those of the remarks that name an observer with the very same readings."""
    standings: Mapping[str, Standing]
    marks: Marks | None

    @property
    def places_count(self) -> bool:
        """Whether the readings take part in what the class says."""
        return not any(fault.spoils_places for fault in self.faults)


@dataclass(frozen=True, slots=True, eq=False)
class ClassResult:
    """The whole class."""

    title: str
    key: TeachersKey
    references: Mapping[Part, Reference]
    spreads: Mapping[Part, Spread]
    observers: tuple[Observer, ...]
    refused: tuple[Refusal, ...]
    precisions: Mapping[str, Precision | str]
    by_frame: Mapping[str, bool]
    """Whether the frames' own means were taken out; if not, deviations from the reference were taken."""
    pooled: Pooled | None
    cv_between: tuple[float, float, int] | None
    """Mean of the observers' fitted speed coefficients, their standard deviation, their count."""
    criteria: Criteria
    remarks: tuple[str, ...]
    anonymous: bool
