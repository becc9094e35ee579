"""What all findings rest on: rows chosen, throws paired with heads, both joint fits, all straight lines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.drain_clock import DrainClock, drain_clock
from analysis.estimate import Estimate
from analysis.gravity import AcceptedGravity, accepted_gravity
from analysis.law_fits import (
    BothZeros,
    Hidden,
    ThrowsLaw,
    bent_drain,
    drain_fit,
    mask,
    zero_borne_out,
    zero_denied,
)
from analysis.models import SPEED_ROOT_HEAD, SPEED_SQUARED_HEAD, THROW_SQUARED_HEAD, Law, Paired
from analysis.notation import plain
from analysis.pairing import as_level, flight_time, heads_at_launch
from analysis.penalised import JointFit
from analysis.rows import ChosenRows, chosen_rows, law_limit_m
from analysis.series import BoolArray, Conditions, Corrections, FloatArray, Series
from analysis.shifts import Corrected, Shift, corrected, level_drop, shifts_of
from analysis.slopes import LawLine, LineResult, chosen_line, line_result, lines_of
from analysis.water import capillary_loss_m, water_at
from analysis.words import marked, said

_NARROW_M = 3e-3
"""Diameter of a narrow hole, for one that is not known: surface tension takes more there."""
_TYPICAL_CV, _TYPICAL_CC = 0.97, 0.64
"""Sharp-edged hole (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 17); for second-order corrections
only."""


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """The common ground of all findings of one series."""

    series: Series
    """As read."""
    conditions: Conditions
    corrections: Corrections
    """Which corrections were wanted."""
    shifts: Mapping[str, Shift | str]
    """What each correction that is a shift would add, applied or not; words where an input is missing."""
    corrected: Corrected
    """The series as the laws saw it."""
    gravity: AcceptedGravity
    limit_m: float | None
    """Where the law ends for this hole, whether rows below it were left out or not."""
    chosen: ChosenRows
    clock: DrainClock
    """What falls evenly in time in this container."""
    drain: JointFit | None
    no_drain: str
    """What is missing for a drain curve; "" where there is one."""
    drain_zero_why: str
    """Why the head's zero was left free in it, in words; "" where it was not."""
    uneven_why: str
    """Why √head does not fall evenly though the head's zero is right, in words; "" where it does. The drain
    curve then has a bend, and its k is that of the straight line between its ends."""
    bend: JointFit | None
    """The drain curve with √head allowed to bend in time, where there are readings enough."""
    law: ThrowsLaw
    """The law that the throws were fitted with."""
    throws: JointFit | None
    angled: JointFit | None
    """The throws fitted once more with the jet's angle free, where there are readings enough."""
    both_zeros: BothZeros
    """The throws fitted with the head's zero held and free; `throws` is the one of them that is believed."""
    throws_zero_why: str
    """Why the head's zero was left free, in words; "" where it was not."""
    pairs: Paired | None
    """Rows of head and throw that the throws' fit used, drops being those of level jets thrown as far."""
    lines: tuple[LawLine, ...]
    line_results: Mapping[tuple[str, bool], LineResult]
    """By law and whether the intercept is free: the lines on which findings rest."""
    missing_pairs: str
    """What is missing for a fit of the throws; "" where there is one."""
    pairing_words: str
    approach: float
    """Speed of the surface over speed of the jet; zero where it was not to be allowed for."""
    full_approach: float | None
    """The same whether allowed for or not; None where it is not known."""
    cv_other_cut: float | None
    """Cv if the rows below the law's limit were kept where they were cut, or cut where they were kept; None
    where there are none, or too few would be left."""
    any_low: bool
    """Whether any kept row lies below the law's limit."""
    fall_in_flight: FloatArray
    """(n,) m, how far the level falls while a throw's water flies, applied or not; NaN where unknown."""
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


_AS_USUAL = Corrections()


def basis_of(series: Series, conditions: Conditions, corrections: Corrections = _AS_USUAL) -> Basis:
    """
    Choose rows, pair, and fit.

    Parameters
    ----------
    series : Series
        The run.
    conditions : Conditions
        What was measured once.
    corrections : Corrections
        Which corrections of the law are applied.

    Returns
    -------
    Basis
        With None for every fit that the readings do not allow.
    """
    gravity = accepted_gravity(conditions)
    limit = law_limit_m(conditions)
    shifts = shifts_of(series, conditions, gravity)
    seen = corrected(series, shifts, corrections, conditions)
    cut, uncut = chosen_rows(series, limit), None
    if np.any(cut.below_limit):
        uncut = chosen_rows(series, None)
    chosen, other = (cut, uncut) if corrections.low_heads or uncut is None else (uncut, cut)
    clock = drain_clock(conditions.profile, _heads(series))
    told = _usable(seen.drain, chosen.with_head) & clock.covers(_heads(seen.drain))
    both_drain, drain_at, no_drain = drain_fit(seen.drain, told, gravity, clock)
    drain = both_drain.chosen
    usable = _usable(seen.throws, chosen.with_head)
    if drain is not None:
        usable[drain.outlying] = False
    full_approach = _approach(series, conditions, gravity, drain)
    approach = (full_approach or 0.0) if corrections.surface_speed else 0.0
    law = ThrowsLaw(seen, gravity, drain if corrections.fall_during_flight else None, clock, approach)
    both, pairs = law.fit(chosen.with_throw & usable)
    throws = both.chosen
    if pairs is not None and throws is not None and throws.outlying.size:
        pairs = law.pairs(mask(throws.rows, series.kept.shape[0]))
    n, zero_why = series.kept.shape[0], both_drain.why
    uneven = zero_denied(both_drain, both, n, _hidden(conditions, gravity))
    bend = bent_drain(both_drain.held, drain_at, clock) if uneven else None
    if bend is None:
        if not uneven and not zero_borne_out(both_drain, both, n):
            drain, zero_why = both_drain.held, ""
        uneven, bend = "", bent_drain(drain, drain_at, clock)
    angled = None if throws is None or pairs is None else law.with_free_angle(throws, pairs)
    cv_other = None
    if other is not None:
        allowed = usable | (cut.below_limit & _usable(seen.throws, other.with_head))
        refit = law.fit(other.with_throw & allowed)[0].chosen
        cv_other = None if refit is None else refit.value("cv")
    pairs = None if pairs is None else as_level(pairs)
    if pairs is not None and not np.all(pairs.drop > 0.0):
        pairs = None  # a jet that left so steeply down was not thrown so far: no level jet is like it
    lines = lines_of(pairs, drain_at)
    reasons, kept = _reasons(chosen, series, drain, throws)
    speed, own_u, shared_u, head, flight = _row_results(series, law)
    return Basis(
        series=series,
        conditions=conditions,
        corrections=corrections,
        shifts=shifts,
        corrected=seen,
        gravity=gravity,
        limit_m=limit,
        chosen=chosen,
        clock=clock,
        drain=bend if uneven else drain,
        no_drain=no_drain,
        drain_zero_why="" if uneven else zero_why,
        uneven_why=uneven,
        bend=bend,
        law=law,
        throws=throws,
        angled=angled,
        both_zeros=both,
        throws_zero_why=both.why,
        pairs=pairs,
        lines=lines,
        line_results=_line_results(lines, pairs, series.kept.shape[0]),
        missing_pairs="" if throws is not None else _missing_pairs(series),
        pairing_words=_pairing_words(pairs, drain, flight, wanted=corrections.fall_during_flight),
        approach=approach,
        full_approach=full_approach,
        cv_other_cut=cv_other,
        any_low=bool(np.any(cut.below_limit)),
        fall_in_flight=_fall_in_flight(series, drain, flight, clock),
        speed=speed,
        speed_own_u=own_u,
        speed_shared_u=shared_u,
        paired_head=head,
        flight_time=flight,
        kept=kept,
        reasons=reasons,
        mean_of_ratios=None if pairs is None else _mean_of_ratios(pairs, series.kept.shape[0], approach),
    )


def _heads(series: Series) -> FloatArray:
    return np.full(series.kept.shape[0], math.nan) if series.head is None else series.head.values


def _usable(series: Series, rows: BoolArray) -> BoolArray:
    """Rows whose corrected head, drop and throw are still above zero."""
    good = rows.copy()
    for column in (series.head, series.throw, series.drop):
        if column is not None:
            with np.errstate(invalid="ignore"):
                good &= ~(column.values <= 0.0)
    return good


def _hidden(conditions: Conditions, gravity: AcceptedGravity) -> Hidden:
    """Say what a mark at the hole's rim and surface tension hide; of an unknown hole as of a narrow one."""
    d, temperature = conditions.orifice_diameter_m, conditions.water_temperature_c
    if d is not None and not (math.isfinite(d) and d > 0.0):
        d = None
    if temperature is None or not 0.0 <= temperature <= 40.0:
        temperature = 20.0
    loss = capillary_loss_m(water_at(temperature), _NARROW_M if d is None else d, gravity.value)[1]
    # The throws lose up to 4 σ/(ρ g dj), the flow Laplace's 2 of it.
    return Hidden(0.5 * loss, None if d is None else d + loss)


def _approach(
    series: Series, conditions: Conditions, gravity: AcceptedGravity, drain: JointFit | None
) -> float | None:
    """
    Speed of the surface over speed of the jet, from what was measured; None where that is not enough.

    The surface falls at 2 k √h and the jet leaves at Cv √(2 g h), so that with times no area is needed.
    """
    if drain is not None:
        k = max(0.0, drain.value("k"))
        # The effect is of second order, so that a typical Cv serves.
        return min(0.9, 2.0 * k / (_TYPICAL_CV * math.sqrt(2.0 * gravity.value)))
    area, d = conditions.container_area_m2, conditions.orifice_diameter_m
    if series.head is None or not area or not d or area <= 0.0:
        return None
    return min(0.9, _TYPICAL_CC * math.pi * d**2 / 4.0 / area)


def _missing_pairs(series: Series) -> str:
    """Name what is missing where no throw could be fitted."""
    lacking = [name for name in ("head", "throw", "drop") if getattr(series, name) is None]
    return said(" and ").join(lacking) or said(
        "a reading with head, throw and drop, all above zero and within the law's range"
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
        (drain, marked("head stands {by:.1f} standard uncertainties off the drain curve")),
        (throws, marked("throw stands {by:.1f} standard uncertainties off the law")),
    ):
        if fit is not None:
            for row, by in zip(fit.outlying, fit.outlying_by, strict=True):
                reasons[row] = reasons[row] or said(what, by=by)
    return tuple(reasons), series.kept & np.array([not words for words in reasons], dtype=bool)


def _fall_in_flight(
    series: Series, drain: JointFit | None, flight: FloatArray, clock: DrainClock
) -> FloatArray:
    if series.head is None or drain is None:
        return np.full(series.kept.shape[0], math.nan)
    return np.asarray(heads_at_launch(series, drain, flight, clock) - series.head.values, dtype=np.float64)


def _row_results(
    series: Series, law: ThrowsLaw
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Give speed, its own and shared uncertainty, head at launch and time of flight, row by row."""
    n = series.kept.shape[0]
    speed, own_u, shared_u, head, flight = (np.full(n, math.nan) for _ in range(5))
    read, angle, gravity = law.seen.throws, law.seen.angle_rad, law.gravity
    if read.drop is None:
        return speed, own_u, shared_u, head, flight
    drop = read.drop.values
    throw = read.throw.values if read.throw is not None else np.zeros(n)
    level = level_drop(drop, np.nan_to_num(throw), angle)
    flight = flight_time(np.where(np.isfinite(level), level, -1.0), gravity.value, angle_rad=angle)
    if read.throw is None:
        return speed, own_u, shared_u, head, flight
    with np.errstate(invalid="ignore"):
        seen = np.isfinite(throw) & np.isfinite(flight)
        fall = flight * math.cos(angle)
        speed = np.where(seen, throw / fall, math.nan)
        by_level = speed / (2.0 * level)
        per_throw = 1.0 / fall - by_level * math.sin(angle) * math.cos(angle)
        per_drop = by_level * math.cos(angle) ** 2
        by_throw = np.where(read.throw.own_u > 0.0, read.throw.own_u, 0.0) * per_throw
        by_drop = per_drop * np.where(read.drop.own_u > 0.0, read.drop.own_u, 0.0)
        own_u = np.where(seen, np.hypot(by_throw, by_drop), math.nan)
        columns = per_throw[:, None] * read.throw.shared - per_drop[:, None] * read.drop.shared
        by_g = speed / (2.0 * gravity.value) * gravity.u
        shared_u = np.where(seen, np.sqrt(np.sum(columns**2, axis=1) + by_g**2), math.nan)
    head = np.where(seen, heads_at_launch(series, law.drain, flight, law.clock), math.nan)
    return speed, own_u, shared_u, head, flight


def _pairing_words(pairs: Paired | None, drain: JointFit | None, flight: FloatArray, *, wanted: bool) -> str:
    """Say in words how throws were paired with heads."""
    if pairs is None:
        return ""
    if not wanted:
        return said("as wished, each throw is compared with the head of the moment when it lands")
    if drain is None or pairs.time_s is None:
        return said(
            "without times each throw is compared with the head of its own moment; the level "
            "falls during the flight, which is of no account for a slow drain and may lift Cv by "
            "up to a hundredth for a fast one"
        )
    typical = float(np.nanmedian(flight[pairs.rows]))
    return said(
        "each throw is compared with the head one flight time ({typical} s) earlier",
        typical=plain(typical, 3),
    )


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
