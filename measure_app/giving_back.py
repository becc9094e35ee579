"""Memory that was freed is given back to the system."""

from __future__ import annotations

import ctypes
import sys

_M_ARENA_MAX = -8
"""Of glibc's malloc.h; see mallopt(3)."""


def keep_one_store() -> None:
    """Let all threads of this process take memory from one store; for a program's start, before its threads.

    The C library on Linux makes a store for each thread, up to eight a core, so that threads need not wait
    for each other. Threads that do large work in turns then keep what each has freed, in pieces: of a
    window that had found and written, 134 MiB in five stores, 89 of them in use, and of the other 45
    `give_back` got 19. In one store it gets all (`tests/benchmarks/long_use.md`).
    """
    if sys.platform == "linux":
        tune = getattr(ctypes.CDLL(None), "mallopt", None)  # GNU's, and a few others' that do nothing
        if tune is not None:
            tune(ctypes.c_int(_M_ARENA_MAX), ctypes.c_int(1))


def give_back() -> None:
    """Give back what work has freed; for the thread that did it, when it is done.

    The C library on Linux keeps what was freed, and gives back the end of its store only: one small thing
    that lives there holds all before it. Of a window that had found and written twice, 111 MiB went by this
    call (`tests/benchmarks/long_use.md`). Other systems give back by themselves, or cannot be asked.
    """
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # GNU's alone
        if trim is not None:
            trim(ctypes.c_size_t(0))
