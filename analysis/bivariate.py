"""A straight line through points with errors in both variables."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis.checks import checks_of_line
from analysis.lines import Line
from analysis.series import FloatArray
from analysis.words import said


def line_with_errors_in_both(
    x: FloatArray,
    y: FloatArray,
    u_x: FloatArray,
    u_y: FloatArray,
    *,
    free_intercept: bool = True,
    checked: bool = True,
    from_origin: bool = True,
) -> Line:
    """
    Fit a straight line by orthogonal distance regression, each distance in units of its own uncertainty.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        The points.
    u_x, u_y : ndarray, shape (n,)
        Their standard uncertainties; u_y above zero. Where u_x is zero, x is taken as exact.
    free_intercept : bool
        False holds the line to the origin.
    checked : bool
        Whether to ask the fit the questions in `checks`.
    from_origin : bool
        Whether the law goes through the origin, so that a free intercept is questioned.

    Returns
    -------
    Line
        Both published kinds of standard error are in it: `covariance_unscaled` from the stated errors alone
        (York 1966) and `covariance_scaled`, that times χ² per degree of freedom. `covariance` is the larger
        one and `errors_shown` says which.

    Raises
    ------
    ValueError
        For too few points, x values that do not differ, errors of y that are not above zero, or a fit that
        does not converge.

    Notes
    -----
    The iteration of D. York, "Least-squares fitting of a straight line", Canadian Journal of Physics 44
    (1966), settles in a few steps; what it does not settle is left to odrpack, which then starts from there.
    χ² contains both distances of every point. R² and `residuals` are about the line in y.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    n, p = x.shape[0], 2 if free_intercept else 1
    _refuse_what_cannot_be_fitted(x, u_x, u_y, p)
    # Scaled axes keep all steps away from units: nanometres or kilometres give the same digits.
    scale_x, scale_y = float(np.max(np.abs(x))), float(np.max(np.abs(y))) or 1.0
    points = x / scale_x, y / scale_y, np.asarray(u_x) / scale_x, np.asarray(u_y) / scale_y
    beta, moved, settled = _york(*points, free_intercept)
    if not settled:
        beta, moved = _searched(*points, beta, moved)
    slope, intercept = float(beta[-1]), float(beta[0]) if free_intercept else 0.0
    # Both distances of a point together, in units of their uncertainties: York's weight of its gap in y.
    weight = 1.0 / (points[3] ** 2 + (slope * points[2]) ** 2)
    dof = n - p
    to_units = np.array([scale_y, scale_y / scale_x] if free_intercept else [scale_y / scale_x])
    along = points[0] + moved
    design = np.stack([np.ones(n), along]) if free_intercept else along[None]
    unscaled = np.linalg.inv((design * weight) @ design.T) * (to_units[:, None] * to_units)
    unscaled = _two_by_two(unscaled, free_intercept)
    gap = points[1] - intercept - slope * points[0]
    chi_squared = float(np.sum(weight * gap**2)) / dof if dof else None
    slope, intercept = slope * scale_y / scale_x, intercept * scale_y
    scaled = None if chi_squared is None else unscaled * chi_squared
    wider = scaled is not None and chi_squared is not None and chi_squared > 1.0
    residuals = y - (intercept + slope * x)
    total = float(np.sum((y - (np.mean(y) if free_intercept else 0.0)) ** 2))
    line = Line(
        slope=slope,
        intercept=intercept,
        covariance=scaled if wider and scaled is not None else unscaled,
        free_intercept=free_intercept,
        method=said("errors in both variables (orthogonal distance regression)"),
        errors_shown=said("scaled by the scatter (χ² per degree of freedom above 1)")
        if wider
        else said("from the stated errors"),
        r_squared=1.0 - float(np.sum(residuals**2)) / total if total > 0.0 else math.nan,
        residual_sd=math.sqrt(float(np.sum(residuals**2)) / dof) if dof else math.nan,
        n=n,
        dof=dof,
        residuals=residuals,
        chi_squared_per_dof=chi_squared,
        covariance_unscaled=unscaled,
        covariance_scaled=scaled,
    )
    if not checked:
        return line
    u = np.sqrt(u_y**2 + (slope * u_x) ** 2)
    return replace(line, checks=checks_of_line(line, x, y, u, from_origin=from_origin))


def _refuse_what_cannot_be_fitted(x: FloatArray, u_x: FloatArray, u_y: FloatArray, p: int) -> None:
    n = x.shape[0]
    if n < p:
        raise ValueError(f"{p} coefficients need {p} points or more, got {n}")
    if not np.all(np.asarray(u_y) > 0.0) or not np.all(np.asarray(u_x) >= 0.0):
        raise ValueError("errors of y must be above zero and errors of x not below it")
    if float(np.ptp(x)) <= 1e-12 * float(np.max(np.abs(x))) and p == 2:
        raise ValueError("the x values do not differ")
    if not np.any(x != 0.0):
        raise ValueError("all x values are zero")


def _york(
    x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray, free_intercept: bool
) -> tuple[FloatArray, FloatArray, bool]:
    """
    Give coefficients, moves of x to the nearest points of the line, and whether they stand.

    A weighted line whose weights and points of x follow the slope, until it stands. Steps shrink by a like
    factor each time: one that gets to the last digits within thirty shrinks them so fast that what is left
    of the way is less than the last step.
    """
    adjusted = x
    slope, intercept = 0.0, 0.0
    settled = False
    for _ in range(30):
        before = slope
        w = 1.0 / (u_y**2 + (slope * u_x) ** 2)
        total = float(np.sum(w))
        if not 0.0 < total < math.inf:
            raise ValueError("the line with errors in both variables did not settle: errors of absurd size")
        cx, cy = (float(w @ x) / total, float(w @ y) / total) if free_intercept else (0.0, 0.0)
        spread = float(w @ ((adjusted - cx) * (x - cx)))
        slope = float(w @ ((adjusted - cx) * (y - cy))) / spread if spread > 0.0 else 0.0
        intercept = cy - slope * cx
        gap = y - intercept - slope * x
        adjusted = x + slope * u_x**2 / (u_y**2 + (slope * u_x) ** 2) * gap
        settled = spread > 0.0 and abs(slope - before) <= 1e-13 * abs(slope)
        if settled:
            break
    coefficients = np.array([intercept, slope] if free_intercept else [slope])
    return coefficients, adjusted - x, settled


def _searched(
    x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray, start: FloatArray, moved: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Let odrpack look for coefficients and moves of x, from a place close to them."""
    from odrpack import odr_fit

    free_intercept = start.shape[0] == 2
    exact = u_x <= 0.0
    constant = 1.0 if free_intercept else 0.0
    result = odr_fit(
        lambda at, beta: beta[-1] * at + constant * beta[0],
        x,
        y,
        start,
        weight_x=1.0 / np.where(exact, 1.0, u_x) ** 2,
        weight_y=1.0 / u_y**2,
        fix_x=exact,
        delta0=moved,
        jac_beta=lambda at, _beta: np.stack([np.ones_like(at), at]) if free_intercept else at[None, :],
        jac_x=lambda at, beta: np.full_like(at, beta[-1]),
        sstol=1e-15,
        partol=1e-12,
    )
    # The last digit tells how it stopped: 1 to 3 are convergence. A leading 1 of four digits doubts the
    # derivatives, which near a zero intercept is rounding in the test of them: those of a line are exact.
    converged = result.info < 10_000 and result.info % 10 in (1, 2, 3)
    if not (converged and np.all(np.isfinite(result.beta))):
        raise ValueError(f"the line with errors in both variables did not settle: {result.stopreason}")
    return np.asarray(result.beta, dtype=np.float64), np.asarray(result.delta, dtype=np.float64)


def _two_by_two(covariance: FloatArray, free_intercept: bool) -> FloatArray:
    if free_intercept:
        return np.asarray(covariance, dtype=np.float64)
    return np.array([[0.0, 0.0], [0.0, float(np.ravel(covariance)[0])]])
