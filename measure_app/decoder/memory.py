"""Memory that two processes see: how pixels cross from a decoder to the window without a pipe."""

from __future__ import annotations

import contextlib
import itertools
import math
import mmap
import os
import secrets
import sys
import tempfile
import weakref
from collections import deque
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measure_app.decoder.wire import Room
from measure_app.errors import ClipError
from measure_app.words import said

_MOST = 6
_ENOUGH_BYTES = 128 * 2**20
"""A few large frames are enough: one in sight, its two neighbours, one beside it, two on their way."""
_numbers = itertools.count(1)

Pixels = NDArray[np.uint8] | NDArray[np.uint16]


class Block:
    """A stretch of memory that this process made; the other finds it by `name` until `hide`.

    On Linux it is a file in memory that has no name but the one of its handle: nothing is left behind,
    however both processes end. On Windows it is a mapping without a file, which goes with its last user.
    Elsewhere it is a file whose name is taken away as soon as the other process has it too.

    Parameters
    ----------
    size : int
        Bytes.

    Raises
    ------
    ClipError
        If there is no room for it.
    """

    def __init__(self, size: int) -> None:
        self.number = next(_numbers)
        self.size = max(size, mmap.PAGESIZE)
        self._handle: int | None = None
        self._file: str | None = None
        try:
            if sys.platform == "win32":
                name = f"clepsydra-{secrets.token_hex(16)}"
                self.memory = mmap.mmap(-1, self.size, tagname=name)
            else:
                name = self._made()
        except (OSError, ValueError, MemoryError) as error:
            self.hide()
            raise ClipError(
                said("there is no room in memory for the film's frames ({error})", error=error)
            ) from error
        self.name = os.fsencode(name)

    def room(self, offset: int = 0, nbytes: int | None = None) -> Room:
        """A part of it, as it is told to the other process."""
        return Room(self.number, self.name, self.size, offset, self.size if nbytes is None else nbytes)

    def hide(self) -> None:
        """Take the name away; both processes keep the memory."""
        if self._file is not None:
            with contextlib.suppress(OSError):
                Path(self._file).unlink(missing_ok=True)
        if self._handle is not None:
            os.close(self._handle)
        self._handle = self._file = None

    def pixels(self, offset: int, shape: tuple[int, ...], *, deep: bool) -> Pixels:
        """Look at pixels in it; the memory lives as long as they are looked at.

        Raises
        ------
        ValueError
            If they would reach beyond it.
        """
        kind = np.dtype(np.uint16 if deep else np.uint8)
        flat: Pixels = np.frombuffer(self.memory, kind, math.prod(shape), offset)
        return flat.reshape(shape)

    def _made(self) -> str:
        if sys.platform == "linux" and hasattr(os, "memfd_create"):
            self._handle = os.memfd_create("clepsydra")
            name = f"/proc/{os.getpid()}/fd/{self._handle}"
        else:
            self._handle, name = tempfile.mkstemp(prefix="clepsydra-")
            self._file = name
        os.ftruncate(self._handle, self.size)
        self.memory = mmap.mmap(self._handle, self.size)
        return name


def found(room: Room) -> mmap.mmap:
    """Look at a block that the other process made."""
    if sys.platform == "win32":
        return mmap.mmap(-1, room.size, tagname=room.name.decode())
    handle = os.open(os.fsdecode(room.name), os.O_RDWR)
    try:
        return mmap.mmap(handle, room.size)
    finally:
        os.close(handle)


class Slots:
    """Equal rooms in one block, given back when nobody looks at their pixels any more.

    Parameters
    ----------
    nbytes : int
        Of one frame.
    """

    def __init__(self, nbytes: int) -> None:
        self._nbytes = nbytes
        count = min(_MOST, max(1, _ENOUGH_BYTES // nbytes))
        self.block = Block(count * nbytes)
        self._free = deque(range(count))  # its operations are whole: a frame may go in any thread

    def take(self) -> tuple[int, Room]:
        """Take the slot that is always free, and the room that it is."""
        slot = self._free.popleft()
        return slot, self.block.room(slot * self._nbytes, self._nbytes)

    def give_back(self, slot: int) -> None:
        """Let a slot be used again."""
        self._free.append(slot)

    def pixels(self, slot: int, shape: tuple[int, ...], *, deep: bool) -> Pixels:
        """What lies in a slot: as it is where another is free for the next frame, else as a copy.

        Raises
        ------
        ValueError
            If it would reach beyond the slot.
        """
        if math.prod(shape) * (2 if deep else 1) > self._nbytes:
            raise ValueError("a picture larger than its room")
        there = self.block.pixels(slot * self._nbytes, shape, deep=deep)
        if not self._free:
            copy = there.copy()
            self.give_back(slot)
            return copy
        # Every view of the pixels keeps their base alive.
        weakref.finalize(there.base, self.give_back, slot).atexit = False
        return there
