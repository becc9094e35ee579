"""How far the camera moved against the frame in which the marks were made.

A few straight lines of the still background are followed through time beside the gauge line and the landing
line: rows of the frame that cross long upright edges tell the sideways motion, columns that cross long level
edges the motion up and down. What moves against most of a line (a hand, the water) has little weight in its
shift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Pixel, Segment
from measure_app.clip import Plane
from measure_app.finders.medians import median, row_medians
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
_ROWS_AT_ONCE = 100
"""Frames whose products are taken at once."""
_FITS = 0.6
"""Share of a line's places that must show the reference frame for its shift to count."""
_LINE_PX, _USUAL_TURN_RAD = 0.05, 0.003
"""Scatter of a line's shift, and how far a knocked camera turns: the ratio holds back a turn of noise."""
_ALIKE_PX = 0.3
"""A shift up to this that all frames share lies in the reference frame."""
_LEAST_GAIN = 0.4
"""A line whose contrast is less than this part of the reference's is covered."""
_APART_PX = 1.2
"""Up to this lines part where the edges that they cross lean; beyond it one of them shows something else."""
_OF_MEAN = 1.0 / np.sqrt(_EACH)
"""What is left of one line's error in the mean of the lines in a direction."""
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
    turn_rad: FloatArray | None = None
    """(n,) clockwise turn about the pivot; None where the camera did not turn."""
    pivot_px: tuple[float, float] = (0.0, 0.0)
    """Where the displacement is as told; elsewhere the turn adds to it."""

    @property
    def moved(self) -> bool:
        """Whether the camera moved at all."""
        return bool(np.any(self.right_px) or np.any(self.down_px) or np.any(self.lost))

    def along(self, direction: FloatArray, at_px: FloatArray | None = None) -> FloatArray:
        """Displacement (n,) px along a unit vector, at a place (2,) or places (2, n) px, or at the pivot."""
        right, down = self.right_px, self.down_px
        if at_px is not None and self.turn_rad is not None:
            right = right - self.turn_rad * (at_px[1] - self.pivot_px[1])
            down = down + self.turn_rad * (at_px[0] - self.pivot_px[0])
        return np.asarray(right * direction[0] + down * direction[1], dtype=np.float64)


def along_line(strip: Strip, drift: Drift) -> FloatArray:
    """Displacement (n,) px along a strip's line; a turn shifts all of a straight line alike along it."""
    segment = strip.line.segment
    return drift.along(segment.direction, segment.at(np.array([0.5 * segment.length_px]))[0])


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
    shifts = [(strip, *_shifts(strip, avoid, reference_row)) for strip in strips]
    usable = [each for each in shifts if np.isfinite(each[1]).all()]
    right, down, turn, pivot, u, lost = _rigid(usable, n)
    # The noise of the reference frame itself shifts all others alike, by little.
    middle = [median(v[~lost]) if (~lost).any() else 0.0 for v in (right, down)]
    apart = [v[~lost] - m * (abs(m) < _ALIKE_PX) for v, m in zip((right, down), middle, strict=True)]
    quiet = [float(np.sqrt(np.mean(v**2))) if len(v) else 0.0 for v in apart]
    jolts = [float(np.max(np.abs(v), initial=0.0)) for v in apart]
    # How far the lines disagree tells how much of a shift is noise.
    unsure = median(u[~lost]) if (~lost).any() else 0.0
    noisy = max(_STILL_PX, 1.5 * unsure)
    if max(quiet) < noisy and max(jolts) < max(0.5, 5.0 * noisy) and lost.mean() < 0.5:
        return still(n)
    # Edges are never quite level or upright: a motion across leaks a little into the motion along.
    u = np.hypot(u, _LEAK * np.hypot(right, down))
    none = np.where(lost, 0.0, 1.0)
    return Drift(right * none, down * none, u * none, lost, turn * none, pivot)


def _rigid(
    shifts: Sequence[tuple[Strip, FloatArray, FloatArray]], n: int
) -> tuple[FloatArray, FloatArray, FloatArray, tuple[float, float], FloatArray, NDArray[np.bool_]]:
    """Displacement and turn that the lines' shifts tell together, by least squares in every frame.

    A row of the frame tells the shift to the right at its height, a column the shift downwards at its
    place across; where the camera turns, rows differ from one another, and columns too. Gives (n,) right,
    down, turn, the pivot, the uncertainty of a shift, and where none can be had.
    """
    zeros = np.zeros(n)
    if not shifts:
        return zeros, zeros, zeros, (0.0, 0.0), zeros, np.zeros(n, dtype=bool)
    across = np.array([strip.line.name.startswith(COLUMN) for strip, _, _ in shifts])
    middles = np.array([0.5 * (s.line.segment.start + np.asarray(s.line.segment.end)) for s, _, _ in shifts])
    values = np.stack([shift for _, shift, _ in shifts], axis=1)
    good = np.stack([fit for _, _, fit in shifts], axis=1) > _FITS
    pivot = (
        float(np.mean(middles[across, 0])) if across.any() else 0.0,
        float(np.mean(middles[~across, 1])) if (~across).any() else 0.0,
    )
    lever = np.where(across, middles[:, 0] - pivot[0], -(middles[:, 1] - pivot[1]))
    design = np.stack([~across, across, lever], axis=1).astype(np.float64)
    # A camera hardly turns: two lines alone shall not make a turn of noise.
    prior = np.diag([1e-9, 1e-9, (_LINE_PX / _USUAL_TURN_RAD) ** 2])
    weights = good.astype(np.float64)
    found = np.zeros((n, 3))
    for _ in range(3):
        normal = np.einsum("nl,li,lj->nij", weights, design, design) + prior
        found = np.linalg.solve(normal, np.einsum("nl,li,nl->ni", weights, design, values)[..., None])[..., 0]
        gap = np.where(good, np.abs(values - found @ design.T), 0.0)
        weights = np.where(good, 1.0 / (1.0 + (gap / 0.3) ** 2), 0.0)
    apart = gap.max(axis=1)
    # A turn so large is a line that shows something else.
    lost = (apart > 2.5) | (np.abs(found[:, 2]) > 5.0 * _USUAL_TURN_RAD)
    # So is a rarer turn that still leaves the lines apart: it was made of the one that does.
    lost |= (apart > _APART_PX) & (np.abs(found[:, 2]) > _USUAL_TURN_RAD)
    for kind in (across, ~across):
        if kind.any():
            lost |= ~good[:, kind].any(axis=1)
    # Lines that tell something else have little weight in what is found, and in how sure it is.
    spread = np.sqrt(np.sum(weights * gap**2, axis=1) / np.maximum(weights.sum(axis=1), 1.0))
    u = np.hypot(0.03, 1.5 * spread)
    return found[:, 0], found[:, 1], found[:, 2], pivot, u, lost


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


def with_shared_drift(
    own_u: FloatArray, shared_u: float, why: tuple[Why | None, ...], drift: Drift | None
) -> tuple[FloatArray, float, tuple[Why | None, ...]]:
    """Do as `with_drift` does, and share what most frames' corrections have in common.

    What is unsure of most frames' correction is the same edges' fault in all of them; only what single frames
    are more unsure by is their own. Either is told as if a single line had made the correction: along a line
    that is read by itself it is the mean of several.
    """
    if drift is None or not drift.moved or drift.lost.all():
        own_u, why = with_drift(own_u, why, drift)
        return own_u, shared_u, why
    u = _OF_MEAN * drift.u_px
    usual = median(u[~drift.lost])
    own = replace(drift, u_px=np.sqrt(np.maximum(u**2 - usual**2, 0.0)))
    own_u, why = with_drift(own_u, why, own)
    return own_u, float(np.hypot(shared_u, usual)), why


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

    Exposure may drift: the frame is the reference times a gain, plus an offset, shifted. Also gives how well
    each frame fits, 0 to 1, and the usual scatter of the levels.
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
    return np.clip(move, -1.0, 1.0).astype(np.float64), share.astype(np.float64), median(size)


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
) -> tuple[float, float]:
    """Shift of one profile: the best whole pixel near the last one, then robust least squares."""
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
            shift += float(np.clip(-part[2] / max(gain, _LEAST_GAIN), -1.0, 1.0))
        share = float(np.mean(np.abs(gap) < _tolerance(steep, noise)))
        if not _LEAST_GAIN <= gain <= 1.0 / _LEAST_GAIN:
            share = 0.0
        if share > _FITS or attempt:
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
