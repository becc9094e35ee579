"""A long series as a short one that says the same: neighbouring rows become one pseudo-reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.derive import Findings
from analysis.penalised import JointFit
from analysis.series import BoolArray, Column, FloatArray, IntArray, Series

Values = tuple[FloatArray | None, FloatArray | None, FloatArray | None]
"""(n,) heads, throws and drops of all rows; None where the series does not have them."""


@dataclass(frozen=True, slots=True, eq=False)
class _Average:
    """How the values of one column become pseudo-readings."""

    rows: IntArray
    """(m,) rows of all groups, one group after the other."""
    starts: IntArray
    """(g,) where each group begins."""
    weights: FloatArray
    """(m,) adding to 1 in each group; 0 where there is no reading."""
    law: FloatArray
    """(m,) values about which each group is averaged; 0 where no law is known."""
    base: FloatArray
    """(g,) the law at each group's middle row; NaN for a group without a reading."""
    own_u: FloatArray
    shared: FloatArray

    def of(self, values: FloatArray) -> Column:
        """Average (n,) values."""
        there = self.weights > 0.0
        deviations = np.where(there, self.weights * (values[self.rows] - self.law), 0.0)
        return Column(self.base + np.add.reduceat(deviations, self.starts), self.own_u, self.shared)


@dataclass(frozen=True, slots=True, eq=False)
class Condenser:
    """Groups of neighbouring rows, and the law about which each group is averaged."""

    series: Series
    middle: IntArray
    """(g,) the row whose place on the law each pseudo-reading takes."""
    about: Values
    """(n,) values by the fitted laws; where they are NaN, readings are averaged as they stand."""
    averages: tuple[_Average | None, _Average | None, _Average | None]

    @property
    def n(self) -> int:
        """Count of pseudo-readings."""
        return int(self.middle.shape[0])

    def of(self, values: Values) -> Series:
        """
        Condense the series with these heads, throws and drops in place of those read.

        Parameters
        ----------
        values : tuple of ndarray or None
            (n,) heads, throws and drops.

        Returns
        -------
        Series
            One row for each group: the law at its middle row plus the weighted mean deviation from the law,
            own errors of that mean, mean shared columns.
        """
        time = self.series.time_s
        head, throw, drop = (
            None if average is None or given is None else average.of(given)
            for average, given in zip(self.averages, values, strict=True)
        )
        return Series(
            sources=self.series.sources,
            time_s=None if time is None else time[self.middle],
            head=head,
            throw=throw,
            drop=drop,
            kept=np.ones(self.n, dtype=bool),
        )


def condenser_of(series: Series, findings: Findings, most: int) -> Condenser:
    """
    Choose the groups into which a series is condensed.

    Parameters
    ----------
    series : Series
        The run.
    findings : Findings
        What the engine made of it: rows that took part, and the fitted laws.
    most : int
        The most pseudo-readings that are wanted.

    Returns
    -------
    Condenser
        Neighbours in time, or in head where there are no times; rows that took no part are left out.
    """
    rows = np.nonzero(_taking_part(series, findings))[0]
    if series.time_s is None and series.head is not None:
        rows = rows[np.argsort(-series.head.values[rows], kind="stable")]
    count = min(most, rows.shape[0])
    groups = np.array_split(rows, count) if count else []
    about = on_the_law(series, findings)
    columns = (series.head, series.throw, series.drop)
    head, throw, drop = (
        None if column is None or not count else _average(column, law, groups)
        for column, law in zip(columns, about, strict=True)
    )
    middle = np.array([group[group.shape[0] // 2] for group in groups], dtype=np.intp)
    return Condenser(series, middle, about, (head, throw, drop))


def _average(column: Column, law: FloatArray | None, groups: Sequence[IntArray]) -> _Average:
    sizes = np.array([group.shape[0] for group in groups])
    rows = np.concatenate(groups)
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    there = np.isfinite(column.values[rows])
    u = np.where(np.isfinite(column.own_u[rows]), column.own_u[rows], 0.0)
    # In a group with an error that nobody stated all rows weigh the same.
    unstated = np.add.reduceat((there & ~(u > 0.0)).astype(np.float64), starts) > 0.0
    stated = ~np.repeat(unstated, sizes)
    raw = np.where(there, np.where(stated, 1.0 / np.where(stated & there, u, 1.0) ** 2, 1.0), 0.0)
    total = np.add.reduceat(raw, starts)
    weights = raw / np.repeat(np.where(total > 0.0, total, 1.0), sizes)
    by_law, base = np.zeros(rows.shape[0]), np.where(total > 0.0, 0.0, np.nan)
    if law is not None:
        lost = np.add.reduceat((there & ~np.isfinite(law[rows])).astype(np.float64), starts) > 0.0
        middle = law[rows[starts + sizes // 2]]
        known = np.isfinite(middle) & ~lost & (total > 0.0)
        base = np.where(known, middle, base)
        by_law = np.where(there & np.repeat(known, sizes), np.nan_to_num(law[rows]), 0.0)
    own = np.sqrt(np.add.reduceat((weights * u) ** 2, starts))
    weighted = np.where(weights[:, None] > 0.0, weights[:, None] * np.nan_to_num(column.shared[rows]), 0.0)
    return _Average(
        rows=rows,
        starts=starts,
        weights=weights,
        law=by_law,
        base=base,
        own_u=np.where(unstated, 0.0, own),
        shared=np.add.reduceat(weighted, starts, axis=0),
    )


def on_the_law(series: Series, findings: Findings) -> Values:
    """
    Give readings without errors: every row as the fitted laws would have it if no source had been off.

    Parameters
    ----------
    series : Series
        The run.
    findings : Findings
        What the engine made of it.

    Returns
    -------
    tuple of ndarray or None
        (n,) heads, throws and drops; NaN where a reading is not there or no law reaches. Without a drain
        curve the heads are those that were read.
    """
    head, throw, drop = (None if c is None else c.values for c in (series.head, series.throw, series.drop))
    pulled = findings.drain if findings.drain is not None else findings.throws
    if series.head is None or pulled is None:
        return head, throw, drop
    law = findings.law_head_m if findings.drain is not None else series.head.values
    heads = np.where(
        np.isfinite(series.head.values), law - _pulls(pulled, series, series.head.shared), np.nan
    )
    fit = findings.throws
    if fit is None or series.throw is None or series.drop is None:
        return heads, throw, drop
    # By the law, throw over √(head · drop) depends on the head slowly, if at all; a straight line in √head
    # carries that from the readings' heads, with their errors and pulls, to those without.
    at = fit.rows
    read_head = findings.paired_head_m - _pulls(fit, series, series.head.shared)
    true_drop = series.drop.values - _pulls(fit, series, series.drop.shared)
    true_throw = fit.fitted - _pulls(fit, series, series.throw.shared)[at]
    ratio = true_throw / np.sqrt(np.abs(read_head * true_drop)[at])
    root = np.sqrt(np.abs(read_head[at]))
    degree = 1 if at.shape[0] > 3 and float(np.ptp(root)) > 0.1 * float(np.mean(root)) else 0
    line = np.polynomial.Polynomial.fit(root, ratio, degree)
    launched = findings.paired_head_m - series.head.values + heads
    thrown = line(np.sqrt(np.abs(launched))) * np.sqrt(np.abs(launched * series.drop.values))
    return heads, np.where(np.isfinite(series.throw.values), thrown, np.nan), drop


def _pulls(fit: JointFit, series: Series, shared: FloatArray) -> FloatArray:
    """(n,) how far the readings pull each row through the sources that it shares."""
    z = np.array([fit.pull(name) if name in fit.sources else 0.0 for name in series.sources])
    return np.asarray(np.nan_to_num(shared) @ z, dtype=np.float64)


def _taking_part(series: Series, findings: Findings) -> BoolArray:
    kept = findings.kept.copy()
    columns: Sequence[Column | None] = (series.head, series.throw)
    some = np.zeros_like(kept)
    for column in columns:
        if column is not None:
            some |= np.isfinite(column.values)
    return np.asarray(kept & some, dtype=np.bool_)
