"""A table measured by other means as a series, with what had to be assumed said."""

from __future__ import annotations

import numpy as np

from analysis import BoolArray, Column, FloatArray, Remark, Series
from measure_app.errors import TableError
from measure_app.refusals import short
from measure_app.table import Table
from measure_app.words import marked, said

ASSUMED_HEAD_U_M = 0.001
"""Standard uncertainty of a head whose table gives none, m: a millimetre scale, parallax, a meniscus (common
practice, no source)."""
ASSUMED_THROW_U_M = 0.002
"""The same for a throw, m: the wet patch is wider than a graduation (common practice, no source)."""
ASSUMED_DROP_U_M = 0.001
"""The same for a drop, m."""


def series_from_table(
    table: Table, drop_m: float | None = None, drop_u_m: float | None = None
) -> tuple[Series, tuple[Remark, ...]]:
    """Turn a table into a series, and say what had to be assumed.

    Parameters
    ----------
    table : Table
        The table as read.
    drop_m, drop_u_m : float, optional
        Drop and its standard uncertainty, m, measured once for all rows. In a table with a drop in each
        row, `drop_u_m` alone gives the uncertainty of each.

    Returns
    -------
    Series
        Each quantity's own errors are those of the table; the drop measured once is the shared source "drop".
    tuple of Remark
        Uncertainties that were assumed, columns that were not used.

    Raises
    ------
    TableError
        The drop is given twice, in the table and beside it.
    """
    if drop_m is not None and table.drop_m is not None:
        raise TableError(
            said("the drop is given both in a column and beside the table; leave one of them out"),
            where=table.where,
        )
    n = len(table.lines)
    remarks: list[Remark] = []
    sources = ("drop",) if drop_m is not None else ()
    none_shared = np.zeros((n, len(sources)))

    def column(what: str, values: FloatArray | None, u: FloatArray | None, assumed: float) -> Column | None:
        if values is None:
            return None
        if u is None:
            u = np.full(n, assumed)
            remarks.append(_assumed(what, assumed))
        return Column(values.copy(), np.where(np.isnan(u), 0.0, u), none_shared.copy())

    head = column("head", table.head_m, table.head_u_m, ASSUMED_HEAD_U_M)
    throw = column("throw", table.throw_m, table.throw_u_m, ASSUMED_THROW_U_M)
    if drop_m is not None:
        if drop_u_m is None:
            remarks.append(_assumed("drop", ASSUMED_DROP_U_M))
        shared = np.full((n, 1), ASSUMED_DROP_U_M if drop_u_m is None else drop_u_m)
        drop: Column | None = Column(np.full(n, drop_m), np.zeros(n), shared)
    else:
        u = table.drop_u_m
        if u is None and drop_u_m is not None:
            u = np.full(n, drop_u_m)
        drop = column("drop", table.drop_m, u, ASSUMED_DROP_U_M)
    if table.time_u_s is not None:
        remarks.append(
            Remark(
                marked("clock"),
                said(
                    "time_u_s is not used: what the clock does shows in the scatter about the line in time."
                ),
            )
        )
    if table.unused:
        remarks.append(
            Remark(
                marked("table"),
                said(
                    "Columns that were not used: {listed}.", listed=", ".join(map(short, table.unused[:20]))
                ),
            )
        )
    return Series(sources, table.time_s, head, throw, drop, _kept(table)), tuple(remarks)


def _kept(table: Table) -> BoolArray:
    """(n,) rows that hold a head or a throw and are not left out by the table itself."""
    kept = np.ones(len(table.lines), dtype=bool) if table.kept is None else table.kept
    some = np.zeros_like(kept)
    for values in (table.head_m, table.throw_m):
        if values is not None:
            some = some | np.isfinite(values)
    return np.asarray(kept & some, dtype=np.bool_)


_UNCERTAINTY_OF = {
    "head": marked("head uncertainty"),
    "throw": marked("throw uncertainty"),
    "drop": marked("drop uncertainty"),
}


def _assumed(what: str, u: float) -> Remark:
    return Remark(
        _UNCERTAINTY_OF[what],
        said(
            "The table gives no uncertainty of the {what}; {u:g} mm (standard) is assumed. Give "
            "{column} (or what you know) to rest on a measurement instead.",
            what=said(what),
            column=f"{what}_u_mm",
            u=u * 1000,
        ),
    )
