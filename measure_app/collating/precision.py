"""Repeatability and reproducibility of many observers (ISO 5725-2), Mandel's h and k.

The basic model of ISO 5725-1 is y = m + B + e: a value is the general mean, an observer's bias and an error
under repeatability conditions. Here each frame has a mean of its own, y = m_frame + B_observer + e, for no
two frames of a drain show the same level. With a single frame everything below is that of ISO 5725-2, 7.4 to
7.5, to the last digit; with several, the frames' means are taken out by least squares before the variances
are separated (method III of C. R. Henderson, Biometrics 9 (1953) 226), so that observers who read different
frames can be compared as long as the frames they share tie them together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis import FloatArray, IntArray
from measure_app.words import said


@dataclass(frozen=True, slots=True)
class ObserverPrecision:
    """How one observer stands among the others; lengths in the unit of the values."""

    observer: int
    """The number that was given in."""
    n: int
    """Values that took part."""
    effect: float
    """Bias B against the mean of the observers."""
    s: float | None
    """Standard deviation of this observer's own values; None where there is nothing to tell it from."""
    freedom: float
    """Degrees of freedom of `s`."""
    h: float | None
    """Mandel's h: the bias over the standard deviation of all biases."""
    k: float | None
    """Mandel's k: `s` over the repeatability standard deviation of all."""
    k_critical_5: float | None
    k_critical_1: float | None


@dataclass(frozen=True, slots=True)
class Precision:
    """What many observers' values say about the way they were got."""

    mean: float
    """General mean."""
    repeatability: float
    """Repeatability standard deviation s_r: one observer, one value after the other."""
    between: float
    """Standard deviation between observers s_L; nought where the scatter within explains all."""
    reproducibility: float
    """Reproducibility standard deviation s_R: any observer, any value."""
    freedom: float
    """Degrees of freedom of s_r."""
    n_values: int
    n_frames: int
    observers: tuple[ObserverPrecision, ...]
    h_critical_5: float | None
    h_critical_1: float | None

    @property
    def repeatability_limit(self) -> float:
        """Limit 2.8 s_r, exceeded by the difference of two values of one observer in 5 % of cases."""
        return 2.8 * self.repeatability

    @property
    def reproducibility_limit(self) -> float:
        """Limit 2.8 s_R, exceeded by the difference of two observers' values in 5 % of cases."""
        return 2.8 * self.reproducibility

    def of(self, observer: int) -> ObserverPrecision | None:
        """Return one observer's part."""
        return next((each for each in self.observers if each.observer == observer), None)


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    effects: FloatArray
    residuals: FloatArray
    free: FloatArray
    """(n,) 1 - leverage of each value."""
    rank: int
    sum_between: float
    trace: float


def precision_of(
    observers: Sequence[int] | IntArray, frames: Sequence[int] | IntArray, values: FloatArray
) -> Precision | str:
    """Separate the scatter of many observers' values into within and between.

    Parameters
    ----------
    observers : (n,) int
        Who got each value.
    frames : (n,) int
        To which frame (in the words of ISO 5725: material, level) it belongs; the same number for all if
        there is one.
    values : (n,)
        Values, or their deviations from any value common to a frame; NaN is passed over.

    Returns
    -------
    Precision or str
        Words where the values do not tell it: fewer than two observers, nothing repeated, or observers that
        no frame in common ties together.
    """
    y = np.asarray(values, dtype=np.float64)
    who_all, where_all = np.asarray(observers), np.asarray(frames)
    use = np.isfinite(y)
    # A frame with one value says nothing about scatter; its own mean absorbs it.
    numbers, count = np.unique(where_all[use], return_counts=True)
    use &= np.isin(where_all, numbers[count >= 2])
    names, who = np.unique(who_all[use], return_inverse=True)
    places, where = np.unique(where_all[use], return_inverse=True)
    y = y[use]
    if len(names) < 2:
        return said("fewer than two observers read the same frame")
    fit = _fitted(who, where, y, len(names), len(places))
    if fit.rank < len(names) - 1:
        return said("no frames in common tie all observers together")
    freedom = len(y) - len(places) - fit.rank
    if freedom < 1:
        return said("nothing was read more often than it has unknowns")
    within = float(fit.residuals @ fit.residuals) / freedom
    between = max(0.0, (fit.sum_between / fit.rank - within) / (fit.trace / fit.rank))
    levels = np.bincount(where, y - fit.effects[who]) / np.bincount(where)
    weights = np.bincount(where) / len(y)
    p = len(names)
    return Precision(
        mean=float(levels @ weights + np.bincount(who) / len(y) @ fit.effects),
        repeatability=math.sqrt(within),
        between=math.sqrt(between),
        reproducibility=math.sqrt(within + between),
        freedom=float(freedom),
        n_values=len(y),
        n_frames=len(places),
        observers=_each(names, who, fit, math.sqrt(within), float(freedom)),
        h_critical_5=h_critical(p, 0.05),
        h_critical_1=h_critical(p, 0.01),
    )


def _fitted(who: IntArray, where: IntArray, y: FloatArray, p: int, m: int) -> _Fit:
    """Least squares of observer and frame; the frames are eliminated first, so that only p unknowns stay."""
    counts = np.zeros((p, m))
    np.add.at(counts, (who, where), 1.0)
    per_frame = counts.sum(axis=0)
    means = np.bincount(where, y, minlength=m) / per_frame
    shares = counts / per_frame
    normal = np.diag(counts.sum(axis=1)) - shares @ counts.T
    right = np.bincount(who, y - means[where], minlength=p)
    sizes, axes = np.linalg.eigh(normal)
    # One direction at least is empty: the same added to all. More are, where nothing ties groups together.
    tied = sizes > 1e-9 * max(1.0, float(sizes[-1]))
    inverse = (axes[:, tied] / sizes[tied]) @ axes[:, tied].T
    effects = np.asarray(inverse @ right, dtype=np.float64)
    residuals = y - means[where] - effects[who] + (effects @ shares)[where]
    # Leverage: of the frame's mean, and of the observer's effect within the frame.
    turned = inverse @ shares
    own = np.diag(inverse)[who] - 2.0 * turned[who, where] + np.einsum("ij,ij->j", shares, turned)[where]
    return _Fit(
        effects=effects,
        residuals=residuals,
        free=np.clip(1.0 - 1.0 / per_frame[where] - own, 0.0, 1.0),
        rank=int(np.count_nonzero(tied)),
        sum_between=float(effects @ right),
        trace=float(np.trace(normal)),
    )


def _each(
    names: IntArray, who: IntArray, fit: _Fit, s_r: float, freedom: float
) -> tuple[ObserverPrecision, ...]:
    p = len(names)
    spread = float(np.std(fit.effects, ddof=1))
    middle = float(fit.effects.mean())
    squares = np.bincount(who, fit.residuals**2, minlength=p)
    free = np.bincount(who, fit.free, minlength=p)
    n = np.bincount(who, minlength=p)
    made = []
    for i in range(p):
        own = float(free[i])
        s = math.sqrt(squares[i] / own) if own > 0.5 else None
        made.append(
            ObserverPrecision(
                observer=int(names[i]),
                n=int(n[i]),
                effect=float(fit.effects[i]) - middle,
                s=s,
                freedom=own,
                h=(float(fit.effects[i]) - middle) / spread if spread > 0 and p > 2 else None,
                k=s / s_r if s is not None and s_r > 0 else None,
                k_critical_5=k_critical(own, freedom, 0.05) if s is not None else None,
                k_critical_1=k_critical(own, freedom, 0.01) if s is not None else None,
            )
        )
    return tuple(made)


def h_critical(observers: int, level: float) -> float | None:
    """Value that Mandel's |h| exceeds with a chance of `level` where nobody differs.

    h = (p - 1) t / sqrt(p (t² + p - 2)) with t the two-sided quantile of Student's t with p - 2 degrees of
    freedom, p the number of observers (ISO 5725-2, 7.3.1 and its table of indicators).

    Returns
    -------
    float or None
        None for fewer than three observers.
    """
    from scipy.special import stdtrit

    p = observers
    if p < 3:
        return None
    t = float(stdtrit(p - 2, 1.0 - level / 2.0))
    return (p - 1) * t / math.sqrt(p * (t * t + p - 2))


def k_critical(own: float, freedom: float, level: float) -> float | None:
    """Value that Mandel's k exceeds with a chance of `level` where all repeat alike.

    k² = ν / (ν_i + (ν - ν_i) / F), F the upper quantile of Fisher's F with ν_i and ν - ν_i degrees of
    freedom. With p observers of n values each, ν_i = n - 1 and ν = p (n - 1), this is the
    k = sqrt(p / (1 + (p - 1) / F)) of ISO 5725-2.

    Parameters
    ----------
    own : float
        ν_i, degrees of freedom of the observer's own standard deviation.
    freedom : float
        ν, those of the repeatability standard deviation of all, the observer among them.

    Returns
    -------
    float or None
        None where the others add nothing.
    """
    from scipy.special import fdtri

    rest = freedom - own
    if own <= 0 or rest <= 1e-6:
        return None
    quantile = float(fdtri(own, rest, 1.0 - level))
    return math.sqrt(freedom / (own + rest / quantile))
