"""What value a graduation that was just marked is likely to have. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration import Pixel
from measure_app.run import GraduationPart

_STEPS_M = (0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)
_FINER_M = (0.01, 0.005, 0.001)
"""Steps at which lines are engraved, tried where a round value lies too far from the place pressed."""
_MISSED_PX = 3.0
"""So far a press may lie from the line that was meant."""
_UNEVEN = 0.02
"""Share of a distance beyond the marked lines by which perspective may change it."""


def offered_value(marked: Sequence[GraduationPart], at: Pixel) -> float | None:
    """Return the value that fits a place on a rule of which two graduations or more are marked.

    The place is projected on the line through the marked ones, read off the straight-line scale, and rounded
    to the coarsest usual step of which all marked values are multiples. Where that value lies farther from
    the place than a press and the scale so far may miss it, finer steps are tried.

    Parameters
    ----------
    marked : sequence of GraduationPart
    at : Pixel

    Returns
    -------
    float or None
        m; None with fewer than two marked, where the value is taken already, and where no step has one near
        the place.
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
    place = float(np.array(at) @ (axis / length))
    guess, per_px = float(slope * place + intercept), abs(float(slope))
    if per_px == 0.0:
        return None
    allowed_m = per_px * _may_miss_px(along, place)
    usual = next((s for s in _STEPS_M if np.allclose(values / s, np.rint(values / s), atol=1e-6)), 0.001)
    for step in (usual, *(finer for finer in _FINER_M if finer < usual)):
        value = round(round(guess / step) * step, 6)
        if abs(value - guess) <= allowed_m:
            return None if any(abs(value - each.value_m) < 1e-9 for each in marked) else value
    return None


def _may_miss_px(along: np.ndarray, place: float) -> float:
    """How far a line may lie from the place pressed for it, by the press and by the scale so far, px."""
    off = along - along.mean()
    lean = 1.0 / len(along) + (place - along.mean()) ** 2 / float(off @ off)
    beyond = max(0.0, place - float(along.max()), float(along.min()) - place)
    return _MISSED_PX * float(np.sqrt(1.0 + lean)) + _UNEVEN * beyond
