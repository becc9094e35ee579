"""Which frames' landing is trusted: the own uncertainty of each, and the reason for each that is refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.medians import known_median, median
from measure_app.finders.path import (
    clock_of,
    cut_off,
    half_window,
    loose_ends,
    smooth_course,
    steadied_variance,
    strayed,
)
from measure_app.finders.track import Why, reasons_of

_RIPPLE, _RIPPLE_MOST, _APART, _SETTLED, _UNREST = 0.12, 0.09, 0.62, 0.11, 0.014
"""Own error of a frame, in shares of variances. What makes its lines disagree shifts them together too, by a
part of the disagreement: glints and swellings by no more than a part of the jet's width, for they stay within
the water, and the rest by no more than the landing jumps from frame to frame. A jet in drops displaces each
line by itself, which the lines' number averages out. And water that the air pushes aside lands a little
further off than the lines lead. Set by rendered scenes of all looks and hazards, where they make the stated
uncertainties true."""
_BESIDE_FROM, _BESIDE_SHARE = 3.0, 0.5
"""A frame further beside its neighbours' course than so many times their scatter is doubtful by that part of
the rest."""
_ALIKE = 0.9
"""Share of the pixels around the jet that are the same to the last digit as in the frame before: noise alone
changes more, unless coding left them out."""
_LEAST_PX = 0.02
_ASKED, _LOOSE_SHARE, _TAIL = 8, 0.3, 2.5
"""An end of a stretch is held against so many frames at least, and may be off by that share of the width; it
is as unsure then as it is off, over the last."""


_FEW_LINES, _FEWEST_LINES = 0.9, 4.0
"""What part of the usual lines are few, and how much less they can tell at most."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The landing as the lines together tell it."""

    landing: FloatArray
    """(n,) px."""
    unsure_px: FloatArray
    """(n,) px, what the jet's lean from line to line leaves open."""
    disagreement: FloatArray
    """(n,) px, how far the lines of a frame scatter."""
    support: FloatArray
    """(n,) in lines."""
    width: float
    """Of the jet, px."""
    length: int
    """Of the lines, px."""


def usual(disagreement: FloatArray) -> float:
    """Typical disagreement of the lines, px."""
    known = np.isfinite(disagreement)
    return median(disagreement[known]) if known.any() else 1.0


def repeated_rows(levels: Plane, first: int, at: FloatArray, half: int) -> NDArray[np.bool_]:
    """Rows, from `first` on, that show around `at` px what the row before shows.

    In poor light coding leaves a faint jet where it was, for several frames at times: such a row tells
    nothing of its own frame.
    """
    rows = first + np.arange(len(at))
    columns = np.rint(at).astype(np.intp)[:, None] + np.arange(-half, half + 1)
    columns = np.clip(columns, 0, levels.shape[1] - 1)
    now, before = levels[rows[:, None], columns], levels[np.maximum(rows - 1, 0)[:, None], columns]
    return np.asarray(((now == before).mean(axis=1) >= _ALIKE) & (rows > 0), dtype=bool)


def judge_landing(
    seen: Seen,
    *,
    covered: NDArray[np.bool_],
    repeated: NDArray[np.bool_],
    damaged: NDArray[np.bool_],
    marked: NDArray[np.int64] | None,
) -> tuple[FloatArray, tuple[Why | None, ...]]:
    """Own standard uncertainty of every frame, and which frames are refused.

    Parameters
    ----------
    seen : the landing
    covered, repeated, damaged : (n,) frames with something over the lines, frames that mostly repeat the one
        before, and frames whose levels mean nothing
    marked : rows in which a person marked the landing

    Returns
    -------
    (n,) px, and (n,) None or the reason
    """
    landing, support, width = seen.landing, seen.support, seen.width
    n = len(landing)
    off_end = (landing < 0.5 * width) | (landing > seen.length - 1 - 0.5 * width)
    faint = ~np.isfinite(landing) | (support < max(1.5, 0.3 * median(support)))
    apart = np.nan_to_num(seen.disagreement, nan=np.inf) > max(
        1.5 * width, 6.0 * known_median(seen.disagreement)
    )
    usable = ~(damaged | off_end | faint | apart | covered)
    course, scatter = smooth_course(landing, usable.astype(np.float64), half_window(n))
    unrest = np.nan_to_num(scatter, nan=1.0)
    single = np.nan_to_num(seen.disagreement, nan=1.0)
    lines = np.maximum(support, 1.0)
    loose = np.sqrt(np.maximum(single / np.sqrt(lines), unrest) ** 2 + 0.05**2)
    astray = ~(np.abs(landing - course) <= np.maximum(5.0 * loose, 0.3 * width)) | apart
    # Where neighbours scatter by more than the jet's width there is no course to speak of.
    astray |= loose > max(width, 5.0 * median(loose))
    # A frame after a gap draws the course along that it is held against.
    clock, held, unsure = clock_of(None, n), usable & ~astray, np.maximum(loose, unrest)
    loose, led_off = loose_ends(landing, unsure, held, clock, _ASKED, _LOOSE_SHARE * width)
    astray |= loose
    astray |= cut_off(landing, unsure, held & ~astray, clock, half_window(n))[0]
    astray |= strayed(landing, held & ~astray, clock)
    # Ten lines tell their own scatter only roughly; what is usual in the run steadies it.
    square = 0.5 * (single**2 + usual(seen.disagreement) ** 2)
    jumps = _jumps(landing, usable)
    ripple = square / (1.0 + square / (_RIPPLE_MOST * width) ** 2)
    settled = np.minimum(square, jumps)
    beside = np.maximum(np.nan_to_num(np.abs(landing - course)) - _BESIDE_FROM * unrest, 0.0)
    own_u = np.sqrt(
        seen.unsure_px**2
        + _RIPPLE * ripple
        + _SETTLED * settled
        + _APART * square / lines
        + _UNREST * unrest**2
        + (_BESIDE_SHARE * beside) ** 2
        + _LEAST_PX**2
    )
    own_u = np.maximum(own_u, led_off / _TAIL)
    # Where the jet runs off the lines, or fades on them, those that are left tell less.
    few = median(support) / np.maximum(support, 1.0)
    own_u = own_u * np.sqrt(np.clip(_FEW_LINES * few, 1.0, _FEWEST_LINES))
    why = reasons_of(
        astray=astray,
        faint=faint,
        repeated=repeated & faint,
        covered=covered,
        off_end=off_end,
        damaged=damaged,
        marked=marked,
    )
    return own_u, why


def _jumps(landing: FloatArray, usable: NDArray[np.bool_]) -> FloatArray:
    """Variance, (n,) px², by which the landing jumps about the line from one neighbour to the other."""
    places = np.where(usable, landing, np.nan)
    bends = np.full(len(places), np.nan)
    bends[1:-1] = (places[2:] + places[:-2] - 2.0 * places[1:-1]) / np.sqrt(6.0)
    if not np.isfinite(bends).any():
        return np.ones(len(places))
    return steadied_variance(bends - known_median(bends))
