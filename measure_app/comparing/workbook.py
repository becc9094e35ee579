"""A comparison as a workbook: values, pools with live weights, holes."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

from analysis import finding_name
from measure_app.comparing.comparison import Comparison
from measure_app.comparing.holes import QUANTITIES, Holes
from measure_app.comparing.pools import Pool
from measure_app.report.workbook import MADE
from measure_app.report.workbook_cells import Variant
from measure_app.report.workbook_looks import LOOKS
from measure_app.report.workbook_writing import Sheets
from measure_app.words import said

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

_NUMBER = "0.000000"


def comparison_xlsx(comparison: Comparison) -> bytes:
    """Return the workbook of a comparison, the same bytes for the same comparison.

    Weighted mean, χ² and Birge ratio are live formulas on the values beside them; text from outside is never
    a formula or a link.
    """
    import xlsxwriter

    out = io.BytesIO()
    no_magic = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, {"in_memory": True, **no_magic}) as book:
        book.set_properties(
            {
                "title": said("Runs compared"),
                "subject": said("Head, throw and clock of a draining container"),
                "created": MADE.replace(tzinfo=None),
                "comments": said("Clepsydra, comparison"),
            }
        )
        looks = {name: book.add_format(look) for name, look in LOOKS.items()}
        sheets = Sheets(book, looks, Variant.COMPLETE)
        _runs(sheets, comparison)
        _pools(sheets, comparison)
        if comparison.holes is not None:
            _holes(sheets, comparison.holes)
        _sources(sheets, comparison)
        sheets.first().activate()
    return out.getvalue()


def _runs(sheets: Sheets, comparison: Comparison) -> None:
    names = list(dict.fromkeys(pool.name for pool in comparison.pools))
    about = said("What each run found, with its standard uncertainty, own and shared sources combined.")
    sheet = sheets.add(said("Runs"), said("Runs compared"), about, (30, 12, *[14] * (2 * len(names))))
    titles = [said("run"), said("hole / mm")]
    for name in names:
        unit = next(pool.unit for pool in comparison.pools if pool.name == name)
        tail = "" if unit == "1" else f" / {unit}"
        titles += [f"{finding_name(name)}{tail}", said("standard u")]
    sheets.header(sheet, 3, titles, {0})
    for row, entry in enumerate(comparison.entries, 4):
        sheets.text(sheet, row, 0, entry.label)
        if entry.diameter_m is not None:
            sheets.number(sheet, row, 1, 1e3 * entry.diameter_m, "0.00")
        for j, name in enumerate(names):
            finding = entry.findings.get(name)
            if finding is not None:
                sheets.number(sheet, row, 2 + 2 * j, finding.value, _NUMBER)
                sheets.number(sheet, row, 3 + 2 * j, finding.u, _NUMBER)
    row = 5 + len(comparison.entries)
    for words in comparison.remarks:
        sheets.text(sheet, row, 0, words, "quiet")
        row += 1


def _pools(sheets: Sheets, comparison: Comparison) -> None:
    about = said(
        "Weights are 1/(u² + τ²) of each run's own errors; what runs share is added to the "
        "mean whole. τ, boxed, is the standard deviation between runs that the stated errors "
        "leave unexplained: change it and the mean follows."
    )
    sheet = sheets.add(said("Pooled"), said("Runs pooled"), about, (34, 16, 16, 16, 16, 16, 18))
    row = 3
    for pool in comparison.pools:
        row = _pool(sheets, sheet, pool, row) + 1


def _pool(sheets: Sheets, sheet: Worksheet, pool: Pool, row: int) -> int:
    """Write one pool from a row on, with live formulas; give the row after it."""
    found = pool.found
    n = len(found.values)
    group = "" if pool.group == "all runs" else f", {pool.group}"
    unit = "" if pool.unit == "1" else f" / {pool.unit}"
    sheets.text(sheet, row, 0, f"{finding_name(pool.name)}, {pool.symbol}{unit}{group}", "strong")
    titles = (
        said("run"),
        said("value"),
        said("u, own errors"),
        said("u, shared"),
        said("weight"),
        said("(value − mean)²/u²"),
        said("off the others / u"),
    )
    sheets.header(sheet, row + 1, titles, {0})
    first = row + 2
    last = first + n - 1
    top, end = first + 1, last + 1
    tau = f"$B${end + 3}"
    plain_mean = f"SUMPRODUCT(B{top}:B{end}/C{top}:C{end}^2)/SUMPRODUCT(1/C{top}:C{end}^2)"
    plain = _plain_mean(pool)
    for i, (each, weight, off) in enumerate(
        zip(found.values, found.weights.tolist(), found.deviations.tolist(), strict=True)
    ):
        at = first + i
        sheets.text(sheet, at, 0, each.label)
        sheets.number(sheet, at, 1, each.value, _NUMBER)
        sheets.number(sheet, at, 2, each.independent_u, _NUMBER)
        sheets.number(sheet, at, 3, math.hypot(*each.common.values()), _NUMBER)
        live = f"=1/(C{at + 1}^2+{tau}^2)/SUMPRODUCT(1/(C{top}:C{end}^2+{tau}^2))"
        sheet.write_formula(at, 4, live, sheets.look("0.0000"), weight)
        share = (each.value - plain) ** 2 / each.independent_u**2
        sheet.write_formula(at, 5, f"=(B{at + 1}-{plain_mean})^2/C{at + 1}^2", sheets.look("0.000"), share)
        sheets.number(sheet, at, 6, off, "0.00")
    shared_u = math.hypot(*found.mean.shared.values())
    for words, formula, value, note in (
        (
            said("weighted mean"),
            f"=SUMPRODUCT(B{top}:B{end},E{top}:E{end})",
            found.mean.value,
            "",
        ),
        (
            said("its u, own errors and between runs"),
            f"=1/SQRT(SUMPRODUCT(1/(C{top}:C{end}^2+{tau}^2)))",
            found.mean.u_own,
            "",
        ),
        (said("τ, between runs"), "", found.between, said("Mandel and Paule")),
        (said("its u, shared by the runs"), "", shared_u, said("does not shrink with more runs")),
        (
            said("standard u of the mean"),
            f"=SQRT(B{end + 2}^2+B{end + 4}^2)",
            found.mean.u,
            "",
        ),
        (
            "χ²",
            f"=SUM(F{top}:F{end})",
            found.chi_squared,
            said("{dof} degrees of freedom", dof=found.dof),
        ),
        (
            said("Birge ratio"),
            f"=SQRT(B{end + 6}/{max(1, found.dof)})",
            found.birge,
            "",
        ),
        (
            said("chance of such a χ²"),
            f"=CHIDIST(B{end + 6},{max(1, found.dof)})",
            found.chance,
            said("runs agree") if found.consistent else said("runs do not agree"),
        ),
    ):
        last += 1
        sheets.text(sheet, last, 0, words)
        if formula:
            sheet.write_formula(last, 1, formula, sheets.look(_NUMBER), value)
        else:
            sheets.number(sheet, last, 1, value, f"box {_NUMBER}")
        sheets.text(sheet, last, 2, note, "quiet")
    for words in pool.remarks:
        last += 1
        sheets.text(sheet, last, 0, words, "quiet")
    return last + 1


def _plain_mean(pool: Pool) -> float:
    """Mean weighted with the stated errors alone, about which χ² is taken."""
    weights = [1.0 / each.independent_u**2 for each in pool.found.values]
    values = [each.value for each in pool.found.values]
    return sum(w * x for w, x in zip(weights, values, strict=True)) / sum(weights)


def _holes(sheets: Sheets, holes: Holes) -> None:
    about = said("Coefficients and offset of the head's zero by hole.")
    sheet = sheets.add(said("Holes"), said("Holes of different sizes"), about, (14, *[16] * 6, 18, 18))
    titles = [said("hole / mm")]
    for name in QUANTITIES:
        tail = " / m" if name.endswith("_m") else ""
        titles += [f"{finding_name(name)}{tail}", said("standard u")]
    titles += [said("−h_c / m, whole jet"), said("−h_c / m, drops")]
    sheets.header(sheet, 3, titles)
    for row, each in enumerate(holes.holes, 4):
        sheets.number(sheet, row, 0, 1e3 * each.diameter_m, "0.00")
        for j, name in enumerate(QUANTITIES):
            value, u = each.values[name]
            sheets.number(sheet, row, 1 + 2 * j, value, _NUMBER)
            sheets.number(sheet, row, 2 + 2 * j, u, _NUMBER)
        for j, predicted in enumerate(holes.predicted_m2):
            sheets.number(sheet, row, 7 + j, predicted / each.diameter_m, _NUMBER)
    row = 5 + len(holes.holes)
    for words in holes.says:
        sheets.text(sheet, row, 0, words, "quiet")
        row += 1


def _sources(sheets: Sheets, comparison: Comparison) -> None:
    about = said("Sources of error that more than one run names, and whether they were taken as common.")
    sheet = sheets.add(said("Sources"), said("What runs share"), about, (60, 14, 60))
    sheets.header(sheet, 3, ("source", "common", "why"), {0, 1, 2})
    for row, each in enumerate(comparison.commons, 4):
        sheets.text(sheet, row, 0, each.source)
        sheets.text(sheet, row, 1, "yes" if each.common else "no")
        sheets.text(sheet, row, 2, each.why)
