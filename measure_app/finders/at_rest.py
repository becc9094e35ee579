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
from measure_app.finders.medians import row_medians
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
_CHANGED, _OVER_NOISE = 2.0, 5.0
"""Levels, of 255, and standard deviations of the noise by which what moves changes a line."""
_LASTING = 0.06
"""What stirs for less than half of this part of the run is a drop, or a grain."""
_VISIT = 0.15
"""So long a part of the run a hand may stay that starts or stops the camera."""
_AT_LEAST = 0.1
"""Rest at an end of the run counts from this part of it on; less does not harm."""
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
    if len(rows) < 4 * later:
        return slice(0, n)
    stirs = np.zeros(len(rows) - later, dtype=bool)
    if drift is not None and drift.moved:
        strips = [steadied(strip, along_line(strip, drift)) for strip in strips]
    for strip in strips:
        stirs |= _changes(strip, rows, later)
    half = max(1, round(0.5 * _LASTING * len(rows)))
    lasting = np.convolve(np.pad(stirs, half, mode="edge"), np.ones(2 * half + 1), mode="valid") > half
    moving = np.flatnonzero(lasting)
    if not len(moving):
        return slice(0, n)
    stretches = stretches_of(moving)
    longest = max(map(len, stretches))
    moving = np.concatenate([each for each in stretches if len(each) >= min(longest, _VISIT * len(rows))])
    # What begins to move shows in the later of two frames, what stops in the earlier.
    margin = later // 3
    first, last = int(moving[0]) + later - margin, int(moving[-1]) + margin
    start = int(rows[first]) if first >= _AT_LEAST * len(rows) else 0
    stop = int(rows[last]) + 1 if last < (1.0 - _AT_LEAST) * len(rows) else n
    if stop - start < _FEWEST:
        return slice(0, n)
    marked = np.concatenate([np.array([start, stop - 1]), *(each.rows for each in marks)])
    return slice(int(marked.min()), int(marked.max()) + 1)


def _changes(strip: Strip, rows: NDArray[np.intp], later: int) -> NDArray[np.bool_]:
    """Whether each of some rows differs from that so many later in a few pixels, side by side or not."""
    bins = strip.levels.shape[1] // _BIN_PX
    if bins < 8 * _BINS:
        return np.ones(len(rows) - later, dtype=bool)
    binned = (
        strip.levels[rows, : bins * _BIN_PX].reshape(len(rows), bins, _BIN_PX).sum(axis=2, dtype=np.int32)
    )
    # All of a line grows brighter where the camera changes its mind.
    change = (binned[later:] - binned[:-later]).astype(np.float32)
    change = np.abs(change - row_medians(change)[:, None]) / np.float32(
        _BIN_PX * 2.0 ** (strip.bit_depth - 8)
    )
    least = np.maximum(_CHANGED, _OVER_NOISE * 1.4826 * row_medians(change))
    unseen = np.zeros(len(strip.frames), dtype=bool)
    unseen[[row for row, _ in strip.unseen]] = True
    whole = ~unseen[rows]
    changed = (change > least[:, None]).sum(axis=1) >= _BINS
    return np.asarray(changed & whole[later:] & whole[:-later], dtype=bool)


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
