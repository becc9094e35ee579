"""A camera that moves: how it is turned at a time, and the picture that it then sees."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from sample_clips.camera import Camera
from sample_clips.hazards import CameraMotion
from sample_clips.paint import Samples
from sample_clips.scene import FloatArray, Scene

_GRID_PX = 16
_BLUR_FROM_PX = 0.15
"""Motion within one exposure, px, from which its blur is drawn."""


def turn_px(scene: Scene, time_s: float) -> FloatArray:
    """Turn (3,) of the camera at a time as px in its picture: right, down, clockwise (at the edge)."""
    motion, times = scene.hazards.motion, scene.timing.times_s
    share = float(np.clip((time_s - times[0]) / max(float(times[-1] - times[0]), 1e-9), 0, 1))
    turn = np.asarray(motion.creep_px, dtype=np.float64) * share**motion.creep_power
    for knock in motion.knocks:
        since = time_s - knock.at_s
        if since >= 0:
            ringing = math.exp(-since / knock.decay_s) * math.cos(2 * math.pi * knock.frequency_hz * since)
            turn = turn + np.asarray(knock.turn_px) + ringing * np.asarray(knock.swing_px)
    return np.asarray(turn, dtype=np.float64)


def rotation(camera: Camera, turn: FloatArray) -> FloatArray:
    """Rotation (3, 3) of camera axes that moves the picture's content by a turn (3,) px."""
    right, down = turn[:2] / camera.focal_px
    roll = turn[2] / (camera.width / 2)
    angle = np.array([-down, right, roll])
    size = float(np.linalg.norm(angle))
    if size == 0.0:
        return np.eye(3)
    x, y, z = angle / size
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + math.sin(size) * cross + (1 - math.cos(size)) * cross @ cross)


def moved(scene: Scene, image_px: FloatArray, time_s: float) -> FloatArray:
    """Where pixels (…, 2) of the unmoved picture lie in the picture at a time."""
    if scene.hazards.motion.still:
        return np.asarray(image_px, dtype=np.float64)
    cam = scene.camera
    return _turned(cam, np.asarray(image_px, dtype=np.float64), rotation(cam, turn_px(scene, time_s)))


def _turned(cam: Camera, image_px: FloatArray, turn: FloatArray) -> FloatArray:
    centre = np.asarray(cam.principal_px)
    ray = (cam.straighten(image_px) - centre) / cam.focal_px
    ahead = np.concatenate([ray, np.ones_like(ray[..., :1])], axis=-1) @ turn.T
    return cam.distort(ahead[..., :2] / ahead[..., 2:] * cam.focal_px + centre)


def margin_px(motion: CameraMotion) -> int:
    """How much wider than the frame the still picture has to be on each side, px."""
    if motion.still:
        return 0
    far = np.abs(motion.creep_px)
    for knock in motion.knocks:
        far = far + np.abs(knock.turn_px) + np.abs(knock.swing_px)
    return math.ceil(float(far.max() + far[2])) + 4


class Shaking:
    """Turns the wide still picture into what a moving camera sees."""

    def __init__(self, scene: Scene) -> None:
        self.scene, self.margin = scene, margin_px(scene.hazards.motion)
        cam = scene.camera
        self._columns = np.linspace(0, cam.width - 1, max(2, cam.width // _GRID_PX))
        self._rows = np.linspace(0, cam.height - 1, max(2, cam.height // _GRID_PX))
        self._grid = np.stack(np.meshgrid(self._columns, self._rows), axis=-1)

    @property
    def wide(self) -> Scene:
        """The scene seen by a camera with the margin about its frame."""
        if self.margin == 0:
            return self.scene
        cam = self.scene.camera
        return replace(
            self.scene,
            camera=replace(cam, width=cam.width + 2 * self.margin, height=cam.height + 2 * self.margin),
        )

    def seen(self, pixels: Samples, time_s: float) -> Samples:
        """Cut the frame at a time out of the wide picture (h + 2 m, w + 2 m, 3), as the camera is turned."""
        if self.margin == 0:
            return pixels
        half = self.scene.timing.exposure_s / 2
        ends = np.array([turn_px(self.scene, time_s + part * half) for part in (-0.7, 0.7)])
        travel = float(np.abs(ends[1] - ends[0]).max())
        parts = (0.0,) if travel < _BLUR_FROM_PX else tuple(np.linspace(-0.8, 0.8, 5))
        pictures = [self._at(pixels, turn_px(self.scene, time_s + part * half)) for part in parts]
        return np.asarray(sum(pictures) / np.float32(len(pictures)), dtype=np.float32)

    def _at(self, pixels: Samples, turn: FloatArray) -> Samples:
        import cv2

        m, cam = self.margin, self.scene.camera
        if not np.any(np.abs(turn) > 1e-4):
            return pixels[m : m + cam.height, m : m + cam.width]
        # The displacement is smooth: it is worked out on a coarse grid and read between its knots.
        shift = (_turned(cam, self._grid, rotation(cam, turn).T) - self._grid).astype(np.float32)
        x = np.arange(cam.width, dtype=np.float32) * ((len(self._columns) - 1) / (cam.width - 1))
        y = np.arange(cam.height, dtype=np.float32) * ((len(self._rows) - 1) / (cam.height - 1))
        across, along = np.meshgrid(x, y)
        fine = cv2.remap(shift, across, along, cv2.INTER_LINEAR)
        columns = fine[..., 0] + np.arange(cam.width, dtype=np.float32) + np.float32(m)
        rows = fine[..., 1] + np.arange(cam.height, dtype=np.float32)[:, None] + np.float32(m)
        return np.asarray(cv2.remap(pixels, columns, rows, cv2.INTER_CUBIC), dtype=np.float32)
