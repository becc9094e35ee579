"""The sheets of a workbook that are read rather than calculated: findings, how they were got, answers."""

from __future__ import annotations

from analysis import Finding, finding_name, plain, with_uncertainty
from measure_app.report.cautions import cautions
from measure_app.report.news import ROUTES, news_of
from measure_app.report.results import Results
from measure_app.report.row_words import row_title
from measure_app.report.which_cv import RESULT, about_results, row_name
from measure_app.report.workbook_cells import FIRST_ROW, Plan, tab
from measure_app.report.workbook_lines import values_of_cv
from measure_app.report.workbook_writing import Sheets
from measure_app.words import numeral, said, source_words


def write_findings(sheets: Sheets, results: Results) -> None:
    """Write the program's own values: they allow for errors in both variables and for shared ones."""
    about = said(
        "The program's own values. u: standard uncertainty (JCGM 100), own and shared sources combined."
    )
    sheet = sheets.add(tab("Findings"), said("Findings"), about, (30, 10, 14, 13, 14, 14, 9, 12, 62, 62))
    titles = (
        said("finding"),
        said("symbol"),
        said("value"),
        "u",
        said("95 % from"),
        said("95 % to"),
        said("unit"),
        said("rests on accepted g"),
        said("method"),
        said("remarks"),
    )
    sheets.header(sheet, 3, titles, {0, 1, 6, 7, 8, 9})
    row = 4
    for finding in results.findings.findings:
        name = row_name(finding, results.findings)
        sheets.text(sheet, row, 0, name, "strong" if finding.name == RESULT else "wrapped")
        sheets.text(sheet, row, 1, finding.symbol)
        for column, value in enumerate((finding.value, finding.u, *finding.interval_95), 2):
            sheets.number(sheet, row, column, value, _shows(finding.u))
        sheets.text(sheet, row, 6, finding.unit.replace("m^0.5", "√m"))
        sheets.text(sheet, row, 7, said("yes") if finding.depends_on_assumed_g else said("no"))
        method = said(finding.method)
        sheets.text(sheet, row, 8, method, "wrapped")
        remarks = "; ".join(said(each) for each in finding.remarks)
        sheets.text(sheet, row, 9, remarks, "wrapped")
        sheets.tall(sheet, row, (method, 62), (remarks, 62))
        row += 1
    if about_cv := about_results(results.findings):
        sheets.text(sheet, row, 0, about_cv)
        row += 1
    row = _corrections(sheets, results, row + 1)
    if results.findings.undetermined:
        sheets.header(sheet, row, (said("not determined"), said("for want of")), {0, 1})
        for item in results.findings.undetermined:
            row += 1
            sheets.text(sheet, row, 0, finding_name(item.name))
            sheets.text(sheet, row, 1, said(item.missing))
        row += 2
    if results.remarks:
        about_run = (said("remarks on the run"), row_title(results.each_row_is), said("what is to be said"))
        sheets.header(sheet, row, about_run, {0, 1, 2})
        for remark in results.remarks:
            row += 1
            sheets.text(sheet, row, 0, said(remark.about), "wrapped")
            if remark.frames is not None:
                sheets.text(sheet, row, 1, f"{remark.frames[0]}–{remark.frames[1]}")
            sheets.text(sheet, row, 2, said(remark.says))
        row += 2
    _budgets(sheets, results, row)
    sheet.freeze_panes(4, 1)


def _corrections(sheets: Sheets, results: Results, row: int) -> int:
    """Write every correction of the law with its size in this run; give the row after them."""
    sheet = sheets.book.get_worksheet_by_name(tab("Findings"))
    changes = (said("change of Cv"), said("of mean Cv"), said("of Cd"), said("of head"), "m")
    titles = (
        said("correction"),
        said("applied"),
        *changes,
        "",
        said("what happens"),
        said("for want of, or what is to be said"),
    )
    sheets.header(sheet, row, titles, {0, 1, 6, 8, 9})
    for size in results.findings.corrections:
        row += 1
        sheets.text(sheet, row, 0, finding_name(size.name))
        sheets.text(sheet, row, 1, said("yes") if size.applied else said("no"))
        for column, what in enumerate(("Cv", "mean Cv", "Cd", "head"), 2):
            change = size.change_of(what)
            if change is not None:
                small = 0.0 < abs(change) < _SMALL
                sheets.number(sheet, row, column, change, "0.000E+00" if small else "0.0000")
        says, missing = said(size.says), said(size.missing or size.note)
        sheets.text(sheet, row, 8, says, "wrapped")
        sheets.text(sheet, row, 9, missing, "wrapped")
        sheets.tall(sheet, row, (says, 62), (missing, 62))
    return row + 2


def _budgets(sheets: Sheets, results: Results, row: int) -> None:
    """Write what each uncertainty is made of, source by source."""
    sheet = sheets.book.get_worksheet_by_name(tab("Findings"))
    titles = (
        said("budget of"),
        said("symbol"),
        said("u of source"),
        said("share of u²"),
        said("shared by all"),
        "",
        said("unit"),
        "",
        said("source"),
    )
    sheets.header(sheet, row, titles, {0, 1, 4, 6, 8})
    for finding in results.findings.findings:
        total = sum(share.u**2 for share in finding.budget)
        for share in finding.budget:
            if not share.u > 0.03 * finding.u:  # less than a thousandth of the variance
                continue
            row += 1
            sheets.text(sheet, row, 0, finding_name(finding.name))
            sheets.text(sheet, row, 1, finding.symbol)
            sheets.number(sheet, row, 2, share.u, "0.000E+00")
            sheets.number(sheet, row, 3, share.u**2 / total, "0.0000")
            sheets.text(sheet, row, 4, said("yes") if share.shared else said("no"))
            sheets.text(sheet, row, 6, finding.unit.replace("m^0.5", "√m"))
            sheets.text(sheet, row, 8, source_words(share.source))


_SMALL = 1e-3
"""Below it a change is written with a power of ten."""


def _shows(u: float) -> str:
    """Choose the number format that ends at the second figure of the uncertainty."""
    if not u > 0.0:
        return "0.0000"
    for places in range(7):
        if u * 10**places >= 9.95:
            return f"0.{'0' * places}" if places else "0"
    return "0.000E+00"


def write_how(sheets: Sheets, plan: Plan, results: Results) -> None:
    """Write how the values were got, what the formulas do, and cautions."""
    sheet = sheets.add(tab("How"), said("How it was got"), "", (30, 120))
    row = 2
    for about, words in _explanations(plan, results):
        sheets.text(sheet, row, 0, about, "strong")
        sheets.text(sheet, row, 1, words, "wrapped")
        sheets.tall(sheet, row, (words, 120))
        row += 1
    sheets.header(sheet, row + 1, (said("cautions"), ""), {0, 1})
    for i, words in enumerate(cautions(), row + 2):
        sheets.text(sheet, i, 1, words, "wrapped")


def _explanations(plan: Plan, results: Results) -> list[tuple[str, str]]:
    g = results.findings.accepted_gravity
    names = {each.name for each in plan.inputs}
    told = [
        (
            said("The sheets"),
            said(
                "Inputs holds the values that formulas call by name. Readings is what was read. Working and "
                "Drain turn readings into what the laws are about, one formula for each column. Lines fits "
                "straight lines and says what their slopes mean. Charts shows them."
            )
            + (f" {plan.thinned}" if plan.thinned else ""),
        ),
        (
            said("To add readings"),
            said(
                "Write them below the last row of Readings, fill the last row of Working (or Drain) down, "
                "and move the end of the ranges on Lines and in the charts to the new last row."
            ),
        ),
        (
            said("Speed from throw and drop"),
            said(
                "Water that leaves level falls through the drop y₀ in T = √(2 y₀/g) and travels the throw x "
                "in that time, so v = x/T = x √(g/(2 y₀))."
            ),
        ),
        (
            said("Borrowed g"),
            said(
                "The accepted g, {g:.5g} m/s² ({source}), turned throws into speeds. The g that a slope of "
                "speed returns is that same g times Cv²: it tests the law and gives Cv, but it holds no news "
                "of g. The line of x² against h gives Cv from lengths alone.",
                g=g.value,
                source=said(g.source),
            ),
        ),
    ]
    told += [(said("A g that is news"), words) for words in news_of(results)]
    if "launch_angle" in names:
        words = said(
            "A jet that leaves at an angle θ above the horizontal falls through y₀ + x tanθ while it covers "
            "x. It is thrown as far as a level jet of the same speed with the drop y₀ cos²θ + x sinθ cosθ, "
            "and that drop stands in the formulas. Put 0 into launch_angle to do without."
        )
        told.append((said("The jet's angle"), words))
    if any(not column.formula for table in plan.tables for column in table.columns):
        words = said(
            "Columns named correction hold numbers from the program: what it added to head, throw or drop as "
            "read. Put 0 into them to do without. What each is for stands under Findings."
        )
        told.append((said("Corrections"), words))
    if "k_drain" in names:
        told.append(
            (
                said("Head at launch, h′"),
                said(
                    "The water that lands now left the hole one flight time T ago, when the level was "
                    "higher. While √h falls evenly, √h = root_h0 − k_drain · (t − t_start), the head has "
                    "fallen since by 2 √h k T + (k T)². That fall is added to the head as read. Put 0 into "
                    "k_drain to do without."
                ),
            )
        )
    told += [
        (
            said("Lines and Findings"),
            _lines_and_findings(plan, results),
        ),
        (
            said("The two linearisations"),
            said(
                "v against √h and v² against h are the same law. A wrong zero of the head bends the first "
                "and shifts the second; if their Cv differ by more than the uncertainties, look for a wrong "
                "zero."
            ),
        ),
    ]
    told += [(finding_name(each.name), _method(each)) for each in results.findings.findings if _is_told(each)]
    return told


def _lines_and_findings(plan: Plan, results: Results) -> str:
    """Say why the sheets Lines and Findings give different values, with those of this run."""
    words = said(
        "Lines are plain least squares: x exact, all points of the same weight, standard errors from the"
        " scatter, and each line with a free intercept takes its zero from the readings alone. The "
        "program's own findings allow for errors in both variables, and for those that all readings "
        "share (drop, rules, zeros), which no number of readings shrinks; they let no zero, nor the "
        "jet's angle, stray farther than was stated or traced. Corrections of head, throw and drop stand"
        " in Working and are the same for both; that of the surface's speed is in the findings alone."
    )
    result, slope = (results.findings.finding(n) for n in (RESULT, "slope_throw_squared_vs_head"))
    values = {free: values_of_cv(plan.blocks, free=free) for free in (True, False)}
    if result is None or slope is None or not slope.value > 0.0 or not values[True]:
        return words
    words += " " + said(
        "Here lines with a free intercept give Cv {free}, which such a line knows to about ± {u}; the result "
        "is Cv = {result}, of all readings at once.",
        free=_span(values[True]),
        u=plain(0.5 * result.value * slope.u / slope.value, 2),
        result=with_uncertainty(result.value, result.u),
    )
    if values[False]:
        words += " " + said(
            "Lines through the origin, which take the marked zeros for exact, give {held}.",
            held=_span(values[False]),
        )
    return words


def _span(values: list[float]) -> str:
    low, high = numeral(f"{min(values):.4f}"), numeral(f"{max(values):.4f}")
    return low if low == high else said("{low} to {high}", low=low, high=high)


_TOLD = frozenset({"speed_coefficient", "discharge_coefficient", "time_to_empty_s", *ROUTES})


def _is_told(finding: Finding) -> bool:
    """Whether the method of a finding is told on the sheet How: those that no line on Lines repeats."""
    return finding.name in _TOLD


def _method(finding: Finding) -> str:
    method = said(finding.method)
    # A symbol stays as it is: k and K are two things.
    word = method.split(" ", 1)[0].split("-", 1)[0]
    return f"{method[:1].upper()}{method[1:]}." if len(word) > 1 and word.isalpha() else f"{method}."


def write_answers(sheets: Sheets, plan: Plan) -> None:
    """Write what is to be expected in every cell that the student fills in."""
    about = said("For the teacher: the workbook to be filled in, with the formulas in their places.")
    last = said("value in the last row")
    widths = (11, 10, 44, 66, 15, 9, max(15, len(last) + 2))
    sheet = sheets.add(tab("Answers"), said("Answers"), about, widths)
    titles = (
        said("sheet"),
        said("cell"),
        said("quantity"),
        said("formula, one of several that are right"),
        said("value"),
        said("unit"),
        last,
    )
    sheets.header(sheet, 3, titles, {0, 1, 2, 3, 5})
    row = 4
    for table in plan.tables:
        for column in table.columns:
            if not column.asked:
                continue
            title, _, unit = column.title.partition(" / ")
            sheets.text(sheet, row, 0, tab(table.sheet))
            sheets.text(sheet, row, 1, table.cell(column.key, 0))
            formula = f"={table.formula(column, 0)}"
            words = said("{title}, fill down to row {last}", title=title, last=table.last_row)
            sheets.text(sheet, row, 2, words, "wrapped")
            sheets.text(sheet, row, 3, formula, "formula")
            sheets.tall(sheet, row, (words, 44), (formula, 58))
            sheets.number(sheet, row, 4, float(column.values[0]), column.shows)
            sheets.text(sheet, row, 5, unit)
            sheets.number(sheet, row, 6, float(column.values[-1]), column.shows)
            row += 1
    line = 3
    for block in plan.blocks:
        for cell in block.cells:
            line += 1
            sheets.text(sheet, row, 0, tab("Lines"))
            sheets.text(sheet, row, 1, f"B{line + 1}")
            sheets.text(sheet, row, 2, f"{block.title}: {cell.says}", "wrapped")
            sheets.text(sheet, row, 3, f"={cell.formula}", "formula")
            sheets.tall(sheet, row, (f"{block.title}: {cell.says}", 44), (f"={cell.formula}", 58))
            sheets.number(sheet, row, 4, cell.value, cell.shows)
            sheets.text(sheet, row, 5, cell.unit)
            row += 1
        line += 2
    sheets.text(sheet, row + 1, 0, said("First row of the working: row {row}.", row=FIRST_ROW), "quiet")
