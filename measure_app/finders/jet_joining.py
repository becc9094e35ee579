"""The jet's lines joined to one landing in every frame, what drops beside the jet do to it weighed out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.jet_flight import Landed, not_lagging
from measure_app.finders.medians import known_median, masked_row_medians, median
from measure_app.finders.path import half_window, running_median

SEEN = 0.25
"""A line shows the jet where so much of its width stands out."""
_LEADS = (0.05, 0.02)
"""Where the lines lead to at the landing departs from the parabola of a level jet by about that part of the
throw, and by that part of how the throw changes: launch angle and perspective do no more. Lines that lie
close together tell less of it than that."""
_MANY, _COUNTS = 5.0, 0.1
"""Lines that show the jet from which no single one leads; and in how much of a run one of few counts."""
_WANDER = 10.0
"""Frames that see the same behind the jet, and err alike."""
_ASUNDER = 0.1
"""Lines that lie apart by so much of the jet's width are displaced by drops, several by each."""
_VARIES = 3.0
"""More of a jet is seen on a line by so many times what it usually varies by: a drop is beside it."""


@dataclass(frozen=True, slots=True, eq=False)
class OnLines:
    """The jet's middle on every line."""

    places: FloatArray
    """(n, m) px, carried down the parabola."""
    weights: FloatArray
    """(n, m) how much of a jet was seen, 0 to 1."""
    drawn_px: FloatArray
    """(n, m) px, standard uncertainty of a middle that a drop beside the jet may have drawn along."""
    width_px: float
    """Of the jet, along the lines."""


def strange_share(masses: FloatArray, told: NDArray[np.bool_]) -> FloatArray:
    """What part of the water seen on a line, (n, m), is more than the jet alone shows there, 0 to 1.

    A drop that flies beside the jet adds to it. How much a jet shows on a line is told by the frames around,
    and how that varies without drops by those that show less.
    """
    usual = running_median(np.where(told, masses, np.nan), half_window(len(masses)))
    below = np.where(told & (masses < usual), usual - masses, np.nan)
    varies = 1.4826 * masked_row_medians(below.T, np.isfinite(below).T)
    beyond = masses - usual - _VARIES * np.nan_to_num(varies)
    return np.where(told & (beyond > 0.0), beyond / np.maximum(masses, 1e-9), 0.0)


def carried_down(
    on: OnLines, above: FloatArray, zero_px: float, flight_frames: float | None
) -> tuple[Landed, FloatArray, FloatArray, FloatArray]:
    """Join the lines: the landing, how far the lines disagree (n,) px, and support (n,) in lines.

    The correction is linear in the height above the landing line, with a part that goes with the throw; both
    are fitted to the whole run, so they cost single frames no precision. Last, (n,) px, how far drops beside
    the jet may have drawn the landing along: they lie beyond it on all lines that show them.
    """
    places, weights = on.places, on.weights
    good = weights > SEEN
    w = np.where(good, weights, 0.0)
    slope = np.zeros(2)
    usable = good.sum(axis=1) >= 3
    landing = masked_row_medians(places, good & (on.drawn_px == 0.0))
    landing = np.where(np.isfinite(landing), landing, masked_row_medians(places, good))
    worth: FloatArray = np.ones(places.shape)
    drawn = np.zeros(len(places))
    reach = known_median(np.abs(landing - zero_px))
    likely = np.array([_LEADS[0] * max(float(np.nan_to_num(reach)), 1.0), _LEADS[1]])
    for _ in range(6):
        centred = np.where(usable, landing - np.nanmean(landing[usable]) if usable.any() else 0.0, 0.0)
        correction = (slope[0] + slope[1] * centred)[:, None] * above
        carried = places - correction
        residual = carried - landing[:, None]
        spread = (
            1.4826 * known_median(np.abs(residual[good & usable[:, None]]))
            if (good & usable[:, None]).any()
            else 1.0
        )
        size = max(2.0 * float(spread), 0.3)
        worth = _worth(residual, good & usable[:, None]) / (1.0 + (2.0 * on.drawn_px / size) ** 2)
        worth = worth * _share_of_height(above, float(spread) / on.width_px)
        robust = w * worth / (1.0 + (residual / size) ** 2)
        robust = np.where(np.isfinite(robust), robust, 0.0)
        total = robust.sum(axis=1)
        landing = np.where(
            total > 0, (robust * np.where(good, carried, 0.0)).sum(axis=1) / np.maximum(total, 1e-9), np.nan
        )
        drawn = (robust * on.drawn_px).sum(axis=1) / np.maximum(total, 1e-9)
        usable = np.isfinite(landing) & (good.sum(axis=1) >= 3)
        held = _WANDER * np.square(0.5 * size / likely)
        slope = _trend(places - landing[:, None], robust * usable[:, None], above, centred, held)
    landed = not_lagging(landing, carried, w * worth, above, usable, flight_frames)
    residual = np.where(good, np.abs(landed.carried - landed.joined[:, None]), np.nan)
    disagreement = 1.4826 * masked_row_medians(residual, good)
    return landed, disagreement, np.asarray(w.sum(axis=1), dtype=np.float64), drawn


def rests_on_one(
    on: OnLines, above: FloatArray, zero_px: float, flight_frames: float | None, whole: FloatArray
) -> float:
    """How far one of few lines moves the landing, px: where few show the jet, one that is wrong leads all.

    Nought where many do. Where there is no landing without a line, as much as lines that tell nothing of
    where they lead leave open. `whole`, (n,) px, is the landing that all lines tell.
    """
    shown = np.where(on.weights > SEEN, on.weights, 0.0)
    share = shown.mean(axis=0)
    told = float(share.sum() ** 2 / max(np.sum(share**2), 1e-9))
    if told >= _MANY or not share.any():
        return 0.0
    reach = float(np.nan_to_num(known_median(np.abs(whole - zero_px))))
    open_px = _LEADS[0] * reach * float(share @ above / share.sum())
    moved = [0.0]
    for line in np.flatnonzero(share > _COUNTS):
        weights = on.weights.copy()
        weights[:, line] = 0.0
        without = carried_down(replace(on, weights=weights), above, zero_px, flight_frames)[0].landing
        change = np.abs(without - whole)
        mostly = np.isfinite(change).sum() > 0.5 * np.isfinite(whole).sum()
        moved.append(known_median(change) if mostly else open_px)
    return max(moved)


def frames_late(stale: NDArray[np.bool_], weights: FloatArray, above: FloatArray) -> float:
    """How many frames old what the lines show may be on the average, where they repeat the frame before.

    A line that repeats a part p of the frames shows in the mean what is p / (1 − p) frames old, if which it
    repeats is chance. Lines count as they show the jet, and the lower the more.

    Parameters
    ----------
    stale : (n, m) where a line repeats the frame before
    weights : (n, m) how much of a jet was seen
    above : (m,) heights of the lines above the landing line, as parts of the drop
    """
    counts = (weights > SEEN).sum(axis=0) * (1.0 - above / (above.max() + above.min()))
    told = (weights > SEEN) | stale
    share = stale.sum(axis=0) / np.maximum(told.sum(axis=0), 1)
    part = min(float(np.average(share, weights=counts)), 0.9) if counts.any() else 0.0
    return part / (1.0 - part)


def _share_of_height(above: FloatArray, apart: float) -> FloatArray:
    """What each line counts, (m,), 1 in the mean, as lines lie `apart` in widths of the jet.

    A drop leans: its lower part lies short of the jet's path and its upper part beyond it, and together they
    lie on it. Lines are closer together further down, so that the lowest drop would speak for them all; where
    the jet is in drops each line counts for the height that it stands for.
    """
    share = np.gradient(above) ** min((apart / _ASUNDER) ** 2, 1.0)
    return np.asarray(share / share.mean(), dtype=np.float64)


def _worth(residual: FloatArray, told: NDArray[np.bool_]) -> FloatArray:
    """What each line counts, (m,), 0 to 1: less where it scatters more than most, as in a splash."""
    sizes = masked_row_medians(np.abs(residual.T), told.T)
    known = np.isfinite(sizes)
    if not known.any():
        return np.ones(len(sizes))
    most = max(median(sizes[known]), 1e-3)
    return np.asarray(most / np.maximum(np.where(known, sizes, most), most), dtype=np.float64)


def _trend(
    places: FloatArray, weights: FloatArray, above: FloatArray, centred: FloatArray, held: FloatArray
) -> FloatArray:
    """Slopes of the places with height, constant and with the throw, frame means taken out; (2,).

    Each is `held` to nought by so much, in squared heights and in those times the throw.
    """
    ok = (weights > 0) & np.isfinite(places)
    w = np.where(ok, weights, 0.0)
    r = np.where(ok, places, 0.0)
    total = np.maximum(w.sum(axis=1, keepdims=True), 1e-9)
    height = above - (w * above).sum(axis=1, keepdims=True) / total
    r = r - (w * r).sum(axis=1, keepdims=True) / total
    designs = (height, height * centred[:, None])
    normal = np.array([[np.sum(w * a * b) for b in designs] for a in designs]) + np.diag(held)
    right = np.array([np.sum(w * a * r) for a in designs])
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
    return np.asarray(
        np.linalg.solve(normal / np.outer(scale, scale) + 1e-6 * np.eye(2), right / scale) / scale
    )
