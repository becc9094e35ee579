"""Edits: pure, refused in words, and never leaving a run that a file could not hold."""

from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings

from calibration import Pixel
from measure_app import edits
from measure_app.errors import EditRefused
from measure_app.run import By, GraduationPart, LinePart, Reading, Run, Spot
from measure_app.runfile import decode_run, encode_run, load_run
from tests.measure_app.strategies import any_edit, found_readings, runs

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench" / "bench.run.json"
HAND = Spot(px=Pixel(1.0, 2.0), px_u=0.5, by=By.HAND)
FOUND = Spot(px=Pixel(3.0, 4.0), px_u=0.1, by=By.FOUND)
relaxed = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.fixture
def run() -> Run:
    return load_run(BENCH)


@relaxed
@given(runs)
def test_any_run_survives_its_file(run):
    assert decode_run(encode_run(run)) == run


@relaxed
@given(runs, any_edit)
def test_an_edit_is_refused_or_gives_a_run_that_survives_its_file(run, edit):
    before = msgspec.json.encode(run)
    try:
        after = edit.apply(run)
    except EditRefused:
        pass  # its words are tested below, edit by edit
    else:
        assert decode_run(encode_run(after)) == after
        assert edit.apply(run) == after
    assert msgspec.json.encode(run) == before


@relaxed
@given(runs, any_edit)
def test_a_changed_run_holds_what_did_not_change_once_with_the_one_before(run, edit):
    try:
        after = edit.apply(run)
    except EditRefused:
        return
    for name in Run.__struct_fields__:
        old, new = getattr(run, name), getattr(after, name)
        assert (new is old) == (new == old), name
    kept = {reading.frame: reading for reading in run.readings}
    for reading in after.readings:
        assert reading is kept.get(reading.frame) or reading != kept.get(reading.frame)


def test_a_long_history_holds_each_reading_once(run):
    readings = tuple(Reading(frame=frame, surface=FOUND) for frame in range(300))
    history = [edits.AdoptFound(readings).apply(run)]
    for frame in range(100):
        history.append(edits.SetSurface(frame, HAND).apply(history[-1]))
    held = {id(reading) for each in history for reading in each.readings}
    assert len(held) == 300 + 100
    assert len({id(rule) for each in history for rule in each.rules}) == len(run.rules)


@relaxed
@given(runs, found_readings)
def test_adopting_never_touches_what_a_hand_has_read(run, found):
    after = edits.AdoptFound(found).apply(run)

    def by_hand(readings: tuple[Reading, ...]) -> dict[tuple[int, str], Spot]:
        return {
            (reading.frame, part): spot
            for reading in readings
            for part in ("surface", "landing")
            if (spot := getattr(reading, part)) is not None and spot.by is By.HAND
        }

    assert by_hand(after.readings) == by_hand(run.readings)
    frames = [reading.frame for reading in after.readings]
    assert frames == sorted(set(frames))
    assert {r.frame: r.note for r in after.readings if r.note} == {
        r.frame: r.note for r in run.readings if r.note
    }


def test_adopting_replaces_an_earlier_search_and_fills_beside_the_hand(run):
    run = edits.SetSurface(5, HAND).apply(edits.AdoptFound((Reading(4, FOUND, FOUND),)).apply(run))
    other = Spot(px=Pixel(9.0, 9.0), px_u=0.2, by=By.FOUND)
    run = edits.AdoptFound((Reading(5, other, other), Reading(6, other))).apply(run)
    assert run.readings == (Reading(5, HAND, other), Reading(6, other))


def test_adopting_takes_no_hand_reading_and_no_frame_twice(run):
    assert edits.AdoptFound((Reading(3, HAND),)).apply(run).readings == ()
    with pytest.raises(EditRefused, match="frame 3 was found twice"):
        edits.AdoptFound((Reading(3, FOUND), Reading(3, FOUND))).apply(run)


def test_reading_parts_are_set_and_cleared_one_by_one(run):
    run = edits.SetLanding(7, FOUND).apply(edits.SetSurface(7, HAND).apply(run))
    assert run.readings == (Reading(7, HAND, FOUND),)
    run = edits.ClearSurface(7).apply(run)
    assert run.readings == (Reading(7, None, FOUND),)
    run = edits.ClearLanding(7).apply(edits.SetNote(7, "ripple").apply(run))
    assert run.readings == (Reading(7, note="ripple"),)
    assert edits.SetNote(7, "").apply(run).readings == ()


def test_another_film_takes_its_readings_away_and_moving_it_does_not(run):
    run = edits.SetPart(3, 9).apply(edits.SetSurface(7, HAND).apply(run))
    assert edits.MoveClip("films/bench.mp4").apply(run).readings == run.readings
    other = edits.SetClip("other.mp4").apply(run)
    assert other.readings == ()
    assert (other.clip.start_frame, other.clip.stop_frame, other.clip.sha256) == (0, None, None)


def test_graduations_are_kept_in_order_of_value_and_two_remain(run):
    at = GraduationPart(px=Pixel(337.0, 200.0), value_m=0.171)
    values = [g.value_m for g in edits.AddGraduation(0, at).apply(run).rules[0].graduations]
    assert 0.171 in values
    assert values == sorted(values)
    for _ in range(len(run.rules[0].graduations) - 2):
        run = edits.RemoveGraduation(0, 0).apply(run)
    with pytest.raises(EditRefused, match="needs 2 graduations or more, got 1") as caught:
        edits.RemoveGraduation(0, 0).apply(run)
    assert caught.value.where == "rules[0].graduations"


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (edits.SetPart(5, 5), r"clip\.stop_frame: must be greater than start_frame \(5\), got 5"),
        (edits.SetCaptureRate(0.0), "clip.capture_rate_hz: must be greater than 0"),
        (edits.RemoveRule(9), "rules: there is no number 9, only 2"),
        (edits.RemoveRule(-1), "rules: there is no number -1"),
        (edits.MoveGraduation(0, 99, GraduationPart(Pixel(0, 0), 0.0)), r"rules\[0\]\.graduations: there is no number 99"),
        (edits.SetGaugeLine(LinePart(Pixel(1, 1), Pixel(1, 1))), "gauge_line: a line needs two different ends"),
        (edits.SetSurface(-1, HAND), r"readings\[0\]\.frame: must be at least 0"),
        (edits.SetSurface(1, Spot(Pixel(float("nan"), 0.0), 1.0, By.HAND)), "must be a finite number"),
        (edits.SetTitle("x" * 2001), "title: must be text of 2000 or fewer"),
        (edits.MoveClip("../x.mp4"), "clip.path: may not leave"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, edits.Edit) else "",
)  # fmt: skip
def test_refusals_name_the_key(run, edit, words):
    with pytest.raises(EditRefused, match=words):
        edit.apply(run)


def test_every_edit_has_a_label_of_its_own():
    kinds = [k for k in vars(edits).values() if isinstance(k, type) and issubclass(k, edits.Edit)]
    assert len({kind.label for kind in kinds}) == len(kinds)
