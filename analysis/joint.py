"""Two laws fitted with their shared sources: the speed coefficient from throws, the drain from heads."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.drain_clock import DrainClock
from analysis.models import Paired
from analysis.penalised import Evaluated, JointFit, Problem, RowChoice, RowsOfLaw, fit_problem
from analysis.scatter import median
from analysis.series import FloatArray, IntArray
from analysis.shifts import level_drop

_ROOT = DrainClock()
_TINY_HEAD_M = 1e-6


def _active(at: Paired) -> tuple[IntArray, FloatArray]:
    """List the sources that move anything, and their part of the directions."""
    active = np.nonzero(np.any(at.directions != 0.0, axis=1))[0]
    return active, at.directions[active]


def _by_direction(at: Paired, shared: FloatArray) -> FloatArray:
    """Give (r, m) the change of each row with each direction of the sources."""
    return np.ascontiguousarray((shared @ at.directions).T)


def _begin_near(start: FloatArray, names: list[str], near: JointFit | None) -> None:
    """Start from the parameters of a like fit."""
    for i, name in enumerate(names):
        if near is not None and near.has(name):
            start[i] = near.value(name)


def _usable_variance(own: FloatArray, observed: FloatArray) -> tuple[FloatArray, bool]:
    """
    Own variances with unknown ones filled in, and whether any was stated.

    Where none was stated all rows weigh the same and the scatter sets the size. A floor of 1e-6 of the
    observed values keeps a perfect or over-confident table from drowning the priors in rounding noise.
    """
    known = np.isfinite(own) & (own > 0.0)
    floor = (1e-6 * median(np.abs(observed))) ** 2
    if not np.any(known):
        return np.ones_like(own), False
    return np.maximum(np.where(known, own, median(own[known])), floor), True


@dataclass(frozen=True, slots=True, eq=False)
class _Tangent:
    """The law of the throws about the points nearest to the readings."""

    fitted: FloatArray
    by_cv: FloatArray
    by_head: FloatArray
    by_drop: FloatArray
    by_angle: FloatArray | None
    """None for a jet that leaves level and is held so."""
    variance: FloatArray
    """Own variance of each throw's residual, that of head and drop carried along."""


_Law = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray | None]
"""Throw and its change with Cv, head, drop and, where the jet is not held level, launch angle."""


def _level_law(factor: float, cv: float, head: FloatArray, drop: FloatArray) -> _Law:
    """X = 2 Cv √(y₀ h), times the factor of the surface's speed."""
    per_cv = factor * np.sqrt(head * drop)
    throw = cv * per_cv
    return throw, per_cv, throw / (2.0 * head), throw / (2.0 * drop), None


def _angled_law(factor: float, cv: float, head: FloatArray, drop: FloatArray, angle: float) -> _Law:
    """
    Throw of a jet that leaves at an angle above the horizontal: the whole parabola, without g.

    With s = v²/2g the throw is 2 s cosθ (sinθ + √(sin²θ + y₀/s)).
    """
    sine, cosine = math.sin(angle), math.cos(angle)
    per_head = (factor * cv / 2.0) ** 2
    s = np.maximum(per_head * head, 1e-12)
    root = np.sqrt(sine**2 + drop / s)
    by_s = 2.0 * cosine * (sine + root - drop / (2.0 * s * root))
    by_angle = 2.0 * s * (-sine * (sine + root) + cosine**2 * (1.0 + sine / root))
    throw = 2.0 * s * cosine * (sine + root)
    return throw, by_s * 2.0 * s / (cv or 1e-12), by_s * per_head, cosine / root, by_angle


def fit_throws(
    at: Paired,
    *,
    free_head_zero: bool = False,
    approach: float = 0.0,
    free_angle: bool = False,
    near: JointFit | None = None,
    rows_settled: bool = False,
) -> JointFit:
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
    free_angle : bool
        Whether the jet's angle above the horizontal is free, to be found from how x² bends against h; else
        it is that of `at`.
    near : JointFit, optional
        A like fit, from whose parameters this one starts.
    rows_settled : bool
        Whether rows that stand far off are out already.

    Returns
    -------
    JointFit
        Parameters "cv" and, if free, "head_zero" (δ, m) and "launch_angle" (rad). A jet at an angle follows
        the whole parabola x = 2 s cosθ (sinθ + √(sin²θ + y₀/s)), s = Cv² (h + δ)/(1 - r²), without g.

    Notes
    -----
    Head and throw both have own errors: the law is taken along its tangent at the point nearest to each
    reading (orthogonal distances). Taken at the head as read instead, low readings would weigh differently
    from high ones, and a curved law would bend the answer by parts in a thousand.
    """
    active, directions = _active(at)
    head_s, throw_s, drop_s = (
        _by_direction(at, columns) for columns in (at.head_shared, at.throw_shared, at.drop_shared)
    )
    names = ["cv"] + ["head_zero"] * free_head_zero + ["launch_angle"] * free_angle
    n_free = len(names)
    level = at.angle_rad == 0.0 and not free_angle
    factor = 2.0 / math.sqrt(1.0 - approach**2)

    per_head, per_drop = at.throw / (2.0 * at.head), at.throw / (2.0 * at.drop)
    usable, stated = _usable_variance(
        (per_head * at.head_u) ** 2 + at.throw_u**2 + (per_drop * at.drop_u) ** 2, at.throw
    )
    # What a row's own errors of head and drop do not explain of its variance is laid on the throw.
    rest = np.sqrt(np.maximum(0.0, usable - (per_head * at.head_u) ** 2 - (per_drop * at.drop_u) ** 2))

    def law_at(keep: RowChoice) -> RowsOfLaw:
        read = at.head[keep], at.throw[keep], at.drop[keep]
        by_z = head_s[:, keep], throw_s[:, keep], drop_s[:, keep]
        head_u, drop_u, throw_u = at.head_u[keep], at.drop_u[keep], rest[keep]
        farthest, throw_v = 3.0 * head_u, throw_u**2

        def tangent(theta: FloatArray) -> _Tangent:
            z = theta[n_free:]
            head = read[0] - z @ by_z[0] + (theta[1] if free_head_zero else 0.0)
            drop = np.maximum(read[2] - z @ by_z[2], _TINY_HEAD_M)
            throw = read[1] - z @ by_z[1]
            touched = np.maximum(head, _TINY_HEAD_M)
            cv = float(theta[0])
            angle = min(max(float(theta[n_free - 1]), -1.4), 1.4) if free_angle else at.angle_rad
            for moves_left in (2, 1, 0):
                on_law, per_cv, by_head, by_drop, by_angle = (
                    _level_law(factor, cv, touched, drop)
                    if level
                    else _angled_law(factor, cv, touched, drop, angle)
                )
                fitted = on_law + by_head * (head - touched)
                variance = (by_head * head_u) ** 2 + throw_v + (by_drop * drop_u) ** 2
                if not moves_left:
                    break
                # The nearest point of the law, found from head and throw together; a wild throw may not drag
                # it far.
                move = by_head * head_u**2 / variance * (throw - fitted)
                touched = np.maximum(head + np.minimum(np.maximum(move, -farthest), farthest), _TINY_HEAD_M)
            return _Tangent(fitted, per_cv, by_head, by_drop, by_angle, variance)

        def evaluate(theta: FloatArray) -> Evaluated:
            near = tangent(theta)
            jacobian = np.empty((theta.shape[0], near.fitted.shape[0]))
            jacobian[0] = near.by_cv
            if free_head_zero:
                jacobian[1] = near.by_head
            if free_angle and near.by_angle is not None:
                jacobian[n_free - 1] = near.by_angle
            jacobian[n_free:] = by_z[1] - near.by_head * by_z[0] - near.by_drop * by_z[2]
            return near.fitted + theta[n_free:] @ by_z[1], jacobian, near.variance

        def own_slopes(theta: FloatArray) -> FloatArray:
            near = tangent(theta)
            return np.stack([-near.by_head * head_u, throw_u, -near.by_drop * drop_u])

        return RowsOfLaw(evaluate, own_slopes)

    start = np.zeros(n_free + directions.shape[1])
    over = np.maximum(level_drop(at.drop, at.throw, at.angle_rad), 1e-3 * at.drop)
    start[0] = median(at.throw / (factor * np.sqrt(at.head * over)))
    if free_angle:
        start[n_free - 1] = at.angle_rad
    _begin_near(start, names, near)
    return fit_problem(
        Problem(
            names=tuple(names),
            sources=tuple(at.sources[i] for i in active),
            observed=at.throw,
            start=start,
            law_at=law_at,
            rows=at.rows,
            stated=stated,
            directions=directions,
        ),
        rows_settled=rows_settled,
    )


def fit_drain(
    at: Paired,
    *,
    free_head_zero: bool = False,
    bent: bool = False,
    clock: DrainClock = _ROOT,
    near: JointFit | None = None,
    rows_settled: bool = False,
) -> JointFit:
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
    clock : DrainClock
        What takes the place of √h in a container that is not equally wide at all heights.
    near : JointFit, optional
        A like fit, from whose parameters this one starts.
    rows_settled : bool
        Whether rows that stand far off are out already.

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
    active, directions = _active(at)
    head_s = _by_direction(at, at.head_shared)
    names = ["root_h0", "k"] + ["head_zero"] * free_head_zero + ["bend"] * bent
    n_free = len(names)
    variance, stated = _usable_variance(at.head_u**2, at.head)
    sd = np.sqrt(variance)

    def law_at(keep: RowChoice) -> RowsOfLaw:
        since, bow, by_z, own_u, own_v = time[keep], arch[keep], head_s[:, keep], sd[keep], variance[keep]

        def evaluate(theta: FloatArray) -> Evaluated:
            root = theta[0] - theta[1] * since + (theta[n_free - 1] * bow if bent else 0.0)
            on_law = clock.head(root)
            by_root = clock.head_by_root(root, on_law)
            fitted = on_law + theta[n_free:] @ by_z
            jacobian = np.empty((theta.shape[0], since.shape[0]))
            jacobian[0], jacobian[1] = by_root, -since * by_root
            if free_head_zero:
                jacobian[2] = -1.0
                fitted = fitted - theta[2]
            if bent:
                jacobian[n_free - 1] = by_root * bow
            jacobian[n_free:] = by_z
            return fitted, jacobian, own_v

        def own_slopes(_theta: FloatArray) -> FloatArray:
            return np.stack([own_u, np.zeros_like(own_u), np.zeros_like(own_u)])

        return RowsOfLaw(evaluate, own_slopes)

    root = clock.root(at.head)
    start = np.zeros(n_free + directions.shape[1])
    start[1] = _median_rate(time, root)
    start[0] = median(root + start[1] * time)
    _begin_near(start, names, near)
    return fit_problem(
        Problem(
            names=tuple(names),
            sources=tuple(at.sources[i] for i in active),
            observed=at.head,
            start=start,
            law_at=law_at,
            rows=at.rows,
            stated=stated,
            directions=directions,
        ),
        rows_settled=rows_settled,
    )


def _median_rate(time: FloatArray, root: FloatArray) -> float:
    """Take the rate of fall from the median of slopes between rows half a run apart."""
    half = max(1, time.shape[0] // 2)
    dt = time[half:] - time[:-half]
    moved = dt > 0.0
    if not np.any(moved):
        return float(-(root[-1] - root[0]) / np.ptp(time))
    return median(-(root[half:] - root[:-half])[moved] / dt[moved])
