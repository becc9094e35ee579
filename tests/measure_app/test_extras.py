"""What the program keeps under `extra`: kept through files, safe against what others put there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from calibration import Pixel
from measure_app.edits import SetSurface
from measure_app.errors import EditRefused
from measure_app.extras import (
    KEY,
    BringBackMarks,
    ClearReadings,
    KeepMark,
    PutBack,
    Question,
    SetAside,
    SetHandUncertainty,
    SetNotes,
    SetQuestions,
    earlier_marks_of,
    frames_set_aside,
    notes_of,
    questions_of,
    reader_scatter,
    reading_of,
    set_aside_of,
    waiting_marks,
)
from measure_app.finders import Part
from measure_app.run import By, ClipPart, LinePart, Reading, Run, Spot
from measure_app.runfile import load_run, save_run


def spot(y: float, by: By = By.HAND) -> Spot:
    return Spot(Pixel(100.0, y), 0.5, by)


def run_of(*readings: Reading, **parts: Any) -> Run:
    return Run(clip=ClipPart(path="a.mp4"), readings=readings, **parts)


RUN = run_of(
    Reading(0, spot(10.0), spot(11.0)), Reading(5, spot(20.0)), Reading(9, spot(30.0, By.FOUND), note="dim")
)


def test_everything_kept_goes_through_a_file_and_leaves_other_programs_keys_alone(tmp_path: Path) -> None:
    run = replace(RUN, extra={"another": {"x": [1, 2]}})
    questions = (Question("Why?", "=1+1"), Question("How?"))
    edits = (SetNotes("rain"), SetQuestions(questions), SetAside((5,), "a splash"), KeepMark(0, Part.SURFACE))
    for edit in edits:
        run = edit.apply(run)
    save_run(run, tmp_path / "a.run.json")
    again = load_run(tmp_path / "a.run.json")
    assert notes_of(again) == "rain"
    assert questions_of(again) == questions
    assert [(each.reading.frame, each.reason) for each in set_aside_of(again)] == [(5, "a splash")]
    assert [mark.frame for mark in earlier_marks_of(again)] == [0]
    assert again.extra["another"] == {"x": [1, 2]}


def test_what_says_nothing_leaves_no_trace() -> None:
    run = SetNotes("").apply(SetNotes("rain").apply(RUN))
    assert run == RUN


def test_set_aside_takes_readings_out_and_put_back_brings_them_back_as_they_were() -> None:
    out = SetAside((5, 9), "the hand is in the way").apply(RUN)
    assert [reading.frame for reading in out.readings] == [0]
    assert frames_set_aside(out) == {5, 9}
    assert PutBack((5, 9)).apply(out) == RUN


def test_a_reading_made_since_then_stays_when_the_old_one_is_put_back() -> None:
    out = SetAside((5,), "blurred").apply(RUN)
    anew = SetSurface(5, spot(21.5)).apply(out)
    back = PutBack((5,)).apply(anew)
    assert reading_of(back, 5) == Reading(5, spot(21.5))
    assert not set_aside_of(back)


def test_setting_aside_wants_a_reason_and_a_reading() -> None:
    with pytest.raises(EditRefused, match="why"):
        SetAside((5,), "  ").apply(RUN)
    with pytest.raises(EditRefused, match="no reading"):
        SetAside((77,), "why not").apply(RUN)


def test_marking_again_hides_the_first_mark_and_the_two_give_the_scatter() -> None:
    run = RUN
    for frame in (0, 5):
        run = KeepMark(frame, Part.SURFACE).apply(run)
    assert {(m.frame, m.spot.px.y) for m in waiting_marks(run)} == {(0, 10.0), (5, 20.0)}
    assert reader_scatter(run, Part.SURFACE) is None
    run = SetSurface(0, spot(11.0)).apply(run)
    run = SetSurface(5, spot(23.0)).apply(run)
    found = reader_scatter(run, Part.SURFACE)
    assert found is not None
    # Variance of each pair of marks: d²/2; pooled over the two frames: (1/2 + 9/2)/2.
    assert found.sd_px == pytest.approx(np.sqrt((0.5 + 4.5) / 2))
    assert (found.frames, found.freedom) == (2, 2)
    assert reader_scatter(run, Part.LANDING) is None


def test_only_the_scatter_along_the_line_counts() -> None:
    across = LinePart(Pixel(0.0, 0.0), Pixel(100.0, 0.0))
    run = KeepMark(5, Part.SURFACE).apply(replace(RUN, gauge_line=across))
    run = SetSurface(5, spot(29.0)).apply(run)
    found = reader_scatter(run, Part.SURFACE)
    assert found is not None
    assert found.sd_px == pytest.approx(0.0)


def test_the_pooled_scatter_is_that_of_the_reader() -> None:
    rng = np.random.default_rng(3)
    run = run_of(*(Reading(f, spot(100.0 + f + rng.normal(0, 0.7))) for f in range(300)))
    marks = {f: spot(100.0 + f + rng.normal(0, 0.7)) for f in range(300)}
    kept = [
        {"frame": f, "part": "surface", "spot": {"px": list(s.px), "px_u": 0.5, "by": "hand"}}
        for f, s in marks.items()
    ]
    run = replace(run, extra={KEY: {"second_marks": kept}})
    found = reader_scatter(run, Part.SURFACE)
    assert found is not None
    assert found.sd_px == pytest.approx(0.7, rel=0.1)


def test_marks_that_were_not_repeated_can_be_brought_back() -> None:
    run = KeepMark(5, Part.SURFACE).apply(RUN)
    assert BringBackMarks().apply(run) == RUN


def test_a_found_reading_is_no_mark_to_repeat() -> None:
    with pytest.raises(EditRefused, match="by hand"):
        KeepMark(9, Part.SURFACE).apply(RUN)


def test_the_uncertainty_of_hand_marks_is_set_and_that_of_found_ones_is_not() -> None:
    run = SetHandUncertainty(Part.SURFACE, 0.8).apply(RUN)
    assert [r.surface.px_u for r in run.readings if r.surface] == [0.8, 0.8, 0.5]
    assert run.readings[0].landing == spot(11.0)


def test_a_deleted_reading_leaves_its_note() -> None:
    run = ClearReadings((5, 9)).apply(RUN)
    assert [(r.frame, r.note) for r in run.readings] == [(0, ""), (9, "dim")]
    one = ClearReadings((0,), (Part.LANDING,)).apply(RUN)
    assert one.readings[0] == Reading(0, spot(10.0))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**6), 10**6) | st.floats(-1e9, 1e9) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=12,
)
OWN = st.dictionaries(st.sampled_from(["notes", "questions", "second_marks", "set_aside", "?"]), JSON)


@given(st.one_of(JSON, OWN))
def test_anything_under_extra_is_read_without_an_error(junk: Any) -> None:
    run = replace(RUN, extra={KEY: junk})
    assert isinstance(notes_of(run), str)
    earlier_marks_of(run), waiting_marks(run), frames_set_aside(run), reader_scatter(run, Part.SURFACE)
    assert all(isinstance(each.question, str) for each in questions_of(run))
    assert all(each.reading.frame >= 0 for each in set_aside_of(run))
    assert run.extra == {KEY: junk}


def test_a_foreign_thing_under_our_key_is_not_overwritten() -> None:
    with pytest.raises(EditRefused, match="rename"):
        SetNotes("mine").apply(replace(RUN, extra={KEY: [1, 2, 3]}))
