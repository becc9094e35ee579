"""Runs that damaged files gave and that once ended in a failure of ours: each is worked out, or refused in words."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure_app.__main__ import main
from measure_app.clip import open_clip
from measure_app.errors import AppError, RunFileError
from measure_app.outcome import Outcome, outcome_of
from measure_app.report.summary import shown
from measure_app.runfile import decode_run

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench"


def tree_with_readings(surface: Any, landing: Any, frames: range) -> Any:
    """Return the bench run with hand readings at places given by frame."""
    tree = json.loads((BENCH / "bench.run.json").read_text(encoding="utf-8"))
    tree["readings"] = [
        {
            "frame": i,
            "surface": surface and {"px": surface(i), "px_u": 0.5, "by": "hand"},
            "landing": landing and {"px": landing(i), "px_u": 1.5, "by": "hand"},
        }
        for i in frames
    ]
    return tree


def worked_out(tree: Any) -> Outcome:
    with open_clip(BENCH / "bench.mp4") as clip:
        return outcome_of(decode_run(json.dumps(tree).encode()), clip.times_s(), clip.info)


def test_a_graduation_pressed_at_the_other_end_of_the_picture_brings_nothing_down() -> None:
    tree = tree_with_readings(
        lambda i: [381.0, 60.0 + 0.7 * i], lambda i: [1000.0 - i, 617.0], range(0, 300, 30)
    )
    tree["rules"][1]["graduations"][6]["px"] = [777.4, 0.6195]
    outcome = worked_out(tree)
    cv = outcome.findings.finding("speed_coefficient")
    assert 0.5 < cv.value < 1.5
    assert cv.u < 0.2


def test_a_surface_that_never_moves_under_a_jet_that_does_is_told_to_be_off() -> None:
    tree = tree_with_readings(lambda _: [455.0, 160.0], lambda i: [1000.0 - i, 617.0], range(0, 300, 3))
    findings = worked_out(tree).findings
    assert findings.finding("discharge_coefficient").value < 0.01
    assert any("outside the published band" in remark.says for remark in findings.remarks)


@given(words=st.text(), where=st.text())
def test_a_refusal_is_one_line_that_moves_no_cursor_whatever_a_file_or_a_key_is_called(
    words: str, where: str
) -> None:
    error = AppError(words, where=where)
    assert str(error).isprintable()
    assert error.words.isprintable()
    assert error.where.isprintable()


@pytest.mark.skipif(os.name == "nt", reason="names that Windows does not allow")
@pytest.mark.parametrize(
    "name", ["a\nclepsydra: all is well.run.json", "a\x1b[2J.run.json", "a\u202enosj.run.json"]
)
def test_a_file_with_a_treacherous_name_is_refused_in_one_line(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / name
    place.write_text('{"clip": {}, "clip": {}}', encoding="utf-8")
    assert main(["measure", str(place), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert told.rstrip("\n").isprintable()
    assert not (tmp_path / "out").exists()


def test_a_key_with_a_line_feed_that_stands_twice_is_named_in_one_line() -> None:
    with pytest.raises(RunFileError, match=r"^x: a b\?: the key stands twice") as caught:
        decode_run(b'{"a\\nb\\u001b": 1, "a\\nb\\u001b": 2}', "x")
    assert str(caught.value).isprintable()


def test_a_title_cannot_move_the_cursor_of_the_terminal_that_the_summary_is_printed_on() -> None:
    said = shown("title\x1b[2J\rof \u202ea film\nnext line \u2009√h", "utf-8")
    assert said == "title?[2J?of ?a film\nnext line \u2009√h"
