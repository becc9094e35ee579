"""Memory that two processes see: how pixels cross from the decoder to the window without a pipe."""

from __future__ import annotations

import contextlib
import mmap
import os
import secrets
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Self

from measure_app.errors import ClipError
from measure_app.words import said

_QUICK = Path("/dev/shm")  # noqa: S108 - memory that looks like a folder, where there is such a thing
_ROOM_LEFT = 2
"""Free space wanted in that folder, in blocks: memory that is not there would end who writes to it."""


class Block:
    """A stretch of memory known to both processes by its name.

    On Windows the name is that of a mapping without a file. Elsewhere it is a file's, which `hide` takes away
    as soon as the other process has it too: no file is left behind, however the two end.
    """

    def __init__(self, name: bytes, size: int, memory: mmap.mmap) -> None:
        self.name = name
        self.size = size
        self.memory = memory
        """Goes when nobody looks at it any more."""

    @classmethod
    def made(cls, size: int) -> Self:
        """Make a new block.

        Raises
        ------
        ClipError
            If there is no room for it.
        """
        size = max(size, mmap.PAGESIZE)
        try:
            if sys.platform == "win32":
                name = f"clepsydra-{secrets.token_hex(16)}"
                return cls(name.encode(), size, mmap.mmap(-1, size, tagname=name))
            handle, path = tempfile.mkstemp(prefix="clepsydra-", dir=_folder(size))
            try:
                os.ftruncate(handle, size)
                return cls(os.fsencode(path), size, mmap.mmap(handle, size))
            except BaseException:
                Path(path).unlink()
                raise
            finally:
                os.close(handle)
        except (OSError, ValueError, MemoryError) as error:
            raise ClipError(
                said("there is no room in memory for the film's frames ({error})", error=error)
            ) from error

    @classmethod
    def found(cls, name: bytes, size: int) -> Self:
        """Look at a block that the other process made."""
        if sys.platform == "win32":
            return cls(name, size, mmap.mmap(-1, size, tagname=name.decode()))
        handle = os.open(os.fsdecode(name), os.O_RDWR)
        try:
            return cls(name, size, mmap.mmap(handle, size))
        finally:
            os.close(handle)

    def hide(self) -> None:
        """Take the name away; both processes keep the memory."""
        if sys.platform != "win32":
            with contextlib.suppress(OSError):
                Path(os.fsdecode(self.name)).unlink(missing_ok=True)


def _folder(size: int) -> str:
    """Where a file of that size is kept in memory if it can be."""
    try:
        if os.access(_QUICK, os.W_OK) and shutil.disk_usage(_QUICK).free >= _ROOM_LEFT * size:
            return str(_QUICK)
    except OSError:
        pass
    return tempfile.gettempdir()
