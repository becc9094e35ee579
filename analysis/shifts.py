"""What each correction adds to heads, throws and drops before the law is fitted to them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from analysis.gravity import AcceptedGravity
from analysis.series import Column, Conditions, Corrections, FloatArray, Series
from analysis.water import water_at
from analysis.words import marked, said

LAUNCH_ANGLE = marked("launch angle")
LANDING_HEIGHT = marked("landing line: height over the drop's level")
CAPILLARY = marked("capillary head loss")
SECTION = marked("place of the contracted section")
_INTACT, _INTACT_U = 3.5, 0.5
"""Head that surface tension seems to take from an intact jet, in σ/(ρ g dj), and how far that may be off: a
jet that breaks up shows 4. Momentum balance of a round jet, integrated along its path; our derivation."""
_PRESSURE = 2.0
"""The part of it that acts on the discharge: Laplace's pressure 2σ/dj in the jet, over ρ g."""
_CONTRACTION_ROOT = 0.8
"""Jet over hole in diameter: √0.64 (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 17)."""
_SECTION_U = 0.15
"""Standard uncertainty of the contracted section's place, in hole diameters: it is said to lie half a
diameter from the inner edge, but a jet narrows gradually (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """What one correction adds, row by row; a quantity that it does not touch is left out."""

    adds: Mapping[str, FloatArray]
    """(n,) m, by "jet_head" (it drives a throw), "drain_head" (it drives the discharge), "throw", "drop"."""
    moves: Mapping[str, FloatArray] = field(default_factory=lambda: MappingProxyType({}))
    """(n,) m, what is left in the same quantities when the truth is one standard uncertainty further."""
    source: str = ""
    """Name of that uncertainty in a budget."""


def finite_hole_ratio(head_m: FloatArray, diameter_m: float) -> FloatArray:
    """
    Discharge of a round upright hole over that of a hole small against the head under its centre.

    Parameters
    ----------
    head_m : ndarray, shape (n,)
        m over the hole's centre; below half a diameter the hole is not covered and counts as just covered.
    diameter_m : float
        m.

    Returns
    -------
    ndarray, shape (n,)
        Q/Q₁ = mean of √(1 + y/h) over the hole = ₂F₁(-1/4, 1/4; 2; (d/2h)²) = 1 - (d/h)²/128 - ...: the
        integral over the hole (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 40); the moments of a
        disc, (2k)!/(4^k k! (k + 1)!), make the series a hypergeometric function.
    """
    from scipy.special import hyp2f1

    squared = np.minimum((diameter_m / (2.0 * np.asarray(head_m))) ** 2, 1.0)
    return np.asarray(hyp2f1(-0.25, 0.25, 2.0, squared), dtype=np.float64)


_RECIPROCAL = (
    0.03125,
    0.005859375,
    0.0019378662109375,
    0.0008552074432373047,
    0.00044830888509750366,
    0.0002632101532071829,
    0.00016738793965487275,
    0.00011294307130071957,
)
"""b₁ to b₈ of Q₁/Q = 1 + Σ bₖ ε^2k, ε = d/2h: the reciprocal of the series of `finite_hole_ratio`."""


def finite_hole_drain(head_m: FloatArray, diameter_m: float) -> FloatArray:
    """
    The head whose root falls evenly while a prismatic container drains through a hole that is not small.

    Parameters
    ----------
    head_m : ndarray, shape (n,)
        m over the hole's centre.
    diameter_m : float
        m.

    Returns
    -------
    ndarray, shape (n,)
        m: the square of ∫ dh/(2 √h Q/Q₁) = √h (1 + Σ bₖ ε^2k/(1 - 4k)), ε = d/2h.
    """
    squared = np.minimum((diameter_m / (2.0 * np.asarray(head_m))) ** 2, 1.0)
    lowered = np.zeros_like(squared)
    for k in range(len(_RECIPROCAL), 0, -1):
        lowered = (lowered + _RECIPROCAL[k - 1] / (1.0 - 4.0 * k)) * squared
    return np.asarray(head_m * (1.0 + lowered) ** 2, dtype=np.float64)


def level_drop(drop: FloatArray, throw: FloatArray, angle_rad: float) -> FloatArray:
    """
    The drop over which a level jet of the same speed would have been thrown as far.

    Parameters
    ----------
    drop, throw : ndarray, shape (n,)
        m.
    angle_rad : float
        Of the jet above the horizontal where it leaves.

    Returns
    -------
    ndarray, shape (n,)
        m: y cos²θ + x sinθ cosθ, from the parabola y = g x²/(2 v² cos²θ) - x tanθ without approximation.
    """
    return np.asarray(
        math.cos(angle_rad) ** 2 * drop + math.sin(angle_rad) * math.cos(angle_rad) * throw, dtype=np.float64
    )


def launch_angle_shift(series: Series, at: Conditions) -> Shift | str:
    """Turn a jet that leaves at an angle into a level one; or say what is missing."""
    if at.launch_angle_deg is None:
        return said("the jet's angle where it leaves")
    if series.drop is None or series.throw is None:
        return said("throw and drop")
    angle, u = math.radians(at.launch_angle_deg), math.radians(at.launch_angle_u_deg or 0.0)
    drop, throw = series.drop.values, series.throw.values
    level = level_drop(drop, throw, angle)
    # At the same head and Cv a steeper jet lands farther: dx/dθ of x² = 4 Cv² h (y cos²θ + x sinθ cosθ). At
    # throws as read, a throw's own error would stand in its residual and here alike, and pull the angle.
    smooth = _smooth_throws(series, throw)
    by_angle = smooth * (smooth * math.cos(2.0 * angle) - drop * math.sin(2.0 * angle))
    by_angle = by_angle / (2.0 * level_drop(drop, smooth, angle) - smooth * math.sin(angle) * math.cos(angle))
    return Shift(
        MappingProxyType({"drop": level - drop}), MappingProxyType({"throw": by_angle * u}), LAUNCH_ANGLE
    )


def _smooth_throws(series: Series, throw: FloatArray) -> FloatArray:
    """(n,) throws along a low curve in time, or in √head without times; as read where they are few."""
    along = series.time_s
    if along is None:
        if series.head is None:
            return throw
        along = np.sqrt(np.where(series.head.values > 0.0, series.head.values, math.nan))
    good = series.kept & np.isfinite(throw) & np.isfinite(along)
    if int(np.sum(good)) < 8 or not float(np.ptp(along[good])) > 0.0:
        return throw
    try:
        curve, _ = np.polynomial.Polynomial.fit(along[good], throw[good], 3, full=True)
    except np.linalg.LinAlgError:  # readings of absurd size
        return throw
    return np.asarray(
        np.where(np.isfinite(throw) & np.isfinite(along), curve(along), throw), dtype=np.float64
    )


def hole_size_shift(series: Series, at: Conditions) -> Shift | str:
    """
    Allow for the head not being the same all over the hole; or say what is missing.

    The jet that gathers from the hole flies at momentum over mass, √(2 g h)/(Q/Q₁); the discharge is Q.
    """
    d = at.orifice_diameter_m
    if series.head is None:
        return "head"
    if d is None or d <= 0.0:
        return said("the hole's diameter")
    head = np.where(series.head.values > 0.0, series.head.values, math.nan)
    return Shift(
        MappingProxyType(
            {
                "jet_head": head / finite_hole_ratio(head, d) ** 2 - head,
                "drain_head": finite_hole_drain(head, d) - head,
            }
        )
    )


def landing_level_shift(series: Series, at: Conditions) -> Shift | str:
    """Take the drop to the level where the throw is read; or say what is missing."""
    if series.drop is None:
        return "drop"
    if at.landing_above_m == 0.0 and at.landing_above_u_m == 0.0:
        return said(
            "how far the landing is read above the level of the drop, such as the water's depth in the tray"
        )
    ones = np.ones_like(series.drop.values)
    return Shift(
        MappingProxyType({"drop": -at.landing_above_m * ones}),
        MappingProxyType({"drop": at.landing_above_u_m * ones}),
        LANDING_HEIGHT,
    )


def capillary_shift(series: Series, at: Conditions, gravity: AcceptedGravity) -> Shift | str:
    """Take the head off that surface tension holds back in a thin jet; or say what is missing."""
    if series.head is None:
        return "head"
    jet = at.jet_diameter_m or (at.orifice_diameter_m or 0.0) * _CONTRACTION_ROOT
    if jet <= 0.0:
        return said("the diameter of hole or jet")
    temperature = 20.0 if at.water_temperature_c is None else at.water_temperature_c
    if not 0.0 <= temperature <= 40.0:
        return said("a water temperature between 0 and 40 °C")
    water = water_at(temperature)
    unit = water.surface_tension / (water.density * gravity.value * jet) * np.ones_like(series.head.values)
    return Shift(
        MappingProxyType({"jet_head": -_INTACT * unit, "drain_head": -_PRESSURE * unit}),
        MappingProxyType({"jet_head": _INTACT_U * unit}),
        CAPILLARY,
    )


def contracted_section_shift(series: Series, at: Conditions) -> Shift | str:
    """Count the throw from where the jet has contracted, not from the wall's face; or say what is missing."""
    if series.throw is None:
        return "throw"
    lacking = [
        words
        for words, value in (
            (said("the hole's diameter"), at.orifice_diameter_m),
            (said("the wall's thickness"), at.wall_thickness_m),
        )
        if value is None
    ]
    if lacking or at.orifice_diameter_m is None or at.wall_thickness_m is None:
        return said(" and ").join(lacking)
    if at.wall_thickness_m >= _CONTRACTION_ROOT * at.orifice_diameter_m:
        return said("a wall thinner than the jet: in a thicker one the jet fills the hole again")
    ones = np.ones_like(series.throw.values)
    beyond = 0.5 * at.orifice_diameter_m - at.wall_thickness_m
    return Shift(
        MappingProxyType({"throw": -beyond * ones}),
        MappingProxyType({"throw": _SECTION_U * at.orifice_diameter_m * ones}),
        SECTION,
    )


def shifts_of(series: Series, at: Conditions, gravity: AcceptedGravity) -> Mapping[str, Shift | str]:
    """
    All corrections that are shifts of what was read, applied or not.

    Parameters
    ----------
    series : Series
        The run.
    at : Conditions
        What was measured once.
    gravity : AcceptedGravity
        For the head that a pressure amounts to.

    Returns
    -------
    mapping of str to Shift or str
        By the names of `Corrections`; words where an input is missing.
    """
    return MappingProxyType(
        {
            "launch_angle": launch_angle_shift(series, at),
            "hole_size": hole_size_shift(series, at),
            "landing_level": landing_level_shift(series, at),
            "capillary": capillary_shift(series, at, gravity),
            "contracted_section": contracted_section_shift(series, at),
        }
    )


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """A run as the laws shall see it."""

    throws: Series
    """For the law of the throws: heads are those that drive the jet."""
    drain: Series
    """For the law of draining: heads are those that drive the discharge."""
    angle_rad: float
    """Of the jet above the horizontal, as stated; its drop is not shifted, the law itself allows for it."""


def corrected(
    series: Series, shifts: Mapping[str, Shift | str], wanted: Corrections, at: Conditions
) -> Corrected:
    """
    Apply the corrections that are wanted and can be made.

    Parameters
    ----------
    series : Series
        The run as read.
    shifts : mapping
        Of `shifts_of`.
    wanted : Corrections
        Which of them are switched on.
    at : Conditions
        For the launch angle.

    Returns
    -------
    Corrected
        Both series have the same sources: those of the run, then one for each correction that has its own.
    """
    on = {name: shift for name, shift in shifts.items() if getattr(wanted, name) and isinstance(shift, Shift)}
    angle = math.radians(at.launch_angle_deg or 0.0) if "launch_angle" in on else 0.0
    if not on:
        return Corrected(series, series, angle)
    added = [(name, shift) for name, shift in on.items() if shift.source]
    sources = (*series.sources, *(shift.source for _, shift in added))

    def column(old: Column | None, *quantities: str) -> Column | None:
        if old is None:
            return None
        values = old.values.copy()
        blocks = [old.shared]
        for name, shift in on.items():
            # The angle is in the law itself, so that it stays exact.
            if name != "launch_angle":
                values = values + _sum(shift.adds, quantities)
        blocks += [
            np.broadcast_to(_sum(shift.moves, quantities), values.shape)[:, None] for _, shift in added
        ]
        return Column(values, old.own_u.copy(), np.concatenate(blocks, axis=1))

    def seen_by(head: str) -> Series:
        return Series(
            sources=sources,
            time_s=series.time_s,
            head=column(series.head, head),
            throw=column(series.throw, "throw"),
            drop=column(series.drop, "drop"),
            kept=series.kept,
        )

    return Corrected(seen_by("jet_head"), seen_by("drain_head"), angle)


def _sum(parts: Mapping[str, FloatArray], quantities: Iterable[str]) -> FloatArray:
    total: FloatArray = np.zeros(1)
    for quantity in quantities:
        if quantity in parts:
            total = total + parts[quantity]
    return total
