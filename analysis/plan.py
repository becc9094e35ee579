"""An experiment still to be filmed: container, hole, drop, camera, instruments, and what to expect."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from analysis.findings import Remark, Share
from analysis.published import Edge, ExpectedBands
from analysis.series import Conditions
from analysis.words import marked

DIAGONAL_35_MM = math.hypot(36.0, 24.0)
"""Diagonal of the 36 × 24 mm picture to which a "35 mm equivalent" focal length refers; common practice."""


@dataclass(frozen=True, slots=True)
class Instruments:
    """How well things are measured and read: standard uncertainties."""

    drop_u_m: float = 1.0e-3
    """Rule along a plumb line, and the level on which the jet lands."""
    hole_diameter_u_m: float = 0.06e-3
    """A drilled hole within 0.1 mm of its drill, 0.1 mm/√3 (JCGM 100, 4.3.7)."""
    area_relative_u: float = 0.01
    """A bore measured to half a per cent."""
    zero_u_m: float = 1.0e-3
    """Foot of the plumb under the hole, from which throws count."""
    meniscus_u_m: float = 0.5e-3
    """What stands above the flat level where the surface is read."""
    rule_u_m: float = 0.1e-3
    """Engraved line of a rule."""
    rule_length_m: float = 0.3
    """Length of each rule that is in the picture."""
    rule_marks: int = 5
    """Graduations of each rule that are marked, evenly spread."""
    rule_depth_u_m: float = 3.0e-3
    """How well it is known how far a rule stands before or behind the jet's plane."""
    mark_u_px: float = 0.5
    """A place marked by hand in the picture."""
    surface_u_px: float = 0.3
    """A single reading of the surface."""
    landing_u_px: float = 1.0
    """A single reading of the landing."""
    line_u_px: float = 0.5
    """How far the landing line is drawn above or below the level that the drop is measured to."""
    surface_shared_u_px: float = 0.12
    """Which place of the blurred edge is the surface; the same in all frames."""
    landing_shared_u_px: float = 0.12
    """Which place of the jet is its centre; the same in all frames: as finding states it, rms over films of
    all kinds (tests/benchmarks/landing.md)."""
    sway_u_m: float = 1.0e-3
    """The jet's own unrest where it lands."""
    launch_u_deg: float = 0.0
    """How well the jet's angle is known; nought: it is taken for level, as where nothing is known of it."""
    jet_diameter_u_m: float = 0.1e-3
    """The contracted jet, measured in a close picture or with a calliper held near."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What the experiment is to be made of. Lengths in metres."""

    container_area_m2: float
    """Horizontal area of the water."""
    container_depth_m: float
    """Extent of the container along the line of sight: the bore, or the depth of a box."""
    head_m: float
    """Height of the water over the hole's centre at the start."""
    hole_diameter_m: float
    drop_m: float
    """Height of the hole's centre over the level on which the jet lands."""
    wall_thickness_m: float = 1.0e-3
    edge: Edge = Edge.SHARP
    tray_length_m: float | None = None
    """From below the hole to the tray's far end; None: long enough."""
    camera_distance_m: float = 1.5
    field_width_m: float | None = None
    """Width of the bench that the picture shows; None: from the lens, or zoomed until everything just
    fits."""
    focal_equivalent_mm: float | None = None
    """Focal length as for 36 × 24 mm film."""
    image_width_px: int = 1920
    image_height_px: int = 1080
    frame_rate_hz: float = 30.0
    readings: int | None = None
    """Frames that are read; None: all of them."""
    temperature_c: float = 20.0
    cv: float | None = None
    """Speed coefficient to reckon with; None: what is published for such a hole."""
    cd: float | None = None
    """Discharge coefficient to reckon with; None: the same."""
    instruments: Instruments = Instruments()

    def __post_init__(self) -> None:
        """Refuse what no bench can have."""
        for name, (low, high, unit) in _RANGES.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                words = name.removesuffix("_m2").removesuffix("_m").removesuffix("_mm").removesuffix("_hz")
                raise ValueError(
                    f"{words.replace('_', ' ')}: must be {low:g} to {high:g}{unit}, got {value:g}"
                )
        for field in fields(self.instruments):
            value = getattr(self.instruments, field.name)
            if not (math.isfinite(value) and value >= 0.0):
                words = field.name.removesuffix("_m").replace("_", " ")
                raise ValueError(f"{words}: must be a number not below nought, got {value:g}")
        if self.instruments.rule_length_m <= 0.0:
            raise ValueError("rule length: must be above nought")
        if self.instruments.rule_marks < 2:
            raise ValueError("rule marks: a scale needs two marked graduations or more")
        if math.pi * self.hole_diameter_m**2 / 4.0 > 0.25 * self.container_area_m2:
            raise ValueError(
                "hole diameter: the hole is more than a quarter of the container's area; the law of a small "
                "hole does not hold there"
            )
        if self.head_m <= self.hole_diameter_m:
            raise ValueError(
                f"head: must be above the hole's diameter ({1e3 * self.hole_diameter_m:g} mm), got "
                f"{1e3 * self.head_m:g} mm"
            )

    @property
    def scale_gain(self) -> float:
        """
        Relative error of a rule's scale when each mark errs by a metre of its own, 1/m.

        √(12 (N - 1)/(N (N + 1)))/L for N marks evenly spread over L: the slope of a straight line through
        them.
        """
        n = self.instruments.rule_marks
        return math.sqrt(12.0 * (n - 1) / (n * (n + 1))) / self.instruments.rule_length_m

    @property
    def hole_area_m2(self) -> float:
        """Area of the hole."""
        return math.pi * self.hole_diameter_m**2 / 4.0

    @property
    def conditions(self) -> Conditions:
        """What will have been measured beside the film."""
        return Conditions(
            water_temperature_c=self.temperature_c,
            orifice_diameter_m=self.hole_diameter_m,
            orifice_diameter_u_m=self.instruments.hole_diameter_u_m,
            container_area_m2=self.container_area_m2,
            container_area_u_m2=self.instruments.area_relative_u * self.container_area_m2,
            launch_angle_deg=0.0 if self.instruments.launch_u_deg > 0.0 else None,
            launch_angle_u_deg=self.instruments.launch_u_deg if self.instruments.launch_u_deg > 0.0 else None,
        )


_RANGES: dict[str, tuple[float, float, str]] = {
    "container_area_m2": (1e-5, 1e3, " m²"),
    "container_depth_m": (1e-3, 100.0, " m"),
    "head_m": (1e-3, 100.0, " m"),
    "hole_diameter_m": (2e-4, 5.0, " m"),
    "drop_m": (5e-3, 100.0, " m"),
    "wall_thickness_m": (0.0, 1.0, " m"),
    "tray_length_m": (1e-2, 1e3, " m"),
    "camera_distance_m": (0.05, 1e3, " m"),
    "field_width_m": (1e-2, 1e3, " m"),
    "focal_equivalent_mm": (5.0, 2000.0, " mm"),
    "image_width_px": (64, 65536, " px"),
    "image_height_px": (64, 65536, " px"),
    "frame_rate_hz": (0.01, 1e5, marked(" frames per second")),
    "readings": (3, 10_000_000, ""),
    "temperature_c": (0.0, 40.0, " °C"),
    "cv": (0.3, 1.0, ""),
    "cd": (0.2, 1.0, ""),
}


@dataclass(frozen=True, slots=True)
class Moment:
    """What is expected at one head."""

    head_m: float
    time_s: float
    """Since the start."""
    throw_m: float
    """Of the water that leaves at this moment."""
    speed_m_s: float
    reynolds: float
    """Of the jet: speed, jet diameter."""
    weber: float
    on_tray: bool


@dataclass(frozen=True, slots=True)
class Sight:
    """What the camera will make of it."""

    field_width_m: float
    field_height_m: float
    needed_width_m: float
    needed_height_m: float
    metres_per_px: float

    @property
    def fits(self) -> bool:
        """Whether container, jet and tray are in the picture."""
        # A field that was made to fit may miss itself by rounding.
        return (
            self.needed_width_m <= 1.000001 * self.field_width_m
            and self.needed_height_m <= 1.000001 * self.field_height_m
        )

    @property
    def px_per_mm(self) -> float:
        """Pixels to a millimetre of the bench."""
        return 1e-3 / self.metres_per_px


@dataclass(frozen=True, slots=True)
class GravityRoute:
    """One way to a g that is not borrowed, and how well it would do."""

    name: str
    relative_u: float
    needs: str


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is to be expected of a plan."""

    plan: Plan
    expected: ExpectedBands
    cv: float
    """Reckoned with."""
    cd: float
    moments: tuple[Moment, ...]
    """From the start down to the end of the law."""
    law_limit_m: float
    """Head below which the law is not trusted."""
    drain_time_s: float
    """From the start to the law's limit."""
    drain_time_range_s: tuple[float, float]
    """The same with the ends of the expected band of Cd."""
    empty_time_s: float
    """To a head of nought if the law held to the end."""
    least_tray_m: float
    """Length of tray, from below the hole, that catches the jet from the start on."""
    head_on_tray_m: float | None
    """Head from which on the jet lands in the tray; None: from the start."""
    sight: Sight
    jet_diameter_m: float
    frames: int
    """Frames in the drain time."""
    independent: int
    """Readings that err independently of one another."""
    cv_u: float | None
    """Standard uncertainty expected of Cv; None where the run would be too short to tell."""
    cd_u: float | None
    budget: tuple[Share, ...]
    """Sources of `cv_u`, largest first."""
    more_frames_gain: float
    """Part by which `cv_u` would fall with twice as many readings."""
    capillary_loss_m: tuple[float, float]
    """Head that surface tension takes from a thin jet, whole to the landing or broken into drops."""
    capillary_shift: float | None
    """Change of Cv, as the engine would give it, from that."""
    gravity: tuple[GravityRoute, ...]
    advice: tuple[Remark, ...]

    @property
    def throw_range_m(self) -> tuple[float, float]:
        """Least and greatest throw within the law."""
        return self.moments[-1].throw_m, self.moments[0].throw_m
