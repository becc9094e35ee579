"""Water without dye in a round container: a strong lens, and a thin line where its surface meets the wall."""

from __future__ import annotations

import numpy as np

from sample_clips.backdrop import WALL_Y_M
from sample_clips.cylinder import Column
from sample_clips.paint import OVERSAMPLING, Samples, ramp
from sample_clips.scene import Scene

WATER_INDEX = 1.333  # refractive index of water at 589 nm and 20 °C; common handbook value
_STEEPEST = 1.15  # rad; beyond, next to the rim, one sees no more than a dark edge
_BRIGHT = (0.10, 0.30)  # light between which the meniscus's line turns from bright to dark


def through_water(backdrop: Samples, scene: Scene, tube: Column) -> Samples:
    """Colours (h, w, 3) of what one sees through the filled cylinder.

    A ray that meets the cylinder at the share q of its radius is bent twice by θ₁ − θ₂ towards the axis,
    sin θ₁ = q = n sin θ₂ (Snell's law), and meets the wall behind. The container's own wall, of even
    thickness, is left out.

    Parameters
    ----------
    backdrop : (H, W, 3) the canvas's colours before the experiment was put up
    """
    import cv2

    drain, cam = scene.drain, scene.camera
    q = np.clip(tube.across.astype(np.float64), -0.995, 0.995)
    first, second = np.arcsin(q), np.arcsin(q / WATER_INDEX)
    bend = np.clip(2 * (first - second), -_STEEPEST, _STEEPEST)
    leaves = drain.bore_radius_m * (np.sin(first) - 2 * np.cos(second) * np.sin(first - second))
    tx, ty = scene.toward_camera
    depth = WALL_Y_M / -ty
    aside = leaves - depth * np.tan(bend)
    x = scene.axis_x_m - tx * depth - ty * aside
    y = -ty * depth + tx * aside
    eye = cam.centre_m[2]
    rises = (tube.height_m - eye) / tube.distance_m
    z = tube.height_m + rises * depth / np.cos(bend)
    seen = (cam.project(np.stack([x, y, z], axis=-1)) + 0.5) * OVERSAMPLING - 0.5
    # Much of the room is pressed together into the tube: what is finer than a sample is averaged first.
    soft = cv2.GaussianBlur(backdrop, (0, 0), 9.0, sigmaY=1.5, borderType=cv2.BORDER_REPLICATE)
    x32 = seen[..., 0].astype(np.float32)
    y32 = seen[..., 1].astype(np.float32)
    return np.asarray(cv2.remap(soft, x32, y32, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101))


def meniscus_line(
    water: Samples,
    height_m: Samples,
    level_m: float,
    top_m: float,
    px_per_m: Samples | float,
    contrast: Samples,
) -> Samples:
    """Draw the meniscus's line over samples of light (h, w, 3) that see the wall at heights (h, w) m.

    It spans from the flat level to the meniscus's top. The curved water there shows another part of the room:
    it is dark before bright things and bright before dark ones; its lower part is always a little darker.
    """
    low = ramp(np.asarray((height_m - level_m) * px_per_m, dtype=np.float32))
    high = ramp(np.asarray((top_m - height_m) * px_per_m, dtype=np.float32))
    luma = water @ np.asarray((0.2126, 0.7152, 0.0722), dtype=np.float32)
    bright = np.clip((luma - _BRIGHT[0]) / (_BRIGHT[1] - _BRIGHT[0]), 0, 1)
    bright = (bright * bright * (3 - 2 * bright))[..., None]
    dark = 0.30 * water
    lit = water + 0.55 * (np.float32(0.80) - water)
    share = np.clip((height_m - level_m) / max(top_m - level_m, 1e-6), 0, 1)[..., None]
    foot = np.clip(1 - share / 0.4, 0, 1)
    line = bright * dark + (1 - bright) * lit
    line = line * (1 - 0.45 * foot)
    return np.asarray(water + (contrast * low * high)[..., None] * (line - water), dtype=np.float32)
