"""Words for the names of the contract, as a teacher would say them. No Qt here."""

from __future__ import annotations

import re

from measure_app.gui.panels.steps import Step
from measure_app.words import marked, numeral, said

BORROWED_G = marked(
    "The speeds were made from throws with an assumed g; the true g has dropped out. "
    "This g is the assumed one times Cv², so it tests the law and gives Cv, but it holds "
    "no news of g."
)


def unit_words(unit: str) -> str:
    """Write a unit as it is read, √m for m^0.5; "" for a pure number."""
    return "" if unit == "1" else unit.replace("m^0.5", "√m")


_OF_FIELDS = {
    "camera.distance_m": (marked("From the lens to the jet's plane"), Step.DATUM, marked("Camera")),
    "camera.facing_u_deg": (
        marked("How squarely the camera faces the jet's plane"),
        Step.DATUM,
        marked("Camera"),
    ),
    "camera.lens.focal_px": (marked("Focal length"), Step.DATUM, marked("Lens")),
    "camera.lens": (marked("Lens"), Step.DATUM, ""),
    "camera.rolling_shutter_s": (
        marked("Reading out one frame takes the camera"),
        Step.READINGS,
        marked("A fall: a g that is news"),
    ),
    "drop.value_m": (
        marked("From the hole's centre down to the landing level"),
        Step.DATUM,
        marked("Drop"),
    ),
    "orifice.diameter_m": (marked("Diameter of the hole"), Step.DATUM, marked("Orifice")),
    "orifice.launch_angle_deg": (
        marked("Launch angle of the jet, upwards positive"),
        Step.DATUM,
        marked("Orifice"),
    ),
    "orifice.wall_thickness_m": (
        marked("Thickness of the wall at the hole"),
        Step.DATUM,
        marked("Orifice"),
    ),
    "behind_m": (marked("behind the jet's plane"), None, ""),
    "gauge_line": (marked("Gauge line"), None, ""),
    "landing_line": (marked("Landing line"), None, ""),
}
"""Where a person types what the run file calls so: the field, its step and its section."""
_KEYS = re.compile(
    r"(?<![\w.])(" + "|".join(sorted(map(re.escape, _OF_FIELDS), reverse=True)) + r")(?![\w]|\.\w)"
)


def with_fields(words: str) -> str:
    """Write a text that names keys of the run file for somebody who has the window: by the fields' labels."""
    return _KEYS.sub(lambda key: _field(key[1]), words)


def capital(words: str) -> str:
    """Begin words with a capital, as a sentence does."""
    return f"{words[:1].upper()}{words[1:]}"


def _field(key: str) -> str:
    label, step, section = _OF_FIELDS[key]
    if step is None:
        return said("“{label}”", label=said(label))
    place = said(step.value) + (f" › {said(section)}" if section else "")
    return said("“{label}” (step {place})", label=said(label), place=place)


def clock(seconds: float | None) -> str:
    """Write a time for reading beside a film: ``3.267 s``, ``2 min 05.10 s``, or "no clock"."""
    if seconds is None:
        return said("no clock")
    sign = "\u2212" if seconds < 0 else ""
    seconds = abs(seconds)
    if seconds < 60.0:
        return numeral(f"{sign}{seconds:.3f} s")
    minutes, rest = divmod(round(seconds, 2), 60.0)
    return said("{sign}{minutes} min {rest:05.2f} s", sign=sign, minutes=int(minutes), rest=rest)
