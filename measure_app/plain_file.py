"""Reading a file that a person named, where it is one: a pipe would keep the reader waiting for ever."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path


def first_bytes(path: Path, most: int) -> bytes:
    """Read a plain file from its beginning, at most so many bytes.

    What is opened is asked what it is, not the name, so that nothing can be put in its place in between.

    Raises
    ------
    OSError
        There is no such file, it may not be read, or it is a folder, a pipe or a device.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(errno.EINVAL, "not a plain file")
    with os.fdopen(handle, "rb") as file:
        return file.read(most)
