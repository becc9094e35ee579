"""An estimate that remembers, reading by reading and source by source, what moves it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from analysis.findings import Share
from analysis.notation import with_uncertainty
from analysis.series import FloatArray
from analysis.words import marked

OWN = marked("own scatter of the readings")
"""Name under which the errors of single readings stand in a budget."""
NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """A value, and how far it moves with each error beneath it (first order)."""

    value: float
    own: FloatArray
    """(c, n) change when the error of row j in column c (head, throw, drop) is one standard uncertainty,
    scatter and serial correlation counted in."""
    shared: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Change, with its sign, when a shared source moves by one standard uncertainty."""
    own_dof: float = math.inf
    """Degrees of freedom of the own part; infinite where it rests on stated errors."""
    own_names: tuple[str, ...] = ()
    """c names under which the rows of `own` stand in a budget; () puts all of them under `OWN`."""
    u_own: float = field(init=False)
    """Standard uncertainty from the readings' own errors; interval, budget and doubts all ask for it."""

    def __post_init__(self) -> None:
        """Add up the readings' own errors, once."""
        object.__setattr__(self, "u_own", math.sqrt(float(np.sum(self.own**2))))

    @property
    def u(self) -> float:
        """Standard uncertainty, own and shared combined."""
        return math.hypot(self.u_own, *self.shared.values())

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch and Satterthwaite; JCGM 100, G.4)."""
        own = self.u_own
        if own == 0.0 or math.isinf(self.own_dof):
            return math.inf
        ratio = self.u / own
        # Beside shared sources so large the readings' own part is of no account.
        return self.own_dof * ratio**4 if ratio < 1e70 else math.inf

    @property
    def coverage_factor(self) -> float:
        """What multiplies u to give 95 %: normal, or Student's t where the degrees of freedom are few."""
        dof = self.dof
        if math.isinf(dof):
            return NORMAL_95
        from scipy.special import stdtrit

        return float(stdtrit(dof, 0.975))

    @property
    def interval_95(self) -> tuple[float, float]:
        """The symmetric interval about the value."""
        half = self.coverage_factor * self.u
        return self.value - half, self.value + half

    @property
    def log_interval_95(self) -> tuple[float, float]:
        """The interval that is symmetric in the logarithm, for a positive product of powers."""
        factor = math.exp(self.coverage_factor * self.u / self.value)
        return self.value / factor, self.value * factor

    @property
    def budget(self) -> tuple[Share, ...]:
        """All sources that move the value, largest first; the squares of their shares add up to u²."""
        own = {OWN: self.u_own**2} if not self.own_names else dict.fromkeys(self.own_names, 0.0)
        for name, row in zip(self.own_names, self.own, strict=bool(self.own_names)):
            own[name] += float(np.sum(row**2))
        shares = [Share(name, math.sqrt(squared), shared=False) for name, squared in own.items()]
        shares += [Share(name, abs(change), shared=True) for name, change in self.shared.items()]
        moving = (share for share in shares if share.u > 0.0)
        return tuple(sorted(moving, key=lambda share: share.u, reverse=True))


def propagated(
    value: float, parts: Iterable[tuple[Estimate, float]], extra: Mapping[str, float] | None = None
) -> Estimate:
    """
    Derive an estimate from others, their common errors counted once.

    Parameters
    ----------
    value : float
        Value of the derived quantity.
    parts : iterable of (Estimate, float)
        What it is made of, and its derivative with respect to each.
    extra : mapping, optional
        Further shared sources and the change that one standard uncertainty of each makes.

    Returns
    -------
    Estimate
        Errors that two parts share, of readings or of sources, add with their signs.
    """
    own: FloatArray | None = None
    shared: dict[str, float] = {}
    dof = math.inf
    for estimate, slope in parts:
        own = estimate.own * slope if own is None else own + estimate.own * slope
        for name, change in estimate.shared.items():
            shared[name] = shared.get(name, 0.0) + change * slope
        dof = min(dof, estimate.own_dof)
    for name, change in (extra or {}).items():
        shared[name] = shared.get(name, 0.0) + change
    return Estimate(value, np.zeros((0, 0)) if own is None else own, MappingProxyType(shared), dof)


def covariance(one: Estimate, other: Estimate) -> float:
    """Covariance of two estimates from the same readings and sources."""
    common = sum(change * other.shared.get(name, 0.0) for name, change in one.shared.items())
    own = float(np.sum(one.own * other.own)) if one.own.shape == other.own.shape else 0.0
    return own + common


def in_mm(estimate: Estimate) -> str:
    """Write a length with its uncertainty, in millimetres."""
    return with_uncertainty(1e3 * estimate.value, 1e3 * estimate.u, "mm")
