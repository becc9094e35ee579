"""Freed memory goes back to the system even where something that lives lies behind it."""

import ctypes
import subprocess
import sys
from pathlib import Path

import pytest

from measure_app.giving_back import give_back, keep_one_store

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
        assert keep_one_store() is None


_WORK_OF_FOUR_THREADS = """
import ctypes, sys, threading
from pathlib import Path
from measure_app.giving_back import keep_one_store
if sys.argv[1] == "one":
    keep_one_store()
c = ctypes.CDLL(None)
c.malloc.restype = ctypes.c_void_p
def work():
    mine.append([c.malloc(ctypes.c_size_t(3000)) for _ in range(50)])
mine, held = [], threading.Barrier(4)
threads = [threading.Thread(target=lambda: (held.wait(20), work())) for _ in range(4)]
for thread in threads: thread.start()
for thread in threads: thread.join()
stores = {address >> 26 for each in mine for address in each}
print(len(stores))
"""


@pytest.mark.skipif(
    sys.platform != "linux" or not hasattr(ctypes.CDLL(None), "mallinfo2"), reason="GNU's C library"
)
def test_all_threads_take_from_one_store() -> None:
    """A thread's own store begins at a multiple of 64 MiB (glibc, `HEAP_MAX_SIZE`, malloc/arena.c)."""

    def stores(which: str) -> int:
        call = [sys.executable, "-c", _WORK_OF_FOUR_THREADS, which]
        return int(subprocess.run(call, capture_output=True, text=True, check=True, timeout=90).stdout)

    assert stores("many") > 2
    assert stores("one") <= 2  # one, that may lie across such a multiple
