"""The result types of a diagnosis: what is off, and every suspect with how well it would explain it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Shape(StrEnum):
    """What the shape of the readings says to a suspect; levels such as Cv and Cd are not shape."""

    SUPPORTS = "supports"
    SPEAKS_AGAINST = "speaks against"
    SILENT = "silent"


@dataclass(frozen=True, slots=True)
class Suspect:
    """One thing that may be wrong, tried on the readings."""

    name: str
    size: float
    """How far off it would have to be to explain the trouble best: truth less what was stated, in `unit`."""
    size_u: float
    """Standard uncertainty of that; infinite where the readings do not tell."""
    unit: str
    stated_u: float | None
    """What was stated of it as a standard uncertainty, in `unit`; None where nothing was."""
    ratio: float | None
    """|size| over `stated_u`; None without one."""
    shape: Shape
    explains: float
    """By how much χ² falls with this suspect free, readings and published coefficients taken together."""
    says: str
    """How large it would have to be, against what was stated, and what the shape says: plain sentences."""
    check: str
    """The one check at the bench that would settle it."""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Why a run is off, as far as its readings can tell."""

    triggers: tuple[str, ...]
    """What is off, in words."""
    groups: tuple[tuple[Suspect, ...], ...]
    """The most likely group first; the readings cannot tell the suspects of one group apart."""
    unexplained: bool = False
    """Whether no single suspect explains the trouble well."""
