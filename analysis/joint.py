"""Readings and shared sources fitted together: the speed coefficient from throws, the drain curve from heads.

Every shared source k enters as a parameter z_k with the prior N(0, 1), through the columns that say how far
it moves each head, throw and drop. The readings may thus pull a source within its stated uncertainty, and
what they cannot decide stays in the covariance.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.estimate import Estimate
from analysis.models import Paired
from analysis.scatter import Scatter, far_off, robust_sd, scatter_of
from analysis.series import BoolArray, FloatArray, IntArray

_TINY_HEAD_M = 1e-6
Evaluated = tuple[FloatArray, FloatArray, FloatArray]
"""Fitted values (m,), Jacobian (m, p), own variance of each row's residual (m,)."""


@dataclass(frozen=True, slots=True, eq=False)
class JointFit:
    """A fit of one law with its shared sources."""

    names: tuple[str, ...]
    """The law's own parameters, in order; shared sources follow them in `theta`."""
    theta: FloatArray
    """(p,) parameters, then the pulls z of the active sources."""
    covariance: FloatArray
    """(p, p) of `theta`."""
    sources: tuple[str, ...]
    """Names of the active sources."""
    gain: FloatArray
    """(p, m) change of each parameter with each row's residual."""
    row_sd: FloatArray
    """(m,) own standard uncertainty of each row's residual, scatter counted in."""
    standardised: FloatArray
    """(m,) residuals over their stated own standard uncertainty."""
    scatter: Scatter
    inflation: float
    """Factor on the own variances with which the rows were weighted in the end."""
    rows: IntArray
    """(m,) indices into the series of the rows that took part."""
    outlying: IntArray
    """Indices into the series of rows left out because they stand far off the law."""
    outlying_by: FloatArray
    """How many standard uncertainties each of those stands off."""
    own_slopes: FloatArray
    """(3, m) change of each row's residual with the own error of head, throw and drop, one standard
    uncertainty each."""
    first_row: int
    """Index into the series of the first row offered: the drain curve counts its time from there."""
    own_known: bool
    """Whether the rows' own errors are known, stated or seen; if not, only the shared sources count."""
    law_in_doubt: bool
    """Whether so many rows stood off that none was left out: the law is the suspect then."""

    @property
    def own_dof(self) -> float:
        """Degrees of freedom of the readings' own part; infinite while the stated errors stand."""
        return math.inf if self.scatter.stated and self.inflation == 1.0 else self.scatter.dof

    def value(self, name: str) -> float:
        """Value of one of the law's parameters."""
        return float(self.theta[self.names.index(name)])

    def has(self, name: str) -> bool:
        """Whether the law had this parameter."""
        return name in self.names

    def estimate(self, name: str, n_rows: int) -> Estimate:
        """
        One parameter with what moves it, in a series of `n_rows` rows.

        Parameters
        ----------
        name : str
            One of `names`.
        n_rows : int
            Rows of the series, to which the influences are laid out.

        Returns
        -------
        Estimate
            Its u² equals the parameter's entry in `covariance`.
        """
        i = self.names.index(name)
        own = np.zeros((3, n_rows))
        own[:, self.rows] = self.gain[i] * self.own_slopes * math.sqrt(self.inflation)
        first = len(self.names)
        shared = {source: -float(self.covariance[i, first + j]) for j, source in enumerate(self.sources)}
        return Estimate(float(self.theta[i]), own, MappingProxyType(shared), self.own_dof)

    def pull(self, source: str) -> float:
        """How far the readings pull a source, in units of its stated standard uncertainty."""
        return float(self.theta[len(self.names) + self.sources.index(source)])


@dataclass(frozen=True, slots=True, eq=False)
class _Settled:
    theta: FloatArray
    covariance: FloatArray
    gain: FloatArray
    residuals: FloatArray
    variance: FloatArray
    fitted: float


def _settle(
    evaluate: Callable[[FloatArray], Evaluated],
    observed: FloatArray,
    start: FloatArray,
    n_free: int,
    *,
    inflation: float = 1.0,
    weights: FloatArray | None = None,
) -> _Settled:
    """Gauss-Newton on weighted rows plus the priors of the sources."""
    theta = start.copy()
    prior = np.ones_like(theta)
    prior[:n_free] = 0.0
    step = np.full_like(theta, np.inf)
    for _ in range(30):
        fitted, jacobian, variance = evaluate(theta)
        w = (1.0 if weights is None else weights) / (variance * inflation)
        weighted = jacobian * w[:, None]
        normal = jacobian.T @ weighted
        normal[np.diag_indices_from(normal)] += prior
        gradient = weighted.T @ (observed - fitted) - prior * theta
        scale = 1.0 / np.sqrt(np.diag(normal))
        inverse = np.linalg.inv(normal * np.outer(scale, scale)) * np.outer(scale, scale)
        if float(np.max(np.abs(step) / np.sqrt(np.diag(inverse)))) < 1e-6:
            break
        step = inverse @ gradient
        theta = theta + step
    gain = inverse @ weighted.T
    return _Settled(
        theta=theta,
        covariance=inverse,
        gain=gain,
        residuals=observed - fitted,
        variance=variance,
        fitted=float(np.sum(gain * jacobian.T)),
    )


def _robust_residuals(
    evaluate: Callable[[FloatArray], Evaluated],
    observed: FloatArray,
    start: FloatArray,
    n_free: int,
    *,
    stated: bool,
) -> FloatArray:
    """Give (m,) standardised residuals about a law that a few rows cannot bend, by Tukey's biweight."""
    fitted, _, variance = evaluate(start)
    z = (observed - fitted) / np.sqrt(variance)
    theta = start
    for _ in range(8):
        seen = robust_sd(z)
        reach = 6.0 * (max(1.0, seen) if stated else max(seen, 1e-12))
        weights = np.clip(1.0 - (z / reach) ** 2, 0.0, None) ** 2
        if int(np.sum(weights > 0.0)) <= n_free:
            break
        settled = _settle(evaluate, observed, theta, n_free, weights=np.maximum(weights, 1e-12))
        theta = settled.theta
        before, z = z, settled.residuals / np.sqrt(settled.variance)
        if not np.any(far_off(z, stated=stated)):
            break
        if float(np.max(np.abs(z - before))) < 0.01 * reach:
            break
    return z


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """One law with its readings, ready to be fitted to any choice of rows."""

    names: tuple[str, ...]
    sources: tuple[str, ...]
    observed: FloatArray
    start: FloatArray
    evaluate_rows: Callable[[FloatArray, BoolArray], Evaluated]
    own_slopes: Callable[[FloatArray, BoolArray], FloatArray]
    rows: IntArray
    stated: bool


def _fit(problem: _Problem) -> JointFit:
    """Leave out what stands far off, measure the scatter, weight by it, and fit."""
    m = problem.observed.shape[0]
    n_free = len(problem.names)
    keep = np.ones(m, dtype=bool)
    z = np.zeros(m)
    in_doubt = False
    if m >= 8:
        z = _robust_residuals(
            lambda theta: problem.evaluate_rows(theta, np.ones(m, dtype=bool)),
            problem.observed,
            problem.start,
            n_free,
            stated=problem.stated,
        )
        off = far_off(z, stated=problem.stated)
        in_doubt = bool(np.sum(off) > 0.25 * m) or m - int(np.sum(off)) < n_free + 2
        keep = keep if in_doubt else ~off
        scale = max(1.0, robust_sd(z)) if problem.stated else max(robust_sd(z), 1e-300)
        z = z / scale
    observed = problem.observed[keep]

    def evaluate(theta: FloatArray) -> Evaluated:
        return problem.evaluate_rows(theta, keep)

    scatter = Scatter(1.0, 1.0, max(1.0, m - n_free), problem.stated)
    theta = problem.start
    inflation = 1.0
    # Readings that lie on the law to the last digit would leave no room for the priors beside them.
    least = 1.0 if problem.stated else (1e-5 * float(np.median(np.abs(observed)))) ** 2
    blind = not problem.stated and observed.shape[0] <= n_free
    if blind:
        # Neither was an error stated nor can these few rows show their scatter: only shared sources are known.
        inflation = least
    for _ in range(1 if blind else 3):
        settled = _settle(evaluate, observed, theta, n_free, inflation=inflation)
        theta = settled.theta
        standardised = settled.residuals / np.sqrt(settled.variance)
        scatter = scatter_of(standardised, settled.fitted, stated=problem.stated)
        if blind or abs(scatter.inflation / inflation - 1.0) < 0.02:
            break
        inflation = max(scatter.inflation, least)
    else:
        settled = _settle(evaluate, observed, theta, n_free, inflation=inflation)
    return JointFit(
        names=problem.names,
        theta=settled.theta,
        covariance=settled.covariance,
        sources=problem.sources,
        gain=settled.gain,
        row_sd=np.sqrt(settled.variance * inflation),
        standardised=settled.residuals / np.sqrt(settled.variance),
        scatter=scatter,
        inflation=inflation,
        rows=problem.rows[keep],
        outlying=problem.rows[~keep],
        outlying_by=np.abs(z[~keep]),
        own_slopes=problem.own_slopes(settled.theta, keep) * (0.0 if blind else 1.0),
        own_known=not blind,
        first_row=int(problem.rows[0]),
        law_in_doubt=in_doubt,
    )


def _active(*shared: FloatArray) -> IntArray:
    """List the indices of sources that move anything."""
    moving = np.zeros(shared[0].shape[1], dtype=bool)
    for columns in shared:
        moving |= np.any(columns != 0.0, axis=0)
    return np.nonzero(moving)[0]


def _usable_variance(own: FloatArray, observed: FloatArray) -> tuple[FloatArray, bool]:
    """
    Own variances with unknown ones filled in, and whether any was stated.

    Where none was stated all rows weigh the same and the scatter sets the size. A floor of 1e-6 of the
    observed values keeps a perfect or over-confident table from drowning the priors in rounding noise.
    """
    known = np.isfinite(own) & (own > 0.0)
    floor = (1e-6 * float(np.median(np.abs(observed)))) ** 2
    if not np.any(known):
        return np.ones_like(own), False
    return np.maximum(np.where(known, own, float(np.median(own[known]))), floor), True


def fit_throws(at: Paired, *, free_head_zero: bool = False, approach: float = 0.0) -> JointFit:
    """
    Fit x = 2 Cv √(y₀ (h + δ)) / √(1 - r²) to throws and the heads that drove them.

    Parameters
    ----------
    at : Paired
        Rows with throw and drop, heads carried back to the moment of launch; heads above zero.
    free_head_zero : bool
        Whether δ is free; else the head's zero moves only with the sources that have a stated uncertainty.
    approach : float
        r, speed of the surface over speed of the jet.

    Returns
    -------
    JointFit
        Parameters "cv" and, if free, "head_zero" (δ, m).

    Notes
    -----
    The own errors of head and drop are carried into the throw along the law (effective variance).
    """
    active = _active(at.head_shared, at.throw_shared, at.drop_shared)
    head_s, throw_s, drop_s = at.head_shared[:, active], at.throw_shared[:, active], at.drop_shared[:, active]
    n_free = 2 if free_head_zero else 1
    factor = 2.0 / math.sqrt(1.0 - approach**2)

    def parts(theta: FloatArray, keep: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        z = theta[n_free:]
        head = at.head[keep] - head_s[keep] @ z + (theta[1] if free_head_zero else 0.0)
        drop = at.drop[keep] - drop_s[keep] @ z
        head, drop = np.maximum(head, _TINY_HEAD_M), np.maximum(drop, _TINY_HEAD_M)
        fitted = factor * theta[0] * np.sqrt(head * drop)
        return fitted, fitted / (2.0 * head), fitted / (2.0 * drop)

    per_head, per_drop = at.throw / (2.0 * at.head), at.throw / (2.0 * at.drop)
    usable, stated = _usable_variance(
        (per_head * at.head_u) ** 2 + at.throw_u**2 + (per_drop * at.drop_u) ** 2, at.throw
    )
    # What a row's own errors do not explain of its variance is laid on the throw.
    rest = np.sqrt(np.maximum(0.0, usable - (per_head * at.head_u) ** 2 - (per_drop * at.drop_u) ** 2))

    def own_slopes(theta: FloatArray, keep: BoolArray) -> FloatArray:
        _, by_head, by_drop = parts(theta, keep)
        return np.stack([-by_head * at.head_u[keep], rest[keep], -by_drop * at.drop_u[keep]])

    def evaluate(theta: FloatArray, keep: BoolArray) -> Evaluated:
        z = theta[n_free:]
        fitted, by_head, by_drop = parts(theta, keep)
        columns = [fitted / theta[0]] + ([by_head] if free_head_zero else [])
        by_z = throw_s[keep] - by_head[:, None] * head_s[keep] - by_drop[:, None] * drop_s[keep]
        variance = (by_head * at.head_u[keep]) ** 2 + rest[keep] ** 2 + (by_drop * at.drop_u[keep]) ** 2
        jacobian = np.concatenate([np.stack(columns, axis=1), by_z], axis=1)
        return fitted + throw_s[keep] @ z, jacobian, variance

    start = np.zeros(n_free + active.shape[0])
    start[0] = float(np.median(at.throw / (factor * np.sqrt(at.head * at.drop))))
    return _fit(
        _Problem(
            names=("cv", "head_zero")[:n_free],
            sources=tuple(at.sources[i] for i in active),
            observed=at.throw,
            start=start,
            evaluate_rows=evaluate,
            own_slopes=own_slopes,
            rows=at.rows,
            stated=stated,
        )
    )


def fit_drain(at: Paired, *, free_head_zero: bool = False, bent: bool = False) -> JointFit:
    """
    Fit h + δ = (√h₀ - k (t - t₀))² to heads in time, t₀ being the first row's time.

    Parameters
    ----------
    at : Paired
        Rows with head, as read, and time.
    free_head_zero : bool
        Whether δ is free; else the head's zero moves only with the sources that have a stated uncertainty.
    bent : bool
        Whether √head may bend in time by a term q (t - t₀)(t - t₁), zero at both ends of the run.

    Returns
    -------
    JointFit
        Parameters "root_h0" (√h₀, m^0.5), "k" (m^0.5/s) and, if free, "head_zero" (δ, m) and "bend"
        (q, m^0.5/s²). Fitted in head, not in its root, so that a symmetric error of the head stays one.

    Raises
    ------
    ValueError
        Without times, or with times that do not differ.
    """
    if at.time_s is None or not float(np.ptp(at.time_s)) > 0.0:
        raise ValueError("the drain curve needs times that differ")
    time = at.time_s - at.time_s[0]
    arch = time * (time - float(np.max(time)))
    active = _active(at.head_shared)
    head_s = at.head_shared[:, active]
    names = ["root_h0", "k"] + ["head_zero"] * free_head_zero + ["bend"] * bent
    n_free = len(names)
    variance, stated = _usable_variance(at.head_u**2, at.head)
    sd = np.sqrt(variance)

    def evaluate(theta: FloatArray, keep: BoolArray) -> Evaluated:
        root = theta[0] - theta[1] * time[keep] + (theta[n_free - 1] * arch[keep] if bent else 0.0)
        columns = [2.0 * root, -2.0 * time[keep] * root]
        fitted = root**2 + head_s[keep] @ theta[n_free:]
        if free_head_zero:
            columns.append(np.full_like(root, -1.0))
            fitted = fitted - theta[2]
        if bent:
            columns.append(2.0 * root * arch[keep])
        return fitted, np.concatenate([np.stack(columns, axis=1), head_s[keep]], axis=1), variance[keep]

    def own_slopes(_theta: FloatArray, keep: BoolArray) -> FloatArray:
        zero = np.zeros(int(np.sum(keep)))
        return np.stack([sd[keep], zero, zero])

    root = np.sqrt(at.head)
    start = np.zeros(n_free + active.shape[0])
    start[1] = _median_rate(time, root)
    start[0] = float(np.median(root + start[1] * time))
    return _fit(
        _Problem(
            names=tuple(names),
            sources=tuple(at.sources[i] for i in active),
            observed=at.head,
            start=start,
            evaluate_rows=evaluate,
            own_slopes=own_slopes,
            rows=at.rows,
            stated=stated,
        )
    )


def _median_rate(time: FloatArray, root: FloatArray) -> float:
    """Take the rate of fall from the median of slopes between rows half a run apart."""
    half = max(1, time.shape[0] // 2)
    dt = time[half:] - time[:-half]
    moved = dt > 0.0
    if not np.any(moved):
        return float(-(root[-1] - root[0]) / np.ptp(time))
    return float(np.median(-(root[half:] - root[:-half])[moved] / dt[moved]))
