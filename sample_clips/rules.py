"""The upright steel rule and the tape along the throw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.camera import upright
from sample_clips.numerals import engrave
from sample_clips.paint import Canvas, Samples, band, fill, mottle, ramp, rectangle, tinted
from sample_clips.scene import Colour, Scene

BOARD_START_M = 0.030
"""Where the landing board begins along the throw."""
RULE_WIDTH_M = 0.028
RULE_GAP_M = 0.009
"""Between the upright rule's edge and the container's wall."""
_INK: Colour = (0.10, 0.10, 0.11)
MATERIALS: dict[str, tuple[Colour, Colour]] = {
    "steel": ((0.985, 1.0, 1.01), _INK),
    "beech": ((0.92, 0.76, 0.52), (0.16, 0.10, 0.07)),
    "white": ((1.16, 1.16, 1.15), (0.10, 0.12, 0.30)),
    "yellow": ((1.10, 0.95, 0.30), (0.08, 0.08, 0.08)),
    "black": ((0.14, 0.14, 0.15), (0.92, 0.92, 0.90)),
}
"""Colours of the face and of the ink of upright rules."""


def rule_edge_m(scene: Scene) -> float:
    """Where the graduated edge of the upright rule stands along the throw, m."""
    return -scene.drain.outer_radius_m - scene.drain.widest_m - RULE_GAP_M


@dataclass(frozen=True, slots=True)
class _Scale:
    """How a rule is divided: a graduation every millimetre, longer at 5 and 10."""

    px_per_m: float
    zero_m: float
    last_m: float
    edge_m: float
    """Where the graduations begin, across the rule; they run to lower values of the cross coordinate."""

    def ink(self, along: Samples, across: Samples) -> Samples:
        """Cover (…) of the ink at sheet coordinates along and across the rule, m."""
        reading, inward = along - self.zero_m, self.edge_m - across
        cover = np.zeros(reading.shape, dtype=np.float32)
        for number in (np.floor(reading / 0.001), np.floor(reading / 0.001) + 1):
            length = np.where(number % 10 == 0, 0.0085, np.where(number % 5 == 0, 0.0062, 0.0042))
            half = np.where(number % 10 == 0, 0.00015, 0.00010) * self.px_per_m
            reach = ramp((length - inward) * self.px_per_m) * ramp(inward * self.px_per_m)
            engraved = (number >= 0) & (number <= round(self.last_m / 0.001))
            cover += engraved * reach * band((reading - number * 0.001) * self.px_per_m, half)
        return np.asarray(np.minimum(cover, 1), dtype=np.float32)


def paint_rule(canvas: Canvas, scene: Scene) -> None:
    """Paint the upright steel rule: graduations on its right edge, a numeral every 10 mm."""
    bench = scene.bench
    plane, edge, zero = upright(bench.rule_y_m), rule_edge_m(scene), bench.rule_zero_z_m
    scale = _Scale(
        scene.camera.focal_px / (scene.camera.distance_m + bench.rule_y_m), zero, bench.rule_length_m, edge
    )
    left, top = edge - RULE_WIDTH_M, zero + bench.rule_length_m + 0.006
    side = scene.look.light_from
    face, ink = MATERIALS[scene.look.rule]

    def steel(u: Samples, v: Samples) -> Samples:
        sheen = 0.80 + 0.10 * np.exp(-(((v - zero - 0.6 * bench.rule_length_m) / 0.11) ** 2))
        tone = (
            sheen
            + 0.02 * mottle(u, v, (0.0011, 0.05), scene.seed + 61)
            + 0.02 * side * (u - edge) / RULE_WIDTH_M
        )
        return tinted(face, tone.astype(np.float32))

    fill(
        canvas,
        rectangle(upright(bench.rule_y_m + 0.05), (left + 0.006, edge + 0.004), (zero, top)),
        (0.90, 0.90, 0.91),
        soft_px=canvas.camera.width / 300,
        multiply=True,
    )
    corners = rectangle(plane, (left, edge), (zero, top))
    fill(canvas, corners, steel, plane=plane)
    window = canvas.around(canvas.camera.project_straight(corners))
    u, v = canvas.on(plane, window)
    canvas.blend(window, 0.93 * scale.ink(v, u), ink)
    for mark in range(10, round(bench.rule_length_m * 1000) + 1, 10):
        engrave(
            canvas,
            plane,
            str(mark),
            (edge - 0.0100, zero + mark / 1000),
            height_m=0.0058,
            colour=ink,
            align=1.0,
        )


def tape_mark_z_m() -> float:
    """Height of the tape's upper edge, where its graduations begin, m."""
    return -0.0025


def paint_tape(canvas: Canvas, scene: Scene) -> None:
    """Paint the tape on the landing board's front: graduations on its upper edge, a numeral every 20 mm."""
    bench = scene.bench
    plane = upright(bench.tape_y_m)
    high, low = tape_mark_z_m(), tape_mark_z_m() - 0.0165
    start, stop = BOARD_START_M + 0.004, bench.board_end_m - 0.004
    corners = rectangle(plane, (start, stop), (low, high))

    def paper(u: Samples, v: Samples) -> Samples:
        tone = 0.93 + 0.015 * mottle(u, v, (0.04, 0.01), scene.seed + 91) + 0.02 * (v - low) / (high - low)
        return tinted((1.0, 0.985, 0.93), tone.astype(np.float32))

    fill(canvas, corners, paper, plane=plane)
    scale = _Scale(
        scene.camera.focal_px / (scene.camera.distance_m + bench.tape_y_m),
        bench.tape_zero_x_m,
        stop - bench.tape_zero_x_m,
        high,
    )
    window = canvas.around(canvas.camera.project_straight(corners))
    u, v = canvas.on(plane, window)
    within = ramp(((u - start) * scale.px_per_m).astype(np.float32)) * ramp(
        ((stop - u) * scale.px_per_m).astype(np.float32)
    )
    canvas.blend(window, 0.95 * scale.ink(u, v) * within, _INK)
    for mark in range(0, 2000, 20):
        x = bench.tape_zero_x_m + mark / 1000
        if start + 0.008 < x < stop - 0.008:
            engrave(canvas, plane, str(mark), (x, low + 0.0042), height_m=0.0054, colour=_INK)
