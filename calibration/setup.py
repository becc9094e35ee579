"""What a person marked on the frame, as values: the input of a calibration."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from calibration.pixels import Pixel, Segment


class Measures(Enum):
    """What a rule is there to measure."""

    HEAD = "head"
    THROW = "throw"
    BOTH = "both"


@dataclass(frozen=True, slots=True)
class Graduation:
    """One engraved line of a rule, as read in the reference frame."""

    px: Pixel
    value_m: float
    """Engraved distance from the rule's zero, m."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule in the frame and the graduations read on it (two or more)."""

    name: str
    measures: Measures
    graduations: tuple[Graduation, ...]
    graduation_u_m: float
    """Standard uncertainty of an engraved line's place on the rule, m."""
    px_u: float
    """Standard uncertainty of reading a graduation in the frame, px (each coordinate)."""
    behind_m: float = 0.0
    """How far the rule's face lies behind (+) or before (-) the jet's vertical plane, m."""
    behind_u_m: float = 0.0
    scale_u: float = 0.0005
    """Relative standard uncertainty of the engraved scale as a whole: 0.05 % is the limit of error of a
    one-metre class II measure (Directive 2014/32/EU, annex X: 0.3 mm + 0.2 mm/m); a scale off a printer may
    be off by 1 %."""


@dataclass(frozen=True, slots=True)
class Lens:
    """Radial distortion: r_d = r (1 + k1 r^2 + k2 r^4), r in units of the focal length."""

    k1: float
    k2: float
    focal_px: float
    centre: Pixel | None = None
    """Centre of the distortion, px; None: the centre of the image."""


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera stood, as far as it is known."""

    distance_m: float | None = None
    """From the lens to the jet's plane, m."""
    distance_u_m: float | None = None
    facing: Pixel | None = None
    """Foot of the perpendicular from the lens on the jet's plane, px; None: the image centre."""
    facing_u_deg: float = 2.0
    lens: Lens | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A marked point of the set-up."""

    px: Pixel
    px_u: float
    """Standard uncertainty of each coordinate, px."""
    behind_m: float = 0.0
    behind_u_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Gauge:
    """The gauge line or the landing line, with its depth and the height of the edge that is read on it."""

    line: Segment
    behind_m: float = 0.0
    behind_u_m: float = 0.0
    above_level_m: float = 0.0
    """How far the edge that is read stands above the flat level of the water, m (meniscus; gauge line
    only)."""
    above_level_u_m: float = 0.0
    px_u: float = 0.5
    """Standard uncertainty of each end across the line, px; it counts where a drop is read from the frame."""


@dataclass(frozen=True, slots=True)
class Setup:
    """All that the calibration needs: what stands where in the reference frame."""

    frame_size: tuple[int, int]
    """Width and height of the displayed frame, px."""
    orifice: Mark
    rules: tuple[Rule, ...] = ()
    camera: Camera = field(default_factory=Camera)
    plumb: Segment | None = None
    """A line that is vertical in the world, from its top to its bottom; None: the image's vertical."""
    plumb_px_u: float = 0.5
    """Standard uncertainty of each end of the plumb, px (each coordinate)."""
    gauge_line: Gauge | None = None
    landing_line: Gauge | None = None
    throw_zero: Mark | None = None
    """None: the foot of the plumb through the orifice on the landing line."""
