"""What the falling surface leaves on the wall: a draining film and droplets, some of which slide."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_clips.cylinder import Column, near_depth
from sample_clips.paint import OVERSAMPLING, Samples, mottle, ramp
from sample_clips.scene import FloatArray, Scene


@dataclass(frozen=True, slots=True)
class _Droplet:
    """A droplet on the near wall; it is there once the surface has passed."""

    across: float
    height_m: float
    born_s: float
    radius_m: float
    tall: float
    slides_s: float
    """When it begins to slide; infinite if never."""
    speed_m_s: float

    def at(self, time_s: float) -> float | None:
        """Height, m; None before the surface has passed."""
        if time_s < self.born_s:
            return None
        return self.height_m - self.speed_m_s * max(0.0, time_s - self.slides_s)


class WettedWall:
    """Film and droplets of a scene, for every time."""

    def __init__(self, scene: Scene, tube: Column) -> None:
        self.scene, self._tube = scene, tube
        self._top_m = scene.drain.drop_m + scene.drain.head0_m + scene.drain.meniscus_m
        self._droplets = _drawn(scene)
        # Streaks of the film run down the wall and stand still.
        self._streaks = mottle(tube.across, tube.height_m, (0.13, 0.05), scene.seed + 301)
        self._wave = mottle(tube.across, tube.across * 0, (0.22, 1.0), scene.seed + 302)

    def paint(self, light: Samples, rows: slice, time_s: float, edge_m: float) -> None:
        """Paint onto samples of light (h, w, 3) of some rows of the cylinder's window."""
        tube, wet = self._tube, self.scene.hazards.wetting
        eye = self.scene.camera.centre_m[2]
        depth = near_depth(self.scene, tube)[rows]
        part = Column(
            tube.window,
            tube.across[rows],
            tube.height_m[rows],
            tube.cover[rows],
            tube.distance_m,
            tube.px_per_m,
        )
        height = part.height_at(depth, eye)
        inside = part.cover * ramp((0.97 - np.abs(part.across)) * 40)
        if wet.film:
            self._paint_film(light, rows, height, inside, edge_m)
        for droplet in self._droplets:
            at = droplet.at(time_s)
            if at is not None and at - droplet.radius_m * droplet.tall > edge_m:
                self._paint_droplet(light, height, part.across, droplet, at)

    def _paint_film(
        self, light: Samples, rows: slice, height: Samples, inside: Samples, edge_m: float
    ) -> None:
        wet, px = self.scene.hazards.wetting, self._tube.px_per_m
        fallen = self._top_m - edge_m
        upper = self._top_m - 0.42 * fallen + min(0.006, 0.2 * fallen) * self._wave[rows]
        film = ramp((upper - height) * px, 1.1) * ramp((height - edge_m) * px) * inside
        thick = 0.75 + 0.35 * self._streaks[rows] + 0.3 * np.clip(1 - (height - edge_m) / 0.02, 0, 1)
        dye = np.exp(-np.asarray(self.scene.look.dye_per_m, dtype=np.float32) * np.float32(0.0022))
        veil = (wet.film * film * np.clip(thick, 0, 1.4))[..., None]
        light *= 1 - veil * (1 - dye * np.float32(0.86))

    def _paint_droplet(
        self, light: Samples, height: Samples, across: Samples, droplet: _Droplet, at_m: float
    ) -> None:
        half = self._tube.px_per_m * OVERSAMPLING
        radius = self.scene.drain.outer_radius_m
        middle = across.shape[1] // 2
        row = int(np.searchsorted(-height[:, middle], -at_m))
        column = int(np.searchsorted(across[across.shape[0] // 2], droplet.across))
        reach = math.ceil(droplet.radius_m * half * droplet.tall) + 4
        r, c = slice(max(row - reach, 0), row + reach), slice(max(column - reach, 0), column + reach)
        if light[r, c].size == 0:
            return
        narrow = droplet.radius_m * max(0.3, math.sqrt(1 - droplet.across**2))
        u = (across[r, c] - droplet.across) * radius / narrow
        v = (height[r, c] - at_m) / (droplet.radius_m * droplet.tall)
        away = np.hypot(u, v)
        cover = ramp((1 - away) * narrow * self._tube.px_per_m)
        # A droplet is a small lens that turns the room upside down: dark above, bright below, a dark rim.
        tone = 1.0 - 0.55 * np.clip(v, -0.9, 1) - 0.35 * np.clip((away - 0.6) / 0.4, 0, 1)
        shine = 0.8 * np.exp(
            -(((u + 0.35 * self.scene.look.light_from * -1) / 0.25) ** 2) - ((v - 0.4) / 0.25) ** 2
        )
        strength = 0.55 + 0.45 * min(1.0, self.scene.hazards.wetting.strength)
        target = light[r, c]
        drop = np.clip(target * tone[..., None], 0, 1) + shine[..., None] * (0.9 - target)
        target += (strength * cover)[..., None] * (drop - target)


def _drawn(scene: Scene) -> tuple[_Droplet, ...]:
    rng = np.random.default_rng([scene.seed, 301])
    drain, wet, times = scene.drain, scene.hazards.wetting, scene.timing.times_s
    clock = np.linspace(float(times[0]), float(times[-1]), 2000)
    edge: FloatArray = drain.drop_m + drain.head(clock) + drain.meniscus_m
    low, high = float(edge[-1]), float(edge[0]) + 0.7 * scene.bench.rim_m
    length = float(clock[-1] - clock[0])
    droplets = []
    for _ in range(wet.droplets):
        height = float(rng.uniform(low, high))
        passed = float(np.interp(-height, -edge, clock)) if height < edge[0] else -math.inf
        born = passed + float(rng.uniform(0.0, 0.08)) * length if height < edge[0] else -math.inf
        slides = math.inf
        if rng.random() < wet.sliding:
            slides = max(born, float(clock[0])) + float(rng.uniform(0.0, 0.5)) * length
        droplets.append(
            _Droplet(
                float(np.clip(rng.normal(0, 0.45), -0.9, 0.9)),
                height,
                born,
                float(np.clip(rng.lognormal(math.log(0.0011), 0.45), 0.0005, 0.0030)),
                float(rng.uniform(0.95, 1.7)),
                slides,
                float(rng.uniform(0.02, 0.35)) * (high - low) / length * 3,
            )
        )
    return tuple(droplets)
