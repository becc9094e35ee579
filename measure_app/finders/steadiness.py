"""How far the camera moved against the frame in which the marks were made.

A few straight lines of the still background are followed through time beside the gauge line and the landing
line: rows of the frame that cross long upright edges tell the sideways motion, columns that cross long level
edges the motion up and down. What moves against most of a line (a hand, the water) has little weight in its
shift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Pixel, Segment
from measure_app.clip import Plane
from measure_app.finders.track import Why
from measure_app.strips import Strip, StripLine

_EACH = 3
"""Lines followed in each direction."""
_REACH = 24
"""Largest shift looked for, px."""
_LEAK = 0.03
"""Part of a motion that shows as a motion at right angles to it, by the slant of the edges followed."""
_PLACES = 250
"""Steepest places of a line that are compared."""
_STILL_PX = 0.06
"""A camera whose shifts scatter by less than this did not move; its shifts are noise and are not applied."""
ROW, COLUMN = "still row", "still column"


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Displacement of the picture against the reference frame."""

    right_px: FloatArray
    """(n,) px; positive where things appear further right than in the reference frame."""
    down_px: FloatArray
    u_px: FloatArray
    """(n,) px, standard uncertainty of either; 0 where the camera stood still."""
    lost: NDArray[np.bool_]
    """(n,) frames in which the lines do not agree, or show nothing of the reference frame."""

    @property
    def moved(self) -> bool:
        """Whether the camera moved at all."""
        return bool(np.any(self.right_px) or np.any(self.down_px) or np.any(self.lost))

    def along(self, direction: FloatArray) -> FloatArray:
        """Displacement (n,) px along a unit vector of the frame."""
        return np.asarray(self.right_px * direction[0] + self.down_px * direction[1], dtype=np.float64)


def still(n: int) -> Drift:
    """Return the drift of a camera that did not move."""
    return Drift(np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool))


def still_lines(luma: Plane, avoid: Sequence[tuple[float, float, float, float]]) -> tuple[StripLine, ...]:
    """Choose the lines to follow, from the reference frame.

    Parameters
    ----------
    luma : (h, w) brightness as displayed
    avoid : boxes (left, top, right, bottom) px in which things move on purpose: container, jet, landing

    Returns
    -------
    Up to three rows, then up to three columns; none where the frame has no long edges.
    """
    height, width = luma.shape
    step = max(1, max(height, width) // 320)
    small = luma[::step, ::step].astype(np.float32)
    free = np.ones(small.shape, dtype=bool)
    for left, top, right, bottom in avoid:
        rows = slice(max(0, int(top / step)), max(0, int(bottom / step) + 1))
        columns = slice(max(0, int(left / step)), max(0, int(right / step) + 1))
        free[rows, columns] = False
    lines = [
        StripLine(f"{ROW} {i + 1}", Segment(Pixel(2.0, place * step), Pixel(width - 3.0, place * step)), 1.0)
        for i, place in enumerate(_richest(small, free))
    ]
    lines += [
        StripLine(
            f"{COLUMN} {i + 1}", Segment(Pixel(place * step, 2.0), Pixel(place * step, height - 3.0)), 1.0
        )
        for i, place in enumerate(_richest(small.T, free.T))
    ]
    return tuple(lines)


def _richest(picture: NDArray[np.float32], free: NDArray[np.bool_]) -> list[int]:
    """Rows that cross the most edges which are long in the other direction."""
    height = picture.shape[0]
    reach = max(2, height // 60)
    steep = np.zeros_like(picture)
    steep[:, 1:-1] = 0.5 * (picture[:, 2:] - picture[:, :-2])
    # Averaging down the column keeps edges that are long there and drops specks and lettering.
    total = np.cumsum(np.vstack([np.zeros((1, picture.shape[1]), np.float32), steep]), axis=0)
    clear = np.cumsum(np.vstack([np.zeros((1, picture.shape[1])), ~free]), axis=0)
    top = np.clip(np.arange(height) - reach, 0, height)
    bottom = np.clip(np.arange(height) + reach + 1, 0, height)
    mean = (total[bottom] - total[top]) / (bottom - top)[:, None]
    mean[(clear[bottom] - clear[top]) > 0] = 0.0
    # Strong edges saturate: three fair edges tell more than one glaring one.
    energy = np.minimum(np.abs(mean), 20.0).astype(np.float64) ** 2
    worth = energy.sum(axis=1)
    worth[:reach] = worth[-reach:] = 0.0
    chosen: list[int] = []
    for _ in range(_EACH):
        best = int(np.argmax(worth))
        if worth[best] < 100.0:
            break
        chosen.append(best)
        worth[max(0, best - height // 8) : best + height // 8 + 1] = 0.0
    return chosen


def drift_of(
    strips: Sequence[Strip], avoid: Sequence[tuple[float, float, float, float]], reference_row: int = 0
) -> Drift:
    """Measure the displacement of every frame from the strips of `still_lines`.

    Parameters
    ----------
    strips : those lines through time
    avoid : the boxes given to `still_lines`; those parts of the lines are left out
    reference_row : row of the strips whose frame is the reference

    Returns
    -------
    Drift
        Zero throughout where the camera stood still within what can be seen.
    """
    if not strips:
        return still(0)
    n = len(strips[0].frames)
    results = []
    for kind in (ROW, COLUMN):
        shifts = [_shifts(s, avoid, reference_row) for s in strips if s.line.name.startswith(kind)]
        results.append(_joined(shifts, n))
    (right, right_u, right_lost), (down, down_u, down_lost) = results
    lost = right_lost | down_lost
    quiet = [float(np.sqrt(np.mean(np.square(v[~lost])))) if (~lost).any() else 0.0 for v in (right, down)]
    jolts = [float(np.max(np.abs(v[~lost]), initial=0.0)) for v in (right, down)]
    # How far the lines disagree tells how much of a shift is noise.
    unsure = [float(np.median(u[~lost])) if (~lost).any() else 0.0 for u in (right_u, down_u)]
    noisy = max(_STILL_PX, 1.5 * max(unsure))
    if max(quiet) < noisy and max(jolts) < max(0.5, 5.0 * noisy) and lost.mean() < 0.5:
        return still(n)
    u = np.sqrt(0.5 * (right_u**2 + down_u**2))
    # Edges are never quite level or upright: a motion across leaks a little into the motion along.
    u = np.hypot(u, _LEAK * np.hypot(right, down))
    return Drift(np.where(lost, 0.0, right), np.where(lost, 0.0, down), np.where(lost, 0.0, u), lost)


def with_drift(
    own_u: FloatArray, why: tuple[Why | None, ...], drift: Drift | None
) -> tuple[FloatArray, tuple[Why | None, ...]]:
    """Add the error of bringing each frame back, and refuse the frames that could not be brought back."""
    if drift is None or not drift.moved:
        return own_u, why
    refused = tuple(
        Why.CAMERA if lost and each is not Why.DAMAGED else each
        for each, lost in zip(why, drift.lost.tolist(), strict=True)
    )
    return np.asarray(np.hypot(own_u, drift.u_px), dtype=np.float64), refused


def _shifts(
    strip: Strip, avoid: Sequence[tuple[float, float, float, float]], reference_row: int
) -> tuple[FloatArray, FloatArray]:
    """Shift of each row of a strip against the reference row, and how well it fits (0 bad, 1 good)."""
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
        return np.full(n, np.nan), np.zeros(n)
    shift, fit, noise = _small_shifts(strip.levels[:, places], reference[places], slope[places])
    last = 0
    for row in np.flatnonzero((np.abs(shift) > 0.3) | (fit < 0.6)):
        now = _smoothed(strip.levels[row].astype(np.float64))
        shift[row], fit[row] = _one_shift(now, reference, slope, places, last, noise)
        last = round(shift[row]) if fit[row] > 0.6 else last
    return shift, fit


def _tolerance(steep: FloatArray | NDArray[np.float32], noise: float) -> FloatArray:
    """How far a level may be off where a line still shows the reference frame."""
    return np.asarray(0.35 * np.abs(steep) + 2.0 + 2.0 * noise, dtype=np.float64)


def _small_shifts(
    levels: Plane, target: FloatArray, steep: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Shifts far below a pixel, all frames at once: one linear step of robust least squares.

    Also gives how well each frame fits, 0 to 1, and the usual scatter of the levels.
    """
    gap = levels.astype(np.float32) - target.astype(np.float32)
    gap -= np.median(gap, axis=1, keepdims=True)
    slope = steep.astype(np.float32)
    size = 1.4826 * np.median(np.abs(gap), axis=1, keepdims=True) + np.float32(0.7)
    w = 1.0 / (1.0 + (gap / (2.5 * size)) ** 2)
    move = -((w * gap) @ slope) / np.maximum(w @ slope**2, 1e-9)
    left = np.abs(gap + move[:, None] * slope)
    share = np.mean(left < _tolerance(slope, float(np.median(size))), axis=1)
    return move.astype(np.float64), share.astype(np.float64), float(np.median(size))


def _smoothed(row: FloatArray) -> FloatArray:
    return np.asarray(np.convolve(np.pad(row, 2, mode="edge"), [0.1, 0.2, 0.4, 0.2, 0.1], "valid"))


def _one_shift(
    now: FloatArray,
    reference: FloatArray,
    slope: FloatArray,
    places: NDArray[np.intp],
    guess: int,
    noise: float,
) -> tuple[float, float]:
    """Shift of one profile: the best whole pixel near the last one, then robust least squares."""
    shift = float(_best_lag(now, reference, places, guess, 2))
    target = reference[places]
    steep = slope[places]
    share = 0.0
    for attempt in range(2):
        for _ in range(4):
            at = np.clip(places + shift, 0, len(now) - 2)
            low = at.astype(np.intp)
            seen = now[low] + (at - low) * (now[low + 1] - now[low])
            # Exposure may drift: the levels are matched by their medians.
            gap = seen - target
            gap = gap - np.median(gap)
            size = 1.4826 * float(np.median(np.abs(gap))) + 0.7
            w = 1.0 / (1.0 + (gap / (2.5 * size)) ** 2)
            move = -float(np.sum(w * steep * gap) / max(np.sum(w * steep**2), 1e-9))
            shift += float(np.clip(move, -1.0, 1.0))
        share = float(np.mean(np.abs(gap) < _tolerance(steep, noise)))
        if share > 0.6 or attempt:
            break
        shift = float(_best_lag(now, reference, places, 0, _REACH))
    return shift, share


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


def _joined(
    shifts: Sequence[tuple[FloatArray, FloatArray]], n: int
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Median over the lines that fit, its standard uncertainty, and where none can be had."""
    usable = [(s, f) for s, f in shifts if np.isfinite(s).all()]
    if not usable:
        return np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool)
    values = np.stack([s for s, _ in usable], axis=1)
    good = np.stack([f for _, f in usable], axis=1) > 0.6
    count = good.sum(axis=1)
    ordered = np.sort(np.where(good, values, np.inf), axis=1)
    rows = np.arange(n)
    low = ordered[rows, np.maximum((count - 1) // 2, 0)]
    high = ordered[rows, np.minimum(np.maximum(count // 2, 0), values.shape[1] - 1)]
    known = count > 0
    middle = np.where(known, 0.5 * (np.where(known, low, 0.0) + np.where(known, high, 0.0)), 0.0)
    apart = np.where(good, np.abs(values - middle[:, None]), 0.0).max(axis=1)
    u = np.sqrt(0.03**2 + (apart / 2.0) ** 2)
    return middle, u, ~known | (apart > 2.5)
