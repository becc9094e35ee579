"""Hazards of the set-up: container, clock, camera and lens, drawn into a scene."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np

from sample_clips.draw_view import between
from sample_clips.placing import bench_for, framed
from sample_clips.scene import Scene, Timing

_DENSITY, _TENSION = 998.2, 0.0728  # of water at 20 °C, kg/m³ and N/m; common handbook values
_PHONE_BASE = Fraction(1, 90_000)


def container(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Give the container another shape; the hole is drilled so that the water falls as far as before."""
    drain, last = scene.drain, float(scene.timing.times_s[-1])
    top = 1.1 * drain.head0_m
    shape = rng.choice(["cone", "waist", "belly"])
    size = strength * between(rng, 0.12, 0.30) * (1.0 if rng.random() < 0.6 else -0.6)
    shares = {
        "cone": (0.0, 0.33, 0.67, 1.0),
        "waist": (0.0, -0.6, -0.4, 0.7),
        "belly": (0.0, 0.8, 1.0, 0.3),
    }[str(shape)]
    profile = tuple((top * i / 3, max(0.55, 1.0 + size * s)) for i, s in enumerate(shares))
    target = float(drain.head(last))
    low, high = 0.4, 2.5
    for _ in range(40):
        factor = math.sqrt(low * high)
        trial = replace(drain, profile=profile, hole_m=drain.hole_m * factor)
        low, high = (factor, high) if float(trial.head(last)) > target else (low, factor)
    changed = replace(scene, drain=replace(drain, profile=profile, hole_m=drain.hole_m * low))
    bench = replace(scene.bench, plumb_x_m=scene.bench.plumb_x_m - changed.drain.widest_m + drain.widest_m)
    bench = replace(bench, board_end_m=float(changed.drain.throw(0.0)) + 0.06)
    return framed(replace(changed, bench=bench), scene.camera)


def dribble(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Let surface tension hold back some head, and film on until the jet no longer holds."""
    held = min(1.0, strength) * 2 * _TENSION / (_DENSITY * scene.drain.gravity_m_s2 * scene.drain.hole_m)
    drain = replace(scene.drain, held_head_m=held)
    frames = int(rng.integers(120, 161))
    left = np.linspace(0.0, 20 * float(scene.timing.times_s[-1]), 20_000)
    last = float(np.interp(-math.sqrt(0.0010), -drain.driving_root(left), left))
    step = round(float(1 / _PHONE_BASE) * last / (frames - 1))
    timing = Timing(
        tuple(step * i for i in range(frames)),
        _PHONE_BASE,
        scene.timing.exposure_s,
        float(1 / (_PHONE_BASE * step)),
    )
    return replace(scene, drain=drain, timing=timing)


def at_rest(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Begin the film before the hole is opened, and go on after it is stopped."""
    timing, frames = scene.timing, len(scene.timing.ticks)
    before, after = (round(strength * between(rng, 0.0, most) * frames) for most in (0.5, 1.3))
    step = timing.ticks[-1] - timing.ticks[-2]
    head = tuple(timing.ticks[0] + step * i for i in range(before))
    body = tuple(tick + step * before for tick in timing.ticks)
    tail = tuple(body[-1] + step * (i + 1) for i in range(after))
    longer = replace(timing, ticks=head + body + tail)
    opened = float(longer.times_s[before])
    last = float(longer.times_s[before + frames - 1])
    return replace(scene, timing=longer, drain=replace(scene.drain, open_s=(opened, last)))


def slow_motion(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Put a quick drain in front of a quick camera."""
    capture = 240.0 if strength >= 1.0 and rng.random() < 0.5 else 120.0
    while True:
        frames = int(rng.integers(120, 161))
        last = (frames - 1) / capture
        drain = replace(
            scene.drain,
            profile=(),
            held_head_m=0.0,
            hole_m=between(rng, 0.0065, 0.0105),
            bore_radius_m=between(rng, 0.011, 0.019),
        )
        end = float(drain.driving_root(last)) / math.sqrt(drain.head0_m)
        if 0.35 < end < 0.88 and float(drain.head(last)) > 2.2 * drain.hole_m:
            break
    timing = Timing(tuple(range(frames)), Fraction(1, 30), 1 / (2.2 * capture), 30.0, capture)
    bench = replace(bench_for(rng, drain), clutter=scene.bench.clutter)
    return framed(replace(scene, drain=drain, timing=timing, bench=bench), scene.camera)


def variable_rate(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Make the clock uneven, over the same stretch of time."""
    timing = scene.timing
    frames = len(timing.ticks)
    nominal = float(timing.times_s[-1]) / (frames - 1)
    if timing.capture_rate_hz is not None:
        nominal *= timing.capture_rate_hz / timing.file_rate_hz
    steps = np.ones(frames - 1)
    steps[rng.choice(frames - 1, size=max(1, round(5 * strength)), replace=False)] = 2.0
    slow = int(rng.integers(frames // 6, frames // 2))
    steps[slow : slow + frames // 6] *= 1.0 + min(1.0, strength)
    steps *= (frames - 1) / steps.sum()
    steps = np.clip(steps + rng.normal(0, 0.06 * strength, frames - 1), 0.3, None)
    ticks = np.concatenate([[0], np.cumsum(np.round(steps * nominal / float(_PHONE_BASE)))]).astype(int)
    return replace(scene, timing=replace(timing, ticks=tuple(int(t) for t in ticks), base=_PHONE_BASE))


def portrait(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Turn the camera upright."""
    del strength  # upright is upright
    camera = replace(scene.camera, width=scene.camera.height, height=scene.camera.width)
    film = replace(scene.film, rotation=int(rng.choice([90, 270])))
    return framed(replace(scene, film=film), camera)


def _looking(scene: Scene, azimuth_deg: float, elevation_deg: float, distance_m: float) -> Scene:
    """Give the scene seen from a distance and aside, with all of it still in the picture."""
    drain, bench, cam = scene.drain, scene.bench, scene.camera
    middle_x = (bench.plumb_x_m + bench.board_end_m) / 2
    middle_z = (bench.bench_z_m + drain.drop_m + drain.head0_m + bench.rim_m) / 2
    centre = (
        middle_x - distance_m * math.tan(math.radians(azimuth_deg)),
        -distance_m,
        middle_z - distance_m * math.tan(math.radians(elevation_deg)),
    )
    camera = replace(
        cam,
        centre_m=centre,
        azimuth_deg=azimuth_deg,
        elevation_deg=elevation_deg,
        focal_px=cam.focal_px * distance_m / cam.distance_m,
    )
    return framed(
        replace(scene, notebook=replace(scene.notebook, facing_known=True, facing_u_deg=1.0)), camera
    )


def oblique(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Look from the side and from above or below."""
    azimuth = between(rng, 8, 19) * strength * float(rng.choice([-1, 1]))
    elevation = between(rng, 2, 12) * strength * float(rng.choice([-1, -1, 0.4]))
    return _looking(scene, azimuth, elevation, scene.camera.distance_m)


def perspective(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Come near."""
    distance = scene.camera.distance_m * (between(rng, 0.42, 0.55) / 1.1) ** min(1.0, strength)
    cam = scene.camera
    return _looking(scene, cam.azimuth_deg, cam.elevation_deg, max(0.42, distance))


def lens(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Bend straight lines; the run file says how."""
    k1 = strength * between(rng, 0.06, 0.20) * (-1.0 if rng.random() < 0.7 else 0.6)
    return framed(scene, replace(scene.camera, k1=k1))


def lens_unknown(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Bend straight lines; the run file does not know."""
    bent = lens(scene, rng, strength)
    return replace(bent, notebook=replace(bent.notebook, lens_known=False))
