"""The run: all that a person told the program about one filmed drain, as frozen values.

The types mirror the run file key by key; lengths in metres, times in seconds, angles in degrees, temperatures in
degrees Celsius, positions in px of the displayed frame.
"""

from __future__ import annotations

from enum import Enum
from typing import Any

import msgspec

from calibration import Measures, Pixel


class By(Enum):
    """How a reading was made."""

    HAND = "hand"
    FOUND = "found"


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part of a run file: frozen, and an unknown key is an error."""


class ClipPart(_Part):
    """Which film, and which part of it."""

    path: str
    sha256: str | None = None
    capture_rate_hz: float | None = None
    start_frame: int = 0
    stop_frame: int | None = None
    """One past the last frame of the part measured, as in a slice; None: to the end."""


class GraduationPart(_Part):
    """One engraved line of a rule."""

    px: Pixel
    value_m: float


class RulePart(_Part):
    """A rule and the graduations read on it."""

    name: str
    measures: Measures
    graduations: tuple[GraduationPart, ...]
    graduation_u_m: float
    px_u: float
    behind_m: float = 0.0
    behind_u_m: float = 0.0


class LensPart(_Part):
    """Radial distortion of the lens."""

    k1: float
    focal_px: float
    model: str = "radial"
    k2: float = 0.0
    centre_px: Pixel | None = None


class CameraPart(_Part):
    """Where the camera stood, as far as it is known."""

    distance_m: float | None = None
    distance_u_m: float | None = None
    facing_px: Pixel | None = None
    facing_u_deg: float = 2.0
    lens: LensPart | None = None


class PlumbPart(_Part):
    """A line that is vertical in the world."""

    top_px: Pixel
    bottom_px: Pixel


class OrificePart(_Part):
    """The hole."""

    px: Pixel
    px_u: float
    diameter_m: float | None = None
    diameter_u_m: float | None = None
    behind_m: float = 0.0
    behind_u_m: float = 0.0


class DropPart(_Part):
    """Height of the orifice's centre over the level on which the throw is read."""

    value_m: float
    u_m: float


class ThrowZeroPart(_Part):
    """The point from which the throw counts."""

    px: Pixel
    px_u: float
    behind_m: float = 0.0
    behind_u_m: float = 0.0


class LinePart(_Part):
    """The gauge line or the landing line."""

    from_px: Pixel
    to_px: Pixel
    behind_m: float = 0.0
    behind_u_m: float = 0.0
    above_level_m: float = 0.0
    above_level_u_m: float = 0.0


class ConditionsPart(_Part):
    """What was measured once, beside the film."""

    gravity_m_s2: float | None = None
    latitude_deg: float | None = None
    elevation_m: float | None = None
    water_temperature_c: float | None = None
    container_area_m2: float | None = None
    container_area_u_m2: float | None = None


class Spot(_Part):
    """One position read in one frame."""

    px: Pixel
    px_u: float
    by: By


class Reading(_Part):
    """What was read in one frame; either part may be absent."""

    frame: int
    surface: Spot | None = None
    landing: Spot | None = None
    note: str = ""


class Run(_Part, kw_only=True):
    """One filmed drain, as in the run file."""

    format: str = "clepsydra-run"
    format_version: int = 1
    title: str = ""
    observer: str = ""
    clip: ClipPart
    rules: tuple[RulePart, ...] = ()
    camera: CameraPart = CameraPart()
    plumb: PlumbPart | None = None
    orifice: OrificePart | None = None
    drop: DropPart | None = None
    throw_zero: ThrowZeroPart | None = None
    gauge_line: LinePart | None = None
    landing_line: LinePart | None = None
    conditions: ConditionsPart = ConditionsPart()
    readings: tuple[Reading, ...] = ()
    extra: dict[str, Any] = {}
