"""Pixels to metres, with errors: no clips, no files, no screen."""

from calibration.metres import Metres
from calibration.pixels import FloatArray, Pixel, Segment
from calibration.setup import Camera, Gauge, Graduation, Lens, Mark, Measures, Rule, Setup

__all__ = [
    "Camera",
    "FloatArray",
    "Gauge",
    "Graduation",
    "Lens",
    "Mark",
    "Measures",
    "Metres",
    "Pixel",
    "Rule",
    "Segment",
    "Setup",
]
