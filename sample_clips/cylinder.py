"""The clear cylinder: which samples look at it, its walls, its base, the ring about the hole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.camera import Plane, upright
from sample_clips.paint import Canvas, Samples, Window, band, fill, ramp, rectangle, tinted
from sample_clips.scene import Colour, FloatArray, Scene


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """The samples that look at the cylinder, and where on it each of them looks."""

    window: Window
    across: Samples
    """Offset from the middle over the apparent half width: −1 to 1 inside."""
    height_m: Samples
    """Height at which the sample's ray passes the axis."""
    cover: Samples
    distance_m: float
    """Horizontal distance of the lens from the axis."""
    px_per_m: float

    def height_at(self, toward_m: Samples | float, eye_m: float) -> Samples:
        """Height, m, at which the rays pass a depth `toward_m` before (+) or behind (−) the axis."""
        return np.asarray(
            eye_m + (self.height_m - eye_m) * (self.distance_m - toward_m) / self.distance_m, dtype=np.float32
        )

    def round_depth(self, radius_m: float | Samples) -> Samples:
        """How far before the axis a round wall of `radius_m` is seen at each sample, m."""
        return np.asarray(radius_m * np.sqrt(np.clip(1 - self.across**2, 0, 1)), dtype=np.float32)


def _radius(scene: Scene, tube: Column, more_m: float) -> float | Samples:
    """Radius of the bore plus `more_m` at each sample's height, m; one number if prismatic."""
    drain = scene.drain
    if not drain.profile:
        return drain.bore_radius_m + more_m
    # What counts is the radius where the ray meets the wall, not where it passes the axis.
    first = np.asarray(drain.bore(tube.height_m - drain.drop_m) + more_m, dtype=np.float32)
    met = tube.height_at(tube.round_depth(first), scene.camera.centre_m[2])
    return np.asarray(drain.bore(met - drain.drop_m) + more_m, dtype=np.float32)


def bore_depth(scene: Scene, tube: Column) -> Samples:
    """How far before the axis the bore is at each sample, m."""
    return tube.round_depth(_radius(scene, tube, 0.0))


def near_depth(scene: Scene, tube: Column) -> Samples:
    """How far before the axis the bore is seen through the wall at each sample, m."""
    return tube.round_depth(_radius(scene, tube, scene.wall_lift_m))


def outer_depth(scene: Scene, tube: Column) -> Samples:
    """How far before the axis the outside is at each sample, m."""
    return tube.round_depth(_radius(scene, tube, scene.drain.wall_m))


def column(canvas: Canvas, scene: Scene, low_m: float, high_m: float, margin_px: float = 4.0) -> Column:
    """Give the samples that look at the cylinder between two heights."""
    tx, ty = scene.toward_camera
    plane = Plane((scene.axis_x_m, 0.0, 0.0), (-ty, tx, 0.0), (0.0, 0.0, 1.0))
    cam = scene.camera
    distance = float(np.hypot(cam.centre_m[0] - scene.axis_x_m, cam.centre_m[1]))

    def grazing(radius: FloatArray | float) -> FloatArray:  # where the grazing rays pass the axis
        return np.asarray(radius * distance / np.sqrt(distance**2 - np.square(radius)))

    widest = float(grazing(scene.drain.widest_m))
    window = canvas.around(
        cam.project_straight(rectangle(plane, (-widest, widest), (low_m, high_m))), margin_px
    )
    u, v = canvas.on(plane, window)
    radius = scene.drain.outer(v - scene.drain.drop_m) if scene.drain.profile else scene.drain.outer_radius_m
    half = grazing(radius)
    scale = cam.focal_px / distance
    cover = ramp(np.asarray((half - np.abs(u)) * scale, dtype=np.float32))
    return Column(window, np.asarray(u / half, dtype=np.float32), v, cover, distance, scale)


def paint_cylinder(canvas: Canvas, scene: Scene) -> None:
    """Paint the clear cylinder, empty, on its base."""
    drain, eye = scene.drain, scene.camera.centre_m[2]
    floor = drain.drop_m - scene.bench.floor_m
    rim = drain.drop_m + drain.head0_m + scene.bench.rim_m
    tube = column(canvas, scene, scene.bench.rule_zero_z_m - 0.01, rim + 0.02)
    depth = outer_depth(scene, tube)
    below_rim = ramp((rim - tube.height_at(depth, eye)) * tube.px_per_m)
    below_far_rim = ramp((rim - tube.height_at(-depth, eye)) * tube.px_per_m)
    above_foot = ramp((tube.height_at(depth, eye) - scene.bench.rule_zero_z_m) * tube.px_per_m)
    body = tube.cover * np.maximum(below_rim, below_far_rim) * above_foot
    canvas.scale(tube.window, np.asarray(body, dtype=np.float32), _clear_wall(tube, scene.look.glass))
    canvas.blend(tube.window, np.asarray(body * glints(tube, scene), dtype=np.float32), (0.97, 0.985, 0.99))
    for far in (1.0, -1.0):
        off = (tube.height_at(far * depth, eye) - rim) * tube.px_per_m
        canvas.blend(tube.window, 0.55 * tube.cover * band(off, 0.0009 * tube.px_per_m), (0.93, 0.95, 0.955))
    _paint_base(canvas, scene, tube, floor)


def _clear_wall(tube: Column, glass: Colour) -> Samples:
    """How much light the empty cylinder lets through, (h, w, 3): its sides bend it away."""
    q = np.abs(tube.across)
    through = (
        0.955 - 0.40 * np.exp(-(((q - 0.985) / 0.030) ** 2)) - 0.16 * np.exp(-(((q - 0.885) / 0.028) ** 2))
    )
    return tinted(glass, np.asarray(through, dtype=np.float32))


def glints(tube: Column, scene: Scene) -> Samples:
    """Cover (h, w) of the window's reflections on the cylinder."""
    q = tube.across * -scene.look.light_from
    cover = (
        0.50 * np.exp(-(((q + 0.60) / 0.035) ** 2))
        + 0.20 * np.exp(-(((q + 0.49) / 0.05) ** 2))
        + 0.42 * np.exp(-(((q - 0.93) / 0.018) ** 2))
        + 0.30 * np.exp(-(((q + 0.93) / 0.018) ** 2))
    )
    return np.asarray(cover, dtype=np.float32)


def _paint_base(canvas: Canvas, scene: Scene, tube: Column, floor: float) -> None:
    eye = scene.camera.centre_m[2]
    depth = outer_depth(scene, tube)
    under = ramp((floor - tube.height_at(depth, eye)) * tube.px_per_m)
    above = ramp((tube.height_at(depth, eye) - scene.bench.rule_zero_z_m) * tube.px_per_m)
    q = tube.across * -scene.look.light_from
    tone = 0.62 + 0.26 * np.exp(-(((q + 0.45) / 0.5) ** 2)) - 0.22 * np.abs(q) ** 6
    canvas.blend(
        tube.window,
        np.asarray(tube.cover * under * above, dtype=np.float32),
        tinted((0.36, 0.38, 0.41), np.asarray(tone / 0.8, dtype=np.float32)),
    )


def paint_ring(canvas: Canvas, scene: Scene) -> None:
    """Paint the brass ring about the hole, seen from its edge; it stands before the water."""
    z, plane = scene.drain.drop_m, upright(0.0)
    ring = scene.drain.hole_m / 2 + 0.0035
    sheets: tuple[tuple[float, float, Colour, float], ...] = (
        (-1.0, 1.0, (0.74, 0.60, 0.33), 0.0),
        (0.3, 0.75, (0.93, 0.85, 0.62), 0.8),
        (-1.0, -0.6, (0.45, 0.34, 0.17), 0.8),
    )
    for low, high, colour, soft in sheets:
        fill(
            canvas, rectangle(plane, (-0.0042, 0.0), (z + low * ring, z + high * ring)), colour, soft_px=soft
        )
