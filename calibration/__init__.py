"""Pixels to metres, with errors: no clips, no files, no screen.

What a window needs before its first frame comes at once; the fits come when they are first asked for.
"""

import importlib
from typing import TYPE_CHECKING

from calibration.errors import CalibrationError, CalibrationRemark
from calibration.pixels import FloatArray, Pixel, Segment
from calibration.rule_names import rule_words
from calibration.setup import Camera, Gauge, Graduation, Lens, Mark, Measures, Rule, Setup
from calibration.words import Speaker, speak_by

if TYPE_CHECKING:
    from calibration.calibrated import Calibration
    from calibration.calibrating import calibrate
    from calibration.facing import Facing
    from calibration.metres import Metres
    from calibration.places import Places
    from calibration.rulefit import RuleFit

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
    "Speaker",
    "calibrate",
    "rule_words",
    "speak_by",
]

_LATER = {
    "Calibration": "calibrated",
    "Facing": "facing",
    "Metres": "metres",
    "Places": "places",
    "RuleFit": "rulefit",
    "calibrate": "calibrating",
}


def __getattr__(name: str) -> object:
    if name not in _LATER:
        raise AttributeError(f"module 'calibration' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"calibration.{_LATER[name]}"), name)
    globals()[name] = value
    return value
