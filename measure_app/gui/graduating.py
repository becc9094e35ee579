"""What value a graduation that was just marked is likely to have. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration import Pixel
from measure_app.run import GraduationPart

_STEPS_M = (0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)
_NEAR_PX = 8.0  # graduations nearer than this cannot be told apart by a press


def offered_value(marked: Sequence[GraduationPart], at: Pixel) -> float | None:
    """Return the value that fits a place on a rule of which two graduations or more are marked.

    The place is projected on the line through the marked ones, read off the straight-line scale, and rounded
    to the coarsest usual step of which all marked values are multiples and which a press can still tell
    apart.

    Parameters
    ----------
    marked : sequence of GraduationPart
    at : Pixel

    Returns
    -------
    float or None
        m; None with fewer than two marked, or where the rounded value is taken already.
    """
    if len(marked) < 2:
        return None
    pixels = np.array([each.px for each in marked], dtype=np.float64)
    values = np.array([each.value_m for each in marked], dtype=np.float64)
    axis = pixels[np.argmax(values)] - pixels[np.argmin(values)]
    length = float(np.hypot(*axis))
    if length == 0.0 or float(np.ptp(values)) == 0.0:
        return None
    along = pixels @ (axis / length)
    slope, intercept = np.polyfit(along, values, 1)
    guess = float(slope * (np.array(at) @ (axis / length)) + intercept)
    per_px = abs(float(slope))
    step = next((s for s in _STEPS_M if np.allclose(values / s, np.rint(values / s), atol=1e-6)), 0.001)
    while step / 2 >= 0.0005 and step / per_px > 40 * _NEAR_PX:
        step /= 2
    value = round(round(guess / step) * step, 6)
    return None if any(abs(value - each.value_m) < 1e-9 for each in marked) else value
