"""What else may stand behind an experiment: tiles, a chalkboard, a window, books, and the like."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sample_clips.camera import upright
from sample_clips.paint import Canvas, Samples, fill, mottle, rectangle, tinted
from sample_clips.scene import Colour, Scene

Extent = tuple[float, float, float, float]
"""Left, right, bottom and top of the wall in the picture, m."""
_SPINES: tuple[Colour, ...] = (
    (0.50, 0.18, 0.16),
    (0.17, 0.26, 0.42),
    (0.86, 0.82, 0.72),
    (0.24, 0.38, 0.28),
    (0.78, 0.58, 0.22),
    (0.20, 0.19, 0.20),
    (0.62, 0.62, 0.64),
)


def _lit(scene: Scene, u: Samples, extent: Extent) -> Samples:
    """How bright the wall is from the window's side to the other."""
    share = (u - extent[0]) / (extent[1] - extent[0])
    side = scene.look.light_from
    return np.asarray(0.92 + 0.10 * side * (2 * share - 1), dtype=np.float32)


def _tiles(scene: Scene, extent: Extent) -> Callable[[Samples, Samples], Samples]:
    size = 0.10 + 0.05 * ((scene.seed * 7) % 10) / 10

    def shade(u: Samples, v: Samples) -> Samples:
        i, j = np.floor(u / size), np.floor(v / size)
        edge = np.maximum(np.abs(u / size - i - 0.5), np.abs(v / size - j - 0.5))
        joint = np.clip((edge - 0.48) / 0.012, 0, 1)
        each = 0.05 * np.sin(12.9898 * i + 78.233 * j) + 0.04 * mottle(u, v, 0.3, scene.seed + 13)
        tone = _lit(scene, u, extent) * (1.06 + each) * (1 - 0.32 * joint)
        return tinted(scene.look.wall, tone.astype(np.float32))

    return shade


def _curtain(scene: Scene, extent: Extent) -> Callable[[Samples, Samples], Samples]:
    def shade(u: Samples, v: Samples) -> Samples:
        bend = 0.012 * mottle(u, v, (0.10, 0.35), scene.seed + 14)
        folds = np.sin(2 * np.pi * (u + bend) / 0.085 + 1.4 * mottle(u, v * 0, (0.2, 1.0), scene.seed + 15))
        tone = _lit(scene, u, extent) * (0.80 + 0.30 * folds + 0.03 * mottle(u, v, 0.01, scene.seed + 16))
        return tinted(scene.look.wall, tone.astype(np.float32))

    return shade


def _garden(scene: Scene, extent: Extent) -> Callable[[Samples, Samples], Samples]:
    _, _, bottom, top = extent
    horizon = bottom + 0.55 * (top - bottom)

    def shade(u: Samples, v: Samples) -> Samples:
        leaves = mottle(u, v, 0.05, scene.seed + 17) + 0.6 * mottle(u, v, 0.018, scene.seed + 18)
        crown = horizon + 0.10 * mottle(u, v * 0, (0.12, 1.0), scene.seed + 19)
        sky = np.clip((v - crown + 0.03 * leaves) / 0.03, 0, 1)[..., None]
        hedge = tinted((0.30, 0.42, 0.20), (0.75 + 0.40 * leaves).astype(np.float32))
        air = tinted((0.93, 0.96, 1.0), (0.95 + 0.05 * leaves).astype(np.float32))
        return np.asarray(np.clip(hedge + sky * (air - hedge), 0.02, 1.0), dtype=np.float32)

    return shade


def _plain(scene: Scene, extent: Extent) -> Callable[[Samples, Samples], Samples]:
    def shade(u: Samples, v: Samples) -> Samples:
        tone = _lit(scene, u, extent) * (1 + 0.02 * mottle(u, v, 0.09, scene.seed + 20))
        return tinted(scene.look.wall, tone.astype(np.float32))

    return shade


def _chalkboard(scene: Scene, extent: Extent) -> Callable[[Samples, Samples], Samples]:
    def shade(u: Samples, v: Samples) -> Samples:
        smear = 0.5 + 0.5 * mottle(u + 0.4 * v, v, (0.30, 0.06), scene.seed + 22)
        stroke = np.abs(mottle(u, v, 0.06, scene.seed + 23))
        chalk = 0.10 * smear + 0.45 * np.clip(1 - stroke / 0.03, 0, 1) * (smear > 0.55)
        green = tinted((0.15, 0.25, 0.21), _lit(scene, u, extent))
        return np.asarray(green + chalk[..., None] * (np.float32(0.85) - green), dtype=np.float32)

    return shade


def _add_frame(canvas: Canvas, scene: Scene, extent: Extent, depth_m: float) -> None:
    """Add the chalkboard's frame and, above and below it, the wall."""
    left, right, bottom, top = extent
    tall = top - bottom
    plane = upright(depth_m)
    low, high = bottom + 0.34 * tall, bottom + 0.93 * tall
    wide = right - left
    wall = _plain(scene, extent)
    for span in ((bottom - tall, low), (high, top + tall)):
        fill(canvas, rectangle(plane, (left - wide, right + wide), span), wall, plane=plane)
    for at in (low, high):
        fill(
            canvas,
            rectangle(plane, (left - wide, right + wide), (at - 0.012, at + 0.012)),
            (0.62, 0.48, 0.33),
        )


def _add_window(canvas: Canvas, scene: Scene, extent: Extent, depth_m: float) -> None:
    """Add a bright window with dark bars behind the container, and daylight around it."""
    left, right, bottom, top = extent
    plane, tall = upright(depth_m), top - bottom
    rng = np.random.default_rng([scene.seed, 41])
    middle = scene.axis_x_m + float(rng.uniform(-0.15, 0.25))
    half, low, high = float(rng.uniform(0.22, 0.42)), bottom + 0.30 * tall, bottom + 1.2 * tall
    garden = _garden(scene, (left, right, bottom - 0.2 * tall, top))
    frame: Colour = (0.90, 0.90, 0.88) if rng.random() < 0.5 else (0.20, 0.16, 0.13)
    fill(canvas, rectangle(plane, (middle - half - 0.03, middle + half + 0.03), (low - 0.03, high)), frame)
    fill(
        canvas,
        rectangle(plane, (middle - half, middle + half), (low, high)),
        lambda u, v: np.asarray(np.minimum(1.0, 1.15 * garden(u, v) + 0.12), dtype=np.float32),
        plane=plane,
    )
    for share in (0.0, float(rng.uniform(0.35, 0.65))):
        at = middle + (2 * share - 1) * half if share else middle
        fill(canvas, rectangle(plane, (at - 0.012, at + 0.012), (low, high)), frame)
    for step in range(1, 4):
        at = low + step * float(rng.uniform(0.10, 0.16))
        fill(canvas, rectangle(plane, (middle - half, middle + half), (at - 0.010, at + 0.010)), frame)


def _add_books(canvas: Canvas, scene: Scene, extent: Extent, depth_m: float) -> None:
    """Add rows of books."""
    left, right, bottom, top = extent
    plane = upright(depth_m)
    rng = np.random.default_rng([scene.seed, 42])
    row = bottom + 0.18 * (top - bottom)
    while row < top + 0.1:
        high, x = float(rng.uniform(0.17, 0.24)), left - 0.1
        fill(
            canvas,
            rectangle(plane, (left - 0.3, right + 0.3), (row - 0.02, row + high + 0.03)),
            (0.10, 0.09, 0.08),
        )
        while x < right + 0.1:
            wide, tall = float(rng.uniform(0.012, 0.045)), high * float(rng.uniform(0.75, 1.0))
            base = _SPINES[int(rng.integers(len(_SPINES)))]
            gain = float(rng.uniform(0.75, 1.15))
            colour = (base[0] * gain, base[1] * gain, base[2] * gain)
            fill(canvas, rectangle(plane, (x, x + wide), (row, row + tall)), colour)
            if rng.random() < 0.5:
                band = row + tall * float(rng.uniform(0.55, 0.8))
                fill(canvas, rectangle(plane, (x, x + wide), (band, band + 0.02)), (0.85, 0.80, 0.62))
            x += wide + float(rng.uniform(0.0, 0.004))
        fill(canvas, rectangle(plane, (left - 0.3, right + 0.3), (row - 0.025, row)), (0.52, 0.40, 0.28))
        row += high + 0.055


def _add_posters(canvas: Canvas, scene: Scene, extent: Extent, depth_m: float) -> None:
    """Add sheets of paper, bright and dark, pinned to the wall."""
    left, right, bottom, top = extent
    plane = upright(depth_m)
    rng = np.random.default_rng([scene.seed, 43])
    for _ in range(14):
        x, z = float(rng.uniform(left, right)), float(rng.uniform(bottom + 0.3 * (top - bottom), top))
        wide, tall = float(rng.uniform(0.08, 0.24)), float(rng.uniform(0.08, 0.22))
        base = _SPINES[int(rng.integers(len(_SPINES)))] if rng.random() < 0.5 else (0.93, 0.92, 0.89)
        fill(canvas, rectangle(plane, (x, x + wide), (z, z + tall)), base)
        for row in range(4):
            at = z + tall * (0.2 + 0.18 * row)
            ink = (0.25, 0.25, 0.28) if base[0] > 0.6 else (0.85, 0.85, 0.82)
            reach = x + wide * float(rng.uniform(0.4, 0.9))
            fill(canvas, rectangle(plane, (x + 0.1 * wide, reach), (at, at + 0.012)), ink)


Shade = Callable[[Scene, Extent], Callable[[Samples, Samples], Samples]]
Add = Callable[[Canvas, Scene, Extent, float], None]
WALLS: dict[str, tuple[Shade, Add | None]] = {
    "tiles": (_tiles, None),
    "curtain": (_curtain, None),
    "garden": (_garden, None),
    "chalkboard": (_chalkboard, _add_frame),
    "window": (_plain, _add_window),
    "books": (_plain, _add_books),
    "posters": (_plain, _add_posters),
}
"""What may stand behind, by name: the shading of the whole and what is put before it."""


def paint_wall(canvas: Canvas, scene: Scene, extent: Extent, depth_m: float) -> None:
    """Paint the backdrop that the scene's look names, at a depth, m."""
    shade, add = WALLS[scene.look.backdrop]
    left, right, bottom, top = extent
    plane, wide = upright(depth_m), right - left
    corners = rectangle(plane, (left - wide, right + wide), (bottom - wide, top + wide))
    fill(canvas, corners, shade(scene, extent), plane=plane)
    if add is not None:
        add(canvas, scene, extent, depth_m)
