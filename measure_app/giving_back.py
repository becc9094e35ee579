"""Memory that was freed is given back to the system."""

from __future__ import annotations

import ctypes
import sys


def give_back() -> None:
    """Give back what large work has freed; for the thread that did it, when it is done.

    The C library on Linux keeps a store of freed memory for each thread, and gives back the end of each only:
    one small thing that lives there holds all before it. Of a window that had found and written twice,
    93 MiB were in use and 145 MiB kept so; 111 MiB went by this call (`tests/benchmarks/long_use.md`). Other
    systems give back by themselves, or cannot be asked.
    """
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # GNU's alone
        if trim is not None:
            trim(ctypes.c_size_t(0))
