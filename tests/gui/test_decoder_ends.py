"""The window lives on where the processes that decode for it are ended, whatever they were doing."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from measure_app.clip import open_source
from measure_app.decoder import Decoder
from measure_app.edits import SetTitle
from measure_app.gui.sweeping import lines_of
from measure_app.measuring import search
from measure_app.strips import sweep
from tests.gui.conftest import BENCH, Driver

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kill -9")


@pytest.fixture
def decoder() -> Iterator[Decoder]:
    """One of the test's own: those of others are not to be killed."""
    made = Decoder()
    yield made
    made.close()


def kill(decoder: Decoder) -> tuple[int, ...]:
    pids = decoder.pids
    for pid in pids:
        os.kill(pid, signal.SIGKILL)
    return pids


def opened(driver: Driver) -> None:
    """The sample, with a change that is not saved."""
    driver.open_bench()
    driver.window.bench.document.perform(SetTitle("not saved yet"))


def unharmed(driver: Driver) -> bool:
    bench = driver.window.bench
    return bool(bench.changed and bench.document.run.title == "not saved yet" and driver.window.isVisible())


def test_stepping_goes_on_and_the_window_says_which_film_and_frame(driver: Driver, decoder: Decoder) -> None:
    opened(driver)
    document = driver.window.bench.document
    driver.settles()
    for frame in (120, 240):
        killed = kill(decoder)
        driver.qtbot.waitUntil(lambda pids=killed: not set(pids) & set(decoder.pids), timeout=60_000)  # type: ignore[misc]
        document.go_to(frame)
        driver.shows_frame(frame)
        assert decoder.pids
    words = driver.window.stage.notice.text
    assert "bench.mp4" in words
    # That before the step, or that on the way to which it was.
    assert "frame 120" in words or "frame 240" in words
    assert "started again" in words
    # The next frame was read ahead: it needs no decoder, and nobody may have noticed yet that there is none.
    kill(decoder)
    document.go_to(241)
    driver.shows_frame(241)
    assert unharmed(driver)
    with open_source(BENCH / "bench.mp4") as here:
        pixels = driver.view._item._reply.pixels
        assert np.array_equal(pixels, here.frame(241).bgra())


def test_strips_are_the_same_though_the_decoder_is_killed_while_they_are_read(
    driver: Driver, decoder: Decoder
) -> None:
    opened(driver)
    strips = driver.window.bench.strips
    driver.qtbot.waitUntil(lambda: 20 < strips._rows < 250, timeout=60_000)
    kill(decoder)
    driver.settles()
    with open_source(BENCH / "bench.mp4") as here:
        wanted = sweep(here, lines_of(driver.window.bench.document.run), 0, here.info.n_frames)
    assert len(strips._strips) == len(wanted)
    for ours, theirs in zip(strips._strips, wanted, strict=True):
        assert np.array_equal(ours.levels, theirs.levels)
        assert ours.unseen == theirs.unseen
    assert "bench.mp4" in driver.window.stage.notice.text
    assert unharmed(driver)


def test_what_is_found_is_the_same_though_the_decoder_is_killed_meanwhile(
    driver: Driver, decoder: Decoder
) -> None:
    opened(driver)
    bench = driver.window.bench
    run = bench.document.run
    done: list[int] = []
    bench.finding_progress.connect(lambda now, _: done.append(now))
    bench.find_the_rest()
    driver.qtbot.waitUntil(lambda: bool(done) and done[-1] > 30, timeout=60_000)
    kill(decoder)
    driver.settles()
    with open_source(BENCH / "bench.mp4") as here:
        wanted = search(run, here)
    assert bench.document.search.readings == wanted.readings
    assert "bench.mp4" in driver.window.stage.notice.text
    assert unharmed(driver)


def test_playing_goes_on(driver: Driver, decoder: Decoder) -> None:
    opened(driver)
    playback = driver.window.playback
    playback.play()
    driver.qtbot.waitUntil(lambda: driver.view.shown > 5, timeout=60_000)
    kill(decoder)
    there = driver.view.shown
    driver.qtbot.waitUntil(lambda: driver.view.shown > there + 10, timeout=60_000)
    playback.stop()
    assert unharmed(driver)


def test_a_window_whose_decoder_is_killed_while_the_film_is_opened_opens_it(
    driver: Driver, decoder: Decoder
) -> None:
    driver.window.files.open_sample()
    driver.qtbot.waitUntil(lambda: bool(decoder.pids), timeout=60_000)
    kill(decoder)
    driver.shows_frame(0)
    assert driver.window.bench.document.info.n_frames == 300


@pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
def test_nothing_of_the_window_is_in_a_decoder(driver: Driver, decoder: Decoder) -> None:
    """It is a program of its own, not a fork of this one: no Qt, and none of this process's files."""
    driver.open_bench()
    for pid in decoder.pids:
        assert "libQt6" not in Path(f"/proc/{pid}/maps").read_text()
        films = {link.resolve().name for link in Path(f"/proc/{pid}/fd").iterdir()}
        assert "settings.ini" not in films
    assert "libQt6" in Path("/proc/self/maps").read_text()
