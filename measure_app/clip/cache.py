"""Frames kept for stepping back, bounded in bytes."""

from __future__ import annotations

import contextlib
from collections import OrderedDict
from typing import Generic, Protocol, TypeVar


class Sized(Protocol):
    """Something that knows how much memory it holds."""

    @property
    def nbytes(self) -> int:
        """Bytes held."""


Item = TypeVar("Item", bound=Sized)


class FrameCache(Generic[Item]):
    """Frames by index; the one unused for longest goes first.

    One thread puts frames in, any thread may look for one.

    Parameters
    ----------
    limit : int
        Most bytes held, ever: a frame that is larger by itself is not kept.
    """

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.used = 0
        self._held: OrderedDict[int, Item] = OrderedDict()

    def __contains__(self, frame: int) -> bool:
        """Whether a frame is held."""
        return frame in self._held

    def __len__(self) -> int:
        """Count of frames held."""
        return len(self._held)

    def get(self, frame: int) -> Item | None:
        """Return a frame and mark it as used."""
        found = self._held.get(frame)
        if found is not None:
            with contextlib.suppress(KeyError):  # it may have had to go in this very moment
                self._held.move_to_end(frame)
        return found

    def put(self, frame: int, item: Item) -> None:
        """Keep a frame, at the cost of those unused for longest."""
        old = self._held.pop(frame, None)
        if old is not None:
            self.used -= old.nbytes
        if item.nbytes > self.limit:
            return
        while self.used + item.nbytes > self.limit:
            _, gone = self._held.popitem(last=False)
            self.used -= gone.nbytes
        self._held[frame] = item
        self.used += item.nbytes

    def clear(self) -> None:
        """Let everything go."""
        self._held.clear()
        self.used = 0
