"""Room for a few frames in shared memory, given back when nobody looks at a frame any more."""

from __future__ import annotations

import math
import weakref
from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measure_app.decoder.shared import Block
from measure_app.decoder.wire import Room
from measure_app.errors import ClipError
from measure_app.words import said

_MOST = 4
_ENOUGH_BYTES = 128 * 2**20
"""A few large frames are enough: one in sight, one beside it, one on its way."""

Pixels = NDArray[np.uint8] | NDArray[np.uint16]


class Slots:
    """Equal rooms in one block.

    Parameters
    ----------
    nbytes : int
        Of one frame.
    """

    def __init__(self, nbytes: int) -> None:
        self.nbytes = nbytes
        count = min(_MOST, max(1, _ENOUGH_BYTES // nbytes))
        self._block = Block.made(count * nbytes)
        self._free = deque(
            range(count)
        )  # its operations are whole: a frame may go in any thread, at any time

    def room(self) -> tuple[int, Room]:
        """Take a slot, and the room that it is.

        Raises
        ------
        ClipError
            If none is free.
        """
        try:
            slot = self._free.popleft()
        except IndexError:
            raise ClipError(said("no room is left for another frame")) from None
        return slot, Room(self._block.name, self._block.size, slot * self.nbytes, self.nbytes)

    def give_back(self, slot: int) -> None:
        """Let a slot be used again."""
        self._free.append(slot)

    def pixels(self, slot: int, shape: tuple[int, ...], deep: bool) -> Pixels:
        """What lies in a slot: as it is where another slot is free for the next frame, else as a copy."""
        self._block.hide()  # the decoder has found it
        there = seen(self._block, slot * self.nbytes, shape, deep=deep)
        if not self._free:
            copy = there.copy()
            self.give_back(slot)
            return copy
        watched = weakref.finalize(_owner(there), self.give_back, slot)
        watched.atexit = False
        return there

    def close(self) -> None:
        """Leave no name behind; frames handed out stay good."""
        self._block.hide()


def seen(block: Block, offset: int, shape: tuple[int, ...], *, deep: bool) -> Pixels:
    """Look at pixels in a block.

    Raises
    ------
    ClipError
        If they would reach beyond it.
    """
    size = math.prod(shape)
    if size * (2 if deep else 1) > block.size - offset or len(shape) not in (2, 3):
        raise ClipError(said("the decoder gave a picture that cannot be"))
    if deep:
        wide: NDArray[np.uint16] = np.frombuffer(block.memory, np.uint16, size, offset)
        return wide.reshape(shape)
    plain: NDArray[np.uint8] = np.frombuffer(block.memory, np.uint8, size, offset)
    return plain.reshape(shape)


def _owner(pixels: Pixels) -> Any:
    """What lives as long as any view of the pixels does."""
    base = pixels.base
    return base if isinstance(base, np.ndarray) else pixels
