"""The jet itself, traced from a little above the landing up towards the orifice.

The place of the jet on a dozen lines is found in every frame and joined to one place for each short stretch
of time: the evidence for its launch angle and its curvature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.jet_lines import TRACED_FRAMES, JetLines
from measure_app.finders.jet_look import Background, background_of, centred, gains_of
from measure_app.finders.medians import known_median, median
from measure_app.finders.steadiness import Drift, along_line
from measure_app.finders.track import Track
from measure_app.strips import Strip, spread_rows, steadied

_LOWER = (1, 4, 7, 9)
"""Those of the lines close above the landing that are used here as well."""
_STRETCHES = (6, 24)
"""Fewest and most stretches of time."""
_ASIDE_SHARE = 0.25
"""Close above the landing, which is known, a line that shows what moves further aside from where the landing
leads, in widths of the jet, is left out."""
_DULL = 4.0
"""Levels by which a pixel need depart from the background to count in full."""
_FLOOR_PX = 0.08
"""Least standard uncertainty of one place, px: the lines are sampled once a pixel."""
_FEWEST = 4
"""Frames of a stretch in which a line must show the jet."""


@dataclass(frozen=True, slots=True, eq=False)
class JetTrace:
    """Places of the jet's middle: one for each stretch of time and each line."""

    frames: NDArray[np.int64]
    """(m,) the middle frame of each stretch."""
    px: FloatArray
    """(m, lines, 2) px in the reference frame; NaN where the jet was not seen."""
    u_px: FloatArray
    """(m, lines) px along the line, own standard uncertainty; NaN where the jet was not seen."""
    width_px: float
    """The jet's width along the lines, px."""

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for array in (self.frames, self.px, self.u_px):
            array.setflags(write=False)


def trace_jet(
    lower: Sequence[Strip],
    upper: Sequence[Strip],
    lines: JetLines,
    landing: Track,
    drift: Drift | None = None,
) -> JetTrace | None:
    """Follow the jet from the landing that was found up towards the orifice.

    Parameters
    ----------
    lower, upper : a strip for each of `lines.lines`, and for each of `lines.upper`; the latter need not hold
        more than the frames that `spread_rows` picks
    lines : where they lie
    landing : as found from the lower strips
    drift : how the camera moved; None: not at all

    Returns
    -------
    JetTrace or None
        None where the landing was found in too few frames to follow the jet up from it.
    """
    n = len(landing.frames)
    count = int(np.clip(n // 12, *_STRETCHES))
    if not upper or landing.found.sum() < _FEWEST * _STRETCHES[0]:
        return None
    strips = [lower[i] for i in _LOWER] + list(upper)
    above = [lines.above[i] for i in _LOWER] + list(lines.upper_above)
    begins = [0.0] * len(_LOWER) + list(lines.upper_from_px)
    normal = np.asarray(lines.up_px) / np.hypot(*lines.up_px)
    moved = drift if drift is not None and drift.moved else None
    rows = spread_rows(n, TRACED_FRAMES)
    strips = [_picked(strip, landing.frames[rows]) for strip in strips]
    if moved is not None:
        strips = [steadied(strip, along_line(strip, moved)[rows]) for strip in strips]
    damaged = np.zeros(len(rows), dtype=bool)
    damaged[[row for row, _ in strips[0].unseen]] = True
    black = 0.0 if strips[0].full_range else 16.0 * 2.0 ** (strips[0].bit_depth - 8)
    gain = gains_of(strips, damaged, black)
    edges = np.linspace(0, n, count + 1).astype(int)
    middles = (edges[:-1] + edges[1:] - 1) // 2
    px = np.full((count, len(strips), 2), np.nan)
    u = np.full((count, len(strips)), np.nan)
    starts, counts = edges[:-1], np.diff(edges)
    reach = landing.along_px - lines.zero_px
    part, width, widths = 1.0, 6.0, []
    seen_above = 0.0
    for index, (strip, height, begin) in enumerate(zip(strips, above, begins, strict=True)):
        # From line to line the plain parabola is a good guide, whatever the angle does to it in all.
        part *= float(np.sqrt((1.0 - height) / (1.0 - seen_above)))
        seen_above = height
        guess = lines.zero_px + reach * part - begin
        ground = background_of(strip, damaged, gain, black)
        if index >= len(_LOWER):
            # Here a glint may run along one side alone: the dull side must count as much. Further down, where
            # it would make as much of the splash's mist, the jet glitters on both.
            ground = replace(ground, cap=max(_DULL * 2.0 ** (strip.bit_depth - 8), 2.0 * ground.noise))
        picked, width = _on_line(strip, ground, guess[rows], width, ~damaged, searched=index >= len(_LOWER))
        if picked is None:
            continue
        found = np.full(n, np.nan)
        found[rows] = picked
        if index < len(_LOWER) and abs(known_median(found - guess)) > _ASIDE_SHARE * width:
            continue  # a splash that is livelier than the jet
        if index < len(_LOWER):
            widths.append(width)
        ok = np.isfinite(found)
        part = median((found[ok] + begin - lines.zero_px) / reach[ok])
        place, own = _at_middles(found, edges, middles)
        u[:, index] = own
        px[:, index] = strip.line.segment.at(place)
        if moved is not None:
            # Where the camera turned, how far a line is lifted depends on where on it the jet is.
            there = np.nan_to_num(guess, nan=float(np.nanmean(guess)))
            lift = -moved.along(normal, strip.line.segment.at(there).T)
            px[:, index] += (np.add.reduceat(lift, starts) / counts)[:, None] * normal
    if not widths:
        return None
    return JetTrace(landing.frames[middles], px, u, float(np.median(widths)))


def _picked(strip: Strip, frames: NDArray[np.int64]) -> Strip:
    """A strip in some of its frames only."""
    if len(strip.frames) == len(frames):
        return strip
    rows = np.searchsorted(strip.frames, frames)
    place = {int(row): i for i, row in enumerate(rows)}
    unseen = tuple((place[row], why) for row, why in strip.unseen if row in place)
    return replace(strip, frames=frames, levels=strip.levels[rows], unseen=unseen)


def _on_line(
    strip: Strip,
    ground: Background,
    guess: FloatArray,
    width: float,
    looked: NDArray[np.bool_],
    *,
    searched: bool,
) -> tuple[FloatArray | None, float]:
    """Middle of the jet on one line in every frame, (n,) px along it, NaN where not seen; and its width.

    Where it is `searched` the guess need hold to a few widths only.
    """
    n, length = strip.levels.shape
    known = np.flatnonzero(looked & np.isfinite(guess) & (guess > 2) & (guess < length - 3))
    if len(known) < _FEWEST * _STRETCHES[0]:
        return None, width
    activity = ground.activity(strip.levels[known], known)
    rows = np.arange(len(known))[:, None]

    def mean_beside(at: FloatArray, far: int) -> FloatArray:
        columns = np.rint(at).astype(int)[:, None] + np.arange(-far, far + 1)
        inside = (columns >= 0) & (columns < length)
        levels = np.where(inside, activity[rows, np.clip(columns, 0, length - 1)], 0.0)
        return np.asarray(levels.mean(axis=0), dtype=np.float64)

    # The jet moves with the guess through the whole run; what stands still is smeared out.
    at = guess[known]
    if searched:
        far, blunt = max(8, round(2.5 * width)), max(3, round(width))
        at = at + float(np.argmax(np.convolve(mean_beside(at, far), np.ones(blunt), "same")) - far)
    profile = mean_beside(at, 40)
    profile = np.maximum(profile - median(profile[[0, 1, 2, -3, -2, -1]]), 0.0)
    if profile.max() <= 0.1:
        return None, width
    width = float(np.clip(profile.sum() / profile.max(), 2.0, 40.0))
    half = max(3, round(1.1 * width))
    at, mass = centred(activity, at, half)
    good = (mass > 0.35 * width) & (at > half) & (at < length - 1 - half)
    if good.sum() < _FEWEST * _STRETCHES[0]:
        return None, width
    found = np.full(n, np.nan)
    found[known[good]] = at[good]
    return found, width


def _at_middles(
    found: FloatArray, edges: NDArray[np.int64], middles: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Places at the stretches' middles by robust straight lines through their frames; and u; (m,) px."""
    most = int(np.max(np.diff(edges)))
    rows = edges[:-1, None] + np.arange(most)
    inside = rows < edges[1:, None]
    places = np.where(inside, found[np.minimum(rows, len(found) - 1)], np.nan)
    seen = np.isfinite(places)
    enough = seen.sum(axis=1) >= _FEWEST
    seen &= enough[:, None]
    count = np.maximum(seen.sum(axis=1), 1)
    y, away = np.where(seen, places, 0.0), (rows - middles[:, None]).astype(np.float64)
    weights = seen.astype(np.float64)
    value, size = np.zeros(len(middles)), np.ones(len(middles))
    for _ in range(4):
        total = np.maximum(weights.sum(axis=1), 1e-9)
        mean, level = (weights * away).sum(axis=1) / total, (weights * y).sum(axis=1) / total
        off = away - mean[:, None]
        spread = np.maximum((weights * off**2).sum(axis=1), 1e-9)
        slope = (weights * off * (y - level[:, None])).sum(axis=1) / spread
        gap = np.abs(y - level[:, None] - slope[:, None] * off)
        ordered = np.sort(np.where(seen, gap, np.inf), axis=1)
        middle = ordered[np.arange(len(count)), (count - 1) // 2]
        size = np.maximum(1.4826 * np.where(enough, middle, 0.0), 0.03)
        weights = np.where(seen, np.clip(1.0 - (gap / (5.0 * size[:, None])) ** 2, 1e-3, None) ** 2, 0.0)
        value = level - slope * mean
    own = np.hypot(size / np.sqrt(np.maximum(count - 2, 1)), _FLOOR_PX)
    return np.where(enough, value, np.nan), np.where(enough, own, np.nan)
