"""Spoilt films read anywhere: no picture is wrong without a mark that a pass from the beginning would mark."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from measure_app.clip import open_clip
from measure_app.clip.dispensable import dispensable_in
from measure_app.clip.opening import open_film
from measure_app.clip.roller import Roller
from tests.benchmarks.spoilt import spoilt_copy, true_pictures, wrong_unmarked
from tests.measure_app.clip.films import FRAMES

FilmAt = Callable[[str], Path]


@pytest.mark.parametrize(
    ("name", "damage", "seed"),
    [
        ("short_gop.mkv", "flip", 2),  # a fault shows on a picture that comes after those built on it
        ("mpeg4_b.avi", "zeros100", 0),
        ("hevc.mp4", "garbage800", 1),  # what spoilt the end of one picture shows in the next only
        ("no_b.mp4", "garbage40", 12),  # a spoilt head reads like that of a picture which may be left out
        ("one_key.mp4", "zeros100", 5),
        ("open_gop.mp4", "garbage40", 14),  # the decoder begins where pictures need some from before
        ("gradual_refresh.mp4", "flip", 2),  # the spoilt picture itself is decoded, but never comes out
        ("gradual_refresh.mp4", "zeros100", 1),
        ("gradual_refresh.mp4", "garbage40", 108),  # encoders promise a whole picture too early
    ],
)
def test_single_frames_and_passes_from_anywhere_hide_no_fault(
    name: str, damage: str, seed: int, tmp_path: Path, film_at: FilmAt
) -> None:
    known = true_pictures(film_at(name))
    rng = random.Random(f"{name} {seed} {damage}")  # noqa: S311  damage that was hidden once
    path = spoilt_copy(film_at(name), tmp_path / name, damage, rng)
    for way in ("random", "window", "amid"):
        wrong, right = wrong_unmarked(path, known, way, rng)
        assert wrong == [], way
        assert right >= 20


@pytest.mark.parametrize(
    "name", ["open_gop.mp4", "h264_b.avi", "hevc.mp4", "mpeg4_b.avi", "mpeg4.mp4", "no_b.mp4"]
)
def test_what_may_be_left_out_is_what_the_decoder_leaves_out(name: str, film_at: FilmAt) -> None:
    film = open_film(film_at(name), in_turn=True)
    context = film.stream.codec_context
    told = dispensable_in(context.codec.canonical_name, context.extradata)
    assert told is not None
    packets = [packet for packet, _ in film.packets()]
    few = {packet.pts for packet in packets if packet.size and not told(bytes(packet))}
    context.skip_frame = "NONREF"
    assert {frame.pts for packet in packets for frame in packet.decode()} == few
    assert (len(few) < FRAMES) == (name != "no_b.mp4")
    film.close()


@pytest.mark.parametrize("name", ["open_gop.mp4", "h264_b.avi", "hevc.mp4", "mpeg4.mp4"])
def test_a_packet_with_a_spoilt_head_is_never_left_out(name: str, film_at: FilmAt) -> None:
    film = open_film(film_at(name))
    context = film.stream.codec_context
    told = dispensable_in(context.codec.canonical_name, context.extradata)
    assert told is not None
    whole = next(data for packet, _ in film.packets() if told(data := bytes(packet)))
    film.close()
    assert not told(b"")
    assert not told(bytes(8) + whole[8:])
    assert not told(b"\xff" * 8 + whole[8:])
    assert not told(whole[:3])
    if name.startswith("open"):  # lengths stand before units
        assert not told(whole[:-1])
        assert not told(whole + b"\0")


def test_codecs_of_which_nothing_is_known_have_nothing_left_out() -> None:
    assert dispensable_in("vp9", None) is None


def test_open_groups_of_pictures_are_read_in_turn_without_opening_the_film_again_and_again(
    film_at: FilmAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their first pictures need some from before; a decoder that falls over that is not tried for ever."""
    opened: list[dict[str, bool]] = []
    plain = Roller._change

    def noted(roller: Roller, **how: bool) -> None:
        opened.append(how)
        plain(roller, **how)

    path = film_at("open_gop.mp4")
    with open_clip(path, cache_bytes=0) as clip:
        monkeypatch.setattr(Roller, "_change", noted)
        for index in (30, 55):
            assert clip.frame(index).suspect is None
        opened.clear()
        for index in (80, 60, 35, 85):
            assert clip.frame(index).suspect is None
        assert opened == []
        assert clip.frame(3).suspect is None  # nothing stands before the first group
        assert opened == [{"watched": True, "in_turn": False}]
        assert clip.damaged == ()


def test_after_damage_the_other_groups_keep_their_fast_decoder(tmp_path: Path, film_at: FilmAt) -> None:
    rng = random.Random(1)  # noqa: S311
    path = spoilt_copy(film_at("short_gop.mkv"), tmp_path / "spoilt.mkv", "garbage800", rng)
    with open_clip(path, cache_bytes=0) as clip:
        for index in range(clip.info.n_frames):
            if clip.frame(index).suspect:
                break
        assert clip._roller.film.in_turn
        far = (index + FRAMES // 2) % FRAMES
        assert clip.frame(far).suspect is None
        assert clip._roller.film.watched
        assert not clip._roller.film.in_turn
