"""What stands still behind the experiment: the wall, a shelf with jars, the bench top."""

from __future__ import annotations

import numpy as np

from sample_clips.camera import level, upright
from sample_clips.paint import Canvas, Samples, fill, grain, mottle, rectangle, spot, tinted
from sample_clips.scene import Colour, Scene
from sample_clips.walls import paint_wall

WALL_Y_M = 0.55
_FRONT_Y_M = -0.60
_GLAZES: tuple[Colour, ...] = (
    (0.36, 0.47, 0.55),
    (0.69, 0.44, 0.31),
    (0.80, 0.73, 0.58),
    (0.42, 0.51, 0.42),
    (0.55, 0.33, 0.31),
    (0.33, 0.35, 0.42),
    (0.83, 0.80, 0.75),
)


def paint_backdrop(canvas: Canvas, scene: Scene) -> None:
    """Paint wall, shelf and jars, out of focus, and the bench top in front of them."""
    if scene.look.backdrop == "plaster":
        _paint_wall(canvas, scene)
        _paint_shelf(canvas, scene)
    else:
        paint_wall(canvas, scene, _seen_at_wall(scene), WALL_Y_M)
    _defocus(canvas, scene.look.defocus)
    _paint_bench(canvas, scene)
    _paint_jars_on_bench(canvas, scene)


def _seen_at_wall(scene: Scene) -> tuple[float, float, float, float]:
    """Give left, right, bottom and top of the part of the wall in the picture, m, roughly."""
    cam = scene.camera
    reach = (cam.distance_m + WALL_Y_M) / cam.focal_px
    half_w, half_h = reach * cam.width / 2, reach * cam.height / 2
    return (
        cam.centre_m[0] - half_w,
        cam.centre_m[0] + half_w,
        cam.centre_m[2] - half_h,
        cam.centre_m[2] + half_h,
    )


def _paint_wall(canvas: Canvas, scene: Scene) -> None:
    left, right, bottom, top = _seen_at_wall(scene)
    side = scene.look.light_from
    bright_u = (left + right) / 2 + side * 0.30 * (right - left)
    bright_v = bottom + 0.72 * (top - bottom)

    def plaster(u: Samples, v: Samples) -> Samples:
        fall = np.exp(
            -(((u - bright_u) / (0.75 * (right - left))) ** 2) - ((v - bright_v) / (top - bottom)) ** 2
        )
        rough = 0.6 * mottle(u, v, 0.11, scene.seed + 11) + 0.4 * mottle(u, v, 0.035, scene.seed + 12)
        return tinted(scene.look.wall, 0.78 + 0.30 * fall.astype(np.float32) + 0.018 * rough)

    plane = upright(WALL_Y_M)
    wide = right - left
    fill(
        canvas,
        rectangle(plane, (left - wide, right + wide), (bottom - wide, top + wide)),
        plaster,
        plane=plane,
    )
    for pane in range(2):  # the window's light on the plaster, two panes with a bar between them
        u0 = bright_u - 0.20 * wide + pane * 0.17 * wide
        slant = -side * 0.10 * wide
        corners = plane.at(
            [u0, u0 + 0.15 * wide, u0 + 0.15 * wide + slant, u0 + slant],
            [top - 0.02 * wide, top - 0.02 * wide, top - 0.30 * wide, top - 0.30 * wide],
        )
        fill(canvas, corners, (1.0, 0.985, 0.94), soft_px=canvas.camera.width / 90, alpha=0.10)


def _paint_shelf(canvas: Canvas, scene: Scene) -> None:
    left, right, bottom, top = _seen_at_wall(scene)
    rng = np.random.default_rng(scene.bench.clutter)
    wide, side = right - left, scene.look.light_from
    start = left + wide * (0.60 if scene.camera.width > scene.camera.height else 0.42)
    stop = right + 0.1 * wide
    z = bottom + (top - bottom) * float(rng.uniform(0.70, 0.76))
    soft = canvas.camera.width / 160
    wall, front = upright(WALL_Y_M), upright(WALL_Y_M - 0.12)
    fill(
        canvas,
        rectangle(wall, (start - 0.02 * side, stop), (z - 0.085, z - 0.02)),
        (0.70, 0.70, 0.72),
        soft_px=1.6 * soft,
        multiply=True,
    )
    x = start + 0.03
    while x < stop - 0.05:
        width, height = float(rng.uniform(0.035, 0.07)), float(rng.uniform(0.05, 0.12))
        glaze = _GLAZES[int(rng.integers(len(_GLAZES)))]
        _paint_jar(
            canvas,
            scene,
            (x + width / 2, WALL_Y_M - 0.06, z),
            (width, height),
            glaze,
            lidded=bool(rng.random() < 0.6),
        )
        x += width + float(rng.uniform(0.006, 0.045))
    edge = front
    timber = (0.47, 0.33, 0.22)

    def board(u: Samples, v: Samples) -> Samples:
        return tinted(timber, 1.0 + 0.16 * grain(u, v, scene.seed + 21))

    fill(canvas, rectangle(edge, (start, stop), (z - 0.022, z)), board, plane=edge)


def _paint_jar(
    canvas: Canvas,
    scene: Scene,
    foot_m: tuple[float, float, float],
    size_m: tuple[float, float],
    glaze: Colour,
    *,
    lidded: bool,
    soft_px: float = 0.0,
) -> None:
    """Paint a pot or tin: a round body with light from the window's side, and a lid or a dark mouth."""
    x, y, z = foot_m
    width, height = size_m
    plane = upright(y)

    def body(u: Samples, v: Samples) -> Samples:
        q = (u - x) / (width / 2) * -scene.look.light_from
        shade = 0.58 + 0.50 * np.exp(-(((q + 0.42) / 0.62) ** 2)) + 0.12 * np.exp(-(((q + 0.5) / 0.10) ** 2))
        shade = shade * (0.90 + 0.10 * np.clip((v - z) / height, 0, 1)) + 0.03 * mottle(
            u, v, 0.02, scene.seed + 31
        )
        return tinted(glaze, shade.astype(np.float32))

    shoulder = 0.86 * height
    fill(
        canvas,
        rectangle(plane, (x - width / 2, x + width / 2), (z, z + shoulder)),
        body,
        plane=plane,
        soft_px=soft_px,
    )
    fill(
        canvas,
        plane.at(
            [x - width / 2, x + width / 2, x + 0.36 * width, x - 0.36 * width],
            [z + shoulder, z + shoulder, z + height, z + height],
        ),
        body,
        plane=plane,
        soft_px=soft_px,
    )
    top = (0.30, 0.28, 0.27) if not lidded else (0.62, 0.55, 0.42)
    fill(
        canvas,
        rectangle(plane, (x - 0.39 * width, x + 0.39 * width), (z + height, z + height + 0.10 * width)),
        top,
        soft_px=soft_px,
    )


def _defocus(canvas: Canvas, share: float) -> None:
    """Blur what is painted so far: it lies behind the plane in focus."""
    import cv2

    sigma = share * canvas.camera.width / 320 * (canvas.width / canvas.camera.width)
    canvas.rgb[...] = cv2.GaussianBlur(canvas.rgb, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)


def _paint_bench(canvas: Canvas, scene: Scene) -> None:
    left, right, _, _ = _seen_at_wall(scene)
    z, side = scene.bench.bench_z_m, scene.look.light_from
    plane = level(z)
    front = max(_FRONT_Y_M, -0.6 * scene.camera.distance_m)  # a near camera looks over the bench's edge

    def timber(u: Samples, v: Samples) -> Samples:
        plank = np.floor((v + 0.6) / 0.135)
        seam = np.abs((v + 0.6) / 0.135 - np.round((v + 0.6) / 0.135)) * 0.135
        near = 0.86 + 0.14 * np.clip((v - front) / (WALL_Y_M - front), 0, 1)
        glow = 1.0 + 0.10 * np.exp(-(((u - scene.camera.centre_m[0] - 0.3 * side) / 0.5) ** 2))
        tone = (
            near
            * glow
            * (1 + 0.12 * grain(u + 0.37 * plank, v, scene.seed + 41) + 0.03 * np.cos(2.4 * plank))
        )
        return tinted(
            scene.look.bench, (tone * (1 - 0.35 * np.exp(-((seam / 0.0012) ** 2)))).astype(np.float32)
        )

    wide = right - left
    edge, under = upright(front), upright(front + 0.03)
    fill(canvas, rectangle(under, (left - wide, right + wide), (z - 2.0, z)), (0.17, 0.155, 0.15))
    fill(
        canvas,
        rectangle(under, (left - wide, right + wide), (z - 0.13, z)),
        (0.45, 0.45, 0.46),
        soft_px=canvas.camera.width / 45,
        multiply=True,
    )
    fill(
        canvas,
        rectangle(plane, (left - wide, right + wide), (front, WALL_Y_M)),
        timber,
        plane=plane,
        soft_px=canvas.camera.width / 500,
    )
    fill(
        canvas,
        rectangle(edge, (left - wide, right + wide), (z - 0.032, z)),
        lambda u, v: 1.12 * timber(u, v),
        plane=edge,
        soft_px=canvas.camera.width / 700,
    )
    fill(
        canvas,
        rectangle(plane, (left - wide, right + wide), (WALL_Y_M - 0.06, WALL_Y_M + 0.01)),
        (0.72, 0.70, 0.70),
        soft_px=canvas.camera.width / 200,
        multiply=True,
    )


def _paint_jars_on_bench(canvas: Canvas, scene: Scene) -> None:
    left, right, _, _ = _seen_at_wall(scene)
    rng = np.random.default_rng(scene.bench.clutter + 1)
    z, side = scene.bench.bench_z_m, scene.look.light_from
    soft = canvas.camera.width / 420
    wide = right - left
    for share in (0.86, 0.945) if scene.camera.width > scene.camera.height else (0.84,):
        x = left + wide * (share + float(rng.uniform(-0.015, 0.015)))
        width, height = float(rng.uniform(0.06, 0.085)), float(rng.uniform(0.09, 0.17))
        y = WALL_Y_M - 0.10 - float(rng.uniform(0, 0.04))
        spot(
            canvas,
            level(z),
            (x - 0.35 * side * width, y - 0.005),
            (0.95 * width, 0.05),
            (0.62, 0.60, 0.60),
            soft_px=3 * soft,
            multiply=True,
        )
        _paint_jar(
            canvas,
            scene,
            (x, y, z),
            (width, height),
            _GLAZES[int(rng.integers(len(_GLAZES)))],
            lidded=bool(rng.random() < 0.4),
            soft_px=soft,
        )
