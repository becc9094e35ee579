"""The jet itself, traced from a little above the landing up towards the orifice.

The place of the jet on a dozen lines is found in every frame and joined to one place for each short stretch
of time: the evidence for its launch angle and its curvature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.jet_lines import JetLines
from measure_app.finders.jet_look import background_of, centred, gains_of, widths_of
from measure_app.finders.steadiness import Drift
from measure_app.finders.track import Track
from measure_app.strips import Strip, steadied

_LOWER = (1, 4, 7, 9)
"""Those of the lines close above the landing that are used here as well."""
_STRETCHES = (6, 24)
"""Fewest and most stretches of time."""
_CHUNK = 2000
"""Frames looked at together; bounds memory."""
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
    lower, upper : a strip for each of `lines.lines`, and for each of `lines.upper`
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
    lift = np.zeros(n)
    if drift is not None and drift.moved:
        along = drift.along(strips[0].line.segment.direction)
        strips = [steadied(strip, along) for strip in strips]
        lift = -drift.along(normal)
    damaged = np.zeros(n, dtype=bool)
    damaged[[row for row, _ in strips[0].unseen]] = True
    black = 0.0 if strips[0].full_range else 16.0 * 2.0 ** (strips[0].bit_depth - 8)
    gain = gains_of(strips, damaged, black)
    edges = np.linspace(0, n, count + 1).astype(int)
    middles = (edges[:-1] + edges[1:] - 1) // 2
    px = np.full((count, len(strips), 2), np.nan)
    u = np.full((count, len(strips)), np.nan)
    reach = landing.along_px - lines.zero_px
    part, width, widths = 1.0, 6.0, []
    seen_above = 0.0
    for index, (strip, height, begin) in enumerate(zip(strips, above, begins, strict=True)):
        # From line to line the plain parabola is a good guide, whatever the angle does to it in all.
        part *= float(np.sqrt((1.0 - height) / (1.0 - seen_above)))
        seen_above = height
        guess = lines.zero_px + reach * part - begin
        found, width = _on_line(strip, damaged, gain, black, guess, width)
        if found is None:
            continue
        if index < len(_LOWER):
            widths.append(width)
        ok = np.isfinite(found)
        part = float(np.median((found[ok] + begin - lines.zero_px) / reach[ok]))
        for k in range(count):
            rows = edges[k] + np.flatnonzero(ok[edges[k] : edges[k + 1]])
            if len(rows) < _FEWEST:
                continue
            place, scatter = _at_middle(rows.astype(np.float64), found[rows], float(middles[k]))
            u[k, index] = np.hypot(scatter, _FLOOR_PX)
            up = float(np.mean(lift[rows]))
            px[k, index] = strip.line.segment.at(np.array([place]))[0] + up * normal
    if not widths:
        return None
    return JetTrace(landing.frames[middles], px, u, float(np.median(widths)))


def _on_line(
    strip: Strip,
    damaged: NDArray[np.bool_],
    gain: NDArray[np.float32],
    black: float,
    guess: FloatArray,
    width: float,
) -> tuple[FloatArray | None, float]:
    """Middle of the jet on one line in every frame, (n,) px along it, NaN where not seen; and its width."""
    n, length = strip.levels.shape
    ground = background_of(strip, damaged, gain, black)
    known = np.flatnonzero(np.isfinite(guess) & (guess > 2) & (guess < length - 3) & ~damaged)
    if len(known) < _FEWEST * _STRETCHES[0]:
        return None, width
    sample = known[np.unique(np.linspace(0, len(known) - 1, 150).astype(int))]
    activity = ground.activity(strip.levels[sample], sample)
    far = max(8, round(2.5 * width))
    offsets = np.arange(-far, far + 1)
    at = np.rint(guess[sample]).astype(int)[:, None] + offsets
    inside = (at >= 0) & (at < length)
    profile = np.mean(
        np.where(inside, activity[np.arange(len(sample))[:, None], np.clip(at, 0, length - 1)], 0.0), axis=0
    )
    blunt = np.convolve(profile, np.ones(max(3, round(width))) / max(3, round(width)), "same")
    # The jet moves with the guess through the whole run; what stands still is smeared out.
    start = guess + offsets[int(np.argmax(blunt))]
    got = widths_of([strip], [ground], [np.where(np.isin(np.arange(n), known), start, np.nan)], 40)
    if not got:
        return None, width
    width = float(np.clip(got[0], 2.0, 40.0))
    half = max(3, round(1.1 * width))
    found = np.full(n, np.nan)
    for first in range(0, n, _CHUNK):
        rows = known[(known >= first) & (known < first + _CHUNK)]
        if not len(rows):
            continue
        near = ground.activity(strip.levels[rows], rows)
        at_, mass = centred(near, start[rows], half)
        good = (mass > 0.35 * width) & (at_ > half) & (at_ < length - 1 - half)
        found[rows[good]] = at_[good]
    if np.isfinite(found).sum() < _FEWEST * _STRETCHES[0]:
        return None, width
    return found, width


def _at_middle(rows: FloatArray, places: FloatArray, middle: float) -> tuple[float, float]:
    """Place at a stretch's middle by a robust straight line through its frames, and its uncertainty; px."""
    away = rows - middle
    weights = np.ones(len(rows))
    value, size = float(np.median(places)), 0.0
    for _ in range(5):
        mean = np.average(away, weights=weights)
        spread = float(np.sum(weights * (away - mean) ** 2))
        level = float(np.average(places, weights=weights))
        slope = float(np.sum(weights * (away - mean) * (places - level))) / max(spread, 1e-9)
        gap = np.abs(places - level - slope * (away - mean))
        size = max(1.4826 * float(np.median(gap)), 0.03)
        weights = np.clip(1.0 - (gap / (5.0 * size)) ** 2, 1e-3, None) ** 2
        value = level - slope * mean
    return value, size * float(np.sqrt(len(rows) / max(len(rows) - 2, 1) / len(rows)))
