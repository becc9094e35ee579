"""Freed memory goes back to the system even where something that lives lies behind it."""

import ctypes
import sys
from pathlib import Path

import pytest

from measure_app.giving_back import give_back

BLOCK = 4000
COUNT = 25_000


def private_mib() -> float:
    lines = Path("/proc/self/smaps_rollup").read_text().splitlines()
    return sum(int(line.split()[1]) for line in lines if line.startswith("Private_")) / 1024


@pytest.mark.skipif(
    sys.platform != "linux" or not hasattr(ctypes.CDLL(None), "malloc_trim"), reason="GNU's C library"
)
def test_memory_before_a_thing_that_lives_is_given_back() -> None:
    blocks = [bytes(BLOCK) for _ in range(COUNT)]
    full = private_mib()
    lives = blocks[-1]
    del blocks
    freed = private_mib()
    give_back()
    given = private_mib()
    assert lives == bytes(BLOCK)
    wanted = 0.8 * BLOCK * COUNT / 2**20
    assert full - given > wanted
    assert freed - given > wanted  # or else this test shows nothing


def test_it_may_be_asked_at_any_time_and_anywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    for platform in ("linux", "win32", "darwin"):
        monkeypatch.setattr(sys, "platform", platform)
        assert give_back() is None
