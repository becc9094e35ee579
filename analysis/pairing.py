"""Every throw with the head that drove it: the jet that lands now left one flight time ago."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis.drain_clock import DrainClock
from analysis.gravity import AcceptedGravity
from analysis.models import GRAVITY, Paired
from analysis.penalised import JointFit, directions_of
from analysis.scatter import median
from analysis.series import BoolArray, Column, FloatArray, IntArray, Series
from analysis.shifts import LAUNCH_ANGLE, level_drop
from analysis.words import marked

PAIRING = marked("pairing of throw with head")
"""Name of the drain rate's own uncertainty, where it carries heads back by a flight time."""
_ROOT = DrainClock()


def flight_time(drop: FloatArray, gravity: float, *, angle_rad: float = 0.0) -> FloatArray:
    """
    Give the time that a jet flies, s; NaN where there is no drop.

    Parameters
    ----------
    drop : ndarray, shape (n,)
        m; of a jet that leaves at an angle, the drop of the level jet that is thrown as far.
    gravity : float
        m/s².
    angle_rad : float
        Of the jet above the horizontal where it leaves.

    Returns
    -------
    ndarray, shape (n,)
        √(2y/g): throw over level speed.
    """
    fall = np.sqrt(2.0 * np.where(drop > 0.0, drop, math.nan) / gravity)
    return np.asarray(fall / math.cos(angle_rad), dtype=np.float64)


def paired(
    series: Series,
    rows: BoolArray,
    gravity: AcceptedGravity,
    drain: JointFit | None,
    *,
    with_throw: bool = True,
    clock: DrainClock = _ROOT,
    angle_rad: float = 0.0,
) -> Paired:
    """
    Take the chosen rows of a series, heads carried back to launch where the drain curve is known.

    Parameters
    ----------
    series : Series
        The run.
    rows : ndarray of bool, shape (n,)
        Rows that have all that the law needs.
    gravity : AcceptedGravity
        Gives the flight time, and speeds from throws.
    drain : JointFit, optional
        The drain curve; None: heads stay as read.
    with_throw : bool
        False for laws of head and time only: throw and drop are then NaN and heads stay as read.
    clock : DrainClock
        The scale on which the drain curve was fitted.
    angle_rad : float
        Of the jet above the horizontal where it leaves.

    Returns
    -------
    Paired
        With two more sources than the series: the accepted g, and the drain rate that carried heads back.
    """
    if series.head is None:
        raise ValueError("rows cannot be paired without heads")
    at = np.nonzero(rows)[0]
    if series.time_s is None:
        # Stills have no order of their own; as neighbours in head, a bent law shows as rows that err
        # together.
        at = at[np.argsort(-series.head.values[at], kind="stable")]
    m = at.shape[0]
    sources = (*series.sources, GRAVITY, PAIRING)
    head, head_u, head_shared = _taken(series.head, at, extra=2)
    missing = np.full(m, math.nan)
    nothing = np.zeros((m, len(sources)))
    throw, throw_u, throw_shared = missing, missing, nothing
    drop, drop_u, drop_shared = missing, missing, nothing
    if with_throw and series.throw is not None and series.drop is not None:
        throw, throw_u, throw_shared = _taken(series.throw, at, extra=2)
        drop, drop_u, drop_shared = _taken(series.drop, at, extra=2)
    time = None if series.time_s is None else series.time_s[at]
    if with_throw and drain is not None and time is not None:
        flight = flight_time(level_drop(drop, throw, angle_rad), gravity.value, angle_rad=angle_rad)
        root, k = _root_and_rate(series, drain, time)
        head = head + _fall(clock, root, k, flight)
        launched = root + k * flight
        by_root = clock.head_by_root(launched, clock.head(launched))
        head_shared[:, -1] = by_root * flight * math.sqrt(drain.covariance[1, 1])
    moving = [(head_shared, _size(head))]
    if with_throw:
        moving += [(throw_shared, _size(throw)), (drop_shared, _size(drop))]
    return Paired(
        rows=at,
        sources=sources,
        time_s=time,
        head=head,
        head_u=head_u,
        head_shared=head_shared,
        throw=throw,
        throw_u=throw_u,
        throw_shared=throw_shared,
        drop=drop,
        drop_u=drop_u,
        drop_shared=drop_shared,
        directions=directions_of(*moving),
        gravity=gravity.value,
        gravity_u=gravity.u,
        angle_rad=angle_rad,
    )


def as_level(at: Paired) -> Paired:
    """Give the same rows with the drops of level jets that are thrown as far, for laws of level jets."""
    if at.angle_rad == 0.0:
        return at
    share = math.cos(at.angle_rad) ** 2
    level = level_drop(at.drop, at.throw, at.angle_rad)
    throw_shared, drop_shared = at.throw_shared, share * at.drop_shared
    if LAUNCH_ANGLE in at.sources:
        # What an angle adds to a throw it adds to the drop of a level jet: two sides of one law. With the
        # mean drop it moves the slope of x² against h, which a change of the throws alone would not tell.
        k = at.sources.index(LAUNCH_ANGLE)
        along = at.throw * math.sin(at.angle_rad) * math.cos(at.angle_rad)
        throw_shared = throw_shared.copy()
        drop_shared[:, k] = -throw_shared[:, k] * (2.0 * level - along) / at.throw
        throw_shared[:, k] = 0.0
    return replace(
        at,
        drop=level,
        drop_u=share * at.drop_u,
        throw_shared=throw_shared,
        drop_shared=drop_shared,
        angle_rad=0.0,
    )


def _size(values: FloatArray) -> float:
    """Give a typical size of a quantity, above zero."""
    size = median(np.abs(values)) if values.shape[0] else 1.0
    return size if 0.0 < size < math.inf else 1.0


def heads_at_launch(
    series: Series, drain: JointFit | None, flight: FloatArray, clock: DrainClock = _ROOT
) -> FloatArray:
    """
    Carry the heads of all rows back by one flight time.

    Parameters
    ----------
    series : Series
        The run.
    drain : JointFit, optional
        The drain curve; None: heads stay as read.
    flight : ndarray, shape (n,)
        s; NaN where there is none.
    clock : DrainClock
        The scale on which the drain curve was fitted.

    Returns
    -------
    ndarray, shape (n,)
        m; NaN where head or flight time is missing.
    """
    if series.head is None:
        return np.full(flight.shape[0], math.nan)
    if drain is None or series.time_s is None:
        return np.where(np.isfinite(flight), series.head.values, math.nan)
    root, k = _root_and_rate(series, drain, series.time_s)
    return np.asarray(series.head.values + _fall(clock, root, k, flight), dtype=np.float64)


def _root_and_rate(series: Series, drain: JointFit, time: FloatArray) -> tuple[FloatArray, float]:
    """Read √head off the drain curve at some times, and give its rate."""
    start = 0.0 if series.time_s is None else float(series.time_s[drain.first_row])
    k = drain.value("k")
    return drain.value("root_h0") - k * (time - start), k


def _fall(clock: DrainClock, root: FloatArray, k: float, flight: FloatArray) -> FloatArray:
    """
    Give the law's fall of the head over one flight time before each row.

    It is added to the head as read, so that only a small difference rests on the law and no reading is
    replaced.
    """
    if clock.profile is None:
        return np.asarray(2.0 * root * k * flight + (k * flight) ** 2, dtype=np.float64)
    here = np.nan_to_num(root)
    fall = clock.head(here + k * np.nan_to_num(flight)) - clock.head(here)
    return np.where(np.isfinite(root + flight), fall, math.nan)


def _taken(column: Column, at: IntArray, extra: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Take values, own errors (unknown ones as zero) and shared columns, with room for more sources."""
    own = column.own_u[at]
    own = np.where(np.isfinite(own) & (own > 0.0), own, 0.0)
    # One source after the other in memory: laws and lines take them so.
    k = column.shared.shape[1]
    shared = np.zeros((k + extra, at.shape[0]))
    np.take(column.shared.T, at, axis=1, out=shared[:k])
    unknown = ~np.isfinite(shared)
    if np.any(unknown):
        shared[unknown] = 0.0
    return column.values[at], own, shared.T
