"""A law fitted to readings together with the sources of error that they share.

Every shared source k enters as a parameter z_k with the prior N(0, 1), through the columns that say how far
it moves each reading. The readings may thus pull a source within its stated uncertainty, and what they
cannot decide stays in the covariance. Wild rows are set aside, and the rows are weighted by the scatter that
they really show.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.estimate import Estimate
from analysis.scatter import Scatter, far_off, median, robust_sd, scatter_of
from analysis.series import BoolArray, FloatArray, IntArray

Evaluated = tuple[FloatArray, FloatArray, FloatArray]
"""Fitted values (m,), Jacobian (p, m), own variance of each row's residual (m,).

A row of the Jacobian for each parameter: passes over long rows cost a fraction of those over long columns."""


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
    """(p, m) change of each of the law's own parameters with each row's residual."""
    fitted: FloatArray
    """(m,) what the law gives for each row, the sources pulled as the readings pull them."""
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

    @property
    def sound(self) -> bool:
        """Whether all numbers of the fit are finite."""
        return bool(np.all(np.isfinite(self.theta)) and np.all(np.isfinite(self.covariance)))

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
    residuals: FloatArray
    variance: FloatArray
    jacobian: FloatArray
    weighted: FloatArray
    """The jacobian with each reading's weight."""

    def gain(self) -> FloatArray:
        """How each reading moves each parameter; worked out only where it is wanted, as it is long."""
        gain: FloatArray = self.covariance @ self.weighted
        return gain


class _Evaluation:
    """A law at some parameters; the first and the last it was asked for are at hand.

    Fits in a row begin at the same parameters, or where the last one ended.
    """

    def __init__(self, evaluate: Callable[[FloatArray], Evaluated]) -> None:
        self._evaluate = evaluate
        self._known: list[tuple[bytes, Evaluated]] = []

    def __call__(self, theta: FloatArray) -> Evaluated:
        wanted = theta.tobytes()
        for at, evaluated in self._known:
            if at == wanted:
                return evaluated
        evaluated = self._evaluate(theta)
        self._known = [*self._known[:1], (wanted, evaluated)]
        return evaluated


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
    least, halvings = math.inf, 0
    for _ in range(40):
        with np.errstate(over="ignore", invalid="ignore"):
            fitted, jacobian, variance = evaluate(theta)
            w = (1.0 if weights is None else weights) / (variance * inflation)
            residuals = observed - fitted
            cost = float(np.sum(w * residuals**2) + np.sum(prior * theta**2))
        # Far from the law a full step may overshoot. The weights move a little with it, hence the margin.
        if not cost <= 1.5 * least + len(observed) and halvings < 8:
            step, halvings = step / 2.0, halvings + 1
            theta = theta - step
            continue
        least, halvings = min(least, cost), 0
        weighted = jacobian * w
        normal = weighted @ jacobian.T
        normal.flat[:: len(theta) + 1] += prior
        inverse = _inverse(normal)
        if float((np.abs(step) / np.sqrt(inverse.diagonal())).max()) < 1e-6:
            break
        step = inverse @ (weighted @ residuals - prior * theta)
        theta = theta + step
    return _Settled(theta, inverse, residuals, variance, jacobian, weighted)


def _inverse(normal: FloatArray) -> FloatArray:
    """Invert a symmetric matrix; a direction that nothing determines comes out wide, not singular."""
    scale = 1.0 / np.sqrt(normal.diagonal())
    both = scale[:, None] * scale
    scaled = normal * both
    try:
        root = np.linalg.inv(np.linalg.cholesky(scaled))
        inverse = root.T @ root
    except np.linalg.LinAlgError:
        values, vectors = np.linalg.eigh(scaled)
        inverse = (vectors / np.maximum(values, 1e-14 * values[-1])) @ vectors.T
    return np.asarray(inverse * both, dtype=np.float64)


def _robust_residuals(
    evaluate: Callable[[FloatArray], Evaluated],
    observed: FloatArray,
    start: FloatArray,
    n_free: int,
    *,
    stated: bool,
) -> tuple[FloatArray, float]:
    """
    Give (m,) standardised residuals about a law that a few rows cannot bend, by Tukey's biweight.

    Their robust standard deviation comes with them.
    """
    fitted, _, variance = evaluate(start)
    z = (observed - fitted) / np.sqrt(variance)
    seen = robust_sd(z)
    theta = start
    for _ in range(8):
        reach = 6.0 * (max(1.0, seen) if stated else max(seen, 1e-12))
        weights = np.maximum(1.0 - (z / reach) ** 2, 0.0) ** 2
        if int(np.count_nonzero(weights > 0.0)) <= n_free:
            break
        settled = _settle(evaluate, observed, theta, n_free, weights=np.maximum(weights, 1e-12))
        theta = settled.theta
        before, z = z, settled.residuals / np.sqrt(settled.variance)
        seen = robust_sd(z)
        if not np.any(far_off(z, stated=stated, seen=seen)):
            break
        if float(np.max(np.abs(z - before))) < 0.01 * reach:
            break
    return z, seen


RowChoice = BoolArray | slice
"""Which rows a law is evaluated at; a slice costs no copies."""
ALL_ROWS = slice(None)
_ROWS_AT_ONCE = 128
"""Rows of a product of columns taken together: few enough that the linear algebra stays on one thread.

A larger product is shared among all cores and waits for a busy one, a thousand times as long as it takes.
"""


@dataclass(frozen=True, slots=True, eq=False)
class RowsOfLaw:
    """A law at some of the rows."""

    evaluate: Callable[[FloatArray], Evaluated]
    own_slopes: Callable[[FloatArray], FloatArray]
    """(3, m), as in `JointFit`."""


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """One law with its readings, ready to be fitted to any choice of rows."""

    names: tuple[str, ...]
    sources: tuple[str, ...]
    observed: FloatArray
    start: FloatArray
    law_at: Callable[[RowChoice], RowsOfLaw]
    rows: IntArray
    stated: bool
    directions: FloatArray
    """(k, r) orthonormal: the r combinations of the k sources that move the readings in ways of their own."""


def directions_of(*shared: tuple[FloatArray, float]) -> FloatArray:
    """
    Find the combinations of sources that move the readings in ways of their own.

    Thirty sources of a film move heads and throws in a handful of shapes: a shift, a stretch, a slow curve.
    Fitted in those shapes instead of one by one, with the same prior, the answer is the same and comes many
    times faster.

    Parameters
    ----------
    *shared : (ndarray of shape (m, k), float)
        Columns of each measured quantity and a typical size of that quantity.

    Returns
    -------
    ndarray, shape (k, r)
        Orthonormal columns; a combination that moves readings by less than 3e-7 of what the strongest does
        is left out, far below any reading's own error.
    """
    k = shared[0][0].shape[1]
    gram = np.zeros((k, k))
    for columns, size in shared:
        # Readings that are next to nothing must not make squares past every float.
        scaled = columns / max(size, 1e-100)
        for first in range(0, scaled.shape[0], _ROWS_AT_ONCE):
            some = scaled[first : first + _ROWS_AT_ONCE]
            gram += some.T @ some
    moving = np.diag(gram) > 0.0
    values, vectors = np.linalg.eigh(gram[np.ix_(moving, moving)])
    strongest = float(np.max(values, initial=0.0))
    directions = np.zeros((k, int(np.sum(values > 1e-13 * strongest))))
    directions[moving] = vectors[:, values > 1e-13 * strongest]
    return directions


def _per_source(settled: _Settled, n_free: int, directions: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn pulls and covariance of the fitted combinations into those of the single sources."""
    k, p = directions.shape[0], n_free
    theta = np.concatenate([settled.theta[:p], directions @ settled.theta[p:]])
    covariance = np.empty((p + k, p + k))
    covariance[:p, :p] = settled.covariance[:p, :p]
    covariance[:p, p:] = settled.covariance[:p, p:] @ directions.T
    covariance[p:, :p] = covariance[:p, p:].T
    # What no reading sees of a source keeps its prior variance of 1.
    unseen = np.eye(k) - directions @ directions.T
    covariance[p:, p:] = directions @ settled.covariance[p:, p:] @ directions.T + unseen
    return theta, covariance


def fit_problem(problem: Problem, *, rows_settled: bool = False) -> JointFit:
    """
    Leave out what stands far off, measure the scatter, weight by it, and fit.

    Parameters
    ----------
    problem : Problem
        The law with its readings.
    rows_settled : bool
        Whether what stands far off is out already, so that it is not looked for again.

    Returns
    -------
    JointFit
    """
    m = problem.observed.shape[0]
    n_free = len(problem.names)
    keep = np.ones(m, dtype=bool)
    z = np.zeros(m)
    in_doubt = False
    law = problem.law_at(ALL_ROWS)
    evaluate = _Evaluation(law.evaluate)
    if m >= 8 and not rows_settled:
        z, seen = _robust_residuals(evaluate, problem.observed, problem.start, n_free, stated=problem.stated)
        off = far_off(z, stated=problem.stated, seen=seen)
        in_doubt = bool(np.sum(off) > 0.25 * m) or m - int(np.sum(off)) < n_free + 2
        keep = keep if in_doubt else ~off
        z = z / (max(1.0, seen) if problem.stated else max(seen, 1e-300))
    chosen: RowChoice = ALL_ROWS if np.all(keep) else keep
    observed = problem.observed[chosen]
    if chosen is not ALL_ROWS:
        law = problem.law_at(chosen)
        evaluate = _Evaluation(law.evaluate)
    scatter = Scatter(1.0, 1.0, max(1.0, m - n_free), problem.stated)
    theta = problem.start
    inflation = 1.0
    # Readings that lie on the law to the last digit would leave no room for the priors beside them.
    least = 1.0 if problem.stated else max(1e-200, (1e-5 * median(np.abs(observed))) ** 2)
    blind = not problem.stated and observed.shape[0] <= n_free
    if blind:
        # No error was stated, nor can these few rows show their scatter: only shared sources are known.
        inflation = least
    for _ in range(1 if blind else 3):
        settled = _settle(evaluate, observed, theta, n_free, inflation=inflation)
        theta, gain = settled.theta, settled.gain()
        standardised = settled.residuals / np.sqrt(settled.variance)
        scatter = scatter_of(standardised, float(np.sum(gain * settled.jacobian)), stated=problem.stated)
        if blind or abs(scatter.inflation / inflation - 1.0) < 0.02:
            break
        inflation = max(scatter.inflation, least)
    else:
        settled = _settle(evaluate, observed, theta, n_free, inflation=inflation)
        gain = settled.gain()
    theta, covariance = _per_source(settled, n_free, problem.directions)
    return JointFit(
        names=problem.names,
        theta=theta,
        covariance=covariance,
        sources=problem.sources,
        gain=gain[:n_free],
        fitted=observed - settled.residuals,
        row_sd=np.sqrt(settled.variance * inflation),
        standardised=settled.residuals / np.sqrt(settled.variance),
        scatter=scatter,
        inflation=inflation,
        rows=problem.rows[keep],
        outlying=problem.rows[~keep],
        outlying_by=np.abs(z[~keep]),
        own_slopes=law.own_slopes(settled.theta) * (0.0 if blind else 1.0),
        own_known=not blind,
        first_row=int(problem.rows[0]),
        law_in_doubt=in_doubt,
    )
