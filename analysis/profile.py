"""How wide a container is at each height, and the integral that its draining follows exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class AreaProfile:
    """
    Area of the water's surface against its height over the orifice's centre, as pieces of parabolas.

    Areas straight between heights, diameters straight between heights (cones, bottles) and spheres are all
    of this form, so that ∫A/√h dh is known in closed form.
    """

    knots: FloatArray
    """(p + 1,) m, increasing: heights between which one parabola holds."""
    pieces: FloatArray
    """(p, 3) c0, c1, c2 of A = c0 + c1 h + c2 h², m², m, 1."""

    def __post_init__(self) -> None:
        """Check shapes and order, and make the arrays read-only."""
        p = self.pieces.shape[0]
        if p < 1 or self.pieces.shape != (p, 3) or self.knots.shape != (p + 1,):
            raise ValueError(
                f"pieces must have shape (p, 3) and knots (p + 1,), got {self.pieces.shape} and "
                f"{self.knots.shape}"
            )
        if not np.all(np.isfinite(self.pieces)) or not np.all(np.diff(self.knots) > 0.0):
            raise ValueError("a profile needs finite areas and heights that increase")
        for array in (self.knots, self.pieces):
            array.setflags(write=False)

    @classmethod
    def of_areas(cls, head_m: Sequence[float], area_m2: Sequence[float]) -> AreaProfile:
        """
        Take areas at some heights, straight between them.

        Parameters
        ----------
        head_m, area_m2 : sequence of float
            Heights over the orifice's centre in increasing order, m; areas of the water's surface, m².

        Returns
        -------
        AreaProfile

        Raises
        ------
        ValueError
            For fewer than two heights, or heights that do not increase.
        """
        h, a = np.asarray(head_m, dtype=np.float64), np.asarray(area_m2, dtype=np.float64)
        rise = _rise(h, a)
        return cls(h.copy(), np.stack([a[:-1] - rise * h[:-1], rise, np.zeros_like(rise)], axis=1))

    @classmethod
    def of_diameters(cls, head_m: Sequence[float], diameter_m: Sequence[float]) -> AreaProfile:
        """
        Take inner diameters of a round container, straight between some heights: cone, frustum, bottle.

        Parameters
        ----------
        head_m, diameter_m : sequence of float
            Heights over the orifice's centre in increasing order, m; inner diameters, m.

        Returns
        -------
        AreaProfile

        Raises
        ------
        ValueError
            As `of_areas`.
        """
        h, d = np.asarray(head_m, dtype=np.float64), np.asarray(diameter_m, dtype=np.float64)
        rise = _rise(h, d)
        at_zero = d[:-1] - rise * h[:-1]
        return cls(h.copy(), np.pi / 4.0 * np.stack([at_zero**2, 2.0 * at_zero * rise, rise**2], axis=1))

    @classmethod
    def of_sphere(cls, centre_head_m: float, diameter_m: float) -> AreaProfile:
        """
        Take a ball: A = π (R² - (h - c)²) within it.

        Parameters
        ----------
        centre_head_m : float
            Height of its centre over the orifice's centre, m.
        diameter_m : float
            Inner diameter, m, above zero.

        Returns
        -------
        AreaProfile
        """
        c, r = centre_head_m, diameter_m / 2.0
        return cls(np.array([c - r, c + r]), np.pi * np.array([[r**2 - c**2, 2.0 * c, -1.0]]))

    @property
    def lowest_m(self) -> float:
        """Lowest height of which the profile tells."""
        return float(self.knots[0])

    @property
    def highest_m(self) -> float:
        """Highest height of which the profile tells."""
        return float(self.knots[-1])

    def area(self, head_m: FloatArray) -> FloatArray:
        """
        Give the area of the surface at some heights.

        Parameters
        ----------
        head_m : ndarray, shape (n,)
            m; beyond its ends the profile goes on as wide as there.

        Returns
        -------
        ndarray, shape (n,)
            m², not below zero.
        """
        h = np.clip(np.asarray(head_m, dtype=np.float64), self.knots[0], self.knots[-1])
        c = self.pieces[self._piece(h)]
        return np.maximum(c[:, 0] + h * (c[:, 1] + h * c[:, 2]), 0.0)

    def clock(self, head_m: FloatArray) -> FloatArray:
        """
        Give ∫A/(2√h) dh from zero head, which falls evenly in time as the container drains.

        Parameters
        ----------
        head_m : ndarray, shape (n,)
            m, not below zero.

        Returns
        -------
        ndarray, shape (n,)
            m^2.5. With a constant area A it is A √h.

        Notes
        -----
        A(h) dh/dt = -Cd a √(2 g h), so that d/dt ∫A/(2√h) dh = -Cd a √(g/2) whatever the shape (Unwin,
        Hydraulics, Encyclopaedia Britannica 1910, s. 53, before A is taken as constant).
        """
        h = np.asarray(head_m, dtype=np.float64)
        knots, c, before = self._table()
        i = np.clip(np.searchsorted(knots, h, side="right") - 1, 0, c.shape[0] - 1)
        return np.asarray(before[i] + _integral(c[i], h) - _integral(c[i], knots[i]), dtype=np.float64)

    def head(self, clock: FloatArray) -> FloatArray:
        """
        Give the height at which `clock` has a value: its inverse, by Newton's rule within brackets.

        Parameters
        ----------
        clock : ndarray, shape (n,)
            m^2.5; below zero the height is zero.

        Returns
        -------
        ndarray, shape (n,)
            m.
        """
        knots, c, before = self._table()
        aim = np.maximum(np.asarray(clock, dtype=np.float64), 0.0)
        i = np.clip(np.searchsorted(before, aim, side="right") - 1, 0, c.shape[0] - 1)
        low = np.sqrt(knots[i])
        high = np.sqrt(np.append(knots[1:], np.inf)[i])
        rest = aim - before[i] + _integral(c[i], knots[i])
        # In the root of the height the integral is a polynomial with the slope A: no singular point at zero.
        # Above the last knot the area is constant, so that one step from there is exact.
        root = np.where(np.isfinite(high), 0.5 * (low + high), low)
        for _ in range(80):
            over = _integral(c[i], root**2) - rest
            slope = _area(c[i], root**2)
            low, high = np.where(over <= 0.0, root, low), np.where(over >= 0.0, root, high)
            aimed = root - over / np.maximum(slope, 1e-300)
            # Where the area all but vanishes Newton's step leaves the bracket: halve that instead.
            middle = np.where(np.isfinite(high), 0.5 * (low + high), 2.0 * low)
            new = np.where((aimed >= low) & (aimed <= high), aimed, middle)
            moved = float(np.max(np.abs(new - root), initial=0.0))
            root = new
            if moved <= 1e-14 * max(1e-9, float(np.max(root, initial=0.0))):
                break
        return np.asarray(root**2, dtype=np.float64)

    def _piece(self, head: FloatArray) -> IntArray:
        last = self.pieces.shape[0] - 1
        return np.asarray(np.clip(np.searchsorted(self.knots, head, side="right") - 1, 0, last))

    def _table(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Pieces from zero head up, as wide beyond the ends as there, with the integral at each beginning."""
        low, high = float(self.knots[0]), float(self.knots[-1])
        flat = [[float(self.area(np.array([end]))[0]), 0.0, 0.0] for end in (low, high)]
        starts = np.concatenate([[-np.inf], self.knots])
        c = np.concatenate([[flat[0]], self.pieces, [flat[1]]])
        first = int(np.searchsorted(starts, 0.0, side="right")) - 1
        knots = np.concatenate([[0.0], starts[first + 1 :]])
        c = c[first:]
        gained = _integral(c[:-1], knots[1:]) - _integral(c[:-1], knots[:-1])
        return knots, c, np.concatenate([[0.0], np.cumsum(gained)])


def _rise(head: FloatArray, value: FloatArray) -> FloatArray:
    if head.ndim != 1 or head.shape != value.shape or head.shape[0] < 2:
        raise ValueError("a profile needs two heights or more, and one value for each")
    if not np.all(np.diff(head) > 0.0):
        raise ValueError("the heights of a profile must increase")
    return np.asarray(np.diff(value) / np.diff(head), dtype=np.float64)


def _area(c: FloatArray, h: FloatArray) -> FloatArray:
    return np.asarray(c[..., 0] + h * (c[..., 1] + h * c[..., 2]), dtype=np.float64)


def _integral(c: FloatArray, h: FloatArray) -> FloatArray:
    """∫(c0 + c1 h + c2 h²)/(2√h) dh."""
    root = np.sqrt(h)
    return np.asarray(root * (c[..., 0] + h * (c[..., 1] / 3.0 + h * c[..., 2] / 5.0)), dtype=np.float64)
