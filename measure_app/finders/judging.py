"""Which frames' surface is trusted: the own uncertainty of each, and the reason for each that is refused."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.edge import EdgeFit, window_of
from measure_app.finders.medians import known_median, median, quantile
from measure_app.finders.path import (
    cut_off,
    fallen_since,
    from_curve,
    half_window,
    loose_ends,
    smooth_in_time,
    strayed,
    stretches_of,
)
from measure_app.finders.sight import LightArray, Sight
from measure_app.finders.track import Why, reasons_of
from measure_app.strips import spread_rows

_CHUNK = 2000
"""Frames looked at at once; bounds memory."""
_UNSURE_PX = 0.55
"""An edge placed no better than this is hardly told from the noise beside it, and the noise may win."""
_PLAIN_PX, _UNSURE_PLAIN_PX = 0.2, 1.0
"""What noise makes of the place of an edge that is plain, and how much such an edge may scatter."""
_NEARLY_ALL = 0.75
"""Share of the frames in which such an edge must be followed."""
_TAIL = 2.5
"""Standard uncertainties from which a place off its neighbours' course is taken to be less sure than they."""
_OF_FALL = 0.6
"""How unsure a frame is that repeats those before, over how far the surface has fallen meanwhile: about as an
even distribution up to all of that (1/√3)."""
_OF_STRETCH = 0.6
"""How much of what a short stretch at the run's end, beyond a gap, lies off where others lead may be its
error: where they lead is known no better (by judgement)."""
_ASTRAY, _FURTHEST_PX = 4.0, 2.2
"""Standard uncertainties by which a place may lie off the course of its neighbours, and the same at most."""
_NEAR_PX, _CLEARLY_NOT = 16.0, 0.6
"""How far beyond its blurred profile what covers the line is near the surface, and up to which part of what
tells a cover that much of the line is clearly bare."""
_SUPPLE = 7
"""Degree of the curve that tells a path's wandering: a container that narrows bends the path more."""
_LIKE_ITSELF = 0.25
"""By how much of itself an edge's contrast may differ where something covers another part of the line."""
_FEWEST = 4
"""Pixels of a frame that must stay on their side for its noise to be told, and frames in a row that vouch for
one another."""
_BESIDE, _FADES = 0.7, 3.0
"""By how much less sure than others a frame beside a refused one is, and in how many frames that fades."""
_MOSTLY, _SCATTERED, _IN_ONE = 0.6, 0.45, 0.2
"""Where more than the first share of the frames does not hold, what is left holds by chance; from the second
on, if no stretch of those that do is as long as the third."""


def judge(
    sight: Sight,
    fit: EdgeFit,
    blur_px: float,
    damaged: NDArray[np.bool_],
    marked: NDArray[np.int64] | None,
    masked: NDArray[np.bool_],
    clock: FloatArray,
    *,
    strange: NDArray[np.bool_] | None = None,
) -> tuple[FloatArray, float, tuple[Why | None, ...]]:
    """Own standard uncertainty of every frame, what they share, and which frames are refused.

    Parameters
    ----------
    sight : what it was found in
    fit : the edge in every frame
    blur_px : standard deviation of the camera's blur
    damaged : (n,) frames whose levels mean nothing
    marked : rows in which a person marked the surface
    masked : (n,) frames whose place lies on an edge that stands still
    clock : (n,) when each frame was taken, −1 to 1
    strange : where what was fitted is a line, whose shape is the same all through: (n,) frames in which it is
        not that line

    Returns
    -------
    (n,) px own of each frame, px by which the path as a whole wanders, and (n,) None or the reason

    Notes
    -----
    Own is what noise makes of an edge of this contrast and blur, or how the frames around scatter if that is
    more. What is behind the surface, what the wall wears and what the film's coding keeps of an edge at half
    a pixel pull neighbouring frames alike; the path then wanders about the smooth curve that a draining level
    follows. That part is shared: it does not average away. No law is forced on the path: the curve only says
    how sure the path is.
    """
    levels, table = sight.codes, sight.table
    n, length = levels.shape
    noise = _noise(levels, table, fit.place)
    formal = noise / np.sqrt(np.maximum(fit.information, 1e-9))
    before, _ = window_of(blur_px)
    off_end = (fit.place < before * 0.5) | (fit.place > length - 1 - 3.0 * blur_px)
    contrast = np.abs(fit.contrast)
    usual = _running_typical(contrast, half=max(15, n // 12))
    faint = (contrast < 0.35 * usual) | (formal > _UNSURE_PX)
    elsewhere, covers = _covered(levels, table, fit.place, blur_px)
    unlike = np.abs(contrast - usual) > _LIKE_ITSELF * usual
    covered = (
        masked
        | covers
        | (elsewhere & unlike)
        | (fit.misfit > (3.0 if strange is not None else 6.0) * median(fit.misfit) + 3.0 * noise)
    )
    fit_for = ~(damaged | off_end | faint | covered)
    if strange is not None:
        fit_for &= ~strange
    half = half_window(n)
    course, scatter = smooth_in_time(
        fit.place, fit_for.astype(np.float64) / np.maximum(formal, 1e-3) ** 2, half, clock
    )
    own_u = np.sqrt(np.maximum(formal, np.nan_to_num(scatter, nan=0.0)) ** 2 + 1e-4)
    bound = np.maximum(np.minimum(_ASTRAY * own_u, _FURTHEST_PX), 0.5 * blur_px + 0.3)
    astray = ~(np.abs(fit.place - course) <= bound)
    gap = np.abs(from_curve(fit.place, fit_for & ~astray, clock))
    astray |= gap > max(0.8, 6.0 * 1.4826 * known_median(gap)) if np.isfinite(gap).any() else False
    if strange is not None:
        astray |= strange
    astray |= strayed(fit.place, fit_for & ~astray, clock)
    held = ~(damaged | off_end | faint | covered | astray)
    loose, led_off = loose_ends(fit.place, own_u, held, clock, half, 0.5 * blur_px)
    astray |= loose
    lost, cut_away, cut_together = cut_off(fit.place, own_u, held & ~loose, clock, half)
    astray |= lost
    # Where neighbours scatter by pixels there is no edge to speak of, whatever their mean. One that is plain
    # in each frame and followed nearly all through, which coding moves about in steps, is one still.
    seen = ~(damaged | off_end | covered)
    unsure = own_u > np.where(formal < _PLAIN_PX, _UNSURE_PLAIN_PX, _UNSURE_PX)
    if (seen & ~astray & ~unsure).sum() < _NEARLY_ALL * seen.sum():
        unsure = own_u > _UNSURE_PX
    astray |= unsure
    # Errors have longer tails than their usual size tells: what lies off is as unsure as it is off.
    away = np.where(np.isfinite(course), np.abs(fit.place - course), 0.0)
    own_u = np.maximum(own_u, np.maximum.reduce([away, led_off, cut_away]) / _TAIL)
    own_u = np.hypot(own_u, _OF_STRETCH * cut_together)
    own_u = np.maximum(own_u, _OF_FALL * fallen_since(fit.place, held, clock))
    # Few frames that hold among many that do not hold by chance.
    kernel = np.ones(2 * min(half, (n - 1) // 2) + 1)
    doubtful = np.convolve((astray | faint).astype(np.float64), kernel, "same")
    astray |= doubtful > 0.5 * np.convolve(np.ones(n), kernel, "same")
    # A single frame between refused ones has no neighbours to speak for it, nor has the first beside a cover.
    covered |= np.convolve(covered, np.ones(3), "same") > 0
    astray |= _islands(~(damaged | off_end | faint | covered | astray))
    astray |= _holds_by_chance(~(damaged | off_end | covered), astray | faint)
    why = reasons_of(
        astray=astray,
        faint=faint,
        covered=covered,
        off_end=off_end,
        damaged=damaged,
        marked=marked,
    )
    return own_u, _wander(course, fit_for & ~astray, clock), why


def _holds_by_chance(seen: NDArray[np.bool_], lost: NDArray[np.bool_]) -> bool:
    """Whether so few of the frames seen, (n,), hold, or so scattered, that chance may have made them hold."""
    count = int(seen.sum())
    part = int((seen & lost).sum())
    longest = max((len(each) for each in stretches_of(np.flatnonzero(seen & ~lost))), default=0)
    return part > _MOSTLY * count or (part > _SCATTERED * count and longest < _IN_ONE * count)


def less_sure_beside(refused: NDArray[np.bool_]) -> FloatArray:
    """By what factor, (n,), frames near refused ones are less sure than others.

    What hides the surface in one frame disturbs it in those before and after, up to five away by measurement.
    """
    n = len(refused)
    rows, row = np.flatnonzero(refused), np.arange(n)
    if not len(rows):
        return np.ones(n)
    after = np.clip(np.searchsorted(rows, row), 0, len(rows) - 1)
    away = np.minimum(np.abs(rows[after] - row), np.abs(row - rows[np.maximum(after - 1, 0)]))
    return np.asarray(1.0 + _BESIDE * np.exp(-(away - 1.0) / _FADES), dtype=np.float64)


def _islands(held: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Frames (n,) that hold in stretches of fewer than `_FEWEST` frames, of a run that is longer."""
    out = np.zeros(len(held), dtype=bool)
    ends = np.flatnonzero(np.diff(held.astype(np.int8), prepend=0, append=0))
    for first, stop in zip(ends[::2], ends[1::2], strict=True):
        out[first:stop] = stop - first < min(_FEWEST, len(held) // 8)
    return out


def _wander(course: FloatArray, usable: NDArray[np.bool_], clock: FloatArray) -> float:
    """Standard uncertainty, px, that wandering about a smooth curve tells: 95 % of it keep to twice that."""
    gap = np.abs(from_curve(course, usable, clock, _SUPPLE))
    gap = gap[np.isfinite(gap)]
    return 0.5 * quantile(gap, 0.95) if len(gap) else 0.0


def _noise(levels: Plane, table: LightArray, place: FloatArray) -> float:
    """Standard deviation of light from frame to frame at one place, near the edge where it matters."""
    step = max(1, len(levels) // 400)
    rows = np.arange(0, len(levels) - 1, step)
    reach = np.concatenate([np.arange(-14, -4), np.arange(8, 18)])
    index = np.clip(np.rint(place[rows]).astype(np.intp)[:, None] + reach, 0, levels.shape[1] - 1)
    now = table[np.take_along_axis(levels[rows], index, axis=1)]
    later = table[np.take_along_axis(levels[rows + 1], index, axis=1)]
    # Between stills the surface falls past what was air beside it: a pixel counts while it stays on its side.
    gap = index - place[rows + 1][:, None]
    stays = np.where(reach < 0, gap < -4, gap > 8)
    stays &= stays.sum(axis=1, keepdims=True) >= _FEWEST
    if not stays.any():
        return float(0.3 / np.sqrt(3))
    change = np.where(stays, later - now, np.nan)[stays.any(axis=1)]
    change = change - np.nanmedian(change, axis=1, keepdims=True)
    return float(max(1.4826 * known_median(np.abs(change)) / np.sqrt(2), 0.3 / np.sqrt(3)))


def _running_typical(values: FloatArray, half: int) -> FloatArray:
    """The level that most frames around each frame reach: a median of block medians."""
    n = len(values)
    places = np.unique(np.linspace(0, n - 1, max(2, 2 * n // half)).astype(int))
    medians = [median(values[max(0, p - half) : p + half + 1]) for p in places]
    return np.maximum(np.interp(np.arange(n), places, medians), 0.5 * median(values))


def _covered(
    levels: Plane, table: LightArray, place: FloatArray, blur_px: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Frames in which the line away from the edge looks unlike itself at other times, and also near the edge.

    What a place shows as air and as water is taken from the frames in which it is clearly one or the other;
    a frame is covered when a stretch of the line departs from that by far more than usual.
    """
    n, length = levels.shape
    sample = spread_rows(n, 160)
    margin = 4.0 + 14.0 * blur_px
    light = table[levels[sample]]
    along = np.arange(length)
    distance = along[None, :] - place[sample][:, None]
    air = _masked_median(light, distance < -margin)
    water = _masked_median(light, distance > margin)
    stretch = max(8, length // 40)
    worst = np.empty(n)
    for first in range(0, n, _CHUNK):
        chunk = slice(first, first + _CHUNK)
        above, below = along < (place[chunk] - margin)[:, None], along > (place[chunk] + margin)[:, None]
        known = (above & np.isfinite(air)) | (below & np.isfinite(water))
        departure = np.where(above, air, water)
        np.subtract(table[levels[chunk]], departure, out=departure)
        departure[~known] = 0.0
        # Exposure drift moves the whole line alike and is no cover.
        drift = departure.sum(axis=1, dtype=np.float64) / np.maximum(np.count_nonzero(known, axis=1), 1)
        departure -= np.clip(drift, -8, 8)[:, None].astype(np.float32)
        np.abs(departure, out=departure)
        departure[~known] = 0.0
        total = np.zeros((len(departure), length + 1))
        np.cumsum(departure, axis=1, dtype=np.float64, out=total[:, 1:])
        worst[chunk] = np.max(total[:, stretch:] - total[:, :-stretch], axis=1) / stretch
    usual = median(worst)
    spread = 1.4826 * median(np.abs(worst - usual))
    bound = usual + max(8.0 * spread, 0.6 * usual, 6.0)
    covers = np.asarray(worst > bound, dtype=bool)
    elsewhere = covers.copy()
    # What covers another part of the line leaves the surface in sight.
    rows = np.flatnonzero(covers)
    distance = along[None, :] - place[rows][:, None]
    near = (np.abs(distance) > margin) & (np.abs(distance) < margin + _NEAR_PX)
    expected = np.where(distance < 0, air, water)
    light = table[levels[rows]]
    departure = np.where(np.isfinite(expected) & (np.abs(distance) > margin), light - expected, np.nan)
    for row, each, beside in zip(rows, departure, near, strict=True):
        covers[row] = _departs(each, beside, stretch, bound)
    return elsewhere, covers


def _departs(departure: LightArray, near: NDArray[np.bool_], stretch: int, bound: float) -> bool:
    """Whether a line departs from what it shows near the surface too, on both sides of which it is known."""
    known = np.isfinite(departure)
    sides = np.flatnonzero(near & known)
    if len(sides) < 0.8 * near.sum() or not len(sides):
        return True
    off = np.where(known & near, np.abs(departure - np.clip(known_median(departure), -8, 8)), 0.0)
    return bool(np.max(np.convolve(off, np.ones(stretch), "valid")) / stretch > _CLEARLY_NOT * bound)


def _masked_median(values: LightArray, mask: NDArray[np.bool_]) -> LightArray:
    """Median down each column over the rows that the mask picks; NaN where fewer than three do."""
    ordered = np.sort(np.where(mask, values, np.float32(np.inf)), axis=0)
    count = mask.sum(axis=0)
    middle = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0)[None, :], axis=0)[0]
    return np.where(count >= 3, middle, np.float32(np.nan))
