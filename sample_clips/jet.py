"""The jet and its splash, painted onto samples.

A parcel that left the hole at time τ with speed v(τ) is at x = v(τ) (t − τ), z = y₀ − g (t − τ)²/2. So the
jet's centre line at time t, walked by the age s = t − τ, is x(s) = v(t − s) s: not quite a parabola, since
the speed falls while the water flies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_clips.camera import level, upright
from sample_clips.film import to_light
from sample_clips.paint import OVERSAMPLING, Canvas, Samples, Window, ramp
from sample_clips.rig import BOARD_FRONT_TO_BACK_M
from sample_clips.scene import FloatArray, Scene

_RIPPLE_PER_DIAMETER = 4.508  # wavelength of fastest growth over jet diameter, Rayleigh (1878)
_ASIDE_PX = 4.0
_TABLE = 800
_WHITE = np.float32(0.87)  # light of foam and of a drop's glint
_SPLASH_ASIDE_M = 0.045
_SPLASH_UP_M = 0.045


@dataclass(frozen=True, slots=True)
class Drop:
    """One drop of the splash: where and when it leaves the board, its speed and radius (SI)."""

    born_s: float
    x_m: float
    y_m: float
    speed_m_s: tuple[float, float, float]
    radius_m: float

    def at(self, time_s: float, gravity: float) -> tuple[float, float, float]:
        """Place, m, at a time, s."""
        age = time_s - self.born_s
        vx, vy, vz = self.speed_m_s
        return self.x_m + vx * age, self.y_m + vy * age, vz * age - gravity * age * age / 2


class Jet:
    """The jet of a scene before its still picture."""

    def __init__(self, scene: Scene, canvas: Canvas) -> None:
        self.scene, self._canvas = scene, canvas
        drain = scene.drain
        self._v0 = float(drain.speed(0.0))
        self._slowing = float(drain.speed(0.0) - drain.speed(1.0))  # m/s per s, constant
        first = float(scene.timing.times_s[0])
        reach = float(drain.throw(first)) + _SPLASH_ASIDE_M
        self._plane = upright(0.0)
        corners = self._plane.at(
            [-0.004, reach, reach, -0.004], [-0.03, -0.03, drain.drop_m + 0.012, drain.drop_m + 0.012]
        )
        self._window = canvas.around(scene.camera.project_straight(corners), 8.0)
        self._x, self._z = canvas.on(self._plane, self._window)
        self._px_per_m = scene.camera.focal_px / scene.camera.distance_m
        self._ambient = np.asarray(scene.look.wall, dtype=np.float32) * np.float32(0.96)
        rng = np.random.default_rng([scene.seed, 5])
        self._ripple_phase = rng.uniform(0, 2 * math.pi, 3)
        self._ripple_rate = (
            float(drain.speed(first)) / (_RIPPLE_PER_DIAMETER * drain.jet_m) * np.array([0.83, 1.0, 1.21])
        )
        self._drops = _splash(scene, rng)

    def centre(self, age_s: FloatArray, time_s: float) -> FloatArray:
        """Centre line (n, 2), x and z in m, at ages (n,) s, with the sway."""
        drain = self.scene.drain
        left = time_s - age_s
        x = drain.speed(left) * age_s + self._aside(age_s, time_s)
        return np.stack([x, drain.drop_m - drain.gravity_m_s2 * age_s**2 / 2], axis=-1)

    def _aside(self, age_s: FloatArray, time_s: float) -> FloatArray:
        """How far the sway has carried parcels of ages (…) s, m; it grows along the jet."""
        share = np.clip(age_s / self.scene.drain.flight_time_s, 0, None) ** 1.5
        return np.asarray(self.scene.sway.amplitude_m * share * self.scene.sway.at(time_s - age_s))

    def _along(self, time_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Table of ages (n,) s, and the sway, m, and radius, m, of the jet there.

        Both depend on the age alone and change slowly along the jet, so the many samples read them from
        this table (interpolated to better than a micrometre).
        """
        ages = np.linspace(0, 1.15 * self.scene.drain.flight_time_s, _TABLE)
        return ages, self._aside(ages, time_s), self._radius(ages, time_s)

    def extent(self, time_s: float) -> Window:
        """Give the window of samples that the jet and its splash may touch at a time, s."""
        drain = self.scene.drain
        reach = float(drain.throw(time_s)) + _SPLASH_ASIDE_M
        top = drain.drop_m + 0.006
        corners = self._plane.at([-0.002, reach, reach, -0.002], [-0.022, -0.022, top, top])
        return self._canvas.around(self.scene.camera.project_straight(corners), 4.0)

    def pieces(self, time_s: float) -> list[Window]:
        """Give windows that together hold what `paint` changes: short lengths of the jet, and the splash."""
        drain, cam = self.scene.drain, self.scene.camera
        path = self.centre(np.linspace(0, drain.flight_time_s, 13), time_s)
        straight = cam.project_straight(self._plane.at(path[:, 0], path[:, 1]))
        margin = drain.hole_m * 0.6 * self._px_per_m + _ASIDE_PX
        pieces = [self._canvas.around(straight[i : i + 2], margin) for i in range(len(straight) - 1)]
        x0, aside = float(drain.throw(time_s)), _SPLASH_ASIDE_M
        splash = self._plane.at(
            [x0 - aside, x0 + aside, x0 + aside, x0 - aside], [-0.022, -0.022, _SPLASH_UP_M, _SPLASH_UP_M]
        )
        return [*pieces, self._canvas.around(cam.project_straight(splash), 2.0)]

    def paint(self, samples: Samples, window: Window, instants_s: FloatArray) -> None:
        """Paint the mean of some instants (n,) s onto the samples of a window of the canvas."""
        middle = float(instants_s.mean())
        self._paint_wet(samples, window, middle)
        rows, cols = self._band(middle)
        keep = (rows >= window.top) & (rows < window.bottom) & (cols >= window.left) & (cols < window.right)
        rows, cols = rows[keep], cols[keep]
        x = self._x[rows - self._window.top, cols - self._window.left].astype(np.float64)
        z = self._z[rows - self._window.top, cols - self._window.left].astype(np.float64)
        at = (rows - window.top, cols - window.left)
        under = samples[at]
        mean = np.zeros_like(under)
        for instant in instants_s:
            cover, colour = self._look(x, z, float(instant))
            mean += under + cover[:, None] * (colour - under)
        samples[at] = mean / len(instants_s)
        self._paint_foot(samples, window, middle)
        self._paint_drops(samples, window, float(instants_s[0]), float(instants_s[-1]))

    def _band(self, time_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns, (n,) each, of the canvas's samples close to the jet."""
        drain, cam = self.scene.drain, self.scene.camera
        ages = np.linspace(0, 1.05 * drain.flight_time_s, 160)
        path = self.centre(ages, time_s)
        px = (cam.project(self._plane.at(path[:, 0], path[:, 1])) + 0.5) * OVERSAMPLING - 0.5
        half = (drain.hole_m * 0.6 * self._px_per_m + _ASIDE_PX) * OVERSAMPLING
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

    def _look(self, x: FloatArray, z: FloatArray, time_s: float) -> tuple[Samples, Samples]:
        """Cover (n,) and light (n, 3) of the jet at places x, z (n,) m in its plane."""
        drain, look = self.scene.drain, self.scene.look
        ages, aside, radii = self._along(time_s)
        age = self._age(x, time_s)
        age = self._age(x - np.interp(age, ages, aside), time_s)
        fall = drain.gravity_m_s2 * age
        onward = self._v0 - self._slowing * (time_s - 2 * age)  # dx/ds of the centre line
        length = np.hypot(onward, fall)
        off = (z - (drain.drop_m - fall * age / 2)) * onward / length
        radius = np.interp(age, ages, radii)
        u = off / radius
        cover = ramp(((radius - np.abs(off)) * self._px_per_m).astype(np.float32))
        cover = (
            cover
            * ramp((z * self._px_per_m).astype(np.float32))
            * ramp((x * self._px_per_m).astype(np.float32))
        )
        thick = 2 * radius * np.sqrt(np.clip(1 - u * u, 0, 1))
        through = np.exp(-thick[:, None] * np.asarray(look.dye_per_m)) * self._ambient
        rim = np.clip((np.abs(u) - 0.45) / 0.55, 0, 1)
        body = through * (0.97 - 0.60 * rim * rim * (3 - 2 * rim))[:, None]
        shine = 0.80 * np.exp(-(((u - 0.40) / 0.19) ** 2)) + 0.66 * np.exp(-(((u + 0.42) / 0.19) ** 2))
        return cover, to_light(body + shine[:, None] * (0.99 - body))

    def _age(self, x: FloatArray, time_s: float) -> FloatArray:
        """Age (…) s at which the centre line, without sway, reaches x (…) m: x = (v₀ − c t) s + c s²."""
        v, c = self._v0 - self._slowing * time_s, self._slowing
        reach = np.clip(x, 0.0, None)
        return np.asarray(2 * reach / (v + np.sqrt(v * v + 4 * c * reach)))

    def _radius(self, age: FloatArray, time_s: float) -> FloatArray:
        """Radius (…) m of the jet at ages (…) s: it contracts, thins as it falls, and ripples."""
        drain = self.scene.drain
        v = drain.speed(time_s - age)
        thin = drain.jet_m * (1 + (drain.gravity_m_s2 * age / v) ** 2) ** -0.25
        vena = (drain.hole_m - drain.jet_m) * np.exp(-v * age / (0.35 * drain.hole_m))
        share = age / drain.flight_time_s
        angle = 2 * math.pi * np.multiply.outer(time_s - age, self._ripple_rate) + self._ripple_phase
        swell = 0.10 * np.clip(share, 0, 1.1) ** 2 * np.cos(angle).mean(-1)
        return np.asarray((thin * (1 + swell) + vena) / 2)

    def _landing_m(self, time_s: float) -> float:
        """Where the jet's centre meets the landing level, sway included, m."""
        return float(self.scene.drain.throw(time_s) + self.scene.sway.landing(self.scene.drain, time_s))

    def _near(self, window: Window, corners_m: FloatArray) -> Window | None:
        """Part of a window about some world points, or None."""
        part = self._canvas.around(self.scene.camera.project_straight(corners_m), 3.0)
        part = Window(
            max(part.top, window.top),
            min(part.bottom, window.bottom),
            max(part.left, window.left),
            min(part.right, window.right),
        )
        return None if part.empty else part

    def _paint_wet(self, samples: Samples, window: Window, time_s: float) -> None:
        """Darken the board where it is wet and put the ripples' sheen on it."""
        x0, front = self._landing_m(time_s), self.scene.bench.tape_y_m
        board, aside = level(0.0), 0.040
        back = front + BOARD_FRONT_TO_BACK_M
        part = self._near(
            window, board.at([x0 - aside, x0 + aside, x0 + aside, x0 - aside], [front, front, back, back])
        )
        if part is None:
            return
        u, v = self._canvas.on(board, part)
        on_board = ramp((v - front) * 1e3) * ramp((back - v) * 1e3)
        r = np.hypot(u - x0, v)
        wet = 0.20 * on_board * np.exp(-((r / 0.022) ** 4))
        pulse = 0.5 + 0.5 * math.sin(2 * math.pi * 7.3 * time_s + 1.0)
        rings = 0.20 * np.exp(-(((r - 0.0075 - 0.002 * pulse) / 0.0016) ** 2)) + 0.12 * np.exp(
            -(((r - 0.0135 - 0.004 * pulse) / 0.0020) ** 2)
        )
        target = samples[
            part.top - window.top : part.bottom - window.top,
            part.left - window.left : part.right - window.left,
        ]
        target *= (1 - wet)[..., None] ** 2
        target += (on_board * rings)[..., None] * (_WHITE - target)

    def _paint_foot(self, samples: Samples, window: Window, time_s: float) -> None:
        """Paint the low white mound that the jet throws up where it lands; even about the jet's centre."""
        x0, wide, tall = self._landing_m(time_s), 0.0042, 0.0022
        part = self._near(
            window,
            self._plane.at(
                [x0 - 3 * wide, x0 + 3 * wide, x0 + 3 * wide, x0 - 3 * wide],
                [-0.001, -0.001, 3 * tall, 3 * tall],
            ),
        )
        if part is None:
            return
        u, z = self._canvas.on(self._plane, part)
        shape = np.exp(-(((u - x0) / wide) ** 2))
        cover = 0.55 * self.scene.look.splash * ramp(z * self._px_per_m) * shape * np.exp(-((z / tall) ** 2))
        target = samples[
            part.top - window.top : part.bottom - window.top,
            part.left - window.left : part.right - window.left,
        ]
        target += np.clip(cover, 0, 0.9)[..., None] * (_WHITE - target)

    def _paint_drops(self, samples: Samples, window: Window, start_s: float, stop_s: float) -> None:
        """Paint the drops in the air, each as the streak of its exposure."""
        gravity, cam = self.scene.drain.gravity_m_s2, self.scene.camera
        for drop in self._drops:
            lifetime = 2 * drop.speed_m_s[2] / gravity
            if not (drop.born_s < start_s and stop_s < drop.born_s + lifetime):
                continue
            ends_m = np.array([drop.at(start_s, gravity), drop.at(stop_s, gravity)])
            ends = cam.project_straight(ends_m)
            radius = drop.radius_m * self._px_per_m
            whole = self._canvas.around(ends, 3.0 + radius)
            part = Window(
                max(whole.top, window.top),
                min(whole.bottom, window.bottom),
                max(whole.left, window.left),
                min(whole.right, window.right),
            )
            if part.empty:
                continue
            x, y = self._canvas.x[part.slices] - ends[0, 0], self._canvas.y[part.slices] - ends[0, 1]
            step = ends[1] - ends[0]
            length2 = max(float(step @ step), 1e-9)
            share = np.clip((x * step[0] + y * step[1]) / length2, 0, 1)
            away = np.hypot(x - share * step[0], y - share * step[1]).astype(np.float32)
            faint = (
                2 * radius / (2 * radius + math.sqrt(length2))
            )  # the same drop spread over a longer streak
            cover = 0.85 * faint * ramp(radius - away)
            target = samples[
                part.top - window.top : part.bottom - window.top,
                part.left - window.left : part.right - window.left,
            ]
            target += cover[..., None] * (_WHITE - target)


def _splash(scene: Scene, rng: np.random.Generator) -> tuple[Drop, ...]:
    """Draw the drops of the whole film."""
    times = scene.timing.times_s
    start, stop = float(times[0]) - 0.3, float(times[-1])
    number = int(rng.poisson(110 * scene.look.splash * (stop - start)))
    born = np.sort(rng.uniform(start, stop, number))
    land = scene.drain.throw(born) + scene.sway.landing(scene.drain, born)
    drops = []
    for when, x in zip(born, land, strict=True):
        up = float(rng.gamma(3.0, 0.13))
        aside = (float(rng.normal(0.06, 0.16)), float(rng.normal(0.0, 0.10)), min(up, 0.85))
        drops.append(
            Drop(
                float(when),
                float(x + rng.normal(0, 0.0015)),
                float(rng.normal(0, 0.0015)),
                aside,
                float(np.clip(rng.lognormal(-7.45, 0.35), 0.00025, 0.0012)),
            )
        )
    return tuple(drops)
