"""Hands and heads in the way: where they are at a time, what they cover, how they look.

They are drawn on the developed picture with soft edges: they are nearer than the plane in focus. Coordinates
are pixels of the unmoved frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_clips.hazards import Visit
from sample_clips.paint import Samples, Values, mottle
from sample_clips.scene import FloatArray, Scene

_SHADOW_PX = 14.0


@dataclass(frozen=True, slots=True)
class _Limb:
    """A straight piece with round ends of unequal size; lengths in hand sizes, from the visit's place."""

    start: tuple[float, float]
    stop: tuple[float, float]
    radii: tuple[float, float]
    cloth: bool = False


# A hand seen from its back, the wrist towards +x, in metres; and a head over shoulders, upright.
_HAND = (
    _Limb((-0.012, 0.0), (0.035, 0.0), (0.040, 0.036)),
    _Limb((-0.035, 0.024), (-0.092, 0.034), (0.0105, 0.008)),
    _Limb((-0.040, 0.008), (-0.105, 0.011), (0.0110, 0.008)),
    _Limb((-0.040, -0.009), (-0.100, -0.012), (0.0110, 0.008)),
    _Limb((-0.034, -0.024), (-0.082, -0.034), (0.0100, 0.007)),
    _Limb((0.010, 0.030), (-0.038, 0.062), (0.0150, 0.010)),
    _Limb((0.030, 0.0), (0.130, 0.0), (0.032, 0.034)),
    _Limb((0.120, 0.0), (0.700, 0.03), (0.043, 0.060), cloth=True),
)
_HEAD = (
    _Limb((0.0, 0.03), (0.0, -0.03), (0.095, 0.085)),
    _Limb((0.0, -0.08), (0.0, -0.16), (0.065, 0.075)),
    _Limb((-0.12, -0.26), (0.16, -0.26), (0.110, 0.110), cloth=True),
    _Limb((0.0, -0.30), (0.02, -0.80), (0.230, 0.260), cloth=True),
)
_SOFT_PX = {"hand": 1.1, "head": 4.5}
_REACH_M = {"hand": 0.75, "head": 0.95}


def _limbs(visit: Visit) -> tuple[_Limb, ...]:
    return _HAND if visit.kind == "hand" else _HEAD


def _place(visit: Visit, time_s: float) -> tuple[float, float] | None:
    """Give x and z, m, of the visit in the jet's plane; None where it is out of view."""
    late = max(visit.start_s - time_s, time_s - visit.stop_s, 0.0) / visit.move_s
    if late >= 1.0:
        return None
    out = _REACH_M[visit.kind] * (late * late * (3 - 2 * late))
    angle = math.radians(visit.away_deg)
    tremble = 0.0025 * math.sin(2 * math.pi * 1.3 * time_s + visit.seed % 7)
    drift = 0.004 * math.sin(2 * math.pi * 0.21 * time_s + visit.seed % 5)
    return (
        visit.at_m[0] + out * math.cos(angle) + tremble,
        visit.at_m[1] + out * math.sin(angle) + drift + 0.6 * tremble,
    )


@dataclass(frozen=True, slots=True)
class _Pose:
    """A visit at one time: its centre, px, its scale, px/m, and its turn."""

    centre: FloatArray
    scale: float
    turn: float
    mirrored: float

    def own(self, x: Samples, y: Samples) -> tuple[Samples, Samples]:
        """Coordinates in the visit's own frame, m."""
        u, v = (x - self.centre[0]) / self.scale, (self.centre[1] - y) / self.scale
        c, s = math.cos(self.turn), math.sin(self.turn)
        return np.asarray(c * u + s * v), np.asarray(self.mirrored * (-s * u + c * v))

    def picture(self, point: tuple[float, float]) -> FloatArray:
        """Pixel (2,) of a point in the visit's own frame, m."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        u, v = point[0], self.mirrored * point[1]
        return self.centre + self.scale * np.array([c * u - s * v, -(s * u + c * v)])


def _pose(scene: Scene, visit: Visit, time_s: float) -> _Pose | None:
    place = _place(visit, time_s)
    if place is None:
        return None
    cam = scene.camera
    centre = cam.project(np.array([place[0], 0.0, place[1]]))
    nearer = 1.12 if visit.kind == "hand" else 1.5
    turn = math.radians(visit.away_deg) if visit.kind == "hand" else 0.05 * math.sin(visit.seed)
    return _Pose(
        centre, visit.size * nearer * cam.focal_px / cam.distance_m, turn, 1.0 if visit.seed % 2 else -1.0
    )


def _inward(limb: _Limb, u: Samples, v: Samples) -> tuple[Values, Values]:
    """Distance inside a limb's outline and its radius there, in its own metres, (…) each."""
    (x0, y0), (x1, y1), (r0, r1) = limb.start, limb.stop, limb.radii
    dx, dy = x1 - x0, y1 - y0
    share = np.clip(((u - x0) * dx + (v - y0) * dy) / (dx * dx + dy * dy), 0, 1)
    radius = r0 + share * (r1 - r0)
    return radius - np.hypot(u - x0 - share * dx, v - y0 - share * dy), radius


def _cover(deep_px: Samples, soft_px: float) -> Samples:
    return np.asarray(1 / (1 + np.exp(np.clip(-1.702 / soft_px * deep_px, -30, 30))), dtype=np.float32)


def cover(scene: Scene, image_px: FloatArray, time_s: float) -> FloatArray:
    """Share (…) of pixels (…, 2) of the unmoved frame that hands and heads cover at a time."""
    px = np.asarray(image_px, dtype=np.float32)
    open_ = np.ones(px.shape[:-1], dtype=np.float64)
    for visit in scene.hazards.visits.visits:
        pose = _pose(scene, visit, time_s)
        if pose is not None:
            u, v = pose.own(px[..., 0], px[..., 1])
            deep = np.max([_inward(limb, u, v)[0] for limb in _limbs(visit)], axis=0) * pose.scale
            open_ = open_ * (1 - _cover(deep, _SOFT_PX[visit.kind]))
    return np.asarray(1 - open_)


def paint_passers(pixels: Samples, scene: Scene, time_s: float, margin: int) -> None:
    """Lay hands and heads over a developed picture (h, w, 3) that is `margin` px wider than the frame."""
    for visit in scene.hazards.visits.visits:
        pose = _pose(scene, visit, time_s)
        if pose is not None:
            _paint(pixels, scene, visit, pose, margin)


def _boxes(visit: Visit, pose: _Pose, wide: float) -> list[tuple[int, int, int, int]]:
    """Give left, top, right and bottom of each limb with `wide` px about it."""
    boxes = []
    for limb in _limbs(visit):
        ends = np.array([pose.picture(limb.start), pose.picture(limb.stop)])
        reach = np.array(limb.radii)[:, None] * pose.scale + wide
        low, high = np.floor((ends - reach).min(axis=0)), np.ceil((ends + reach).max(axis=0))
        boxes.append((int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1))
    return boxes


def _paint(pixels: Samples, scene: Scene, visit: Visit, pose: _Pose, margin: int) -> None:
    soft, side = _SOFT_PX[visit.kind], scene.look.light_from
    wide = 4 * soft + _SHADOW_PX
    boxes = _boxes(visit, pose, wide)
    left, top = (max(min(box[i] for box in boxes) + margin, 0) for i in (0, 1))
    right = min(max(box[2] for box in boxes) + margin, pixels.shape[1])
    bottom = min(max(box[3] for box in boxes) + margin, pixels.shape[0])
    if right <= left or bottom <= top:
        return
    across = np.arange(left, right, dtype=np.float32) - margin
    x, y = np.meshgrid(across, np.arange(top, bottom, dtype=np.float32) - margin)
    u, v = pose.own(x, y)
    deep = np.full(x.shape, -wide / pose.scale, dtype=np.float32)
    rounded, cloth = np.zeros_like(deep), np.zeros_like(deep)
    for limb, box in zip(_limbs(visit), boxes, strict=True):
        rows = slice(max(box[1] + margin - top, 0), max(box[3] + margin - top, 0))
        cols = slice(max(box[0] + margin - left, 0), max(box[2] + margin - left, 0))
        inward, radius = _inward(limb, u[rows, cols], v[rows, cols])
        nearer = inward > deep[rows, cols]
        np.copyto(deep[rows, cols], inward, where=nearer)
        np.copyto(rounded[rows, cols], inward / radius, where=nearer)
        np.copyto(cloth[rows, cols], np.float32(limb.cloth), where=nearer)
    deep *= np.float32(pose.scale)
    target = pixels[top:bottom, left:right]
    # Its shadow on what lies behind: the same outline, softer, a little aside.
    padded = np.pad(_cover(deep, 5.0), 6, mode="edge")
    first = 6 + round(6 * side)
    shadow = padded[1 : 1 + deep.shape[0], first : first + deep.shape[1]]
    target *= (1 - np.float32(0.22) * shadow)[..., None]
    rise = np.sqrt(np.clip(1 - (1 - np.clip(rounded, 0, 1)) ** 2, 0, 1))
    lit = deep > -4 * soft
    u, v, rise, cloth, x = u[lit], v[lit], rise[lit], cloth[lit], x[lit]
    weave = mottle(u, v, (0.006, 0.006), visit.seed) * 0.5 + 0.5 * mottle(u, v, (0.03, 0.02), visit.seed + 1)
    fine = mottle(u, v, (0.0025, 0.012), visit.seed + 2)
    tone = (0.58 + 0.45 * rise) * (1 + 0.06 * weave + (0.04 + 0.06 * cloth) * fine)
    tone = tone * (1 + 0.10 * side * np.clip((x - pose.centre[0]) / (0.1 * pose.scale), -1, 1))
    skin, coat = np.asarray(visit.skin, dtype=np.float32), np.asarray(visit.cloth, dtype=np.float32)
    colour = skin + cloth[..., None] * (coat - skin)
    under = target[lit]
    target[lit] = under + _cover(deep[lit], soft)[..., None] * (
        np.clip(tone, 0, 1.3)[..., None].astype(np.float32) * colour - under
    )
