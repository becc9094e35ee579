"""Straight lines (and other linear models) by least squares, with the standard errors that belong to them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.checks import Check, checks_of_line
from analysis.notation import with_uncertainty
from analysis.series import FloatArray
from analysis.words import said


@dataclass(frozen=True, slots=True, eq=False)
class LinearFit:
    """A model that is linear in its coefficients, fitted by (weighted) least squares."""

    coefficients: FloatArray
    """(p,) in the order of the design's columns."""
    covariance: FloatArray
    """(p, p), scaled by the residual variance."""
    residual_sd: float
    """√(Σ w r² / (n - p)); NaN without a degree of freedom."""
    r_squared: float
    """Centred when the design can make a constant, else uncentred, about zero."""
    n: int
    dof: int
    residuals: FloatArray
    """(n,) observed minus fitted."""

    @property
    def standard_errors(self) -> FloatArray:
        """(p,) square roots of the covariance's diagonal."""
        return np.asarray(np.sqrt(np.diag(self.covariance)), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A straight line y = intercept + slope · x, with the covariance of its two numbers."""

    slope: float
    intercept: float
    """0.0 where the line was held to the origin."""
    covariance: FloatArray
    """(2, 2) of (intercept, slope); the first row and column are zero where the line was held to the
    origin."""
    free_intercept: bool
    method: str
    """How it was fitted, in words."""
    errors_shown: str
    """Which standard errors `covariance` holds, in words."""
    r_squared: float
    """Centred for a free intercept; about zero (uncentred) for a line through the origin. NaN if
    undefined."""
    residual_sd: float
    """Standard deviation of the residuals about the line in y; NaN without a degree of freedom."""
    n: int
    dof: int
    residuals: FloatArray
    """(n,) y minus the line at the measured x."""
    chi_squared_per_dof: float | None = None
    """Σ (residual / its stated uncertainty)² per degree of freedom; None where no errors were stated."""
    covariance_unscaled: FloatArray | None = None
    """(2, 2) as the stated errors alone give it; None where no errors were stated."""
    covariance_scaled: FloatArray | None = None
    """(2, 2) as the scatter about the line gives it; None without a degree of freedom."""
    checks: tuple[Check, ...] = ()

    @property
    def slope_u(self) -> float:
        """Standard error of the slope."""
        return math.sqrt(self.covariance[1, 1])

    @property
    def intercept_u(self) -> float:
        """Standard error of the intercept; 0.0 where it was held to zero."""
        return math.sqrt(self.covariance[0, 0])

    def predict(self, x: float) -> tuple[float, float]:
        """
        Read the line at x, with a standard uncertainty that includes the covariance of its two numbers.

        Parameters
        ----------
        x : float
            Where the line is read.

        Returns
        -------
        tuple of float
            y and u(y).
        """
        row = np.array([1.0, x])
        return self.intercept + self.slope * x, math.sqrt(max(0.0, float(row @ self.covariance @ row)))

    def equation(self, y: str = "y", x: str = "x", slope_unit: str = "", y_unit: str = "") -> str:
        """
        Write the line as an equation with uncertainties.

        Parameters
        ----------
        y, x : str
            Symbols of the two axes.
        slope_unit, y_unit : str
            Units of slope and intercept.

        Returns
        -------
        str
            Such as ``"v = (4.31 ± 0.02) m^0.5/s · √h + (0.012 ± 0.004) m/s"``.
        """
        slope = with_uncertainty(self.slope, self.slope_u, slope_unit)
        if not self.free_intercept:
            return f"{y} = {_bracketed(slope)} · {x}"
        intercept = with_uncertainty(self.intercept, self.intercept_u, y_unit)
        return f"{y} = {_bracketed(slope)} · {x} + {_bracketed(intercept)}"


def _bracketed(number: str) -> str:
    return number if number.startswith("(") else f"({number})"


def least_squares(design: FloatArray, y: FloatArray, weights: FloatArray | None = None) -> LinearFit:
    """
    Fit a model that is linear in its coefficients.

    Parameters
    ----------
    design : ndarray, shape (n, p)
        One column per coefficient.
    y : ndarray, shape (n,)
        Observed values.
    weights : ndarray, shape (n,), optional
        1/σ² up to a common factor.

    Returns
    -------
    LinearFit
        Standard errors scaled by the residual variance, as certified by NIST's reference data sets.

    Raises
    ------
    ValueError
        For fewer rows than columns, for shapes that do not match, or for columns that depend on each other.

    Notes
    -----
    Columns are scaled to unit length and solved through a QR decomposition, then refined once on the
    residual, so that polynomials far from the origin keep their digits.
    """
    n, p = design.shape
    if y.shape != (n,) or n < p:
        raise ValueError(f"{p} coefficients need {p} rows or more of y, got shape {y.shape}")
    root_w = np.ones(n) if weights is None else np.sqrt(weights)
    weighted, target = design * root_w[:, None], y * root_w
    scale = np.sqrt(np.sum(weighted**2, axis=0))
    if not np.all(scale > 0.0):
        raise ValueError("a column of the design is zero")
    q, r = np.linalg.qr(weighted / scale)
    if np.min(np.abs(np.diag(r))) < 1e-12:
        raise ValueError("the columns of the design depend on each other: the x values do not differ enough")
    inverse = np.linalg.inv(r)
    scaled = inverse @ (q.T @ target)
    scaled += inverse @ (q.T @ (target - (weighted / scale) @ scaled))
    coefficients = scaled / scale
    residuals = y - design @ coefficients
    dof = n - p
    sum_squares = float(np.sum((root_w * residuals) ** 2))
    variance = sum_squares / dof if dof else math.nan
    covariance = (inverse @ inverse.T) / np.outer(scale, scale) * variance
    constant = _makes_a_constant(design)
    centre = float(np.sum(root_w**2 * y) / np.sum(root_w**2)) if constant else 0.0
    total = float(np.sum(root_w**2 * (y - centre) ** 2))
    r_squared = 1.0 - sum_squares / total if total > 0.0 else math.nan
    return LinearFit(coefficients, covariance, math.sqrt(variance), r_squared, n, dof, residuals)


def _makes_a_constant(design: FloatArray) -> bool:
    return any(bool(np.all(column == column[0])) for column in design.T)


def polynomial_design(x: FloatArray, degree: int) -> FloatArray:
    """Make (n, degree + 1) columns 1, x, x² and so on."""
    return np.vander(x, degree + 1, increasing=True)


def straight_line(
    x: FloatArray,
    y: FloatArray,
    *,
    free_intercept: bool = True,
    u_y: FloatArray | None = None,
    checked: bool = True,
    from_origin: bool = True,
) -> Line:
    """
    Fit a straight line by plain or weighted least squares.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        The points; x is taken as exact.
    free_intercept : bool
        False holds the line to the origin; R² is then about zero.
    u_y : ndarray, shape (n,), optional
        Standard uncertainties of y, all above zero; they weight the points. None: all points weigh the same.
    checked : bool
        Whether to ask the fit the questions in `checks`.
    from_origin : bool
        Whether the law goes through the origin, so that a free intercept is questioned.

    Returns
    -------
    Line
        Standard errors from the scatter about the line, which is what a spreadsheet shows.

    Raises
    ------
    ValueError
        For fewer than two points (one through the origin), or x values that do not differ.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    design = polynomial_design(x, 1) if free_intercept else x[:, None]
    weights = None if u_y is None else 1.0 / u_y**2
    fit = least_squares(design, y, weights)
    unscaled = None
    chi_squared = None
    if u_y is not None:
        chi_squared = fit.residual_sd**2 if fit.dof else None
        root_w = 1.0 / u_y
        unscaled = _two_by_two(_inverse(_normal(design * root_w[:, None])), free_intercept)
    scaled = _two_by_two(fit.covariance, free_intercept)
    line = Line(
        slope=float(fit.coefficients[-1]),
        intercept=float(fit.coefficients[0]) if free_intercept else 0.0,
        covariance=scaled,
        free_intercept=free_intercept,
        method=said("plain least squares")
        if u_y is None
        else said("least squares weighted by the stated errors of y"),
        errors_shown=said("from the scatter about the line"),
        r_squared=fit.r_squared,
        residual_sd=fit.residual_sd if u_y is None else _plain_sd(fit.residuals, fit.dof),
        n=fit.n,
        dof=fit.dof,
        residuals=fit.residuals,
        chi_squared_per_dof=chi_squared,
        covariance_unscaled=unscaled,
        covariance_scaled=scaled if fit.dof else None,
    )
    return replace(line, checks=checks_of_line(line, x, y, u_y, from_origin=from_origin)) if checked else line


def _inverse(matrix: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _normal(design: FloatArray) -> FloatArray:
    return np.asarray(design.T @ design, dtype=np.float64)


def _plain_sd(residuals: FloatArray, dof: int) -> float:
    return math.sqrt(float(np.sum(residuals**2)) / dof) if dof else math.nan


def _two_by_two(covariance: FloatArray, free_intercept: bool) -> FloatArray:
    """Covariance of (intercept, slope), whether or not the intercept was fitted."""
    if free_intercept:
        return covariance
    return np.array([[0.0, 0.0], [0.0, float(covariance[0, 0])]])
