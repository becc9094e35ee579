"""Where the middle of the jet lies on each line, from how the jet looks there on the average of the run.

In a single frame the middle of what moves is a good guess at the middle of the jet. Over the run it errs to
one side: near the landing drops of the splash fly on beyond the jet, not before it, and the water glints more
on one side than on the other. On the average of all frames, laid over one another along the jet's course,
the two sides of the jet stand out as two steep flanks with a level on either side of them, and the middle
between the flanks is the middle of the jet, however lively it is beside it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.jet_look import Background
from measure_app.finders.medians import median
from measure_app.strips import Strip, spread_rows

_NEAR, _FAR = 1.1, 2.2
"""Between so many widths from its middle, what is beside the jet is looked at."""
_FAINTEST = 0.15
"""A jet whose mean activity stands out by less than this has no flanks to speak of."""
_LEVELS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
"""Parts of its height at which a flank is looked for. Where water shows in a share of the frames only, for it
looks like what is behind it, a flank has a shoulder: one level alone would jump from its foot to its top."""
_PART = 3
"""So many of the levels are a flank's foot, and so many its top."""
_FEWEST_LINES = 4
"""Two for the straight line, two to tell its scatter."""
_LEANS = 2.0
"""The middles lead at most by about so many widths of the jet, over the whole drop, elsewhere than the places
that they are compared with. Lines that lie close together tell less of it than that."""
_FEWEST = 8
"""Frames that a mean profile is made of, at least."""
_MOST = 480
"""Frames that a mean profile is made of, at most, evenly spread: more gain nothing."""


def middles_of(
    strips: Sequence[Strip], grounds: Sequence[Background], at: Sequence[FloatArray], width: float
) -> FloatArray:
    """How far the jet's middle lies beyond its presumed place on each line, px along it.

    Parameters
    ----------
    strips, grounds : m lines and what they show without the jet
    at : for each line (n,) px, where the jet is presumed in every frame; NaN where it is not known
    width : of the jet along the lines, px

    Returns
    -------
    (levels, m) px, at each level of the flanks; NaN where it is not to be had
    """
    reach = int(np.ceil(_FAR * width)) + 1
    steps = np.arange(-reach, reach + 2)
    middles = np.full((len(_LEVELS), len(strips)), np.nan)
    for index, (strip, ground, places) in enumerate(zip(strips, grounds, at, strict=True)):
        last = strip.levels.shape[1] - 1
        usable = np.isfinite(places) & (places > reach + 1) & (places < last - reach - 1)
        rows = np.flatnonzero(usable)
        if len(rows) < _FEWEST:
            continue
        rows = rows[spread_rows(len(rows), _MOST)]
        base = np.floor(places[rows]).astype(int)
        part = (places[rows] - base)[:, None]
        columns: NDArray[np.intp] = base[:, None] + steps
        activity = ground.activity_at(strip.levels, rows, columns)
        profile = ((1.0 - part) * activity[:, :-1] + part * activity[:, 1:]).mean(axis=0)
        middles[:, index] = _middle(profile, width)
    return middles


def _middle(profile: FloatArray, width: float) -> FloatArray:
    """Half-way between the flanks of a mean profile whose centre is the presumed place, px from there.

    At each level, (levels,); NaN where there are no flanks.
    """
    centre = len(profile) // 2
    near, far = int(np.ceil(_NEAR * width)), int(np.ceil(_FAR * width))
    nothing = np.full(len(_LEVELS), np.nan)
    beside = [
        median(profile[centre - far : centre - near + 1]),
        median(profile[centre + near : centre + far + 1]),
    ]
    flanks = []
    for level, side in zip(beside, (profile[centre::-1], profile[centre:]), strict=True):
        # Where drops fly in a share of the frames, the jet is seen to end only in the others.
        share = min(level, 0.9)
        jet = (side[: near + 2] - share) / (1.0 - share)
        top = float(jet[: max(2, round(width / 2) + 1)].max())
        if top < _FAINTEST:
            return nothing
        heights = top * np.asarray(_LEVELS)
        above = jet[:-1] >= heights[:, None]
        # The outermost place that is above, on either side of which the flank crosses the level.
        at = near - np.argmax(above[:, ::-1], axis=1)
        if not above.any(axis=1).all() or (at == near).any():
            return nothing
        flanks.append(at + (jet[at] - heights) / (jet[at] - jet[at + 1]))
    return np.asarray(0.5 * (flanks[1] - flanks[0]))


def at_the_landing(beyond: FloatArray, above: FloatArray, width: float) -> tuple[float, float, float]:
    """Where the lines' middles lead to at the landing level, by a robust straight line through their heights.

    Parameters
    ----------
    beyond : (levels, m) px along the landing line, how far each line's middle, carried down, lies beyond what
        is presumed; NaN where it is not known
    above : (m,) their heights above the landing line, as parts of the drop
    width : of the jet along the lines, px

    Returns
    -------
    How far the landing lies beyond what is presumed, px, by the mean over the levels of the flanks; its
    standard uncertainty from the scatter of the lines' middles; and how far what the feet of the flanks say
    lies from what their tops say. NaN where fewer than four lines say it.
    """
    known = np.isfinite(beyond).all(axis=0)
    if known.sum() < _FEWEST_LINES:
        return float("nan"), float("nan"), float("nan")
    design = np.stack([np.ones(int(known.sum())), above[known]], axis=1)
    told = beyond[:, known]
    likely = _LEANS * width
    place, u = _led_down(design, told.mean(axis=0), likely)
    feet, tops = (_led_down(design, part.mean(axis=0), likely)[0] for part in (told[:_PART], told[-_PART:]))
    return place, u, abs(tops - feet)


def _led_down(design: FloatArray, y: FloatArray, likely: float) -> tuple[float, float]:
    """Robust straight line at height nought, and its standard uncertainty.

    That its slope is nought to within `likely` is taken as one more thing told.
    """
    weights: FloatArray = np.ones(len(y))
    gap = np.abs(y - median(y))
    for _ in range(9):
        size = max(1.4826 * median(gap), 0.02)
        held = np.diag([0.0, (size / likely) ** 2])
        spread = np.asarray(np.linalg.inv(design.T @ (design * weights[:, None]) + held), dtype=np.float64)
        line = spread @ (design.T @ (weights * y))
        gap = np.abs(y - design @ line)
        weights = 1.0 / (1.0 + (gap / (2.0 * size)) ** 2)
    return float(line[0]), size * float(np.sqrt(spread[0, 0]))
