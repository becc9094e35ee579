"""The jet, painted onto samples.

A parcel that left the hole at time τ with speed v(τ) is at x = v(τ) (t − τ), z = y₀ − g (t − τ)²/2. So the
jet's centre line at time t, walked by the age s = t − τ, is x(s) = v(t − s) s: not quite a parabola, since
the speed falls while the water flies.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sample_clips.camera import upright
from sample_clips.film import to_light
from sample_clips.paint import OVERSAMPLING, Canvas, Samples, Window, ramp
from sample_clips.rules import BOARD_START_M
from sample_clips.scene import FloatArray, Scene
from sample_clips.splash import Landing

_RIPPLE_PER_DIAMETER = 4.508  # wavelength of fastest growth over jet diameter, Rayleigh (1878)
_ASIDE_PX = 4.0
_TABLE = 800
_POOL_M = 0.007  # how high the water stands in the tray


class Jet:
    """The jet of a scene before its still picture."""

    def __init__(self, scene: Scene, canvas: Canvas) -> None:
        self.scene, self._canvas = scene, canvas
        drain = scene.drain
        first = float(scene.timing.times_s[0])
        rng = np.random.default_rng([scene.seed, 5])
        self._ripple_phase = rng.uniform(0, 2 * math.pi, 3)
        self._landing = Landing(scene, canvas, rng)
        self._gusty = max((abs(gust.reach_m) for gust in scene.sway.gusts), default=0.0) * 1.35
        self._last_age, self._low = 1.05 * drain.flight_time_s, -0.022
        pool = scene.bench.bench_z_m + _POOL_M
        self._misses = self._may_miss()
        if self._misses:  # it flies on, down into the tray
            self._last_age = math.sqrt(2 * (drain.drop_m - pool + 0.004) / drain.gravity_m_s2)
            self._low = pool - 0.004
        reach = float(drain.throw(first)) + self._landing.aside_m + self._gusty
        self._plane = upright(0.0)
        corners = self._plane.at(
            [-0.004, reach, reach, -0.004],
            [self._low - 0.008, self._low - 0.008, drain.drop_m + 0.012, drain.drop_m + 0.012],
        )
        self._window = canvas.around(scene.camera.project_straight(corners), 8.0)
        self._x, self._z = canvas.on(self._plane, self._window)
        self._px_per_m = scene.camera.focal_px / scene.camera.distance_m
        self._ambient = np.asarray(scene.look.wall, dtype=np.float32) * np.float32(0.96)
        self._ripple_rate = (
            float(drain.speed(first)) / (_RIPPLE_PER_DIAMETER * drain.jet_m) * np.array([0.83, 1.0, 1.21])
        )
        self._scatter = rng.uniform(0, 2 * math.pi, 2)

    def centre(self, age_s: FloatArray, time_s: float) -> FloatArray:
        """Centre line (n, 2), x and z in m, at ages (n,) s, with the sway."""
        drain = self.scene.drain
        left = time_s - age_s
        x = drain.speed(left) * age_s + self._aside(age_s, time_s)
        return np.stack([x, drain.drop_m - drain.gravity_m_s2 * age_s**2 / 2], axis=-1)

    def _aside(self, age_s: FloatArray, time_s: float) -> FloatArray:
        """How far the sway has carried parcels of ages (…) s, m; it grows along the jet."""
        share = np.clip(age_s / self.scene.drain.flight_time_s, 0, None) ** 1.5
        aside = self.scene.sway.displacement(time_s - age_s)
        breakup = self.scene.hazards.breakup
        if breakup.scatter_m:  # each drop a little off, now this way, now that
            waves = np.multiply.outer(time_s - age_s, 2 * math.pi * self._ripple_rate[:2] * (0.37, 0.61))
            aside = aside + breakup.scatter_m * np.sin(waves + self._scatter).sum(-1)
        return np.asarray(share * aside)

    def _may_miss(self) -> bool:
        """Whether the jet may pass beyond an end of the board during the film."""
        scene, times = self.scene, self.scene.timing.times_s
        throw = scene.drain.throw(times)
        return bool(
            throw[0] + self._gusty > scene.bench.board_end_m - 0.004
            or throw[-1] - self._gusty < BOARD_START_M + 0.004
        )

    def _floor(self, x: FloatArray) -> FloatArray:
        """Height, m, at which the jet ends at x (…) m: the board, or the tray beside it."""
        bench = self.scene.bench
        on_board = (x > BOARD_START_M) & (x < bench.board_end_m)
        return np.asarray(np.where(on_board, 0.0, bench.bench_z_m + _POOL_M))

    def _along(self, time_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Table of ages (n,) s, and the sway, m, and radius, m, of the jet there.

        Both depend on the age alone and change slowly along the jet, so the many samples read them from
        this table (interpolated to better than a micrometre).
        """
        ages = np.linspace(0, max(1.15 * self.scene.drain.flight_time_s, 1.05 * self._last_age), _TABLE)
        return ages, self._aside(ages, time_s), self._radius(ages, time_s)

    def extent(self, time_s: float) -> Window:
        """Give the window of samples that the jet and its splash may touch at a time, s."""
        drain = self.scene.drain
        reach = float(drain.throw(time_s)) + self._landing.aside_m + self._gusty
        top = drain.drop_m + 0.006
        back = min(-0.002, float(drain.throw(time_s)) - self._landing.aside_m - self._gusty)
        top = max(top, self._landing.up_m)
        corners = self._plane.at([back, reach, reach, back], [self._low, self._low, top, top])
        return self._canvas.around(self.scene.camera.project_straight(corners), 4.0)

    def pieces(self, time_s: float) -> list[Window]:
        """Give windows that together hold what `paint` changes: short lengths of the jet, and the splash."""
        drain, cam = self.scene.drain, self.scene.camera
        last = self._last_age if self._misses else drain.flight_time_s
        path = self.centre(np.linspace(0, last, 13), time_s)
        straight = cam.project_straight(self._plane.at(path[:, 0], path[:, 1]))
        margin = (
            drain.hole_m * 0.6 + 2.5 * self.scene.hazards.breakup.scatter_m
        ) * self._px_per_m + _ASIDE_PX
        pieces = [self._canvas.around(straight[i : i + 2], margin) for i in range(len(straight) - 1)]
        x0, aside = float(drain.throw(time_s)), self._landing.aside_m + self._gusty
        splash = self._plane.at(
            [x0 - aside, x0 + aside, x0 + aside, x0 - aside],
            [-0.022, -0.022, self._landing.up_m, self._landing.up_m],
        )
        if drain.held_head_m:
            pieces.append(self._canvas.around(cam.project_straight(self._runnel_m(time_s)), 8.0))
        return [*pieces, self._canvas.around(cam.project_straight(splash), 2.0)]

    def _runnel_m(self, time_s: float) -> FloatArray:
        """Points (n, 3), m, of the water that runs down the container instead of leaving it as a jet."""
        z = np.linspace(self.scene.drain.drop_m - 0.002, self._low, 24)
        x = 0.0016 + 0.0006 * np.sin(z / 0.011 + 1.7 * time_s)
        return self._plane.at(x, z)

    def paint(self, samples: Samples, window: Window, instants_s: FloatArray) -> None:
        """Paint the mean of some instants (n,) s onto the samples of a window of the canvas."""
        middle = float(instants_s.mean())
        wets = self._landing.on_board(middle)
        if wets:
            self._landing.paint_wet(samples, window, middle)
        rows, cols = self._band(middle)
        keep = (rows >= window.top) & (rows < window.bottom) & (cols >= window.left) & (cols < window.right)
        rows, cols = rows[keep], cols[keep]
        x = self._x[rows - self._window.top, cols - self._window.left].astype(np.float64)
        z = self._z[rows - self._window.top, cols - self._window.left].astype(np.float64)
        at = (rows - window.top, cols - window.left)
        under = samples[at]
        mean = np.zeros_like(under)
        for instant in instants_s:
            wet, cover, colour = self._look(x, z, float(instant))
            painted, bare = under.copy(), under[wet]
            painted[wet] = bare + cover[:, None] * (colour - bare)
            mean += painted
        samples[at] = mean / len(instants_s)
        if wets:
            self._landing.paint(samples, window, float(instants_s[0]), float(instants_s[-1]))
        if self.scene.drain.held_head_m:
            self._paint_runnel(samples, window, middle)

    def _paint_runnel(self, samples: Samples, window: Window, time_s: float) -> None:
        """Paint the thread of water that runs down the container when the jet no longer holds."""
        drain = self.scene.drain
        share = float(drain.is_open(time_s) - drain.jet_holds(time_s))
        if share < 0.02:
            return
        points = self.scene.camera.project_straight(self._runnel_m(time_s))
        x, y = self._canvas.x[window.slices], self._canvas.y[window.slices]
        middle = np.interp(y, points[:, 1], points[:, 0]).astype(np.float32)
        reach = ramp(y - points[0, 1]) * ramp(points[-1, 1] - y)
        half = 0.45 * self.scene.drain.hole_m * self._px_per_m * share
        off = (x - middle) / half
        cover = share * reach * ramp((1 - np.abs(off)) * half)
        shine = 0.7 * np.exp(-(((off - 0.3) / 0.3) ** 2))
        body = to_light(self._ambient * np.float32(0.8))
        colour = body + shine[..., None] * (np.float32(0.85) - body)
        samples += np.asarray(cover, dtype=np.float32)[..., None] * (colour - samples)

    def _band(self, time_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns, (n,) each, of the canvas's samples close to the jet."""
        drain, cam = self.scene.drain, self.scene.camera
        ages = np.linspace(0, self._last_age, 160)
        path = self.centre(ages, time_s)
        px = (cam.project(self._plane.at(path[:, 0], path[:, 1])) + 0.5) * OVERSAMPLING - 0.5
        wide = drain.hole_m * 0.6 + 2.5 * self.scene.hazards.breakup.scatter_m
        half = (wide * self._px_per_m + _ASIDE_PX) * OVERSAMPLING
        first = max(math.ceil(px[0, 0] - half), self._window.left)
        last = min(math.floor(px[-1, 0] + half), self._window.right - 1)
        cols = np.arange(first, last + 1)
        centre = np.interp(cols, px[:, 0], px[:, 1])
        slope = np.interp(cols, px[:, 0], np.gradient(px[:, 1], px[:, 0]))
        tall = half * np.sqrt(1 + slope**2)
        top = np.maximum(np.floor(centre - tall), self._window.top).astype(int)
        bottom = np.minimum(np.ceil(centre + tall), self._window.bottom - 1).astype(int)
        counts = np.maximum(bottom - top + 1, 0)
        starts = np.repeat(np.cumsum(counts) - counts, counts)
        return np.arange(counts.sum()) - starts + np.repeat(top, counts), np.repeat(cols, counts)

    def _look(self, x: FloatArray, z: FloatArray, time_s: float) -> tuple[NDArray[np.intp], Samples, Samples]:
        """Which places x, z (n,) m in its plane the jet covers; its cover (k,) there and light (k, 3)."""
        drain, look = self.scene.drain, self.scene.look
        ages, aside, radii = self._along(time_s)
        speed, slowing = self._pace(time_s)
        # Looked up along the swayed centre line itself: a jet that a gust holds back is older there.
        centre = np.maximum.accumulate(speed * ages + slowing * ages**2 + aside)
        age = np.interp(x, centre, ages)
        fall = drain.gravity_m_s2 * age
        onward = speed + 2 * slowing * age  # dx/ds of the centre line
        length = np.hypot(onward, fall)
        off = (z - (drain.drop_m - fall * age / 2)) * onward / length
        radius = np.interp(age, ages, radii)
        u = off / radius
        cover = ramp(((radius - np.abs(off)) * self._px_per_m).astype(np.float32))
        cover = (
            cover
            * ramp(((z - self._floor(x) if self._misses else z) * self._px_per_m).astype(np.float32))
            * ramp((x * self._px_per_m).astype(np.float32))
        )
        if drain.held_head_m or drain.open_s:
            cover = cover * drain.jet_holds(time_s - age).astype(np.float32)
        wet = np.flatnonzero(cover > 0)
        cover, u = cover[wet], u[wet]
        thick = 2 * radius[wet] * np.sqrt(np.clip(1 - u * u, 0, 1))
        through = np.exp(-thick[:, None] * np.asarray(look.dye_per_m)) * self._ambient
        rim = np.clip((np.abs(u) - 0.45) / 0.55, 0, 1)
        body = through * (0.97 - 0.60 * rim * rim * (3 - 2 * rim))[:, None]
        shine = 0.80 * np.exp(-(((u - 0.40) / 0.19) ** 2)) + 0.66 * np.exp(-(((u + 0.42) / 0.19) ** 2))
        return wet, cover, to_light(body + shine[:, None] * (0.99 - body))

    def _pace(self, time_s: float) -> tuple[float, float]:
        """Speed of the water leaving at a time, m/s, and how it slows, m/s per s, within one flight."""
        drain = self.scene.drain
        now, before = float(drain.speed(time_s)), float(drain.speed(time_s - drain.flight_time_s))
        return now, (before - now) / drain.flight_time_s

    def _radius(self, age: FloatArray, time_s: float) -> FloatArray:
        """Radius (…) m of the jet at ages (…) s: it contracts, thins as it falls, and ripples."""
        drain = self.scene.drain
        v = drain.speed(time_s - age)
        thin = drain.jet_m * (1 + (drain.gravity_m_s2 * age / v) ** 2) ** -0.25
        vena = (drain.hole_m - drain.jet_m) * np.exp(-v * age / (0.35 * drain.hole_m))
        share = age / drain.flight_time_s
        angle = 2 * math.pi * np.multiply.outer(time_s - age, self._ripple_rate) + self._ripple_phase
        breakup = self.scene.hazards.breakup
        if breakup.strength:  # the neck closes: the cross-section swells and shrinks until drops are left
            deep = 1.5 * np.clip((share - breakup.from_share) / (1.001 - breakup.from_share), 0, 1)
            beat = np.cos(angle[..., 1] + 0.9 * np.sin(0.21 * angle[..., 0]))
            return np.asarray(thin * np.sqrt(np.clip(1 + deep * beat, 0, None)) / 2 + vena / 2)
        swell = 0.10 * np.clip(share, 0, 1.1) ** 2 * np.cos(angle).mean(-1)
        return np.asarray((thin * (1 + swell) + vena) / 2)
