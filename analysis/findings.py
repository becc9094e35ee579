"""The result types of the contract: findings, what stays undetermined, doubts about the whole run."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.published import ExpectedBand


@dataclass(frozen=True, slots=True)
class Share:
    """What one source of uncertainty contributes to a finding."""

    source: str
    u: float
    """Standard uncertainty that this source alone would give, in the finding's unit."""
    shared: bool
    """True: common to all readings, so that more frames do not shrink it."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One derived quantity with its uncertainty and what it rests on."""

    name: str
    symbol: str
    value: float
    u: float
    """Standard uncertainty (JCGM 100), own and shared sources combined."""
    interval_95: tuple[float, float]
    unit: str
    method: str
    depends_on_assumed_g: bool
    remarks: tuple[str, ...] = ()
    budget: tuple[Share, ...] = ()
    """The sources of `u`, largest first."""
    expected: ExpectedBand | None = None
    """What is published for it, where anything is."""
    from_trials: bool = False
    """Whether the interval is that of Monte Carlo trials, as the one by first order did not hold."""


@dataclass(frozen=True, slots=True)
class Undetermined:
    """A quantity that the inputs do not determine."""

    name: str
    missing: str
    """The missing input and what to do, in a few words."""


@dataclass(frozen=True, slots=True)
class Remark:
    """A doubt about the run as a whole."""

    about: str
    says: str
    frames: tuple[int, int] | None = None
