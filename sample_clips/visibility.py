"""How much of the surface and of the landing can be seen in a frame, as the scene's hazards have it."""

from __future__ import annotations

import numpy as np

from sample_clips.passers import cover
from sample_clips.reflections import glare_cover, label_cover
from sample_clips.rules import BOARD_START_M
from sample_clips.scene import Scene

_EDGE_M = 0.006  # width of the doubt whether a jet still meets the line's end
_LAST_OF_FLIGHT = np.linspace(0.85, 1.0, 7)
"""Shares of the flight: from this last piece of the jet a landing can be told."""


def surface_seen(scene: Scene, time_s: float) -> float:
    """Share, 0 to 1, of the edge's contrast that reaches the camera at the container's middle."""
    point = scene.surface_edge(time_s)
    px = scene.camera.project(point)
    eye, axis = scene.camera.centre_m, np.array([scene.axis_x_m, 0.0])
    distance = float(np.hypot(*(np.asarray(eye[:2]) - axis)))
    over = float(point[2]) - scene.drain.drop_m
    outer = eye[2] + (float(point[2]) - eye[2]) * (distance - float(scene.drain.outer(over))) / (
        distance - float(scene.seen_near(point[2]))
    )
    open_ = (1 - float(cover(scene, px, time_s))) * (1 - float(glare_cover(scene, px, time_s)))
    return open_ * (1 - label_cover(scene, outer, 0.0))


def landing_line_m(scene: Scene) -> tuple[float, float]:
    """Give where the landing line is drawn from and to along the throw, m: along the board, or shorter."""
    drawn = scene.hazards.line_end
    if drawn.to_m > drawn.from_m:
        return drawn.from_m, drawn.to_m
    return BOARD_START_M + 0.002, scene.bench.board_end_m - 0.003


def landing_seen(scene: Scene, time_s: float) -> float:
    """Share, 0 to 1, of the jet's last piece before the landing that reaches the camera."""
    drain = scene.drain
    throw = float(drain.throw(time_s) + scene.sway.landing(drain, time_s))
    first, last = landing_line_m(scene)
    on_line = float(np.clip(0.5 + min(throw - first, last - throw) / _EDGE_M, 0, 1))
    ages = _LAST_OF_FLIGHT * drain.flight_time_s
    there = on_line * float(np.mean(drain.jet_holds(time_s - ages)))
    x = drain.speed(time_s - ages) * ages
    z = drain.drop_m - drain.gravity_m_s2 * ages**2 / 2
    px = scene.camera.project(np.stack([x, np.zeros_like(x), z], axis=-1))
    return there * float(np.mean(1 - cover(scene, px, time_s)))
