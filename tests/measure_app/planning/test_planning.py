"""The command `plan`: what it says, what its JSON holds, what it refuses, and whether a run bears it out."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Edge, Limits, findings_of, forecast_of, proposal_of
from measure_app.__main__ import main
from measure_app.clip import open_source
from measure_app.errors import PlanRefused, Stopped
from measure_app.outcome import measure
from measure_app.planning import (
    Asked,
    forecast,
    instruments_of,
    length_of,
    paragraphs,
    plan_of,
    plan_tree,
    told,
)
from measure_app.report import Results
from measure_app.report.findings_json import findings_json
from measure_app.runfile import load_run
from measure_app.series import conditions_of

BENCH = Path(__file__).parents[3] / "sample_clips" / "bench"
REFERENCE = ("--bore", "100mm", "--head", "25cm", "--hole", "4mm", "--drop", "0.4")


def outcome(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(["plan", *arguments])
    said = capsys.readouterr()
    return status, said.out, said.err


def words_of(text: str) -> str:
    return " ".join(text.split())


def test_it_tells_throws_times_picture_uncertainty_and_cautions(capsys) -> None:
    status, out, err = outcome(capsys, *REFERENCE, "--tray", "60cm")
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 100
    words = words_of(out)
    # x = 2 · 0.97 √(0.2 · 0.4) = 549 mm and v = 0.97 √(2 · 9.80665 · 0.2) = 1.92 m/s.
    assert "200 mm 549 mm" in words
    assert "1.92 m/s" in words
    assert "beyond the tray" in words
    for part in (
        "What the jet will do",
        "How well Cv will be known",
        "What could be said about g",
        "Cautions",
    ):
        assert part in out
    for caution in ("residual-current", "Wipe spills", "technician makes holes", "eye protection", "consent"):
        assert caution in words
    assert "rules of your school" in words
    assert "extrapolated" in words


def test_a_terminal_without_signs_gets_ascii() -> None:
    plan = plan_of(Asked(0.25, 0.004, 0.4, bore_m=0.1))
    words = told(forecast_of(plan), None, "ascii")
    assert words.isascii()
    assert not told(forecast_of(plan), None, "utf-8").isascii()


def test_json_has_its_keys_and_agrees_with_the_words(capsys) -> None:
    status, out, _ = outcome(capsys, *REFERENCE, "--json", "--hole-between", "4mm", "6mm")
    assert status == 0
    tree = json.loads(out)
    assert tree.keys() == {
        *("format", "format_version", "program", "plan", "reckoned_with", "expected", "law_limit_m"),
        *("drain_time_s", "drain_time_range_s", "empty_time_s", "least_tray_m", "head_on_tray_m", "heads"),
        *("picture", "jet_diameter_m", "capillary_loss_m", "speed_coefficient_u", "discharge_coefficient_u"),
        *("budget", "twice_the_readings_gain", "gravity", "advice", "proposal", "cautions"),
    }
    assert sum(each["share"] for each in tree["budget"]) == pytest.approx(1.0)
    assert tree["law_limit_m"] == pytest.approx(0.015)
    assert tree["proposal"]["drop_m"] == pytest.approx(0.4)  # not asked for: stays as planned
    assert 0.004 <= tree["proposal"]["hole_diameter_m"] <= 0.006
    assert tree["heads"][0]["throw_m"] == pytest.approx(2 * 0.97 * math.sqrt(0.25 * 0.4), rel=1e-5)


def test_box_and_cylinder_of_the_same_area_drain_alike() -> None:
    side = math.sqrt(math.pi) / 20.0
    box = plan_of(Asked(0.25, 0.004, 0.4, width_m=side, depth_m=side))
    round_ = plan_of(Asked(0.25, 0.004, 0.4, bore_m=0.1))
    assert forecast_of(box).drain_time_s == pytest.approx(forecast_of(round_).drain_time_s)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--bore", "4q"), "“4q” is not a length"),
        (("--bore", "0"), "bore: must be above nought"),
        ((), "give the container's inner size"),
        (("--bore", "10cm", "--width", "3cm"), "not both"),
        (("--bore", "10cm", "--picture", "12"), "columns x rows"),
        (("--bore", "7mm"), "quarter of the container"),
        (("--bore", "10cm", "--hole-between", "5mm", "3mm"), "the smaller first"),
        (("--bore", "10cm", "--lens", "26", "--field", "1m"), "not both"),
        (("--bore", "nan"), "is not a length"),
        (("--bore", "10cm", "--wall", "-1mm"), "wall thickness: must be"),
        (("--bore", "10cm", "--drop-u", "-1mm"), "drop u: must be"),
        (("--bore", "10cm", "--temperature", "nan"), "not a finite number"),
        (("--bore", "10cm", "--picture", "0x0"), "image width px: must be 64"),
    ],
)
def test_what_no_bench_can_have_is_refused_in_one_clear_line(capsys, arguments, words) -> None:
    status, out, err = outcome(capsys, "--head", "250mm", "--hole", "4mm", "--drop", "400mm", *arguments)
    assert status == 2
    assert out == ""
    assert words in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("text", "metres"), [("4mm", 0.004), ("25 cm", 0.25), ("1,5m", 1.5), (" .4 ", 0.4), ("4e-3", 0.004)]
)
def test_lengths(text, metres) -> None:
    assert length_of(text) == pytest.approx(metres, rel=1e-12)


@given(st.text(max_size=60))
def test_any_text_is_a_finite_length_or_refused(text) -> None:
    try:
        assert math.isfinite(length_of(text))
    except ValueError as error:
        assert "length" in str(error)  # noqa: PT017  # both ends are right


def test_only_known_uncertainties_are_taken() -> None:
    assert instruments_of(drop_u_m=5e-4, zero_u_m=None).drop_u_m == 5e-4
    assert instruments_of(zero_u_m=None) == instruments_of()
    with pytest.raises(TypeError, match="no such uncertainty"):
        instruments_of(luck=1.0)


def test_a_search_can_be_stopped_and_bad_limits_are_refused() -> None:
    plan = plan_of(Asked(0.25, 0.004, 0.4, bore_m=0.1))
    with pytest.raises(Stopped):
        forecast(plan, (0.003, 0.006), stop_requested=lambda: True)
    with pytest.raises(PlanRefused, match="smaller first"):
        forecast(plan, None, (0.5, 0.2))


@pytest.mark.parametrize(
    ("asked", "limits", "says"),
    [
        (Asked(0.25, 0.004, 0.4, bore_m=0.1, tray_m=0.1), Limits((0.004, 0.006), (0.3, 0.5)), "None of them"),
        (Asked(0.25, 0.004, 0.4, bore_m=0.1, tray_m=0.6), Limits((0.004, 0.006), (0.2, 0.5)), "on the tray"),
        (Asked(0.25, 0.005, 0.4, bore_m=0.1), Limits((0.005, 0.005), (0.4, 0.4)), "keep the hole you have"),
        (Asked(0.25, 0.002, 0.05, bore_m=0.1), Limits((0.004, 0.006), (0.3, 0.5)), "falls by"),
    ],
)
def test_the_verdict_on_a_proposal(asked, limits, says) -> None:
    plan = plan_of(asked)
    proposal = proposal_of(plan, limits)
    assert proposal is not None
    part = next(p for p in paragraphs(forecast_of(plan), proposal) if p.heading.startswith("A better"))
    assert says in " ".join(part.sentences)
    assert f"Of {proposal.tried} pairs tried" in " ".join(part.sentences)
    assert plan_tree(forecast_of(plan), proposal)["proposal"]["tried"] == proposal.tried


def test_an_edge_is_named_and_changes_what_is_expected(capsys) -> None:
    _, out, _ = outcome(capsys, *REFERENCE, "--edge", "rounded")
    assert "rounded edge" in out
    assert plan_of(Asked(0.25, 0.004, 0.4, bore_m=0.1, edge=Edge.RE_ENTRANT)).edge is Edge.RE_ENTRANT


def test_the_sample_run_bears_its_forecast_out() -> None:
    """
    The bench of the sample film, planned with the uncertainties that its run file states.

    What the program then finds for the film itself lies near: the plan knows nothing of perspective.
    """
    path = BENCH / "bench.run.json"
    run = load_run(path)
    with open_source(BENCH / run.clip.path, capture_rate_hz=None) as clip:
        series = measure(run, clip).lengths.series
    # The plan reckons with a level jet, so the run is judged as one, whatever angle was seen in the film.
    level = replace(conditions_of(run), launch_angle_deg=None, launch_angle_u_deg=None)
    found = findings_of(series, level).finding("speed_coefficient")
    assert found is not None
    instruments = instruments_of(
        drop_u_m=5e-4,
        zero_u_m=5e-4,
        hole_diameter_u_m=5e-5,
        area_relative_u=0.0074,
        meniscus_u_m=3e-4,
        rule_u_m=1e-4,
        rule_length_m=0.35,  # 0.23 m upright, 0.48 m along the throw
        rule_marks=9,
        rule_depth_u_m=1e-3,
        mark_u_px=0.3,
        surface_u_px=0.1,
        landing_u_px=0.5,
        sway_u_m=3e-4,
    )
    asked = Asked(0.2, 0.005, 0.26, bore_m=0.054, distance_m=1.15, field_m=1.15 * 1280 / 1368)
    asked = replace(asked, image_px=(1280, 720), frame_rate_hz=15.0, instruments=instruments)
    expected = forecast_of(plan_of(asked), surface_tension=False)  # the film's jet has none
    assert expected.cv_u == pytest.approx(found.u, rel=0.3)
    assert expected.budget[0].source in {"drop", "rule along the throw: scale as read"}
    assert not expected.budget[-1].u > expected.budget[0].u
    # 300 frames at 15 a second took the head from 200 to 42 mm.
    at = next(each for each in expected.moments if each.head_m <= 0.06)
    assert 10.0 < at.time_s < 20.0


def test_the_published_band_stands_beside_a_tables_findings_and_the_wall_narrows_it(
    capsys, tmp_path, monkeypatch
) -> None:
    written: list[Results] = []

    def keep(results: Results, *_: object, **__: object) -> list[str]:
        """Stand in for the figures, which take their time."""
        written.append(results)
        return []

    monkeypatch.setattr("measure_app.report.writing.write_all", keep)
    (tmp_path / "t.csv").write_text("head_m,throw_m\n0.2,0.445\n0.15,0.384\n0.1,0.312\n0.05,0.223\n")
    said = []
    for i, wall in enumerate((["--wall", "0.0005"], [])):
        arguments = [
            "derive",
            str(tmp_path / "t.csv"),
            "--drop",
            "0.26",
            "--diameter",
            "0.005",
            "--no-report",
        ]
        assert main([*arguments, *wall, "--out", str(tmp_path / str(i))]) == 0
        said.append(words_of(capsys.readouterr().out))
    assert "Published for such a hole: Cv 0.95 to 1.00" in said[0]
    assert "Published for plain holes of any kind: Cv 0.80 to 1.00" in said[1]
    assert "the wall's thickness would narrow that" in said[1]
    tree = json.loads(findings_json(written[0]))
    cv = next(each for each in tree["findings"] if each["name"] == "speed_coefficient")
    assert (cv["expected"]["low"], cv["expected"]["high"]) == (0.95, 1.0)
    assert any(words.startswith("published for such a hole") for words in cv["remarks"])
