"""Which rows of a series may be fitted, and why the others may not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.series import BoolArray, Column, Conditions, Series
from analysis.words import marked, said

BELOW_LIMIT = marked("below the limit where the law holds")
"""Reason of a row that was cut because its head is too low."""
_NOT_ABOVE = marked("head not above the orifice's centre")
_NO_THROW = marked("throw not beyond the throw zero")
_NO_DROP = marked("drop not above zero")


@dataclass(frozen=True, slots=True, eq=False)
class ChosenRows:
    """Rows by what they can be used for."""

    with_head: BoolArray
    """(n,) kept rows with a usable head above the law's limit."""
    with_throw: BoolArray
    """(n,) those that have a usable throw and drop as well."""
    below_limit: BoolArray
    """(n,) kept rows whose head is below the law's limit."""
    reasons: tuple[str, ...]
    """n reasons; "" where a row is used as far as it was read."""


def law_limit_m(conditions: Conditions) -> float | None:
    """
    Least head at which Torricelli's law is trusted: the larger of two hole diameters and 60 mm²/d.

    Parameters
    ----------
    conditions : Conditions
        Of which the orifice's diameter is used.

    Returns
    -------
    float or None
        m; None where the diameter is not known.

    Notes
    -----
    Twice the diameter: the hole must be small against the head (teaching advice; at 2 d the finite hole costs
    0.2 %, from the integral over the hole in Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 40). 60
    mm²/d is twice the head 4σ/(ρ g d) = 29.7 mm²/d that a meniscus over the hole can hold (Laplace's law);
    below that the jet clings to the wall and dribbles.
    """
    d = conditions.orifice_diameter_m
    if d is None or d <= 0.0:
        return None
    return max(2.0 * d, 60e-6 / d)


def chosen_rows(series: Series, limit_m: float | None) -> ChosenRows:
    """
    Sort the rows of a series by what they can be used for.

    Parameters
    ----------
    series : Series
        The run.
    limit_m : float, optional
        Least head, m; rows below are left out. None: no such limit is known.

    Returns
    -------
    ChosenRows
        A row that the series itself does not keep carries no reason here: whoever dropped it knows why.
    """
    n = series.kept.shape[0]
    reasons = [""] * n
    if series.head is None:
        nothing = np.zeros(n, dtype=bool)
        return ChosenRows(nothing, nothing.copy(), nothing.copy(), tuple(reasons))
    seen = series.kept & np.isfinite(series.head.values)
    if series.time_s is not None:
        seen &= np.isfinite(series.time_s)
    above = seen & (series.head.values > 0.0)
    below_limit = above & (series.head.values < (0.0 if limit_m is None else limit_m))
    with_head = above & ~below_limit
    thrown, throw_bad = _usable(series.throw, with_head)
    dropped, drop_bad = _usable(series.drop, with_head)
    for rows, words in (
        (seen & ~above, _NOT_ABOVE),
        (below_limit, BELOW_LIMIT),
        (throw_bad, _NO_THROW),
        (drop_bad, _NO_DROP),
    ):
        for i in np.nonzero(rows)[0]:
            reasons[i] = reasons[i] or said(words)
    return ChosenRows(with_head, thrown & dropped, below_limit, tuple(reasons))


def _usable(column: Column | None, rows: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Rows with a positive value, and rows with a value that is not positive."""
    if column is None:
        nothing = np.zeros_like(rows)
        return nothing, nothing
    finite = rows & np.isfinite(column.values)
    positive = finite & (np.where(finite, column.values, 0.0) > 0.0)
    return positive, finite & ~positive
