"""Which frames brought the decoder down, and which must therefore not be asked for again."""

from __future__ import annotations

import threading
from collections import Counter

import numpy as np
from numpy.typing import NDArray

ALONE = 3
"""Points against work that was the only work in hand when the decoder ended."""
AMONG_OTHERS = 1
"""Points against work that was not."""
REFUSED_AT = 2 * ALONE
"""Points from which on a frame is refused: it brought the decoder down twice."""


class BlameBook:
    """Shared by all that read one film; kept while the film is open, however often the decoder is begun anew.

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
        self._points: Counter[int] = Counter()
        self._spans: list[range] = []
        self._idle = 0
        self._lock = threading.Lock()

    @property
    def restless(self) -> bool:
        """Whether decoding ahead brought the decoder down twice, and is better left off."""
        return self._idle >= REFUSED_AT

    def blame_idle(self, points: int) -> None:
        """Enter an end of the decoder while it decoded ahead."""
        self._idle += points

    def blame(self, frame: int, points: int) -> bool:
        """Enter an end of the decoder on the way to a frame; True where the frame is refused from now on."""
        with self._lock:
            self._points[frame] += points
            return self._points[frame] >= REFUSED_AT

    def give_up(self, frame: int) -> range:
        """Keep passes from a frame on, up to where decoding can begin anew."""
        span = range(frame, self._next_start(frame))
        with self._lock:
            self._spans.append(span)
        return span

    def refuses(self, frame: int) -> bool:
        """Whether a frame must not be asked for.

        So it is where it brought the decoder down twice, and where two others did that lie between the start
        of decoding and the frame: the way to it leads through whatever they met. What a pass gave up is not
        refused: it gives up more than there may be need to.
        """
        if not self._points:
            return False
        first = self._next_start(frame, before=True)
        with self._lock:
            bad = [each for each, points in self._points.items() if points >= REFUSED_AT]
        return frame in bad or sum(first <= each <= frame for each in bad) >= 2

    def sound_end(self, frame: int) -> int:
        """First frame from a sound one on that a pass must not enter, or the film's end."""
        return min([self._count, *(span.start for span in self._spans if span.start > frame)])

    def refused_end(self, frame: int) -> int:
        """One past the last frame of the span given up that a frame lies in; the frame itself if in none."""
        return max([frame, *(span.stop for span in self._spans if frame in span)])

    def _next_start(self, frame: int, *, before: bool = False) -> int:
        at = int(np.searchsorted(self._starts, frame, side="right"))
        if before:
            return int(self._starts[max(at - 1, 0)])
        return int(self._starts[at]) if at < len(self._starts) else self._count
