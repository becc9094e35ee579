"""A finished calibration: pixels in, metres with own and shared errors out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationRemark
from calibration.facing import Facing, bent, rotation_to_plane
from calibration.lens import distort, straighten
from calibration.metres import Metres
from calibration.pixels import FloatArray, Segment
from calibration.places import Places, places_of
from calibration.plane import Plane, Slot
from calibration.reach import LANDING_LINE_PAST, ORIFICE_PAST, Reach, past
from calibration.rulefit import RuleFit
from calibration.setup import Setup
from calibration.words import said

_GRID = 257
_NEWTON = 4


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """Turns positions in the frame into heads, throws and the drop.

    Lengths that cannot be had are NaN with a reason, and `gaps` says what is missing. All lengths name the
    same sources, so their `shared` columns may be joined.
    """

    setup: Setup
    sources: tuple[str, ...]
    """Names of the shared, independent sources of error, k of them."""
    rule_fits: tuple[RuleFit, ...]
    facing: Facing
    gaps: tuple[str, ...]
    """What is missing, each in a sentence that names the key to fill."""
    remarks: tuple[CalibrationRemark, ...]
    _plane: Plane
    _table: FloatArray
    """(1 + 2 k, p): the parameters, and the parameters moved up and down by each source."""
    _head_reach: tuple[Reach, ...]
    _throw_reach: tuple[Reach, ...]
    _drop_reach: tuple[Reach, ...]
    _head_gap: str
    _throw_gap: str
    _drop_gap: str

    def heads(self, pixels: FloatArray, u_px: FloatArray) -> Metres:
        """Heads of a surface seen at some positions.

        Parameters
        ----------
        pixels : ndarray, shape (n, 2)
            Positions on the gauge line, px in the frame as displayed.
        u_px : ndarray, shape (n,)
            Standard uncertainty of each along the gauge line, px.

        Returns
        -------
        Metres
            Vertical distance of the flat water level over the orifice's centre, m. NaN, with the reason,
            where the position is not finite, lies too far past the graduations, or no rule measures heads.
        """
        line = self.setup.gauge_line.line if self.setup.gauge_line is not None else None
        return self._measured(
            self._plane.heads, pixels, u_px, line=line, reach=self._head_reach, gap=self._head_gap
        )

    def throws(self, pixels: FloatArray, u_px: FloatArray) -> Metres:
        """Throws of a jet seen to land at some positions.

        Parameters
        ----------
        pixels : ndarray, shape (n, 2)
            Positions on the landing line, px in the frame as displayed.
        u_px : ndarray, shape (n,)
            Standard uncertainty of each along the landing line, px.

        Returns
        -------
        Metres
            Horizontal distance from the throw zero, m; NaN with a reason as in `heads`.
        """
        return self._thrown(self._plane.throws, pixels, u_px)

    def landings(self, pixels: FloatArray, u_px: FloatArray) -> Metres:
        """Throws, at the landing level, of a jet that meets the landing line at some positions.

        Where the lens bends the picture, a line drawn straight over it leaves the level of its own ends
        between them: a jet that is met above that level lands further out, by dx/dy = x/(2 y₀).

        Parameters
        ----------
        pixels, u_px : ndarray
            As in `throws`.

        Returns
        -------
        Metres
            As in `throws`.
        """
        return self._thrown(self._landings, pixels, u_px)

    def _thrown(
        self, measure: Callable[[FloatArray, FloatArray], FloatArray], pixels: FloatArray, u_px: FloatArray
    ) -> Metres:
        line = self.setup.landing_line.line if self.setup.landing_line is not None else None
        return self._measured(measure, pixels, u_px, line=line, reach=self._throw_reach, gap=self._throw_gap)

    def _landings(self, table: FloatArray, straight: FloatArray) -> FloatArray:
        throws = self._plane.throws(table, straight)
        if self.setup.landing_line is None:
            return throws
        line = self.setup.landing_line.line
        seen = distort(straight, self.setup.camera.lens, self._plane.centre)
        on_line = self._straight(line.at(line.along(seen)))
        return np.asarray(throws * (1.0 + self._plane.beyond(table, on_line)), dtype=np.float64)

    def drop(self, *, past_the_rule: bool = False) -> Metres:
        """Height of the orifice's centre over the landing line below it, read from the frame.

        Parameters
        ----------
        past_the_rule : bool, optional
            Whether to give it also where the line lies further past the last graduation than a reading is
            trusted: good enough to hold another drop against, not to measure by.

        Returns
        -------
        Metres
            One value; its errors are all shared, as every reading leans on the same drop.
        """
        if self._drop_gap:
            return self._missing(1, self._drop_gap)
        table = self._plane.drops(self._table)
        value = table[0]
        reason = past(self._drop_reach, -value[0], LANDING_LINE_PAST)
        if not reason and not self._head_reach:
            reason = past(self._drop_reach, 0.0, ORIFICE_PAST)
        if reason and not past_the_rule:
            return self._missing(1, reason)
        return Metres(value, np.zeros(1), self._columns(table), self.sources)

    def places(
        self, pixels: FloatArray, u_px: FloatArray, *, behind_m: float = 0.0, behind_u_m: float = 0.0
    ) -> Places:
        """Places of a thing that moves in the frame, such as a falling drop.

        Parameters
        ----------
        pixels : ndarray, shape (n, 2)
            Positions, px in the frame as displayed.
        u_px : ndarray, shape (n,)
            Standard uncertainty of each coordinate, px.
        behind_m, behind_u_m : float
            How far the thing is behind the jet's plane, m.

        Returns
        -------
        Places
            How far below the orifice along the plumb, and how far out from the throw zero; NaN with a reason
            as in `heads`. Its sources begin with those of the calibration.
        """
        return places_of(
            self.setup,
            self._plane,
            self._table,
            self.sources,
            pixels,
            u_px,
            behind_m=behind_m,
            behind_u_m=behind_u_m,
            reach=self._head_reach,
            gaps=(self._head_gap, self._throw_gap),
        )

    def head_points(self, heads_m: FloatArray) -> FloatArray:
        """Where on the gauge line a water level would be seen.

        Parameters
        ----------
        heads_m : ndarray, shape (n,)
            Heads of the flat level, m.

        Returns
        -------
        ndarray, shape (n, 2)
            Positions in the frame as displayed, px; NaN where the gauge line, run on by its own length at
            each end, does not reach, and where there is no gauge line or no rule.
        """
        gauge = self.setup.gauge_line
        return self._inverse(self._plane.heads, heads_m, None if gauge is None else gauge.line)

    def throw_points(self, throws_m: FloatArray) -> FloatArray:
        """Where on the landing line a jet of some throw would be seen to land.

        Parameters
        ----------
        throws_m : ndarray, shape (n,)
            Throws, m.

        Returns
        -------
        ndarray, shape (n, 2)
            Positions in the frame as displayed, px; NaN as in `head_points`.
        """
        landing = self.setup.landing_line
        return self._inverse(self._plane.throws, throws_m, None if landing is None else landing.line)

    def landing_points(self, throws_m: FloatArray) -> FloatArray:
        """Where on the landing line a jet would be met that lands at some throws: the inverse of `landings`.

        Parameters
        ----------
        throws_m : ndarray, shape (n,)
            Throws at the landing level, m.

        Returns
        -------
        ndarray, shape (n, 2)
            Positions in the frame as displayed, px; NaN as in `head_points`.
        """
        landing = self.setup.landing_line
        return self._inverse(self._landings, throws_m, None if landing is None else landing.line)

    def up(self) -> FloatArray:
        """Give the unit vector (2,) that points up along the plumb at the orifice, in displayed px."""
        down, _ = self._plane.axes(self._table[:1])
        rho = self._plane.slopes(self._table[:1], self._plane.orifice[None])[0, 0]
        step = 1e-4
        ends = np.stack([rho - step * down[0], rho])
        px = self._seen(ends)
        return np.asarray((px[0] - px[1]) / np.hypot(*(px[0] - px[1])), dtype=np.float64)

    def _seen(self, rho: FloatArray) -> FloatArray:
        """Give the displayed px (n, 2) of slopes (n, 2) at the estimated facing."""
        rays = np.concatenate([rho, np.ones((len(rho), 1))], axis=1) @ rotation_to_plane(self._plane.base[:2])
        plane = self._plane
        straight = plane.centre + plane.focal_px * rays[:, :2] / rays[:, 2:]
        straight = bent(straight, plane.centre, plane.focal_px, float(plane.base[Slot.BEND]))
        return distort(straight, self.setup.camera.lens, plane.centre)

    def _straight(self, pixels: FloatArray) -> FloatArray:
        return straighten(pixels, self.setup.camera.lens, self._plane.centre)

    def _columns(self, table: FloatArray) -> FloatArray:
        k = len(self.sources)
        moves = (table[1 : k + 1] - table[k + 1 :]) / 2.0
        return np.asarray(moves.T, dtype=np.float64)

    def _missing(self, n: int, reason: str) -> Metres:
        nan = np.full(n, np.nan)
        return Metres(nan, nan.copy(), np.zeros((n, len(self.sources))), self.sources, (reason,) * n)

    def _measured(
        self,
        measure: Callable[[FloatArray, FloatArray], FloatArray],
        pixels: FloatArray,
        u_px: FloatArray,
        *,
        line: Segment | None,
        reach: tuple[Reach, ...],
        gap: str,
    ) -> Metres:
        px = np.asarray(pixels, dtype=np.float64)
        u = np.asarray(u_px, dtype=np.float64)
        if px.ndim != 2 or px.shape[1] != 2 or u.shape != px.shape[:1]:
            raise ValueError(f"pixels must have shape (n, 2) and u_px (n,), got {px.shape} and {u.shape}")
        if gap or not len(px):
            return self._missing(len(px), gap)
        along = self._reading_direction(line, measure)
        straight = self._straight(px)
        table = measure(self._table, straight)
        ends = measure(self._table[:1], self._straight(np.concatenate([px + 0.5 * along, px - 0.5 * along])))[
            0
        ]
        own = np.abs(ends[: len(px)] - ends[len(px) :]) * u
        values = table[0].copy()
        shared = self._columns(table)
        reasons = self._refusals(values, px, straight, reach)
        refused = np.array([r != "" for r in reasons])
        values[refused], own[refused], shared[refused] = np.nan, np.nan, 0.0
        return Metres(values, own, shared, self.sources, reasons if np.any(refused) else ())

    def _reading_direction(
        self, line: Segment | None, measure: Callable[[FloatArray, FloatArray], FloatArray]
    ) -> FloatArray:
        """Direction in the frame along which the position was read: the line's, else that of the length."""
        if line is not None:
            return line.direction
        up = self.up()
        return up if measure == self._plane.heads else np.array([-up[1], up[0]])

    def _refusals(
        self, values: FloatArray, px: FloatArray, straight: FloatArray, reach: tuple[Reach, ...]
    ) -> tuple[str, ...]:
        """Why each value must not be used, "" where it may."""
        low = min(r.first_m - r.slack_m for r in reach)
        high = max(r.last_m + r.slack_m for r in reach)
        if np.all((values >= low) & (values <= high)):
            return ("",) * len(values)
        reasons = []
        for value, seen, ray in zip(values, px, straight, strict=True):
            if not np.all(np.isfinite(seen)):
                reasons.append(said("no position was read"))
            elif not np.all(np.isfinite(ray)) or not np.isfinite(value):
                reasons.append(said("the position lies outside what the lens model can show"))
            else:
                reasons.append(past(reach, value))
        return tuple(reasons)

    def _inverse(
        self,
        measure: Callable[[FloatArray, FloatArray], FloatArray],
        metres: FloatArray,
        line: Segment | None,
    ) -> FloatArray:
        wanted = np.asarray(metres, dtype=np.float64)
        if line is None:
            return np.full((len(wanted), 2), np.nan)

        def at(along: FloatArray) -> FloatArray:
            return np.asarray(measure(self._table[:1], self._straight(line.at(along)))[0])

        length = line.length_px
        grid = np.linspace(-length, 2.0 * length, _GRID)
        seen = at(grid)
        good = np.isfinite(seen)
        grid, seen = grid[good], seen[good]
        if len(grid) < 2:
            return np.full((len(wanted), 2), np.nan)
        if seen[-1] < seen[0]:
            grid, seen = grid[::-1], seen[::-1]
        along = np.interp(wanted, seen, grid, left=np.nan, right=np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):  # a line on which nothing changes has no inverse
            for _ in range(_NEWTON):
                slope = at(along + 0.5) - at(along - 0.5)
                along = along + (wanted - at(along)) / slope
            met = np.abs(at(along) - wanted) < 1e-9
        return line.at(np.where(met, along, np.nan))
