"""Marks of falls on the slow sample clip, placed by its truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from msgspec.structs import replace

from calibration import Pixel
from measure_app.clip import open_clip
from measure_app.run import FallMark, FallPart, Run
from measure_app.runfile import load_run
from sample_clips import shipped_scene

SLOW = Path(__file__).parents[2] / "sample_clips" / "slow" / "slow.run.json"
SCENE = shipped_scene("slow")
TRUE_G = SCENE.drain.gravity_m_s2


def slow_film():
    """Give the run, the time of every frame, and what is known of the film."""
    run = load_run(SLOW)
    with open_clip(SLOW.with_name("slow.mp4"), capture_rate_hz=run.clip.capture_rate_hz) as clip:
        return run, clip.stamps.seconds(), clip.info


def marked(what: str, frames, places_m, *, noise_px=0.0, px_u=1.0, seed=0, name="a fall", **more) -> FallPart:
    """Give marks at world points (n, 3) m, as the scene's camera sees them."""
    px = SCENE.camera.project(np.asarray(places_m, dtype=float))
    px = px + np.random.default_rng(seed).normal(0, noise_px, px.shape) if noise_px else px
    marks = tuple(FallMark(int(f), Pixel(*p), px_u) for f, p in zip(frames, px.tolist(), strict=True))
    return FallPart(name, what, marks, **more)


def of_the_jet(
    seconds, first: int, count: int, every: int = 4, left_s: float | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Give frames, and places (n, 3) m of the water that left the hole just before the first of them."""
    drain = SCENE.drain
    frames = first + every * np.arange(count)
    left = seconds[first] - 0.002 if left_s is None else left_s
    age = seconds[frames] - left
    places = np.stack([drain.speed(left) * age, 0 * age, drain.drop_m - TRUE_G * age**2 / 2], axis=-1)
    return frames, places


def let_go(seconds, frames, top_m: float, x_m: float, y_m: float = 0.0, since_s: float = 0.0) -> np.ndarray:
    """Give places (n, 3) m of a drop let go at rest, without air."""
    age = seconds[frames] - seconds[frames[0]] + since_s
    return np.stack([0 * age + x_m, 0 * age + y_m, top_m - TRUE_G * age**2 / 2], axis=-1)


def told(run: Run, *falls: FallPart, shutter: float | None = 0.0, **hole) -> Run:
    camera = replace(run.camera, rolling_shutter_s=shutter)
    return replace(run, falls=falls, camera=camera, orifice=replace(run.orifice, **hole))
