"""From a result to the live part of a workbook: which rows, which formulas, and what they give."""

from __future__ import annotations

import math

import numpy as np

from analysis import FloatArray, IntArray
from measure_app.report.as_used import AsUsed, as_used, fallen_since
from measure_app.report.results import Results
from measure_app.report.row_words import row_title
from measure_app.report.workbook_cells import FIRST_ROW, Input, LiveColumn, LiveTable, Plan, in_formula
from measure_app.report.workbook_lines import line_blocks
from measure_app.words import marked, said

MOST_LIVE_ROWS = 2000
"""Rows with formulas in the complete workbook; more would make spreadsheets and their charts slow."""
MOST_ROWS_TO_FILL_IN = 36
"""Rows in the workbook to be filled in: few enough to check by hand, enough for a line."""
MOST_READINGS = 20_000
"""Rows of the sheet Readings."""


_CORRECTIONS = {
    "dh": marked("correction of the head / m"),
    "dx": marked("correction of the throw / m"),
    "dy": marked("correction of the drop / m"),
}


def plan_of(results: Results, most_rows: int = MOST_LIVE_ROWS) -> Plan:
    """Choose the rows and write the formulas of a workbook.

    Parameters
    ----------
    results : Results
        What was found.
    most_rows : int
        Rows with formulas; of a longer series an even choice is taken.

    Returns
    -------
    Plan
        Values beside the formulas are those that a spreadsheet gives.
    """
    throws, drains = _throw_rows(results), _drain_rows(results)
    live_throws, live_drains = _thinned(throws, most_rows), _thinned(drains, most_rows)
    index = {row.frame: i for i, row in enumerate(results.rows)}
    live = {index[results.numbers[i]] for i in (*live_throws.tolist(), *live_drains.tolist())}
    if most_rows < MOST_LIVE_ROWS:
        shown = tuple(sorted(live))  # the student's sheet shows no more than the student is to work on
    else:
        every = _thinned(np.arange(len(results.rows)), MOST_READINGS).tolist()
        shown = tuple(sorted({*every, *live}))
    place = {row: FIRST_ROW + i for i, row in enumerate(shown)}

    def at(rows: IntArray) -> tuple[int, ...]:
        return tuple(place[index[results.numbers[i]]] for i in rows.tolist())

    varies = _drop_varies(results)
    used = as_used(results) if live_throws.size else None
    inputs = _inputs(results, live_throws, used)
    tables = []
    if used is not None:
        tables.append(_working(results, live_throws, at(live_throws), inputs, used, varies=varies))
    if live_drains.size:
        tables.append(_drain(results, live_drains, at(live_drains)))
    return Plan(
        inputs=inputs,
        shown=shown,
        thinned=_about_thinning(len(results.rows), len(shown), throws.size, live_throws.size),
        drop_varies=varies,
        tables=tuple(tables),
        blocks=line_blocks(tuple(tables), inputs),
    )


def _throw_rows(results: Results) -> IntArray:
    """Rows of the series on which the laws of the jet are tested; without heads, all kept throws."""
    for line in results.findings.lines:
        if line.law.key != "root_head_time":
            return np.asarray(line.points.rows, dtype=np.intp)
    throw, drop = results.series.throw, results.series.drop
    if throw is None or drop is None:
        return np.empty(0, dtype=np.intp)
    good = results.findings.kept & (np.nan_to_num(throw.values) > 0) & (np.nan_to_num(drop.values) > 0)
    if results.series.head is not None:
        good = good & (np.nan_to_num(results.series.head.values) > 0)
    return np.nonzero(good)[0]


def _drain_rows(results: Results) -> IntArray:
    for line in results.findings.lines:
        if line.law.key == "root_head_time":
            return np.asarray(line.points.rows, dtype=np.intp)
    return np.empty(0, dtype=np.intp)


def _thinned(rows: IntArray, most: int) -> IntArray:
    """Take an even choice of at most so many rows, first and last among them."""
    if rows.size <= most:
        return rows
    return rows[np.unique(np.linspace(0, rows.size - 1, most).round().astype(np.intp))]


def _about_thinning(rows: int, shown: int, throws: int, live: int) -> str:
    words = []
    if shown < rows:
        words.append(said("{shown} of {rows} readings are shown", shown=shown, rows=rows))
    if live < throws:
        words.append(
            said(
                "the formulas stand on {live} of the {throws} readings that took part",
                live=live,
                throws=throws,
            )
        )
    if not words:
        return ""
    return said(
        "To keep the sheet quick, {what}, evenly chosen; readings.csv holds them all.",
        what=said(" and ").join(words),
    )


def _drop_varies(results: Results) -> bool:
    drop = results.series.drop
    if drop is None:
        return False
    known = drop.values[np.isfinite(drop.values)]
    return bool(known.size and np.ptp(known) > 0.0)


def _inputs(results: Results, rows: IntArray, used: AsUsed | None) -> tuple[Input, ...]:
    """Give the named cells that the formulas of this result use."""
    series, given, gravity = results.series, results.conditions, results.findings.accepted_gravity
    found = [
        Input(
            "g_assumed",
            said("accepted g"),
            gravity.value,
            "m/s²",
            gravity.u,
            said("{source}; not measured here", source=said(gravity.source)),
        )
    ]
    varies = _drop_varies(results)
    if series.drop is not None and rows.size and not varies:
        i = int(rows[0])
        drop, u = float(series.drop.values[i]), float(series.drop.u[i])
        found.append(
            Input("drop", said("drop y₀: height of the hole's centre over the landing level"), drop, "m", u)
        )
        if series.head is not None and used is not None and not _levelled(used, rows):
            found.append(
                Input(
                    "flight_time",
                    said("flight time of the water"),
                    math.sqrt(2.0 * drop / gravity.value),
                    "s",
                    note=said("a fall from rest through the drop"),
                    formula="SQRT(2*drop/g_assumed)",
                )
            )
    if used is not None and used.angle_deg != 0.0:
        words = said("above the horizontal where it leaves; put 0 here to see what it does")
        angle_u = given.launch_angle_u_deg
        found.append(Input("launch_angle", said("angle of the jet"), used.angle_deg, "°", angle_u, words))
    if given.orifice_diameter_m is not None:
        found.append(
            Input(
                "hole_diameter",
                said("diameter of the hole"),
                given.orifice_diameter_m,
                "m",
                given.orifice_diameter_u_m,
            )
        )
    if given.container_area_m2 is not None:
        found.append(
            Input(
                "container_area",
                said("area of the water's surface"),
                given.container_area_m2,
                "m²",
                given.container_area_u_m2,
            )
        )
    return (*found, *_pairing_inputs(results))


def _pairing_inputs(results: Results) -> tuple[Input, ...]:
    """Give the drain curve by which heads are carried back to the moment of launch."""
    drain, times = results.findings.drain, results.series.time_s
    if drain is None or times is None or results.series.throw is None or results.series.drop is None:
        return ()
    if not np.any(fallen_since(results)):
        return ()
    return (
        Input(
            "k_drain",
            said("fall of √head in a second, for the pairing"),
            drain.value("k"),
            "√m/s",
            note=said(
                "from the program's own fit; put 0 here to switch the pairing off and see what it does"
            ),
        ),
        Input("root_h0", said("√head at the start, for the pairing"), drain.value("root_h0"), "√m"),
        Input("t_start", said("time of the start, for the pairing"), float(times[drain.first_row]), "s"),
    )


def _working(
    results: Results,
    rows: IntArray,
    at: tuple[int, ...],
    inputs: tuple[Input, ...],
    used: AsUsed,
    *,
    varies: bool,
) -> LiveTable:
    """Lay out the working from throw and head to speed, roots and squares."""
    series, g = results.series, results.findings.accepted_gravity.value
    if series.throw is None or series.drop is None:
        raise ValueError("the working needs throws and a drop")
    throw, drop = series.throw.values[rows] + used.throw_added[rows], series.drop.values[rows]
    named = {each.name: each.value for each in inputs}
    y0 = "{y0}" if varies else "drop"
    columns = _read_columns(results, rows, ("x",))
    heads = None if series.head is None else used.head_added[rows]
    added = (
        ("dh", heads),
        ("dx", used.throw_added[rows]),
        ("dy", used.drop_added[rows]),
    )
    more = {key: _correction(columns, key, values) for key, values in added}
    if varies:
        columns.append(
            LiveColumn("y0", said("drop y₀ / m"), f"{_readings()}!I{{at}}/100", series.drop.values[rows])
        )
    h: FloatArray | None = None
    if series.head is not None:
        h = np.asarray(series.head.values[rows] + used.head_added[rows], dtype=np.float64)
        columns.append(LiveColumn("h", said("head h / m"), f"{{h_cm}}/100{more['dh']}", h, asked=True))
    columns.append(LiveColumn("x", said("throw x / m"), f"{{x_cm}}/100{more['dx']}", throw, asked=True))
    slope_of_flight = ""
    if _levelled(used, rows):
        drop = used.level_drop[rows]
        columns.append(_level_drop(used, f"({y0}{more['dy']})", drop))
        y0, varies = "{yl}", True
        slope_of_flight = "/COS(RADIANS(launch_angle))" if used.angle_deg != 0.0 else ""
    hp = "{h}"
    if h is not None and "k_drain" in named and series.time_s is not None:
        flight = f"(SQRT(2*{y0}/g_assumed){slope_of_flight})" if varies else "flight_time"
        root = "(root_h0-k_drain*({t}-t_start))"
        h = h + fallen_since(results)[rows]
        columns.append(
            LiveColumn(
                "hp",
                said("head at launch h′ / m"),
                f"{{h}}+2*{root}*k_drain*{flight}+(k_drain*{flight})^2",
                h,
                shows="0.00000",
            )
        )
        hp = "{hp}"
    v = throw * np.sqrt(g / (2.0 * drop))
    columns.append(LiveColumn("v", said("speed v / (m/s)"), f"{{x}}*SQRT(g_assumed/(2*{y0}))", v, asked=True))
    if h is not None:
        mean = np.mean(drop)
        table = LiveTable("Working", "", "", tuple(columns), at)
        x2 = f"{{x}}^2*AVERAGE({table.range(y0[1:-1])})/{y0}" if varies else "{x}^2"
        rh = np.sqrt(h)
        columns += [
            LiveColumn("rh", "√h′ / √m" if hp == "{hp}" else "√h / √m", f"SQRT({hp})", rh, asked=True),
            LiveColumn("v2", "v² / (m²/s²)", "{v}^2", v**2, asked=True),
            LiveColumn(
                "x2",
                said("x² at the mean drop / m²") if varies else "x² / m²",
                x2,
                throw**2 * mean / drop,
                asked=True,
            ),
            LiveColumn(
                "cv",
                said("Cv of this row"),
                f"{{x}}/(2*SQRT({y0}*{hp}))",
                throw / (2.0 * np.sqrt(drop * h)),
                asked=True,
            ),
        ]
        if rows.size >= 2 and np.ptp(rh) > 0.0:
            slope, intercept = straight(rh, v)
            columns.append(
                LiveColumn(
                    "res",
                    said("v less its line / (m/s)"),
                    "{v}-(v_intercept+v_slope*{rh})",
                    v - intercept - slope * rh,
                    asked=True,
                )
            )
    says = said(
        "One row for each reading that took part: from throw and drop to speed, then roots and squares."
    )
    if y0 == "{yl}" or any(more.values()):
        says += " " + said("Corrections stand in columns of their own, the jet's angle under Inputs.")
    if hp == "{hp}":
        says += " " + said(
            "h′ is the head one flight time earlier, when the water that lands now left the hole; the level "
            "has fallen since. See the sheet How."
        )
    return LiveTable("Working", said("Working: from throw and drop to speed"), says, tuple(columns), at)


def _levelled(used: AsUsed, rows: IntArray) -> bool:
    """Whether the drop that counts is another than the measured one."""
    return used.angle_deg != 0.0 or bool(np.any(used.drop_added[rows]))


def _level_drop(used: AsUsed, y0: str, values: FloatArray) -> LiveColumn:
    """Give the drop of a level jet that is thrown as far: y₀ cos²θ + x sinθ cosθ, of the parabola."""
    if used.angle_deg == 0.0:
        return LiveColumn("yl", said("drop corrected / m"), y0, values)
    angle = "RADIANS(launch_angle)"
    formula = f"{y0}*COS({angle})^2+{{x}}*SIN({angle})*COS({angle})"
    return LiveColumn("yl", said("drop of a level jet / m"), formula, values)


def _correction(columns: list[LiveColumn], key: str, added: FloatArray | None) -> str:
    """Add a column of numbers with a correction, where there is one, and give the term that adds it."""
    if added is None or not np.any(added):
        return ""
    columns.append(LiveColumn(key, said(_CORRECTIONS[key]), "", added, shows="0.00000"))
    return f"+{{{key}}}"


def _drain(results: Results, rows: IntArray, at: tuple[int, ...]) -> LiveTable:
    """Lay out the working from head and clock to the drain line."""
    series = results.series
    if series.head is None or series.time_s is None:
        raise ValueError("the drain line needs heads and times")
    read, t = series.head.values[rows], series.time_s[rows]
    fitted = next(each.points for each in results.findings.lines if each.law.key == "root_head_time")
    where = np.searchsorted(fitted.rows, rows)
    added = fitted.y[where] ** 2 - read
    added = np.where(np.abs(added) > 1e-12, added, 0.0)
    h = read + added
    rh = np.sqrt(h)
    columns = _read_columns(results, rows, ())
    more = _correction(columns, "dh", added)
    columns += [
        LiveColumn("h", said("head h / m"), f"{{h_cm}}/100{more}", h, asked=True),
        LiveColumn("rh", "√h / √m", "SQRT({h})", rh, asked=True),
    ]
    if rows.size >= 2:
        slope, intercept = straight(t, rh)
        columns.append(
            LiveColumn(
                "res",
                said("√h less its line / √m"),
                "{rh}-(drain_intercept+drain_slope*{t})",
                rh - intercept - slope * t,
                shows="0.00000",
                asked=True,
            )
        )
    says = said("One row for each head of the drain line: √h falls evenly with time while the law holds.")
    return LiveTable(
        "Drain", said("Drain: from head to its root, against the clock"), says, tuple(columns), at
    )


def _readings() -> str:
    return in_formula("Readings")


def _read_columns(results: Results, rows: IntArray, besides: tuple[str, ...]) -> list[LiveColumn]:
    """Give the columns that fetch a row's readings."""
    series = results.series
    numbers = np.array([results.numbers[i] for i in rows.tolist()], dtype=np.float64)
    columns = [LiveColumn("n", row_title(results.each_row_is), f"{_readings()}!A{{at}}", numbers, shows="0")]
    if series.time_s is not None:
        columns.append(
            LiveColumn("t", said("time t / s"), f"{_readings()}!B{{at}}", series.time_s[rows], shows="0.000")
        )
    if series.head is not None:
        columns.append(
            LiveColumn(
                "h_cm",
                said("head read / cm"),
                f"{_readings()}!C{{at}}",
                100.0 * series.head.values[rows],
                shows="0.00",
            )
        )
    if "x" in besides and series.throw is not None:
        columns.append(
            LiveColumn(
                "x_cm",
                said("throw read / cm"),
                f"{_readings()}!E{{at}}",
                100.0 * series.throw.values[rows],
                shows="0.00",
            )
        )
    return columns


def straight(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Slope and intercept by plain least squares."""
    dx = x - np.mean(x)
    slope = float(np.sum(dx * (y - np.mean(y))) / np.sum(dx**2))
    return slope, float(np.mean(y) - slope * np.mean(x))
