"""Findings that come from straight lines: slopes, the g that a class makes of them, zeros."""

from __future__ import annotations

import math
from types import MappingProxyType

from analysis.answer import Answer, Derived
from analysis.basis import Basis
from analysis.estimate import Estimate, propagated
from analysis.models import GRAVITY, SPEED_ROOT_HEAD, SPEED_SQUARED_HEAD, THROW_SQUARED_HEAD, Law
from analysis.notation import plain
from analysis.water import capillary_loss_m, water_at
from analysis.words import marked, said

_NO_LINE = marked("heads that differ, in 2 readings with stated errors or in 3 without")


def slope_speed_vs_root_head(basis: Basis) -> Answer:
    """Give the slope of speed against √head, Cv √(2g) with the borrowed g."""
    return _slope(basis, SPEED_ROOT_HEAD, "dv/d√h", borrowed=True)


def slope_speed_squared_vs_head(basis: Basis) -> Answer:
    """Give the slope of speed² against head, 2g Cv² with the borrowed g."""
    return _slope(basis, SPEED_SQUARED_HEAD, "dv²/dh", borrowed=True)


def slope_throw_squared_vs_head(basis: Basis) -> Answer:
    """Give the slope of throw² against head, 4 y₀ Cv²: lengths only."""
    return _slope(basis, THROW_SQUARED_HEAD, "dx²/dh", borrowed=False)


def _no_line(basis: Basis) -> str:
    return basis.missing_pairs or said(_NO_LINE)


def _slope(basis: Basis, law: Law, symbol: str, *, borrowed: bool) -> Answer:
    found = basis.line(law, free_intercept=True)
    if found is None:
        return _no_line(basis)
    return Derived(
        found.slope,
        symbol,
        law.slope_unit,
        said("{formula}, free intercept, {method}", formula=law.formula, method=found.fitted.line.method),
        depends_on_assumed_g=borrowed,
        remarks=(said("the slope is {slope_means}", slope_means=said(law.slope_means)),),
    )


def gravity_from_slope_root(basis: Basis) -> Answer:
    """Give slope²/2 of speed against √head: the borrowed g times Cv²."""
    found = basis.line(SPEED_ROOT_HEAD, free_intercept=True)
    if found is None:
        return _no_line(basis)
    slope = found.slope
    return Derived(
        propagated(slope.value**2 / 2.0, [(slope, slope.value)]),
        "g",
        "m/s²",
        said("slope²/2 of speed against √head, free intercept"),
        depends_on_assumed_g=True,
        remarks=(_borrowed(basis),),
    )


def gravity_from_slope_squared(basis: Basis) -> Answer:
    """Give slope/2 of speed² against head: the borrowed g times Cv²."""
    found = basis.line(SPEED_SQUARED_HEAD, free_intercept=True)
    if found is None:
        return _no_line(basis)
    return Derived(
        propagated(found.slope.value / 2.0, [(found.slope, 0.5)]),
        "g",
        "m/s²",
        said("slope/2 of speed² against head, free intercept"),
        depends_on_assumed_g=True,
        remarks=(_borrowed(basis),),
    )


def _borrowed(basis: Basis) -> str:
    return said(
        "equals g_assumed·Cv² with g_assumed = {value} m/s² ({source}): the speeds were made "
        "from throws with that g, the true g has cancelled, so this holds no news of g",
        value=plain(basis.gravity.value, 6),
        source=basis.gravity.source,
    )


def lost_zero(basis: Basis) -> Estimate | None:
    """Give intercept over slope of x² against h, m; None without such a line, or where throws do not grow."""
    found = basis.line(THROW_SQUARED_HEAD, free_intercept=True)
    if found is None or found.intercept is None or found.slope.value <= 0.0:
        return None
    slope, intercept = found.slope, found.intercept
    value = intercept.value / slope.value
    return propagated(value, [(intercept, 1.0 / slope.value), (slope, -value / slope.value)])


def head_zero_offset(basis: Basis) -> Answer:
    """Give δh of x² = 4 y₀ Cv² (h + δh): how far the zero that the jet obeys lies below the one marked."""
    found = basis.line(THROW_SQUARED_HEAD, free_intercept=True)
    if found is None or found.intercept is None:
        return _no_line(basis)
    estimate = lost_zero(basis)
    if estimate is None:
        return said("throws that grow with the head")
    remarks = [
        (
            said(
                "x² = 4 y₀ Cv² (h + δh): above zero, more head drives the jet than marked; below "
                "zero, head is lost, as surface tension does in a thin jet"
            )
        ),
        (
            said(
                "from the readings' own scatter alone the standard uncertainty is {u_own} mm",
                u_own=plain(1e3 * estimate.u_own, 2),
            )
        ),
    ]
    expected = _capillary_words(basis)
    if expected:
        remarks.append(expected)
    return Derived(
        estimate,
        "δh",
        "m",
        said("intercept over slope of x² against h, free intercept"),
        depends_on_assumed_g=False,
        remarks=tuple(remarks),
    )


def _capillary_words(basis: Basis) -> str:
    """Say what surface tension alone would take, where the hole is known."""
    d, temperature = basis.conditions.orifice_diameter_m, basis.conditions.water_temperature_c
    at = 20.0 if temperature is None else temperature
    if d is None or d <= 0.0 or not 0.0 <= at <= 40.0:
        return ""
    low, high = capillary_loss_m(water_at(at), d, basis.gravity.value)
    return said(
        "surface tension is expected to show as about −{low:.1f} to −{high:.1f} mm for clean "
        "water and a sharp-edged hole of {d} mm",
        low=1e3 * low,
        high=1e3 * high,
        d=plain(1e3 * d, 3),
    )


def throw_zero_offset(basis: Basis) -> Answer:
    """Give δx of x = 2 Cv √(y₀ h) + δx: how much too long the throws are as marked."""
    found = basis.line(SPEED_ROOT_HEAD, free_intercept=True)
    if found is None or found.intercept is None or basis.pairs is None:
        return _no_line(basis)
    flight = math.sqrt(2.0 * float(basis.pairs.drop.mean()) / basis.gravity.value)
    estimate = propagated(found.intercept.value * flight, [(found.intercept, flight)])
    # The accepted g made the speed and now makes the throw of it again: it leaves no trace.
    moves = {name: change for name, change in estimate.shared.items() if name != GRAVITY}
    return Derived(
        Estimate(estimate.value, estimate.own, MappingProxyType(moves), estimate.own_dof),
        "δx",
        "m",
        said("intercept of speed against √head, free intercept, times the flight time"),
        depends_on_assumed_g=False,
        remarks=(
            (
                said(
                    "x = 2 Cv √(y₀ h) + δx: above zero, throws as marked are too long by δx; a wrong "
                    "zero of the head shows here as well"
                )
            ),
        ),
    )


def speed_coefficient_of_line(basis: Basis, *, free_intercept: bool) -> Estimate | None:
    """
    Give Cv from the slope of x² against h, √(slope/4y₀).

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.
    free_intercept : bool
        False: from the line through the origin.

    Returns
    -------
    Estimate or None
        None where there is no such line.
    """
    found = basis.line(THROW_SQUARED_HEAD, free_intercept=free_intercept)
    if found is None or basis.pairs is None or found.slope.value <= 0.0:
        return None
    drop = float(basis.pairs.drop.mean())
    if not drop > 0.0:
        # A jet that leaves so steeply down cannot have been thrown so far.
        return None
    value = math.sqrt(found.slope.value / (4.0 * drop) * (1.0 - basis.approach**2))
    by_drop = -value / (2.0 * drop) * basis.pairs.drop_shared.mean(axis=0)
    extra = dict(zip(basis.pairs.sources, by_drop.tolist(), strict=True))
    return propagated(value, [(found.slope, value / (2.0 * found.slope.value))], extra)
