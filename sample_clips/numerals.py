"""Numerals engraved on rules: ten digits as strokes, drawn by their distance to the stroke."""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from sample_clips.camera import Plane
from sample_clips.paint import Canvas, Samples, band

Stroke = NDArray[np.float64]


def _arc(
    cx: float, cy: float, rx: float, ry: float, start_deg: float, stop_deg: float, steps: int = 9
) -> Stroke:
    """Points (steps, 2) along an ellipse; angles counter-clockwise from the right, y up."""
    angle = np.radians(np.linspace(start_deg, stop_deg, steps))
    return np.stack([cx + rx * np.cos(angle), cy + ry * np.sin(angle)], axis=-1)


def _path(*points: tuple[float, float]) -> Stroke:
    return np.asarray(points, dtype=np.float64)


# Each digit stands in a cell 0.56 wide and 1 high, y up.
DIGITS: dict[str, tuple[Stroke, ...]] = {
    "0": (_arc(0.28, 0.5, 0.26, 0.5, 0, 360, 17),),
    "1": (_path((0.08, 0.80), (0.32, 1.0), (0.32, 0.0)),),
    "2": (np.concatenate([_arc(0.28, 0.73, 0.25, 0.27, 170, -35), _path((0.02, 0.0), (0.54, 0.0))]),),
    "3": (_arc(0.27, 0.75, 0.23, 0.25, 160, -90), _arc(0.27, 0.26, 0.26, 0.26, 90, -160)),
    "4": (_path((0.40, 0.0), (0.40, 1.0), (0.0, 0.28), (0.54, 0.28)),),
    "5": (
        np.concatenate(
            [_path((0.50, 1.0), (0.10, 1.0), (0.05, 0.56)), _arc(0.26, 0.31, 0.28, 0.31, 125, -155)]
        ),
    ),
    "6": (
        _arc(0.28, 0.30, 0.26, 0.30, 0, 360, 17),
        np.concatenate([_arc(0.56, 0.34, 0.54, 0.68, 178, 100, 7)]),
    ),
    "7": (_path((0.02, 1.0), (0.54, 1.0), (0.18, 0.0)),),
    "8": (_arc(0.28, 0.76, 0.22, 0.24, 0, 360, 17), _arc(0.28, 0.27, 0.26, 0.27, 0, 360, 17)),
    "9": (_arc(0.28, 0.70, 0.26, 0.30, 0, 360, 17), _arc(0.0, 0.66, 0.54, 0.68, -2, -80, 7)),
}
ADVANCE = 0.72


def engrave(
    canvas: Canvas,
    plane: Plane,
    text: str,
    at_m: tuple[float, float],
    *,
    height_m: float,
    colour: tuple[float, float, float],
    align: float = 0.5,
) -> None:
    """Engrave a number on a sheet.

    Parameters
    ----------
    at_m : u and v, m, of the text's anchor: at mid height, and at the share `align` of its width
    height_m : height of the digits, m; the stroke is a tenth of it
    """
    width = (len(text) - 1) * ADVANCE + 0.56
    left, bottom = at_m[0] - align * width * height_m, at_m[1] - 0.5 * height_m
    corners = plane.at(
        left + np.array([0, width, width, 0]) * height_m, bottom + np.array([0, 0, 1, 1]) * height_m
    )
    straight = canvas.camera.project_straight(corners)
    window = canvas.around(straight)
    if window.empty:
        return
    u, v = canvas.on(plane, window)
    x, y = (u - left) / height_m, (v - bottom) / height_m
    nearest = np.full(x.shape, np.inf, dtype=np.float32)
    for number, digit in enumerate(text):
        for stroke in DIGITS[digit]:
            _nearest(nearest, x - number * ADVANCE, y, stroke)
    height_px = math.hypot(*(straight[3] - straight[0]))
    canvas.blend(window, band(nearest * height_px, 0.055 * height_px), colour)


def _nearest(nearest: Samples, x: Samples, y: Samples, stroke: Stroke) -> None:
    """Lower `nearest` (…) to the distance from the samples to a stroke's segments."""
    for (x0, y0), (x1, y1) in itertools.pairwise(stroke):
        dx, dy = x1 - x0, y1 - y0
        share = np.clip(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
        np.minimum(
            nearest, np.hypot(x - x0 - share * dx, y - y0 - share * dy).astype(np.float32), out=nearest
        )
