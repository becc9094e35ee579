"""Distributions sent through a model by Monte Carlo, with as many trials as a stated tolerance needs.

JCGM 101:2008, Supplement 1 to the Guide to the Expression of Uncertainty in Measurement. Section numbers in
this file are those of that document.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analysis.series import FloatArray

BATCH = 10_000
"""Trials in one batch, as 7.9.4 has it for 95 %: the larger of 100/(1 - p) and 10⁴."""
MOST_TRIALS = 2_000_000


class Input(Protocol):
    """What is known of one input quantity, or of several that belong together."""

    @property
    def size(self) -> int:
        """How many quantities are drawn at once."""
        ...

    def draw(self, rng: np.random.Generator, trials: int) -> FloatArray:
        """(size, trials) draws."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """A best estimate with a standard uncertainty (6.4.7)."""

    value: float
    u: float
    size: int = 1

    def draw(self, rng: np.random.Generator, trials: int) -> FloatArray:
        """(1, trials) draws."""
        return np.asarray(self.value + self.u * rng.standard_normal((1, trials)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Limits and nothing else (6.4.2)."""

    low: float
    high: float
    size: int = 1

    def draw(self, rng: np.random.Generator, trials: int) -> FloatArray:
        """(1, trials) draws."""
        return np.asarray(self.low + (self.high - self.low) * rng.random((1, trials)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class StudentT:
    """A mean of few indications: scale s/√n with degrees of freedom (6.4.9)."""

    value: float
    u: float
    dof: float
    size: int = 1

    def draw(self, rng: np.random.Generator, trials: int) -> FloatArray:
        """(1, trials) draws."""
        return np.asarray(self.value + self.u * rng.standard_t(self.dof, (1, trials)), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Correlated:
    """Several quantities with a covariance matrix (6.4.8); with finite `dof` a multivariate t."""

    values: FloatArray
    """(k,)."""
    covariance: FloatArray
    """(k, k)."""
    dof: float = math.inf

    @property
    def size(self) -> int:
        """How many quantities are drawn at once."""
        return int(self.values.shape[0])

    def draw(self, rng: np.random.Generator, trials: int) -> FloatArray:
        """(k, trials) draws."""
        drawn = root_of(self.covariance) @ rng.standard_normal((self.size, trials))
        if math.isfinite(self.dof):
            drawn = drawn * np.sqrt(self.dof / rng.chisquare(self.dof, trials))
        return np.asarray(self.values[:, None] + drawn, dtype=np.float64)


def root_of(covariance: FloatArray) -> FloatArray:
    """Give a (k, k) matrix whose product with its transpose is the covariance, singular or not."""
    sizes, axes = np.linalg.eigh(covariance)
    return np.asarray(axes * np.sqrt(np.clip(sizes, 0.0, None)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Propagated:
    """What the trials say of one output quantity."""

    mean: float
    u: float
    """Standard deviation of the trials."""
    interval: tuple[float, float]
    """Probabilistically symmetric coverage interval (7.7.2)."""
    shortest: tuple[float, float]
    """Shortest coverage interval (5.3.4, 7.7.4)."""
    trials: int
    tolerance: float
    """What was asked for: numerical tolerance of mean, u and both ends."""
    reached: float
    """Twice the largest standard deviation among the averages of those four over batches; NaN for a
    single batch."""

    @property
    def settled(self) -> bool:
        """Whether the tolerance was reached before the trials ran out."""
        return self.reached <= self.tolerance


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """
    Half a unit in the last digit of u, written with that many significant digits (7.9.2).

    Parameters
    ----------
    u : float
        Standard uncertainty, above zero.
    digits : int
        Significant digits regarded as meaningful.

    Returns
    -------
    float
        δ; for u = 0.00035 with two digits, which is 35 in units of 0.00001, it is 0.000005.
    """
    exponent = math.floor(math.log10(u)) - (digits - 1)
    # 9.96 has the two digits 10, one place further left.
    if round(u / 10.0**exponent) >= 10**digits:
        exponent += 1
    return 0.5 * 10.0**exponent


def symmetric_interval(ordered: FloatArray, probability: float = 0.95) -> tuple[float, float]:
    """Take the interval with equal shares left out below and above from (m,) sorted trials (7.7.2)."""
    tail = (1.0 - probability) / 2.0
    low, high = np.quantile(ordered, [tail, 1.0 - tail])
    return float(low), float(high)


def shortest_interval(ordered: FloatArray, probability: float = 0.95) -> tuple[float, float]:
    """Take the shortest interval that holds the share from (m,) sorted trials (7.7.4)."""
    inside = max(1, min(round(probability * ordered.shape[0]), ordered.shape[0] - 1))
    widths = ordered[inside:] - ordered[:-inside]
    at = int(np.argmin(widths))
    return float(ordered[at]), float(ordered[at + inside])


def propagate_distributions(
    model: Callable[[FloatArray], FloatArray],
    inputs: Sequence[Input],
    *,
    seed: int,
    probability: float = 0.95,
    digits: int = 2,
    tolerance: float | FloatArray | None = None,
    most_trials: int = MOST_TRIALS,
    control: Callable[[FloatArray], FloatArray] | None = None,
) -> tuple[Propagated, ...]:
    """
    Send the distributions of the inputs through a model, batch by batch, until the results hold still.

    Parameters
    ----------
    model : callable
        (k, trials) inputs, in the order in which `inputs` gives them, to (trials,) or (q, trials) outputs.
    inputs : sequence of Input
        Each gives `size` rows.
    seed : int
        The same seed gives the same trials.
    probability : float
        Share that the coverage intervals hold.
    digits : int
        Significant digits of u on which the tolerance rests, where none is given.
    tolerance : float or ndarray of shape (q,), optional
        Numerical tolerance δ of every output, or of each.
    most_trials : int
        The most trials that are made, should the tolerance not be reached.
    control : callable, optional
        The same inputs to (q, trials) variates that follow each output closely and are exactly N(0, 1), such
        as its first-order part over u. What they miss of their known mean, variance and quantiles is taken
        off, so that far fewer trials tell the same (control variates; Hesterberg and Nelson, Management
        Science 44 (1998) 1295, for quantiles).

    Returns
    -------
    tuple of Propagated
        One for each output.

    Notes
    -----
    The adaptive procedure of 7.9.4: after each batch the standard deviations of the averages, over the
    batches, of mean, standard deviation and both ends of the symmetric interval are taken; when twice the
    largest is within the tolerance, all trials together give the results.
    """
    rng = np.random.default_rng(seed)
    tail = (1.0 - probability) / 2.0
    drawn: list[FloatArray] = []
    followed: list[FloatArray] = []
    told: list[FloatArray] = []
    wanted = np.zeros(0)
    reached = np.full(1, math.nan)
    while True:
        entered = np.vstack([each.draw(rng, BATCH) for each in inputs])
        outputs = np.atleast_2d(model(entered))
        drawn.append(outputs)
        controls = None if control is None else np.atleast_2d(control(entered))
        if controls is not None:
            followed.append(controls)
        told.append(_told(outputs, controls, tail))
        batches = len(told)
        if batches > 1:
            each_told = np.stack(told)
            u = np.sqrt(np.mean(each_told[:, 1] ** 2, axis=0))
            if tolerance is None:
                wanted = np.array([numerical_tolerance(each, digits) if each else 0.0 for each in u.tolist()])
            else:
                wanted = np.broadcast_to(np.asarray(tolerance, dtype=np.float64), u.shape)
            reached = 2.0 * np.max(each_told.std(axis=0, ddof=1), axis=0) / math.sqrt(batches)
            if np.all(reached <= wanted):
                break
        if (batches + 1) * BATCH > max(most_trials, 2 * BATCH):
            break
    together = np.concatenate(drawn, axis=1)
    final = _told(together, np.concatenate(followed, axis=1) if followed else None, tail)
    return tuple(
        Propagated(
            mean=float(final[0, i]),
            u=float(final[1, i]),
            interval=(float(final[2, i]), float(final[3, i])),
            shortest=shortest_interval(np.sort(trials), probability),
            trials=int(trials.shape[0]),
            tolerance=float(wanted[i]),
            reached=float(reached[i]),
        )
        for i, trials in enumerate(together)
    )


def _told(outputs: FloatArray, controls: FloatArray | None, tail: float) -> FloatArray:
    """(4, q): mean, standard deviation and both ends of the symmetric interval."""
    low, high = np.quantile(outputs, [tail, 1.0 - tail], axis=1)
    mean, sd = outputs.mean(axis=1), outputs.std(axis=1, ddof=1)
    if controls is None:
        return np.stack([mean, sd, low, high])
    from scipy.special import ndtri

    centre, size = controls.mean(axis=1), controls.std(axis=1, ddof=1)
    together = np.mean((outputs - mean[:, None]) * (controls - centre[:, None]), axis=1)
    per = together / size**2
    ends = []
    for end, share in ((low, tail), (high, 1.0 - tail)):
        exact = float(ndtri(share))
        seen = np.quantile(controls, share, axis=1)
        both = np.mean((outputs <= end[:, None]) & (controls <= seen[:, None]), axis=1)
        ends.append(end - (both - share**2) / (share - share**2) * per * (seen - exact))
    variance = sd**2 - per**2 * (size**2 - 1.0)
    return np.stack([mean - per * centre, np.sqrt(np.maximum(variance, 0.0)), *ends])
