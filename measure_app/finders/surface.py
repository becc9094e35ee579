"""The water surface on the gauge line: one falling edge in the head strip."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.edge import EdgeFit, blur_of, fit_edges, light_table, window_of
from measure_app.finders.path import best_path, off_course, smooth_course
from measure_app.finders.steadiness import Drift, with_drift
from measure_app.finders.track import Part, Track, Why, nothing_found, reasons_of
from measure_app.strips import Strip, steadied

LightArray = NDArray[np.float32]

_ROWS = 1200
"""Frames are averaged in groups down to about this many for the path search; bounds memory and time."""
_CHUNK = 2000
"""Frames refined at once; bounds memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Hints:
    """Places that a person marked; they steer the finding."""

    rows: NDArray[np.int64]
    along_px: FloatArray


def find_surface(
    strip: Strip, *, falls_forward: bool = True, hints: Hints | None = None, drift: Drift | None = None
) -> Track:
    """Find the water surface in every frame of a head strip.

    The edge that is read is the upper one: where the water begins below the air.

    Parameters
    ----------
    strip : the pixels of the gauge line through time
    falls_forward : True if the water lies towards the end of the line, False if towards its start
    hints : places marked by hand, which the path must pass
    drift : how the camera moved; None: not at all

    Returns
    -------
    A place, in the reference frame, or a reason for every frame.

    Notes
    -----
    1. Edges that stand still are removed with the median over time; the strongest path through the rest,
       which may only fall, is found for the whole run at once.
    2. The profile across the edge is fitted by least squares in every frame.
    3. Frames whose edge is faint, covered or off the smooth course of its neighbours are refused.
    """
    if drift is not None and drift.moved:
        strip = steadied(strip, drift.along(strip.line.segment.direction))
    length = strip.levels.shape[1]
    frames = strip.frames
    if length < 16 or len(frames) < 3:
        return nothing_found(Part.SURFACE, frames, Why.MOTIONLESS)
    levels = strip.levels if falls_forward else strip.levels[:, ::-1]
    marks = hints
    if hints is not None and not falls_forward:
        marks = Hints(hints.rows, (length - 1) - hints.along_px)
    damaged = np.zeros(len(frames), dtype=bool)
    damaged[[row for row, _ in strip.unseen]] = True
    table = light_table(strip.bit_depth, full_range=strip.full_range)
    course = _coarse_course(levels, table, damaged, marks)
    if course is None:
        return nothing_found(Part.SURFACE, frames, Why.MOTIONLESS)
    fit, blur_px = _refine(levels, table, course.places)
    masked = course.beside_still(fit.place, np.abs(fit.contrast) / (blur_px * np.sqrt(2 * np.pi)))
    own_u, why = _judge(levels, table, fit, blur_px, damaged, marks, masked)
    own_u, why = with_drift(own_u, why, drift)
    along = fit.place if falls_forward else (length - 1) - fit.place
    refused = np.array([w is not None for w in why])
    return Track(
        Part.SURFACE,
        frames,
        np.where(refused, np.nan, along),
        np.where(refused, np.nan, own_u),
        # How far a different sensible reading of the same blurred profile would lie: the convention's own
        # error.
        0.03 + 0.05 * blur_px,
        why,
    )


def _grouped(levels: Plane, table: LightArray, damaged: NDArray[np.bool_]) -> tuple[LightArray, int]:
    """Light averaged over groups of frames, so that the path search sees at most `_ROWS` rows."""
    size = max(1, -(-len(levels) // _ROWS))
    if size == 1:
        light = table[levels]
        bad = damaged
    else:
        starts = range(0, len(levels), size)
        light = np.stack([table[levels[i : i + size]].mean(axis=0) for i in starts]).astype(np.float32)
        bad = np.array([bool(damaged[i : i + size].all()) for i in starts])
    light[bad] = np.median(light[~bad], axis=0) if (~bad).any() else 0.0
    return light, size


def gradient(light: LightArray, sigma: float = 1.5) -> LightArray:
    """Derivative along the line of (n, L) light, smoothed with a Gaussian of `sigma` px; same shape."""
    reach = int(np.ceil(3 * sigma))
    x = np.arange(-reach, reach + 1)
    kernel = (x * np.exp(-0.5 * (x / sigma) ** 2)).astype(np.float32)
    kernel /= np.sum(x * kernel)
    padded = np.pad(light, ((0, 0), (reach, reach)), mode="edge")
    out = np.zeros_like(light)
    for shift, weight in enumerate(kernel):
        if weight:
            out += weight * padded[:, shift : shift + light.shape[1]]
    return out


def _coarse_course(
    levels: Plane,
    table: LightArray,
    damaged: NDArray[np.bool_],
    marks: Hints | None,
) -> _Course | None:
    """Follow the surface through the whole run, to about one pixel; None where nothing moves."""
    light, size = _grouped(levels, table, damaged)
    steep = gradient(light)
    rows, length = steep.shape
    allowed = _corridor(marks, size, rows, length) if marks is not None else None
    # A label's edge changes its contrast when the water passes behind it, so what stands still is best
    # judged in short blocks of time; a slow surface stands still in those, and needs longer ones.
    for blocks in _BLOCKS:
        lively, still = _without_still(steep, blocks)
        path, strength = _strongest(lively, allowed)
        if blocks == 1 or (strength >= 6.0 and _moves_enough(path, rows // blocks)):
            break
    if strength < 6.0 or path[-1] - path[0] < 3:
        return None
    path = _upper_edge(lively, path)
    centres = np.minimum((np.arange(rows) + 0.5) * size - 0.5, len(levels) - 1)
    places = np.interp(np.arange(len(levels)), centres, path.astype(np.float64))
    return _Course(places, np.abs(still))


_BLOCKS = (6, 3, 1)


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """Where the surface roughly is, and which edges stand still."""

    places: FloatArray
    """(n,) px."""
    still: LightArray
    """(blocks, L) size of the slope that stands still in each block of time; one block: not known."""

    def beside_still(self, place: FloatArray, slope: FloatArray) -> NDArray[np.bool_]:
        """Frames whose place lies on an edge that stands still and is as steep as the surface's own slope."""
        blocks, length = self.still.shape
        n = len(place)
        if blocks == 1:
            return np.zeros(n, dtype=bool)
        block = np.minimum(np.arange(n) * blocks // n, blocks - 1)
        index = np.clip(np.rint(place).astype(np.intp)[:, None] + np.arange(-2, 3), 0, length - 1)
        steepest = np.zeros(n)
        for step in (-1, 0, 1):
            near = np.clip(block + step, 0, blocks - 1)
            steepest = np.maximum(steepest, self.still[near[:, None], index].max(axis=1))
        return np.asarray(steepest > 0.5 * slope, dtype=bool)


def _without_still(steep: LightArray, blocks: int) -> tuple[LightArray, LightArray]:
    """Take away what stands still: the median over time, whole or in blocks (the nearest of three).

    Gives what is left, (rows, L), and what stands still, (blocks, L).
    """
    if blocks == 1 or len(steep) < 10 * blocks:
        whole = np.median(steep, axis=0)[None]
        return steep - whole, whole
    ends = np.linspace(0, len(steep), blocks + 1).astype(int)
    medians = [np.median(steep[i:j], axis=0) for i, j in pairwise(ends)]
    out = np.empty_like(steep)
    for block, (i, j) in enumerate(pairwise(ends)):
        near = [steep[i:j] - medians[k] for k in range(max(0, block - 1), min(blocks, block + 2))]
        stacked = np.stack(near)
        pick = np.argmin(np.abs(stacked), axis=0)
        out[i:j] = np.take_along_axis(stacked, pick[None], axis=0)[0]
    return out, np.stack(medians)


def _strongest(steep: LightArray, allowed: NDArray[np.bool_] | None) -> tuple[NDArray[np.int64], float]:
    """The strongest path that only falls, and its typical strength in units of the noise."""
    strong = np.abs(steep)
    # A film's still parts can be still to the last digit; then the strongest edges tell what is strong.
    noise = max(1.4826 * float(np.median(strong)), 0.02 * float(np.percentile(strong, 99.5))) + 0.05
    # Saturation: one glaring frame must not outweigh a whole run of honest contrast.
    evidence = np.minimum(strong / noise, np.float32(40.0)).astype(np.float32)
    evidence[:, :3] = 0.0
    evidence[:, -3:] = 0.0
    if allowed is not None:
        evidence[~allowed] = -1e4
    rows, length = evidence.shape
    fastest = int(np.clip(np.ceil(6.0 * length / rows), 2, 40))
    path = best_path(evidence, back_px=1, forth_px=fastest, step_cost=0.3)
    return path, float(np.median(evidence[np.arange(rows), path]))


def _moves_enough(path: NDArray[np.int64], block_rows: int) -> bool:
    """Whether the surface passes each place in far less than a block, so that it is not taken for still."""
    ends = path[:: max(1, block_rows)]
    return bool(len(ends) > 1 and np.min(np.diff(ends)) >= 12)


def _corridor(marks: Hints, size: int, rows: int, length: int) -> NDArray[np.bool_]:
    """Where the surface may be, given that it passes the marks and only falls; (rows, length)."""
    order = np.argsort(marks.rows)
    at, place = marks.rows[order] / size, marks.along_px[order]
    row = np.arange(rows)
    # Between two marks the level bends below its chord by no more than a part of the fall between them.
    sag = 0.25 * np.abs(np.diff(place, append=place[-1]))
    nearest = np.clip(np.searchsorted(at, row, side="right") - 1, 0, len(at) - 1)
    middle = np.interp(row, at, place)
    margin = 4.0 + np.where((row >= at[0]) & (row <= at[-1]), sag[nearest], np.inf)
    along = np.arange(length)
    allowed = np.abs(along[None, :] - middle[:, None]) <= margin[:, None]
    allowed &= (row >= at[0])[:, None] | (along <= place[0] + 4.0)
    allowed &= (row <= at[-1])[:, None] | (along >= place[-1] - 4.0)
    for mark, px in zip(at, place, strict=True):
        allowed[min(int(mark), rows - 1)] = np.abs(along - px) <= 4.0
    return np.asarray(allowed, dtype=bool)


def _upper_edge(steep: LightArray, path: NDArray[np.int64]) -> NDArray[np.int64]:
    """Step from the lower side of the meniscus band to its upper one where the path took the lower."""
    reach = np.arange(-12, 13)
    index = np.clip(path[:, None] + reach, 0, steep.shape[1] - 1)
    profile = np.median(np.take_along_axis(steep, index, axis=1), axis=0)
    own = profile[12]
    above = profile[:11] * -np.sign(own)
    rival = int(np.argmax(above))
    if above[rival] > 0.6 * abs(own):
        return np.asarray(np.clip(path + reach[rival], 0, steep.shape[1] - 1), dtype=np.int64)
    return path


def _refine(levels: Plane, table: LightArray, course: FloatArray) -> tuple[EdgeFit, float]:
    n = len(levels)
    sample = np.unique(np.linspace(0, n - 1, 40).astype(int))
    light = table[levels[sample]]
    start = _steepest(light, course[sample])
    blur_px = blur_of(light, start, _rough_blur(light, start))
    parts = []
    for first in range(0, n, _CHUNK):
        light = table[levels[first : first + _CHUNK]]
        parts.append(fit_edges(light, _steepest(light, course[first : first + _CHUNK]), blur_px))
    joined = (np.concatenate([getattr(p, name) for p in parts]) for name in EdgeFit.__dataclass_fields__)
    return EdgeFit(*joined), blur_px


def _steepest(light: LightArray, course: FloatArray) -> FloatArray:
    """Move each guess to the steepest place within two pixels, to a fraction of one."""
    steep = np.abs(gradient(light, 1.0))
    length = light.shape[1]
    reach = np.arange(-2, 3)
    index = np.clip(np.rint(course).astype(np.intp)[:, None] + reach, 1, length - 2)
    values = np.take_along_axis(steep, index, axis=1)
    best = index[np.arange(len(course)), np.argmax(values, axis=1)]
    row = np.arange(len(course))
    left, mid, right = steep[row, best - 1], steep[row, best], steep[row, best + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.asarray(best + np.clip(shift, -0.5, 0.5), dtype=np.float64)


def _rough_blur(light: LightArray, start: FloatArray) -> float:
    """Blur from the height of the steepest slope against the step, px."""
    steep = np.abs(gradient(light, 0.7))
    reach = np.arange(-4, 5)
    index = np.clip(np.rint(start).astype(np.intp)[:, None] + reach, 0, light.shape[1] - 1)
    values = np.take_along_axis(light, index, axis=1)
    span = np.median(values.max(axis=1) - values.min(axis=1))
    top = np.median(np.take_along_axis(steep, index, axis=1).max(axis=1))
    seen = span / max(float(top) * np.sqrt(2 * np.pi), 1e-6)
    return float(np.clip(np.sqrt(max(seen**2 - 0.49, 0.25)), 0.5, 6.0))


def _judge(
    levels: Plane,
    table: LightArray,
    fit: EdgeFit,
    blur_px: float,
    damaged: NDArray[np.bool_],
    marks: Hints | None,
    masked: NDArray[np.bool_],
) -> tuple[FloatArray, tuple[Why | None, ...]]:
    """Own standard uncertainty of every frame, and which frames are refused."""
    n, length = levels.shape
    noise = _noise(levels, table, fit.place)
    formal = noise / np.sqrt(np.maximum(fit.information, 1e-9))
    before, _ = window_of(blur_px)
    off_end = (fit.place < before * 0.5) | (fit.place > length - 1 - 3.0 * blur_px)
    contrast = np.abs(fit.contrast)
    usual = _running_typical(contrast, half=max(15, n // 12))
    faint = (contrast < 0.35 * usual) | (formal > 1.0)
    covered = (
        masked
        | _covered(levels, table, fit.place, blur_px)
        | (fit.misfit > 6.0 * np.median(fit.misfit) + 3.0 * noise)
    )
    fit_for = ~(damaged | off_end | faint | covered)
    half = int(np.clip(n // 14, 8, 60))
    course, scatter = smooth_course(
        fit.place, fit_for.astype(np.float64) / np.maximum(formal, 1e-3) ** 2, half
    )
    own_u = np.sqrt(np.maximum(formal, np.nan_to_num(scatter, nan=0.0)) ** 2 + 1e-4)
    astray = ~(np.abs(fit.place - course) <= np.maximum(6.0 * own_u, 0.5 * blur_px + 0.3))
    astray |= off_course(fit.place, fit_for & ~astray)
    # Where neighbours scatter by pixels there is no edge to speak of, whatever their mean.
    astray |= own_u > max(1.0, 6.0 * float(np.median(own_u)))
    why = reasons_of(
        astray=astray,
        faint=faint,
        covered=covered,
        off_end=off_end,
        damaged=damaged,
        marked=marks.rows if marks is not None else None,
    )
    return own_u, why


def _noise(levels: Plane, table: LightArray, place: FloatArray) -> float:
    """Standard deviation of light from frame to frame at one place, near the edge where it matters."""
    step = max(1, len(levels) // 400)
    rows = np.arange(0, len(levels) - 1, step)
    reach = np.concatenate([np.arange(-14, -4), np.arange(8, 18)])
    index = np.clip(np.rint(place[rows]).astype(np.intp)[:, None] + reach, 0, levels.shape[1] - 1)
    now = table[np.take_along_axis(levels[rows], index, axis=1)]
    later = table[np.take_along_axis(levels[rows + 1], index, axis=1)]
    change = (later - now) - np.median(later - now, axis=1, keepdims=True)
    return float(max(1.4826 * np.median(np.abs(change)) / np.sqrt(2), 0.3 / np.sqrt(3)))


def _running_typical(values: FloatArray, half: int) -> FloatArray:
    """The level that most frames around each frame reach: a median of block medians."""
    n = len(values)
    places = np.unique(np.linspace(0, n - 1, max(2, 2 * n // half)).astype(int))
    medians = [np.median(values[max(0, p - half) : p + half + 1]) for p in places]
    return np.maximum(np.interp(np.arange(n), places, medians), 0.5 * float(np.median(values)))


def _covered(levels: Plane, table: LightArray, place: FloatArray, blur_px: float) -> NDArray[np.bool_]:
    """Frames in which the line away from the edge looks unlike itself at other times.

    What a place shows as air and as water is taken from the frames in which it is clearly one or the other;
    a frame is covered when a stretch of the line departs from that by far more than usual.
    """
    n, length = levels.shape
    sample = np.unique(np.linspace(0, n - 1, 160).astype(int))
    margin = 4.0 + 14.0 * blur_px
    light = table[levels[sample]].astype(np.float64)
    along = np.arange(length)
    distance = along[None, :] - place[sample][:, None]
    air = _masked_median(light, distance < -margin)
    water = _masked_median(light, distance > margin)
    stretch = max(8, length // 40)
    kernel = np.ones(stretch) / stretch
    worst = np.empty(n)
    for first in range(0, n, _CHUNK):
        part = table[levels[first : first + _CHUNK]].astype(np.float64)
        gap = along[None, :] - place[first : first + _CHUNK, None]
        expected = np.where(gap < -margin, air, np.where(gap > margin, water, np.nan))
        departure = part - expected
        # Exposure drift moves the whole line alike and is no cover.
        known = np.isfinite(departure)
        departure = np.where(known, departure, 0.0)
        count = np.maximum(known.sum(axis=1, keepdims=True), 1)
        drift = departure.sum(axis=1, keepdims=True) / count
        departure = np.where(known, np.abs(departure - np.clip(drift, -8, 8)), 0.0)
        worst[first : first + _CHUNK] = [float(np.convolve(row, kernel, "valid").max()) for row in departure]
    usual = float(np.median(worst))
    spread = 1.4826 * float(np.median(np.abs(worst - usual)))
    return np.asarray(worst > usual + max(8.0 * spread, 0.6 * usual, 6.0), dtype=bool)


def _masked_median(values: FloatArray, mask: NDArray[np.bool_]) -> FloatArray:
    """Median down each column over the rows that the mask picks; NaN where fewer than three do."""
    ordered = np.sort(np.where(mask, values, np.inf), axis=0)
    count = mask.sum(axis=0)
    middle = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0)[None, :], axis=0)[0]
    return np.where(count >= 3, middle, np.nan)
