"""The workbook against two outside calculators, the engine's plain least squares, and outside readers."""

import dataclasses
import io
import re
import zipfile

import msgspec
import numpy as np
import openpyxl
import pandas as pd
import pytest

from analysis import Conditions, findings_of, straight_line
from measure_app.report import Results, results_of, results_of_table
from measure_app.report.workbook import NAMES, workbook_xlsx
from measure_app.report.workbook_cells import Variant, letter
from measure_app.report.workbook_plan import MOST_LIVE_ROWS, MOST_ROWS_TO_FILL_IN, plan_of
from measure_app.table import decode_table
from tests.measure_app.report.recalculated import by_hand, by_libreoffice, formulas, stored

ERRORS = ("#", "Err:")


def table(text: str, drop: float | None = 0.3, **conditions: float) -> Results:
    return results_of_table(
        decode_table(text.encode(), "t.csv"), Conditions(gravity_m_s2=9.81, **conditions), drop
    )


def close(a: object, b: object) -> bool:
    return (
        isinstance(a, (int, float))
        and isinstance(b, (int, float))
        and np.isclose(a, b, rtol=1e-9, atol=1e-12)
    )


def is_number(value: object) -> bool:
    return isinstance(value, (int, float))


def check_all(data: bytes, values: dict, other: dict) -> None:
    wrong = {
        key: (values[key], other[key], formulas(data)[key])
        for key in values
        if not (values[key] == other[key] or (is_number(values[key]) and close(values[key], other[key])))
    }
    assert not wrong, list(wrong.items())[:5]


def lines_of_sheet(data: bytes) -> dict[str, dict[str, float]]:
    """Values of the sheet Lines, block by block."""
    sheet = openpyxl.load_workbook(io.BytesIO(data), data_only=True)["Lines"]
    blocks: dict[str, dict[str, float]] = {}
    current: dict[str, float] = {}
    for says, value, *_ in sheet.iter_rows(min_row=4, values_only=True):
        if value == "value":
            current = blocks.setdefault(says, {})
        elif says is not None:
            current[says] = value
    return blocks


KEYS = {
    "Speed against √head": "speed_root_head",
    "Speed squared against head": "speed_squared_head",
    "Throw squared against head": "throw_squared_head",
    "√head against time": "root_head_time",
}


def check_against_engine(data: bytes, results: Results) -> None:
    """Every number of a line equals the engine's plain least squares to 1e-9."""
    blocks = lines_of_sheet(data)
    plain = {
        (line.law.key, line.line.free_intercept): line.line
        for line in results.findings.lines
        if not line.errors_in_both
    }
    assert {KEYS[title] for title in blocks if title in KEYS} == {key for key, _ in plain}
    for title, key in KEYS.items():
        if (key, True) not in plain:
            continue
        line, block = plain[key, True], blocks[title]
        for says, value in (
            ("slope", line.slope),
            ("intercept", line.intercept),
            ("R²", line.r_squared),
            ("standard error of the slope", line.covariance[1, 1] ** 0.5),
            ("standard error of the intercept", line.covariance[0, 0] ** 0.5),
            ("scatter about the line", line.residual_sd),
            ("number of points", line.n),
        ):
            assert block[says] == pytest.approx(value, rel=1e-9), (title, says)
        if (key, False) in plain:
            line = plain[key, False]
            assert block["slope through the origin"] == pytest.approx(line.slope, rel=1e-9)
            assert block["its standard error"] == pytest.approx(line.covariance[1, 1] ** 0.5, rel=1e-9)


@pytest.fixture(scope="module")
def bench(bench_outcome) -> Results:
    return results_of(bench_outcome)


@pytest.fixture(scope="module")
def bench_book(bench) -> bytes:
    return workbook_xlsx(bench)


def test_every_formula_recalculates_to_its_stored_value(bench_book, tmp_path):
    values = stored(bench_book)
    assert len(values) > 600
    words = {key: value for key, value in values.items() if not isinstance(value, (int, float))}
    assert len(words) == 4  # equations of the lines
    assert all(sheet == "Lines" and ", R² = " in value for (sheet, _), value in words.items())
    check_all(bench_book, values, by_hand(bench_book))
    office = by_libreoffice(bench_book, tmp_path)
    if office is not None:  # the calculator above has checked the same cells
        assert not [key for key, value in office.items() if str(value).startswith(ERRORS)]
        check_all(bench_book, values, office)


def test_stored_values_are_the_engines(bench_book, bench, table_results):
    check_against_engine(bench_book, bench)
    check_against_engine(workbook_xlsx(table_results), table_results)


def test_head_at_launch_is_the_head_that_the_engine_pairs(bench_book, bench):
    sheet = pd.read_excel(io.BytesIO(bench_book), sheet_name="Working", header=3)
    points = next(each.points for each in bench.findings.lines if each.law.key == "throw_squared_head")
    np.testing.assert_allclose(sheet["head at launch h′ / m"], points.x, rtol=1e-12)
    squares = next(
        title for title in sheet.columns if title.startswith("x²")
    )  # at the mean drop, for a jet at an angle
    np.testing.assert_allclose(sheet[squares], points.y, rtol=1e-12)
    assert (sheet["head at launch h′ / m"] > sheet["head h / m"]).all()


def test_coefficients_follow_from_the_slopes(bench_book, bench):
    blocks = lines_of_sheet(bench_book)
    g = bench.findings.accepted_gravity.value
    root, squared = blocks["Speed against √head"], blocks["Speed squared against head"]
    lengths = blocks["Throw squared against head"]
    assert root["Cv"] == pytest.approx(root["slope"] / (2 * g) ** 0.5, rel=1e-12)
    assert root["g that comes out"] == pytest.approx(g * root["Cv"] ** 2, rel=1e-12)
    assert root["its deviation from the accepted g"] == pytest.approx(100 * (root["Cv"] ** 2 - 1), rel=1e-9)
    assert squared["g that comes out"] == pytest.approx(g * squared["Cv"] ** 2, rel=1e-12)
    # v² = x² g/2y₀, so both lines say the same of Cv whatever g is.
    assert lengths["Cv"] == pytest.approx(squared["Cv"], rel=1e-12)
    for name in ("Cv",):
        found = bench.findings.finding("speed_coefficient")
        assert abs(lengths[name] - found.value) < 5 * found.u


@pytest.mark.parametrize(
    "text",
    [
        "head_m,throw_m\n0.20,0.47\n0.15,0.41\n0.10,0.335\n0.05,0.235\n",
        "time_s,head_m\n0,0.2\n2,0.18\n4,0.16\n6,0.142\n",
        "time_s,throw_m\n0,0.47\n1,0.46\n",
        "head_m,throw_m\n0.2,0.47\n",
        "head_m,throw_m\n0.2,0.47\n0.1,0.33\n",
        "head_m,throw_m\n0.2,0.47\n0.2,0.48\n0.2,0.46\n",
        "head_m,throw_m\n0.2,0.2\n0.1,0.3\n0.05,0.4\n",
        "head_m,throw_m,drop_m\n0.20,0.47,0.30\n0.15,0.43,0.31\n0.10,0.335,0.29\n0.05,0.25,0.33\n",
        "time_s,head_m,throw_m,drop_m\n0,0.20,0.47,0.30\n1,0.15,0.43,0.31\n2,0.11,0.335,0.29\n3,0.075,0.25,0.33\n",
        "time_s,head_m,throw_m\n0,0.1,0.3\n1,0.11,0.32\n2,0.12,0.33\n",
        "head_m\n0.1\n",
        "time_s,head_m,throw_m\n0,0,0\n",
        "time_s,head_m,throw_m\n50,0.2,0.47\n52,0.18,0.446\n54,0.161,0.421\n56,0.143,0.397\n",
    ],
    ids=["stills", "drain only", "throw only", "one", "two", "same head", "falling", "drops", "drops and clock", "rising", "head", "bad", "late start"],
)  # fmt: skip
def test_whatever_is_missing_no_cell_is_an_error(text):
    drop = None if "drop_m" in text else 0.3
    results = table(text, drop, orifice_diameter_m=0.005, container_area_m2=0.0023)
    data = workbook_xlsx(results)
    values = stored(data)
    words = [value for value in values.values() if isinstance(value, str)]
    assert all(isinstance(value, (int, float, str)) for value in values.values()), values
    assert not any("nan" in value or "#" in value for value in words), words
    check_all(data, values, by_hand(data))
    for variant in (Variant.TO_FILL_IN, Variant.ANSWERS):
        workbook_xlsx(results, variant)


def test_a_drop_for_each_row_agrees_with_the_engine_and_libreoffice(tmp_path):
    text = "time_s,head_m,throw_m,drop_m\n0,0.20,0.47,0.30\n1,0.15,0.43,0.31\n2,0.11,0.335,0.29\n3,0.075,0.25,0.33\n"
    results = table(text, None)
    data = workbook_xlsx(results)
    check_against_engine(data, results)
    office = by_libreoffice(data, tmp_path)
    if office is not None:
        check_all(data, stored(data), office)


def test_a_long_run_is_thinned_evenly_and_says_so():
    n = 6_000
    t = np.arange(n) / 20
    h = (0.6 - 0.001 * t) ** 2
    x = 2 * 0.97 * np.sqrt(0.3 * h) + 1e-4 * np.sin(np.arange(n))
    rows = "".join(f"{a!r},{b!r},{c!r}\n" for a, b, c in zip(t.tolist(), h.tolist(), x.tolist(), strict=True))
    results = table(f"time_s,head_m,throw_m\n{rows}")
    plan = plan_of(results)
    working = plan.tables[0]
    assert len(working.at) == MOST_LIVE_ROWS
    assert {working.at[0], working.at[-1]} == {5, 5 + n - 1}
    assert set(np.diff(working.at).tolist()) <= {2, 3, 4}
    assert "2000 of the 6000" in plan.thinned
    by_key = {column.key: column.values for column in working.columns}
    line = straight_line(by_key["rh"], by_key["v"])
    cells = {cell.says: cell.value for cell in plan.blocks[0].cells}
    assert cells["slope"] == pytest.approx(line.slope, rel=1e-9)
    data = workbook_xlsx(results)
    assert len(data) < 3_000_000
    sheet = openpyxl.load_workbook(io.BytesIO(data), read_only=True)["Inputs"]
    assert any("evenly chosen" in str(cell) for row in sheet.iter_rows(values_only=True) for cell in row)


def test_text_from_outside_is_never_a_formula_or_a_link(bench):
    nasty = ('=HYPERLINK("http://x")', "+1+1", "-2", "@SUM(A1)", "{=1}", "http://example.org", "\x00=1\x0b")
    for words in nasty:
        rows = tuple(msgspec.structs.replace(row, reason=words) for row in bench.rows[:3])
        data = workbook_xlsx(dataclasses.replace(bench, title=words, rows=(*rows, *bench.rows[3:])))
        book = openpyxl.load_workbook(io.BytesIO(data))
        assert book["Inputs"]["A1"].data_type == "s"
        assert book["Readings"]["H5"].data_type == "s"
        assert not [key for key in formulas(data) if key in (("Inputs", "A1"), ("Readings", "H5"))]
        assert b"hyperlink" not in zipfile.ZipFile(io.BytesIO(data)).read("xl/worksheets/sheet1.xml")


def test_sheet_to_fill_in_gives_readings_and_no_answers(bench):
    data = workbook_xlsx(bench, Variant.TO_FILL_IN)
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert "Findings" not in book.sheetnames
    assert all(sheet.sheet_state == "visible" for sheet in book)
    live = formulas(data)
    assert not [key for key in live if key[0] == "Lines"]
    working = [text for (sheet, _), text in live.items() if sheet == "Working"]
    assert working
    assert all(text.startswith(("=Readings!", "=IF(ISNUMBER(")) for text in working)
    assert book["Working"].max_row == 4 + MOST_ROWS_TO_FILL_IN


def test_answers_filled_into_the_students_sheet_are_the_teachers_values(bench):
    """Type every answer's formula where the list says, and let an outside calculator have the sheet."""
    answers = workbook_xlsx(bench, Variant.ANSWERS)
    asked = workbook_xlsx(bench, Variant.TO_FILL_IN)
    key = openpyxl.load_workbook(io.BytesIO(answers))["Answers"]
    book = openpyxl.load_workbook(io.BytesIO(asked))
    given = openpyxl.load_workbook(io.BytesIO(answers))
    expected = {}
    for sheet, cell, _, formula, value, *_ in key.iter_rows(min_row=5, values_only=True):
        if formula is None:
            continue
        expected[sheet, cell] = value
        if sheet == "Lines":
            book[sheet][cell] = formula
        else:  # fill down: the teacher's sheet has the formula in every row
            for row in range(int(cell[1:]), book[sheet].max_row + 1):
                book[sheet][f"{cell[0]}{row}"] = given[sheet][f"{cell[0]}{row}"].value
    out = io.BytesIO()
    book.save(out)
    calculated = by_hand(out.getvalue())
    assert len(expected) > 40
    for place, value in expected.items():
        assert calculated[place] == pytest.approx(value, rel=1e-9), place


def test_the_same_result_gives_the_same_bytes(bench_book, bench):
    assert workbook_xlsx(bench) == bench_book


def test_pandas_and_openpyxl_read_readings_and_findings(bench_book, bench):
    readings = pd.read_excel(io.BytesIO(bench_book), sheet_name="Readings", header=3)
    np.testing.assert_allclose(readings["head h / cm"], [100 * row.head_m for row in bench.rows], rtol=1e-12)
    assert set(readings["kept"]) == {"yes"}
    found = pd.read_excel(
        io.BytesIO(bench_book), sheet_name="Findings", header=3, nrows=len(bench.findings.findings)
    )
    assert found["symbol"].tolist() == [each.symbol for each in bench.findings.findings]
    np.testing.assert_allclose(found["u"], [each.u for each in bench.findings.findings], rtol=1e-12)


def test_pandas_reads_readings_csv_at_first_try(bench):
    from measure_app.report.readings_csv import readings_csv

    table = pd.read_csv(io.BytesIO(readings_csv(bench.rows)))
    assert table["kept"].eq("yes").all()
    numbers = table.drop(columns=["surface_by", "landing_by", "kept", "reason"])
    assert all(pd.api.types.is_numeric_dtype(kind) for kind in numbers.dtypes)
    np.testing.assert_allclose(table["head_m"], [row.head_m for row in bench.rows], atol=5.1e-8)
    book = pd.read_excel(io.BytesIO(workbook_xlsx(bench)), sheet_name="Readings", header=3)
    np.testing.assert_allclose(table["throw_m"] * 100, book["throw x / cm"], atol=1e-5)


def test_charts_carry_axis_titles_with_units_lines_equations_and_alternative_texts(bench_book):
    with zipfile.ZipFile(io.BytesIO(bench_book)) as book:
        charts = [book.read(name).decode() for name in book.namelist() if name.startswith("xl/charts/chart")]
        drawing = book.read("xl/drawings/drawing1.xml").decode()
    assert len(charts) == 5
    assert not any('dispEq val="1"' in chart for chart in charts)  # it shows all digits that there are
    titled = [chart for chart in charts if "'Lines'!$E$" in chart or "Lines!$E$" in chart]
    assert len(titled) == 4
    assert all(
        re.search(r"<c:v>[^<]* = [0-9.−-]{3,9} [^<]*, R² = [01][0-9.]*</c:v>", each) for each in titled
    )
    for title in ("√h′ / √m", "jet speed v / (m/s)", "head h′ / m", "v² / (m²/s²)", "x² / m²", "time t / s"):
        assert any(title in chart for chart in charts), title
    assert drawing.count('descr="Scatter chart, ') == 5


def test_names_of_files_and_columns():
    assert set(NAMES) == set(Variant)
    assert [letter(i) for i in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


def test_a_jet_at_an_angle_and_corrected_lengths_agree_with_the_engine(table_results):
    series = table_results.series
    given = Conditions(
        gravity_m_s2=9.81, launch_angle_deg=6.0, launch_angle_u_deg=0.5, orifice_diameter_m=0.006,
        orifice_diameter_u_m=1e-5, wall_thickness_m=0.002,
    )  # fmt: skip
    findings = findings_of(series, given)
    results = dataclasses.replace(table_results, findings=findings, conditions=given)
    assert {each.name for each in findings.corrections if each.applied} >= {
        "launch_angle",
        "fall_during_flight",
    }
    book = workbook_xlsx(results)
    check_against_engine(book, results)
    check_all(book, stored(book), by_hand(book))
    sheet = pd.read_excel(io.BytesIO(book), sheet_name="Working", header=3)
    points = next(each.points for each in findings.lines if each.law.key == "throw_squared_head")
    np.testing.assert_allclose(sheet["head at launch h′ / m"], points.x, rtol=1e-12)
    np.testing.assert_allclose(sheet["speed v / (m/s)"], findings.speed_m_s[points.rows], rtol=1e-12)
    tilt = np.radians(6.0)
    level = series.drop.values * np.cos(tilt) ** 2 + series.throw.values * np.sin(tilt) * np.cos(tilt)
    close = sheet["drop of a level jet / m"] / level[points.rows]
    np.testing.assert_allclose(close, 1.0, atol=0.01)  # but for what the wall adds to throws


def test_what_the_student_has_not_found_yet_makes_no_error(bench, tmp_path):
    office = by_libreoffice(workbook_xlsx(bench, Variant.TO_FILL_IN), tmp_path)
    if office is None:
        pytest.skip("LibreOffice is not here; the small calculator does not know cells that wait")
    assert {key[0] for key in office} >= {"Working", "Drain"}
    assert not [(key, value) for key, value in office.items() if str(value).startswith(ERRORS)]
