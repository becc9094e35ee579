"""How much the readings really scatter, and how many of them are independent."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.series import BoolArray, FloatArray

_MAD_TO_SIGMA = 1.482602218505602
"""1/Φ⁻¹(3/4): the median absolute deviation of a normal distribution in standard deviations."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """What the residuals of a fit say about the readings' own errors."""

    birge: float
    """√(χ²/dof): how many times larger the scatter is than was stated."""
    correlation_time: float
    """Rows per independent reading, 1 or more."""
    dof: float
    """Degrees of freedom left once serial correlation is counted; at least 1."""
    stated: bool
    """Whether the rows had stated errors; if not, the scatter alone sets them."""

    @property
    def inflation(self) -> float:
        """Factor on the own variances: at least 1, or the scatter itself where none were stated."""
        squared = self.birge**2
        return (max(1.0, squared) if self.stated else squared) * self.correlation_time

    @property
    def own_dof(self) -> float:
        """Degrees of freedom of the own part: infinite while the stated errors stand."""
        return math.inf if self.stated and self.inflation == 1.0 else self.dof


_ROUNDING = 1e-9
"""Scatter below which residuals are rounding noise, in standard uncertainties, or m where none was stated."""


def median(values: FloatArray) -> float:
    """
    Give the median of some values, NaN where one of them is or there is none.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In any order.

    Returns
    -------
    float
        As `numpy.median` gives it, in a fraction of the time: a recompute takes dozens of them.
    """
    n = values.shape[0]
    if n == 0 or bool(np.isnan(values).any()):
        return math.nan
    half = n // 2
    if n % 2:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, half)
    return (float(parted[:half].max()) + float(parted[half])) / 2.0


def robust_sd(values: FloatArray) -> float:
    """Give the standard deviation about zero from the median of absolute values, blind to a few wild ones."""
    return _MAD_TO_SIGMA * median(np.abs(values))


def correlation_time(residuals: FloatArray, fitted: float = 2.0) -> float:
    """
    Rows per independent reading: the integrated autocorrelation time of residuals in time order.

    Parameters
    ----------
    residuals : ndarray, shape (n,)
        Standardised residuals in the order of time.
    fitted : float
        Number of fitted parameters, which bend residuals towards zero correlation.

    Returns
    -------
    float
        1 + 2 Σ ρ(l), summed up to the first lag that is at least five times the sum so far (the window of
        Sokal 1989). At least 1, at most n/2; 1 for fewer than ten rows, which cannot tell.

    Notes
    -----
    Fitted parameters take about `fitted`·τ/n of the correlation away at every lag; that share is put back.
    """
    n = residuals.shape[0]
    if n < 10:
        return 1.0
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(residuals, size)
    autocovariance = np.fft.irfft(np.abs(spectrum) ** 2, size)[:n]
    if autocovariance[0] <= 0.0:
        return 1.0
    rho = autocovariance / autocovariance[0]
    sums: FloatArray = 1.0 + 2.0 * np.cumsum(rho[1:])
    lags = np.arange(1, n)
    inside = np.nonzero(lags >= 5.0 * sums)[0]
    window = int(inside[0]) if inside.size else n - 2
    tau = max(1.0, float(sums[window]))
    # One step of the bias correction: each of the 2·window + 1 terms lost fitted·τ/n.
    if tau > 1.0:
        tau += (2 * min(window + 1, n // 4) + 1) * fitted * tau / n
    return float(min(tau, n / 2.0))


def scatter_of(standardised: FloatArray, fitted: float, *, stated: bool) -> Scatter:
    """
    Judge the residuals of a fit.

    Parameters
    ----------
    standardised : ndarray, shape (m,)
        Residuals over their own standard uncertainties, in the order of time.
    fitted : float
        Effective number of parameters that the readings determined.
    stated : bool
        Whether those uncertainties were stated by anyone.

    Returns
    -------
    Scatter
        With a Birge ratio of 1 where no degree of freedom is left to measure it.
    """
    m = standardised.shape[0]
    free = m - fitted
    if free < 0.5:
        return Scatter(1.0, 1.0, 1.0, stated)
    birge = math.sqrt(float(np.sum(standardised**2)) / free)
    # Readings that lie on the law exactly leave rounding noise, which tells nothing of their neighbours.
    tau = correlation_time(standardised, fitted) if birge > _ROUNDING else 1.0
    return Scatter(birge, tau, max(1.0, m / tau - fitted), stated)


def far_off(
    standardised: FloatArray, *, stated: bool, limit: float = 4.5, seen: float | None = None
) -> BoolArray:
    """
    Find (m,) rows more than `limit` of the larger of stated and robustly seen scatter off the law.

    `seen` is their `robust_sd`, where it is known already.
    """
    seen = robust_sd(standardised) if seen is None else seen
    scale = max(1.0, seen) if stated else seen
    # Readings that all but lie on the law leave rounding noise as a scale, which would condemn the rest.
    return np.asarray(
        np.abs(standardised) > limit * max(scale, 1e-9 * float(np.max(np.abs(standardised), initial=0.0)))
    )
