"""The thread that owns the film: right frames, newest wish wins, errors come back, a new film replaces the old."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from measure_app.clip import write_clip
from measure_app.decoder import Decoder
from measure_app.gui.frames import FilmReply, FrameReply, FrameService
from tests.gui.conftest import is_closed

COUNT = 40


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Each frame's number is written as its brightness."""
    path = tmp_path_factory.mktemp("film") / "steps.mp4"
    frames = (np.full((64, 96), 20 + 5 * i, dtype=np.uint8) for i in range(COUNT))
    return write_clip(path, frames, base=Fraction(1, 30), gop=20, crf=1)


@pytest.fixture
def service(decoder: Decoder) -> Iterator[FrameService]:
    made = FrameService(decoder)
    yield made
    made.close()


@pytest.fixture
def opened(qtbot: QtBot, service: FrameService, film: Path) -> FrameService:
    with qtbot.waitSignal(service.film_opened, timeout=60_000) as signal:
        service.open(film)
    reply: FilmReply = signal.args[0]
    assert reply.clip is not None
    return service


def _number(reply: FrameReply) -> int:
    assert reply.pixels is not None
    # Limited-range luma to full-range grey, as any player shows it.
    grey = float(reply.pixels[..., 1].mean())
    return round((grey * 219 / 255 + 16 - 20) / 5)


@pytest.mark.parametrize("index", [0, 17, 39, 20, 19, 1])
def test_the_frame_asked_for_is_the_frame_that_comes(qtbot: QtBot, opened: FrameService, index: int) -> None:
    with qtbot.waitSignal(opened.frame_ready, timeout=60_000) as signal:
        opened.show(index)
    reply: FrameReply = signal.args[0]
    assert (reply.index, _number(reply)) == (index, index)


def test_of_many_wishes_in_a_row_few_are_decoded_and_the_newest_comes_last(
    qtbot: QtBot, opened: FrameService
) -> None:
    seen: list[FrameReply] = []
    opened.frame_ready.connect(seen.append)
    for index in range(COUNT):
        newest = opened.show(index)
    qtbot.waitUntil(lambda: bool(seen) and seen[-1].ticket == newest, timeout=60_000)
    assert seen[-1].index == COUNT - 1
    assert len(seen) < COUNT
    assert [reply.ticket for reply in seen] == sorted(reply.ticket for reply in seen)


def test_frames_at_hand_come_while_the_neighbourhood_is_being_decoded(
    qtbot: QtBot, opened: FrameService
) -> None:
    with qtbot.waitSignal(opened.frame_ready, timeout=60_000):
        opened.show(30)
    qtbot.wait(150)
    for index in (29, 28, 31, 30, 27):
        with qtbot.waitSignal(opened.frame_ready, timeout=60_000) as signal:
            opened.show(index)
        assert _number(signal.args[0]) == index


def test_a_frame_that_is_not_there_is_an_answer(qtbot: QtBot, opened: FrameService) -> None:
    with qtbot.waitSignal(opened.frame_ready, timeout=60_000) as signal:
        opened.show(COUNT + 3)
    reply: FrameReply = signal.args[0]
    assert reply.pixels is None
    assert f"frame {COUNT + 3}" in str(reply.error)


def test_a_film_that_is_let_go_of_is_closed_and_another_can_be_opened(
    qtbot: QtBot, service: FrameService, film: Path
) -> None:
    with qtbot.waitSignal(service.film_opened, timeout=60_000) as signal:
        service.open(film)
    clip = signal.args[0].clip
    service.let_go()
    qtbot.waitUntil(lambda: is_closed(clip), timeout=60_000)
    service.let_go()
    with qtbot.waitSignal(service.film_opened, timeout=60_000) as signal:
        service.open(film)
    with qtbot.waitSignal(service.frame_ready, timeout=60_000) as signal:
        service.show(17)
    assert _number(signal.args[0]) == 17


def test_a_look_aside_does_not_disturb_the_current_frame(qtbot: QtBot, opened: FrameService) -> None:
    seen: list[FrameReply] = []
    opened.frame_ready.connect(seen.append)
    with qtbot.waitSignal(opened.peeked, timeout=60_000) as signal:
        opened.peek(12)
    assert _number(signal.args[0]) == 12
    assert seen == []


@pytest.mark.parametrize("write", [lambda p: p.write_bytes(b"\0" * 5000), lambda p: p.write_text("<html>")])
def test_a_hostile_film_is_one_line_and_the_service_lives_on(
    qtbot: QtBot, opened: FrameService, film: Path, tmp_path: Path, write: Callable[[Path], object]
) -> None:
    bad = tmp_path / "bad.mp4"
    write(bad)
    with qtbot.waitSignal(opened.film_opened, timeout=60_000) as signal:
        opened.open(bad)
    assert signal.args[0].clip is None
    assert "bad.mp4" in str(signal.args[0].error)
    assert "\n" not in str(signal.args[0].error)
    with qtbot.waitSignal(opened.film_opened, timeout=60_000) as signal:
        opened.open(film)
    assert signal.args[0].clip is not None


def test_an_answer_that_comes_after_a_newer_frame_was_shown_is_dropped(
    qtbot: QtBot, opened: FrameService
) -> None:
    with qtbot.waitSignal(opened.frame_ready, timeout=60_000):
        newest = opened.show(20)
    seen: list[FrameReply] = []
    opened.frame_ready.connect(seen.append)
    late = FrameReply(newest, opened._film, 35, None)
    opened._on_frame(FrameReply(newest + 2, opened._film, 21, None))
    opened._on_frame(late)
    assert [reply.index for reply in seen] == [21]
