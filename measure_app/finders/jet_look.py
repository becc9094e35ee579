"""What a jet looks like on a line: the still background, how far pixels depart from it, the jet's width."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.medians import median, quantile, row_medians
from measure_app.strips import Strip, spread_rows

_WALL = 6.0
"""What departs from the usual by more levels is not noise."""
_ROUNDING, _RENEWED = 0.7, 0.2
"""Noise that rounding to levels alone makes to stand still, levels; and the share of noise that is another in
every frame below which most of it was left out."""
_HOLLOW_FROM, _HOLLOW_RISES = 0.25, 1.5
"""The jet is two flanks where one is like the other by so much of what it is like itself, and so many times
what it is like the water between."""


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """What each place of a line shows without the jet, and how much it flickers."""

    median: NDArray[np.float32]
    noise: float
    cap: float
    black: float
    """Level of black, from which exposure scales."""
    gain: NDArray[np.float32] | None
    """(n,) brightness of each frame against the usual one; None where it is steady."""

    def activity(self, levels: Plane, rows: slice | NDArray[np.intp]) -> NDArray[np.float32]:
        """How much each pixel departs from the background, above noise and up to a cap, 0 to 1.

        `rows` says which rows of the strip the levels are.

        The cap makes it a measure of where the jet *is* rather than of how brightly its sides sparkle.
        """
        return self._beyond_noise(levels, self.median, rows)

    def activity_at(
        self, levels: Plane, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> NDArray[np.float32]:
        """Do the same at some columns (m, k) of some rows (m,) of the strip's levels (n, L)."""
        return self._beyond_noise(levels[rows[:, None], columns], self.median[columns], rows)

    def _beyond_noise(
        self, levels: Plane, expected: NDArray[np.float32], rows: slice | NDArray[np.intp]
    ) -> NDArray[np.float32]:
        if self.gain is not None:
            black = np.float32(self.black)
            expected = black + self.gain[rows, None] * (expected - black)
        departure: NDArray[np.float32] = np.subtract(levels, expected, dtype=np.float32)
        np.abs(departure, out=departure)
        departure -= np.float32(3.0 * self.noise)
        np.clip(departure, np.float32(0.0), np.float32(self.cap), out=departure)
        departure *= np.float32(1.0 / self.cap)
        return departure


def gains_of(strips: Sequence[Strip], damaged: NDArray[np.bool_], black: float) -> NDArray[np.float32] | None:
    """Brightness of every frame against the usual one, from all along the lines; None where it is steady."""
    together = np.hstack([strip.levels[:, ::12] for strip in strips[::3]]).astype(np.float32) - black
    whole = np.flatnonzero(~damaged)
    usual = row_medians(together[whole[spread_rows(len(whole), 61)]].T)
    lit = usual > 8.0
    if lit.sum() < 10:
        return None
    gain = row_medians(together[:, lit] / usual[lit])
    gain[damaged] = 1.0
    # Below one per cent it is the noise of the median, not exposure.
    steady = quantile(np.abs(gain - 1.0), 0.95) < 0.012
    return None if steady else gain


def coded_over(strips: Sequence[Strip], gain: NDArray[np.float32] | None, black: float) -> float:
    """How far coding leaves out of each frame what changes a little from the one before, 0 to 1.

    In poor light noise is larger than a level, and where it is coded it is another in every frame. Noise that
    stands still was left out, and with it a part of what moves.
    """
    levels = np.hstack([strip.levels[:, ::12] for strip in strips[::3]]).astype(np.float32)
    unit = np.float32(2.0 ** (strips[0].bit_depth - 8))
    levels = (levels - np.float32(black)) / unit
    if gain is not None:
        levels /= np.maximum(gain, np.float32(0.05))[:, None]
    off = levels - row_medians(levels.T)
    off -= row_medians(off)[:, None]
    still = np.abs(off) < _WALL
    both = still[1:] & still[:-1]
    if not both.any():
        return 0.0
    variance = float(np.mean(np.square(off[still])))
    new = 0.5 * float(np.mean(np.square(np.diff(off, axis=0)[both])))
    frozen, renewed = np.sqrt(max(variance - new, 0.0)), new / max(variance, 1e-6)
    noisy = np.clip((frozen - _ROUNDING) / _ROUNDING, 0.0, 1.0)
    return float(noisy * np.clip((_RENEWED - renewed) / (0.5 * _RENEWED), 0.0, 1.0))


def background_of(
    strip: Strip, damaged: NDArray[np.bool_], gain: NDArray[np.float32] | None, black: float
) -> Background:
    """Take what a line shows without the jet from the median of many frames, exposure allowed for."""
    whole = np.flatnonzero(~damaged)
    rows = whole[spread_rows(len(whole), 121)]
    sample = strip.levels[rows].T.astype(np.float32)
    if gain is not None:
        sample -= np.float32(black)
        sample /= np.maximum(gain[rows], np.float32(0.05))
        sample += np.float32(black)
    usual = row_medians(sample)
    level = 2.0 ** (strip.bit_depth - 8)
    noise = max(1.4826 * median(np.abs(sample - usual[:, None])), 0.4 * level)
    return Background(usual, noise, max(14.0 * level, 4.0 * noise), black, gain)


def _seen_around(
    strips: Sequence[Strip],
    grounds: Sequence[Background],
    at: Sequence[FloatArray],
    reach: NDArray[np.intp],
    most: int,
) -> Iterator[NDArray[np.float32]]:
    """Activity (m, k) at `reach` px (k,) from where the jet is, of up to `most` frames of each line."""
    for strip, ground, places in zip(strips, grounds, at, strict=True):
        known = np.flatnonzero(np.isfinite(places))
        if not len(known):
            continue
        rows = known[spread_rows(len(known), most)]
        where = np.clip(np.rint(places[rows]).astype(int)[:, None] + reach, 0, strip.levels.shape[1] - 1)
        yield ground.activity_at(strip.levels, rows, where)


def widths_of(
    strips: Sequence[Strip], grounds: Sequence[Background], at: Sequence[FloatArray], reach_px: int = 20
) -> list[float]:
    """Width of the jet on each line that shows it, px: the area of its mean activity over its height.

    `at` says where the jet crosses each line in every frame, (n,) px along it.
    """
    widths = []
    reach = np.arange(-reach_px, reach_px + 1)
    for seen in _seen_around(strips, grounds, at, reach, 120):
        profile = np.mean(seen, axis=0)
        profile = np.maximum(profile - median(profile[[0, 1, 2, -3, -2, -1]]), 0.0)
        if profile.max() > 0.1:
            widths.append(float(profile.sum() / profile.max()))
    return widths


def hollow_of(
    strips: Sequence[Strip], grounds: Sequence[Background], at: Sequence[FloatArray], width: float
) -> float:
    """How far apart the flanks of the jet lie where little but they shows, px; nought where the jet is whole.

    Water as bright as the wall behind it is seen by its dark flanks alone. What is presumed to be the jet's
    place, `at` as in `widths_of`, may be on either of them, so that the mean over the frames does not part
    them. How like itself it is so many pixels aside does: what is seen is unlike where the lag leads from
    a flank into the jet, and like again where it leads to the other flank.
    """
    lags = np.arange(int(2.0 * width) + 2)
    reach = np.arange(-len(lags) - round(width), len(lags) + round(width) + 1)
    alike = np.zeros(len(lags))
    for seen in _seen_around(strips, grounds, at, reach, 60):
        alike += [float(np.sum(seen[:, : len(reach) - lag] * seen[:, lag:])) for lag in lags]
    if alike[0] <= 0.0:
        return 0.0
    alike /= alike[0]
    within = np.minimum.accumulate(alike)
    apart = int(np.argmax(alike - within))
    return float(apart) if alike[apart] > max(_HOLLOW_FROM, _HOLLOW_RISES * within[apart]) else 0.0


def centred(
    activity: NDArray[np.float32], at: FloatArray, half: int, rounds: int = 4
) -> tuple[FloatArray, FloatArray]:
    """Move places (n,) px to the middle of the activity within `half` px of them; places, and the mass there.

    The window tapers at its ends, so that what lies beside the jet pulls little.
    """
    length = activity.shape[1]
    reach = np.arange(-half, half + 2)
    taper = np.clip((half + 1 - np.abs(reach[:-1])) / 2.0, 0.0, 1.0)
    rows = np.arange(len(at))[:, None]
    mass = np.zeros(len(at))
    for _ in range(rounds):
        base = np.clip(np.floor(at).astype(int), 0, length - 1)
        part = np.clip(at - base, 0.0, 1.0)[:, None]
        near = activity[rows, np.clip(base[:, None] + reach, 0, length - 1)]
        seen = ((1 - part) * near[:, :-1] + part * near[:, 1:]) * taper
        mass = seen.sum(axis=1)
        at = at + np.where(mass > 0.3, np.einsum("nk,k->n", seen, reach[:-1]) / np.maximum(mass, 0.3), 0.0)
    return at, mass
