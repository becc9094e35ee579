"""A folder of still pictures as a film without a clock."""

from __future__ import annotations

from pathlib import Path

import cv2
import msgspec
import numpy as np
import pytest

from measure_app.clip import Stills, open_clip, open_source
from measure_app.errors import ClipClosed, ClipError, Stopped
from measure_app.outcome import measure
from measure_app.runfile import load_run
from measure_app.sample import sample_run

COUNT = 12


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every twenty-fifth frame of the bench clip as a picture, named so that plain sorting would misplace them."""
    folder = tmp_path_factory.mktemp("stills")
    with open_clip(sample_run().parent / "bench.mp4") as clip:
        for i in range(COUNT):
            cv2.imwrite(str(folder / f"shot {i + 1}.png"), clip.frame(25 * i).bgr())
    (folder / "notes.txt").write_text("not a picture")
    return folder


def test_pictures_come_in_the_order_of_their_numbers(bench: Path) -> None:
    with open_source(bench) as stills, open_clip(sample_run().parent / "bench.mp4") as clip:
        assert isinstance(stills, Stills)
        assert stills.info.n_frames == COUNT
        assert (stills.info.width, stills.info.height) == (1280, 720)
        for i in (0, 1, 9, 11):  # "shot 10" would come before "shot 2" by plain sorting
            assert np.array_equal(stills.frame(i).bgr(), clip.frame(25 * i).bgr())
            assert np.array_equal(stills.frame(i).bgra()[..., :3], stills.frame(i).bgr())


def test_there_is_no_clock_and_that_is_said(bench: Path) -> None:
    with open_source(bench) as stills:
        assert stills.info.file_rate == 0
        assert any("no clock" in remark for remark in stills.info.remarks)


def test_what_needs_no_time_is_derived_and_the_rest_is_named(bench: Path) -> None:
    run = load_run(sample_run())
    run = msgspec.structs.replace(run, clip=msgspec.structs.replace(run.clip, path="stills", sha256=None))
    with open_source(bench) as stills:
        outcome = measure(run, stills)
    assert len([row for row in outcome.rows if row.head_m is not None]) >= COUNT - 2
    assert all(row.time_s is None for row in outcome.rows)
    cv = outcome.findings.finding("speed_coefficient")
    assert cv is not None
    assert abs(cv.value - 0.972) < 4 * cv.u + 0.01  # as the film itself gives it
    missing = {each.name for each in outcome.findings.undetermined}
    assert {"drain_rate_root_m_per_s", "time_to_empty_s"} <= missing


def test_hostile_pictures_are_one_line_each_and_do_not_stop_the_rest(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "1.png"), np.full((60, 80, 3), 90, np.uint8))
    (tmp_path / "2.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 300)
    cv2.imwrite(str(tmp_path / "3.png"), np.full((30, 80, 3), 90, np.uint8))
    cv2.imwrite(str(tmp_path / "4.jpg"), np.full((60, 80, 3), 120, np.uint8))
    with open_source(tmp_path) as stills:
        with pytest.raises(ClipError, match=r"2\.png: is no picture") as error:
            stills.frame(1)
        assert "\n" not in str(error.value)
        assert stills.frame(2).suspect
        assert stills.prefetch(0, 9)
        assert [plane.suspect is None for plane in stills.luma_planes()] == [True, False, False, True]
        with pytest.raises(Stopped):
            list(stills.luma_planes(stop_requested=lambda: True))
        with pytest.raises(ClipError, match="no such picture"):
            stills.frame(4)
    with pytest.raises(ClipClosed):
        stills.frame(0)


def test_a_folder_without_pictures_is_said(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match="holds no still picture"):
        open_source(tmp_path)
