"""What the report writers write, whether it comes from a film or from a table measured by other means."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis import (
    Column,
    Conditions,
    Falls,
    Findings,
    FloatArray,
    Remark,
    Series,
    findings_of,
    with_traced_angle,
)
from measure_app.outcome import Outcome, ReadingRow
from measure_app.report.line_chart import LineChart
from measure_app.report.line_charts import line_charts
from measure_app.report.strip_chart import StripChart
from measure_app.report.strip_charts import strip_charts
from measure_app.series import conditions_of
from measure_app.table import Table
from measure_app.table_series import series_from_table
from measure_app.words import said


@dataclass(frozen=True, slots=True, eq=False)
class Results:
    """A result, ready to be written."""

    title: str
    each_row_is: str
    """What a row stands for: "frame" of a film, or "row" of a table."""
    rows: tuple[ReadingRow, ...]
    findings: Findings
    remarks: tuple[Remark, ...]
    strips: tuple[StripChart, ...]
    lines: tuple[LineChart, ...]
    series: Series
    """What the findings were derived from."""
    numbers: tuple[int, ...]
    """Number of the frame, or of the table's row, of each row of the series."""
    conditions: Conditions
    falls: Falls | None = None
    """Falls that were marked; None: a table, which holds none."""
    outcome: Outcome | None = None
    """Set-up and film, where the result comes from a film."""

    @property
    def found_anything(self) -> bool:
        """Whether there is any length to show, or a fall that tells something."""
        seen = any(row.head_m is not None or row.throw_m is not None for row in self.rows)
        return seen or bool(self.falls is not None and self.falls.falls and self.findings.findings)


def results_of(outcome: Outcome) -> Results:
    """Make ready for writing what a film yielded."""
    return Results(
        title=outcome.run.title,
        each_row_is="frame",
        rows=outcome.rows,
        findings=outcome.findings,
        remarks=outcome.remarks,
        strips=strip_charts(outcome),
        lines=line_charts(outcome.findings, outcome.lengths.series),
        series=outcome.lengths.series,
        numbers=tuple(reading.frame for reading in outcome.lengths.readings),
        # A traced angle stands among them where none was stated, as it did for the findings.
        conditions=with_traced_angle(conditions_of(outcome.run), outcome.jet),
        falls=outcome.falls,
        outcome=outcome,
    )


def results_of_table(
    table: Table, conditions: Conditions, drop_m: float | None = None, drop_u_m: float | None = None
) -> Results:
    """Derive from a table what a film would have yielded, by the same engine.

    Parameters
    ----------
    table : Table
        Heads, throws and times, as far as they were measured.
    conditions : Conditions
        What was measured once beside them.
    drop_m, drop_u_m : float, optional
        Drop and its standard uncertainty, m, if measured once for all rows.

    Raises
    ------
    TableError
        The drop is given both in the table and beside it.
    """
    series, assumed = series_from_table(table, drop_m, drop_u_m)
    findings = findings_of(series, conditions)
    return Results(
        title="",
        each_row_is="row",
        rows=_rows(series, findings),
        findings=findings,
        remarks=(*assumed, *findings.remarks),
        strips=(),
        lines=line_charts(findings, series),
        series=series,
        numbers=tuple(range(series.kept.shape[0])),
        conditions=conditions,
    )


def _rows(series: Series, findings: Findings) -> tuple[ReadingRow, ...]:
    """Return one row for each row of the table, numbered from 0 in the column `frame`."""
    kept = findings.kept.tolist()
    # Each of these is reckoned for all rows whenever it is asked for.
    heads_u = None if series.head is None else series.head.u
    throws_u = None if series.throw is None else series.throw.u
    speeds_u = findings.speed_u
    return tuple(
        ReadingRow(
            frame=i,
            time_s=None if series.time_s is None else float(series.time_s[i]),
            surface=None,
            landing=None,
            surface_u_px=None,
            landing_u_px=None,
            head_m=None if series.head is None else _there(series.head.values, i),
            head_u_m=_of(series.head, heads_u, i),
            throw_m=None if series.throw is None else _there(series.throw.values, i),
            throw_u_m=_of(series.throw, throws_u, i),
            speed_m_s=_there(findings.speed_m_s, i),
            speed_u_m_s=_with(findings.speed_m_s, speeds_u, i),
            kept=kept[i],
            reason="" if kept[i] else findings.reasons[i] or _why_left_out(series, i),
        )
        for i in range(len(kept))
    )


def _why_left_out(series: Series, i: int) -> str:
    columns = (series.head, series.throw)
    if all(column is None or not math.isfinite(column.values[i]) for column in columns):
        return said("neither head nor throw")
    return said("left out in the table")


def _there(values: FloatArray, i: int) -> float | None:
    return float(values[i]) if np.isfinite(values[i]) else None


def _of(column: Column | None, u: FloatArray | None, i: int) -> float | None:
    return None if column is None or u is None else _with(column.values, u, i)


def _with(values: FloatArray, u: FloatArray, i: int) -> float | None:
    return float(u[i]) if np.isfinite(values[i]) and np.isfinite(u[i]) else None
