"""Heads, throws and drops as the laws had them: as read, with the corrections that were applied."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis import FloatArray
from measure_app.report.results import Results

_NOTHING = 1e-12
"""A smaller correction is rounding, m."""


@dataclass(frozen=True, slots=True, eq=False)
class AsUsed:
    """What was added to the readings, and what that makes of the drop; (n,) by the rows of the series."""

    head_added: FloatArray
    """m, of the heads that stand beside throws."""
    throw_added: FloatArray
    drop_added: FloatArray
    level_drop: FloatArray
    """m, the drop of a level jet that is thrown as far."""
    fall: FloatArray
    """s, throw over speed: a fall from rest through that drop."""
    angle_deg: float
    """Of the jet above the horizontal; 0 where it counts as level."""


def as_used(results: Results) -> AsUsed:
    """Work back from speeds and flight times of the engine to the lengths that it used.

    Parameters
    ----------
    results : Results
        With throws and drops.

    Returns
    -------
    AsUsed
        NaN where a row has no throw. What comes to less than a picometre is nothing.

    Raises
    ------
    ValueError
        There is no throw, or no drop.
    """
    findings, series = results.findings, results.series
    if series.throw is None or series.drop is None:
        raise ValueError("there are no throws, or there is no drop")
    applied = any(each.name == "launch_angle" and each.applied for each in findings.corrections)
    angle = (results.conditions.launch_angle_deg or 0.0) if applied else 0.0
    sine, cosine = math.sin(math.radians(angle)), math.cos(math.radians(angle))
    fall = findings.flight_time_s * cosine
    level = findings.accepted_gravity.value * fall**2 / 2.0
    throw = findings.speed_m_s * fall
    head = np.zeros_like(fall)
    if series.head is not None:
        head = findings.paired_head_m - series.head.values - fallen_since(results)
    return AsUsed(
        head_added=_told(head),
        throw_added=_told(throw - series.throw.values),
        drop_added=_told((level - throw * sine * cosine) / cosine**2 - series.drop.values),
        level_drop=level,
        fall=fall,
        angle_deg=angle,
    )


def fallen_since(results: Results) -> FloatArray:
    """Give how far the level has fallen since each throw's water left, m; 0 where that is not counted.

    With √h = √h₀ − k t it is 2 √h k T + (k T)².
    """
    drain, times = results.findings.drain, results.series.time_s
    flight = results.findings.flight_time_s
    paired = any(each.name == "fall_during_flight" and each.applied for each in results.findings.corrections)
    if drain is None or times is None or not paired:
        return np.zeros_like(flight)
    k = drain.value("k")
    root = drain.value("root_h0") - k * (times - times[drain.first_row])
    return np.asarray(2.0 * root * k * flight + (k * flight) ** 2, dtype=np.float64)


def _told(added: FloatArray) -> FloatArray:
    return np.where(np.abs(added) > _NOTHING, added, 0.0)
