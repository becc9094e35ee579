"""From findings to the figures of the four straight lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import LAWS, Findings, FloatArray, LawLine, Series, plain, with_uncertainty
from measure_app.report.line_chart import ChartLine, LineChart
from measure_app.words import marked, said


@dataclass(frozen=True, slots=True)
class _Look:
    """How one law is shown."""

    name: str
    title: str
    x_symbol: str
    y_symbol: str
    x_title: str
    y_title: str
    residual_title: str


_LOOKS = {
    "speed_root_head": _Look(
        "speed-vs-root-head",
        marked("Jet speed against the root of the head"),
        "√h",
        "v",
        marked("root of the head  $\\sqrt{h}$ / m$^{1/2}$"),
        marked("jet speed  $v$ / (m/s)"),
        marked("residual / (m/s)"),
    ),
    "speed_squared_head": _Look(
        "speed-squared-vs-head",
        marked("Square of the jet speed against the head"),
        "h",
        "v²",
        marked("head  $h$ / m"),
        marked("square of the speed  $v^2$ / (m²/s²)"),
        marked("residual / (m²/s²)"),
    ),
    "throw_squared_head": _Look(
        "throw-squared-vs-head",
        marked("Square of the throw against the head"),
        "h",
        "x²",
        marked("head  $h$ / m"),
        marked("square of the throw  $x^2$ / m²"),
        marked("residual / m²"),
    ),
    "root_head_time": _Look(
        "root-head-vs-time",
        marked("Root of the head against time"),
        "t",
        "√h",
        marked("time  $t$ / s"),
        marked("root of the head  $\\sqrt{h}$ / m$^{1/2}$"),
        marked("residual / m$^{1/2}$"),
    ),
}


_FINDINGS = {
    "speed_root_head": "slope_speed_vs_root_head",
    "speed_squared_head": "slope_speed_squared_vs_head",
    "throw_squared_head": "slope_throw_squared_vs_head",
    "root_head_time": "drain_rate_root_m_per_s",
}
"""The finding that says what each law's slope is worth with all sources of error."""


def line_charts(findings: Findings, series: Series) -> tuple[LineChart, ...]:
    """Return a chart for each law that the readings let be fitted."""
    charts = []
    for law in LAWS:
        fitted = [line for line in findings.lines if line.law is law]
        if fitted:
            charts.append(_chart(fitted, findings, series))
    return tuple(charts)


def _chart(fitted: list[LawLine], findings: Findings, series: Series) -> LineChart:
    law = fitted[0].law
    look = _LOOKS[law.key]
    free, origin = _best(fitted, free=True), _best(fitted, free=False)
    points = fitted[0].points
    left_out_x, left_out_y = _left_out(law.key, findings, series, points.rows)
    return LineChart(
        name=look.name,
        title=said(look.title),
        x_title=said(look.x_title),
        y_title=said(look.y_title),
        residual_title=said(look.residual_title),
        x=points.x,
        y=points.y,
        x_u=points.x_u,
        y_u=points.y_u,
        x_shared_u=_typical(points.x_shared),
        y_shared_u=_typical(points.y_shared),
        lines=tuple(
            ChartLine(chosen.line.slope, chosen.line.intercept, said(says, equation=_equation(chosen, look)))
            for chosen, says in ((free, "{equation}"), (origin, marked("through the origin: {equation}")))
            if chosen is not None
        ),
        left_out_x=left_out_x,
        left_out_y=left_out_y,
        errors_say=_errors(free or origin, findings),
        note=_note(free or origin, findings),
    )


def _best(fitted: list[LawLine], *, free: bool) -> LawLine | None:
    """Return the line with errors in both variables, else the plain one."""
    some = [line for line in fitted if line.line.free_intercept == free]
    return max(some, key=lambda line: line.errors_in_both, default=None)


def _equation(chosen: LawLine, look: _Look) -> str:
    law = chosen.law
    words = chosen.line.equation(look.y_symbol, look.x_symbol, law.slope_unit, law.y_unit)
    return words.replace("m^0.5", "√m")


def _typical(shared: FloatArray) -> float:
    """Return the middle, over the points, of the error that they share."""
    return float(np.median(np.sqrt(np.sum(shared**2, axis=1)))) if shared.size else 0.0


def _left_out(
    key: str, findings: Findings, series: Series, rows: np.typing.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Return the points of rows that took no part, as far as they have both coordinates."""
    out = np.ones(series.kept.shape[0], dtype=bool)
    out[rows] = False
    nothing = np.full(out.shape, np.nan)
    head = nothing if series.head is None else series.head.values
    throw = nothing if series.throw is None else series.throw.values
    if key != "root_head_time":
        head = np.where(np.isfinite(findings.paired_head_m), findings.paired_head_m, head)
    root = np.sqrt(np.where(head > 0.0, head, np.nan))
    x, y = {
        "speed_root_head": (root, findings.speed_m_s),
        "speed_squared_head": (head, findings.speed_m_s**2),
        "throw_squared_head": (head, throw**2),
        "root_head_time": (nothing if series.time_s is None else series.time_s, root),
    }[key]
    out &= np.isfinite(x) & np.isfinite(y)
    return x[out], y[out]


def _errors(chosen: LawLine | None, findings: Findings) -> str:
    """Say what the errors in an equation are, and give the slope with all sources of error beside it."""
    whole = None if chosen is None else findings.finding(_FINDINGS[chosen.law.key])
    if whole is None:
        return said("±: the readings' own scatter")
    return said(
        "±: the readings' own scatter; with all sources {symbol} = {value}",
        symbol=whole.symbol,
        value=with_uncertainty(whole.value, whole.u, whole.unit.replace("m^0.5", "√m")),
    )


def _note(chosen: LawLine | None, findings: Findings) -> str:
    if chosen is None:
        return ""
    line = chosen.line
    whole = findings.finding(_FINDINGS[chosen.law.key])
    words = said(
        "Fitted by {method}; errors of slope and intercept in the legend are {errors}.",
        method=said(line.method),
        errors=said(line.errors_shown),
    )
    if whole is not None:
        value = with_uncertainty(whole.value, whole.u, whole.unit.replace("m^0.5", "√m"))
        words += " " + said(
            "With the errors that all readings share, {symbol} = {value}.", symbol=whole.symbol, value=value
        )
    if chosen.law.key.startswith("speed"):
        g = findings.accepted_gravity
        words += " " + said(
            "Speeds come from the throw with g = {g} m/s² ({source}), which is assumed: the g that the slope "
            "gives back is that one times Cv², and no news.",
            g=plain(g.value, 5),
            source=said(g.source),
        )
    return words
