"""Clips written: whole or not at all, with what they were told."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from measure_app.clip import FrameSource, PlaneGeometry, open_clip, write_clip
from measure_app.errors import ClipClosed, ClipError, Stopped
from tests.measure_app.clip.films import numbered
from tests.painted import PaintedClip


def test_luma_is_stored_value_for_value(tmp_path: Path) -> None:
    ramp = np.tile(np.arange(16, 236, dtype=np.uint8)[:200], (32, 1))
    lossless = {"x264-params": "qp=0"}
    write_clip(tmp_path / "ramp.mp4", [ramp] * 3, crf=None, options=lossless)
    deep = (ramp.astype(np.uint16) * 4) + 1
    write_clip(tmp_path / "deep.mkv", [deep] * 3, crf=None, bit_depth=10, options=lossless)
    for name, wanted in (("ramp.mp4", ramp), ("deep.mkv", deep)):
        with open_clip(tmp_path / name) as clip:
            assert (clip.frame(1).plane == wanted).all()


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"ticks": [0, 1, 1]}, "ticks must increase, got 1 after 1 at picture 2"),
        ({"ticks": [0, 1]}, "more pictures than ticks"),
        ({"rotation": 45}, "rotation is 0, 90, 180 or 270"),
        ({"bit_depth": 12}, "bit_depth is 8 or 10"),
        ({"bit_depth": 10}, "uint16"),
        ({"codec": "no_such_codec"}, "could not be written"),
    ],
)
def test_what_cannot_be_written_is_refused_and_leaves_nothing(
    settings: dict[str, Any], words: str, tmp_path: Path
) -> None:
    with pytest.raises(ClipError, match=words):
        write_clip(tmp_path / "x.mp4", list(numbered(3)), **settings)
    assert list(tmp_path.iterdir()) == []


def test_pictures_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    plain = np.zeros((64, 64), np.uint8)
    for pictures, words in (
        ([], "at least one picture"),
        ([plain, np.zeros((64, 66), np.uint8)], "picture 1 differs"),
        ([np.zeros((64, 64, 2), np.uint8)], "shape"),
        ([np.zeros((64, 64, 3), np.uint16)], "colour picture is uint8"),
        ([np.zeros((63, 65), np.uint8)], "could not be written"),
    ):
        with pytest.raises(ClipError, match=words):
            write_clip(tmp_path / "x.mp4", pictures)
    assert list(tmp_path.iterdir()) == []


def test_a_painter_that_fails_leaves_the_old_film_untouched(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "x.mp4", list(numbered(3)))
    before = path.read_bytes()

    def painter() -> Iterator[np.ndarray]:
        yield from numbered(5)
        raise RuntimeError("out of paint")

    with pytest.raises(RuntimeError, match="out of paint"):
        write_clip(path, painter())
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["x.mp4"]


def test_no_folder_to_write_into(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match=r"x\.mp4"):
        write_clip(tmp_path / "none" / "x.mp4", list(numbered(3)))


def test_the_same_pictures_give_the_same_bytes(tmp_path: Path) -> None:
    one = write_clip(
        tmp_path / "1.mp4", numbered(12), rotation=90, metadata={"com.android.capture.fps": "120"}
    )
    two = write_clip(
        tmp_path / "2.mp4", numbered(12), rotation=90, metadata={"com.android.capture.fps": "120"}
    )
    assert one.read_bytes() == two.read_bytes()


def edge_of(source: FrameSource, index: int) -> float:
    """Where grey crosses the middle in the middle column, px, by straight lines between pixels."""
    luma = source.frame(index).luma().astype(float)
    column = luma[:, luma.shape[1] // 2]
    middle = (column[0] + column[-1]) / 2
    row = int(np.flatnonzero(column < middle)[0])
    return row - 1 + (column[row - 1] - middle) / (column[row - 1] - column[row])


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_painted_film_is_a_source_with_its_edge_where_it_was_told(turns: int) -> None:
    geometry = PlaneGeometry(120, 90, Fraction(4, 3), turns, mirrored=turns == 1)
    clip = PaintedClip(lambda t: 20.3 + 15.0 * t, n_frames=40, geometry=geometry, blur_px=1.2)
    source: FrameSource = clip
    for index in (0, 7, 39):
        assert edge_of(source, index) == pytest.approx(20.3 + index / 2, abs=0.12)
    assert source.frame(3).bgra().shape == (clip.info.height, clip.info.width, 4)
    assert source.stamps.seconds()[30] == pytest.approx(1.0)


def test_a_painted_film_can_fail_as_a_real_one_does() -> None:
    clip = PaintedClip(lambda _: 50.0, n_frames=6, noise=2.0, spoilt={2: "glare", 4: ""})
    seen = [(p.index, p.plane is None, p.suspect) for p in clip.luma_planes()]
    assert seen[2] == (2, False, "glare")
    assert seen[4][1]
    assert [s for _, _, s in seen].count(None) == 4
    assert (clip.frame(1).luma() == clip.frame(1).luma()).all()
    for index in (4, 6):
        with pytest.raises(ClipError):
            clip.frame(index)
    with pytest.raises(Stopped):
        list(clip.luma_planes(stop_requested=lambda: True))
    clip.closed = True
    with pytest.raises(ClipClosed):
        clip.frame(0)


@pytest.mark.parametrize("pictures", [1, 2])
def test_a_very_short_hevc_film_is_written_each_time(pictures: int, tmp_path: Path) -> None:
    # libx265 takes decode times from memory it never set when it has fewer pictures than it would reorder
    grey = np.full((64, 96), 90, np.uint8)
    rng = np.random.default_rng(1)
    for _ in range(40):
        stirred = [rng.bytes(int(size)) for size in rng.integers(10, 200_000, 20)]
        path = write_clip(tmp_path / "short.mp4", [grey] * pictures, codec="libx265")
        assert len(stirred) == 20
    with open_clip(path) as clip:
        assert clip.info.n_frames == pictures
