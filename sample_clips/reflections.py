"""Reflections on the container, and what is stuck to it: glare, labels, seams."""

from __future__ import annotations

import math

import numpy as np

from sample_clips.cylinder import Column, outer_depth
from sample_clips.hazards import Gleam, Streak
from sample_clips.paint import Samples, band, mottle, ramp
from sample_clips.scene import FloatArray, Scene

_WHITE = np.float32(0.985)
_RIM_M = 0.0025


def _on_tube(scene: Scene, across: float, height_m: float) -> FloatArray:
    """Pixel (2,) of a place on the container's near wall."""
    tx, ty = scene.toward_camera
    radius = float(scene.drain.outer(height_m - scene.drain.drop_m))
    aside, ahead = across * radius, radius * math.sqrt(max(0.0, 1 - across**2))
    x = scene.axis_x_m - ty * aside + tx * ahead
    return scene.camera.project(np.array([x, tx * aside + ty * ahead, height_m]))


def _gleam(scene: Scene, gleam: Gleam, time_s: float) -> tuple[FloatArray, float]:
    """Centre, px, and brightness of a wandering reflection at a time."""
    height = gleam.middle_m + gleam.reach_m * math.sin(2 * math.pi * time_s / gleam.period_s + gleam.phase)
    flicker = 0.5 + 0.5 * math.sin(2 * math.pi * time_s / gleam.flicker_s + 2.1 * gleam.phase)
    return _on_tube(scene, gleam.across, height), gleam.alpha * (0.25 + 0.75 * flicker**2)


def _gleam_cover(scene: Scene, gleam: Gleam, x: Samples, y: Samples, time_s: float) -> Samples:
    centre, alpha = _gleam(scene, gleam, time_s)
    scale = scene.camera.focal_px / scene.camera.distance_m
    u, v = (x - centre[0]) / (gleam.size_m[0] * scale), (y - centre[1]) / (gleam.size_m[1] * scale)
    return np.asarray(alpha * np.exp(-((u * u + v * v) ** 1.5)), dtype=np.float32)


def _streak_cover(scene: Scene, streak: Streak, x: Samples, y: Samples) -> Samples:
    top, bottom = _on_tube(scene, streak.across, streak.high_m), _on_tube(scene, streak.across, streak.low_m)
    length = float(np.hypot(*(bottom - top)))
    along_x, along_y = (bottom - top) / length
    along = (x - top[0]) * along_x + (y - top[1]) * along_y
    off = (x - top[0]) * along_y - (y - top[1]) * along_x
    scale = scene.camera.focal_px / scene.camera.distance_m
    half = streak.half * scene.drain.outer_radius_m * scale
    cover = ramp(half - np.abs(off), 1.0) * ramp(along, 1.2) * ramp(length - along, 1.2)
    return np.asarray(streak.alpha * cover, dtype=np.float32)


def glare_cover(scene: Scene, image_px: FloatArray, time_s: float) -> FloatArray:
    """Share (…) by which reflections outshine pixels (…, 2) of the unmoved frame at a time."""
    px, glare = np.asarray(image_px, dtype=np.float32), scene.hazards.glare
    x, y = px[..., 0], px[..., 1]
    open_ = np.ones(x.shape, dtype=np.float64)
    for streak in glare.streaks:
        open_ = open_ * (1 - _streak_cover(scene, streak, x, y))
    for gleam in glare.gleams:
        open_ = open_ * (1 - _gleam_cover(scene, gleam, x, y, time_s))
    return np.asarray(1 - open_)


class Reflections:
    """Lays a scene's glare over developed pictures that are `margin` px wider than the frame."""

    def __init__(self, scene: Scene, margin: int) -> None:
        self._scene, self._margin = scene, margin
        drain = scene.drain
        low, high = drain.drop_m - scene.bench.floor_m, drain.drop_m + drain.head0_m + scene.bench.rim_m
        ends = np.array([_on_tube(scene, a, z) for a in (-1.0, 0.0, 1.0) for z in (low, high)]) + margin
        first, last = np.floor(ends.min(axis=0)).astype(int), np.ceil(ends.max(axis=0)).astype(int)
        cam = scene.camera
        self._rows = slice(max(first[1], 0), min(last[1], cam.height + 2 * margin))
        self._columns = slice(max(first[0], 0), min(last[0], cam.width + 2 * margin))
        self._x, self._y = np.meshgrid(
            np.arange(self._columns.start, self._columns.stop, dtype=np.float32) - margin,
            np.arange(self._rows.start, self._rows.stop, dtype=np.float32) - margin,
        )
        left, right = _on_tube(scene, -0.985, high), _on_tube(scene, 0.985, high)
        self._mask = ramp(self._x - left[0], 0.8) * ramp(right[0] - self._x, 0.8)
        self._still = np.zeros(self._x.shape, dtype=np.float32)
        for streak in scene.hazards.glare.streaks:
            self._still = 1 - (1 - self._still) * (1 - _streak_cover(scene, streak, self._x, self._y))

    def paint(self, pixels: Samples, time_s: float) -> None:
        """Lay the reflections of a time over a developed picture (h, w, 3)."""
        open_ = 1 - self._still
        for gleam in self._scene.hazards.glare.gleams:
            open_ = open_ * (1 - _gleam_cover(self._scene, gleam, self._x, self._y, time_s))
        target = pixels[self._rows, self._columns]
        target += (self._mask * (1 - open_))[..., None] * (_WHITE - target)


class Stuck:
    """A label and seams on the near wall, as cover and colours of the cylinder's samples."""

    def __init__(self, scene: Scene, tube: Column) -> None:
        label = scene.hazards.label
        height = tube.height_at(outer_depth(scene, tube), scene.camera.centre_m[2])
        px = tube.px_per_m
        inside = tube.cover * ramp((0.99 - np.abs(tube.across)) * scene.drain.outer_radius_m * px)
        aside = scene.drain.outer_radius_m * px
        paper = ramp((height - label.low_m) * px) * ramp((label.high_m - height) * px)
        paper = (
            paper
            * ramp((tube.across - label.across[0]) * aside)
            * ramp((label.across[1] - tube.across) * aside)
        )
        if label.high_m <= label.low_m:
            paper = np.zeros_like(paper)
        self.cover: Samples = np.asarray(label.strength * paper * inside, dtype=np.float32)
        shade = (0.93 - 0.30 * np.abs(tube.across) ** 3) * (
            1 + 0.02 * mottle(tube.across, height, (0.1, 0.004), 5)
        )
        # A printed line and rows of small print, for edges of the label's own.
        share = (height - label.low_m) / max(label.high_m - label.low_m, 1e-9)
        print_ = np.where(np.abs(share - 0.75) < 0.06, 0.75, 0.0) + np.where(
            (np.abs(share - 0.35) < 0.2)
            & (np.floor(share * 24) % 2 == 0)
            & (mottle(tube.across, share, (0.05, 9.0), 7) > 0),
            0.55,
            0.0,
        )
        self.colour: Samples = np.asarray(
            (shade * (1 - print_))[..., None] * np.asarray(label.paper, dtype=np.float32), dtype=np.float32
        )
        dark = np.zeros(height.shape, dtype=np.float32)
        lit = np.zeros(height.shape, dtype=np.float32)
        for seam in label.seams_m:
            dark = np.maximum(dark, band((height - seam) * px, 0.0005 * px))
            lit = np.maximum(lit, band((height - seam - 0.0011) * px, 0.0004 * px))
        self._seam = np.asarray((1 - 0.5 * label.strength * dark * inside)[..., None], dtype=np.float32)
        self._ridge: Samples = np.asarray(0.35 * label.strength * lit * inside, dtype=np.float32)

    def paint(self, light: Samples, rows: slice) -> None:
        """Lay label and seams over samples of light (h, w, 3) of some rows of the cylinder's window."""
        from sample_clips.film import to_light

        light *= self._seam[rows]
        light += self._ridge[rows][..., None] * (np.float32(0.9) - light)
        light += self.cover[rows][..., None] * (to_light(self.colour[rows]) - light)


def label_cover(scene: Scene, height_m: float, across: float) -> float:
    """How much of a place on the near wall, seen at a height, m, a label covers, 0 to 1."""
    label = scene.hazards.label
    if not label.across[0] < across < label.across[1]:
        return 0.0
    within = min(height_m - label.low_m, label.high_m - height_m)
    # Blur lets an edge that is just under the paper's rim still be half seen.
    return label.strength * min(max(0.5 + within / _RIM_M, 0.0), 1.0)
