"""The water's free surface, seen from above beside its near edge.

A camera that looks down on the water sees the surface itself, from the near edge up to the far one: a band
that is neither quite air nor quite water and that widens as the level falls further below the camera. Fitted
as one step, near edge and band pull the place towards the band. How wide the band is follows a straight line
in the level, as it is the container's width seen at an angle; how strong it is, all of the run tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration import FloatArray
from measure_app.finders.edge import EdgeFit
from measure_app.finders.medians import column_medians, median
from measure_app.finders.sight import Sight
from measure_app.strips import spread_rows

_ABOVE, _BELOW = 34, 6
"""How far above and below the edge the profile is looked at, px."""
_WIDTHS = np.concatenate([np.arange(0.0, 6.0, 0.5), np.arange(6.0, 31.0)])
_SHARES = np.array([0.06, 0.09, 0.13, 0.18, 0.25, 0.35, 0.5])
"""Widths, px, and shares of the step that are tried."""
_FIRST, _LAST = np.arange(-20.0, 20.5, 1.0), np.arange(2.0, 30.5, 1.0)
"""Widths at start and end of the run that are tried, px; below nought the camera is below the edge."""
_GROWS_PX = 1.0
"""By how much a band widens at least."""
_WIDEST = 0.5
"""px by which it widens for each px of fall, at most: a container half as wide as the camera is far away."""
_STRETCHES, _LEAST, _FEWEST = 10, 4, 6
"""Into how many stretches a run is cut, how many there must be, and frames that each has at least."""
_FALLS_PX = 10.0
"""How far the edge must fall, px."""
_TOLD = 8.0
"""By what factor, as an exponent of e, the band explains the stretches better than a step alone. Films
without it reach 7.9, by measurement; most with it lie above 9."""
_SOFT_PX = 1.0
"""How much softer than the near edge the far one is, seen through the near wall."""
_STEPS, _BELOW_BLACK = 64.0, 64.0
"""Steps to a level in which cleaned levels are kept, and levels below the lowest that there is room for."""


@dataclass(frozen=True, slots=True)
class Lid:
    """The band, by where the edge is."""

    share: float
    """How much of the step from air to water it shows."""
    growth: float
    """px by which it widens for each px that the edge falls."""
    level_px: float
    """Where on the line the edge is level with the camera and the band has no width."""

    def width(self, place: FloatArray) -> FloatArray:
        """Width, px, with the edge at a place; nought where the camera is below it."""
        return np.maximum(self.growth * (place - self.level_px), 0.0)


def lid_of(sight: Sight, fit: EdgeFit, blur_px: float) -> Lid | None:
    """Look for the band above the edge; None where there is none.

    Parameters
    ----------
    sight : what the edge was fitted in
    fit : the edge in every frame
    blur_px : standard deviation of the blur
    """
    profiles, places = _profiles(sight, fit)
    if len(profiles) < _LEAST or np.ptp(places) < _FALLS_PX:
        return None
    total = np.sum(profiles**2, axis=1)
    told = np.swapaxes(_design(blur_px, _SHARES, _WIDTHS), -1, -2) @ profiles.T
    return _straight(np.maximum(total - np.sum(told**2, axis=-2), 1e-7), places)


def without_lid(sight: Sight, place: FloatArray, lid: Lid, step: float, blur_px: float) -> Sight:
    """Give the same as if the band were air.

    Parameters
    ----------
    place : (n,) px, the edge in every frame
    step : levels, the run's usual change from air to water
    """
    from scipy.special import ndtr

    n, length = sight.codes.shape
    along, width = np.arange(length), lid.width(place)[:, None]
    codes = np.empty((n, length), dtype=np.uint16)
    lowest = float(sight.table[int(sight.codes.min())]) - _BELOW_BLACK
    for first in range(0, n, 500):
        rows = slice(first, first + 500)
        x = along - place[rows, None]
        soft = np.hypot(blur_px, _SOFT_PX * np.minimum(width[rows], 1.0))
        band = ndtr((x + width[rows]) / soft) - ndtr(x / blur_px)
        light = sight.rows(rows) - lid.share * step * band
        codes[rows] = np.clip(np.rint(_STEPS * (light - lowest)), 0, 65535)
    table = (np.arange(65536) / _STEPS + lowest).astype(np.float32)
    return Sight(codes, table)


def _profiles(sight: Sight, fit: EdgeFit) -> tuple[FloatArray, FloatArray]:
    """Profiles (k, m) of stretches of the run about their edges, in steps, and where those are, (k,) px."""
    length = sight.codes.shape[1]
    step = median(fit.contrast)
    inside = (fit.place > _ABOVE + 1) & (fit.place < length - _BELOW - 2)
    rows = np.flatnonzero(inside & (fit.contrast * np.sign(step) > 0.4 * abs(step)))
    if len(rows) < _LEAST * _FEWEST or step == 0.0:
        return np.zeros((0, 0)), np.zeros(0)
    reach = np.arange(-_ABOVE, _BELOW + 1)
    profiles, places = [], []
    for stretch in np.array_split(rows, min(_STRETCHES, len(rows) // _FEWEST)):
        some = stretch[spread_rows(len(stretch), 24)]
        x = fit.place[some]
        whole = np.floor(x).astype(np.intp)
        index = whole[:, None] + reach
        part = (x - whole)[:, None]
        light = sight.table[np.take_along_axis(sight.codes[some], index, axis=1)] * (1.0 - part)
        light = light + sight.table[np.take_along_axis(sight.codes[some], index + 1, axis=1)] * part
        profiles.append(column_medians(light) / step)
        places.append(float(np.median(x)))
    return np.array(profiles, dtype=np.float64), np.array(places)


def _design(blur_px: float, shares: FloatArray, widths_px: FloatArray) -> FloatArray:
    """Parts (f, w, m, 5) of the profile with bands of so many shares and widths; orthonormal."""
    from scipy.special import ndtr

    x = np.arange(-_ABOVE, _BELOW + 1, dtype=np.float64)
    step, soft = ndtr(x / blur_px), float(np.hypot(blur_px, _SOFT_PX))
    edge = np.exp(-0.5 * (x / blur_px) ** 2)
    ramp = 0.1 * (x * step + blur_px * edge / np.sqrt(2 * np.pi))
    fixed = np.stack([np.ones_like(x), 0.1 * x, ramp, edge], axis=1)
    band = ndtr((x + widths_px[:, None]) / soft) - step
    with_band = step + shares[:, None, None] * band
    parts = np.empty((len(shares), len(widths_px), len(x), 5))
    parts[..., :4] = fixed
    parts[..., 4] = with_band
    return np.asarray(np.linalg.qr(parts)[0])


def _straight(left: FloatArray, places: FloatArray) -> Lid | None:
    """Find share and straight line in the level that explain most.

    Parameters
    ----------
    left : (f, w, g) what bands of so many shares and widths leave of the profiles, the first without width
    places : (g,) px
    """
    gain = np.log(left[:, :1] / left)
    along = (places - places[0]) / np.ptp(places)
    first, last = (each.ravel() for each in np.meshgrid(_FIRST, _LAST, indexing="ij"))
    keep = (last - first >= _GROWS_PX) & (last - first <= _WIDEST * np.ptp(places))
    first, last = first[keep], last[keep]
    if not len(first):
        return None
    widths = first[:, None] + (last - first)[:, None] * along
    near = np.searchsorted(_WIDTHS, widths - 0.25).clip(0, len(_WIDTHS) - 1)
    scores = gain[:, near, np.arange(len(places))].sum(axis=-1)
    share, line = np.unravel_index(int(np.argmax(scores)), scores.shape)
    if scores[share, line] < _TOLD:
        return None
    growth = (last[line] - first[line]) / float(np.ptp(places))
    return Lid(float(_SHARES[share]), float(growth), float(places[0] - first[line] / growth))
