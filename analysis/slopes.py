"""The four laws fitted as straight lines, and their slopes as estimates that know their sources."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.bivariate import line_with_errors_in_both
from analysis.estimate import Estimate
from analysis.lines import Line, straight_line
from analysis.models import (
    ROOT_HEAD_TIME,
    SPEED_ROOT_HEAD,
    SPEED_SQUARED_HEAD,
    THROW_SQUARED_HEAD,
    Law,
    Paired,
    Points,
)
from analysis.scatter import scatter_of
from analysis.series import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LawLine:
    """One law fitted as one straight line."""

    law: Law
    points: Points
    line: Line
    errors_in_both: bool


@dataclass(frozen=True, slots=True, eq=False)
class LineResult:
    """A line whose slope and intercept know what moves them."""

    fitted: LawLine
    slope: Estimate
    intercept: Estimate | None
    """None for a line through the origin."""


def lines_of(at: Paired | None, drain_at: Paired | None) -> tuple[LawLine, ...]:
    """
    Fit all straight lines: each law, free and through the origin, plain and with errors in both.

    Parameters
    ----------
    at : Paired, optional
        Rows with head and throw.
    drain_at : Paired, optional
        Rows with head and time.

    Returns
    -------
    tuple of LawLine
        A line that cannot be fitted (too few points, values that do not differ) is left out, and so are
        errors in both variables where no error was stated. √head against time has no zero-intercept form.
    """
    found: list[LawLine] = []
    if at is not None:
        for law in (SPEED_ROOT_HEAD, SPEED_SQUARED_HEAD, THROW_SQUARED_HEAD):
            points = law.points(at)
            for free in (True, False):
                found += _both_methods(law, points, free)
    if drain_at is not None and drain_at.time_s is not None:
        found += _both_methods(ROOT_HEAD_TIME, ROOT_HEAD_TIME.points(drain_at), True)
    return tuple(found)


def _both_methods(law: Law, points: Points, free: bool) -> list[LawLine]:
    if points.x.shape[0] < (2 if free else 1):
        return []
    try:
        plain = straight_line(points.x, points.y, free_intercept=free, from_origin=law.from_origin)
    except ValueError:
        return []
    found = [LawLine(law, points, plain, errors_in_both=False)]
    u_y = _usable_u_y(points, plain.slope)
    if u_y is not None:
        try:
            both = line_with_errors_in_both(
                points.x, points.y, points.x_u, u_y, free_intercept=free, from_origin=law.from_origin
            )
        except ValueError:
            return found
        found.append(LawLine(law, points, both, errors_in_both=True))
    return found


def _usable_u_y(points: Points, slope: float) -> FloatArray | None:
    """Errors of y above zero, as the method needs them; None where neither variable has any."""
    total = np.sqrt(points.y_u**2 + (slope * points.x_u) ** 2)
    known = total > 0.0
    if not np.any(known):
        return None
    total = np.where(known, total, float(np.median(total[known])))
    return np.maximum(points.y_u, 0.01 * total)


def chosen_line(lines: tuple[LawLine, ...], law: Law, *, free_intercept: bool) -> LawLine | None:
    """Choose the line on which a finding rests: errors in both where stated, else plain."""
    fitting = [each for each in lines if each.law is law and each.line.free_intercept == free_intercept]
    return max(fitting, key=lambda each: each.errors_in_both, default=None)


def line_result(
    fitted: LawLine, n_rows: int, sources: tuple[str, ...], order: FloatArray | None
) -> LineResult | None:
    """
    Trace slope and intercept of a line back to readings and shared sources.

    Parameters
    ----------
    fitted : LawLine
        The line.
    n_rows : int
        Rows of the series.
    sources : tuple of str
        Names of the points' shared columns.
    order : ndarray, shape (m,), optional
        What puts the points in the order in which they were read (their times); None: in the order of x.

    Returns
    -------
    LineResult or None
        None where the points, weighted, do not determine the line. Own errors are widened by the scatter
        about the line and by its serial correlation.
    """
    line, points = fitted.line, fitted.points
    slope = line.slope
    own = points.y_own - slope * points.x_own
    residual_u = np.sqrt(np.sum(own**2, axis=0))
    residuals = points.y - line.intercept - slope * points.x
    stated = fitted.errors_in_both and bool(np.any(residual_u > 0.0))
    if stated:
        residual_u = np.where(residual_u > 0.0, residual_u, float(np.median(residual_u[residual_u > 0.0])))
        # The adjusted x of each point carries the weight of the fit, not the one that was read.
        x = points.x + slope * points.x_u**2 / residual_u**2 * residuals
    else:
        residual_u = np.ones_like(residuals)
        x = points.x
    design = np.stack([np.ones_like(x), x], axis=1) if line.free_intercept else x[:, None]
    w = 1.0 / residual_u**2
    try:
        gain = np.linalg.solve(design.T @ (design * w[:, None]), (design * w[:, None]).T)
    except np.linalg.LinAlgError:
        return None
    # Sorted by x as read, points whose errors of x exceed their distances would seem to err together; the
    # adjusted x does not know the residual.
    turn = np.argsort(x if order is None else order, kind="stable")
    scatter = scatter_of((residuals / residual_u)[turn], design.shape[1], stated=stated)
    if not stated:
        own = np.stack([np.zeros_like(x), residual_u, np.zeros_like(x)])
    widening = math.sqrt(scatter.inflation)
    shared_columns = points.y_shared - slope * points.x_shared

    def estimate(value: float, row: FloatArray) -> Estimate:
        laid = np.zeros((3, n_rows))
        laid[:, points.rows] = row * own * widening
        moves = {name: float(row @ shared_columns[:, j]) for j, name in enumerate(sources)}
        moves = {name: change for name, change in moves.items() if change != 0.0}
        return Estimate(value, laid, MappingProxyType(moves), scatter.own_dof)

    intercept = estimate(line.intercept, gain[0]) if line.free_intercept else None
    return LineResult(fitted, estimate(slope, gain[-1]), intercept)
