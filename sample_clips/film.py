"""From samples to the frames of a film: the lens's blur, the corners' shade, the sensor's noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sample_clips.paint import OVERSAMPLING, Samples, Values
from sample_clips.scene import Film, FloatArray, Scene

Picture = NDArray[np.uint8]
_SHARPEN_PX = 1.2
_LUMA = (0.2126, 0.7152, 0.0722)  # ITU-R BT.709


def reach_px(film: Film) -> int:
    """How far, px, a change in the samples can alter the developed picture."""
    return int(np.ceil(4 * film.blur_px + (4 * _SHARPEN_PX if film.sharpen else 0))) + 1


def to_light(code: Values) -> Samples:
    """Light, 0 to 1, of encoded values (…): the inverse of Rec. ITU-R BT.709, item 1.2."""
    code = np.clip(np.asarray(code, dtype=np.float32), 0, None)
    return np.asarray(
        np.where(code < 0.081, code / 4.5, ((code + 0.099) / 1.099) ** (1 / 0.45)), dtype=np.float32
    )


def to_code(light: Values) -> Samples:
    """Encoded values of light (…), 0 to 1: Rec. ITU-R BT.709, item 1.2."""
    light = np.clip(np.asarray(light, dtype=np.float32), 0, None)
    return np.asarray(np.where(light < 0.018, light * 4.5, 1.099 * light**0.45 - 0.099), dtype=np.float32)


def develop(light: Samples, film: Film) -> Samples:
    """Blur samples of light (h S, w S, 3) as the lens does, gather them into pixels, encode (h, w, 3).

    Each pixel is the mean of its samples: the pixel's own aperture.
    """
    import cv2

    sigma = film.blur_px * OVERSAMPLING
    soft = cv2.GaussianBlur(light, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    if film.sharpen:
        wide = float(np.hypot(sigma, _SHARPEN_PX * OVERSAMPLING))
        softer = cv2.GaussianBlur(light, (0, 0), wide, borderType=cv2.BORDER_REPLICATE)
        soft = soft + np.float32(film.sharpen) * (soft - softer)
    height, width = light.shape[0] // OVERSAMPLING, light.shape[1] // OVERSAMPLING
    return to_code(np.asarray(cv2.resize(soft, (width, height), interpolation=cv2.INTER_AREA)))


def exposed(code: Samples, gain: FloatArray) -> Samples:
    """Encoded values (h, w, 3) with the light's red, green and blue multiplied by a gain (3,)."""
    if np.all(gain == 1.0):
        return code
    # Whole rows at once: three values at a time are slow.
    factor = np.tile(np.asarray(gain**0.45, dtype=np.float32), code.shape[1])
    out = code.reshape(len(code), -1) + np.float32(0.099)
    out *= factor
    out -= np.float32(0.099)
    return np.asarray(out.reshape(code.shape))


def gain_at(scene: Scene, time_s: float) -> FloatArray:
    """Factors (3,) of the light's red, green and blue at a time: the lamps' and the camera's own."""
    drift, times = scene.hazards.exposure, scene.timing.times_s
    share = (time_s - float(times[0])) / max(float(times[-1] - times[0]), 1e-9)
    turn = 2 * np.pi * time_s / drift.period_s + drift.phase
    change = drift.swing * (np.sin(turn) - np.sin(drift.phase)) + np.asarray(drift.white) * share
    for at_s, factor in drift.steps:
        # It takes a camera some frames to step.
        change = change + np.log(factor) * np.clip((time_s - at_s) / 0.12, 0, 1)
    return np.asarray(np.asarray(scene.look.light) * np.exp(change))


def vignette(scene: Scene) -> Samples:
    """Brightness (h, w, 3) over the picture, 1 in the middle, the same for each colour."""
    cam = scene.camera
    x = (np.arange(cam.width) - cam.principal_px[0]) / cam.width
    y = (np.arange(cam.height) - cam.principal_px[1]) / cam.width
    r2 = (x[None, :] ** 2 + y[:, None] ** 2) / 0.33
    return np.repeat(np.asarray(1 - scene.film.vignette * r2**1.2, dtype=np.float32)[..., None], 3, axis=2)


class Grain:
    """The sensor's noise: white, its variance growing with brightness, new in every frame.

    Drawing millions of normal numbers for each frame would take longer than all the rest, so one long row
    of them is drawn and each frame reads three stretches of it from random places, with random signs.
    """

    def __init__(self, scene: Scene) -> None:
        film = scene.film
        self._rng = np.random.default_rng([scene.seed, 77])
        self._size = scene.camera.width * scene.camera.height
        self._pool = self._rng.standard_normal(self._size * 2 + 1_000_003, dtype=np.float32)
        share = float(np.sqrt(sum(w * w for w in _LUMA)))  # luma mixes three channels of independent noise
        levels = np.arange(256, dtype=np.float32)
        self._sigma = (np.sqrt(film.read_noise**2 + film.shot_gain * levels) / share).astype(np.float32)

    def picture(self, pixels: Samples) -> Picture:
        """Give one frame as red, green, blue bytes (h, w, 3) from encoded values (h, w, 3), 0 to 1."""
        shape = pixels.shape[:2]
        levels = pixels * np.float32(255)
        np.clip(levels, 0, 255, out=levels)
        sigma = np.take(self._sigma, levels[..., 1].astype(np.uint8))
        for channel in range(3):
            start = int(self._rng.integers(self._pool.size - self._size))
            sign = np.float32(1.0 if self._rng.random() < 0.5 else -1.0)
            noise = self._pool[start : start + self._size].reshape(shape) * sigma
            noise *= sign
            levels[..., channel] += noise
        levels += np.float32(0.5)
        np.clip(levels, 0, 255, out=levels)
        return levels.astype(np.uint8)
