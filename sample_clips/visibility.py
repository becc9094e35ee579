"""How much of the surface and of the landing can be seen in a frame, as the scene's hazards have it."""

from __future__ import annotations

import numpy as np

from sample_clips.passers import cover
from sample_clips.reflections import glare_cover, label_cover
from sample_clips.scene import Scene

_LAST_OF_FLIGHT = np.linspace(0.85, 1.0, 7)
"""Shares of the flight: from this last piece of the jet a landing can be told."""


def surface_seen(scene: Scene, time_s: float) -> float:
    """Share, 0 to 1, of the edge's contrast that reaches the camera at the container's middle."""
    point = scene.surface_edge(time_s)
    px = scene.camera.project(point)
    eye, axis = scene.camera.centre_m, np.array([scene.axis_x_m, 0.0])
    distance = float(np.hypot(*(np.asarray(eye[:2]) - axis)))
    outer = eye[2] + (float(point[2]) - eye[2]) * (distance - scene.drain.outer_radius_m) / (
        distance - scene.seen_near_m
    )
    open_ = (1 - float(cover(scene, px, time_s))) * (1 - float(glare_cover(scene, px, time_s)))
    return open_ * (1 - label_cover(scene, outer, 0.0))


def landing_seen(scene: Scene, time_s: float) -> float:
    """Share, 0 to 1, of the jet's last piece before the landing that reaches the camera."""
    drain = scene.drain
    ages = _LAST_OF_FLIGHT * drain.flight_time_s
    x = drain.speed(time_s - ages) * ages
    z = drain.drop_m - drain.gravity_m_s2 * ages**2 / 2
    px = scene.camera.project(np.stack([x, np.zeros_like(x), z], axis=-1))
    return float(np.mean(1 - cover(scene, px, time_s)))
