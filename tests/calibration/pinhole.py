"""A bench in metres filmed by a random camera, projected by OpenCV: the outside reference for the calibration.

World: x along the jet, y away from the camera with 0 in the jet's plane, z up with 0 on the landing level. Everything
that a person states about the scene is off by a random error of the stated standard uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration import Camera, Gauge, Graduation, Lens, Mark, Measures, Pixel, Rule, Segment, Setup

SIZE = (1280, 720)
DROP = 0.26


@dataclass(frozen=True)
class Scene:
    """What was stated, and what is true."""

    setup: Setup
    heads: np.ndarray
    surface_px: np.ndarray
    throws: np.ndarray
    landing_px: np.ndarray
    foot_px: np.ndarray


class Pinhole:
    """A camera of known pose."""

    def __init__(self, *, focal, k1, k2, yaw, pitch, roll, distance, middle=(0.15, 0.2)):
        turn = _axis(2, roll) @ _axis(0, pitch) @ _axis(1, yaw)
        to_opencv = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])  # x right, y down, z away
        self.R = turn @ to_opencv
        axis = self.R[2]
        # The optical axis meets the jet's plane at the middle of the scene.
        self.centre = np.array([middle[0], 0.0, middle[1]]) - distance * axis / axis[1]
        self.K = np.array([[focal, 0, (SIZE[0] - 1) / 2], [0, focal, (SIZE[1] - 1) / 2], [0, 0, 1.0]])
        self.distortion = np.array([k1, k2, 0.0, 0.0, 0.0])

    def see(self, *points):
        world = np.array(points, dtype=np.float64).reshape(-1, 1, 3)
        rotation = cv2.Rodrigues(self.R)[0]
        return cv2.projectPoints(world, rotation, -self.R @ self.centre, self.K, self.distortion)[0].reshape(
            -1, 2
        )


def _axis(which, angle):
    vector = np.zeros(3)
    vector[which] = angle
    return cv2.Rodrigues(vector)[0]


def scene(
    seed,
    *,
    errors=1.0,
    drawn=1.0,
    facing_u_deg=1.5,
    lens=True,
    distance=True,
    roll_deg=3.0,
    depth=True,
    graduations=(9, 12),
    plumb=True,
    zero=True,
    rule_foot=-0.04,
    scale_u=5e-4,
):
    """Draw a random scene; `errors` scales every stated uncertainty and the error drawn from it, `drawn` only the latter."""
    rng = np.random.default_rng(seed)

    def off(u, shape=None):
        return rng.normal(0.0, 1.0, shape) * u * errors * drawn

    focal = rng.uniform(0.85, 1.15) * SIZE[0]
    true_distance = rng.uniform(1.0, 1.3)
    camera = Pinhole(
        focal=focal,
        k1=rng.uniform(-0.06, 0.03) if lens else off(0.03),
        k2=rng.uniform(-0.01, 0.01) if lens else 0.0,
        yaw=np.radians(off(facing_u_deg)),
        pitch=np.radians(off(facing_u_deg)),
        roll=np.radians(rng.uniform(-roll_deg, roll_deg)),
        distance=true_distance,
    )
    px_u, engraved_u, behind_u, mark_u = 0.4, 1e-4, 1.5e-3, 0.5
    side = 1.0 if depth else 0.0

    def rule(name, measures, n, start, step, *, behind, first, last):
        values = np.linspace(first, last, n)
        true = values * (1.0 + off(scale_u)) + off(engraved_u, n)
        place = (
            np.array(start)
            + true[:, None] * np.array(step)
            + np.array([0.0, 1.0, 0.0]) * (behind + off(behind_u))
        )
        px = camera.see(*place) + off(px_u, (n, 2))
        marks = tuple(Graduation(Pixel(*p), float(v)) for p, v in zip(px.tolist(), values, strict=True))
        return Rule(
            name,
            measures,
            marks,
            engraved_u * errors,
            px_u * errors,
            behind,
            behind_u * errors,
            scale_u * errors,
        )

    upright = (-0.07, 0, DROP + rule_foot), (0, 0, 1)
    shelf = (0.0, 0, -0.004), (1, 0, 0)
    rules = (
        rule(
            "upright",
            Measures.HEAD,
            graduations[0],
            *upright,
            behind=0.008 * side,
            first=0.0,
            last=0.2 - rule_foot,
        ),
        rule("shelf", Measures.THROW, graduations[1], *shelf, behind=-0.01 * side, first=0.05, last=0.5),
    )
    heads = np.array([0.20, 0.12, 0.04])
    throws = np.array([0.45, 0.3, 0.15])
    gauge_depth, above = -0.03 * side, 0.001
    wall = gauge_depth + off(1e-3)
    rise = above + off(3e-4)
    surface = [(-0.03, wall, DROP + h + rise) for h in heads]
    landing = [(x, 0.0, 0.0) for x in throws]
    gauge_px = camera.see((-0.03, wall, DROP + 0.22), (-0.03, wall, DROP + 0.02))
    landing_px = camera.see((0.05, 0, 0), (0.5, 0, 0)) + off(0.5, (2, 2))
    plumb_px = camera.see((-0.2, 0, 0.45), (-0.2, 0, 0.05)) + off(0.5, (2, 2))
    foot = camera.see((camera.centre[0], 0.0, camera.centre[2]))[0]
    distance_u = 0.01
    lens_value = Lens(float(camera.distortion[0]), float(camera.distortion[1]), focal)
    setup = Setup(
        frame_size=SIZE,
        orifice=Mark(Pixel(*(camera.see((0, 0, DROP))[0] + off(mark_u, 2)).tolist()), mark_u * errors),
        rules=rules,
        camera=Camera(
            distance_m=float(true_distance + off(distance_u)) if distance else None,
            distance_u_m=distance_u * errors if distance else None,
            facing_u_deg=facing_u_deg * errors,
            lens=lens_value if lens else None,
        ),
        plumb=_segment(plumb_px) if plumb else None,
        plumb_px_u=0.5 * errors,
        gauge_line=Gauge(_segment(gauge_px), gauge_depth, 1e-3 * errors, above, 3e-4 * errors),
        landing_line=Gauge(_segment(landing_px), px_u=0.5 * errors),
        throw_zero=Mark(Pixel(*(camera.see((0, 0, 0))[0] + off(mark_u, 2)).tolist()), mark_u * errors)
        if zero
        else None,
    )
    return Scene(setup, heads, camera.see(*surface), throws, camera.see(*landing), foot)


def _segment(ends):
    return Segment(Pixel(*ends[0].tolist()), Pixel(*ends[1].tolist()))


def moved(setup, move):
    """Give the same set-up with every pixel moved."""

    def line(s):
        return None if s is None else Segment(move(s.start), move(s.end))

    def gauge(g):
        return None if g is None else replace(g, line=line(g.line))

    def mark(m):
        return None if m is None else Mark(move(m.px), m.px_u, m.behind_m, m.behind_u_m)

    return replace(
        setup,
        orifice=mark(setup.orifice),
        rules=tuple(
            replace(r, graduations=tuple(Graduation(move(g.px), g.value_m) for g in r.graduations))
            for r in setup.rules
        ),
        plumb=line(setup.plumb),
        gauge_line=gauge(setup.gauge_line),
        landing_line=gauge(setup.landing_line),
        throw_zero=mark(setup.throw_zero),
    )
