"""The water seen on a line lands later: places on lines that lie at different heights, as of one instant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.medians import masked_row_medians, median
from measure_app.finders.path import smooth_course, steadied_variance

_FEWEST_TO_LAG = 20
"""Frames from which the jet's time of flight may be fitted."""
_SURE = 3.0
"""A time of flight that is fitted counts as far as it stands above so many of its uncertainties."""
_OPEN = 0.7
"""What part counts of what a lean leaves open: what swellings and drops make of it is told by bend and twist,
and the greater of the two is taken, which is mostly more. Set by rendered scenes."""
_LEAST_SCATTER_PX = 0.3
"""A line that lies aside by less than twice that has its full weight."""


@dataclass(frozen=True, slots=True, eq=False)
class Landed:
    """The landing as of the water that lands in each frame."""

    landing: FloatArray
    """(n,) px, the jet's lean within each frame allowed for."""
    joined: FloatArray
    """(n,) px, as the lines tell it together, by the speed of the frames around alone."""
    carried: FloatArray
    """(n, m) px, the places on the lines, carried down; they scatter about `joined`."""
    unsure_px: FloatArray
    """(n,) px, standard uncertainty of what the jet's lean from line to line leaves open."""


def not_lagging(
    landing: FloatArray,
    carried: FloatArray,
    weights: FloatArray,
    above: FloatArray,
    usable: NDArray[np.bool_],
    flight_frames: float | None = None,
) -> Landed:
    """Let every line tell of the water that it shows: what is higher up left the hole later and lands later.

    A jet that sways or falls back is not one parabola: at a part q of the drop left, its water lands
    T (1 - √q) later, T the time of flight. Where T is not told it is fitted to how the lines run ahead of one
    another where the landing moves, and taken as far as that fit stands above three times its own
    uncertainty. The speed of the landing is that of the frames around; what the jet's flutter adds to it
    between frames is seen in how the jet leans within each frame (`_leaning`).

    Parameters
    ----------
    landing : (n,) px, joined from the lines as they are
    carried : (n, m) px, the places on the lines, carried down
    weights : (n, m) 0 or more
    above : (m,) heights of the lines above the landing line, as parts of the drop
    usable : (n,) frames that may tell
    flight_frames : T in frames, where drop and clock tell it

    Returns
    -------
    The landing as it was where too few frames are usable to say.
    """
    n = len(landing)
    none = np.zeros(n)
    if usable.sum() < _FEWEST_TO_LAG:
        return Landed(landing, landing, carried, none)
    early = 1.0 - np.sqrt(1.0 - above)
    ok = (weights > 0) & np.isfinite(carried) & usable[:, None]
    w = np.where(ok, weights, 0.0)
    ahead = _across_removed(np.where(ok, carried - landing[:, None], 0.0), w)
    rows = np.arange(n)
    flight, half = (flight_frames, _window(flight_frames)) if flight_frames is not None else (0.0, 3)
    speed = none
    for _ in range(1 if flight_frames is not None else 2):
        course, _ = smooth_course(np.where(usable, landing, np.nan), usable.astype(np.float64), half)
        there = np.isfinite(course)
        if there.sum() < _FEWEST_TO_LAG:
            return Landed(landing, landing, carried, none)
        speed = np.gradient(np.interp(rows, rows[there], course[there]))
        if flight_frames is None:
            x = _across_removed(np.where(ok, speed[:, None] * early, 0.0), w)
            flight, u = _slope(x, ahead, w)
            flight *= max(0.0, 1.0 - (_SURE * u / flight) ** 2) if flight > 0.0 else 0.0
            half = _window(flight)
    total = np.maximum(w.sum(axis=1), 1e-9)
    # What goes on all through the run is left to the lines' heights.
    lag = flight * (speed - median(speed[usable]))
    landing = landing - lag * (w * early).sum(axis=1) / total
    carried = carried - lag[:, None] * early
    shift, unsure = _leaning(np.where(ok, carried - landing[:, None], np.nan), w, early, usable)
    return Landed(landing - shift, landing, carried, unsure)


def _window(flight_frames: float) -> int:
    return int(np.clip(flight_frames / 4.0, 3, 12))


def _leaning(
    off: FloatArray, weights: FloatArray, early: FloatArray, usable: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """How far the landing lies off because the jet leans from line to line, (n,) px, and how unsure that is.

    Each frame's lines have a slope against how early they show the water. It is the landing's own speed where
    it exceeds what swellings and drops make of a slope, and those show as much in how the lines bend and
    twist: the slope counts by the part of its variance that is above that of bend and twist, as the best
    linear estimate takes it, and leaves the rest of that part open.
    """
    ok = np.isfinite(off) & (weights > 0)
    # A line that lies aside all through the run tells nothing of single frames.
    off = np.where(ok, off - np.nan_to_num(masked_row_medians(off.T, ok.T & usable)), 0.0)
    size = 1.4826 * median(np.abs(off[ok])) if ok.any() else 0.0
    w = np.where(ok, weights / (1.0 + (off / max(2.0 * size, _LEAST_SCATTER_PX)) ** 2), 0.0)
    heights = early - early.mean()
    basis = [np.ones_like(w)]
    for power in (1, 2, 3):
        shape = np.broadcast_to(heights**power, w.shape)
        for other in basis:
            inner = (w * shape * other).sum(axis=1) / np.maximum((w * other**2).sum(axis=1), 1e-12)
            shape = shape - inner[:, None] * other
        basis.append(shape)
    # In units in which equal errors of all lines that are independent would scatter all three alike.
    norms = [np.sqrt(np.maximum((w * shape) ** 2, 1e-15).sum(axis=1)) for shape in basis[1:]]
    parts = [(w * shape * off).sum(axis=1) / norm for shape, norm in zip(basis[1:], norms, strict=True)]
    lean, bend, twist = (part - median(part[usable]) for part in parts)
    sizes = [1.4826 * median(np.abs(part[usable])) for part in (lean, bend, twist)]
    share = max(0.0, 1.0 - (max(sizes[1:]) / max(sizes[0], 1e-6)) ** 2)
    # How far the landing shifts for one unit of lean.
    slope = norms[0] / np.maximum((w * basis[1] ** 2).sum(axis=1), 1e-9)
    mean = (w * early).sum(axis=1) / np.maximum(w.sum(axis=1), 1e-9)
    square = steadied_variance(np.where(usable, lean, np.nan))
    reach = np.where(usable, slope * mean, 0.0)
    return share * lean * reach, np.sqrt(_OPEN * share * (1.0 - share) * square) * reach


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
