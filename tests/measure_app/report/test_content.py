"""What the report says: algebra that adds up, a budget that ranks, corrections and settings of the run."""

import math
import re
from dataclasses import replace

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Conditions, Finding, Share
from measure_app.report import results_of, results_of_table
from measure_app.report.algebra import algebra_of, shown
from measure_app.report.circumstances import corrections_of, settings_of
from measure_app.report.content import MOST_ROWS, content_of
from measure_app.report.formula import (
    Fraction,
    Number,
    Root,
    Sign,
    Square,
    Symbol,
    as_data,
    as_mathml,
    as_speech,
)
from measure_app.report.improving import advice_for, improvements
from measure_app.report.setup_picture import WIDTH_PX, _part_shown, setup_picture
from measure_app.table import decode_table

SCALES = {"mm": 1e-3, "mm²": 1e-6, "cm²": 1e-4}


def evaluated(nodes) -> float | None:
    """Work out a formula's side; None if a letter stands in it."""
    total, factor, sign = 0.0, 1.0, 1.0
    for node in nodes:
        match node:
            case Symbol():
                return None
            case Number():
                part = float(node.shown.replace("−", "-")) * SCALES.get(node.unit, 1.0)
            case Root():
                part = evaluated(node.of)
                part = None if part is None else math.sqrt(part)
            case Square():
                part = evaluated(node.of)
                part = None if part is None else part**2
            case Fraction():
                above, below = evaluated(node.above), evaluated(node.below)
                part = None if above is None or below is None else above / below
            case Sign("×"):
                continue
            case Sign("+") | Sign("−"):
                total, factor, sign = total + sign * factor, 1.0, 1.0 if node.shown == "+" else -1.0
                continue
        if part is None:
            return None
        factor *= part
    return total + sign * factor


def sides(formula):
    side: list = []
    for node in formula:
        if node == Sign("="):
            yield side
            side = []
        else:
            side.append(node)
    yield side


def test_every_numeric_side_of_every_formula_gives_the_same_number(bench_outcome, table_results):
    for results, least in ((results_of(bench_outcome), 7), (table_results, 5)):
        steps = algebra_of(results)
        assert len(steps) >= least
        for step in steps:
            numbers = [value for value in map(evaluated, sides(step.formula)) if value is not None]
            assert len(numbers) >= 2, step.says
            for number in numbers[1:]:
                assert number == pytest.approx(numbers[0], rel=2e-3), (step.says, numbers)


def test_algebra_reaches_the_findings(bench_outcome):
    results = results_of(bench_outcome)
    last = {step.says[:30]: evaluated(list(sides(step.formula))[-1]) for step in algebra_of(results)}
    drain = results.findings.finding("discharge_coefficient")
    assert last["From the clock: √h falls by k "] == pytest.approx(drain.value, rel=5e-4)
    lengths = next(value for says, value in last.items() if "x² against h" in says)
    assert lengths == pytest.approx(results.findings.finding("speed_coefficient").value, rel=0.05)


@pytest.mark.parametrize(
    ("value", "figures", "words"),
    [
        (0.972, 4, "0.9720"),
        (9.81, 4, "9.810"),
        (-12.345, 3, "−12.3"),
        (0.0, 4, "0"),
        (123456.0, 4, "123456"),
        (1e-7, 4, "0.000000100"),
    ],
)
def test_numbers_in_formulas(value, figures, words):
    assert shown(value, figures) == words


def test_a_formula_in_its_three_forms():
    nodes = (Symbol("C", "v"), Sign("="), Root([Fraction([Number("2", "m")], [Square([Symbol("<g>")])])]))
    assert as_speech(nodes) == "C v equals square root of ((2 m) over ((<g>) squared))"
    math_ml = as_mathml(nodes)
    assert "<msub><mi>C</mi><mi>v</mi></msub><mo>=</mo><msqrt>" in math_ml
    assert "<msup><mrow><mi>&lt;g&gt;</mi></mrow><mn>2</mn></msup>" in math_ml
    assert as_data(nodes)[2]["of"][0]["below"] == [
        {"is": "square", "of": [{"is": "symbol", "letter": "<g>", "index": ""}], "brackets": False}
    ]


def finding(*u: float) -> Finding:
    shares = tuple(Share(f"source {i}", each, shared=True) for i, each in enumerate(u))
    total = math.sqrt(sum(each**2 for each in u))
    return Finding("speed_coefficient", "Cv", 0.97, total, (0.9, 1.0), "1", "", False, (), shares)


@given(st.lists(st.floats(1e-9, 1.0), min_size=1, max_size=12))
def test_halving_a_source_gains_what_the_budget_says(u):
    ranked = improvements(finding(*u), most=20)
    assert [each.share for each in ranked] == sorted((each.share for each in ranked), reverse=True)
    whole = math.sqrt(sum(each**2 for each in u))
    for each in ranked:
        i = int(each.source.split()[1])
        halved = math.sqrt(sum((value / 2 if j == i else value) ** 2 for j, value in enumerate(u)))
        assert each.gain == pytest.approx(1 - halved / whole, abs=1e-12)
        assert each.share >= 0.01 - 1e-12
    assert sum(each.share for each in ranked) <= 1 + 1e-9


def test_every_source_of_the_bench_that_matters_has_advice(bench_outcome):
    for each in results_of(bench_outcome).findings.findings:
        for item in improvements(each, most=30):
            assert item.advice, item.source


def test_advice_goes_by_what_the_source_is_not_by_the_rules_name():
    assert advice_for("drop it tape: depth") == advice_for("x: depth")
    assert "plane" in advice_for("tape under the landing shelf: depth")
    assert advice_for("landing: which place of the jet is its centre") != advice_for(
        "landing line: height as drawn"
    )
    assert advice_for("something else") == ""


def test_corrections_tell_the_pairing_in_millimetres(bench_outcome):
    results = results_of(bench_outcome)
    said = " ".join(corrections_of(results))
    raised = 1000 * (results.findings.paired_head_m - results.series.head.values)
    low, high = re.search(r"raised by ([\d.]+) to ([\d.]+) mm", said).groups()
    assert float(low) == pytest.approx(raised.min(), abs=0.005)
    assert float(high) == pytest.approx(raised.max(), abs=0.005)
    assert "1.0 mm above the level" in said
    assert "1.15 m away" in said


def test_left_out_rows_are_counted_by_reason(bench_outcome):
    results = results_of(bench_outcome)
    rows = tuple(
        msgspec.structs.replace(row, kept=False, reason="a hand in the way") if row.frame < 7 else row
        for row in results.rows
    )
    assert "Left out, 7 frames: a hand in the way." in corrections_of(replace(results, rows=rows))


def test_settings_hold_all_that_another_needs(bench_outcome):
    results = results_of(bench_outcome)
    run = results.outcome.run
    settings = dict(settings_of(results))
    assert settings["its SHA-256"] == run.clip.sha256
    for rule in run.rules:
        for graduation in rule.graduations:
            place = (
                f"{100 * graduation.value_m:.6g} cm at ({graduation.px[0]:.1f}, {graduation.px[1]:.1f}) px"
            )
            assert place in settings[f"rule “{rule.name}”"]
    assert settings["part measured"] == "frame 0 to frame 59"
    assert settings["drop"] == "(260.00 ± 0.50) mm"
    assert settings["gauge line"].endswith("reads 1 ± 0.3 mm above the level")


def test_content_of_a_table_without_film_and_of_nothing():
    results = results_of_table(decode_table(b"head_m\n0.1\n", "t.csv"), Conditions())
    content = content_of(results)
    assert content.findings.rows == ()
    assert content.setup is None
    assert content.undetermined
    assert content.title == "Draining container"
    assert "1 heads" in content.lead


def test_a_long_table_is_thinned_and_says_so():
    rows = "".join(f"{i},0.2\n" for i in range(5000))
    content = content_of(
        results_of_table(decode_table(f"time_s,head_m\n{rows}".encode(), "t.csv"), Conditions())
    )
    assert len(content.readings.rows) == MOST_ROWS
    assert content.readings.note.startswith(f"{MOST_ROWS} of 5000 rows")
    assert (content.readings.rows[0][0], content.readings.rows[-1][0]) == ("0", "4999")


def test_setup_is_drawn_where_the_marks_are(bench_outcome):
    import cv2

    run = msgspec.structs.replace(
        bench_outcome.run, rules=()
    )  # their figures would stand over the landing line
    black = np.zeros((720, 1280, 3), np.uint8)
    drawn = cv2.imdecode(np.frombuffer(setup_picture(run, black), np.uint8), cv2.IMREAD_COLOR).astype(int)
    assert drawn.shape[1] == WIDTH_PX
    left, right, top, bottom = _part_shown(run, 1280, 720)
    scale = WIDTH_PX / (right - left)

    def at(x: float, y: float, reach: int = 6) -> np.ndarray:
        column, row = round((x + 0.5 - left) * scale), round((y + 0.5 - top) * scale)
        return drawn[row - reach : row + reach + 1, column - reach : column + reach + 1].reshape(-1, 3)

    landing = run.landing_line
    middle = 0.37 * np.array(landing.from_px) + 0.63 * np.array(landing.to_px)
    blue, green, red = at(*middle).max(axis=0)
    assert red > 150 > blue  # vermilion, and no other mark there
    assert green < 190
    x, y = run.orifice.px
    ring = at(x, y, 14)
    assert (ring[:, 1] > ring[:, 2] + 60).any()  # green
    assert at(800.0, 300.0).max() < 12  # nothing where nothing was marked
    assert 0 < left < run.plumb.top_px[0]
    assert top < run.gauge_line.from_px[1] < bottom < 720
    assert run.landing_line.to_px[0] < right < 1280
    large = np.zeros((2160, 3840, 3), np.uint8)
    assert len(setup_picture(bench_outcome.run, large)) < 400_000
