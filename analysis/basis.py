"""What all findings rest on: rows chosen, throws paired with heads, both joint fits, all straight lines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Protocol

import numpy as np

from analysis.estimate import Estimate
from analysis.gravity import AcceptedGravity, accepted_gravity
from analysis.joint import fit_drain, fit_throws
from analysis.models import SPEED_ROOT_HEAD, SPEED_SQUARED_HEAD, THROW_SQUARED_HEAD, Law, Paired
from analysis.notation import plain
from analysis.pairing import flight_time, heads_at_launch, paired
from analysis.penalised import JointFit
from analysis.rows import ChosenRows, chosen_rows, law_limit_m
from analysis.series import BoolArray, Conditions, FloatArray, IntArray, Series
from analysis.slopes import LawLine, LineResult, chosen_line, line_result, lines_of

_TENSION = 4.0
"""Standard uncertainties by which a head zero must miss the marked one before it is left free. By chance
that is 1 run in 16,000; a lower limit would free zeros that are sound and bias just those runs."""
_TYPICAL_CV, _TYPICAL_CC = 0.97, 0.64
"""Sharp-edged hole (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 17); for second-order corrections
only."""


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """The common ground of all findings of one series."""

    series: Series
    conditions: Conditions
    gravity: AcceptedGravity
    limit_m: float | None
    chosen: ChosenRows
    drain: JointFit | None
    no_drain: str
    """What is missing for a drain curve; "" where there is one."""
    drain_zero_why: str
    bend: JointFit | None
    """The drain curve with √head allowed to bend in time, where there are readings enough."""
    throws: JointFit | None
    throws_zero_why: str
    """Why the head's zero was left free, in words; "" where it was not."""
    pairs: Paired | None
    """Rows of head and throw that the throws' fit used."""
    lines: tuple[LawLine, ...]
    line_results: Mapping[tuple[str, bool], LineResult]
    """By law and whether the intercept is free: the lines on which findings rest."""
    missing_pairs: str
    """What is missing for a fit of the throws; "" where there is one."""
    pairing_words: str
    approach: float
    """Speed of the surface over speed of the jet."""
    cv_without_cut: float | None
    """Cv if the rows below the law's limit were kept; None where none was cut."""
    speed: FloatArray
    speed_own_u: FloatArray
    speed_shared_u: FloatArray
    paired_head: FloatArray
    flight_time: FloatArray
    kept: BoolArray
    reasons: tuple[str, ...]
    mean_of_ratios: Estimate | None

    @property
    def n(self) -> int:
        """Rows of the series."""
        return int(self.series.kept.shape[0])

    def line(self, law: Law, *, free_intercept: bool) -> LineResult | None:
        """Give the line of a law on which findings rest, if there is one."""
        return self.line_results.get((law.key, free_intercept))


def basis_of(series: Series, conditions: Conditions) -> Basis:
    """
    Choose rows, pair, and fit.

    Parameters
    ----------
    series : Series
        The run.
    conditions : Conditions
        What was measured once.

    Returns
    -------
    Basis
        With None for every fit that the readings do not allow.
    """
    gravity = accepted_gravity(conditions)
    limit = law_limit_m(conditions)
    chosen = chosen_rows(series, limit)
    drain, drain_at, drain_why, no_drain = _drain_fit(series, chosen.with_head, gravity)
    usable = chosen.with_head.copy()
    if drain is not None:
        usable[drain.outlying] = False
    approach = _approach(series, conditions, gravity, drain)
    throws, pairs, why = _throws_fit(series, chosen.with_throw & usable, gravity, drain, approach)
    if pairs is not None and throws is not None and throws.outlying.size:
        pairs = paired(series, _mask(throws.rows, series.kept.shape[0]), gravity, drain)
    cv_uncut = None
    if np.any(chosen.below_limit):
        whole = chosen_rows(series, None)
        uncut, _, _ = _throws_fit(
            series, whole.with_throw & (usable | chosen.below_limit), gravity, drain, approach
        )
        cv_uncut = None if uncut is None else uncut.value("cv")
    lines = lines_of(pairs, drain_at)
    reasons, kept = _reasons(chosen, series, drain, throws)
    speed, own_u, shared_u, head, flight = _row_results(series, gravity, drain)
    return Basis(
        series=series,
        conditions=conditions,
        gravity=gravity,
        limit_m=limit,
        chosen=chosen,
        drain=drain,
        no_drain=no_drain,
        drain_zero_why=drain_why,
        bend=_bent(drain, drain_at),
        throws=throws,
        throws_zero_why=why,
        pairs=pairs,
        lines=lines,
        line_results=_line_results(lines, pairs, series.kept.shape[0]),
        missing_pairs="" if throws is not None else _missing_pairs(series),
        pairing_words=_pairing_words(pairs, drain, flight),
        approach=approach,
        cv_without_cut=cv_uncut,
        speed=speed,
        speed_own_u=own_u,
        speed_shared_u=shared_u,
        paired_head=head,
        flight_time=flight,
        kept=kept,
        reasons=reasons,
        mean_of_ratios=None if pairs is None else _mean_of_ratios(pairs, series.kept.shape[0], approach),
    )


def _mask(rows: IntArray, n: int) -> BoolArray:
    mask = np.zeros(n, dtype=bool)
    mask[rows] = True
    return mask


def _drain_fit(
    series: Series, rows: BoolArray, gravity: AcceptedGravity
) -> tuple[JointFit | None, Paired | None, str, str]:
    """Fit the drain curve; give its rows, why its zero was left free, and what is missing."""
    if series.head is None or series.time_s is None:
        lacking = [name for name, there in (("head", series.head), ("time", series.time_s)) if there is None]
        return None, None, "", " and ".join(lacking)
    m = int(np.sum(rows))
    least = 2 if np.any(series.head.own_u[rows] > 0.0) else 3
    if m < least:
        return None, None, "", f"heads at {least} times or more; there are {m}"
    at = paired(series, rows, gravity, None, with_throw=False)
    if at.time_s is None or not float(np.ptp(at.time_s)) > 0.0:
        return None, None, "", "heads at times that differ"
    fit, why = _with_honest_zero(fit_drain, at, flat_if_unstated=False)
    if fit is None:
        return None, None, "", "heads that the law of draining can be fitted to"
    if fit.outlying.size:
        at = paired(series, _mask(fit.rows, series.kept.shape[0]), gravity, None, with_throw=False)
    return fit, at, why, ""


def _throws_fit(
    series: Series, rows: BoolArray, gravity: AcceptedGravity, drain: JointFit | None, approach: float
) -> tuple[JointFit | None, Paired | None, str]:
    """Fit the throws; give their pairs and why the head's zero was left free."""
    if not np.any(rows):
        return None, None, ""
    at = paired(series, rows, gravity, drain)
    if not np.all(at.head > 0.0):
        return None, None, ""
    fit, why = _with_honest_zero(partial(fit_throws, approach=approach), at, flat_if_unstated=True)
    return fit, at if fit is not None else None, why


def _bent(drain: JointFit | None, at: Paired | None) -> JointFit | None:
    """Fit the drain curve once more with a bend, where there are readings enough to show one."""
    if drain is None or at is None or at.head.shape[0] < 8:
        return None
    return _sound(partial(fit_drain, bent=True), at, free=drain.has("head_zero"))


class _FitOfLaw(Protocol):
    """Fits a law to rows, with the head's zero held or free."""

    def __call__(self, at: Paired, *, free_head_zero: bool = ...) -> JointFit: ...


def _with_honest_zero(
    fit_of: _FitOfLaw, at: Paired, *, flat_if_unstated: bool
) -> tuple[JointFit | None, str]:
    """
    Give the fit whose head zero may be believed, and why it was left free if it was.

    A stated uncertainty of the zero is trusted until the readings contradict it clearly; then Cv (or k)
    comes from the shape of the law alone, which a lost head, such as surface tension takes, cannot bias.
    """
    held = _sound(fit_of, at, free=False)
    if held is None or at.head.shape[0] < 6 or float(np.max(at.head)) < 1.5 * float(np.min(at.head)):
        return held, ""
    free = _sound(fit_of, at, free=True)
    if free is None:
        return held, ""
    if flat_if_unstated and not np.any(at.head_shared[:, :-2] != 0.0):
        return free, "no uncertainty of the zero was stated"
    i = free.names.index("head_zero")
    by = abs(float(free.theta[i])) / math.sqrt(float(free.covariance[i, i]))
    if by > _TENSION:
        return free, f"the readings miss the marked zero by {by:.1f} standard uncertainties"
    return held, ""


def _sound(fit_of: _FitOfLaw, at: Paired, *, free: bool) -> JointFit | None:
    """Give a fit if its numbers are finite."""
    try:
        fit = fit_of(at, free_head_zero=free)
    except np.linalg.LinAlgError:
        return None
    return fit if fit.sound else None


def _approach(
    series: Series, conditions: Conditions, gravity: AcceptedGravity, drain: JointFit | None
) -> float:
    """
    Speed of the surface over speed of the jet, from what was measured.

    The surface falls at 2 k √h and the jet leaves at Cv √(2 g h), so that with times no area is needed.
    """
    if drain is not None:
        k = max(0.0, drain.value("k"))
        # The effect is of second order, so that a typical Cv serves.
        return min(0.9, 2.0 * k / (_TYPICAL_CV * math.sqrt(2.0 * gravity.value)))
    area, d = conditions.container_area_m2, conditions.orifice_diameter_m
    if series.head is None or not area or not d or area <= 0.0:
        return 0.0
    return min(0.9, _TYPICAL_CC * math.pi * d**2 / 4.0 / area)


def _missing_pairs(series: Series) -> str:
    """Name what is missing where no throw could be fitted."""
    lacking = [name for name in ("head", "throw", "drop") if getattr(series, name) is None]
    return (
        " and ".join(lacking)
        or "a reading with head, throw and drop, all above zero and within the law's range"
    )


def _line_results(
    lines: tuple[LawLine, ...], pairs: Paired | None, n: int
) -> Mapping[tuple[str, bool], LineResult]:
    """Turn the lines of head and throw on which findings rest into estimates."""
    results: dict[tuple[str, bool], LineResult] = {}
    if pairs is None:
        return MappingProxyType(results)
    for law, free in (
        (SPEED_ROOT_HEAD, True),
        (SPEED_SQUARED_HEAD, True),
        (THROW_SQUARED_HEAD, True),
        (THROW_SQUARED_HEAD, False),
    ):
        fitted = chosen_line(lines, law, free_intercept=free)
        if fitted is not None and (fitted.line.dof > 0 or fitted.errors_in_both):
            result = line_result(fitted, n, pairs.sources, pairs.time_s)
            if result is not None:
                results[law.key, free] = result
    return MappingProxyType(results)


def _reasons(
    chosen: ChosenRows, series: Series, drain: JointFit | None, throws: JointFit | None
) -> tuple[tuple[str, ...], BoolArray]:
    """Say why rows were left out, and which took part."""
    reasons = list(chosen.reasons)
    for fit, what in (
        (drain, "head stands {:.1f} standard uncertainties off the drain curve"),
        (throws, "throw stands {:.1f} standard uncertainties off the law"),
    ):
        if fit is not None:
            for row, by in zip(fit.outlying, fit.outlying_by, strict=True):
                reasons[row] = reasons[row] or what.format(by)
    return tuple(reasons), series.kept & np.array([not words for words in reasons], dtype=bool)


def _row_results(
    series: Series, gravity: AcceptedGravity, drain: JointFit | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Give speed, its own and shared uncertainty, head at launch and time of flight, row by row."""
    n = series.kept.shape[0]
    speed, own_u, shared_u, head, flight = (np.full(n, math.nan) for _ in range(5))
    if series.drop is None:
        return speed, own_u, shared_u, head, flight
    drop = series.drop.values
    flight = flight_time(np.where(np.isfinite(drop), drop, -1.0), gravity.value)
    if series.throw is None:
        return speed, own_u, shared_u, head, flight
    throw = series.throw.values
    with np.errstate(invalid="ignore"):
        seen = np.isfinite(throw) & np.isfinite(flight)
        speed = np.where(seen, throw / flight, math.nan)
        by_throw = np.where(series.throw.own_u > 0.0, series.throw.own_u, 0.0) / flight
        by_drop = speed / (2.0 * drop) * np.where(series.drop.own_u > 0.0, series.drop.own_u, 0.0)
        own_u = np.where(seen, np.hypot(by_throw, by_drop), math.nan)
        columns = series.throw.shared / flight[:, None] - (speed / (2.0 * drop))[:, None] * series.drop.shared
        by_g = speed / (2.0 * gravity.value) * gravity.u
        shared_u = np.where(seen, np.sqrt(np.sum(columns**2, axis=1) + by_g**2), math.nan)
    head = np.where(seen, heads_at_launch(series, gravity, drain, drop), math.nan)
    return speed, own_u, shared_u, head, flight


def _pairing_words(pairs: Paired | None, drain: JointFit | None, flight: FloatArray) -> str:
    """Say in words how throws were paired with heads."""
    if pairs is None:
        return ""
    if drain is None or pairs.time_s is None:
        return (
            "without times each throw is compared with the head of its own moment; the level falls during "
            "the "
            "flight, which is of no account for a slow drain and may lift Cv by up to a hundredth for a "
            "fast one"
        )
    typical = float(np.nanmedian(flight[pairs.rows]))
    return f"each throw is compared with the head one flight time ({plain(typical, 3)} s) earlier"


def _mean_of_ratios(at: Paired, n: int, approach: float) -> Estimate:
    """Give Cv as the mean of x/(2√(y₀h)), biased by any error of the head's zero."""
    m = at.head.shape[0]
    factor = math.sqrt(1.0 - approach**2)
    ratio = factor * at.throw / (2.0 * np.sqrt(at.head * at.drop))
    by_head, by_throw, by_drop = -ratio / (2.0 * at.head), ratio / at.throw, -ratio / (2.0 * at.drop)
    seen = float(np.std(ratio, ddof=1)) if m > 1 else 0.0
    own = np.zeros((3, n))
    own[:, at.rows] = np.stack([by_head * at.head_u, by_throw * at.throw_u, by_drop * at.drop_u]) / m
    stated = math.sqrt(float(np.sum(own**2)) * m)
    if stated > 0.0:
        own *= max(1.0, seen / stated)
    else:
        own[1, at.rows] = seen / m
    columns = (
        by_head[:, None] * at.head_shared
        + by_throw[:, None] * at.throw_shared
        + by_drop[:, None] * at.drop_shared
    )
    moves = dict(zip(at.sources, np.mean(columns, axis=0).tolist(), strict=True))
    return Estimate(float(np.mean(ratio)), own, MappingProxyType(moves))
