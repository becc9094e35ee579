"""The workbook: readings, the working in live formulas, native charts, and the program's own findings."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from analysis import with_uncertainty
from measure_app.report.results import Results
from measure_app.report.row_words import row_title
from measure_app.report.which_cv import RESULT
from measure_app.report.workbook_cells import (
    FIRST_ROW,
    LineBlock,
    LiveTable,
    Plan,
    Variant,
    in_formula,
    tab,
)
from measure_app.report.workbook_looks import LOOKS
from measure_app.report.workbook_plan import MOST_LIVE_ROWS, MOST_ROWS_TO_FILL_IN, plan_of
from measure_app.report.workbook_words import write_answers, write_findings, write_how
from measure_app.report.workbook_writing import Sheets
from measure_app.words import said

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

NAMES = {
    Variant.COMPLETE: "workbook.xlsx",
    Variant.TO_FILL_IN: "workbook-to-fill-in.xlsx",
    Variant.ANSWERS: "workbook-answers.xlsx",
}
"""File of each variant."""
MADE = datetime(2000, 1, 1, tzinfo=UTC)
"""Date written into every workbook, so that the same result gives the same bytes."""


def workbook_xlsx(results: Results, variant: Variant = Variant.COMPLETE) -> bytes:
    """Return a workbook (ISO/IEC 29500) of a result.

    Parameters
    ----------
    results : Results
        What was found.
    variant : Variant
        Complete; to be filled in by a student; or the answers to that one.

    Returns
    -------
    bytes
        The file, the same bytes for the same result. Every formula carries its value, so that a reader that
        does not calculate shows it too. Text from outside is never a formula or a link.
    """
    import xlsxwriter

    plan = plan_of(results, MOST_LIVE_ROWS if variant is Variant.COMPLETE else MOST_ROWS_TO_FILL_IN)
    out = io.BytesIO()
    no_magic = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, {"in_memory": True, **no_magic}) as book:
        book.set_properties(
            {
                "title": results.title or said("Draining container"),
                "subject": said("Head, throw and clock of a draining container"),
                "created": MADE.replace(tzinfo=None),
                "comments": f"Clepsydra, {said(variant.value)}",
            }
        )
        sheets = Sheets(book, {name: book.add_format(look) for name, look in LOOKS.items()}, variant)
        if variant is Variant.ANSWERS:
            write_answers(sheets, plan)
        _inputs(sheets, plan, results)
        _readings(sheets, plan, results)
        for table in plan.tables:
            _table(sheets, table)
        if plan.blocks:
            _lines(sheets, plan, results)
            _charts(sheets, plan)
        if variant is Variant.COMPLETE:
            write_findings(sheets, results)
        write_how(sheets, plan, results)
        sheets.first().activate()
    return out.getvalue()


def _inputs(sheets: Sheets, plan: Plan, results: Results) -> None:
    """Write the one place for values that formulas refer to by name."""
    about = said(
        "Change a boxed value and everything follows. Formulas call these cells by the names in column E."
    )
    title = results.title or said("Draining container")
    sheet = sheets.add(tab("Inputs"), title, about, (52, 15, 9, 14, 21, 76))
    titles = (
        said("quantity"),
        said("value"),
        said("unit"),
        said("standard u"),
        said("name in formulas"),
        said("note"),
    )
    sheets.header(sheet, 3, titles, {0, 2, 4, 5})
    for row, each in enumerate(plan.inputs, 4):
        sheets.text(sheet, row, 0, each.says)
        if each.formula is None:
            sheets.number(sheet, row, 1, each.value, "input")
        else:
            sheet.write_formula(row, 1, f"={each.formula}", sheets.look("0.00000"), each.value)
        sheets.text(sheet, row, 2, each.unit)
        if each.u is not None:
            sheets.number(sheet, row, 3, each.u, "0.000000")
        sheets.text(sheet, row, 4, each.name, "mono")
        sheets.text(sheet, row, 5, each.note, "quiet")
        sheets.book.define_name(each.name, f"={in_formula('Inputs')}!$B${row + 1}")
    row = 5 + len(plan.inputs)
    if plan.thinned:
        sheets.text(sheet, row, 0, plan.thinned)
        row += 1
    if not plan.tables:
        sheets.text(
            sheet, row, 0, said("The readings do not hold what the working needs; see the sheet How.")
        )
    sheet.print_area(0, 0, row, 5)


def _readings(sheets: Sheets, plan: Plan, results: Results) -> None:
    """Write the readings as they were taken, in centimetres and seconds."""
    about = said("As read. kept: whether the reading took part; if not, the reason stands beside it.")
    titles = [
        row_title(results.each_row_is),
        said("time t / s"),
        said("head h / cm"),
        "u(h) / cm",
        said("throw x / cm"),
        "u(x) / cm",
        said("kept"),
        said("reason"),
    ]
    widths = [8, 11, 12, 11, 13, 11, 7, 60]
    if plan.drop_varies:
        titles.append(said("drop y₀ / cm"))
        widths.append(13)
    sheet = sheets.add(tab("Readings"), said("Readings"), about, widths)
    sheets.header(sheet, FIRST_ROW - 2, titles, {6, 7})
    drops = dict(zip(results.numbers, _drops(results), strict=True)) if plan.drop_varies else {}
    for line, i in enumerate(plan.shown, FIRST_ROW - 1):
        row = results.rows[i]
        sheets.number(sheet, line, 0, row.frame, "0")
        for column, value, scale, look in (
            (1, row.time_s, 1.0, "box 0.000"),
            (2, row.head_m, 100.0, "box 0.00"),
            (3, row.head_u_m, 100.0, "0.000"),
            (4, row.throw_m, 100.0, "box 0.00"),
            (5, row.throw_u_m, 100.0, "0.000"),
            (8, drops.get(row.frame), 100.0, "box 0.00"),
        ):
            if value is not None:
                sheets.number(sheet, line, column, scale * value, look)
        sheets.text(sheet, line, 6, said("yes") if row.kept else said("no"))
        if row.reason:
            sheets.text(sheet, line, 7, said(row.reason), "quiet")
    _as_table(sheet, len(plan.shown), len(titles))


def _drops(results: Results) -> list[float]:
    drop = results.series.drop
    return [] if drop is None else [float(value) for value in drop.values]


_WAITING = {"hp": ("yl", "h"), "yl": ("x",)}
"""Columns that are given to the student, and the columns that they are calculated from."""


def _table(sheets: Sheets, table: LiveTable) -> None:
    """Write the working, one live formula for each row and column."""
    says = table.says
    if sheets.variant is Variant.TO_FILL_IN:
        says = said(
            "The readings are fetched for you. Write one formula at the top of each dotted column, with its "
            "equals sign, and fill it down."
        )
    titles = [column.title for column in table.columns]
    sheet = sheets.add(tab(table.sheet), table.title, says, [max(12, len(title) + 2) for title in titles])
    sheets.header(sheet, FIRST_ROW - 2, titles)
    for c, column in enumerate(table.columns):
        for i, value in enumerate(column.values.tolist()):
            line = FIRST_ROW - 1 + i
            formula = table.formula(column, i)
            if not formula:
                sheets.number(sheet, line, c, value, column.shows)
            elif sheets.variant is not Variant.TO_FILL_IN:
                sheet.write_formula(line, c, f"={formula}", sheets.look(column.shows), value)
            elif column.asked:
                sheet.write_blank(line, c, None, sheets.look(f"ask {column.shows}"))
            elif column.key in _WAITING:
                # Given, but it waits for what the student is to find.
                for key in (key for key in _WAITING[column.key] if key in table.keys):
                    formula = f'IF(ISNUMBER({table.cell(key, i)}),{formula},"")'
                sheet.write_formula(line, c, f"={formula}", sheets.look(column.shows), "")
            else:
                sheet.write_formula(line, c, f"={formula}", sheets.look(column.shows), value)
    _as_table(sheet, len(table.at), len(titles))


def _as_table(sheet: Worksheet, rows: int, columns: int) -> None:
    """Keep the header in sight and on every printed page."""
    sheet.freeze_panes(FIRST_ROW - 1, 1)
    sheet.repeat_rows(FIRST_ROW - 2)
    if rows:
        sheet.autofilter(FIRST_ROW - 2, 0, FIRST_ROW - 2 + rows, columns - 1)


def _lines(sheets: Sheets, plan: Plan, results: Results) -> None:
    """Write slope, intercept and what they say, law by law."""
    about = said(
        "By the sheet's own functions: plain least squares, x exact, every point of the same weight."
    )
    if sheets.variant is Variant.COMPLETE and (cv := results.findings.finding(RESULT)) is not None:
        about += " " + said(
            "None of these Cv is the result: that is Cv = {result}, on the sheet Findings; the sheet How "
            "says why they differ.",
            result=with_uncertainty(cv.value, cv.u),
        )
    says = [len(cell.says) for block in plan.blocks for cell in block.cells]
    sheet = sheets.add(tab("Lines"), said("Straight lines"), about, (max(52, *says) + 2, 16, 10, 17, 84))
    line = 3
    for block in plan.blocks:
        titles = (block.title, said("value"), said("unit"), said("name in formulas"), block.law)
        sheets.header(sheet, line, titles, {0, 2, 3, 4})
        if block.equation and sheets.variant is not Variant.TO_FILL_IN:
            # Beside the slope, where no note stands; the charts take their titles from here.
            formula = f'=CONCATENATE("{block.title}: ",{block.equation})'
            sheet.write_formula(line + 1, 4, formula, sheets.look("quiet"), f"{block.title}: {block.reads}")
            sheets.titles[block.key] = f"={in_formula('Lines')}!$E${line + 2}"
        for cell in block.cells:
            line += 1
            sheets.text(sheet, line, 0, cell.says)
            if sheets.variant is Variant.TO_FILL_IN:
                sheet.write_blank(line, 1, None, sheets.look("ask 0.00000"))
            else:
                sheet.write_formula(line, 1, f"={cell.formula}", sheets.look(cell.shows), cell.value)
            sheets.text(sheet, line, 2, cell.unit)
            if cell.name is not None:
                sheets.text(sheet, line, 3, cell.name, "mono")
                sheets.book.define_name(cell.name, f"={in_formula('Lines')}!$B${line + 1}")
            if sheets.variant is not Variant.TO_FILL_IN or not cell.formula.startswith(("SQRT", "100*")):
                sheets.text(sheet, line, 4, cell.note, "quiet")
        line += 2
    if sheets.variant is not Variant.TO_FILL_IN:
        _agreement(sheets, sheet, line, plan)


def _agreement(sheets: Sheets, sheet: Worksheet, line: int, plan: Plan) -> None:
    """Write by how much the two linearisations differ."""
    named = {cell.name: cell.value for block in plan.blocks for cell in block.cells if cell.name}
    root, squared = named.get("v_slope"), named.get("v2_slope")
    if root is None or squared is None or not (root > 0 and squared > 0):
        return
    titles = (said("Do the two linearisations agree?"), said("value"), said("unit"), "", "")
    sheets.header(sheet, line, titles, {0, 2, 3, 4})
    sheets.text(sheet, line + 1, 0, said("Cv of v against √h, over Cv of v² against h, less 1"))
    formula = "=100*(v_slope/SQRT(v2_slope)-1)"
    sheet.write_formula(line + 1, 1, formula, sheets.look("0.00"), 100 * (root / squared**0.5 - 1))
    sheets.text(sheet, line + 1, 2, "%")
    note = said("small if the law holds; a wrong zero of head or throw pulls them apart")
    sheets.text(sheet, line + 1, 4, note, "quiet")


def _charts(sheets: Sheets, plan: Plan) -> None:
    """Write one native chart for each law, and one of what the first line leaves over."""
    about = said("They follow the sheets Working and Drain.")
    sheet = sheets.add(tab("Charts"), said("Charts"), about, (9,) * 24)
    places = iter([(3, 0), (3, 10), (25, 0), (25, 10), (47, 0), (47, 10)])
    for block in plan.blocks:
        _put(sheets, sheet, next(places), block)
    working = next((table for table in plan.tables if table.sheet == "Working"), None)
    if working is not None and "res" in working.keys:
        first = plan.blocks[0]
        title, y_title = said("What the line of speed leaves over"), said("v less its line / (m/s)")
        x, y = working.range("rh"), working.range("res")
        rest = LineBlock("", title, "", first.x_title, y_title, x, y, ())
        _put(sheets, sheet, next(places), rest, trend=False)
    sheet.fit_to_pages(1, 1)


def _put(
    sheets: Sheets, sheet: Worksheet, place: tuple[int, int], block: LineBlock, *, trend: bool = True
) -> None:
    chart = sheets.book.add_chart({"type": "scatter"})
    series: dict[str, Any] = {
        "name": said("readings"),
        "categories": f"={block.x}",
        "values": f"={block.y}",
        "marker": {
            "type": "circle",
            "size": 4,
            "fill": {"color": "#0072B2"},
            "border": {"color": "#0072B2"},
        },
    }
    if trend:
        series["trendline"] = {
            "type": "linear",
            "name": said("straight line, plain least squares"),
            # Its own equation would show every digit that a spreadsheet has; the title carries ours.
            "line": {"color": "#D55E00", "width": 1.75},
        }
    chart.add_series(series)
    name = sheets.titles.get(block.key, block.title)
    chart.set_title({"name": name, "name_font": {"size": 11}, "overlay": False})
    grid = {"visible": True, "line": {"color": "#DFE3E8", "width": 0.75}}
    axis = {"name_font": {"size": 10, "bold": False}, "major_gridlines": grid, "label_position": "low"}
    chart.set_x_axis({"name": block.x_title, **axis})
    chart.set_y_axis({"name": block.y_title, **axis})
    chart.set_legend({"none": True})
    chart.set_size({"width": 620, "height": 420})
    drawn = said("points and their straight line with its equation") if trend else said("points about zero")
    alt = said(
        "Scatter chart, {title}: {y} upward over {x}; {drawn}.",
        title=block.title,
        y=block.y_title,
        x=block.x_title,
        drawn=drawn,
    )
    sheet.insert_chart(*place, chart, {"description": alt, "object_position": 2})
