"""Laws of throws and of draining with one thing wrong in them, fitted to a run in few pseudo-readings."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.basis import Basis
from analysis.drain_clock import DrainClock
from analysis.expected import expected_of
from analysis.published import ExpectedBand
from analysis.scatter import scatter_of
from analysis.series import FloatArray, IntArray

MOST_GROUPS = 60
"""Pseudo-readings of each law at most."""
_LEAST = 1e-9
_EDGE = 0.004
"""How sharp the ends of a published band are, relative; they are printed to a hundredth."""


@dataclass(frozen=True, slots=True)
class Wrong:
    """What the truth has more than was stated or marked; all nought is a sound run."""

    drop_m: float = 0.0
    throw_zero_m: float = 0.0
    throw_scale: float = 0.0
    head_zero_m: float = 0.0
    head_scale: float = 0.0
    angle_rad: float = 0.0
    head_lost_m: float = 0.0
    """Head that the jet's flight lacks."""
    drain_lost_m: float = 0.0
    """Head that the discharge lacks."""
    taper: float = 0.0
    """Relative change of the container's area from the lowest to the highest head."""
    flow: float = 0.0
    """Change of ln(discharge) beside the law: a wrong clock or area."""
    hole_flow: float = 0.0
    """The same, where the discharge is set against the hole's area."""
    jet_flow: float = 0.0
    """The same, where it is set against the jet's measured area."""


Trial = Callable[[float], Wrong]


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The laws fitted with one suspect free."""

    size: float
    size_u: float
    misfit: float
    """χ² with the suspect free: readings, shared sources, published coefficients."""
    misfit_of_shape: float
    """χ² of the readings alone with the suspect held at `size`."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """A run ready for trials."""

    head: FloatArray
    """(g,) m at launch; empty without throws."""
    throw: FloatArray
    drop: FloatArray
    time: FloatArray
    """(d,) s since the first; empty without a drain curve."""
    read_head: FloatArray
    clock: DrainClock
    factor: float
    """On the jet's speed, for that of the surface."""
    middle: float
    span: float
    """m, of the heads of the drain."""
    cv: ExpectedBand | None
    cd: ExpectedBand | None
    cd_sd: float
    """Relative standard uncertainty of Cd beside its band: hole and area."""
    per_k: float | None
    """Cd over k; None where hole or area are not known."""
    jet_per_k: float | None
    """k A/(a_jet √(g/2)) over k, which is Cv for a measured jet; None without one."""
    jet_sd: float
    whiten: FloatArray
    """Inverse root of the covariance of all rows."""
    whiten_shape: FloatArray
    """The same of the readings alone."""
    start: FloatArray

    @property
    def n_readings(self) -> int:
        """Pseudo-readings of both laws."""
        return int(self.throw.shape[0] + self.read_head.shape[0])

    def misses(
        self,
        theta: FloatArray,
        wrong: Wrong,
        cv: ExpectedBand | None,
        cd: ExpectedBand | None,
        *,
        flat: bool = False,
    ) -> FloatArray:
        """Give observed less expected: throws, heads, then levels; `flat`: all of a band is as good."""
        parts = []
        at = 0
        level = []
        speed = None
        if self.throw.size:
            speed, at = float(theta[0]), 1
            parts.append(self.throw - self._throws(speed, wrong))
            if cv is not None:
                level.append(_off(speed, cv, 0.0, flat=flat))
        if self.read_head.size:
            root_h0, k = float(theta[at]), max(float(theta[at + 1]), _LEAST)
            parts.append(self.read_head - self._heads(root_h0, k, wrong))
            if cd is not None and self.per_k is not None:
                # A search may stray anywhere; past e^50 a hole is no hole, and further on no number.
                found = k * self.per_k * math.exp(min(wrong.flow + wrong.hole_flow, 50.0))
                level.append(_off(found, cd, cd.reckoned * self.cd_sd, flat=flat))
            if self.jet_per_k is not None and speed is not None:
                expected = math.log(max(speed, _LEAST) / (k * self.jet_per_k))
                level.append((expected - wrong.flow - wrong.jet_flow) / self.jet_sd)
        return np.concatenate([*parts, np.array(level)])

    def _throws(self, cv: float, wrong: Wrong) -> FloatArray:
        head = self.head * (1.0 + wrong.head_scale) + wrong.head_zero_m - wrong.head_lost_m
        s = np.maximum((self.factor * cv) ** 2 * head, _LEAST)
        drop = np.maximum(self.drop + wrong.drop_m, _LEAST)
        sine, cosine = math.sin(wrong.angle_rad), math.cos(wrong.angle_rad)
        throw = 2.0 * s * cosine * (sine + np.sqrt(sine**2 + drop / s))
        return np.asarray((throw - wrong.throw_zero_m) / (1.0 + wrong.throw_scale), dtype=np.float64)

    def _heads(self, root_h0: float, k: float, wrong: Wrong) -> FloatArray:
        root = root_h0 - k * self.time
        head = self.clock.head(root)
        if wrong.taper:
            for _ in range(3):
                stretch = 1.0 + wrong.taper * (head / 3.0 - self.middle) / self.span
                head = self.clock.head(root / np.maximum(stretch, 0.1))
        head = head + wrong.drain_lost_m
        return np.asarray((head - wrong.head_zero_m) / (1.0 + wrong.head_scale), dtype=np.float64)

    def solved(
        self, trial: Trial | None, step: float, cv: ExpectedBand | None, cd: ExpectedBand | None
    ) -> Solved:
        """
        Fit the laws with one suspect free, or with none.

        Parameters
        ----------
        trial : callable, optional
            Size of the suspect to what is wrong; None: nothing is.
        step : float
            A small size.
        cv, cd : ExpectedBand, optional
            What is expected of the coefficients.
        """
        free = 0 if trial is None else 1
        theta = np.concatenate([self.start, np.zeros(free)])
        steps = np.concatenate([1e-5 * np.abs(self.start) + 1e-12, np.full(free, step)])

        def wrong_of(theta: FloatArray) -> Wrong:
            return Wrong() if trial is None else trial(float(theta[-1]))

        def misses(theta: FloatArray) -> FloatArray:
            return self.whiten @ self.misses(theta, wrong_of(theta), cv, cd)

        theta, inverse, _ = _settled(misses, theta, steps)

        # A size is told for the middle of a band; as evidence all places in it are as good.
        def flatly(theta: FloatArray) -> FloatArray:
            return self.whiten @ self.misses(theta, wrong_of(theta), cv, cd, flat=True)

        _, _, misfit = _settled(flatly, theta, steps)
        wrong = wrong_of(theta)
        m = self.n_readings

        def of_shape(theta: FloatArray) -> FloatArray:
            return self.whiten_shape @ self.misses(theta, wrong, None, None)[:m]

        start = theta[: self.start.shape[0]]
        _, _, misfit_of_shape = _settled(of_shape, start, steps[: start.shape[0]])
        if not free:
            return Solved(0.0, math.inf, misfit, misfit_of_shape)
        return Solved(float(theta[-1]), math.sqrt(max(0.0, float(inverse[-1, -1]))), misfit, misfit_of_shape)


def _off(value: float, band: ExpectedBand, u: float, *, flat: bool) -> float:
    """
    How far a coefficient lies off its band, in standard deviations that grow fast beyond its ends.

    Inside, a band counts as evenly likely all over; a value outside has to come back, however wide it is.
    """
    inside = (band.reckoned - value) / math.hypot((band.high - band.low) / math.sqrt(12.0), u)
    beyond = min(0.0, band.high - value) + max(0.0, band.low - value)
    return (0.0 if flat else inside) + beyond / math.hypot(_EDGE * band.reckoned, u)


def _settled(
    misses: Callable[[FloatArray], FloatArray], theta: FloatArray, steps: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Least squares by Gauss-Newton; steps are halved until χ² falls."""
    p = theta.shape[0]
    r = misses(theta)
    cost = float(r @ r)
    inverse = np.full((p, p), math.inf)
    for _ in range(12):
        jacobian = np.stack([(misses(theta + steps * unit) - r) for unit in np.eye(p)], axis=1) / steps
        scale = np.sqrt(np.sum(jacobian**2, axis=0))
        # A direction that moves nothing is not known, rather than known well.
        still = ~(scale > 0.0)
        scale[still] = 1.0
        scaled = jacobian / scale
        pseudo = np.linalg.pinv(scaled.T @ scaled, rcond=1e-12, hermitian=True)
        inverse = pseudo / np.outer(scale, scale)
        inverse[still, still] = math.inf
        move = -(pseudo @ (scaled.T @ r)) / scale
        gained = 0.0
        for _ in range(6):
            there = misses(theta + move)
            new = float(there @ there)
            if new <= cost:
                gained = cost - new
                theta, r, cost = theta + move, there, new
                break
            move = move / 2.0
        if gained < 1e-3:
            break
    return theta, inverse, cost


def bench_of(basis: Basis) -> Bench | None:
    """
    Make a run ready for trials.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.

    Returns
    -------
    Bench or None
        None where the run has neither throws nor a drain curve with readings to spare.
    """
    at, drain = basis.pairs, basis.drain
    n_sources = len(basis.corrected.throws.sources) + 2
    blocks: list[tuple[FloatArray, FloatArray]] = []
    start: list[float] = []
    empty = np.zeros(0)
    head = throw = drop = time = read_head = empty
    factor = 1.0 / math.sqrt(1.0 - basis.approach**2)
    if at is not None and basis.throws is not None and at.head.shape[0] >= 3:
        per_head, per_drop = at.throw / (2.0 * at.head), at.throw / (2.0 * at.drop)
        own = (per_head * at.head_u) ** 2 + at.throw_u**2 + (per_drop * at.drop_u) ** 2
        ratio = at.throw / (2.0 * factor * np.sqrt(at.head * at.drop))
        cv = float(np.median(ratio))
        miss = at.throw - 2.0 * factor * cv * np.sqrt(at.head * at.drop)
        variance = _own_variance(miss, own)
        moved = at.throw_shared - per_head[:, None] * at.head_shared - per_drop[:, None] * at.drop_shared
        groups = _groups(at.head.shape[0])
        head, throw, drop = (_mean(each, groups) for each in (at.head, at.throw, at.drop))
        blocks.append((_mean(variance, groups) / _sizes(groups, at.head.shape[0]), _mean(moved, groups)))
        start.append(cv)
    seen = basis.corrected.drain
    middle, span = 0.0, 1.0
    if drain is not None and seen.head is not None and seen.time_s is not None and drain.rows.shape[0] >= 4:
        rows = drain.rows
        values, times = seen.head.values[rows], seen.time_s[rows] - seen.time_s[drain.first_row]
        pull = seen.head.shared[rows]
        variance = _own_variance(values - drain.fitted, seen.head.own_u[rows] ** 2)
        groups = _groups(rows.shape[0])
        time, read_head = _mean(times, groups), _mean(values, groups)
        moved = np.concatenate([pull, np.zeros((rows.shape[0], 2))], axis=1)
        blocks.append((_mean(variance, groups) / _sizes(groups, rows.shape[0]), _mean(moved, groups)))
        start += [drain.value("root_h0"), drain.value("k")]
        middle, span = float(np.mean(values)), max(float(np.ptp(values)), 1e-3)
    if not blocks or (at is not None and blocks[0][1].shape[1] != n_sources):
        return None
    own = np.concatenate([own for own, _ in blocks])
    shared = np.concatenate([moved for _, moved in blocks])
    covariance = np.diag(own) + shared @ shared.T
    root = _inverse_root(covariance)
    if root is None:
        return None
    bands = expected_of(basis)
    bench = Bench(
        head=head,
        throw=throw,
        drop=drop,
        time=time,
        read_head=read_head,
        clock=basis.clock,
        factor=factor,
        middle=middle,
        span=span,
        cv=bands["speed_coefficient"],
        cd=bands["discharge_coefficient"],
        cd_sd=0.0,
        per_k=None,
        jet_per_k=None,
        jet_sd=1.0,
        whiten=root,
        whiten_shape=root,
        start=np.array(start),
    )
    return _with_levels(bench, basis)


def _with_levels(bench: Bench, basis: Basis) -> Bench:
    """Add what is expected of the coefficients: uncorrelated rows behind the readings."""
    at = basis.conditions
    area, d, jet = at.container_area_m2, at.orifice_diameter_m, at.jet_diameter_m
    u_area = (at.container_area_u_m2 or 0.0) / area if area else 0.0
    if basis.clock.profile is not None:
        area, u_area = basis.clock.reference_m2, at.profile_relative_u or 0.0
    by_g = math.sqrt(basis.gravity.value / 2.0)
    if area and area > 0.0 and d and d > 0.0:
        cd_sd = math.hypot(u_area, 2.0 * (at.orifice_diameter_u_m or 0.0) / d)
        bench = replace(bench, per_k=area / (math.pi * d**2 / 4.0 * by_g), cd_sd=cd_sd)
    if area and area > 0.0 and jet and jet > 0.0:
        sd = math.hypot(u_area, 2.0 * (at.jet_diameter_u_m or 0.0) / jet, 0.002)
        bench = replace(bench, jet_per_k=area / (math.pi * jet**2 / 4.0 * by_g), jet_sd=sd)
    levels = bench.misses(bench.start, Wrong(), bench.cv, bench.cd).shape[0] - bench.n_readings
    m = bench.n_readings
    whole = np.zeros((m + levels, m + levels))
    whole[:m, :m] = bench.whiten_shape
    whole[m:, m:] = np.eye(levels)
    return replace(bench, whiten=whole)


def _inverse_root(covariance: FloatArray) -> FloatArray | None:
    size = np.sqrt(np.diag(covariance))
    if not (np.all(np.isfinite(size)) and np.all(size > 0.0)):
        return None
    try:
        lower = np.linalg.cholesky(covariance / np.outer(size, size) + 1e-12 * np.eye(size.shape[0]))
    except np.linalg.LinAlgError:
        return None
    return np.asarray(np.linalg.inv(lower) / size, dtype=np.float64)


def _own_variance(misses: FloatArray, stated: FloatArray) -> FloatArray:
    """
    Own variances as the readings show them about a smooth curve that any suspect may draw.

    Counted about the law itself, the very trouble that is looked for would widen them.
    """
    m = misses.shape[0]
    known = np.isfinite(stated) & (stated > 0.0)
    floor = (1e-6 * max(float(np.max(np.abs(misses))), 1e-6)) ** 2
    any_stated = bool(np.any(known))
    variance = np.where(known, stated, float(np.median(stated[known]))) if any_stated else np.ones(m)
    z = misses / np.sqrt(variance)
    degree = min(5, max(1, m // 6))
    curve = np.polynomial.chebyshev.chebvander(np.linspace(-1.0, 1.0, m), degree)
    z = z - curve @ np.linalg.lstsq(curve, z, rcond=None)[0]
    scatter = scatter_of(z, degree + 1.0, stated=any_stated)
    return np.asarray(np.maximum(variance * scatter.inflation, floor), dtype=np.float64)


def _groups(m: int) -> IntArray:
    """Give the first row of each of at most MOST_GROUPS groups of neighbours."""
    count = min(m, MOST_GROUPS)
    return np.asarray((np.arange(count) * m) // count, dtype=np.intp)


def _sizes(starts: IntArray, m: int) -> FloatArray:
    return np.diff(np.append(starts, m)).astype(np.float64)


def _mean(values: FloatArray, starts: IntArray) -> FloatArray:
    sizes = _sizes(starts, values.shape[0])
    total = np.add.reduceat(values, starts, axis=0)
    return np.asarray(total / (sizes if values.ndim == 1 else sizes[:, None]), dtype=np.float64)
