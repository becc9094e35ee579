"""The physics of the drain: how the head falls, how fast the water leaves, where it lands.

SI units. The container may widen or narrow with height, and surface tension may hold back a little of the
head; left at their defaults the container is prismatic, √head falls on a straight line, and everything has a
closed form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_DENSITY, _TENSION = 998.2, 0.0728  # of water at 20 °C, kg/m³ and N/m; common handbook values
_KNOTS = 6000
_BEFORE = 1.6  # the table reaches back to this many times the first √head, for the water in the air at time 0


@dataclass(frozen=True, slots=True)
class Drain:
    """The container, the hole and the water in it."""

    gravity_m_s2: float
    speed_coefficient: float
    contraction_coefficient: float
    hole_m: float
    """Diameter of the hole."""
    bore_radius_m: float
    wall_m: float
    head0_m: float
    """Head at time 0: flat level over the hole's centre."""
    drop_m: float
    """Height of the hole's centre over the landing level."""
    meniscus_m: float
    """Height of the coloured water at the wall over the flat level."""
    profile: tuple[tuple[float, float], ...] = ()
    """Heights over the hole, and the bore's radius there over its radius at the hole; smooth between them,
    constant beyond; empty: prismatic."""
    held_head_m: float = 0.0
    """Head that surface tension holds back at the hole: the jet's own inner pressure."""
    open_s: tuple[float, float] | None = None
    """Times, s, at which the hole is opened and stopped again, the water at rest before and after, and the
    head `head0_m` at the first of them; None: open all the time."""

    @property
    def hole_area_m2(self) -> float:
        """Area of the hole, m²."""
        return math.pi * self.hole_m**2 / 4

    @property
    def bore_area_m2(self) -> float:
        """Area of the bore at the hole, m²; of the water's surface too if the container is prismatic."""
        return math.pi * self.bore_radius_m**2

    @property
    def plain(self) -> bool:
        """Whether the container is prismatic and nothing is held back: √head falls on a straight line."""
        return not self.profile and self.held_head_m == 0.0

    def bore(self, over_hole_m: ArrayLike) -> FloatArray:
        """Inner radius, m, at heights (…) m over the hole."""
        over = np.asarray(over_hole_m, dtype=np.float64)
        if not self.profile:
            return np.full(over.shape, self.bore_radius_m)
        knots, shares = np.asarray(self.profile).T
        within = np.clip(over, knots[0], knots[-1])
        place = np.clip(np.searchsorted(knots, within, side="right") - 1, 0, len(knots) - 2)
        part = (within - knots[place]) / (knots[place + 1] - knots[place])
        smooth = part * part * (3 - 2 * part)
        return np.asarray(self.bore_radius_m * (shares[place] + smooth * (shares[place + 1] - shares[place])))

    def outer(self, over_hole_m: ArrayLike) -> FloatArray:
        """Outer radius, m, at heights (…) m over the hole."""
        return self.bore(over_hole_m) + self.wall_m

    @property
    def widest_m(self) -> float:
        """Greatest outer radius, m."""
        return self.bore_radius_m * max((1.0, *(share for _, share in self.profile))) + self.wall_m

    @property
    def outer_radius_m(self) -> float:
        """Outer radius of the container at the hole, m."""
        return self.bore_radius_m + self.wall_m

    @property
    def discharge_coefficient(self) -> float:
        """Cd = Cv Cc."""
        return self.speed_coefficient * self.contraction_coefficient

    @property
    def approach(self) -> float:
        """Factor by which the water's own sinking raises the speed: 1/√(1 − (Cc a/A)²)."""
        ratio = self.contraction_coefficient * self.hole_area_m2 / self.bore_area_m2
        return 1.0 / math.sqrt(1.0 - ratio**2)

    @property
    def root_rate(self) -> float:
        """The k of √h = √h₀ − k t, m^½/s, from A dh/dt = −Cc a v; of a prismatic container."""
        ratio = self.hole_area_m2 / self.bore_area_m2
        return self.discharge_coefficient * ratio * math.sqrt(self.gravity_m_s2 / 2) * self.approach

    @property
    def flight_time_s(self) -> float:
        """T = √(2 y₀/g): from the hole to the landing level, s."""
        return math.sqrt(2 * self.drop_m / self.gravity_m_s2)

    def root_head(self, time_s: ArrayLike) -> FloatArray:
        """√h, m^½, at times (…) s; it may lie before the film's first frame."""
        time = self._since_opened(time_s)
        if self.plain:
            return np.asarray(math.sqrt(self.head0_m) - self.root_rate * time)
        return np.sqrt(self.held_head_m + self.driving_root(time) ** 2)

    def driving_root(self, time_s: ArrayLike) -> FloatArray:
        """Root, m^½, of the head that drives the jet at times (…) s."""
        if self.plain:
            return self.root_head(time_s)
        clock, roots = _fall(self)
        return np.asarray(np.interp(self._since_opened(time_s), clock, roots))

    def _since_opened(self, time_s: ArrayLike) -> FloatArray:
        """For how long, (…) s, the water has run at times (…) s."""
        time = np.asarray(time_s, dtype=np.float64)
        return time if self.open_s is None else np.clip(time, *self.open_s) - self.open_s[0]

    def is_open(self, time_s: ArrayLike) -> FloatArray:
        """1 at times (…) s at which water can leave the hole, else 0."""
        time = np.asarray(time_s, dtype=np.float64)
        if self.open_s is None:
            return np.ones(time.shape)
        return np.asarray((time >= self.open_s[0]) & (time <= self.open_s[1]), dtype=np.float64)

    def head(self, time_s: ArrayLike) -> FloatArray:
        """Head, m, at times (…) s."""
        return np.asarray(self.root_head(time_s) ** 2)

    def speed(self, time_s: ArrayLike) -> FloatArray:
        """Speed of the water leaving the hole at times (…) s: Cv √(2 g h/(1 − (Cc a/A)²)), m/s."""
        root = self.driving_root(time_s)
        scale = self.speed_coefficient * math.sqrt(2 * self.gravity_m_s2)
        if self.plain:
            return np.asarray(scale * self.approach * root)
        return scale * _approach(self, root**2 + self.held_head_m) * root

    def throw(self, time_s: ArrayLike) -> FloatArray:
        """Horizontal reach, m, of the water that lands at times (…) s: v(t − T) T."""
        flight = self.flight_time_s
        return np.asarray(self.speed(np.asarray(time_s, dtype=np.float64) - flight) * flight)

    def jet_holds(self, left_s: ArrayLike) -> FloatArray:
        """Whether water leaves as a jet at times (…) s, 1, or runs down the wall or not at all, 0.

        A jet holds while its Weber number ρ v² d/σ is above about 4, where the momentum that it carries away
        is that which surface tension takes (from memory); here it goes over between 3 and 5.
        """
        running = self.is_open(left_s)
        if self.held_head_m == 0.0:
            return running
        weber = _DENSITY * self.speed(left_s) ** 2 * self.hole_m / _TENSION
        return np.asarray(running * np.clip((weber - 3) / 2, 0, 1))

    @property
    def jet_m(self) -> float:
        """Diameter of the contracted jet just after the hole, m."""
        return self.hole_m * math.sqrt(self.contraction_coefficient)


def _approach(drain: Drain, head_m: FloatArray) -> FloatArray:
    """Factor (…) by which the water's own sinking raises the speed at heads (…) m."""
    ratio = drain.contraction_coefficient * drain.hole_area_m2 / (math.pi * drain.bore(head_m) ** 2)
    return np.asarray(1.0 / np.sqrt(1.0 - ratio**2))


@lru_cache(maxsize=16)
def _fall(drain: Drain) -> tuple[FloatArray, FloatArray]:
    """Times (n,) s, rising, and the driving root s = √(h − held) (n,) m^½ at them.

    A dh/dt = −Cc a v with v = Cv √(2 g) s and dh = 2 s ds gives dt = −2 A ds / (Cc a Cv √(2 g)): smooth to
    the end.
    """
    first = math.sqrt(drain.head0_m - drain.held_head_m)
    roots = np.linspace(_BEFORE * first, 0.0, _KNOTS)
    head = roots**2 + drain.held_head_m
    out = drain.discharge_coefficient * drain.hole_area_m2 * math.sqrt(2 * drain.gravity_m_s2)
    slow = 2 * math.pi * drain.bore(head) ** 2 / (out * _approach(drain, head))
    clock = np.concatenate([[0.0], np.cumsum(-np.diff(roots) * (slow[1:] + slow[:-1]) / 2)])
    clock -= float(np.interp(-first, -roots, clock))
    return clock, roots


@dataclass(frozen=True, slots=True)
class Gust:
    """A breath of air that swings the jet: it swells, wavers and dies down."""

    middle_s: float
    length_s: float
    reach_m: float
    """Displacement of the landing at its height, m; negative against the throw."""
    waver_hz: float

    def at(self, left_s: FloatArray) -> FloatArray:
        """Displacement (…) m of the landing of water that left at times (…) s."""
        share = (left_s - self.middle_s) / self.length_s
        waver = 1 + 0.35 * np.sin(2 * math.pi * self.waver_hz * left_s)
        return np.asarray(self.reach_m * np.exp(-((2 * share) ** 2)) * waver)


@dataclass(frozen=True, slots=True)
class Sway:
    """How the jet wanders about its parabola: a smooth random process of the time at which the water left.

    A sum of cosines with random frequencies and phases has unit variance, is defined at every instant and
    is the same for every frame and sub-frame that asks.
    """

    amplitude_m: float
    """Standard deviation of the landing point about the throw, m."""
    frequencies_hz: tuple[float, ...]
    phases: tuple[float, ...]
    gusts: tuple[Gust, ...] = ()

    def at(self, left_s: ArrayLike) -> FloatArray:
        """Unit-variance displacement of the water that left at times (…) s."""
        angle = (
            2
            * math.pi
            * np.multiply.outer(np.asarray(left_s, dtype=np.float64), np.asarray(self.frequencies_hz))
        )
        return np.asarray(np.cos(angle + np.asarray(self.phases)).sum(-1) * math.sqrt(2 / len(self.phases)))

    def landing(self, drain: Drain, time_s: ArrayLike) -> FloatArray:
        """How far beyond the throw the jet's centre meets the landing level at times (…) s, m."""
        return self.displacement(np.asarray(time_s, dtype=np.float64) - drain.flight_time_s)

    def displacement(self, left_s: ArrayLike) -> FloatArray:
        """How far the water that left at times (…) s lands beyond its throw, m."""
        left = np.asarray(left_s, dtype=np.float64)
        aside = self.amplitude_m * self.at(left)
        for gust in self.gusts:
            aside = aside + gust.at(left)
        return np.asarray(aside)
