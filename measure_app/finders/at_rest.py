"""When the water runs: a film begins before the hole is opened, and goes on after it is stopped.

What a line shows of itself is told by most of the frames (the median over time); where the water rests in
most of them, the resting water is taken for it. So what comes before and after the draining is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.marked import Hints
from measure_app.finders.medians import column_medians, median, row_medians
from measure_app.finders.path import stretches_of
from measure_app.finders.steadiness import Drift, along_line
from measure_app.finders.track import Track, Why
from measure_app.strips import Strip, spread_rows, steadied

_ROWS = 240
"""Frames compared, evenly spread over the run."""
_LATER = 0.05
"""A frame is held against one that is later by this part of the run: a surface near its end falls slowly."""
_BIN_PX, _BINS = 4, 2
"""Pixels along the line that are averaged, and how many such bins have to change: a grain does not count."""
_CHANGED, _OVER_NOISE, _SURELY = 2.0, 5.0, 8.0
"""Levels, of 255, and standard deviations of the noise by which what moves changes a line; levels that no
noise reaches."""
_LASTING = 0.06
"""What stirs for less than half of this part of the run is a drop, or a grain."""
_VISIT = 0.15
"""So long a part of the run a hand may stay that starts or stops the camera."""
_AT_LEAST = 0.1
"""Rest at an end of the run counts from this part of it on; less does not harm."""
_COVERED, _OTHER = 0.4, 6.0
"""Part of a line that changes where something comes to stand before it, by so many levels of 255."""
_LEAST_PX = 64
"""Length of a line from which it can be told."""
_FEWEST = 12
"""Frames in which the water has to run."""


def running(strips: Sequence[Strip], drift: Drift | None = None, marks: Sequence[Hints] = ()) -> slice:
    """Rows from where something on a line begins to move to where it stops; all if there is no rest to see.

    Parameters
    ----------
    strips : n frames each
    drift : how the camera moved; None: not at all
    marks : places marked by hand, whose rows are not left out

    Returns
    -------
    slice
        Of rows, start and stop given. What rests in between is not left out.
    """
    n = len(strips[0].frames)
    rows = spread_rows(n, _ROWS)
    later = max(2, round(_LATER * len(rows)))
    if len(rows) < 4 * later or strips[0].levels.shape[1] < _LEAST_PX:
        return slice(0, n)
    if drift is not None and drift.moved:
        strips = [steadied(strip, along_line(strip, drift)) for strip in strips]
    lines = [_binned(strip, rows) for strip in strips]
    unseen = np.isin(rows, [row for row, _ in strips[0].unseen])
    stirs = np.any([(_changed(each[later:], each[:-later]).sum(axis=1) >= _BINS) for each in lines], axis=0)
    stirs &= ~(unseen[later:] | unseen[:-later])
    half = max(1, round(0.5 * _LASTING * len(rows)))
    lasting = np.convolve(np.pad(stirs, half, mode="edge"), np.ones(2 * half + 1), mode="valid") > half
    if not lasting.any():
        return slice(0, n)
    stretches = stretches_of(np.flatnonzero(lasting))
    longest = max(map(len, stretches))
    moving = np.concatenate([each for each in stretches if len(each) >= min(longest, _VISIT * len(rows))])
    # What begins to move shows in the later of two frames, what stops in the earlier.
    margin = later // 3
    first, last = int(moving[0]) + later - margin, int(moving[-1]) + margin
    start, stop = 0, n
    if first >= _AT_LEAST * len(rows) and not _covers(
        lines, slice(0, first), slice(first, first + 4 * later)
    ):
        start = int(rows[first])
    tail = slice(last + 1, len(rows))
    if last < (1.0 - _AT_LEAST) * len(rows) and not _covers(lines, tail, slice(last - 4 * later, last + 1)):
        stop = int(rows[last]) + 1
    if stop - start < _FEWEST:
        return slice(0, n)
    marked = np.concatenate([np.array([start, stop - 1]), *(each.rows for each in marks)])
    return slice(int(marked.min()), int(marked.max()) + 1)


def _binned(strip: Strip, rows: NDArray[np.intp]) -> NDArray[np.float32]:
    """Some rows, averaged over a few pixels, in levels of 255; (rows, bins)."""
    bins = strip.levels.shape[1] // _BIN_PX
    parts = strip.levels[rows, : bins * _BIN_PX].reshape(len(rows), bins, _BIN_PX)
    per = np.float32(_BIN_PX * 2.0 ** (strip.bit_depth - 8))
    return np.asarray(parts.sum(axis=2, dtype=np.int32) / per, dtype=np.float32)


def _change(one: NDArray[np.float32], other: NDArray[np.float32]) -> NDArray[np.float32]:
    """By how much rows (n, bins) differ beside what all of a row differs by: cameras change their mind."""
    change = one - other
    return np.asarray(np.abs(change - row_medians(change)[:, None]), dtype=np.float32)


def _changed(one: NDArray[np.float32], other: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Where rows (n, bins) differ by more than noise and by what all of them differ by."""
    change = _change(one, other)
    # Where something passes before all of a line, that is no noise.
    least = np.clip(_OVER_NOISE * 1.4826 * row_medians(change), _CHANGED, _SURELY)
    return np.asarray(change > least[:, None], dtype=bool)


def _covers(lines: Sequence[NDArray[np.float32]], rest: slice, beside: slice) -> bool:
    """Whether much of a line looks other in the rest than in most frames beside it: covered by something.

    Water that comes to rest looks as it did.
    """
    for each in lines:
        change = _change(each[max(beside.start, 0) : beside.stop], column_medians(each[rest]))
        if median((change > _OTHER).mean(axis=1)) > _COVERED:
            return True
    return False


def part_of(strip: Strip, rows: slice) -> Strip:
    """Some rows, in a row, of a strip."""
    if rows == slice(0, len(strip.frames)):
        return strip
    start, stop = rows.start, rows.stop
    return replace(
        strip,
        frames=strip.frames[rows],
        levels=strip.levels[rows],
        unseen=tuple((row - start, why) for row, why in strip.unseen if start <= row < stop),
        colour=None if strip.colour is None else strip.colour[rows],
    )


def whole_again(track: Track, rows: slice, frames: NDArray[np.int64]) -> Track:
    """What was found in some rows, for all frames, (n,); in the others the water rests."""
    if rows == slice(0, len(frames)):
        return track

    def spread(values: FloatArray) -> FloatArray:
        out = np.full(len(frames), np.nan)
        out[rows] = values
        return out

    why = (Why.AT_REST,) * rows.start + track.why + (Why.AT_REST,) * (len(frames) - rows.stop)
    return replace(
        track, frames=frames, along_px=spread(track.along_px), own_u_px=spread(track.own_u_px), why=why
    )
