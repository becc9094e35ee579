"""The run: all that a person told the program about one filmed drain, as frozen values.

The types mirror the run file key by key; lengths in metres, times in seconds, angles in degrees, temperatures
in degrees Celsius, positions in px of the displayed frame. The ranges written here are checked on every load,
edit and save, and they are the ranges of the published JSON Schema. They are wide: they keep out slips of the
pen and hostile files, not unusual benches.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from calibration import Measures, Pixel

FORMAT = "clepsydra-run"
FORMAT_VERSION = 1

Length = Annotated[float, Meta(ge=-1000.0, le=1000.0)]
"""A signed length, m."""
PositiveLength = Annotated[float, Meta(gt=0.0, le=1000.0)]
"""A length that cannot be nought, m."""
LengthU = Annotated[float, Meta(ge=0.0, le=1000.0)]
"""Standard uncertainty of a length, m."""
PixelU = Annotated[float, Meta(ge=0.0, le=1e6)]
"""Standard uncertainty of each coordinate of a position, px."""
FrameIndex = Annotated[int, Meta(ge=0, le=10**9)]
"""Index of a frame in presentation order, from 0."""
LaunchAngle = Annotated[float, Meta(ge=-80.0, le=80.0)]
"""Angle above the horizontal, degrees; a jet straight up or down has no throw."""
ShortText = Annotated[str, Meta(max_length=2000)]


class By(Enum):
    """How a reading was made."""

    HAND = "hand"
    FOUND = "found"


class ClipPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Which film, and which part of it."""

    path: Annotated[str, Meta(min_length=1, max_length=4000)]
    sha256: Annotated[str, Meta(pattern="^[0-9a-fA-F]{64}$")] | None = None
    capture_rate_hz: Annotated[float, Meta(gt=0.0, le=1e7)] | None = None
    start_frame: FrameIndex = 0
    stop_frame: FrameIndex | None = None
    """One past the last frame of the part measured, as in a slice; None: to the end."""


class GraduationPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One engraved line of a rule."""

    px: Pixel
    value_m: Length


class RulePart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A rule and the graduations read on it."""

    name: ShortText
    measures: Measures
    graduations: Annotated[tuple[GraduationPart, ...], Meta(min_length=2, max_length=1000)]
    graduation_u_m: LengthU
    px_u: PixelU
    behind_m: Length = 0.0
    behind_u_m: LengthU = 0.0


class LensPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Radial distortion of the lens."""

    k1: Annotated[float, Meta(ge=-100.0, le=100.0)]
    focal_px: Annotated[float, Meta(gt=0.0, le=1e6)]
    model: Literal["radial"] = "radial"
    k2: Annotated[float, Meta(ge=-1000.0, le=1000.0)] = 0.0
    centre_px: Pixel | None = None


class CameraPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where the camera stood, as far as it is known."""

    distance_m: PositiveLength | None = None
    distance_u_m: LengthU | None = None
    facing_px: Pixel | None = None
    facing_u_deg: Annotated[float, Meta(ge=0.0, le=90.0)] = 2.0
    lens: LensPart | None = None
    rolling_shutter_s: Annotated[float, Meta(ge=0.0, le=1.0)] | None = None
    """Time from the reading of a frame's first row to that of its last, as the camera recorded it, before the
    file's turn; nought where all rows are taken at once."""
    rolling_shutter_u_s: Annotated[float, Meta(ge=0.0, le=1.0)] | None = None


class PlumbPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A line that is vertical in the world."""

    top_px: Pixel
    bottom_px: Pixel


class OrificePart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The hole."""

    px: Pixel
    px_u: PixelU
    diameter_m: PositiveLength | None = None
    diameter_u_m: LengthU | None = None
    behind_m: Length = 0.0
    behind_u_m: LengthU = 0.0
    wall_thickness_m: LengthU | None = None
    """Thickness of the wall that the hole goes through, m."""
    launch_angle_deg: LaunchAngle | None = None
    """Angle of the jet above the horizontal where it leaves; None: not measured, taken as horizontal."""
    launch_angle_u_deg: Annotated[float, Meta(ge=0.0, le=90.0)] | None = None
    jet_diameter_m: PositiveLength | None = None
    """Diameter of the contracted jet, half a hole's width outside."""
    jet_diameter_u_m: LengthU | None = None


class DropPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Height of the orifice's centre over the level on which the throw is read."""

    value_m: PositiveLength
    u_m: LengthU


class ThrowZeroPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The point from which the throw counts."""

    px: Pixel
    px_u: PixelU
    behind_m: Length = 0.0
    behind_u_m: LengthU = 0.0


class LinePart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The gauge line or the landing line."""

    from_px: Pixel
    to_px: Pixel
    behind_m: Length = 0.0
    behind_u_m: LengthU = 0.0
    above_level_m: Length = 0.0
    above_level_u_m: LengthU = 0.0


class AreaAtHead(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Area of the water's surface while it stands at one height over the orifice's centre."""

    head_m: Length
    area_m2: Annotated[float, Meta(gt=0.0, le=1e6)]


class DiameterAtHead(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Inner diameter of a round container at one height over the orifice's centre."""

    head_m: Length
    diameter_m: PositiveLength


class RoundShape(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="shape", tag="round"):
    """A round container, such as a bottle: its inner diameter at some heights, straight between them."""

    diameters: Annotated[tuple[DiameterAtHead, ...], Meta(min_length=2, max_length=1000)]


class FrustumShape(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="shape", tag="frustum"):
    """A cone or a part of one, such as a bucket: its inner diameter at two heights."""

    lower_head_m: Length
    lower_diameter_m: LengthU
    """Nought at the tip of a whole cone."""
    upper_head_m: Length
    upper_diameter_m: LengthU


class SphereShape(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="shape", tag="sphere"):
    """A ball, such as a round flask: its inner diameter and where its centre lies."""

    centre_head_m: Length
    diameter_m: PositiveLength


AreaTable = Annotated[tuple[AreaAtHead, ...], Meta(min_length=2, max_length=1000)]
"""Areas in order of height, straight between them."""
Profile = AreaTable | RoundShape | FrustumShape | SphereShape
"""How wide the container is at each height: a list of areas, or a shape said plainly."""


class ConditionsPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What was measured once, beside the film."""

    gravity_m_s2: Annotated[float, Meta(gt=0.0, le=100.0)] | None = None
    latitude_deg: Annotated[float, Meta(ge=-90.0, le=90.0)] | None = None
    elevation_m: Annotated[float, Meta(ge=-11000.0, le=100000.0)] | None = None
    water_temperature_c: Annotated[float, Meta(ge=-10.0, le=110.0)] | None = None
    container_area_m2: Annotated[float, Meta(gt=0.0, le=1e6)] | None = None
    container_area_u_m2: Annotated[float, Meta(ge=0.0, le=1e6)] | None = None
    container_profile: Profile | None = None
    """For a container that is not equally wide at all heights; it goes before the one area."""
    container_profile_u: Annotated[float, Meta(ge=0.0, le=1.0)] | None = None
    """Relative standard uncertainty of the areas, common to all heights."""


class CorrectionsPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Which corrections of the law are applied, where the inputs that they need are there."""

    surface_speed: bool = True
    fall_during_flight: bool = True
    launch_angle: bool = True
    hole_size: bool = False
    landing_level: bool = True
    capillary: bool = False
    contracted_section: bool = False
    low_heads: bool = True
    """Whether readings below the head where the law ends are left out."""


# Of readings and marks there may be hundreds of thousands; they hold plain values, never one another, so that
# the search for cycles need not look at them.


class FallMark(msgspec.Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """Where a falling thing is in one frame."""

    frame: FrameIndex
    px: Pixel
    px_u: PixelU


class FallPart(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One fall followed from frame to frame: a drop, or the front of the jet."""

    name: ShortText
    what: Literal["drop", "jet drop", "jet front"]
    """A drop that was let go, a drop of the jet, or the first water of a jet just opened."""
    marks: Annotated[tuple[FallMark, ...], Meta(min_length=2, max_length=10_000)]
    """In order of frames."""
    behind_m: Length = 0.0
    behind_u_m: LengthU = 0.0


class Spot(msgspec.Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """One position read in one frame."""

    px: Pixel
    px_u: PixelU
    by: By


class Reading(msgspec.Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """What was read in one frame; either part may be absent."""

    frame: FrameIndex
    surface: Spot | None = None
    landing: Spot | None = None
    note: ShortText = ""


class Run(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One filmed drain, as in the run file."""

    format: Literal["clepsydra-run"] = "clepsydra-run"
    format_version: Literal[1] = 1
    title: ShortText = ""
    observer: ShortText = ""
    clip: ClipPart
    rules: Annotated[tuple[RulePart, ...], Meta(max_length=100)] = ()
    camera: CameraPart = CameraPart()
    plumb: PlumbPart | None = None
    orifice: OrificePart | None = None
    drop: DropPart | None = None
    throw_zero: ThrowZeroPart | None = None
    gauge_line: LinePart | None = None
    landing_line: LinePart | None = None
    conditions: ConditionsPart = ConditionsPart()
    corrections: CorrectionsPart = CorrectionsPart()
    falls: Annotated[tuple[FallPart, ...], Meta(max_length=100)] = ()
    readings: tuple[Reading, ...] = ()
    extra: dict[str, Any] = {}
    """What other programs keep here; carried along untouched."""
