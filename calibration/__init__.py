"""Pixels to metres, with errors: no clips, no files, no screen."""

from calibration.calibrate import calibrate
from calibration.calibrated import Calibration
from calibration.errors import CalibrationError, CalibrationRemark
from calibration.facing import Facing
from calibration.metres import Metres
from calibration.pixels import FloatArray, Pixel, Segment
from calibration.places import Places
from calibration.rulefit import RuleFit
from calibration.setup import Camera, Gauge, Graduation, Lens, Mark, Measures, Rule, Setup

__all__ = [
    "Calibration",
    "CalibrationError",
    "CalibrationRemark",
    "Camera",
    "Facing",
    "FloatArray",
    "Gauge",
    "Graduation",
    "Lens",
    "Mark",
    "Measures",
    "Metres",
    "Pixel",
    "Places",
    "Rule",
    "RuleFit",
    "Segment",
    "Setup",
    "calibrate",
]
