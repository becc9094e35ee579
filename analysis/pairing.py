"""Every throw with the head that drove it: the jet that lands now left one flight time ago."""

from __future__ import annotations

import math

import numpy as np

from analysis.gravity import AcceptedGravity
from analysis.joint import JointFit
from analysis.models import GRAVITY, Paired
from analysis.series import BoolArray, Column, FloatArray, IntArray, Series

PAIRING = "pairing of throw with head"
"""Name of the drain rate's own uncertainty, where it carries heads back by a flight time."""


def flight_time(drop: FloatArray, gravity: float) -> FloatArray:
    """Time that water takes to fall from rest by `drop` (m): √(2y/g), s; NaN where there is no drop."""
    return np.asarray(np.sqrt(2.0 * np.where(drop > 0.0, drop, np.nan) / gravity), dtype=np.float64)


def paired(
    series: Series,
    rows: BoolArray,
    gravity: AcceptedGravity,
    drain: JointFit | None,
    *,
    with_throw: bool = True,
) -> Paired:
    """
    The chosen rows of a series, heads carried back to launch where the drain curve is known.

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

    Returns
    -------
    Paired
        With two more sources than the series: the accepted g, and the drain rate where it carried heads back.
    """
    if series.head is None:
        raise ValueError("rows cannot be paired without heads")
    at = np.nonzero(rows)[0]
    if series.time_s is None:
        # Stills have no order of their own; as neighbours in head, a bend in the law shows as rows that err together.
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
    if with_throw and drain is not None and time is not None and series.time_s is not None:
        flight = flight_time(drop, gravity.value)
        k, root_h0 = drain.value("k"), drain.value("root_h0")
        root = root_h0 - k * (time - _drain_start(series, drain))
        # The law's fall over one flight time is added to the head as read, so that only a small difference rests
        # on the law and none of the reading is replaced by it.
        head = head + 2.0 * root * k * flight + (k * flight) ** 2
        head_shared = head_shared.copy()
        head_shared[:, -1] = 2.0 * (root + k * flight) * flight * math.sqrt(drain.covariance[1, 1])
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
        gravity=gravity.value,
        gravity_u=gravity.u,
    )


def _drain_start(series: Series, drain: JointFit) -> float:
    """Time from which the drain curve counts."""
    if series.time_s is None:
        raise ValueError("a drain curve without times")
    return float(series.time_s[drain.first_row])


def _taken(column: Column, at: IntArray, extra: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values, own errors (unknown ones as zero) and shared columns of some rows, with room for further sources."""
    own = column.own_u[at]
    own = np.where(np.isfinite(own) & (own > 0.0), own, 0.0)
    shared = np.zeros((at.shape[0], column.shared.shape[1] + extra))
    shared[:, : column.shared.shape[1]] = np.where(np.isfinite(column.shared[at]), column.shared[at], 0.0)
    return column.values[at], own, shared
