"""Of several values of Cv one is the result, and every place says so."""

import io
from dataclasses import replace

import openpyxl

from measure_app.report.algebra import algebra_of
from measure_app.report.content import content_of
from measure_app.report.summary import summary
from measure_app.report.which_cv import about_results
from measure_app.report.workbook import Variant, workbook_xlsx


def test_the_result_is_marked_and_the_others_are_told_from_it(table_results):
    result = table_results.findings.finding("speed_coefficient")
    content = content_of(table_results)
    marked = [row[0] for row in content.findings.rows if "the result" in row[0]]
    assert marked == ["speed coefficient: the result"]
    assert f"the result is {result.value:.4f}" in content.findings.note
    assert "jet's curve" not in content.findings.note  # no jet was traced
    assert "speed coefficient: the result" in summary(table_results, "", [])
    slopes = [step.says for step in algebra_of(table_results) if step.says.startswith("From the slope")]
    assert len(slopes) == 2
    assert all("Not the result" in says and f"Cv = {result.value:.4f}" in says for says in slopes)
    alone = replace(table_results.findings, findings=(result,))
    assert about_results(alone) == ""


def test_the_workbook_says_why_lines_and_findings_differ_with_their_values(table_results):
    book = openpyxl.load_workbook(io.BytesIO(workbook_xlsx(table_results)), data_only=True)
    result = table_results.findings.finding("speed_coefficient")
    told = {about: words for about, words, *_ in book["How"].iter_rows(values_only=True) if about}
    free = [row[1] for row in book["Lines"].iter_rows(values_only=True) if row[0] == "Cv"]
    words = told["Lines and Findings"]
    assert f"give Cv {min(free):.4f} to {max(free):.4f}" in words
    assert f"the result is Cv = {result.value:.4f}" in words
    assert "should agree" not in words
    assert f"that is Cv = {result.value:.4f}" in book["Lines"]["A2"].value
    asked = openpyxl.load_workbook(io.BytesIO(workbook_xlsx(table_results, Variant.TO_FILL_IN)))
    assert f"{result.value:.4f}" not in asked["Lines"]["A2"].value


def test_captions_say_which_error_they_give_and_give_both(table_results):
    slope = table_results.findings.finding("slope_throw_squared_vs_head")
    first = content_of(table_results).graphs[0].caption
    assert "±: the readings' own scatter; with all sources dx²/dh = " in first
    assert f"± {slope.u:.2g}"[:6] in first


def test_what_is_off_and_what_is_worth_knowing_stand_apart(table_results):
    content = content_of(table_results)
    assert table_results.findings.diagnosis is None
    assert content.doubts == ()
    assert len(content.remarks) == len(table_results.remarks) > 0


def test_a_sentence_that_begins_with_a_symbol_keeps_it(bench_outcome):
    from measure_app.report import results_of

    book = openpyxl.load_workbook(io.BytesIO(workbook_xlsx(results_of(bench_outcome))))
    told = {about: words for about, words, *_ in book["How"].iter_rows(values_only=True) if about}
    assert told["discharge coefficient"].startswith("k A / (a √(g/2))")
    assert told["speed coefficient"].startswith("Joint fit")


def test_counts_have_no_decimals_and_nought_has_no_sign(table_results):
    book = openpyxl.load_workbook(io.BytesIO(workbook_xlsx(table_results)))
    lines, findings = book["Lines"], book["Findings"]
    counts = [row for row in lines.iter_rows() if row[0].value == "number of points"]
    assert counts
    assert all(row[1].number_format == "0" for row in counts)
    widest = max(len(row[0].value or "") for row in lines.iter_rows(min_row=4))
    assert lines.column_dimensions["A"].width > widest
    unchanged = [row[2] for row in findings.iter_rows() if row[0].value == "low heads"]
    assert [cell.number_format for cell in unchanged] in ([], ["0.0000"], ["General"])
