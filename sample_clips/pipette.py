"""Drops let go from a pipette beside the container, to time their fall."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sample_clips.camera import upright
from sample_clips.let_go import Let
from sample_clips.paint import Canvas, Samples, Window, ramp
from sample_clips.scene import Scene

FloatArray = NDArray[np.float64]

_DARK, _BRIGHT = np.float32(0.05), np.float32(0.80)


def with_pipette(scene: Scene, *, every_s: float = 0.8, behind_m: float = 0.0) -> Scene:
    """Give a scene in which drops are let go between the plumb and the container, one after the other.

    Parameters
    ----------
    scene : Scene
        Any scene with room there.
    every_s : float
        Time from one drop to the next, s.
    behind_m : float
        How far behind the jet's plane they fall, m.

    Raises
    ------
    ValueError
        A drop would leave the picture.
    """
    first, last = float(scene.timing.times_s[0]), float(scene.timing.times_s[-1])
    x = 0.5 * (scene.bench.plumb_x_m + scene.axis_x_m - scene.drain.widest_m) - 0.012
    top = scene.drain.drop_m + 0.7 * scene.drain.head0_m
    rng = np.random.default_rng([scene.seed, 11])
    drops = tuple(
        Let(float(at), x, behind_m, top, float(rng.uniform(0.0036, 0.0046)))
        for at in np.arange(first + 0.05, last, every_s)
    )
    ends = scene.camera.project(np.array([[x, behind_m, top + 0.01], [x, behind_m, 0.0]]))
    if not np.all((ends > 8) & (ends < np.array([scene.camera.width, scene.camera.height]) - 9)):
        raise ValueError(f"{scene.name}: a drop from the pipette leaves the picture")
    return replace(scene, drops=drops)


def paint_drop(
    canvas: Canvas, samples: Samples, window: Window, drop: Let, instants_s: FloatArray, gravity: float
) -> None:
    """Paint the mean of some instants (n,) s of a drop onto the samples of a window of the canvas.

    Its middle is bright and its rim dark, evenly about its centre.
    """
    u, v = canvas.on(upright(drop.y_m), window)
    per_m = canvas.camera.focal_px / (canvas.camera.distance_m + drop.y_m)
    radius, under = drop.diameter_m / 2, samples.copy()
    mean = np.zeros_like(samples)
    for z in drop.height(instants_s, gravity):
        away = np.hypot(u - drop.x_m, v - float(z)) / radius
        cover = ramp(np.asarray((1.0 - away) * radius * per_m, dtype=np.float32))[..., None]
        body = _DARK + (_BRIGHT - _DARK) * np.exp(-((away / 0.45) ** 2)).astype(np.float32)
        mean += under + cover * (body[..., None] - under)
    samples[:] = mean / len(instants_s)


def drop_window(canvas: Canvas, drop: Let, instants_s: FloatArray, gravity: float) -> Window | None:
    """Give the window of samples that a drop touches in some instants; None once it has landed."""
    places = drop.places(instants_s[[0, -1]], gravity)
    if float(places[-1, 2]) < 0.0:
        return None
    seen = canvas.camera.project_straight(places)
    margin = 3.0 + drop.diameter_m * canvas.camera.focal_px / canvas.camera.distance_m
    window = canvas.around(seen, margin)
    return None if window.empty else window
