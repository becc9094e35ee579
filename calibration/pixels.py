"""The pixel convention, once.

Positions are given in the frame as displayed: x to the right, y down, and ``(0.0, 0.0)`` is the *centre* of
the top-left pixel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Pixel(NamedTuple):
    """A position in the displayed frame, px; the centre of the top-left pixel is (0, 0)."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Segment:
    """A straight line of the frame, walked from `start` to `end`."""

    start: Pixel
    end: Pixel

    @property
    def length_px(self) -> float:
        """Distance from start to end, px."""
        return float(np.hypot(self.end.x - self.start.x, self.end.y - self.start.y))

    @property
    def direction(self) -> FloatArray:
        """Unit vector from start to end, shape (2,)."""
        step = np.subtract(self.end, self.start)
        return np.asarray(step / np.hypot(*step), dtype=np.float64)

    def at(self, along_px: FloatArray) -> FloatArray:
        """Positions (n, 2) px that lie `along_px` (n,) px from the start."""
        along = np.asarray(along_px, dtype=np.float64)
        return np.asarray(self.start, dtype=np.float64) + along[..., None] * self.direction

    def along(self, pixels: FloatArray) -> FloatArray:
        """Distance from the start, px, of the foot on the line of each of the positions (n, 2)."""
        return np.asarray((np.asarray(pixels) - np.asarray(self.start)) @ self.direction, dtype=np.float64)
