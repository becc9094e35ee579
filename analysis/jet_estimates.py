"""Angle and Cv of a whole run from the stretches of a traced jet, with what their errors have in common."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from analysis.estimate import Estimate
from analysis.gravity import AcceptedGravity
from analysis.series import FloatArray
from analysis.water import capillary_loss_m, water_at
from analysis.words import marked

LOST = marked("traced jet: head lost to surface tension")
LEAST_STRETCHES = 4
_MOST_ALIKE = 0.7
"""Two dozen stretches do not tell a correlation from one to the next beyond that."""
_UNREST = (marked("the jet's unrest"),)
_SPAN = 1.3
"""Highest over lowest head from which a straight line tells Cv and the head's zero apart."""
_ROOM_C, _JET_OVER_HOLE = 20.0, 0.8
"""What is assumed of the water for what surface tension may take; jet over hole in diameter, as there."""

MEDIAN_WIDENS = 1.25
"""Standard deviation of a median over that of the mean of the same normal values: √(π/2)."""


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What the stretches of a trace tell of Cv, (m,) each; NaN where nothing."""

    cvs: FloatArray
    heads: FloatArray
    """m, when the water of each stretch left."""
    turned: FloatArray
    """Cv with the run's angle, which all stretches share, one of its own standard uncertainties further."""
    moved: list[tuple[str, FloatArray, FloatArray]]
    """Name of each shared source; Cv and heads with it one standard uncertainty further."""
    smoothing: float
    """By how much stretches scatter less because places are interpolated between them."""


def cv_against_head(told: Told) -> Estimate | None:
    """
    Take Cv² as the slope of Cv² h against h.

    Parameters
    ----------
    told : Told
        By the stretches.

    Returns
    -------
    Estimate or None
        None where the stretches are too few, the heads span too little, or no line rises.
    """
    known = np.isfinite(told.cvs) & np.isfinite(told.heads)
    n = int(known.sum())
    if n < LEAST_STRETCHES + 2 or float(np.max(told.heads[known])) < _SPAN * float(np.min(told.heads[known])):
        return None
    h = told.heads[known]
    y = told.cvs[known] ** 2 * h
    # A curvature is told to the same share of itself at all heads.
    even, design = 1.0 / h**2, np.stack([h, np.ones(n)], axis=1)
    worth: FloatArray = np.ones(n)
    for _ in range(6):
        operator = np.linalg.solve(design.T @ (design * (even * worth)[:, None]), design.T * (even * worth))
        line = operator @ y
        rest = y - design @ line
        gap = np.abs(rest) / h
        worth = 1.0 / (1.0 + (gap / max(3.0 * 1.4826 * float(np.median(gap)), 1e-12)) ** 2)
    if not line[0] > 0.0:
        return None
    value = math.sqrt(line[0])

    def slope(cvs: FloatArray, heads: FloatArray) -> float:
        ok = np.isfinite(cvs[known]) & np.isfinite(heads[known])
        w, x = (even * worth)[ok], heads[known][ok]
        off = x - np.average(x, weights=w)
        return math.sqrt(max(float(np.sum(w * off * cvs[known][ok] ** 2 * x) / np.sum(w * off * x)), 0.0))

    shared = {name: slope(cvs, heads) - value for name, cvs, heads in told.moved}
    moves = operator[0] * rest / (2.0 * value) * math.sqrt(n / (n - 2)) / told.smoothing
    moves *= alike(worth * rest / h)
    by_angle = slope(told.turned, told.heads) - value
    return _with_angle(
        Estimate(value, moves[None, :], MappingProxyType(shared), float(n - 2), _UNREST), by_angle
    )


def alike(rest: FloatArray) -> float:
    """By how much neighbours that wander together, as in a gust, widen what is fitted to them all.

    By their correlation from one to the next, as of a first-order process.
    """
    together = float(np.sum(rest[1:] * rest[:-1]) / max(float(np.sum(rest**2)), 1e-300))
    together = min(max(together, 0.0), _MOST_ALIKE)
    return math.sqrt((1.0 + together) / (1.0 - together))


def mean_cv(told: Told, half_width_m: float, gravity: AcceptedGravity) -> Estimate:
    """
    Take the mean over the stretches, with room for the head that surface tension may have taken.

    Parameters
    ----------
    told : Told
        By the stretches.
    half_width_m : float
        m, half the jet's width as traced; 0 where it is not known.
    gravity : AcceptedGravity
        Tells what head a pressure is.

    Returns
    -------
    Estimate
        Of Cv.
    """
    known = np.isfinite(told.cvs)
    cvs = told.cvs[known]
    shared = {}
    for name, moved, _ in told.moved:
        ok = known & np.isfinite(moved)
        shared[name] = float(np.mean(moved[ok] - told.cvs[ok])) if ok.any() else 0.0
    if half_width_m > 0.0:
        hole = 2.0 * half_width_m / _JET_OVER_HOLE
        taken, _ = capillary_loss_m(water_at(_ROOM_C), hole, gravity.value)
        shared[LOST] = -float(np.mean(0.5 * taken / told.heads[known] * cvs))
    mean = mean_of_stretches(cvs, shared, told.smoothing)
    return _with_angle(mean, float(np.nanmean(told.turned[known] - cvs)))


def _with_angle(cv: Estimate, by_angle: float) -> Estimate:
    """Add how far Cv moves with the own uncertainty of the run's angle, evenly to all stretches."""
    moves = np.hypot(cv.own, by_angle / math.sqrt(cv.own.shape[1]))
    return replace(cv, own=moves)


def mean_of_stretches(values: FloatArray, shared: Mapping[str, float], smoothing: float) -> Estimate:
    """
    Take the mean of the stretches; outliers, such as a stretch with a hand in it, have little weight.

    Places interpolated between stretches scatter less, by `smoothing`, but their mean does not.
    """
    middle = float(np.median(values))
    size = 1.4826 * float(np.median(np.abs(values - middle)))
    weights = np.ones(len(values)) if size == 0.0 else 1.0 / (1.0 + ((values - middle) / (3.0 * size)) ** 2)
    mean = float(np.average(values, weights=weights))
    n = len(values)
    moves = weights * (values - mean) / float(weights.sum()) * math.sqrt(n / (n - 1)) / smoothing
    return Estimate(mean, moves[None, :], MappingProxyType(dict(shared)), float(n - 1), _UNREST)
