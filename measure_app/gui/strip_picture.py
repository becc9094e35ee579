"""The pixels of a strip as an image that grows while the film is read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QImage

if TYPE_CHECKING:  # the thread that opens the film loads all this; the window need not wait for it
    from measure_app.strips import Strip


_FEW = 24
"""Frames after which light and dark are judged for the first time."""


class StripPicture:
    """An 8-bit image of a strip: time to the right, the line's start at the bottom or the top.

    Levels are spread over all greys by their own darkest and brightest, so that a faint edge shows.
    """

    def __init__(self, strip: Strip, upward: bool) -> None:
        self.strip = strip
        self.upward = upward
        self.rows = 0
        count, length = strip.levels.shape
        self._pixels: NDArray[np.uint8] = np.zeros((length, count + (-count) % 4), dtype=np.uint8)
        self._greys: NDArray[np.uint8] | None = None
        self._judged = 0

    @property
    def length(self) -> int:
        """Pixels along the line."""
        return int(self.strip.levels.shape[1])

    def fill(self, rows: int) -> None:
        """Take over so many frames from the strip."""
        rows = min(rows, self.strip.levels.shape[0])
        if rows <= self.rows:
            return
        if rows >= max(2 * self._judged, _FEW) or rows == self.strip.levels.shape[0]:
            self._judge(rows)
        if self._greys is None:
            return
        part = self._greys[self.strip.levels[self.rows : rows]].T
        self._pixels[:, self.rows : rows] = part[::-1] if self.upward else part
        self.rows = rows

    def image(self) -> QImage:
        """Return the image; it looks into this object's memory and must not outlive it."""
        length, pitch = self._pixels.shape
        count = self.strip.levels.shape[0]
        return QImage(self._pixels.data, count, length, pitch, QImage.Format.Format_Grayscale8)

    def _judge(self, rows: int) -> None:
        """Find darkest and brightest anew, and paint again what is there."""
        seen = self.strip.levels[: rows : max(1, rows // 200)]
        low, high = np.percentile(seen, (0.5, 99.5))
        codes = np.arange(2**self.strip.bit_depth, dtype=np.float64)
        spread = (codes - low) / max(float(high - low), 8.0)
        self._greys = np.clip(20 + 215 * spread, 0, 255).astype(np.uint8)
        self._judged = rows
        self.rows = 0
