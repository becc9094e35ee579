"""The landing: where the jet's centre line meets the landing line.

At the landing line itself the jet drowns in its own splash. A short way above it the jet is clean, so it is
traced there on several lines parallel to the landing line, and carried down to the landing level: along its
parabola first, and then by a correction, common to the whole run and fitted to it, for what the parabola
leaves (launch angle, perspective).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Pixel, Segment
from measure_app.clip import Plane
from measure_app.finders.path import best_path, smooth_course
from measure_app.finders.steadiness import Drift, with_drift
from measure_app.finders.surface import Hints
from measure_app.finders.track import Part, Track, Why, nothing_found, reasons_of
from measure_app.strips import Strip, StripLine, steadied

_ROWS = 1200
"""Frames are averaged in groups down to about this many for the path search; bounds memory and time."""
_CHUNK = 2000
"""Frames refined at once; bounds memory."""
_FRACTIONS = (0.03, 0.04, 0.05, 0.065, 0.08, 0.10, 0.125, 0.15, 0.18, 0.22)
"""Heights of the tracing lines above the landing line, as parts of the drop."""


@dataclass(frozen=True, slots=True)
class JetLines:
    """Lines on which the jet is traced, and the parabola that carries a place on them to the landing line."""

    lines: tuple[StripLine, ...]
    above: tuple[float, ...]
    """Height of each line above the landing line, as a part of the drop."""
    zero_px: float
    """Place of the throw zero along the landing line, px from its start (may lie outside it)."""
    up_px: tuple[float, float]
    """From the landing line squarely up to the orifice, px."""

    def landing_of(self, line: int, along_px: FloatArray, lift: FloatArray | float = 0.0) -> FloatArray:
        """Carry places on a tracing line down the parabola to the landing line; px along it.

        `lift` is how much higher over the landing level the line lies in a frame that the camera's motion
        displaced, as a part of the drop.
        """
        return np.asarray(self.zero_px + (along_px - self.zero_px) / self._part_of_throw(line, lift))

    def place_on(self, line: int, landing_px: FloatArray, lift: FloatArray | float = 0.0) -> FloatArray:
        """Where the jet that lands at `landing_px` crosses a tracing line, px along it."""
        return np.asarray(self.zero_px + (landing_px - self.zero_px) * self._part_of_throw(line, lift))

    def _part_of_throw(self, line: int, lift: FloatArray | float) -> FloatArray:
        return np.asarray(np.sqrt(np.clip(1.0 - self.above[line] - lift, 0.05, 1.0)))


def jet_lines(landing: Segment, orifice: Pixel, throw_zero: Pixel | None) -> JetLines:
    """Lay the tracing lines over the landing line.

    Parameters
    ----------
    landing : the landing line
    orifice : centre of the orifice, px
    throw_zero : where the throw counts from, px; None: the foot of the orifice on the landing line
    """
    step = landing.direction
    normal = np.array([-step[1], step[0]])
    up = float(np.dot(np.subtract(orifice, landing.start), normal))
    lines = tuple(
        StripLine(
            f"jet {index + 1}",
            Segment(
                Pixel(*(np.asarray(landing.start) + part * up * normal).tolist()),
                Pixel(*(np.asarray(landing.end) + part * up * normal).tolist()),
            ),
            # The jet is far brighter than the noise: averaging across would cost time and gain nothing.
            across_px=1.0,
        )
        for index, part in enumerate(_FRACTIONS)
    )
    zero = landing.along(np.asarray([throw_zero if throw_zero is not None else orifice], dtype=np.float64))[0]
    return JetLines(lines, _FRACTIONS, float(zero), (float(up * normal[0]), float(up * normal[1])))


@dataclass(frozen=True, slots=True, eq=False)
class _Background:
    """What each place of a line shows without the jet, and how much it flickers."""

    median: NDArray[np.float32]
    noise: float
    cap: float
    black: float
    """Level of black, from which exposure scales."""
    gain: NDArray[np.float32]
    """(n,) brightness of each frame against the usual one."""

    def activity(self, levels: Plane, rows: slice | NDArray[np.intp]) -> NDArray[np.float32]:
        """How much each pixel departs from the background, above noise and up to a cap, 0 to 1.

        `rows` says which rows of the strip the levels are.

        The cap makes it a measure of where the jet *is* rather than of how brightly its sides sparkle.
        """
        gain = self.gain[rows, None]
        departure: NDArray[np.float32] = np.abs(levels - (self.black + gain * (self.median - self.black)))
        departure -= np.float32(3.0 * self.noise)
        np.clip(departure, 0.0, self.cap, out=departure)
        departure /= np.float32(self.cap)
        return departure


def _gains(strips: Sequence[Strip], damaged: NDArray[np.bool_], black: float) -> NDArray[np.float32]:
    """Brightness of every frame against the usual one, from all along the lines; 1 where it is steady."""
    together = np.hstack([strip.levels[:, ::12] for strip in strips[::3]]).astype(np.float32) - black
    whole = np.flatnonzero(~damaged)
    usual = np.median(together[whole[np.unique(np.linspace(0, len(whole) - 1, 61).astype(int))]], axis=0)
    lit = usual > 8.0
    if lit.sum() < 10:
        return np.ones(len(damaged), dtype=np.float32)
    gain = np.median(together[:, lit] / usual[lit], axis=1)
    gain[damaged] = 1.0
    # Below one per cent it is the noise of the median, not exposure.
    steady = bool(np.percentile(np.abs(gain - 1.0), 95) < 0.012)
    return np.ones_like(gain) if steady else np.asarray(gain, dtype=np.float32)


def _background(
    strip: Strip, damaged: NDArray[np.bool_], gain: NDArray[np.float32], black: float
) -> _Background:
    whole = np.flatnonzero(~damaged)
    rows = whole[np.unique(np.linspace(0, len(whole) - 1, 121).astype(int))]
    sample = black + (strip.levels[rows].astype(np.float32) - black) / np.maximum(gain[rows, None], 0.05)
    median = np.median(sample, axis=0)
    level = 2.0 ** (strip.bit_depth - 8)
    noise = max(1.4826 * float(np.median(np.abs(sample - median))), 0.4 * level)
    return _Background(median, noise, max(14.0 * level, 4.0 * noise), black, gain)


def find_landing(
    strips: Sequence[Strip],
    lines: JetLines,
    *,
    hints: Hints | None = None,
    drift: Drift | None = None,
) -> Track:
    """Find the landing in every frame from the strips of the tracing lines.

    Parameters
    ----------
    strips : one strip for each of `lines.lines`, in that order
    lines : where they lie and how they are carried to the landing line
    hints : places marked by hand, which the path must pass
    drift : how the camera moved; None: not at all

    Returns
    -------
    A place along the landing line, in the reference frame, or a reason for every frame.
    """
    frames = strips[0].frames
    n = len(frames)
    lift = np.zeros(n)
    if drift is not None and drift.moved:
        along = drift.along(strips[0].line.segment.direction)
        strips = [steadied(strip, along) for strip in strips]
        up = np.asarray(lines.up_px)
        lift = -drift.along(up) / float(up @ up)
    damaged = np.zeros(n, dtype=bool)
    damaged[[row for row, _ in strips[0].unseen]] = True
    if n < 3 or (~damaged).sum() < 3 or strips[0].levels.shape[1] < 16:
        return nothing_found(Part.LANDING, frames, Why.MOTIONLESS)
    black = 0.0 if strips[0].full_range else 16.0 * 2.0 ** (strips[0].bit_depth - 8)
    gain = _gains(strips, damaged, black)
    grounds = [_background(strip, damaged, gain, black) for strip in strips]
    course = _coarse_course(strips, lines, grounds, hints)
    if course is None:
        return nothing_found(Part.LANDING, frames, Why.MOTIONLESS)
    width = _jet_width(strips, lines, grounds, course)
    places, weights, covered = _centres(strips, lines, grounds, course, width, lift)
    landing, agreement, support = _carried_down(places, weights, np.asarray(lines.above))
    own_u, why = _judge(
        landing, agreement, support, width, strips[0].levels.shape[1], covered, damaged, hints
    )
    own_u, why = with_drift(own_u, why, drift)
    refused = np.array([w is not None for w in why])
    return Track(
        Part.LANDING,
        frames,
        np.where(refused, np.nan, landing),
        np.where(refused, np.nan, own_u),
        # Light refracts unevenly in the two sides of the jet: its centre is known to a part of its width.
        max(0.1, 0.05 * width),
        why,
    )


def _coarse_course(
    strips: Sequence[Strip], lines: JetLines, grounds: Sequence[_Background], marks: Hints | None
) -> FloatArray | None:
    """Follow the jet through the whole run on all lines together; (n,) px along the landing line."""
    n, length = strips[0].levels.shape
    size = max(1, -(-n // _ROWS))
    places = np.arange(length, dtype=np.float64)
    rows = -(-n // size)
    evidence = np.zeros((rows, length), dtype=np.float32)
    for index, (strip, ground) in enumerate(zip(strips, grounds, strict=True)):
        at = lines.place_on(index, places)
        inside = ((at >= 0) & (at <= length - 1)).astype(np.float32)
        low = np.clip(np.floor(at).astype(int), 0, length - 2)
        part = np.clip(at - low, 0.0, 1.0).astype(np.float32)
        block = max(1, _CHUNK // (4 * size))
        for first in range(0, rows, block):
            last = min(first + block, rows)
            activity = ground.activity(
                strip.levels[first * size : last * size], slice(first * size, last * size)
            )
            if size > 1:
                activity = np.add.reduceat(activity, np.arange(0, len(activity), size), axis=0)
                activity /= np.float32(size)
            evidence[first:last] += (activity[:, low] * (1 - part) + activity[:, low + 1] * part) * inside
    evidence = _smoothed(evidence)
    if marks is not None:
        for row, place in zip(marks.rows.tolist(), marks.along_px.tolist(), strict=True):
            evidence[min(row // size, rows - 1), np.abs(places - place) > 8.0] = -1e4
    fastest = int(np.clip(np.ceil(6.0 * length / rows), 3, 40))
    inward, sway = (fastest, 3) if lines.zero_px < length / 2 else (3, fastest)
    path = best_path(evidence, back_px=inward, forth_px=sway, step_cost=0.05)
    strength = evidence[np.arange(rows), path]
    if np.median(strength) < 0.15 * len(strips) or np.ptp(path) < 3:
        return None
    centres = np.minimum((np.arange(rows) + 0.5) * size - 0.5, n - 1)
    return np.interp(np.arange(n), centres, path.astype(np.float64))


def _smoothed(evidence: NDArray[np.float32]) -> NDArray[np.float32]:
    """Triangle of seven pixels along the line: about the width of a jet."""
    kernel = (np.bartlett(9)[1:-1] / np.bartlett(9).sum()).astype(np.float32)
    padded = np.pad(evidence, ((0, 0), (3, 3)))
    out = np.zeros_like(evidence)
    for shift, weight in enumerate(kernel):
        out += weight * padded[:, shift : shift + evidence.shape[1]]
    return out


def _jet_width(
    strips: Sequence[Strip], lines: JetLines, grounds: Sequence[_Background], course: FloatArray
) -> float:
    """Typical width of the jet along the lines, px: the area of its mean activity over its height."""
    rows = np.unique(np.linspace(0, len(course) - 1, 120).astype(int))
    reach = np.arange(-20, 21)
    widths = []
    for index, (strip, ground) in enumerate(zip(strips, grounds, strict=True)):
        at = lines.place_on(index, course[rows])
        where = np.clip(np.rint(at).astype(int)[:, None] + reach, 0, strip.levels.shape[1] - 1)
        profile = np.mean(
            ground.activity(strip.levels[rows], rows)[np.arange(len(rows))[:, None], where], axis=0
        )
        profile = np.maximum(profile - np.median(profile[[0, 1, 2, -3, -2, -1]]), 0.0)
        if profile.max() > 0.1:
            widths.append(float(profile.sum() / profile.max()))
    return float(np.clip(np.median(widths), 2.0, 30.0)) if widths else 6.0


def _centres(
    strips: Sequence[Strip],
    lines: JetLines,
    grounds: Sequence[_Background],
    course: FloatArray,
    width: float,
    lift: FloatArray,
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Centre of the jet on every line, carried down, (n, m) px; how much of a jet was seen, (n, m), 0 to 1.

    Third, (n,), the frames in which something larger than a jet lies over the lines.
    """
    n = len(course)
    half = max(3, round(1.1 * width))
    reach = np.arange(-half, half + 1)
    taper = np.clip((half + 1 - np.abs(reach)) / 2.0, 0.0, 1.0)
    places = np.full((n, len(strips)), np.nan)
    weights = np.zeros((n, len(strips)))
    crowded = np.zeros((n, len(strips)), dtype=bool)
    alive = np.zeros((n, len(strips)))
    beyond = np.arange(round(1.4 * width) + 1, round(3.0 * width) + 2)
    around = np.concatenate([-beyond[::-1], beyond])
    for index, (strip, ground) in enumerate(zip(strips, grounds, strict=True)):
        length = strip.levels.shape[1]
        for first in range(0, n, _CHUNK):
            chunk = slice(first, first + _CHUNK)
            activity = ground.activity(strip.levels[chunk], chunk)
            raised = lift[chunk]
            at = lines.place_on(index, course[chunk], raised)
            rows = np.arange(len(at))[:, None]
            for _ in range(4):
                base = np.clip(np.floor(at).astype(int), 0, length - 1)
                part = np.clip(at - base, 0.0, 1.0)[:, None]
                left = activity[rows, np.clip(base[:, None] + reach, 0, length - 1)]
                right = activity[rows, np.clip(base[:, None] + reach + 1, 0, length - 1)]
                seen = ((1 - part) * left + part * right) * taper
                mass = seen.sum(axis=1)
                at = at + np.where(mass > 0.3, (seen * reach).sum(axis=1) / np.maximum(mass, 0.3), 0.0)
            inside = (at > half / 2) & (at < length - 1 - half / 2)
            places[chunk, index] = lines.landing_of(index, at, raised)
            # A jet stands alone; where its surroundings are as lively, something larger lies over the line.
            beside = np.rint(at).astype(int)[:, None] + around
            lively = activity[rows, np.clip(beside, 0, length - 1)]
            left_side, right_side = lively[:, : len(around) // 2], lively[:, len(around) // 2 :]
            alive[chunk, index] = activity.sum(axis=1) / width
            crowded[chunk, index] = np.maximum(left_side.mean(axis=1), right_side.mean(axis=1)) > 0.6
            weights[chunk, index] = np.where(inside, np.minimum(mass / width, 1.0), 0.0)
    # More of the lines departs from the background than a jet and its drops account for.
    whole = np.median(alive, axis=1)
    crowd = whole > 2.5 * float(np.median(whole)) + 2.0
    return places, np.where(crowded, 0.0, weights), crowd | (crowded.mean(axis=1) > 0.4)


def _carried_down(
    places: FloatArray, weights: FloatArray, above: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Join the lines: landing (n,) px, how far the lines disagree (n,) px, and support (n,) in lines.

    The correction is linear in the height above the landing line, with a part that goes with the throw; both
    are fitted to the whole run, so they cost single frames no precision.
    """
    good = weights > 0.25
    w = np.where(good, weights, 0.0)
    slope = np.zeros(2)
    usable = good.sum(axis=1) >= 3
    landing = _median_of(places, good)
    for _ in range(6):
        centred = np.where(usable, landing - np.nanmean(landing[usable]) if usable.any() else 0.0, 0.0)
        correction = (slope[0] + slope[1] * centred)[:, None] * above
        carried = places - correction
        residual = carried - landing[:, None]
        spread = (
            1.4826 * np.nanmedian(np.abs(residual[good & usable[:, None]]))
            if (good & usable[:, None]).any()
            else 1.0
        )
        robust = w / (1.0 + (residual / max(2.0 * float(spread), 0.3)) ** 2)
        robust = np.where(np.isfinite(robust), robust, 0.0)
        total = robust.sum(axis=1)
        landing = np.where(
            total > 0, (robust * np.where(good, carried, 0.0)).sum(axis=1) / np.maximum(total, 1e-9), np.nan
        )
        usable = np.isfinite(landing) & (good.sum(axis=1) >= 3)
        slope = slope + _trend(carried - landing[:, None], robust * usable[:, None], above, centred)
    residual = np.where(good, np.abs(carried - landing[:, None]), np.nan)
    disagreement = 1.4826 * _median_of(residual, good)
    return landing, disagreement, np.asarray(w.sum(axis=1), dtype=np.float64)


def _trend(residual: FloatArray, weights: FloatArray, above: FloatArray, centred: FloatArray) -> FloatArray:
    """Slopes of the residuals with height, constant and with the throw, frame means taken out; (2,)."""
    ok = (weights > 0) & np.isfinite(residual)
    w = np.where(ok, weights, 0.0)
    r = np.where(ok, residual, 0.0)
    total = np.maximum(w.sum(axis=1, keepdims=True), 1e-9)
    height = above - (w * above).sum(axis=1, keepdims=True) / total
    r = r - (w * r).sum(axis=1, keepdims=True) / total
    designs = (height, height * centred[:, None])
    normal = np.array([[np.sum(w * a * b) for b in designs] for a in designs])
    right = np.array([np.sum(w * a * r) for a in designs])
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
    return np.asarray(
        np.linalg.solve(normal / np.outer(scale, scale) + 1e-6 * np.eye(2), right / scale) / scale
    )


def _median_of(values: FloatArray, mask: NDArray[np.bool_]) -> FloatArray:
    """Median along each row over what the mask picks; NaN where it picks nothing."""
    ordered = np.sort(np.where(mask, values, np.inf), axis=1)
    count = mask.sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum((count - 1) // 2, 0)]
    high = ordered[rows, np.maximum(count // 2, 0).clip(max=values.shape[1] - 1)]
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, 0.5 * (low + high), np.nan)


def _judge(
    landing: FloatArray,
    disagreement: FloatArray,
    support: FloatArray,
    width: float,
    length: int,
    covered: NDArray[np.bool_],
    damaged: NDArray[np.bool_],
    marks: Hints | None,
) -> tuple[FloatArray, tuple[Why | None, ...]]:
    """Own standard uncertainty of every frame, and which frames are refused."""
    n = len(landing)
    off_end = (landing < 0.5 * width) | (landing > length - 1 - 0.5 * width)
    faint = ~np.isfinite(landing) | (support < max(1.5, 0.3 * float(np.median(support))))
    apart = np.nan_to_num(disagreement, nan=np.inf) > max(
        1.5 * width, 6.0 * float(np.nanmedian(disagreement))
    )
    usable = ~(damaged | off_end | faint | apart | covered)
    half = int(np.clip(n // 14, 8, 60))
    course, scatter = smooth_course(landing, usable.astype(np.float64), half)
    single = np.nan_to_num(disagreement, nan=1.0) / np.sqrt(np.maximum(support, 1.0))
    own_u = np.sqrt(np.maximum(single, np.nan_to_num(scatter, nan=1.0)) ** 2 + 0.05**2)
    astray = ~(np.abs(landing - course) <= np.maximum(5.0 * own_u, 0.3 * width)) | apart
    # Where neighbours scatter by more than the jet's width there is no course to speak of.
    astray |= own_u > max(width, 5.0 * float(np.median(own_u)))
    why = reasons_of(
        astray=astray,
        faint=faint,
        covered=covered,
        off_end=off_end,
        damaged=damaged,
        marked=marks.rows if marks is not None else None,
    )
    return own_u, why
