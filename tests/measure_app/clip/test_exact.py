"""Every frame is the right one: at random, backwards, forwards, in a row, from every codec and container."""

from __future__ import annotations

import gc
import itertools
import random
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from measure_app.clip import CACHE_BYTES, Clip, open_clip
from measure_app.errors import ClipClosed, ClipError, Stopped
from tests.measure_app.clip.films import FILMS, FRAMES, crc, number_in

FilmAt = Callable[[str], Path]
Truth = Callable[[str], list[tuple[int | None, int, int]]]
ALL = sorted(FILMS)


def wrong(clip: Clip, order: list[int], known: list[tuple[int | None, int, int]]) -> list[int]:
    return [i for i in order if crc(clip.frame(i).plane) != known[i][2]]


@pytest.mark.parametrize("name", ALL)
def test_the_reference_is_what_was_painted(name: str, truth: Truth) -> None:
    first = FILMS[name].first_number
    assert [number for _, number, _ in truth(name)] == list(range(first, FRAMES))


@pytest.mark.parametrize("name", ALL)
def test_no_frame_is_wrong_at_random_and_stepping_either_way(
    name: str, film_at: FilmAt, truth: Truth
) -> None:
    known = truth(name)
    count = len(known)
    rng = random.Random(name)  # noqa: S311  the same order each time
    order = [rng.randrange(count) for _ in range(30)]
    order += (
        list(range(count - 1, count - 30, -1)) + list(range(20, 35)) + [0, count - 1, 0, 1, 24, 23, 22, 25]
    )
    plane_bytes = 128 * 96 * 3 * (2 if FILMS[name].bit_depth == 10 else 1)
    for room in (CACHE_BYTES, 9 * plane_bytes):  # a small cache makes every step fetch again
        with open_clip(film_at(name), cache_bytes=room) as clip:
            assert clip.info.n_frames == count
            assert wrong(clip, order, known) == []
            assert clip.frame(7).index == 7
            assert number_in(clip.frame(7).plane) == FILMS[name].first_number + 7
            assert clip.cached_bytes <= room
            assert clip.damaged == ()


@pytest.mark.parametrize("name", ALL)
def test_a_pass_gives_every_frame_once_in_order(name: str, film_at: FilmAt, truth: Truth) -> None:
    known = truth(name)
    with open_clip(film_at(name)) as clip:
        for span in (
            range(len(known)),
            range(11, 60),
            range(5, 70, 7),
            range(33, 34),
            range(len(known) - 1, len(known)),
        ):
            seen = [
                (p.index, crc(p.plane), p.suspect) for p in clip.luma_planes(span.start, span.stop, span.step)
            ]
            assert seen == [(i, known[i][2], None) for i in span]


@pytest.mark.parametrize("name", ALL)
def test_times_are_the_files_own_ticks(name: str, film_at: FilmAt, truth: Truth) -> None:
    film = FILMS[name]
    with open_clip(film_at(name)) as clip:
        stamps = clip.stamps
    painted = np.array([float((t - film.shown_ticks[0]) * film.base) for t in film.shown_ticks])
    # Matroska and webm keep whole milliseconds; the first and another frame may be off by half of one each.
    tolerance = 1e-3 if name.endswith(("mkv", "webm")) else 1e-12
    assert np.abs(stamps.seconds() - painted).max() <= tolerance
    if name != "h264_b.avi":  # there, the times that come with the pictures are not to be had
        assert [p for p, _, _ in truth(name)] == stamps.ticks.tolist()
    assert stamps.seconds()[0] == 0.0
    assert stamps.second(5) == pytest.approx(stamps.seconds()[5], abs=1e-15)
    assert float(stamps[5].after(stamps[0])) == stamps.second(5)


def test_avi_with_reordered_pictures_is_counted_and_says_so(film_at: FilmAt) -> None:
    with open_clip(film_at("h264_b.avi")) as clip:
        assert any("counted from the start" in words for words in clip.info.remarks)


def test_stepping_back_decodes_little_once_it_has_begun(film_at: FilmAt) -> None:
    with open_clip(film_at("one_key.mp4")) as clip:
        pulled = 0
        following = clip._roller.next

        def counting() -> object:
            nonlocal pulled
            pulled += 1
            return following()

        clip._roller.next = counting  # type: ignore[method-assign,assignment]
        for index in range(FRAMES - 1, -1, -1):
            clip.frame(index)
        # one roll to the last frame that skips what it may, one that keeps everything
        assert pulled <= 2 * FRAMES
        pulled = 0
        for index in (*range(FRAMES), *range(FRAMES - 1, -1, -1)):
            clip.frame(index)
        assert pulled == 0


def test_prefetch_fills_the_neighbourhood_and_can_be_stopped(film_at: FilmAt, truth: Truth) -> None:
    with open_clip(film_at("open_gop.mp4")) as clip:
        assert clip.prefetch(30, 50)
        assert all(clip.is_cached(i) for i in range(30, 51))
        assert wrong(clip, list(range(50, 29, -1)), truth("open_gop.mp4")) == []
        answers = iter([False, False, True])
        assert not clip.prefetch(60, 89, lambda: next(answers))
        assert not clip.is_cached(80)
        assert clip.prefetch(-5, 500)
        assert all(clip.is_cached(i) for i in range(FRAMES))


@pytest.mark.parametrize("room", [0, 1000, 18_432 * 3, 18_432 * 10 + 17])
def test_the_cache_never_holds_more_than_its_bound(room: int, film_at: FilmAt, truth: Truth) -> None:
    with open_clip(film_at("open_gop.mp4"), cache_bytes=room) as clip:
        for index in (50, 49, 48, 47, 3, 4, 5, 89, 88):
            assert crc(clip.frame(index).plane) == truth("open_gop.mp4")[index][2]
            assert clip.cached_bytes <= room
        clip.prefetch(0, 89)
        assert clip.cached_bytes <= room


def test_a_pass_and_random_access_do_not_disturb_each_other(film_at: FilmAt, truth: Truth) -> None:
    known = truth("hevc.mp4")
    with open_clip(film_at("hevc.mp4"), cache_bytes=100_000) as clip:
        found: list[int] = []
        thread = threading.Thread(target=lambda: found.extend(crc(p.plane) for p in clip.luma_planes()))
        thread.start()
        rng = random.Random(4)  # noqa: S311
        assert wrong(clip, [rng.randrange(FRAMES) for _ in range(25)], known) == []
        thread.join()
        assert found == [c for _, _, c in known]


@pytest.mark.parametrize("name", ["open_gop.mp4", "h264_b.avi", "hevc.mp4", "mjpeg.mov"])
def test_a_film_at_rest_keeps_no_decoder_and_gives_the_same_frames(name: str, film_at: FilmAt) -> None:
    with open_clip(film_at(name)) as clip:
        known = [crc(plane.plane) for plane in clip.luma_planes() if plane.plane is not None]
        kept = clip.frame(70)
        for index in (40, 12):
            clip.rest()
            assert clip._roller.film.container is None
            assert clip._roller.film.stream is None
            assert clip.at_hand(70) is kept
            assert [
                crc(plane.plane) for plane in clip.luma_planes(50, 52) if plane.plane is not None
            ] == known[50:52]
            assert clip._roller.film.container is None
            assert crc(clip.frame(index).plane) == known[index]
        clip.prefetch(80, 85)
        clip.rest()
        assert clip.prefetch(20, 25)
        assert crc(clip.frame(21).plane) == known[21]
        clip.rest()
    clip.rest()  # once closed, there is nothing to let go of


def test_a_stopped_pass_raises_and_lets_go_of_the_file(film_at: FilmAt) -> None:
    with open_clip(film_at("open_gop.mp4")) as clip:
        seen: list[int] = []
        answers = itertools.count()
        with pytest.raises(Stopped):
            seen.extend(p.index for p in clip.luma_planes(stop_requested=lambda: next(answers) >= 10))
        assert len(seen) < 10
        assert seen == list(range(len(seen)))
        assert crc(clip.frame(3).plane)


def test_planes_are_read_only_views_of_the_coded_picture(film_at: FilmAt) -> None:
    with open_clip(film_at("ten_bits.mkv")) as clip:
        first = next(iter(clip.luma_planes()))
        assert first.plane is not None
        assert first.plane.dtype == np.uint16
        assert first.plane.max() > 255
        with pytest.raises(ValueError, match="read-only"):
            first.plane[0, 0] = 1


def test_a_clip_that_is_over_holds_no_frames_until_circles_are_looked_for(film_at: FilmAt) -> None:
    def frames() -> int:
        return sum(type(each).__name__ == "VideoFrame" for each in gc.get_objects())

    gc.collect()
    before = frames()
    gc.disable()
    try:
        with open_clip(film_at("open_gop.mp4")) as clip:
            for index in (30, 29, 80):
                clip.frame(index).bgra()
            planes = sum(luma.plane is not None for luma in clip.luma_planes())
            assert planes == FRAMES
            assert frames() > before
        del clip, planes
        assert frames() == before
    finally:
        gc.enable()


def test_frames_outlive_the_clip_but_the_clip_itself_is_closed(film_at: FilmAt) -> None:
    with open_clip(film_at("open_gop.mp4")) as clip:
        frame = clip.frame(40)
        planes = clip.luma_planes()
        next(planes)
    assert number_in(frame.plane) == 40
    assert frame.bgra().shape == (96, 128, 4)
    assert len(clip.stamps) == FRAMES
    for use in (lambda: clip.frame(0), clip.luma_planes, lambda: clip.prefetch(0, 5), lambda: list(planes)):
        with pytest.raises(ClipClosed, match=r"open_gop\.mp4"):
            use()
    clip.close()


def test_frames_that_are_not_there_are_refused_by_number(film_at: FilmAt) -> None:
    with open_clip(film_at("open_gop.mp4")) as clip:
        for index in (-1, FRAMES):
            with pytest.raises(ClipError, match=rf"open_gop\.mp4, frame {index}: .*0 to 89"):
                clip.frame(index)
        for span in ((-1, 5, 1), (5, 91, 1), (9, 3, 1), (0, 5, 0)):
            with pytest.raises(ClipError, match="not in the film"):
                clip.luma_planes(*span)
        assert list(clip.luma_planes(7, 7)) == []
