"""How a fit answers errors of a real size: the engine run again on readings moved to either side."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.condensed import Condenser, Values, condenser_of
from analysis.derive import Findings
from analysis.estimate import Estimate, propagated
from analysis.penalised import JointFit
from analysis.series import Column, FloatArray, Series
from analysis.words import marked

ROOT_H0 = marked("root of the first head")
RATE = marked("rate of the drain curve as fitted")
INTERCEPT = marked("intercept of throw squared against head")
"""Fitted quantities that are no findings themselves."""
PAIRS = 16
"""Draws of errors; each is laid on the readings once as it is and once with its sign turned."""
MOST_ROWS = 100


@dataclass(frozen=True, slots=True)
class Bend:
    """What a fitted quantity does beside following errors in proportion, in its standard uncertainties."""

    gain: float
    """How far it follows, over what first order says; 1 where no difference can be seen."""
    bias: float
    """By how much it comes out higher for errors than without, on average."""
    curvature: float
    """Second-order part: it moves by curvature (s² - 1) beside s."""
    roughness: float
    """Scatter that is neither: decisions of the engine that change with the errors."""
    pairs: int
    """Pairs of refits on which this rests."""


STRAIGHT = Bend(1.0, 0.0, 0.0, 0.0, 0)


@dataclass(frozen=True, slots=True, eq=False)
class _Errors:
    """Errors drawn for every row, as large and as much alike in neighbours as the fits found them."""

    head: FloatArray
    """(pairs, n) m."""
    throw: FloatArray
    drop: FloatArray
    sources: FloatArray
    """(pairs, k) standard uncertainties of each shared source."""


def fitted_quantities(findings: Findings) -> dict[str, Estimate]:
    """Give the estimates of all findings by name, and those of fitted quantities beneath them."""
    made = dict(findings.estimates)
    n = findings.kept.shape[0]
    if findings.drain is not None and findings.drain.has("root_h0"):
        made[ROOT_H0] = findings.drain.estimate("root_h0", n)
        made[RATE] = findings.drain.estimate("k", n)
    offset, slope = made.get("head_zero_offset_m"), made.get("slope_throw_squared_vs_head")
    if offset is not None and slope is not None:
        value = offset.value * slope.value
        made[INTERCEPT] = propagated(value, [(offset, slope.value), (slope, offset.value)])
    return made


def bends_of(
    findings: Findings, series: Series, engine: Callable[[Series], Findings], seed: int
) -> tuple[int, Mapping[str, Bend]]:
    """
    Run the engine on readings with drawn errors, and measure how each fitted quantity bends.

    Parameters
    ----------
    findings : Findings
        What the engine made of the series.
    series : Series
        The run; condensed to at most `MOST_ROWS` rows first.
    engine : callable
        Series to findings.
    seed : int
        Seed of the draws.

    Returns
    -------
    int
        How often the engine was run.
    mapping of str to Bend
        By name of finding or fitted quantity; what the engine does not give back is not in it.

    Notes
    -----
    With errors e and their mirror -e, half the difference of the two answers is what is odd in e, the
    proportional part; half the sum, less the answer without errors, is what is even. The even part needs
    few draws, for the large proportional part has gone out of it.
    """
    condenser = condenser_of(series, findings, MOST_ROWS)
    if condenser.n < 2:
        return 0, MappingProxyType({})
    # About readings without errors: laid on those that were read, errors would count twice.
    without = engine(condenser.of(condenser.about))
    base = fitted_quantities(without)
    errors = _drawn(findings, series, np.random.default_rng([seed, PAIRS]))
    odd: dict[str, list[float]] = {name: [] for name in base}
    even: dict[str, list[float]] = {name: [] for name in base}
    used: dict[str, list[int]] = {name: [] for name in base}
    refits = [
        tuple(engine(condenser.of(_moved(condenser, errors, pair, sign))) for sign in (1.0, -1.0))
        for pair in range(PAIRS)
    ]
    # Where errors made the engine leave a zero free, it gave the answer of another fit, with its own u and
    # with words about it: one such answer among many would pass for a bend of the fit at hand.
    alike = [all(_kind(each) == _kind(without) for each in pair) for pair in refits]
    few = sum(alike) < PAIRS // 2
    for pair, moved in enumerate(refits):
        if not (alike[pair] or few):
            continue
        there, back = (fitted_quantities(each) for each in moved)
        for name, at in base.items():
            if name in there and name in back:
                odd[name].append((there[name].value - back[name].value) / 2.0)
                even[name].append((there[name].value + back[name].value) / 2.0 - at.value)
                used[name].append(pair)
    first_order = fitted_quantities(findings)
    bends = {}
    for name in base:
        estimate = first_order.get(name)
        if estimate is None or len(used[name]) < PAIRS // 2 or not estimate.u > 0.0:
            continue
        said = _said(name, estimate, findings, series, errors)
        bends[name] = _bend(
            np.array(odd[name]) / estimate.u,
            np.array(even[name]) / estimate.u,
            None if said is None else said[used[name]] / estimate.u,
        )
    return 2 * PAIRS + 1, MappingProxyType(bends)


def _kind(findings: Findings) -> tuple[tuple[str, ...], ...]:
    """Give the parameters that each fit left free."""
    return tuple(() if fit is None else fit.names for fit in (findings.drain, findings.throws))


def _bend(odd: FloatArray, even: FloatArray, said: FloatArray | None) -> Bend:
    """Fit bias and curvature to the even parts, and the gain to the odd ones, where it can be seen."""
    pairs = odd.shape[0]
    design = np.stack([np.ones(pairs), odd**2 - 1.0], axis=1)
    inverse = np.linalg.pinv(design.T @ design)
    bias, curvature = (float(each) for each in inverse @ (design.T @ even))
    roughness = float(np.sqrt(np.sum((even - design @ np.array([bias, curvature])) ** 2) / (pairs - 2)))
    at_the_end = np.array([1.0, 1.96**2 - 1.0])
    shift = float(at_the_end @ [bias, curvature])
    if abs(shift) <= 2.0 * roughness * math.sqrt(float(at_the_end @ inverse @ at_the_end)):
        bias, curvature = 0.0, 0.0
        roughness = float(np.sqrt(np.mean(even**2)))
    gain = 1.0
    if said is not None and float(np.sum(said**2)) > 0.0:
        gain = float(odd @ said / (said @ said))
        error = float(np.sqrt(np.sum((odd - gain * said) ** 2) / (pairs - 1) / (said @ said)))
        # Condensed rows weigh a little differently from the rows themselves; that is no news.
        gain = gain if abs(gain - 1.0) > 0.03 + 2.0 * error else 1.0
    return Bend(gain, bias, curvature, roughness, pairs)


def _moved(condenser: Condenser, errors: _Errors, pair: int, sign: float) -> Values:
    """Lay one draw of errors on readings that have none."""
    series = condenser.series

    def moved(column: Column | None, about: FloatArray | None, own: FloatArray) -> FloatArray | None:
        if column is None or about is None:
            return None
        shift = own[pair] + np.nan_to_num(column.shared) @ errors.sources[pair]
        return np.asarray(about + sign * shift, dtype=np.float64)

    head, throw, drop = condenser.about
    return (
        moved(series.head, head, errors.head),
        moved(series.throw, throw, errors.throw),
        moved(series.drop, drop, errors.drop),
    )


def _drawn(findings: Findings, series: Series, rng: np.random.Generator) -> _Errors:
    n = series.kept.shape[0]
    heads, throws = findings.drain or findings.throws, findings.throws or findings.drain
    time_order = np.arange(n)
    if series.time_s is None and series.head is not None:
        time_order = np.argsort(-np.nan_to_num(series.head.values), kind="stable")

    def errors(column: Column | None, fit: JointFit | None, *, laid_on: bool) -> FloatArray:
        white = rng.standard_normal((PAIRS, n))
        if column is None:
            return np.zeros((PAIRS, n))
        made = np.empty_like(white)
        made[:, time_order] = wandering(white, fit.scatter.correlation_time if fit is not None else 1.0)
        return made * _own_sd(column, fit, laid_on=laid_on)

    return _Errors(
        head=errors(series.head, heads, laid_on=findings.drain is not None),
        throw=errors(series.throw, throws, laid_on=True),
        drop=errors(series.drop, throws, laid_on=False),
        sources=rng.standard_normal((PAIRS, len(series.sources))),
    )


def wandering(white: FloatArray, correlation_time: float) -> FloatArray:
    """
    Turn (trials, n) independent draws into ones that wander, of the same unit variance.

    Parameters
    ----------
    white : ndarray, shape (trials, n)
        Standard normal draws.
    correlation_time : float
        Rows per independent reading, τ = 1 + 2 Σ ρ; first-order autoregressive with φ = (τ - 1)/(τ + 1).

    Returns
    -------
    ndarray, shape (trials, n)
    """
    stay = (correlation_time - 1.0) / (correlation_time + 1.0)
    if stay <= 0.0:
        return white
    out = white.copy()
    fresh = math.sqrt(1.0 - stay**2)
    for i in range(1, white.shape[1]):
        out[:, i] = stay * out[:, i - 1] + fresh * white[:, i]
    return out


def _own_sd(column: Column, fit: JointFit | None, *, laid_on: bool) -> FloatArray:
    """(n,) standard deviation of each row's own error, what the fit saw of it counted in."""
    stated = np.where(np.isfinite(column.own_u) & (column.own_u > 0.0), column.own_u, 0.0)
    if fit is None:
        return np.asarray(stated)
    tau = max(1.0, fit.scatter.correlation_time)
    if fit.scatter.stated:
        return np.asarray(stated * math.sqrt(fit.inflation / tau))
    if laid_on:
        stated[fit.rows] = fit.row_sd / math.sqrt(tau)
    return np.asarray(stated)


_FITS = MappingProxyType({"speed_coefficient": "throws", RATE: "drain", ROOT_H0: "drain"})


def _said(
    name: str, estimate: Estimate, findings: Findings, series: Series, errors: _Errors
) -> FloatArray | None:
    """(pairs,) what first order says that each draw does to a quantity; None where it cannot be traced."""
    fit: JointFit | None = getattr(findings, _FITS[name]) if name in _FITS else None
    if fit is None or not fit.scatter.stated or estimate.own.shape != (3, series.kept.shape[0]):
        return None
    said = np.zeros(errors.sources.shape[0])
    for row, column, drawn in zip(
        estimate.own / math.sqrt(fit.inflation),
        (series.head, series.throw, series.drop),
        (errors.head, errors.throw, errors.drop),
        strict=True,
    ):
        moving = row != 0.0
        if not np.any(moving):
            continue
        if column is None or not np.all(column.own_u[moving] > 0.0):
            return None
        said += drawn[:, moving] @ (row[moving] / column.own_u[moving])
    for i, source in enumerate(series.sources):
        said += estimate.shared.get(source, 0.0) * errors.sources[:, i]
    return said
