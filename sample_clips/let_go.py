"""A drop that is let go: how it falls through the air."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_DRAG = 0.55
"""Drag coefficient of a sphere at a Reynolds number of about 500; common handbook value."""
_AIR, _WATER = 1.20, 998.0


@dataclass(frozen=True, slots=True)
class Let:
    """One drop: where and when it is let go, and its diameter (SI). It falls straight down through air."""

    at_s: float
    x_m: float
    y_m: float
    z_m: float
    diameter_m: float

    def height(self, time_s: ArrayLike, gravity: float) -> FloatArray:
        """Height (…), m, of its middle at times (…) s; it hangs until it is let go.

        With a constant drag coefficient the fall is v∞²/g ln cosh(g t/v∞), v∞ the final speed.
        """
        t = np.clip(np.asarray(time_s, dtype=np.float64) - self.at_s, 0.0, None)
        final2 = 4.0 / 3.0 * (_WATER / _AIR) * gravity * self.diameter_m / _DRAG
        return np.asarray(self.z_m - final2 / gravity * np.log(np.cosh(gravity * t / math.sqrt(final2))))

    def places(self, time_s: ArrayLike, gravity: float) -> FloatArray:
        """Places (…, 3), m, at times (…) s."""
        z = self.height(time_s, gravity)
        return np.stack([0 * z + self.x_m, 0 * z + self.y_m, z], axis=-1)
