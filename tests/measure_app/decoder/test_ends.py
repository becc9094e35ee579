"""Decoders that end: by kill -9 at any moment, in native code, for ever; and who lives on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from measure_app.clip import open_source, write_clip
from measure_app.decoder import DecodedFilm, Decoder, open_film
from measure_app.errors import ClipError
from tests.measure_app.decoder.falling import ROOT

Falling = Callable[..., Decoder]


def kill(pid: int) -> None:
    os.kill(pid, signal.SIGKILL if sys.platform != "win32" else signal.SIGTERM)


def wait_until(holds: Callable[[], bool], seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.01)


def same(film: DecodedFilm, path: Path, index: int) -> bool:
    with open_source(path) as here:
        return np.array_equal(here.frame(index).bgra(), film.frame(index).bgra())


def test_a_frame_comes_though_the_decoder_is_killed_before(film: Path) -> None:
    decoder, told = Decoder(), list[str]()
    with open_film(decoder, film, told=told.append) as there:
        for index in (4, 17):
            there.frame(index)
            before = decoder.pids
            kill(before[0])
            assert same(there, film, index + 1)
            assert before != decoder.pids
    decoder.close()
    assert len(told) == 2
    assert all("small film.mp4" in words and "started again" in words and "\n" not in words for words in told)


def test_frames_come_though_decoders_are_killed_at_any_moment(film: Path) -> None:
    decoder = Decoder()
    over = threading.Event()
    rng = np.random.default_rng(7)
    kills = 0
    refusals: list[str] = []

    def murderer() -> None:
        nonlocal kills
        while not over.wait(float(rng.uniform(0.3, 0.6))):
            for pid in decoder.pids:
                kill(pid)
                kills += 1

    with open_source(film) as here:
        wanted = [here.frame(index).bgra() for index in range(40)]
    with open_film(decoder, film) as there:
        thread = threading.Thread(target=murderer)
        thread.start()
        try:
            end, passed = time.monotonic() + 2.0, 0
            while time.monotonic() < end:
                index = int(rng.integers(40))
                try:
                    got = there.frame(index).bgra()
                except ClipError as error:
                    refusals.append(str(error))
                    continue
                assert np.array_equal(got, wanted[index])
                there.look_around(index)
                passed += 1
        finally:
            over.set()
            thread.join()
    decoder.close()
    assert all("twice" in words for words in refusals)  # killed twice on the way to the same frame
    assert passed > 3
    assert kills > 1


def test_a_pass_goes_on_where_the_decoder_was_killed(tmp_path: Path) -> None:
    # More frames than a pass can be ahead by: the decoder cannot be done before it is killed.
    grey = (np.full((48, 64, 3), 40 + i, dtype=np.uint8) for i in range(150))
    film = write_clip(tmp_path / "small film.mp4", grey, gop=10)
    decoder, told = Decoder(), list[str]()
    with open_film(decoder, film, told=told.append) as there, open_source(film) as here:
        ours = here.luma_planes()
        for a, b in zip(ours, there.luma_planes(), strict=True):
            assert (a.index, a.suspect) == (b.index, b.suspect)
            assert a.plane is not None
            assert b.plane is not None
            assert np.array_equal(a.plane, b.plane)
            if a.index == 2:
                kill(decoder.pids[-1])
                time.sleep(0.1)
    decoder.close()
    assert len(told) == 1
    assert "small film.mp4" in told[0]


def test_a_frame_that_brings_the_decoder_down_is_refused_with_what_follows(
    falling: Falling, film: Path
) -> None:
    decoder, told = falling(falls=[12]), list[str]()
    with open_film(decoder, film, told=told.append) as there:
        with pytest.raises(ClipError, match=r"small film.mp4, frame 12: .*twice"):
            there.frame(12)
        assert "frames 12 to 19" in told[-1]
        assert len(told) == 2
        assert same(there, film, 20)
        assert same(there, film, 11)
        pids = decoder.pids
        with pytest.raises(ClipError, match="twice"):
            there.frame(13)
        assert decoder.pids == pids  # without another try
        assert len(told) == 2


def test_a_pass_leaves_out_what_brings_the_decoder_down_and_no_more(falling: Falling, film: Path) -> None:
    decoder, told = falling(falls=[12]), list[str]()
    with open_film(decoder, film, told=told.append) as there, open_source(film) as here:
        rows = list(zip(here.luma_planes(), there.luma_planes(), strict=True))
        assert [b.index for _, b in rows if b.plane is None] == list(range(12, 20))
        assert all("twice" in str(b.suspect) for _, b in rows if b.plane is None)
        assert len(told) == 2
        for a, b in zip(here.luma_planes(), there.luma_planes(), strict=True):
            assert b.plane is None or (a.plane is not None and np.array_equal(a.plane, b.plane))
        assert len(told) == 2  # nobody tries again


def test_a_pass_in_which_decoders_end_again_and_again_is_given_up(
    falling: Falling, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("measure_app.decoder.film._MOST_ENDS", 1)
    decoder = falling(falls=[12])
    with open_film(decoder, film) as there, pytest.raises(ClipError, match=r"frame 12: .*again and again"):
        list(there.luma_planes())


def test_a_film_that_ends_decoders_while_it_is_opened_is_refused(falling: Falling, film: Path) -> None:
    decoder = falling(on_open=True)
    with pytest.raises(ClipError, match=r"small film.mp4: .*twice while it opened") as caught:
        open_film(decoder, film)
    assert "\n" not in str(caught.value)
    assert decoder.pids == ()


def test_looking_around_is_left_where_it_ends_decoders(falling: Falling, film: Path) -> None:
    decoder, told = falling(ahead=[6]), list[str]()
    with open_film(decoder, film, told=told.append) as there:
        for index in (2, 3):
            there.frame(index)
            pid = decoder.pids[0]
            there.look_around(index)
            wait_until(lambda pid=pid: pid not in decoder.pids)  # type: ignore[misc]
        assert same(there, film, 4)
        assert len(told) == 2
        pids = decoder.pids
        there.look_around(4)  # not another time
        assert same(there, film, 6)
        assert decoder.pids == pids
        there.look_around(25)
        assert same(there, film, 26)


def test_a_decoder_that_is_stuck_is_ended(
    falling: Falling, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("measure_app.decoder.reading._FRAME_S", -59.8 / 40)  # of a minute's patience
    decoder = falling(sleeps=[12])
    with open_film(decoder, film) as there, pytest.raises(ClipError, match=r"frame 12: .*twice"):
        there.frame(12)


def test_a_film_that_changed_meanwhile_is_not_mixed_with_what_was_known(
    film: Path, odd_film: Path, tmp_path: Path
) -> None:
    moving = tmp_path / "moving.mp4"
    moving.write_bytes(film.read_bytes())
    decoder = Decoder()
    with open_film(decoder, moving) as there:
        there.frame(1)
        moving.unlink()
        moving.write_bytes(odd_film.read_bytes())
        kill(decoder.pids[0])
        with pytest.raises(ClipError, match="changed since"):
            there.frame(2)
    decoder.close()


def test_no_program_no_film_but_one_line(film: Path) -> None:
    decoder = Decoder((str(film.parent / "nothing here"),))
    decoder.start()
    with pytest.raises(ClipError, match="cannot be started"):
        open_film(decoder, film)
    decoder.close()


OWNER = """
import os, signal, sys, time, threading
from pathlib import Path
sys.path.insert(0, {root!r})
from measure_app.decoder import Decoder, open_film
from tests.measure_app.decoder.falling import command
decoder = Decoder(command(sleeps=[9]))
film = open_film(decoder, Path({film!r}))
film.frame(3)
threading.Thread(target=lambda: film.frame(9), daemon=True).start()  # one is stuck
planes = film.luma_planes()
next(planes)  # one is in the middle of a pass
decoder.start()  # one has nothing to do
time.sleep(0.2)
print(*decoder.pids, flush=True)
{end}
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
@pytest.mark.parametrize("end", ["os.kill(os.getpid(), signal.SIGKILL)", "raise ValueError", "pass"])
def test_no_decoder_outlives_its_window_however_that_ends(film: Path, end: str) -> None:
    code = OWNER.format(root=str(ROOT), film=str(film), end=end)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    pids = [int(each) for each in done.stdout.split()]
    assert len(pids) == 3

    def lives(pid: int) -> bool:
        try:
            return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
        except OSError:
            return False

    wait_until(lambda: not any(map(lives, pids)), 5.0)
    assert "resource_tracker" not in done.stderr
