"""The measuring model: parameters and straightened pixels in, vertical and horizontal metres out.

Every function takes a whole table of parameter vectors at once, so that a length and its change with each
source of error come from one vectorised pass.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from calibration.facing import slopes
from calibration.pixels import BoolArray, FloatArray


class Slot(IntEnum):
    """Place of each quantity in a parameter vector.

    From `RULES` on: the depth of each rule, then the scale of each, then the error of each engraved scale.
    """

    TANGENT_X = 0
    TANGENT_Y = 1
    INVERSE_DISTANCE = 2
    BEND = 3
    GAUGE_DEPTH = 4
    LANDING_DEPTH = 5
    ORIFICE_DEPTH = 6
    ZERO_DEPTH = 7
    ORIFICE_X = 8
    ORIFICE_Y = 9
    ZERO_X = 10
    ZERO_Y = 11
    ABOVE_LEVEL = 12
    PLUMB_ANGLE = 13
    LANDING_SHIFT = 14
    RULES = 15


_MOST_BEYOND = 0.1
"""Share of a throw by which a line on the landing level may bend away from it."""


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """What stands where, straightened, and how to measure between it.

    Lengths are formed in units of slope about the foot of the perpendicular (see
    `calibration.facing.slopes`); a point at depth d counts (1 + d / distance) times, and metres for each unit
    of slope come from the rules.
    """

    centre: FloatArray
    """(2,) principal point, px."""
    focal_px: float
    base: FloatArray
    """(p,) parameters as estimated."""
    orifice: FloatArray
    """(2,) px."""
    zero: FloatArray | None
    """(2,) px; None: the throw counts from the plumb through the orifice."""
    plumb: FloatArray
    """(2, 2) px, top and bottom."""
    landing: FloatArray | None
    """(2, 2) px, ends of the landing line."""
    head_rules: FloatArray
    """(R,) weights, adding to 1, of the rules that give the scale of heads; zeros where there is none."""
    throw_rules: FloatArray
    outward: float
    """+1 where throws grow to the right of the plumb (seen in the frame with down below), -1 to the left."""

    @property
    def drop_rules(self) -> FloatArray:
        """(R,) weights of the rules that give the drop its scale: those for heads, else those for throws.

        A rule along the throws lies in the same plane and so has its scale.
        """
        return self.head_rules if np.any(self.head_rules) else self.throw_rules

    def slopes(self, table: FloatArray, straight: FloatArray) -> FloatArray:
        """Slopes (m, n, 2) of straightened px (n, 2) for each of m parameter vectors."""
        rho = np.empty((len(table), len(straight), 2))
        for rows, seen in self._views(table, straight):
            rho[rows] = seen
        return rho

    def _views(self, table: FloatArray, straight: FloatArray) -> list[tuple[BoolArray, FloatArray]]:
        """Rows of the table and the slopes they see; most see alike: theirs are made once, (1, n, 2)."""
        view = [Slot.TANGENT_X, Slot.TANGENT_Y, Slot.BEND]
        same = np.all(table[:, view] == self.base[view], axis=1)
        views = [(same, self._slopes(self.base[None], straight))]
        if not np.all(same):
            views.append((~same, self._slopes(table[~same], straight)))
        return views

    def _slopes(self, table: FloatArray, straight: FloatArray) -> FloatArray:
        """Slopes (m, n, 2) of px (n, 2), or of px (m, n, 2) that differ from vector to vector."""
        return slopes(straight, self.centre, self.focal_px, table[:, :2], table[:, Slot.BEND])

    def axes(self, table: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give unit vectors (m, 2) down the plumb and outward along the throw, parallel to the plane."""
        ends = self.slopes(table, self.plumb)
        down = ends[:, 1] - ends[:, 0]
        down /= np.hypot(down[:, 0], down[:, 1])[:, None]
        turn = table[:, Slot.PLUMB_ANGLE]
        cos, sin = np.cos(turn), np.sin(turn)
        down = np.stack([cos * down[:, 0] - sin * down[:, 1], sin * down[:, 0] + cos * down[:, 1]], axis=1)
        across = self.outward * np.stack([down[:, 1], -down[:, 0]], axis=1)
        return down, across

    def scale(self, table: FloatArray, weights: FloatArray) -> FloatArray:
        """Metres (m,) for each unit of slope at the jet's plane, by the weighted rules; NaN without any."""
        if not np.any(weights):
            return np.full(len(table), np.nan)
        return np.asarray(self.rule_scales(table) @ weights, dtype=np.float64)

    def rule_scales(self, table: FloatArray) -> FloatArray:
        """(m, R) metres for each unit of slope at the jet's plane, by each rule alone."""
        R = len(self.head_rules)
        depth, scale, engraved = (table[:, Slot.RULES + k * R : Slot.RULES + (k + 1) * R] for k in range(3))
        carry = 1.0 + table[:, Slot.INVERSE_DISTANCE, None] * depth
        return np.asarray(scale * (1.0 + engraved) / carry, dtype=np.float64)

    def carried(
        self, table: FloatArray, straight: FloatArray, depth: Slot, direction: FloatArray
    ) -> FloatArray:
        """(m, n) parts, along (m, 2), of the slopes carried from their depth to the jet's plane."""
        carry = 1.0 + table[:, Slot.INVERSE_DISTANCE, None] * table[:, depth, None]
        parts = np.empty((len(table), len(straight)))
        for rows, seen in self._views(table, straight):
            # Component by component: pairs side by side would cost a pass of their own for every two numbers.
            x, y = np.ascontiguousarray(np.moveaxis(seen, -1, 0))
            along, to = carry[rows], direction[rows]
            parts[rows] = x * along * to[:, :1] + y * along * to[:, 1:]
        return parts

    def _mark(self, table: FloatArray, px: FloatArray, x: Slot, depth: Slot) -> FloatArray:
        """(m, 2) carried slopes of one marked point, moved by its own reading error."""
        moved = px + table[:, x : x + 2]
        rho = self._slopes(table, moved[:, None, :])[:, 0]
        return np.asarray(rho * (1.0 + table[:, Slot.INVERSE_DISTANCE] * table[:, depth])[:, None])

    def orifice_at(self, table: FloatArray) -> FloatArray:
        """(m, 2) carried slopes of the orifice's centre."""
        return self._mark(table, self.orifice, Slot.ORIFICE_X, Slot.ORIFICE_DEPTH)

    def zero_at(self, table: FloatArray) -> FloatArray:
        """(m, 2) carried slopes of the point from which the throw counts."""
        if self.zero is None:
            return self.orifice_at(table)
        return self._mark(table, self.zero, Slot.ZERO_X, Slot.ZERO_DEPTH)

    def heads(self, table: FloatArray, straight: FloatArray) -> FloatArray:
        """(m, n) metres of the flat level over the orifice's centre, seen at the straightened px (n, 2)."""
        down, _ = self.axes(table)
        surface = self.carried(table, straight, Slot.GAUGE_DEPTH, down)
        drop = _dot(self.orifice_at(table)[:, None, :], down) - surface
        return drop * self.scale(table, self.head_rules)[:, None] - table[:, Slot.ABOVE_LEVEL, None]

    def throws(self, table: FloatArray, straight: FloatArray) -> FloatArray:
        """(m, n) metres from the throw zero, seen at the straightened px (n, 2)."""
        _, across = self.axes(table)
        landing = self.carried(table, straight, Slot.LANDING_DEPTH, across)
        reach = landing - _dot(self.zero_at(table)[:, None, :], across)
        return reach * self.scale(table, self.throw_rules)[:, None]

    def beyond(self, table: FloatArray, straight: FloatArray) -> FloatArray:
        """(m, n) share of its throw that a jet met at straightened px (n, 2) of the landing line has to come.

        A line drawn straight over a picture that bends lies between its ends above their level, or below it.
        A jet met above lands further out by dx/dy = x/(2 y₀). Only the bend tells how far: what moves the
        camera alone moves line and level alike.
        """
        share = np.zeros((len(table), len(straight)))
        if self.landing is not None:
            bends = table[:, Slot.BEND] != self.base[Slot.BEND]
            share[~bends] = self._beyond(self.base[None], self.landing, straight)
            share[bends] = self._beyond(table[bends], self.landing, straight)
        return share

    def _beyond(self, table: FloatArray, line: FloatArray, straight: FloatArray) -> FloatArray:
        down, across = self.axes(table)
        ends, seen = self._slopes(table, line), self._slopes(table, straight)
        hole = self._slopes(table, self.orifice[None])
        x, y = _dot(ends, across), _dot(ends, down)
        with np.errstate(divide="ignore", invalid="ignore"):  # a line that goes down the plumb has no level
            slope = (y[:, 1:] - y[:, :1]) / (x[:, 1:] - x[:, :1])
            above = y[:, :1] + slope * (_dot(seen, across) - x[:, :1]) - _dot(seen, down)
            drop = y[:, :1] + slope * (_dot(hole, across) - x[:, :1]) - _dot(hole, down)
            share = above / (2.0 * drop)
        # As much as that is no bend: then the line was not drawn where a jet lands.
        return np.asarray(np.where(np.abs(share) < _MOST_BEYOND, share, 0.0), dtype=np.float64)

    def places(self, table: FloatArray, straight: FloatArray, depth_m: float) -> FloatArray:
        """(m, n, 2) metres below the orifice and outward from the throw zero, of px (n, 2) at one depth."""
        down, across = self.axes(table)
        carry = 1.0 + table[:, Slot.INVERSE_DISTANCE] * depth_m
        rho = self.slopes(table, straight) * carry[:, None, None]
        below = _dot(rho - self.orifice_at(table)[:, None, :], down)
        out = _dot(rho - self.zero_at(table)[:, None, :], across)
        scales = [self.scale(table, weights)[:, None] for weights in (self.drop_rules, self.throw_rules)]
        return np.stack([below * scales[0], out * scales[1]], axis=-1)

    def drops(self, table: FloatArray) -> FloatArray:
        """(m, 1) metres from the landing line up to the orifice above it; NaN without a landing line."""
        if self.landing is None:
            return np.full((len(table), 1), np.nan)
        down, across = self.axes(table)
        moved = self.landing[None] + table[:, Slot.LANDING_SHIFT, None, None] * np.array([0.0, 1.0])
        rho = self._slopes(table, moved)
        rho *= (1.0 + table[:, Slot.INVERSE_DISTANCE] * table[:, Slot.LANDING_DEPTH])[:, None, None]
        orifice = self.orifice_at(table)
        step = rho[:, 1] - rho[:, 0]
        share = np.sum((orifice - rho[:, 0]) * across, axis=1) / np.sum(step * across, axis=1)
        foot = rho[:, 0] + share[:, None] * step
        drop = np.sum((foot - orifice) * down, axis=1) * self.scale(table, self.drop_rules)
        return np.asarray(drop[:, None])


def _dot(points: FloatArray, direction: FloatArray) -> FloatArray:
    """(m, n) components of (m, n, 2) along (m, 2)."""
    return points[..., 0] * direction[:, :1] + points[..., 1] * direction[:, 1:]
