"""A g that is news in what is written: its paragraph, its algebra by hand, its place among the keys and the advice."""

from __future__ import annotations

import json

import numpy as np
import pytest
from msgspec.structs import replace

from measure_app.gui.panels.wording import BORROWED_G
from measure_app.outcome import outcome_of
from measure_app.report import results_of
from measure_app.report.algebra import algebra_of
from measure_app.report.circumstances import settings_of
from measure_app.report.content import content_of
from measure_app.report.findings_json import findings_json
from measure_app.report.news import best_gravity, news_of
from measure_app.report.report_html import report_html
from measure_app.report.summary import summary
from tests.measure_app.falling_marks import TRUE_G, let_go, marked, of_the_jet, slow_film, told
from tests.measure_app.report.test_content import evaluated, sides


@pytest.fixture(scope="module")
def film():
    return slow_film()


@pytest.fixture(scope="module")
def results(film):
    run, seconds, info = film
    ends = np.array([100, 148])
    parts = [
        marked("jet front", *of_the_jet(seconds, 20, 12), noise_px=0.7, name="front"),
        marked("drop", ends, let_go(seconds, ends, 0.28, 0.1), name="drop"),
    ]
    run = told(run, *parts, launch_angle_deg=0.0, launch_angle_u_deg=0.2)
    return results_of(outcome_of(run, seconds, info))


def test_each_independent_g_is_told_with_how_it_stands_to_the_accepted_one(results):
    said = news_of(results)
    assert len(said) == 4
    assert said[0].startswith("g, all routes together: (")
    assert all(
        "the accepted g, 9.810 m/s²" in words and "standard uncertainties, they agree" in words
        for words in said
    )
    assert best_gravity(results.findings).name == "gravity_combined"


def test_falls_that_do_not_agree_are_told_side_by_side(film):
    run, seconds, info = film
    slowed = np.array([100, 160])
    # The landing is marked a quarter of the fall too late.
    wrong = marked("drop", slowed, let_go(seconds, np.array([100, 148]), 0.28, 0.1), name="drop")
    right = marked("jet front", *of_the_jet(seconds, 20, 12), noise_px=0.3, px_u=0.3)
    results = results_of(outcome_of(told(run, right, wrong), seconds, info))
    said = news_of(results)
    assert said[-1].startswith("They are not brought together, for want of values of g that agree: (")
    assert best_gravity(results.findings).name in {"gravity_from_parabola", "gravity_from_track"}


def test_a_run_without_falls_says_how_to_mark_one_and_a_table_says_nothing(film, table_results):
    run, seconds, info = film
    bare = replace(run, conditions=replace(run.conditions, container_area_m2=None))
    results = results_of(outcome_of(bare, seconds, info))
    (said,) = news_of(results)
    assert said.startswith("This run holds no news of g. It would take a fall that is marked: click")
    content = content_of(results)
    # Told once, not again among what is missing.
    assert not any("g from a fall" in words for words in content.undetermined)
    assert news_of(table_results) == ()
    assert "<h3>g that is news</h3>" in report_html(content).decode()


def test_the_summary_brings_what_wants_the_same_together(film):
    run, seconds, info = film
    words = " ".join(summary(results_of(outcome_of(run, seconds, info)), "out", []).split())
    assert (
        "g from the time of a fall, g from a fall's parabola, g from a fall's track: a fall that is marked"
        in words
    )


def test_the_algebra_by_hand_adds_up_and_comes_near_the_finding(results):
    steps = [step for step in algebra_of(results) if "news" in step.says]
    assert ["“drop”" in step.says for step in steps] == [True, False]
    for step in steps:
        numbers = [value for value in map(evaluated, sides(step.formula)) if value is not None]
        assert numbers[-1] == pytest.approx(numbers[0], rel=2e-3)
        assert numbers[-1] == pytest.approx(TRUE_G, rel=0.06)


def test_keys_advice_and_settings_speak_of_it(results):
    content = content_of(results)
    assert any(key.symbol == "g" and "not borrowed" in key.says for key in content.keys)
    assert any(advice.about.startswith("g = ") for advice in content.advice)
    for advice in content.advice:
        assert all(row[3] for row in advice.table.rows), advice.table.rows
    settings = dict(settings_of(results))
    assert settings["fall “front”"] == "jet front, 12 marks in frames 20 to 64; in the jet's plane"
    assert settings["rolling shutter"] == "a frame is read in 0 ms"


def test_findings_json_marks_it_as_free_of_the_accepted_g(results):
    tree = json.loads(findings_json(results))
    by = {each["name"]: each for each in tree["findings"]}
    for name in ("gravity_from_fall_time", "gravity_from_parabola", "gravity_from_track", "gravity_combined"):
        assert by[name]["depends_on_assumed_g"] is False
        assert by[name]["unit"] == "m/s²"
        assert sum(share["u"] ** 2 for share in by[name]["budget"]) == pytest.approx(by[name]["u"] ** 2)


def test_the_borrowed_g_is_labelled_wherever_it_is_shown(results, bench_outcome):
    """A g that a slope gives back is the accepted one times Cv²; every place that shows it says so."""
    bench = results_of(bench_outcome)
    content = content_of(bench)
    slopes = [row for row in content.findings.rows if row[0].startswith("g from speed")]
    assert len(slopes) == 2
    assert all(row[1] == "g †" for row in slopes)
    assert "that g times Cv²" in content.borrowed
    assert "no news of g" in content.borrowed
    assert "no news of g" in report_html(content).decode()
    assert any("the true g has cancelled" in step.says for step in content.algebra)
    said = " ".join(summary(bench, "out", []).split())
    assert "a g marked so is that g times Cv² and holds no news of g" in said
    for name in ("gravity_from_slope_root", "gravity_from_slope_squared"):
        finding = bench.findings.finding(name)
        assert finding.depends_on_assumed_g
        assert any("holds no news of g" in words for words in finding.remarks)
        assert "no news of g" in BORROWED_G
    speeds = [chart for chart in bench.lines if chart.name.startswith("speed")]
    assert len(speeds) == 2
    assert all("that one times Cv², and no news" in chart.note for chart in speeds)
    # A g that is news never bears the mark.
    rows = {row[0]: row[1] for row in content_of(results).findings.rows}
    assert rows["g from a fall's parabola"] == rows["g, all routes together"] == "g"
