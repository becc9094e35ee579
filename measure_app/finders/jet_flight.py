"""The water seen on a line lands later: places on lines that lie at different heights, as of one instant."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.medians import median
from measure_app.finders.path import smooth_course

_FEWEST_TO_LAG = 20
"""Frames from which the jet's time of flight may be fitted."""
_SURE = 3.0
"""The time of flight counts as far as it stands above so many of its uncertainties."""


def not_lagging(
    landing: FloatArray,
    carried: FloatArray,
    weights: FloatArray,
    above: FloatArray,
    usable: NDArray[np.bool_],
) -> tuple[FloatArray, FloatArray]:
    """Let every line tell of the water that it shows: what is higher up left the hole later and lands later.

    A jet that sways or falls back is not one parabola: at a part q of the drop left, its water lands
    T (1 - √q) later, T the time of flight. T is fitted to how the lines run ahead of one another where the
    landing moves, and taken as far as that fit stands above three times its own uncertainty.

    Parameters
    ----------
    landing : (n,) px, joined from the lines as they are
    carried : (n, m) px, the places on the lines, carried down
    weights : (n, m) 0 or more
    above : (m,) heights of the lines above the landing line, as parts of the drop
    usable : (n,) frames that may tell

    Returns
    -------
    The landing (n,) and the places on the lines (n, m), px, as of the water that lands in each frame; as they
    were where too little moves to say.
    """
    if usable.sum() < _FEWEST_TO_LAG:
        return landing, carried
    early = 1.0 - np.sqrt(1.0 - above)
    ok = (weights > 0) & np.isfinite(carried) & usable[:, None]
    w = np.where(ok, weights, 0.0)
    ahead = _across_removed(np.where(ok, carried - landing[:, None], 0.0), w)
    rows = np.arange(len(landing))
    flight, half = 0.0, 3
    speed = np.zeros(len(landing))
    for _ in range(2):
        course, _ = smooth_course(np.where(usable, landing, np.nan), usable.astype(np.float64), half)
        there = np.isfinite(course)
        if there.sum() < _FEWEST_TO_LAG:
            return landing, carried
        speed = np.gradient(np.interp(rows, rows[there], course[there]))
        x = _across_removed(np.where(ok, speed[:, None] * early, 0.0), w)
        flight, u = _slope(x, ahead, w)
        flight *= max(0.0, 1.0 - (_SURE * u / flight) ** 2) if flight > 0.0 else 0.0
        half = int(np.clip(flight / 4.0, 3, 12))
    total = np.maximum(w.sum(axis=1), 1e-9)
    # What goes on all through the run is left to the lines' heights.
    lag = flight * (speed - median(speed[usable]))
    return (
        landing - lag * (w * early).sum(axis=1) / total,
        carried - lag[:, None] * early,
    )


def _across_removed(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Take the weighted means of rows and columns out of values (n, m)."""
    for axis in (1, 0, 1, 0, 1):
        total = np.maximum(weights.sum(axis=axis, keepdims=True), 1e-9)
        values = values - (weights * values).sum(axis=axis, keepdims=True) / total
    return values


def _slope(x: FloatArray, y: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Robust slope of y against x, and its standard uncertainty."""
    told, w, slope, size = weights > 0, weights, 0.0, 1.0
    for _ in range(4):
        slope = float(np.sum(w * x * y) / max(float(np.sum(w * x * x)), 1e-9))
        rest = np.abs(y - slope * x)
        size = max(1.4826 * median(rest[told]), 0.1)
        w = weights / (1.0 + (rest / (2.0 * size)) ** 2)
    return slope, size / float(np.sqrt(max(float(np.sum(w * x * x)), 1e-9)))
