"""A film decoded elsewhere is the film decoded here, bit by bit, and leaves nothing behind."""

from __future__ import annotations

import gc
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from measure_app.clip import open_source
from measure_app.decoder import Decoder, open_film
from measure_app.errors import ClipClosed, ClipError, Stopped


@pytest.fixture(params=["film", "odd_film"])
def any_film(request: pytest.FixtureRequest) -> Path:
    path: Path = request.getfixturevalue(request.param)
    return path


def test_what_is_known_of_a_film_is_the_same(decoder: Decoder, any_film: Path) -> None:
    with open_source(any_film) as here, open_film(decoder, any_film) as there:
        assert there.info == here.info
        assert np.array_equal(there.stamps.ticks, here.stamps.ticks)
        assert (there.stamps.base, there.stamps.ratio) == (here.stamps.base, here.stamps.ratio)


def test_frames_are_the_same(decoder: Decoder, any_film: Path) -> None:
    with open_source(any_film) as here, open_film(decoder, any_film) as there:
        for index in (0, 25, 24, 39, 7):
            a, b = here.frame(index), there.frame(index)
            assert (a.index, a.stamp, a.suspect) == (b.index, b.stamp, b.suspect)
            for layout in ("bgra", "bgr", "luma"):
                ours, theirs = getattr(a, layout)(), getattr(b, layout)()
                assert ours.dtype == theirs.dtype
                assert np.array_equal(ours, theirs)
                assert theirs.flags.c_contiguous


@pytest.mark.parametrize("span", [(0, None, 1), (3, 38, 7), (39, 40, 1), (5, 5, 1)])
def test_passes_are_the_same(decoder: Decoder, any_film: Path, span: tuple[int, int | None, int]) -> None:
    with open_source(any_film) as here, open_film(decoder, any_film) as there:
        for a, b in zip(here.luma_planes(*span), there.luma_planes(*span), strict=True):
            assert (a.index, a.suspect) == (b.index, b.suspect)
            assert a.plane is not None
            assert b.plane is not None
            assert np.array_equal(a.plane, b.plane)
            assert not b.plane.flags.writeable
            for ours, theirs in zip(a.chroma or (), b.chroma or (), strict=True):
                assert np.array_equal(ours, theirs)
            assert (a.chroma is None) == (b.chroma is None)


def test_a_damaged_film_has_the_same_doubts(decoder: Decoder, film: Path, tmp_path: Path) -> None:
    data = bytearray(film.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 300] = bytes(300)
    bad = tmp_path / "bad.mp4"
    bad.write_bytes(data)
    with open_source(bad) as here, open_film(decoder, bad) as there:
        ours = [(each.index, each.plane is None, each.suspect) for each in here.luma_planes()]
        theirs = [(each.index, each.plane is None, each.suspect) for each in there.luma_planes()]
    assert ours == theirs
    assert any(suspect for _, _, suspect in ours)


def test_frames_stay_good_however_many_are_held_and_after_the_end(decoder: Decoder, film: Path) -> None:
    with open_source(film) as here, open_film(decoder, film) as there:
        held = [there.frame(index).bgra() for index in range(9)]
        wanted = [here.frame(index).bgra() for index in range(9)]
    assert all(np.array_equal(a, b) for a, b in zip(held, wanted, strict=True))


def test_room_comes_back_when_frames_go(decoder: Decoder, film: Path) -> None:
    with open_film(decoder, film) as there:
        for index in range(12):
            pixels = there.frame(index % 5).bgra()
            # A copy would own its pixels; what is seen through shared memory is never all the room there is.
            assert pixels.base is not None
            assert not pixels.base.flags.owndata


def test_pictures_of_another_size_than_the_first_come_whole(decoder: Decoder, tmp_path: Path) -> None:
    import cv2

    rng = np.random.default_rng(1)
    for name, shape in (("1.png", (10, 12, 3)), ("2.png", (300, 200, 3))):
        cv2.imwrite(str(tmp_path / name), rng.integers(0, 255, shape, dtype=np.uint8))
    with open_source(tmp_path) as here, open_film(decoder, tmp_path) as there:
        assert np.array_equal(here.frame(1).bgra(), there.frame(1).bgra())
        assert there.frame(1).suspect == here.frame(1).suspect
        assert [each.plane is None for each in there.luma_planes()] == [False, True]


@pytest.mark.parametrize("wrong", [-1, 40, 10**9])
def test_a_frame_that_is_not_there_is_named(decoder: Decoder, film: Path, wrong: int) -> None:
    with open_film(decoder, film) as there, pytest.raises(ClipError, match=rf"frame {wrong}: .*0 to 39"):
        there.frame(wrong)


def test_what_cannot_be_opened_is_told_as_here(decoder: Decoder, tmp_path: Path) -> None:
    bad = tmp_path / "no film.mp4"
    bad.write_text("<html>")
    told = []
    for opening in (lambda: open_source(bad), lambda: open_film(decoder, bad)):
        with pytest.raises(ClipError) as caught:
            opening()
        told.append(str(caught.value))
    assert told[0] == told[1]
    assert len(decoder.pids) >= 1


def test_a_pass_that_is_left_leaves_its_process_fit_for_the_next(decoder: Decoder, film: Path) -> None:
    with open_film(decoder, film) as there:
        for taken in (1, 5, 9):
            planes = there.luma_planes()
            for _ in range(taken):
                next(planes)
            before = decoder.pids
            planes.close()  # type: ignore[attr-defined]
        stopped = there.luma_planes(stop_requested=lambda: True)
        with pytest.raises(Stopped):
            next(stopped)
        assert [each.index for each in there.luma_planes(0, 40, 13)] == [0, 13, 26, 39]
        assert decoder.pids == before


def test_a_closed_film_says_so(decoder: Decoder, film: Path) -> None:
    there = open_film(decoder, film)
    planes = there.luma_planes()
    next(planes)
    there.close()
    with pytest.raises(ClipClosed):
        list(planes)
    with pytest.raises(ClipClosed):
        there.frame(0)
    with pytest.raises(ClipClosed):
        there.luma_planes()


@pytest.mark.skipif(sys.platform != "linux", reason="counts handles in /proc")
def test_nothing_is_left_behind(film: Path) -> None:
    def handles() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    def mapped() -> int:
        return Path("/proc/self/maps").read_text().count("memfd:clepsydra")

    gc.collect()  # windows of tests before this one may still hold a frame
    before, mapped_before = handles(), mapped()
    decoder = Decoder()
    for _ in range(2):
        with open_film(decoder, film) as there:
            there.frame(3).bgra()
            assert sum(1 for _ in there.luma_planes()) == 40
    pids = decoder.pids
    assert pids
    decoder.close()
    assert handles() == before
    assert mapped() == mapped_before
    assert decoder.pids == ()
    end = time.monotonic() + 5
    while any(Path(f"/proc/{pid}").exists() for pid in pids) and time.monotonic() < end:
        time.sleep(0.01)
    assert not any(Path(f"/proc/{pid}").exists() for pid in pids)
    with pytest.raises(ClipClosed):
        open_film(decoder, film)
