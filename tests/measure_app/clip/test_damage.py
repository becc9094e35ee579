"""Damaged films: the frames that can be had are had, the others are named, and none is wrong without a word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from measure_app.clip import Clip, open_clip
from measure_app.clip.roller import Roller
from measure_app.clip.trust import LOST, SPOILT, DamageBook
from measure_app.errors import ClipError
from tests.measure_app.clip.films import FRAMES, crc

FilmAt = Callable[[str], Path]
Truth = Callable[[str], list[tuple[int | None, int, int]]]


def spoil(source: Path, target: Path, at: float, length: int, fill: str) -> Path:
    """Copy a film with a stretch of its picture data overwritten."""
    data = bytearray(source.read_bytes())
    start = data.index(b"mdat") + 8 if b"mdat" in data else len(data) // 20
    place = start + int(at * (len(data) - start))
    junk = bytes(length) if fill == "zeros" else np.random.default_rng(place).bytes(length)
    data[place : place + length] = junk
    target.write_bytes(data[: len(data)])
    return target


def hidden_faults(clip: Clip, known: list[tuple[int | None, int, int]]) -> tuple[list[int], int]:
    """Frames that are wrong without a word, and how many are sound."""
    by_time = {pts: value for pts, _, value in known}
    wrong, sound = [], 0
    for plane in clip.luma_planes():
        if plane.suspect is None and plane.plane is not None:
            if crc(plane.plane) == by_time[int(clip.stamps.ticks[plane.index])]:
                sound += 1
            else:
                wrong.append(plane.index)
    return wrong, sound


@pytest.mark.parametrize("name", ["open_gop.mp4", "short_gop.mkv", "hevc.mp4", "mpeg4.avi", "mjpeg.avi"])
@pytest.mark.parametrize(
    ("at", "length"), [(0.31, 1500), (0.31, 6000), (0.55, 1500), (0.55, 6000), (0.8, 1500)]
)
def test_a_stretch_of_zeros_never_gives_a_wrong_frame_without_a_word(
    name: str, at: float, length: int, request: pytest.FixtureRequest
) -> None:
    film_at, truth, folder = (request.getfixturevalue(n) for n in ("film_at", "truth", "tmp_path"))
    path = spoil(film_at(name), folder / name, at, length, "zeros")
    with open_clip(path) as clip:
        wrong, sound = hidden_faults(clip, truth(name))
        assert wrong == []
        assert sound >= 10
        assert clip.damaged != () or clip.info.gaps != ()
        assert sum(last - first + 1 for first, last, _ in clip.damaged) == clip.info.n_frames - sound


@pytest.mark.parametrize("name", ["open_gop.mp4", "short_gop.mkv", "mpeg4.avi"])
@pytest.mark.parametrize("at", [0.31, 0.55, 0.8])
def test_garbage_is_noticed_where_the_codec_can_tell(
    name: str, at: float, tmp_path: Path, film_at: FilmAt, truth: Truth
) -> None:
    path = spoil(film_at(name), tmp_path / name, at, 800, "garbage")
    with open_clip(path) as clip:
        wrong, sound = hidden_faults(clip, truth(name))
        assert wrong == []
        assert sound >= 10


def test_after_the_next_key_frame_all_is_sound_again(tmp_path: Path, film_at: FilmAt, truth: Truth) -> None:
    known = truth("open_gop.mp4")
    path = spoil(film_at("open_gop.mp4"), tmp_path / "middle.mp4", 0.4, 300, "zeros")
    with open_clip(path) as clip:
        planes = list(clip.luma_planes())
        assert [p.index for p in planes] == list(range(FRAMES))
        spoilt = [p.index for p in planes if p.suspect]
        assert 1 <= len(spoilt) <= 2 * 24  # at most the group that is hit, and one whose key came too soon
        after = planes[max(spoilt) + 1 :]
        assert len(after) > 10
        assert [crc(p.plane) for p in after if p.plane is not None] == [
            c for _, _, c in known[max(spoilt) + 1 :]
        ]
        assert {reason for _, _, reason in clip.damaged} <= {LOST, SPOILT}
        assert all(clip.frame(i).suspect for i in spoilt if planes[i].plane is not None)


def test_random_access_around_damage_gives_sound_frames_and_names_the_others(
    tmp_path: Path, film_at: FilmAt, truth: Truth
) -> None:
    path = spoil(film_at("hevc.mp4"), tmp_path / "middle.mp4", 0.5, 4000, "zeros")
    known = truth("hevc.mp4")
    sound = named = 0
    with open_clip(path) as clip:
        for index in (*range(FRAMES - 1, -1, -1), *range(0, FRAMES, 7)):
            try:
                frame = clip.frame(index)
            except ClipError as error:
                named += str(error).startswith(f"middle.mp4, frame {index}: ")
                continue
            if frame.suspect is None:
                assert crc(frame.plane) == known[index][2]
                sound += 1
        assert sound > 40
        assert named > 0
        with pytest.raises(ClipError, match="could not be decoded"):
            clip.frame(next(first for first, _, reason in clip.damaged if reason == LOST))


@pytest.mark.parametrize(
    "name", ["open_gop.mp4", "hevc.mp4", "short_gop.mkv", "mjpeg.avi", "mjpeg.mov", "vp9.webm"]
)
def test_a_film_that_was_cut_short_gives_what_is_there(
    name: str, tmp_path: Path, film_at: FilmAt, truth: Truth
) -> None:
    data = film_at(name).read_bytes()
    path = tmp_path / name
    path.write_bytes(data[: int(len(data) * 0.6)])
    with open_clip(path) as clip:
        wrong, sound = hidden_faults(clip, truth(name))
        assert wrong == []
        assert sound >= 15
        assert clip.info.n_frames < FRAMES
        if not name.endswith(("mkv", "webm")):  # those do not say how many frames they have
            assert any("cut short" in words for words in clip.info.remarks)


def test_lost_chunks_of_avi_do_not_shift_the_times_of_what_follows(
    tmp_path: Path, film_at: FilmAt, truth: Truth
) -> None:
    data = bytearray(film_at("mjpeg.avi").read_bytes())
    chunks = [at for at in range(len(data) - 8) if data[at : at + 4] == b"00dc"][:FRAMES]
    data[chunks[40] - 300 : chunks[43] + 300] = bytes(chunks[43] - chunks[40] + 600)  # heads of four chunks
    path = tmp_path / "holes.avi"
    path.write_bytes(data)
    with open_clip(path) as clip:
        wrong, sound = hidden_faults(clip, truth("mjpeg.avi"))
        assert wrong == []
        assert sound >= FRAMES - 12
        assert clip.times_s()[-1] == pytest.approx((FRAMES - 1) / 30)
        assert clip.info.gaps != ()
        last = clip.info.n_frames - 1
        assert crc(clip.frame(last).plane) == truth("mjpeg.avi")[-1][2]


def test_the_book_of_damage_joins_neighbours_of_one_reason() -> None:
    book = DamageBook()
    for frame, reason in ((5, LOST), (3, SPOILT), (4, SPOILT), (9, SPOILT), (6, LOST)):
        book.note(frame, reason)
    assert book.spans() == ((3, 4, SPOILT), (5, 6, LOST), (9, 9, SPOILT))
    assert book.reason(5) == LOST
    assert book.reason(7) is None


@pytest.mark.parametrize("name", ["short_gop.mkv", "h264_b.avi"])
def test_a_mark_that_may_come_too_late_is_not_relied_on(name: str, tmp_path: Path, film_at: FilmAt) -> None:
    """Pictures decoded side by side may be handed out before they are marked; in turn, they cannot be.

    The second film has no times to seek by: it is read from its start again.
    """
    path = spoil(film_at(name), tmp_path / name, 0.8, 800, "garbage")
    with open_clip(path) as clip:
        roller = Roller(clip._opened(), clip._table)
        try:
            roller.begin(0)
            given = list(iter(roller.next, None))
            assert not roller.film.watched
            assert roller.film.stream.codec_context.thread_count == 1
        finally:
            roller.close()
        assert [rolled.index for rolled in given] == list(range(clip.info.n_frames))


@pytest.mark.parametrize("name", ["open_gop.mp4", "gradual_refresh.mp4", "short_gop.mkv"])
def test_a_sound_film_keeps_its_fast_decoder(name: str, film_at: FilmAt) -> None:
    with open_clip(film_at(name)) as clip:
        for start in (0, FRAMES // 3):
            roller = Roller(clip._opened(), clip._table)
            try:
                roller.begin(start)
                assert [r.index for r in iter(roller.next, None) if r.suspect] == []
                assert roller.film.stream.codec_context.thread_count != 1
            finally:
                roller.close()


@pytest.mark.parametrize("at", [0.31, 0.55, 0.8])
def test_a_round_of_gradual_refresh_is_waited_for_after_damage(
    at: float, tmp_path: Path, film_at: FilmAt, truth: Truth
) -> None:
    path = spoil(film_at("gradual_refresh.mp4"), tmp_path / "spoilt.mp4", at, 800, "garbage")
    with open_clip(path) as clip:
        wrong, sound = hidden_faults(clip, truth("gradual_refresh.mp4"))
        assert wrong == []
        assert sound >= 50
