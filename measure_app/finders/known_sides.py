"""The surface fitted with what is known of either side of it.

What a place of the gauge line shows as air is seen just after the surface has left it, and what it shows
as water just before the surface came. Between the two a frame is a mixture that the place of the edge
decides. An edge of the room behind, a shadow or a worn patch of the wall then no longer pulls at the surface
as it passes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.edge import EdgeFit, amplitudes_of, normal_of
from measure_app.finders.medians import column_medians, median, row_medians
from measure_app.finders.sight import Sight

_REACH_PX = 10.0
"""How far the surface may be from a place, beyond its own blurred profile, while that place is learnt."""
_FEW, _MANY = 7, 11
"""Frames from which a place is learnt: at least, where the run has them, and at most."""
_KNOWN = 0.9
"""Share of a window that must be known."""
_CONTRAST = 0.25
"""By what part of the step one side may be brighter than known; more, and something else is in the way."""
_WORSE = 1.7
"""By how much worse the fit may be than one to the frame alone, which has more that it can bend."""
_FURTHEST_PX = 0.75
"""How far the better place may lie from the first one; further off it is another edge's."""
_RIDGE = 1e-6
"""Keeps a side that is black, and has no amplitude, from making the fit singular."""


def with_known_sides(sight: Sight, fit: EdgeFit, trusted: NDArray[np.bool_], blur_px: float) -> EdgeFit:
    """Refine places of a step with what the run knows of either side.

    Parameters
    ----------
    sight : what was fitted
    fit : the edge in every frame, as fitted to each frame alone
    trusted : (n,) frames that serve to learn from
    blur_px : standard deviation of the blur

    Returns
    -------
    The same fit where too little is known or where what is known does not hold; better places elsewhere.
    """
    if trusted.sum() < 30:
        return fit
    air, water = _sides(sight, fit.place, trusted, blur_px)
    before, after = max(5, round(5.0 * blur_px)), max(5, round(6.0 * blur_px))
    length = sight.codes.shape[1]
    reach = np.arange(-before, after + 1)
    centre = np.rint(fit.place).astype(np.intp)
    index = np.clip(centre[:, None] + reach, 0, length - 1)
    seen = sight.table[np.take_along_axis(sight.codes, index, axis=1)].astype(np.float64)
    x = index - fit.place[:, None]
    known = np.where(x < -blur_px, np.isfinite(air)[index], True)
    known &= np.where(x > blur_px, np.isfinite(water)[index], True)
    air, water = _filled(air), _filled(water)
    above, below = air[index], water[index]
    beside = np.arange(2, 9)
    step = water[np.clip(centre[:, None] + beside, 0, length - 1)].mean(axis=1)
    step -= air[np.clip(centre[:, None] - beside, 0, length - 1)].mean(axis=1)
    shape = _own_shape(seen, above, below, x, step, trusted, blur_px, reach)
    place, information, bright, misfit = _fitted(
        seen, above, below, index, step, (reach, shape), fit.place, blur_px
    )
    # Both sides may be brighter alike, not one of them by more than a part of the step.
    uneven = np.abs(bright[:, 0] - bright[:, 1]) * np.maximum(above.mean(axis=1), below.mean(axis=1))
    better = (known.mean(axis=1) >= _KNOWN) & (uneven <= _CONTRAST * np.abs(step))
    better &= misfit <= _WORSE * fit.misfit
    better &= np.abs(place - fit.place) <= _FURTHEST_PX
    return EdgeFit(
        np.where(better, place, fit.place),
        np.where(better, information, fit.information),
        fit.contrast,
        fit.misfit,
    )


def _sides(
    sight: Sight, place: FloatArray, trusted: NDArray[np.bool_], blur_px: float
) -> tuple[FloatArray, FloatArray]:
    """Level (L,) of every place just after the surface left it and just before it came; NaN: not seen."""
    rows = np.flatnonzero(trusted)
    rows = rows[np.argsort(place[rows], kind="stable")]
    ordered = place[rows]
    length = sight.codes.shape[1]
    nearest, furthest = 4.0 + 2.0 * blur_px, 4.0 + 2.0 * blur_px + _REACH_PX
    along = np.arange(length)
    left = np.searchsorted(ordered, along + nearest)
    gone = np.maximum(np.searchsorted(ordered, along + furthest), left + _FEW)
    comes = np.searchsorted(ordered, along - nearest - 1.0)
    far = np.minimum(np.searchsorted(ordered, along - furthest - 1.0), comes - _FEW)
    air = _typical(sight, rows, left, np.minimum(gone, len(rows)))
    water = _typical(sight, rows, np.maximum(far, 0), comes)
    return air, water


def _typical(
    sight: Sight, rows: NDArray[np.intp], first: NDArray[np.intp], stop: NDArray[np.intp]
) -> FloatArray:
    """Median level (L,) of each place over rows `first` to before `stop`; NaN where these are too few."""
    count = stop - first
    picks = first[:, None] + (count[:, None] * (np.arange(_MANY) + 0.5) / _MANY).astype(np.intp)
    picks = rows[np.clip(picks, 0, len(rows) - 1)]
    levels = sight.table[sight.codes[picks, np.arange(len(first))[:, None]]]
    return np.where(count >= 3, row_medians(levels), np.nan).astype(np.float64)


def _filled(side: FloatArray) -> FloatArray:
    """Carry what is known on to where nothing is."""
    there = np.flatnonzero(np.isfinite(side))
    if not len(there):
        return np.zeros_like(side)
    return np.asarray(np.interp(np.arange(len(side)), there, side[there]), dtype=np.float64)


def _own_shape(
    seen: FloatArray,
    above: FloatArray,
    below: FloatArray,
    x: FloatArray,
    step: FloatArray,
    trusted: NDArray[np.bool_],
    blur_px: float,
    reach: NDArray[np.int64],
) -> FloatArray:
    """What the surface itself adds, meniscus and shade below it, (m,) in steps at `reach` px from it."""
    from scipy.special import ndtr

    mixed = ndtr(x / blur_px)
    usual = median(np.abs(step[trusted]))
    use = np.flatnonzero(trusted & (np.abs(step) > 0.3 * usual))
    use = use[:: max(1, len(use) // 400)]
    if len(use) < 10:
        return np.zeros(len(reach))
    left = (seen[use] - above[use] * (1.0 - mixed[use]) - below[use] * mixed[use]) / step[use, None]
    moved = [np.interp(reach, at, row) for at, row in zip(x[use], left, strict=True)]
    return column_medians(np.stack(moved))


def _fitted(
    seen: FloatArray,
    above: FloatArray,
    below: FloatArray,
    index: NDArray[np.intp],
    step: FloatArray,
    shape: tuple[NDArray[np.int64], FloatArray],
    start: FloatArray,
    blur_px: float,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Place, its information, how bright either side is against what is known (n, 2), and the misfit.

    Least squares; the brightness of either side is left free, as exposure and passing shadows leave it.
    """
    from scipy.special import ndtr

    grid = np.concatenate([[shape[0][0] - 1], shape[0], [shape[0][-1] + 1]])
    padded = np.concatenate([[0.0], shape[1], [0.0]])
    by_place = np.gradient(padded)
    place = start.copy()
    for _ in range(4):
        x = index - place[:, None]
        mixed = ndtr(x / blur_px)
        density = np.exp(-0.5 * (x / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px)
        columns = np.stack(
            [above * (1.0 - mixed), below * mixed + step[:, None] * np.interp(x, grid, padded)]
        )
        slopes = np.stack([above * density, -below * density - step[:, None] * np.interp(x, grid, by_place)])
        normal = normal_of(columns, _RIDGE)
        bright = amplitudes_of(normal, columns, seen)
        slope = np.einsum("knm,nk->nm", slopes, bright)
        left = seen - np.einsum("knm,nk->nm", columns, bright)
        slope = slope - np.einsum("knm,nk->nm", columns, amplitudes_of(normal, columns, slope))
        information = np.sum(slope**2, axis=1)
        move = np.sum(slope * left, axis=1) / np.maximum(information, 1e-9)
        place = np.clip(place + np.clip(move, -0.8, 0.8), start - 3.0, start + 3.0)
    return place, information, bright, np.sqrt(np.mean(left**2, axis=1))
