"""Strips drawn from a known truth: light blurred, then coded as a camera does, then noise and rounding."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import expit, ndtr

from calibration import FloatArray, Pixel, Segment
from measure_app.finders import JetLines
from measure_app.strips import Strip, StripLine


def coded(light: FloatArray) -> FloatArray:
    """Luma codes 16 to 235 of relative light 0 to 1: the transfer characteristic of ITU-R BT.709-6, item 1.2."""
    signal = np.where(light < 0.018, 4.5 * light, 1.099 * np.clip(light, 1e-9, None) ** 0.45 - 0.099)
    return np.asarray(16.0 + 219.0 * signal)


def line(name: str, length: int) -> StripLine:
    return StripLine(name, Segment(Pixel(50.0, 10.0), Pixel(50.0, 10.0 + length - 1)))


def strip_of(light: FloatArray, noise: float, rng: np.random.Generator, name: str = "head") -> Strip:
    levels = coded(light) + rng.normal(0.0, noise, light.shape)
    rounded: NDArray[np.uint8] = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    return Strip(line(name, light.shape[1]), np.arange(len(light)), rounded)


def falling(n: int, first: float, last: float) -> FloatArray:
    """Places of a level whose root falls evenly, px: the drain curve as seen on a line."""
    depth = 1.15 * (last - first)
    root = np.linspace(np.sqrt(depth), np.sqrt(depth - (last - first)), n)
    return np.asarray(first + depth - root**2)


def head_light(
    places: FloatArray,
    length: int,
    *,
    blur: float = 1.1,
    air: float = 0.45,
    water: float = 0.2,
    band: float = 0.08,
) -> FloatArray:
    """Air above, a dark meniscus band of three pixels, dyed water below; (n, length) relative light."""
    x = np.arange(length) - places[:, None]
    return np.asarray(air + (water - band - air) * ndtr(x / blur) + band * ndtr((x - 6.0) / (2 * blur)))


def clear_light(
    places: FloatArray,
    length: int,
    *,
    thick: float = 2.6,
    blur: float = 0.8,
    depth: float = 0.25,
    air: float | FloatArray = 0.45,
    water: float | FloatArray = 0.45,
) -> FloatArray:
    """A line `thick` px wide whose lower edge is the place, between air and water that look alike."""
    x = np.arange(length) - places[:, None]
    below, above = ndtr(x / blur), ndtr((x + thick) / blur)
    return np.asarray(air * (1 - below) + water * below - depth * (above - below))


def jet_strips(
    landing: FloatArray, tracing: JetLines, rng: np.random.Generator, *, tilt: float = 0.0, width: float = 7.0
) -> list[Strip]:
    """A jet that sparkles at random within its width; `tilt` bends it away from the plain parabola, px per drop."""
    strips = []
    along = np.arange(601)
    wall = 0.12 + 0.02 * gaussian_filter1d(rng.normal(size=601), 20.0)
    for index, line in enumerate(tracing.lines):
        middle = tracing.place_on(index, landing) + tilt * tracing.above[index]
        inside = expit((width / 2 - np.abs(along - middle[:, None])) / 0.5)
        sparkle = np.abs(gaussian_filter1d(rng.normal(0.25, 0.35, inside.shape), 1.0, axis=1)) + 0.04
        levels = coded(wall + inside * sparkle) + rng.normal(0, 0.8, inside.shape)
        strips.append(Strip(line, np.arange(len(landing)), np.clip(np.rint(levels), 0, 255).astype(np.uint8)))
    return strips


def shrinking(n: int) -> FloatArray:
    return np.linspace(520.0, 250.0, n)
