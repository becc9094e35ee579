"""Which frames brought a decoder down, and which must therefore not be asked for again."""

from __future__ import annotations

import threading
from collections import Counter

import numpy as np
from numpy.typing import NDArray

_TWICE = 2


class BlameBook:
    """Shared by all that read one film; kept while the film is open, however often decoders begin anew.

    A frame that brings a decoder down twice is refused, and with it all after it up to where decoding can
    begin anew: the way to them leads through whatever it met.

    Parameters
    ----------
    starts : (k,) int64
        Frames at which decoding can begin, rising, the first of them 0.
    count : int
        Frames of the film.
    """

    def __init__(self, starts: NDArray[np.int64], count: int) -> None:
        self._starts = starts
        self._count = count
        self._ends: Counter[int] = Counter()
        self._restless: Counter[int] = Counter()
        self._refused: list[range] = []
        self._lock = threading.Lock()

    def blame(self, frame: int) -> range | None:
        """Enter an end on the way to a frame; returns the frames refused from now on, if they are."""
        with self._lock:
            self._ends[frame] += 1
            if self._ends[frame] < _TWICE:
                return None
            span = range(frame, self._start_after(frame))
            self._refused.append(span)
            return span

    def absolve(self, frame: int) -> None:
        """Enter that a frame was had after all."""
        if frame in self._ends:
            with self._lock:
                self._ends.pop(frame, None)

    def refused_end(self, frame: int) -> int:
        """One past the last of the frames refused around a frame; the frame itself where it is sound."""
        return max([frame, *(span.stop for span in self._refused if frame in span)])

    def sound_end(self, frame: int) -> int:
        """First frame from a sound one on that is refused, or the film's end."""
        return min([self._count, *(span.start for span in self._refused if span.start > frame)])

    def blame_idle(self, frame: int) -> None:
        """Enter an end while a decoder looked around a frame."""
        self._restless[self._start_after(frame)] += 1

    def may_look_around(self, frame: int) -> bool:
        """Whether decoding ahead has not yet brought a decoder down twice in this stretch."""
        return self._restless[self._start_after(frame)] < _TWICE

    def _start_after(self, frame: int) -> int:
        at = int(np.searchsorted(self._starts, frame, side="right"))
        return int(self._starts[at]) if at < len(self._starts) else self._count
