"""What a film tells of itself: rate, gaps, slow motion, size, and in words what a person should know."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure_app.clip import FrameStamp, Stamps, open_clip, sha256_of, write_clip
from measure_app.clip.stamps import pace_of
from measure_app.errors import ClipError
from tests.measure_app.clip.films import FRAMES, numbered

FilmAt = Callable[[str], Path]


def test_a_plain_film_states_its_facts_and_gives_no_remark(film_at: FilmAt) -> None:
    with open_clip(str(film_at("open_gop.mp4"))) as clip:
        info = clip.info
    assert info.path == film_at("open_gop.mp4").resolve()
    assert (info.width, info.height, info.n_frames, info.bit_depth) == (128, 96, FRAMES, 8)
    assert (info.container, info.codec) == ("mp4/mov", "h264")
    assert info.file_rate == info.average_rate == 30
    assert info.duration_s == pytest.approx(3.0)
    assert not info.variable_rate
    assert info.gaps == ()
    assert info.remarks == ()
    assert info.size_bytes == film_at("open_gop.mp4").stat().st_size
    assert not info.interlaced


@pytest.mark.parametrize(
    ("name", "codec", "bits"),
    [
        ("hevc_ten_bits.mp4", "hevc", 10),
        ("vp9.webm", "vp9", 8),
        ("av1.mkv", "av1", 8),
        ("mjpeg.mov", "mjpeg", 8),
        ("mpeg4.avi", "mpeg4", 8),
    ],
)
def test_codec_and_depth(name: str, codec: str, bits: int, film_at: FilmAt) -> None:
    with open_clip(film_at(name)) as clip:
        assert (clip.info.codec, clip.info.bit_depth) == (codec, bits)


def test_ntsc_rate_is_exact(film_at: FilmAt) -> None:
    with open_clip(film_at("sixty.mp4")) as clip:
        assert clip.info.file_rate == Fraction(60000, 1001)
        assert clip.times_s()[89] == pytest.approx(89 * 1001 / 60000, rel=1e-15)


def test_whole_milliseconds_do_not_make_a_rate_variable_nor_inexact(film_at: FilmAt) -> None:
    with open_clip(film_at("vp9.webm")) as clip:
        assert clip.info.file_rate == 30
        assert not clip.info.variable_rate


def test_dropped_frames_are_gaps_and_are_not_invented(film_at: FilmAt) -> None:
    with open_clip(film_at("uneven.mp4")) as clip:
        assert clip.info.n_frames == FRAMES
        assert clip.info.gaps == ((19, 1), (20, 1), (54, 1))
        assert clip.info.variable_rate
        assert float(clip.info.file_rate) == pytest.approx(30, rel=0.005)
        assert float(clip.info.average_rate) < 29.2
        said = " ".join(clip.info.remarks)
    assert "3 frames are missing at 3 places, first after frame 19" in said
    assert "the frame rate varies" in said


def test_a_rate_halved_in_dim_light_is_variable_and_not_a_row_of_gaps(film_at: FilmAt) -> None:
    with open_clip(film_at("dim_light.mov")) as clip:
        assert clip.info.variable_rate
        assert len(clip.info.gaps) <= 16  # at the change itself, until the running median has followed
        assert clip.times_s()[-1] == pytest.approx(45 / 30 + 44 / 15)


def test_slow_motion_is_offered_and_applied_only_when_told(film_at: FilmAt) -> None:
    path = film_at("slow_motion.mp4")
    with open_clip(path) as clip:
        assert clip.info.capture_rate_hint == 240
        assert clip.times_s()[30] == pytest.approx(1.0)
        assert clip.times_s(240)[30] == pytest.approx(0.125)
        assert any("capture_rate_hz to 240" in words for words in clip.info.remarks)
    with open_clip(path, capture_rate_hz=240) as clip:
        assert clip.stamps.seconds()[30] == pytest.approx(0.125, rel=1e-15)
        assert clip.stamps.second(30) == pytest.approx(0.125, rel=1e-15)
        assert clip.info.remarks == ()
    with open_clip(path, capture_rate_hz=120.0) as clip:
        assert clip.times_s()[30] == pytest.approx(0.25)
        assert any("120, but the camera says that it captured 240" in words for words in clip.info.remarks)


@pytest.mark.parametrize("rate", [0.0, -30.0, float("nan"), float("inf"), 1e9])
def test_an_impossible_capture_rate_is_refused(rate: float, film_at: FilmAt) -> None:
    with pytest.raises(ClipError, match="capture_rate_hz must be more than 0"):
        open_clip(film_at("open_gop.mp4"), capture_rate_hz=rate)


def test_frames_trimmed_by_an_edit_list_are_not_frames(film_at: FilmAt) -> None:
    with open_clip(film_at("trimmed.mp4")) as clip:
        assert clip.info.n_frames == FRAMES - 17
        assert not any("cut short" in words for words in clip.info.remarks)


def test_a_single_frame_is_a_film_without_time(tmp_path: Path) -> None:
    write_clip(tmp_path / "one.mp4", list(numbered(1)))
    with open_clip(tmp_path / "one.mp4") as clip:
        assert clip.info.n_frames == 1
        assert clip.times_s().tolist() == [0.0]
        assert any("single frame" in words for words in clip.info.remarks)
        assert clip.frame(0).bgra().shape == (96, 128, 4)


def test_interlaced_film_is_read_and_said_to_be_interlaced(tmp_path: Path) -> None:
    options = {"x264-params": "tff=1:keyint=20"}
    write_clip(tmp_path / "fields.mp4", list(numbered(20)), options=options)
    with open_clip(tmp_path / "fields.mp4") as clip:
        assert clip.info.interlaced
        assert any("interlaced" in words for words in clip.info.remarks)
        assert clip.frame(11).luma().std() > 20  # neither black nor stale
        assert clip.frame(11).bgra()[:, :, 1].std() > 20


def test_digest(film_at: FilmAt, tmp_path: Path) -> None:
    path = film_at("mjpeg.avi")
    assert sha256_of(path) == hashlib.sha256(path.read_bytes()).hexdigest()
    with pytest.raises(ClipError, match="no such file"):
        sha256_of(tmp_path / "gone.mp4")


def test_stamps_are_good_without_a_film() -> None:
    stamps = Stamps(np.array([1000, 1040, 1120]), Fraction(1, 1000))
    assert stamps.seconds().tolist() == [0.0, 0.04, 0.12]
    assert stamps[1] == FrameStamp(1040, Fraction(1, 1000))
    assert stamps[2].after(stamps[0]) == Fraction(3, 25)
    assert len(stamps) == 3
    with pytest.raises(ValueError, match="read-only"):
        stamps.ticks[0] = 5
    assert Stamps(np.array([], np.int64), Fraction(1, 30)).seconds().size == 0


@given(
    st.integers(1, 100_000),
    st.sampled_from([Fraction(1, 90000), Fraction(1001, 30000), Fraction(1, 15360), Fraction(1, 10**9)]),
    st.integers(-(10**12), 10**12),
    st.floats(1, 1e5),
)
def test_seconds_are_exact_to_the_last_place(step: int, base: Fraction, start: int, capture: float) -> None:
    ticks = start + step * np.arange(50, dtype=np.int64)
    stamps = Stamps(ticks, base).slowed(Fraction(30), capture)
    exact = [float((int(t) - start) * base * stamps.ratio) for t in ticks]
    assert np.allclose(stamps.seconds(), exact, rtol=4e-16, atol=0)


@given(
    st.integers(5, 400),
    st.integers(8, 3000),
    st.lists(st.tuples(st.integers(0, 10**6), st.integers(1, 5)), max_size=4),
)
def test_gaps_are_found_where_frames_were_taken_out(
    count: int, step: int, holes: list[tuple[int, int]]
) -> None:
    wanted = {at % (count - 1): missing for at, missing in holes}
    if len(wanted) > (count - 1) // 8:
        return
    steps = np.full(count - 1, step, np.int64)
    for at, missing in wanted.items():
        steps[at] *= missing + 1
    pace = pace_of(Stamps(np.concatenate([[0], np.cumsum(steps)]), Fraction(1, 90000)), None)
    assert dict(pace.gaps) == wanted
    assert pace.file_rate == Fraction(90000, step)
    assert pace.variable == bool(wanted)
    assert not pace.uneven
