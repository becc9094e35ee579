"""What is filmed and how, as frozen values: the drain's physics, the jet, the bench, the light and the film.

SI units throughout. Unless a hazard says otherwise, the physics is the textbook's and exact: a constant speed
coefficient and contraction coefficient, a prismatic container, no wind, no drag, no surface tension. √head
falls linearly in time, and the water that lands at time t left the hole one flight time earlier.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sample_clips.camera import Camera
from sample_clips.drain import Drain, Sway
from sample_clips.hazards import Hazards
from sample_clips.let_go import Let

FloatArray = NDArray[np.float64]
Colour = tuple[float, float, float]
"""Red, green, blue as encoded in the picture, each 0 to 1."""

ACRYLIC_INDEX = 1.49  # refractive index of PMMA at 589 nm; common handbook value


@dataclass(frozen=True, slots=True)
class Timing:
    """When each frame was exposed, in whole ticks of an exact base."""

    ticks: tuple[int, ...]
    base: Fraction
    """Seconds per tick in the file."""
    exposure_s: float
    file_rate_hz: float
    capture_rate_hz: float | None = None
    """Frames per true second, where the clip plays slower than life."""

    @property
    def times_s(self) -> FloatArray:
        """True times of mid exposure, (n,) s, from frame 0."""
        file_s = (np.asarray(self.ticks, dtype=np.float64) - self.ticks[0]) * float(self.base)
        return file_s if self.capture_rate_hz is None else file_s * self.file_rate_hz / self.capture_rate_hz


@dataclass(frozen=True, slots=True)
class Bench:
    """Where things stand."""

    rule_y_m: float
    """Depth of the upright rule's face."""
    rule_zero_z_m: float
    """Height of the upright rule's zero; the stand's top."""
    rule_length_m: float
    tape_y_m: float
    """Depth of the tape's face: the front of the landing board (negative: towards the camera)."""
    tape_zero_x_m: float
    """Where the tape's zero lies along the throw."""
    board_end_m: float
    """Where the landing board ends along the throw."""
    plumb_x_m: float
    bench_z_m: float
    floor_m: float = 0.024
    """How far the container's floor lies under the hole's centre."""
    rim_m: float = 0.05
    """How far the container's rim stands over the first level."""
    clutter: int = 0
    """Seed of the things at the back."""


@dataclass(frozen=True, slots=True)
class Look:
    """Colours and materials."""

    wall: Colour
    bench: Colour
    stand: str
    """`bricks`, `timber` or `steel`."""
    stand_colour: Colour
    board: Colour
    tray: Colour
    dye_per_m: Colour
    """Absorption of the dyed water in red, green and blue, 1/m."""
    tint: Colour
    """Colour that the dyed water itself sends back."""
    light_from: float = -1.0
    """Side of the window: −1 left, +1 right."""
    meniscus_dark: float = 0.08
    """How much darker the topmost millimetres of the water look."""
    underside_dark: float = 0.03
    """How much darker the water looks where one sees its surface from below."""
    splash: float = 1.0
    """How lively the splash is."""
    backdrop: str = "plaster"
    """What stands behind: `plaster` with a shelf, or one of `walls.WALLS`."""
    defocus: float = 1.0
    """How much what is behind is out of focus."""
    rule: str = "steel"
    """What the upright rule is made of, one of `rules.MATERIALS`."""
    glass: Colour = (0.985, 1.0, 1.0)
    """What the clear container lets through of red, green and blue."""
    light: Colour = (1.0, 1.0, 1.0)
    """Factors of the light's red, green and blue: bright or dim, warm or cold."""


@dataclass(frozen=True, slots=True)
class Film:
    """What lens, sensor and encoder do to the light."""

    blur_px: float
    """Standard deviation of the lens's blur, px; the pixel's own aperture comes on top."""
    read_noise: float
    """Standard deviation of the luma's noise in the dark, levels of 255."""
    shot_gain: float
    """Variance of the luma's noise per level of brightness, levels."""
    vignette: float = 0.10
    """Loss of brightness in the corners."""
    sharpen: float = 0.0
    """Strength of the unsharp mask (radius 1.2 px)."""
    crf: int = 18
    """Constant rate factor of the H.264 encoder."""
    preset: str = "medium"
    """Speed preset of the H.264 encoder."""
    keep_detail: bool = True
    """Keep the encoder from dropping a slowly moving edge's small changes."""
    rotation: int = 0
    """Rotation written in the file; the picture is coded turned so that players show it upright."""


@dataclass(frozen=True, slots=True)
class Notebook:
    """What the person at the bench wrote down, with the standard uncertainty of each."""

    title: str
    click_px: float = 0.3
    distance_u_m: float = 0.005
    drop_u_m: float = 0.0005
    hole_u_m: float = 0.00005
    bore_u_m: float = 0.0001
    """Standard uncertainty of the bore's diameter."""
    depth_u_m: float = 0.001
    meniscus_u_m: float = 0.0003
    facing_u_deg: float = 0.8
    facing_known: bool = False
    lens_known: bool = True


@dataclass(frozen=True, slots=True)
class Scene:
    """One drain in front of one camera: all that the renderer needs."""

    name: str
    seed: int
    camera: Camera
    drain: Drain
    sway: Sway
    timing: Timing
    bench: Bench
    look: Look
    film: Film
    notebook: Notebook = field(default_factory=lambda: Notebook(title=""))
    hazards: Hazards = field(default_factory=Hazards)
    drops: tuple[Let, ...] = ()
    """Drops let go beside the container."""

    @property
    def axis_x_m(self) -> float:
        """Where the container's axis stands along the throw, m (the hole's exit plane is at 0)."""
        return -self.drain.outer_radius_m

    @property
    def toward_camera(self) -> FloatArray:
        """Horizontal unit vector (2,) in x and y from the container's axis to the camera."""
        step = np.array([self.camera.centre_m[0] - self.axis_x_m, self.camera.centre_m[1]])
        return np.asarray(step / np.hypot(*step))

    @property
    def wall_lift_m(self) -> float:
        """How much nearer the bore is seen than it is, m.

        The wall lifts it by its thickness times (1 − 1/n): the apparent depth of a plate for rays near its
        normal (any optics textbook).
        """
        return self.drain.wall_m * (1 - 1 / ACRYLIC_INDEX)

    def seen_near(self, height_m: ArrayLike) -> FloatArray:
        """How far before the axis the water's near edge is *seen* at heights (…) m, m."""
        return self.drain.bore(np.asarray(height_m) - self.drain.drop_m) + self.wall_lift_m

    def near_edge(self, height_m: ArrayLike) -> FloatArray:
        """World points (…, 3), as seen, of the bore's near side, in its middle, at heights (…) m."""
        z = np.asarray(height_m, dtype=np.float64)
        nearer, (tx, ty) = self.seen_near(z), self.toward_camera
        return np.stack([self.axis_x_m + tx * nearer, ty * nearer, z], axis=-1)

    def surface_edge(self, time_s: ArrayLike) -> FloatArray:
        """World points (…, 3), as seen, of the edge to be read on the near wall at times (…) s.

        With dye it is the coloured water's upper edge, without dye the lower edge of the meniscus's line.
        """
        return self.near_edge(self.drain.drop_m + self.drain.head(time_s) + self.edge_rise_m)

    @property
    def edge_rise_m(self) -> float:
        """How far the edge to be read stands over the flat level, m."""
        return 0.0 if self.hazards.clear.undyed else self.drain.meniscus_m
