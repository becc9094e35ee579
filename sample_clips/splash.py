"""What the jet does where it lands: wet board, mound of foam, drops that fly on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_clips.camera import Plane, level, upright
from sample_clips.paint import Canvas, Samples, Window, ramp
from sample_clips.rig import BOARD_FRONT_TO_BACK_M
from sample_clips.rules import BOARD_START_M
from sample_clips.scene import FloatArray, Scene

_WHITE = np.float32(0.87)  # light of foam and of a drop's glint


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


class Landing:
    """The foot of the jet of a scene."""

    def __init__(self, scene: Scene, canvas: Canvas, rng: np.random.Generator) -> None:
        self.scene, self._canvas = scene, canvas
        self._plane: Plane = upright(0.0)
        self._px_per_m = scene.camera.focal_px / scene.camera.distance_m
        splash, tray = scene.hazards.splash, scene.hazards.wet_tray
        self.aside_m = 0.045 + splash.patch_m + (0.14 if splash.strength else 0.0) + 1.3 * tray.jump_m
        """How far on either side of the landing something may be painted, m."""
        self.up_m = 0.045 + (0.035 if splash.strength else 0.0)
        """How far up, m."""
        self._drops = _drawn(scene, rng)

    def paint(self, samples: Samples, window: Window, start_s: float, stop_s: float) -> None:
        """Paint mound and drops of an exposure onto the samples of a window of the canvas."""
        self._paint_foot(samples, window, (start_s + stop_s) / 2)
        self._paint_drops(samples, window, start_s, stop_s)

    def on_board(self, time_s: float) -> bool:
        """Whether there is a jet that lands on the board."""
        return BOARD_START_M < self._landing_m(time_s) < self.scene.bench.board_end_m and bool(
            self.scene.drain.jet_holds(time_s - self.scene.drain.flight_time_s) > 0.2
        )

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

    def paint_wet(self, samples: Samples, window: Window, time_s: float) -> None:
        """Darken the board where it is wet and put the ripples' sheen on it."""
        x0, front = self._landing_m(time_s), self.scene.bench.tape_y_m
        board, aside = level(0.0), max(0.040, self.aside_m - 0.005)
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
        jump = self.scene.hazards.wet_tray.jump_m
        if jump:  # where the jet's sheet of water slows down it jumps up: a bright wavering ring
            at = jump * (
                1 + 0.06 * math.sin(2 * math.pi * 2.1 * time_s) + 0.05 * np.sin(3 * np.arctan2(v, u - x0))
            )
            wet = np.maximum(wet, 0.30 * on_board * ramp((at - r) * 1e3))
            rings = rings + 0.45 * np.exp(-(((r - at) / 0.0016) ** 2))
        target = samples[
            part.top - window.top : part.bottom - window.top,
            part.left - window.left : part.right - window.left,
        ]
        target *= (1 - wet)[..., None] ** 2
        target += (on_board * rings)[..., None] * (_WHITE - target)

    def _paint_foot(self, samples: Samples, window: Window, time_s: float) -> None:
        """Paint the low white mound that the jet throws up where it lands; even about the jet's centre."""
        patch = self.scene.hazards.splash.patch_m
        x0, wide, tall = self._landing_m(time_s), 0.0042 + patch, 0.0022 + 0.16 * patch
        x0 += 0.35 * patch  # foam flies on rather than back
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
        if patch:  # lumps that come and go
            lumps = np.sin(u / 0.0041 + 31 * time_s) + np.sin(u / 0.0027 - 47 * time_s) * np.cos(19 * time_s)
            shape = shape * np.clip(0.75 + 0.35 * lumps, 0.1, 1.5)
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


def _drawn(scene: Scene, rng: np.random.Generator) -> tuple[Drop, ...]:
    """Draw the drops of the whole film."""
    times = scene.timing.times_s
    start, stop = float(times[0]) - 0.3, float(times[-1])
    wild = scene.hazards.splash
    number = int(rng.poisson(110 * scene.look.splash * (1 + 2.5 * wild.strength) * (stop - start)))
    born = np.sort(rng.uniform(start, stop, number))
    born = born[scene.drain.is_open(born - scene.drain.flight_time_s) > 0.0]
    land = scene.drain.throw(born) + scene.sway.landing(scene.drain, born)
    drops = []
    for when, x in zip(born, land, strict=True):
        up = float(rng.gamma(3.0, 0.13))
        on = wild.forward_m_s
        aside = (
            float(rng.normal(0.06 + on, 0.16 + 0.5 * on)),
            float(rng.normal(0.0, 0.10)),
            min(up, 0.85 + 0.3 * min(1.0, wild.strength)),
        )
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
