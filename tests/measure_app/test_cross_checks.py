"""What was told against what the frame shows."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from msgspec.structs import replace

from measure_app.clip import ClipInfo, Stamps, open_clip
from measure_app.cross_checks import drop_remark, without_length
from measure_app.jet_path import AdoptSearch
from measure_app.measuring import Search, search
from measure_app.outcome import Outcome, calibration_of, outcome_of
from measure_app.run import DropPart, Pixel, Run
from measure_app.runfile import load_run

CLIPS = Path(__file__).parents[2] / "sample_clips"
BENCH = CLIPS / "bench" / "bench.run.json"


@cache
def bench() -> tuple[Run, ClipInfo, Stamps, Search]:
    run = load_run(BENCH)
    with open_clip(BENCH.parent / run.clip.path) as clip:
        found = search(run, clip)
        return AdoptSearch(found.readings, found.jet).apply(run), clip.info, clip.stamps, found


def lowered(run: Run, mm: float) -> Run:
    """The run with its landing line drawn so much lower in the frame; the scale is 0.83 mm per px."""
    line = run.landing_line
    assert line is not None
    by = mm / 0.8333

    def moved(px: Pixel) -> Pixel:
        return Pixel(px.x, px.y + by)

    return replace(run, landing_line=replace(line, from_px=moved(line.from_px), to_px=moved(line.to_px)))


def drop_words(run: Run) -> str:
    _, info, _, _ = bench()
    remark = drop_remark(run, calibration_of(run, (info.width, info.height)))
    return remark.says if remark is not None else ""


@pytest.mark.parametrize("name", ["bench", "phone", "slow"])
def test_sound_runs_raise_no_doubt_about_the_drop(name: str) -> None:
    path = CLIPS / name / f"{name}.run.json"
    run = load_run(path)
    with open_clip(path.parent / run.clip.path) as clip:
        size = (clip.info.width, clip.info.height)
    assert drop_remark(run, calibration_of(run, size)) is None


def test_a_landing_line_drawn_off_the_drop_is_told_with_its_size_and_way() -> None:
    run, *_ = bench()
    assert drop_words(run) == ""
    high = drop_words(lowered(run, -7.0))
    size = re.search(r"drawn ([0-9.]+) mm too high", high)
    assert size is not None
    assert float(size[1]) == pytest.approx(7.0, abs=1.5)
    assert "too low" in drop_words(lowered(run, 7.0))


def test_a_line_that_lies_higher_on_purpose_is_believed() -> None:
    run = lowered(bench()[0], -7.0)
    assert run.landing_line is not None
    assert drop_words(replace(run, landing_line=replace(run.landing_line, above_level_m=0.007))) == ""


def test_a_drop_known_badly_denies_nothing() -> None:
    run = lowered(bench()[0], -7.0)
    assert run.drop is not None
    assert drop_words(replace(run, drop=DropPart(run.drop.value_m, 0.004))) == ""


def test_the_drop_read_from_the_frame_agrees_with_itself() -> None:
    assert drop_words(replace(lowered(bench()[0], 7.0), drop=None)) == ""


def short_of_graduations() -> Outcome:
    """The bench run whose throw rule ends so early that the first throws are not believed."""
    run, info, stamps, found = bench()
    rules = []
    for rule in run.rules:
        if rule.measures.value == "throw":
            kept = tuple(g for g in rule.graduations if g.value_m <= 0.2)
            rule = replace(rule, graduations=kept)  # noqa: PLW2901
        rules.append(rule)
    return outcome_of(replace(run, rules=tuple(rules)), stamps.seconds(), info, found=found)


def test_readings_past_the_graduations_are_told_with_their_frames() -> None:
    outcome = short_of_graduations()
    lost = [row.frame for row in outcome.rows if row.landing is not None and row.throw_m is None]
    assert lost
    told = [r for r in outcome.remarks if r.about == "landing" and "give no throw" in r.says]
    assert len(told) == 1
    assert told[0].frames == (lost[0], lost[-1])
    assert told[0].says.startswith(f"{len(lost)} landings (frames {lost[0]} to {lost[-1]})")
    assert "read a graduation further out" in told[0].says


def test_a_whole_run_has_nothing_without_length() -> None:
    run, info, stamps, found = bench()
    lengths = outcome_of(run, stamps.seconds(), info, found=found).lengths
    assert without_length(lengths.readings, lengths.heads, lengths.throws) == ()
