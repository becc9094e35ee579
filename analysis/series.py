"""What is fitted: times, heads and throws of a run, each with its own and its shared errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.profile import AreaProfile

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One measured quantity in every row of a series."""

    values: FloatArray
    """(n,) SI unit; NaN where the row does not have it."""
    own_u: FloatArray
    """(n,) standard uncertainty, independent from row to row."""
    shared: FloatArray
    """(n, k) change of each value when shared source k moves by one standard uncertainty."""

    def __post_init__(self) -> None:
        """Check the shapes and make the arrays read-only."""
        n = self.values.shape[0]
        if (
            self.values.ndim != 1
            or self.own_u.shape != (n,)
            or self.shared.ndim != 2
            or len(self.shared) != n
        ):
            raise ValueError(
                f"values and own_u must have shape (n,) and shared (n, k), got {self.values.shape}, "
                f"{self.own_u.shape} and {self.shared.shape}"
            )
        for array in (self.values, self.own_u, self.shared):
            array.setflags(write=False)

    @property
    def u(self) -> FloatArray:
        """(n,) standard uncertainty of each single value, own and shared combined."""
        return np.asarray(np.sqrt(self.own_u**2 + np.sum(self.shared**2, axis=1)), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """The rows of a run. Columns not measured are None; `shared` of all columns has the same k sources."""

    sources: tuple[str, ...]
    """k names of shared sources, such as "drop" or "upright rule: scale"."""
    time_s: FloatArray | None
    """(n,) s, increasing; None for a set of stills."""
    head: Column | None
    """m, head above the orifice's centre at the row's own time."""
    throw: Column | None
    """m, throw that lands at the row's time (launched one flight time earlier)."""
    drop: Column | None
    """m, height of the orifice's centre over the landing level; own_u 0 where it was measured once."""
    kept: BoolArray
    """(n,) rows that take part in fits."""

    def __post_init__(self) -> None:
        """Check that all columns have the same number of rows and sources."""
        n, k = self.kept.shape[0], len(self.sources)
        for name in ("head", "throw", "drop"):
            column = getattr(self, name)
            if column is not None and column.shared.shape != (n, k):
                raise ValueError(f"{name}.shared must have shape ({n}, {k}), got {column.shared.shape}")
        if self.time_s is not None and self.time_s.shape != (n,):
            raise ValueError(f"time_s must have shape ({n},), got {self.time_s.shape}")


@dataclass(frozen=True, slots=True)
class Conditions:
    """What was measured once, beside the film."""

    gravity_m_s2: float | None = None
    """Accepted g given by the user; None: from latitude and elevation, else standard gravity."""
    latitude_deg: float | None = None
    elevation_m: float | None = None
    water_temperature_c: float | None = None
    orifice_diameter_m: float | None = None
    orifice_diameter_u_m: float | None = None
    container_area_m2: float | None = None
    container_area_u_m2: float | None = None
    jet_diameter_m: float | None = None
    """Diameter of the contracted jet, where it was measured; None: from the hole and an assumed
    contraction."""
    jet_diameter_u_m: float | None = None
    wall_thickness_m: float | None = None
    """Thickness of the wall that the hole goes through."""
    launch_angle_deg: float | None = None
    """Angle of the jet above the horizontal where it leaves; None: not measured, taken as horizontal."""
    launch_angle_u_deg: float | None = None
    traced_angle_deg: float | None = None
    """The angle that the traced jet shows, where `launch_angle_deg` was made of it; None: it was stated, or
    there is none."""
    traced_angle_u_deg: float | None = None
    landing_above_m: float = 0.0
    """How far the line on which throws are read lies above the level that the drop was measured to."""
    landing_above_u_m: float = 0.0
    profile: AreaProfile | None = None
    """Of a container that is not equally wide at all heights; it goes before the one area."""
    profile_relative_u: float | None = None
    """Standard uncertainty of the profile's areas over their size, common to all heights."""


@dataclass(frozen=True, slots=True)
class Corrections:
    """Which corrections of the law are applied, where the inputs that they need are there."""

    surface_speed: bool = True
    """The surface moves, so that the jet is faster by 1/√(1 - r²)."""
    fall_during_flight: bool = True
    """A throw belongs to the head of the moment when its water left."""
    launch_angle: bool = True
    """The jet leaves at the angle that was measured, not level."""
    hole_size: bool = False
    """The head is not the same all over the hole."""
    landing_level: bool = True
    """The throw is read above the level to which the drop was measured."""
    capillary: bool = False
    """Surface tension takes head from a thin jet: derived for this program, not from a handbook."""
    contracted_section: bool = False
    """The jet is free only where it has contracted, so that the throw begins there."""
    low_heads: bool = True
    """Readings below the head at which the law ends are left out."""
