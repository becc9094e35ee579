"""The sheet Lines: slope, intercept and what they say, by the spreadsheet's own functions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis import FloatArray, straight_line
from measure_app.report.workbook_cells import Input, LineBlock, LineCell, LiveTable
from measure_app.words import marked, numeral, said


@dataclass(frozen=True, slots=True)
class _Law:
    """How one law stands on the sheet."""

    key: str
    table: str
    x: str
    y: str
    title: str
    law: str
    x_title: str
    y_title: str
    slope_unit: str
    intercept_unit: str
    prefix: str
    """Of the names of its slope and intercept."""
    from_origin: bool = True


_LAWS = (
    _Law("speed_root_head", "Working", "rh", "v", marked("Speed against √head"), "v = Cv √(2g) · √h",
         "√h / √m", marked("jet speed v / (m/s)"), "√m/s", "m/s", "v"),
    _Law("speed_squared_head", "Working", "h", "v2", marked("Speed squared against head"),
         "v² = 2 g Cv² · h", marked("head h / m"), "v² / (m²/s²)", "m/s²", "m²/s²", "v2"),
    _Law("throw_squared_head", "Working", "h", "x2", marked("Throw squared against head"),
         "x² = 4 y₀ Cv² · h", marked("head h / m"), "x² / m²", "m", "m²", "x2"),
    _Law("root_head_time", "Drain", "t", "rh", marked("√head against time"), "√h = √h₀ − k · t",
         marked("time t / s"), "√h / √m", "√m/s", "√m", "drain", from_origin=False),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Words:
    """What is said of the quantities that one line gives."""

    cv: str
    deviation: str
    borrowed: str
    deviation_of_g: str
    zero: str
    """What the line takes for its zero."""


_BY_FREE_LINE = _Words(
    cv="Cv",
    deviation=marked("deviation of Cv from 1, a jet without losses"),
    borrowed=marked("g that comes out"),
    deviation_of_g=marked("its deviation from the accepted g"),
    zero=marked("this line takes its own zero from the readings alone"),
)
_BY_ORIGIN = _Words(
    cv=marked("Cv, line through the origin"),
    deviation=marked("deviation of Cv from 1, a jet without losses, line through the origin"),
    borrowed=marked("g that comes out, line through the origin"),
    deviation_of_g=marked("its deviation from the accepted g, line through the origin"),
    zero=marked("this line takes the marked zeros for exact"),
)


def line_blocks(tables: tuple[LiveTable, ...], inputs: tuple[Input, ...]) -> tuple[LineBlock, ...]:
    """Give a block for each law that the tables have the columns for.

    Parameters
    ----------
    tables : tuple of LiveTable
        Working and Drain, as far as they are there.
    inputs : tuple of Input
        Named cells that formulas may use.
    """
    named = {each.name: each.value for each in inputs}
    blocks: list[LineBlock] = []
    for law in _LAWS:
        table = next((each for each in tables if each.sheet == law.table), None)
        if table is None:
            continue
        x_key = "hp" if law.x == "h" and "hp" in table.keys else law.x
        if x_key not in table.keys or law.y not in table.keys:
            continue
        x = table.columns[table.keys.index(x_key)].values
        y = table.columns[table.keys.index(law.y)].values
        cells = [*_free(law, table.range(x_key), table.range(law.y), x, y)]
        if law.from_origin:
            cells += _origin(law, table.range(x_key), table.range(law.y), x, y)
        mean_drop: tuple[str, float] | None = None
        # Where each row has its own drop, the mean one belongs to the line.
        own = next((key for key in ("yl", "y0") if key in table.keys), None)
        if own is not None:
            drops = table.columns[table.keys.index(own)].values
            mean_drop = (f"AVERAGE({table.range(own)})", float(np.mean(drops)))
        elif "drop" in named:
            mean_drop = ("drop", named["drop"])
        if cells:
            cells += _meaning(law, {cell.name: cell.value for cell in cells if cell.name}, named, mean_drop)
            x_title = said(law.x_title).replace("h /", "h′ /") if x_key == "hp" else said(law.x_title)
            if "hp" in table.keys and x_key == "rh":
                x_title = law.x_title.replace("√h", "√h′")
            equation, reads = _equation(law, cells)
            blocks.append(
                LineBlock(
                    law.key, said(law.title), law.law, x_title, said(law.y_title), table.range(x_key),
                    table.range(law.y), tuple(cells), equation, reads,
                )
            )  # fmt: skip
    return tuple(blocks)


def values_of_cv(blocks: Sequence[LineBlock], *, free: bool) -> list[float]:
    """Give the values of Cv on the sheet, of lines with a free intercept or through the origin."""
    wanted = said((_BY_FREE_LINE if free else _BY_ORIGIN).cv)
    return [cell.value for block in blocks for cell in block.cells if cell.says == wanted]


def _equation(law: _Law, cells: list[LineCell]) -> tuple[str, str]:
    """Give the parts of a formula that joins the line's equation, and what that reads; "" without one."""
    named = {cell.name: cell.value for cell in cells if cell.name}
    slope, intercept = f"{law.prefix}_slope", f"{law.prefix}_intercept"
    if slope not in named or intercept not in named:
        return "", ""
    parts = [f"ABS({slope})", f"ABS({intercept})", f"RSQ({cells[0].formula.partition('(')[2]}"]
    values = [abs(named[slope]), abs(named[intercept])]
    values.append(next((cell.value for cell in cells if cell.says == "R²"), math.nan))
    if not math.isfinite(values[2]):
        parts, values = parts[:2], values[:2]
    places = [*(_figures(value) for value in values[:2]), 5][: len(parts)]
    y, x = (title.partition(" / ")[0].rsplit(" ", 1)[-1] for title in (law.y_title, law.x_title))
    rounded = [f"ROUND({part},{p})" for part, p in zip(parts, places, strict=True)]
    sign = f'IF({intercept}<0," − "," + ")'
    formula = f'"{y} = ",IF({slope}<0,"−",""),{rounded[0]}," {x}",{sign},{rounded[1]}'
    shown = [numeral(f"{round(value, p):.15g}") for value, p in zip(values, places, strict=True)]
    signs = ["−" if named[slope] < 0 else "", "−" if named[intercept] < 0 else "+"]
    reads = f"{y} = {signs[0]}{shown[0]} {x} {signs[1]} {shown[1]}"
    if len(parts) > 2:
        formula += f',", R² = ",{rounded[2]}'
        reads += f", R² = {shown[2]}"
    return formula, reads


def _figures(value: float, figures: int = 4) -> int:
    """Give the decimal places at which a number has so many figures."""
    if value == 0.0 or not math.isfinite(value):
        return figures
    return max(0, min(9, figures - 1 - math.floor(math.log10(abs(value)))))


def _free(law: _Law, x_range: str, y_range: str, x: FloatArray, y: FloatArray) -> list[LineCell]:
    """Give the line with a free intercept."""
    if x.size < 2 or not np.ptp(x) > 0.0:
        return []
    line = straight_line(x, y, checked=False)
    p = law.prefix
    cells = [
        LineCell(said("slope"), f"SLOPE({y_range},{x_range})", line.slope, law.slope_unit, f"{p}_slope"),
        LineCell(
            said("intercept"),
            f"INTERCEPT({y_range},{x_range})",
            line.intercept,
            law.intercept_unit,
            f"{p}_intercept",
        ),
    ]
    if np.ptp(y) > 0.0:
        cells.append(
            LineCell("R²", f"RSQ({y_range},{x_range})", line.r_squared, "", None, said("1: all on one line"))
        )
    if x.size > 2:
        linest = f"LINEST({y_range},{x_range},TRUE,TRUE)"
        errors = np.sqrt(np.diag(line.covariance))
        cells += [
            LineCell(
                said("standard error of the slope"), f"INDEX({linest},2,1)", float(errors[1]), law.slope_unit,
                None, said("from the scatter alone; errors that all readings share are not in it"),
            ),
            LineCell(
                said("standard error of the intercept"),
                f"INDEX({linest},2,2)", float(errors[0]), law.intercept_unit
            ),
            LineCell(
                said("scatter about the line"), f"INDEX({linest},3,2)", line.residual_sd, law.intercept_unit
            ),
        ]  # fmt: skip
    cells.append(
        LineCell(said("number of points"), f"COUNT({x_range})", float(x.size), "", None, "", is_count=True)
    )
    return cells


def _origin(law: _Law, x_range: str, y_range: str, x: FloatArray, y: FloatArray) -> list[LineCell]:
    """Give the line through the origin."""
    if not np.any(x != 0.0):
        return []
    line = straight_line(x, y, free_intercept=False, checked=False)
    cells = [
        LineCell(
            said("slope through the origin"), f"SUMPRODUCT({x_range},{y_range})/SUMSQ({x_range})", line.slope,
            law.slope_unit, f"{law.prefix}_slope_origin",
        )
    ]  # fmt: skip
    if x.size > 1:
        cells.append(
            LineCell(
                said("its standard error"),
                f"INDEX(LINEST({y_range},{x_range},FALSE,TRUE),2,1)",
                float(np.sqrt(line.covariance[1, 1])),
                law.slope_unit,
            )
        )
    return cells


def _meaning(
    law: _Law, value: dict[str | None, float], named: dict[str, float], drop: tuple[str, float] | None
) -> list[LineCell]:
    """Give what the slope says of the jet."""
    g = named["g_assumed"]
    cells: list[LineCell] = []
    for ending, words in (("", _BY_FREE_LINE), ("_origin", _BY_ORIGIN)):
        name = f"{law.prefix}_slope{ending}"
        slope = value.get(name)
        if slope is None or (law.key != "root_head_time" and slope <= 0.0):
            continue
        if law.key == "speed_root_head":
            cells += [
                LineCell(
                    said(words.cv),
                    f"{name}/SQRT(2*g_assumed)",
                    slope / math.sqrt(2 * g),
                    "",
                    None,
                    said(words.zero),
                ),
                *_borrowed(f"{name}^2/2", slope**2 / 2, words, g),
            ]
        elif law.key == "speed_squared_head":
            cells += [
                LineCell(
                    said(words.cv),
                    f"SQRT({name}/(2*g_assumed))",
                    math.sqrt(slope / (2 * g)),
                    "",
                    None,
                    said(words.zero),
                ),
                *_borrowed(f"{name}/2", slope / 2, words, g),
            ]
        elif law.key == "throw_squared_head" and drop is not None:
            cv = math.sqrt(slope / (4 * drop[1]))
            cells += [
                LineCell(
                    said(words.cv), f"SQRT({name}/(4*{drop[0]}))", cv, "", None,
                    f"{said('lengths only, no g in it')}; {said(words.zero)}",
                ),
                LineCell(
                    said(words.deviation),
                    f"100*(SQRT({name}/(4*{drop[0]}))-1)", 100 * (cv - 1), "%",
                ),
            ]  # fmt: skip
    slope, intercept = value.get(f"{law.prefix}_slope"), value.get(f"{law.prefix}_intercept")
    if slope is None or intercept is None:
        return cells
    if law.key == "throw_squared_head" and slope > 0.0:
        cells.append(
            LineCell(
                said("head's zero lies lower than marked by"), "1000*x2_intercept/x2_slope",
                1000 * intercept / slope, "mm", None,
                said("surface tension in a thin jet makes it negative"),
            )
        )  # fmt: skip
    if law.key == "root_head_time":
        cells += _drain_meaning(slope, intercept, named)
    return cells


def _borrowed(formula: str, value: float, words: _Words, g: float) -> list[LineCell]:
    return [
        LineCell(
            said(words.borrowed), formula, value, "m/s²", None,
            said("is the accepted g times Cv²: the g that was put in comes back, so it holds no news of g"),
        ),
        LineCell(
            said(words.deviation_of_g), f"100*(({formula})/g_assumed-1)",
            100 * (value / g - 1), "%",
        ),
    ]  # fmt: skip


def _drain_meaning(slope: float, intercept: float, named: dict[str, float]) -> list[LineCell]:
    cells = [LineCell(said("k, fall of √head in a second"), "-drain_slope", -slope, "√m/s")]
    if slope < 0.0:
        cells.append(
            LineCell(
                said("time at which √h would reach zero"), "-drain_intercept/drain_slope", -intercept / slope,
                "s", None,
                said("if the law held to the end, which it does not at the lowest heads"),
            )
        )  # fmt: skip
    if "hole_diameter" in named and "container_area" in named:
        d, area, g = named["hole_diameter"], named["container_area"], named["g_assumed"]
        cells.append(
            LineCell(
                "Cd = k A / (a √(g/2))",
                "-drain_slope*container_area/(PI()*hole_diameter^2/4*SQRT(g_assumed/2))",
                -slope * area / (math.pi * d**2 / 4 * math.sqrt(g / 2)), "", None,
                said(
                    "a: area of the hole; holds where the container is equally wide from top to bottom"
                ),
            )
        )  # fmt: skip
    return cells
