"""How far one straight line of the still background moved along itself, frame by frame.

Exposure may drift: a frame's line is the reference frame's times a gain, plus an offset, shifted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.medians import median, row_medians
from measure_app.finders.path import steadied_variance
from measure_app.strips import Strip

_REACH = 24
"""Largest shift looked for, px."""
_PLACES = 250
"""Steepest places of a line that are compared."""
_ROWS_AT_ONCE = 100
"""Frames whose products are taken at once."""
FITS = 0.6
"""Share of a line's places that must show the reference frame for its shift to count."""
_SETTLED_PX = 0.3
"""Last step of a search, px, up to which it has come to an end."""
_LEAST_GAIN = 0.4
"""A line whose contrast is less than this part of the reference's is covered."""


@dataclass(frozen=True, slots=True, eq=False)
class LineShift:
    """How far what one line crosses has moved along it, against the reference frame."""

    shift_px: FloatArray
    """(n,) px; NaN throughout where the line crosses too little."""
    fit: FloatArray
    """(n,) how well it shows what the reference frame does, 0 bad, 1 good."""
    u_px: FloatArray
    """(n,) px, standard uncertainty of the shift, by how its halves part."""
    lean: float
    """By how much of a motion across the line its edges, which lean, move along it."""
    middle_px: float
    """Middle of what tells the shift, px along the line, and how far that spreads."""
    spread_px: float


def shifts_of(
    strip: Strip,
    avoid: Sequence[tuple[float, float, float, float]],
    reference_row: int,
    beside: Sequence[Strip] = (),
) -> LineShift:
    """Follow what a line crosses.

    Parameters
    ----------
    strip : the line through time
    avoid : boxes (left, top, right, bottom) px whose part of the line is left out
    reference_row : row whose frame is the reference
    beside : the lines on either side of it, read in the first frame at least
    """
    points = strip.line.segment.at(strip.line.along_px)
    use = np.ones(len(points), dtype=bool)
    for left, top, right, bottom in avoid:
        use &= ~(
            (points[:, 0] >= left)
            & (points[:, 0] <= right)
            & (points[:, 1] >= top)
            & (points[:, 1] <= bottom)
        )
    reference = _smoothed(strip.levels[reference_row].astype(np.float64))
    slope = np.gradient(reference)
    use[: _REACH + 2] = use[-_REACH - 2 :] = False
    weight = np.where(use, np.minimum(np.abs(slope), 12.0), 0.0)
    places = np.sort(np.argsort(weight)[-_PLACES:])
    places = places[weight[places] > 1.0]
    n = len(strip.levels)
    if len(places) < 20:
        return LineShift(np.full(n, np.nan), np.zeros(n), np.zeros(n), 0.0, 0.0, 0.0)
    shift, fit, parted, noise = _small_shifts(strip.levels[:, places], reference[places], slope[places])
    last = 0
    moved = np.flatnonzero((np.abs(shift) > 0.3) | (fit < 0.6))
    for row in moved:
        now = _smoothed(strip.levels[row].astype(np.float64))
        shift[row], fit[row], parted[row] = _one_shift(now, reference, slope, places, last, noise)
        last = round(shift[row]) if fit[row] > 0.6 else last
    halves = 0.5 * np.where(fit > FITS, parted, np.nan)
    # Where nothing moves all frames tell alike how sure the line is, which is quicker asked.
    u = np.sqrt(steadied_variance(halves)) if len(moved) else np.full(n, 1.4826 * median(np.abs(halves)))
    telling = slope[places] ** 2
    middle = float(np.average(places, weights=telling))
    spread = float(np.sqrt(np.average((places - middle) ** 2, weights=telling)))
    return LineShift(shift, fit, u, _lean(beside, slope, places), middle, spread)


def _lean(beside: Sequence[Strip], slope: FloatArray, places: NDArray[np.intp]) -> float:
    """Part of a motion across a line that shows along it: the edges' slope across over that along."""
    if len(beside) != 2:
        return 0.0
    first, second = (_smoothed(each.levels[0].astype(np.float64)) for each in beside)
    apart = np.subtract(beside[1].line.segment.start, beside[0].line.segment.start)
    across = (second - first)[places] / float(np.sum(apart))
    return float(across @ slope[places] / (slope[places] @ slope[places]))


def _tolerance(steep: FloatArray | NDArray[np.float32], noise: float) -> FloatArray:
    """How far a level may be off where a line still shows the reference frame."""
    return np.asarray(0.35 * np.abs(steep) + 2.0 + 2.0 * noise, dtype=np.float64)


def _small_shifts(
    levels: Plane, target: FloatArray, steep: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Shifts far below a pixel, all frames at once: one linear step of robust least squares.

    Exposure may drift: the frame is the reference times a gain, plus an offset, shifted. Also gives how well
    each frame fits, 0 to 1, how far the line's halves part, px, and the usual scatter of the levels.
    """
    seen = levels.astype(np.float32)
    slope = steep.astype(np.float32)
    columns = np.stack([np.ones_like(slope), target.astype(np.float32), slope], axis=1)
    size = np.full((len(seen), 1), np.inf, dtype=np.float32)
    gap = seen - columns[:, 1]
    gap -= row_medians(gap)[:, None]
    found = np.zeros((len(seen), 3), dtype=np.float32)
    for _ in range(2):
        size = np.float32(1.4826) * row_medians(np.abs(gap))[:, None] + np.float32(0.7)
        weights = np.asarray(1.0 / (1.0 + (gap / (2.5 * size)) ** 2), dtype=np.float32)
        found = _gain_and_shift(seen, columns, weights)
        gap = seen - found @ columns.T
    gain = found[:, 1]
    share = np.mean(np.abs(gap) < _tolerance(slope, median(size)), axis=1)
    # What is covered evenly is the reference without contrast.
    share[(gain < _LEAST_GAIN) | (gain > 1.0 / _LEAST_GAIN)] = 0.0
    move = -found[:, 2] / np.maximum(gain, np.float32(_LEAST_GAIN))
    parted = _parted(gap, weights, slope, np.maximum(gain, np.float32(_LEAST_GAIN)))
    return np.clip(move, -1.0, 1.0).astype(np.float64), share.astype(np.float64), parted, median(size)


def _parted(
    gap: NDArray[np.float32],
    weights: NDArray[np.float32],
    slope: NDArray[np.float32],
    gain: NDArray[np.float32],
) -> FloatArray:
    """How far the shifts of both halves of a line part, (n,) px, by what the shift of all leaves (n, m)."""
    half = np.arange(len(slope)) < len(slope) // 2
    halves = np.stack([slope * half, slope * ~half], axis=1)
    moved = ((weights * gap) @ halves) / np.maximum(weights @ (slope[:, None] * halves), np.float32(1e-6))
    return np.asarray((moved[:, 0] - moved[:, 1]) / gain, dtype=np.float64)


def _gain_and_shift(
    seen: NDArray[np.float32], columns: NDArray[np.float32], weights: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Offset, gain and slope's share (n, 3) of the reference's `columns` (m, 3) in what is seen (n, m)."""
    pairs = (columns[:, :, None] * columns[:, None, :]).reshape(len(columns), 9)
    # Products of this size stay on one thread: others would be woken, and go on waiting long after.
    parts = [weights[i : i + _ROWS_AT_ONCE] @ pairs for i in range(0, len(weights), _ROWS_AT_ONCE)]
    normal = np.concatenate(parts).reshape(-1, 3, 3).astype(np.float64) + 1e-6 * np.eye(3)
    right = ((weights * seen) @ columns).astype(np.float64)
    return np.asarray(np.linalg.solve(normal, right[..., None])[..., 0], dtype=np.float32)


def _smoothed(row: FloatArray) -> FloatArray:
    return np.asarray(np.convolve(np.pad(row, 2, mode="edge"), [0.1, 0.2, 0.4, 0.2, 0.1], "valid"))


def _one_shift(
    now: FloatArray,
    reference: FloatArray,
    slope: FloatArray,
    places: NDArray[np.intp],
    guess: int,
    noise: float,
) -> tuple[float, float, float]:
    """Shift of one profile, its fit and how its halves part: near the last one, then robust least squares."""
    shift = float(_best_lag(now, reference, places, guess, 2))
    target = reference[places]
    steep = slope[places]
    columns = np.stack([np.ones_like(steep), target, steep], axis=1).astype(np.float32)
    share = 0.0
    for attempt in range(2):
        for _ in range(4):
            at = np.clip(places + shift, 0, len(now) - 2)
            low = at.astype(np.intp)
            seen = now[low] + (at - low) * (now[low + 1] - now[low])
            size = np.float32(
                1.4826 * float(np.median(np.abs(seen - target - np.median(seen - target)))) + 0.7
            )
            gap = (seen - target - np.median(seen - target)).astype(np.float32)
            for _ in range(2):
                weights = (1.0 / (1.0 + (gap / (2.5 * size)) ** 2))[None]
                part = _gain_and_shift(seen[None].astype(np.float32), columns, weights)[0]
                gap = seen.astype(np.float32) - columns @ part
            gain = float(part[1])
            step = float(np.clip(-part[2] / max(gain, _LEAST_GAIN), -1.0, 1.0))
            shift += step
        share = float(np.mean(np.abs(gap) < _tolerance(steep, noise)))
        # What still moves on has not come to what the reference frame shows.
        if not _LEAST_GAIN <= gain <= 1.0 / _LEAST_GAIN or abs(step) > _SETTLED_PX:
            share = 0.0
        if share > FITS or attempt:
            break
        shift = float(_best_lag(now, reference, places, 0, _REACH))
    size_of = np.array([max(gain, _LEAST_GAIN)], dtype=np.float32)
    parted = _parted(gap[None], weights.astype(np.float32), steep.astype(np.float32), size_of)
    return shift, share, float(parted[0])


def _best_lag(
    now: FloatArray, reference: FloatArray, places: NDArray[np.intp], guess: int, reach: int
) -> int:
    """Whole shift, within `reach` px of a guess, at which a profile is most like the reference."""
    lags = np.arange(guess - reach, guess + reach + 1)
    index = np.clip(places[None, :] + lags[:, None], 0, len(now) - 1)
    gap = now[index] - reference[places]
    gap = np.abs(gap - np.median(gap, axis=1, keepdims=True))
    cost = np.mean(np.minimum(gap, 25.0), axis=1)
    return int(lags[np.argmin(cost)])
