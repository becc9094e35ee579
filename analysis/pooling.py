"""Several runs together: one quantity from each, what they share never averaged away.

Every value comes with an independent part, which other runs do not have, and with common sources, which move
all runs at once: the same rule, the same drop. Only the independent parts weigh, only they shrink as runs are
added, and only they can explain why runs differ.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from analysis.estimate import Estimate
from analysis.series import FloatArray
from analysis.words import marked

CONSISTENT = 0.05
"""Chance of the scatter seen, or more, below which runs count as not agreeing."""
BETWEEN = marked("between runs")
"""Name under which what the runs' stated errors do not explain stands in a budget."""
INDEPENDENT = marked("each run's own errors")


@dataclass(frozen=True, slots=True)
class RunValue:
    """One quantity as one run found it."""

    label: str
    value: float
    independent_u: float
    """Standard uncertainty from errors that no other run has."""
    common: MappingProxyType[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Change when a source that other runs have as well moves by one standard uncertainty."""

    @property
    def u(self) -> float:
        """Standard uncertainty, all parts."""
        return math.hypot(self.independent_u, *self.common.values())


@dataclass(frozen=True, slots=True, eq=False)
class PooledValue:
    """One quantity from several runs."""

    values: tuple[RunValue, ...]
    mean: Estimate
    """Weighted mean; its shared sources are those common to the runs."""
    weights: FloatArray
    """(n,) adding up to 1."""
    chi_squared: float
    """Σ (x - mean)²/u², over independent parts alone (Cochran's Q)."""
    dof: int
    chance: float
    """Chance of a χ² as large or larger, were the stated errors all there is."""
    birge: float
    """√(χ²/dof): scatter between runs over what was stated."""
    between: float
    """Standard deviation between runs beyond the stated errors (Mandel and Paule); 0 where these do."""
    between_dersimonian_laird: float
    """The same by the moment estimator of DerSimonian and Laird."""
    scatter: float
    """Standard deviation of the values as they are."""
    deviations: FloatArray
    """(n,) each value less the mean of the others, over the standard uncertainty of that difference; NaN for
    a single run."""
    odd: int | None
    """Index of the one run without which the others agree; None where they agree, or where no single run
    stands out."""

    @property
    def consistent(self) -> bool:
        """Whether the stated errors explain how the runs differ."""
        return self.dof == 0 or self.chance >= CONSISTENT


def pooled(values: Sequence[RunValue]) -> PooledValue:
    """
    Pool one quantity over runs.

    Parameters
    ----------
    values : sequence of RunValue
        One or more, with independent parts above zero.

    Returns
    -------
    PooledValue

    Raises
    ------
    ValueError
        For no values, values that are not finite, or an independent part that is not above zero.

    Notes
    -----
    Weights are 1/(u² + τ²) of the independent parts, with the variance between runs τ² of Mandel and Paule
    (J. Res. Natl. Bur. Stand. 87 (1982) 377): the one that makes χ² equal its degrees of freedom, nought if
    it is smaller already. DerSimonian and Laird (Controlled Clinical Trials 7 (1986) 177) give theirs in
    closed form. With τ² above nought the mean rests on n - 1 degrees of freedom. Common sources enter through
    the weights, (Σ w c)², so that no number of runs makes them smaller.
    """
    if not values:
        raise ValueError("no runs to pool")
    x = np.array([each.value for each in values])
    u = np.array([each.independent_u for each in values])
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(u)) and np.all(u > 0.0)):
        raise ValueError("pooling needs finite values with independent uncertainties above zero")
    n = x.shape[0]
    chi_squared, laird = _q(x, u, 0.0), _dersimonian_laird(x, u)
    between = _mandel_paule(x, u)
    weights = _weights(u, between)
    mean = float(weights @ x)
    chance = _chance(chi_squared, n - 1)
    names = sorted({name for each in values for name in each.common})
    shared = {
        name: float(sum(w * each.common.get(name, 0.0) for w, each in zip(weights, values, strict=True)))
        for name in names
    }
    own = np.stack([weights * u, weights * between])
    estimate = Estimate(
        mean,
        own,
        MappingProxyType(shared),
        own_dof=float(n - 1) if between > 0.0 else math.inf,
        own_names=(INDEPENDENT, BETWEEN),
    )
    deviations = _deviations(x, u)
    return PooledValue(
        values=tuple(values),
        mean=estimate,
        weights=weights,
        chi_squared=chi_squared,
        dof=n - 1,
        chance=chance,
        birge=math.sqrt(chi_squared / (n - 1)) if n > 1 else 1.0,
        between=between,
        between_dersimonian_laird=laird,
        scatter=float(np.std(x, ddof=1)) if n > 1 else 0.0,
        deviations=deviations,
        odd=_odd(x, u, deviations, chance),
    )


def _weights(u: FloatArray, between: float) -> FloatArray:
    # Scaled first, so that neither tiny nor huge units overflow.
    size = float(np.max(u))
    w = 1.0 / ((u / size) ** 2 + (between / size) ** 2)
    return np.asarray(w / np.sum(w), dtype=np.float64)


def _q(x: FloatArray, u: FloatArray, between: float) -> float:
    """Σ (x - mean)²/(u² + τ²) about the mean with those weights."""
    mean = float(_weights(u, between) @ x)
    return float(np.sum((x - mean) ** 2 / (u**2 + between**2)))


def _dersimonian_laird(x: FloatArray, u: FloatArray) -> float:
    size = float(np.max(u))
    w = (size / u) ** 2
    free = x.shape[0] - 1
    room = float(np.sum(w) - np.sum(w**2) / np.sum(w))
    return size * math.sqrt(max(0.0, (_q(x, u, 0.0) - free) / room)) if free else 0.0


def _mandel_paule(x: FloatArray, u: FloatArray) -> float:
    """Find τ by halving: Q falls as τ grows."""
    free = x.shape[0] - 1
    if free == 0 or _q(x, u, 0.0) <= free:
        return 0.0
    low, high = 0.0, 2.0 * float(np.ptp(x))
    for _ in range(60):
        middle = 0.5 * (low + high)
        if not low < middle < high:
            break
        low, high = (middle, high) if _q(x, u, middle) > free else (low, middle)
    return 0.5 * (low + high)


def _chance(chi_squared: float, dof: int) -> float:
    if dof == 0:
        return 1.0
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi_squared))


def _deviations(x: FloatArray, u: FloatArray) -> FloatArray:
    n = x.shape[0]
    made = np.full(n, math.nan)
    for i in range(n if n > 1 else 0):
        rest = np.arange(n) != i
        weights = _weights(u[rest], 0.0)
        of_rest = math.sqrt(float(np.sum((weights * u[rest]) ** 2)))
        made[i] = (x[i] - float(weights @ x[rest])) / math.hypot(float(u[i]), of_rest)
    return made


def _odd(x: FloatArray, u: FloatArray, deviations: FloatArray, chance: float) -> int | None:
    """Name a run only if it alone keeps the others from agreeing."""
    n = x.shape[0]
    if n < 3 or chance >= CONSISTENT:
        return None
    from scipy.special import ndtri

    # So far off by chance is one of n sound runs in one comparison of twenty (Bonferroni).
    limit = float(ndtri(1.0 - CONSISTENT / (2.0 * n)))
    found = [
        i
        for i in range(n)
        if abs(deviations[i]) > limit
        and _chance(_q(np.delete(x, i), np.delete(u, i), 0.0), n - 2) >= CONSISTENT
    ]
    return found[0] if len(found) == 1 else None
