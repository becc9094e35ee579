"""Which frames are sound: what a decoding error spoils, and the book of all that was spoilt."""

from __future__ import annotations

import threading
from typing import Any

from measure_app.words import marked

LOST = marked("this frame could not be decoded; the file is damaged here")
SPOILT = marked("decoded from damaged data; nothing is sure up to the next key frame")
DENSE = {"h264", "hevc", "mpeg4", "vp8", "vp9", "av1", "mjpeg"}
"""Codecs that never write long rows of zeros inside a packet."""
_HOLE = bytes(1024)
RESIZED = marked("the picture changes its size or format here")


class Trust:
    """Judges decoded frames in one run of the decoder.

    After an error every frame is doubtful until one that a later key frame begins: a decoder conceals what it
    lacks, and frames built on that look whole. Errors surface late where several frames are decoded at once,
    so only a key frame fed *after* the error counts. Where pictures are refreshed bit by bit, what the
    container calls a key frame is none, only the place where a round of refreshing begins: the next such
    place is waited for, at which the round is over.
    """

    def __init__(self) -> None:
        self.errors = 0
        self._doubtful = False
        self._starts: list[int] = []
        """Times of the key frames fed since the last error, at most two."""

    def before(self, packet: Any) -> None:
        """Take note of a packet that is about to be decoded."""
        if self._doubtful and packet.is_keyframe and packet.pts is not None and len(self._starts) < 2:
            self._starts.append(packet.pts)

    def failed(self) -> None:
        """Take note of a decoding error."""
        self.errors += 1
        self._doubtful = True
        self._starts.clear()

    def judge(self, pts: int | None, whole: bool = True) -> str | None:
        """Return why a frame that came out is not sure; None for a sound one.

        Parameters
        ----------
        pts : int or None
            Its time, ticks.
        whole : bool
            Whether the picture needs no other; asked of the one at which a key frame was promised.
        """
        if not self._doubtful:
            return None
        if pts is None or not self._starts or pts < self._starts[0]:
            return SPOILT
        if whole or pts >= self._starts[-1] > self._starts[0]:
            self._doubtful = False
            self._starts.clear()
            return None
        return SPOILT


def has_hole(packet: Any) -> bool:
    """Tell whether a stretch of a packet was lost and filled with zeros, as a bad copy leaves it.

    Several decoders read zeros as a valid picture and report nothing. Zeros at the packet's end are padding.
    """
    return _HOLE in bytes(packet).rstrip(b"\0")


class DamageBook:
    """All frames known so far to be lost or spoilt; shared by every reader of one clip."""

    def __init__(self) -> None:
        self._reasons: dict[int, str] = {}
        self._lock = threading.Lock()

    def note(self, frame: int, reason: str) -> None:
        """Enter one frame."""
        with self._lock:
            self._reasons[frame] = reason

    def reason(self, frame: int) -> str | None:
        """Return what is known against a frame."""
        return self._reasons.get(frame)

    def spans(self) -> tuple[tuple[int, int, str], ...]:
        """Return (first, last, reason) of all stretches, last included, in order."""
        with self._lock:
            entries = sorted(self._reasons.items())
        found: list[tuple[int, int, str]] = []
        for frame, reason in entries:
            if found and found[-1][1] == frame - 1 and found[-1][2] == reason:
                found[-1] = (found[-1][0], frame, reason)
            else:
                found.append((frame, frame, reason))
        return tuple(found)
