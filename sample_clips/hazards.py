"""What goes wrong when one films in a real room, as frozen values; strength 0 means absent.

A scene holds one `Hazards`. Each hazard in it is drawn once from the scene's seed, so that every frame, and
the truth beside it, sees the same hand at the same place. Lengths in metres, times in seconds from frame 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class ClearWater:
    """Water without dye: what is behind is seen through it, turned left to right."""

    strength: float = 0.0
    """Share of the dye that is left out; from 0.5 on, the edge to be read is the lower edge of the thin line
    that the meniscus makes."""
    line: float = 0.0
    """Contrast of the meniscus's line, 0 to 1; dark before bright things, bright before dark ones."""
    far_line: float = 0.0
    """Contrast of the same line on the far wall."""

    @property
    def undyed(self) -> bool:
        """Whether the water is to be read by its meniscus line."""
        return self.strength >= 0.5


@dataclass(frozen=True, slots=True)
class Wetting:
    """Film and droplets that the falling surface leaves on the wall above it."""

    strength: float = 0.0
    droplets: int = 0
    sliding: float = 0.0
    """Share of the droplets that slide down sooner or later."""
    film: float = 0.0
    """Darkness of the film that drains behind the surface, with an upper edge of its own."""


@dataclass(frozen=True, slots=True)
class Streak:
    """A bright reflection on the container that stands still."""

    across: float
    """Place across the container, −1 to 1."""
    half: float
    """Half width, in the same measure."""
    low_m: float
    high_m: float
    alpha: float


@dataclass(frozen=True, slots=True)
class Gleam:
    """A bright reflection that wanders up and down the container and flickers."""

    across: float
    middle_m: float
    reach_m: float
    period_s: float
    phase: float
    flicker_s: float
    size_m: tuple[float, float]
    """Half width and half height."""
    alpha: float


@dataclass(frozen=True, slots=True)
class Glare:
    """Reflections of windows and lamps on the container."""

    strength: float = 0.0
    streaks: tuple[Streak, ...] = ()
    gleams: tuple[Gleam, ...] = ()


@dataclass(frozen=True, slots=True)
class Label:
    """A paper label on the container's near wall, or a moulded seam around it."""

    strength: float = 0.0
    """Opacity of the paper or contrast of the seam."""
    low_m: float = 0.0
    high_m: float = 0.0
    across: tuple[float, float] = (-1.0, 1.0)
    """From where to where it goes across the container, −1 to 1."""
    seams_m: tuple[float, ...] = ()
    """Heights of seams."""
    paper: Colour = (0.9, 0.9, 0.88)


@dataclass(frozen=True, slots=True)
class Visit:
    """A hand, or a head with its shoulders, that comes into view, stays and leaves."""

    kind: str
    """`hand` or `head`."""
    start_s: float
    """When it has arrived."""
    stop_s: float
    """When it begins to leave."""
    move_s: float
    """How long it comes and goes."""
    at_m: tuple[float, float]
    """Where it rests, x and z as seen in the jet's plane."""
    away_deg: float
    """Direction in which it leaves, counter-clockwise from the right."""
    size: float
    """Scale; 1 is an adult's."""
    skin: Colour
    cloth: Colour
    seed: int


@dataclass(frozen=True, slots=True)
class Visits:
    """Hands and heads in the way."""

    strength: float = 0.0
    visits: tuple[Visit, ...] = ()


@dataclass(frozen=True, slots=True)
class Knock:
    """The camera is knocked: it jumps, swings and settles turned by a little."""

    at_s: float
    turn_px: tuple[float, float, float]
    """Where it settles: right, down, and clockwise turn as px at the picture's edge."""
    swing_px: tuple[float, float, float]
    frequency_hz: float
    decay_s: float


@dataclass(frozen=True, slots=True)
class CameraMotion:
    """A camera that does not stand still. It turns about its lens, so that all depths move alike."""

    strength: float = 0.0
    knocks: tuple[Knock, ...] = ()
    creep_px: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Turn from first frame to last: right, down, clockwise turn, as px."""
    creep_power: float = 1.0
    """Shape of the creep in time: 1 steady, above 1 ever quicker."""

    @property
    def still(self) -> bool:
        """Whether the camera never moves."""
        return not self.knocks and not any(self.creep_px)


@dataclass(frozen=True, slots=True)
class Exposure:
    """An automatic camera that keeps changing its mind about brightness and white."""

    strength: float = 0.0
    swing: float = 0.0
    """Amplitude of the slow change, in natural logarithms of the light."""
    period_s: float = 1.0
    phase: float = 0.0
    steps: tuple[tuple[float, float], ...] = ()
    """Times, s, and factors of the light from then on."""
    white: Colour = (0.0, 0.0, 0.0)
    """Change of red, green and blue from first frame to last, in natural logarithms of the light."""


@dataclass(frozen=True, slots=True)
class Splash:
    """A splash much wider than the jet, and drops that jump past it."""

    strength: float = 0.0
    patch_m: float = 0.0
    """Half width of the white patch; its middle lies forward of the jet."""
    forward_m_s: float = 0.0
    """How fast the drops fly on beyond the landing."""


@dataclass(frozen=True, slots=True)
class WetTray:
    """Water on the landing board: shining puddles, and the ring where the jet's sheet of water jumps."""

    strength: float = 0.0
    jump_m: float = 0.0
    """Radius of the ring."""


@dataclass(frozen=True, slots=True)
class Breakup:
    """A jet that falls apart into drops before it lands."""

    strength: float = 0.0
    from_share: float = 1.0
    """Share of the flight after which it begins to neck."""
    scatter_m: float = 0.0
    """Standard deviation of the drops about the jet's path at the landing."""


@dataclass(frozen=True, slots=True)
class LineEnd:
    """A landing line drawn too short: for part of the film the jet lands beyond one of its ends."""

    strength: float = 0.0
    from_m: float = 0.0
    to_m: float = 0.0
    """Where the line begins and ends along the throw."""


@dataclass(frozen=True, slots=True)
class Hazards:
    """All that is wrong with a scene.

    What belongs to the camera, the lens, the clock, the container or the sensor is a value of those parts of
    the scene; `names` tells of it all.
    """

    names: tuple[tuple[str, float], ...] = ()
    """Names and strengths of all hazards that were drawn."""
    clear: ClearWater = field(default_factory=ClearWater)
    wetting: Wetting = field(default_factory=Wetting)
    glare: Glare = field(default_factory=Glare)
    label: Label = field(default_factory=Label)
    visits: Visits = field(default_factory=Visits)
    motion: CameraMotion = field(default_factory=CameraMotion)
    exposure: Exposure = field(default_factory=Exposure)
    splash: Splash = field(default_factory=Splash)
    wet_tray: WetTray = field(default_factory=WetTray)
    breakup: Breakup = field(default_factory=Breakup)
    line_end: LineEnd = field(default_factory=LineEnd)
