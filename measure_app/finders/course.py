"""Where the surface roughly is: one falling path through the whole strip, what stands still taken away."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.marked import Hints
from measure_app.finders.medians import column_medians, median, quantile
from measure_app.finders.path import best_path
from measure_app.finders.sight import LightArray, Sight, gradient
from measure_app.finders.sweeping import lane

_ROWS = 1200
"""Frames are averaged in groups down to about this many for the path search; bounds memory and time."""


def _grouped(sight: Sight, damaged: NDArray[np.bool_]) -> tuple[LightArray, int]:
    """Levels averaged over groups of frames, so that the path search sees at most `_ROWS` rows."""
    n = len(sight.codes)
    size = max(1, -(-n // _ROWS))
    if size == 1:
        light = sight.rows(slice(None))
        bad = damaged
    else:
        starts = range(0, n, size)
        light = np.stack([sight.rows(slice(i, i + size)).mean(axis=0) for i in starts]).astype(np.float32)
        bad = np.array([bool(damaged[i : i + size].all()) for i in starts])
    if bad.any():
        light[bad] = column_medians(light[~bad]) if (~bad).any() else 0.0
    return light, size


def coarse_course(
    light: Sight, colour: Sight | None, damaged: NDArray[np.bool_], marks: Hints | None
) -> Course | None:
    """Follow the surface through the whole run, to about one pixel; None where nothing moves.

    Parameters
    ----------
    light, colour : the strip in either, n frames; water towards larger positions
    damaged : (n,) frames whose levels mean nothing
    marks : places marked by hand, which the path must pass
    """
    levels, size = _grouped(light, damaged)
    steep = gradient(levels)
    rows, length = steep.shape
    allowed = _corridor(marks, size, rows, length) if marks is not None else None
    worth = _worth(marks, size, rows, length) if marks is not None else None
    tint = gradient(_grouped(colour, damaged)[0], _TINT_SIGMA_PX) if colour is not None else None
    # A label's edge changes its contrast when the water passes behind it, so what stands still is best
    # judged in short blocks of time; a slow surface stands still in those, and needs longer ones.
    for blocks in _BLOCKS:
        lively, still = _without_still(steep, blocks)
        evidence, coloured = _evidence(lively), False
        still_tint = still[:1]
        if tint is not None:
            lively_tint, still_tint = _without_still(tint, blocks)
            of_colour = _evidence(lively_tint)
            within = lane(of_colour) if allowed is None else allowed
            path, strength = _strongest(of_colour, within, worth)
            coloured = strength >= _STRONG and path[-1] - path[0] >= 3
            if coloured:
                # Where a dye shows it is what is to be read; light may see the underside, or a reflection.
                evidence = of_colour + np.minimum(evidence, np.float32(_SECOND))
        if not coloured:
            within = lane(evidence) if allowed is None else allowed
        path, strength = _strongest(evidence, within, worth)
        if blocks == 1 or (strength >= _CLEARLY and _moves_enough(path, rows // blocks)):
            break
    if strength < _CLEARLY or path[-1] - path[0] < 3:
        return None
    if not coloured:
        path = _upper_edge(lively, path)
    n = len(light.codes)
    centres = np.minimum((np.arange(rows) + 0.5) * size - 0.5, n - 1)
    places = np.interp(np.arange(n), centres, path.astype(np.float64))
    return Course(places, np.abs(still), np.abs(still_tint), coloured)


_CLEARLY = 6.0
"""Strength along a path, in units of the noise, from which it is more than the best way through noise."""
_STRONG = 8.0
"""Strength from which colour leads."""
_SECOND = 10.0
"""Evidence up to which light has a say where colour leads."""
_TINT_SIGMA_PX = 2.0
"""Smoothing of colour, whose own pixels are mostly two wide."""
_BLOCKS = (6, 3, 1)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Where the surface roughly is, and which edges stand still."""

    places: FloatArray
    """(n,) px."""
    still: LightArray
    """(blocks, L) size of the slope that stands still in each block of time."""
    still_colour: LightArray
    """The same of colour."""
    coloured: bool
    """Whether colour showed it clearly."""


def beside_still(still: LightArray, place: FloatArray, slope: FloatArray) -> NDArray[np.bool_]:
    """Frames whose place lies on an edge that stands still and is as steep as the surface's own slope.

    Parameters
    ----------
    still : (blocks, L) size of the slope that stands still in each block of time; of one block it is known
        where the surface hardly ever is
    place : (n,) px
    slope : (n,) level per px
    """
    blocks, length = still.shape
    n = len(place)
    passing: NDArray[np.bool_] = np.ones(n, dtype=bool)
    if blocks == 1:
        ordered = np.sort(place)
        near = np.searchsorted(ordered, place + _NEAR_PX) - np.searchsorted(ordered, place - _NEAR_PX)
        passing = near < _PASSES * n
    block = np.minimum(np.arange(n) * blocks // n, blocks - 1)
    index = np.clip(np.rint(place).astype(np.intp)[:, None] + np.arange(-2, 3), 0, length - 1)
    steepest = np.zeros(n)
    for step in (-1, 0, 1):
        beside = np.clip(block + step, 0, blocks - 1)
        steepest = np.maximum(steepest, still[beside[:, None], index].max(axis=1))
    return np.asarray((steepest > 0.5 * slope) & passing, dtype=bool)


_NEAR_PX, _PASSES = 3.0, 1.0 / 3.0
"""A surface that lies so near a place in less than this part of the frames leaves nothing in their median."""


def _without_still(steep: LightArray, blocks: int) -> tuple[LightArray, LightArray]:
    """Take away what stands still: the median over time, whole or in blocks (the nearest of three).

    Gives what is left, (rows, L), and what stands still, (blocks, L).
    """
    if blocks == 1 or len(steep) < 10 * blocks:
        whole = column_medians(steep)[None]
        return steep - whole, whole
    ends = np.linspace(0, len(steep), blocks + 1).astype(int)
    medians = [column_medians(steep[i:j]) for i, j in pairwise(ends)]
    out = np.empty_like(steep)
    for block, (i, j) in enumerate(pairwise(ends)):
        near = [steep[i:j] - medians[k] for k in range(max(0, block - 1), min(blocks, block + 2))]
        out[i:j] = near[0]
        least = np.abs(near[0])
        for each in near[1:]:
            closer = np.abs(each) < least
            np.copyto(out[i:j], each, where=closer)
            np.copyto(least, np.abs(each), where=closer)
    return out, np.stack(medians)


def _evidence(steep: LightArray) -> LightArray:
    """Size of the slopes in units of the noise, up to a bound, (rows, L)."""
    strong = np.abs(steep)
    # A film's still parts can be still to the last digit; then the strongest edges tell what is strong.
    noise = max(1.4826 * median(strong), 0.02 * quantile(strong, 0.995)) + 0.05
    # Saturation: one glaring frame must not outweigh a whole run of honest contrast.
    evidence = np.minimum(strong / noise, np.float32(40.0)).astype(np.float32)
    evidence[:, :3] = 0.0
    evidence[:, -3:] = 0.0
    return evidence


def _strongest(
    evidence: LightArray, allowed: NDArray[np.bool_] | None, worth: LightArray | None = None
) -> tuple[NDArray[np.int64], float]:
    """The strongest path that only falls, and its typical strength in units of the noise.

    `worth` is what evidence counts for in the choice of the path; how strong it is it does not change.
    """
    weighed = evidence if worth is None else evidence * worth
    if allowed is not None:
        weighed = np.where(allowed, weighed, np.float32(-1e4))
    rows, length = evidence.shape
    fastest = int(np.clip(np.ceil(6.0 * length / rows), 2, 40))
    path = best_path(weighed, back_px=1, forth_px=fastest, step_cost=0.3)
    return path, median(evidence[np.arange(rows), path])


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


def _worth(marks: Hints, size: int, rows: int, length: int) -> LightArray | None:
    """What evidence is worth, given three marks or more: little far from where they lead; (rows, length).

    Between its marks a level follows the curve of second degree through the nearest three to within a few
    hundredths of the way from mark to mark, whatever the container; what stands out alone is followed still.
    None where the marks lie too close together to tell.
    """
    at, place = _apart(marks, size, _APART * rows)
    if len(at) < 3:
        return None
    row = np.arange(rows)
    leg = np.clip(np.searchsorted(at, row, side="right") - 1, 0, len(at) - 2)
    # Of the two marks next to a leg's ends, the nearer in time.
    before, after = np.maximum(leg - 1, 0), np.minimum(leg + 2, len(at) - 1)
    far_before = np.where(leg > 0, row - at[before], np.inf)
    far_after = np.where(leg + 2 < len(at), at[after] - row, np.inf)
    third = np.where(far_before < far_after, before, after)
    curve = np.zeros(rows)
    for i, j, k in ((leg, leg + 1, third), (leg + 1, leg, third), (third, leg, leg + 1)):
        curve += place[i] * (row - at[j]) * (row - at[k]) / ((at[i] - at[j]) * (at[i] - at[k]))
    # Beyond the first and the last mark it leads less surely, and soon not at all.
    beyond = np.abs(curve - np.where(row < at[0], place[0], place[-1]))
    beyond[(row >= at[0]) & (row <= at[-1])] = 0.0
    reach = _MARKED_PX + _MARKED_SHARE * np.abs(np.diff(place))[leg] + _BEYOND_SHARE * beyond
    led = (row >= at[0] - (at[2] - at[0])) & (row <= at[-1] + (at[-1] - at[-3]))
    far = led[:, None] & (np.abs(np.arange(length) - curve[:, None]) > reach[:, None])
    return np.where(far, _ASIDE_WORTH, 1.0).astype(np.float32)


def _apart(marks: Hints, size: int, least: float) -> tuple[FloatArray, FloatArray]:
    """Rows and places of marks, those closer together than so many rows as their mean."""
    order = np.argsort(marks.rows, kind="stable")
    at, place = marks.rows[order] / size, marks.along_px[order]
    groups: list[list[int]] = []
    for i in range(len(at)):
        if groups and at[i] - at[groups[-1][0]] < least:
            groups[-1].append(i)
        else:
            groups.append([i])
    return np.array([at[each].mean() for each in groups]), np.array([place[each].mean() for each in groups])


_MARKED_PX, _MARKED_SHARE, _BEYOND_SHARE, _ASIDE_WORTH = 4.0, 0.03, 0.1, 0.3
"""How far from the curve through the marks the surface is looked for: px, and parts of the way from mark to
mark and beyond the last; and what an edge is worth that lies farther off."""
_APART = 0.08
"""Part of the run by which marks have to lie apart for a curve to be led through them."""


def _upper_edge(steep: LightArray, path: NDArray[np.int64]) -> NDArray[np.int64]:
    """Step from the lower side of the meniscus band to its upper one where the path took the lower."""
    reach = np.arange(-12, 13)
    index = np.clip(path[:, None] + reach, 0, steep.shape[1] - 1)
    profile = column_medians(np.take_along_axis(steep, index, axis=1))
    own = profile[12]
    above = profile[:11] * -np.sign(own)
    rival = int(np.argmax(above))
    if above[rival] > 0.6 * abs(own):
        return np.asarray(np.clip(path + reach[rival], 0, steep.shape[1] - 1), dtype=np.int64)
    return path
