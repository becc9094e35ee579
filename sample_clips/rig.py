"""What stands still of the experiment: stand, cylinder, rules, tray, landing board, plumb line."""

from __future__ import annotations

import itertools

import numpy as np

from sample_clips.camera import Plane, level, upright
from sample_clips.cylinder import paint_cylinder, paint_ring
from sample_clips.paint import (
    Canvas,
    Samples,
    fill,
    grain,
    line,
    mottle,
    ramp,
    rectangle,
    spot,
    tinted,
)
from sample_clips.rules import BOARD_START_M, RULE_WIDTH_M, paint_rule, paint_tape, rule_edge_m
from sample_clips.scene import Colour, Scene

BOARD_FRONT_TO_BACK_M = 0.045
_BOARD_DEEP_M = 0.026


def paint_rig(canvas: Canvas, scene: Scene) -> None:
    """Paint all that stands still, the container still without water."""
    _paint_shadows(canvas, scene)
    _paint_tray(canvas, scene)
    _paint_stand(canvas, scene)
    paint_rule(canvas, scene)
    paint_cylinder(canvas, scene)
    paint_ring(canvas, scene)
    _paint_plumb(canvas, scene)


def _paint_shadows(canvas: Canvas, scene: Scene) -> None:
    left, right, front, back = _stand_extent(scene)
    plane, away = level(scene.bench.bench_z_m), -scene.look.light_from
    soft = canvas.camera.width / 110
    for reach, dark in ((0.14, 0.80), (0.03, 0.72)):
        u = sorted((left - 0.015 + min(away, 0) * reach, right + 0.015 + max(away, 0) * reach))
        fill(
            canvas,
            rectangle(plane, (u[0], u[1]), (front - 0.012, back + 0.05)),
            (dark, dark, dark * 1.01),
            soft_px=soft,
            multiply=True,
        )
    fill(
        canvas,
        rectangle(plane, (0.0, scene.bench.board_end_m + 0.08), (-0.095, 0.13)),
        (0.74, 0.73, 0.73),
        soft_px=0.7 * soft,
        multiply=True,
    )


def _stand_extent(scene: Scene) -> tuple[float, float, float, float]:
    """Give left, right, front and back of the stand, m."""
    return rule_edge_m(scene) - RULE_WIDTH_M - 0.016, -0.002, -0.062, 0.062


def _paint_stand(canvas: Canvas, scene: Scene) -> None:
    left, right, front, back = _stand_extent(scene)
    low, high = scene.bench.bench_z_m, scene.bench.rule_zero_z_m
    look = scene.look
    courses = max(1, round((high - low) / {"bricks": 0.068, "timber": 0.045, "steel": 1.0}[look.stand]))
    course = (high - low) / courses

    def face(u: Samples, v: Samples) -> Samples:
        number = np.clip(np.floor((v - low) / course), 0, courses - 1)
        seam = np.minimum(v - low - number * course, (number + 1) * course - (v - low))
        tone = (
            0.94
            + 0.10 * np.clip((v - low) / (high - low), 0, 1)
            + 0.05 * np.cos(number * 2.1 + look.stand_colour[0] * 9)
        )
        if look.stand == "timber":
            tone = tone + 0.13 * grain(u + 0.31 * number, v, scene.seed + 51)
        elif look.stand == "bricks":
            tone = (
                tone
                + 0.05 * mottle(u, v, 0.006, scene.seed + 52)
                + 0.06 * mottle(u, v, 0.0022, scene.seed + 56)
                + 0.06 * mottle(u, v, 0.025, scene.seed + 53)
            )
            tone = tone - 0.3 * np.clip(mottle(u, v, 0.004, scene.seed + 54) - 0.72, 0, 1)
        else:
            tone = tone + 0.015 * mottle(u, v, (0.2, 0.0015), scene.seed + 55)
        worn = 1 - 0.42 * np.exp(-((seam / 0.0014) ** 2)) + 0.10 * np.exp(-(((seam - 0.003) / 0.0014) ** 2))
        return tinted(look.stand_colour, (tone * worn).astype(np.float32))

    flank = Plane((right, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    if scene.camera.centre_m[0] > right:
        dim = 0.66 if look.light_from < 0 else 0.95
        fill(canvas, rectangle(flank, (front, back), (low, high)), lambda u, v: dim * face(u, v), plane=flank)
    if scene.camera.centre_m[2] > high:
        fill(
            canvas,
            rectangle(level(high), (left, right), (front, back)),
            lambda u, v: 1.08 * face(u, v * 0 + high - 0.02),
            plane=level(high),
        )
    plane = upright(front)
    fill(canvas, rectangle(plane, (left, right), (low, high)), face, plane=plane)


def _paint_tray(canvas: Canvas, scene: Scene) -> None:
    """Paint the tray, the water standing in it, the landing board and the tape on the board's front."""
    bench, look = scene.bench, scene.look
    low, lip = bench.bench_z_m, bench.bench_z_m + 0.020
    left, right, front, back = 0.016, bench.board_end_m + 0.045, -0.072, 0.098
    white = look.tray

    def enamel(gain: float) -> Colour:
        return (min(1.0, white[0] * gain), min(1.0, white[1] * gain), min(1.0, white[2] * gain))

    fill(
        canvas,
        rectangle(level(lip), (left - 0.004, right + 0.004), (front - 0.004, back + 0.004)),
        enamel(1.10),
    )
    fill(canvas, rectangle(upright(back), (left, right), (low, lip)), enamel(0.93))
    pool = level(low + 0.007)

    def water(u: Samples, v: Samples) -> Samples:
        tint = np.asarray(enamel(0.90), dtype=np.float32) * np.exp(
            -0.010 * np.asarray(look.dye_per_m, dtype=np.float32)
        )
        glint = (
            1
            + 0.05 * mottle(u, v, (0.05, 0.018), scene.seed + 71)
            + 0.07 * np.clip((v - front) / (back - front), 0, 1)
        )
        return tinted(tint.tolist(), glint.astype(np.float32))

    fill(
        canvas,
        rectangle(pool, (left + 0.003, right - 0.003), (front + 0.002, back - 0.002)),
        water,
        plane=pool,
    )
    board_front, board_back = bench.tape_y_m, bench.tape_y_m + BOARD_FRONT_TO_BACK_M
    fill(
        canvas,
        rectangle(pool, (BOARD_START_M, bench.board_end_m), (board_front - 0.022, board_back)),
        (0.72, 0.75, 0.77),
        soft_px=canvas.camera.width / 330,
        multiply=True,
    )
    _paint_board(canvas, scene, board_front, board_back)
    paint_tape(canvas, scene)
    outer = upright(front)
    shade = canvas.camera.width / 1500
    fill(canvas, rectangle(outer, (left, right), (low, lip)), enamel(0.97), soft_px=0)
    fill(
        canvas,
        rectangle(outer, (left, right), (low, low + 0.006)),
        (0.86, 0.86, 0.88),
        soft_px=3 * shade,
        multiply=True,
    )
    fill(canvas, rectangle(outer, (left - 0.004, right + 0.004), (lip - 0.0035, lip)), enamel(1.12))


def _paint_board(canvas: Canvas, scene: Scene, front: float, back: float) -> None:
    look, end = scene.look, scene.bench.board_end_m
    times = scene.timing.times_s
    reach = scene.drain.throw(np.array([times[0], times[-1]]))
    top = level(0.0)

    def slate(u: Samples, v: Samples) -> Samples:
        tone = (
            1.0
            + 0.05 * mottle(u, v, (0.03, 0.006), scene.seed + 81)
            + 0.04 * mottle(u, v, 0.004, scene.seed + 82)
        )
        wet = 1 / (1 + np.exp(-(u - (reach[1] - 0.05)) / 0.02)) * np.exp(-((v / 0.022) ** 4))
        return tinted(look.board, (tone * (1 - 0.14 * wet)).astype(np.float32))

    fill(canvas, rectangle(top, (BOARD_START_M, end), (front, back)), slate, plane=top)
    if scene.hazards.wet_tray.strength:
        _paint_puddles(canvas, scene, front, back)
    face = upright(front)
    dark: Colour = (0.62 * look.board[0], 0.62 * look.board[1], 0.62 * look.board[2])
    fill(canvas, rectangle(face, (BOARD_START_M, end), (-_BOARD_DEEP_M, 0.0)), dark)


def _paint_puddles(canvas: Canvas, scene: Scene, front: float, back: float) -> None:
    """Paint water standing on the board: sharp-edged patches that mirror the wall, with dark rims."""
    strength, top = scene.hazards.wet_tray.strength, level(0.0)
    corners = rectangle(top, (BOARD_START_M, scene.bench.board_end_m), (front, back))
    window = canvas.around(canvas.camera.project_straight(corners))
    u, v = canvas.on(top, window)
    rise = mottle(u, v, (0.016, 0.022), scene.seed + 83) + 0.5 * mottle(u, v, (0.005, 0.012), scene.seed + 84)
    on = ramp((v - front) * 2e3) * ramp((back - v) * 2e3)
    on = on * ramp((u - BOARD_START_M) * 2e3) * ramp((scene.bench.board_end_m - u) * 2e3)
    water = ramp((rise + 0.15) * 6.0)
    rim = np.exp(-(((rise + 0.15) / 0.06) ** 2))
    mirror = np.asarray(scene.look.wall, dtype=np.float32)
    canvas.blend(window, np.asarray(min(1.0, strength) * 0.42 * on * water, dtype=np.float32), mirror)
    canvas.scale(window, np.asarray(0.35 * on * rim, dtype=np.float32), (0.4, 0.4, 0.42))


def _paint_plumb(canvas: Canvas, scene: Scene) -> None:
    """Paint a cord with a turned brass bob, in the jet's plane."""
    x, bottom = scene.bench.plumb_x_m, plumb_bob_top_m(scene)
    top = scene.camera.centre_m[2] + scene.camera.distance_m
    line(canvas, [(x, 0.0, top), (x, 0.0, bottom)], 0.0013, (0.93, 0.91, 0.84))
    plane = upright(0.0)

    def brass(u: Samples, _: Samples) -> Samples:
        q = (u - x) / 0.0075 * -scene.look.light_from
        tone = 0.52 + 0.55 * np.exp(-(((q + 0.40) / 0.34) ** 2)) + 0.25 * np.exp(-(((q - 0.85) / 0.16) ** 2))
        return tinted((0.86, 0.66, 0.30), tone.astype(np.float32))

    outline = [
        (0.0022, 0.0),
        (0.0022, -0.005),
        (0.0055, -0.008),
        (0.0075, -0.013),
        (0.0072, -0.022),
        (0.0035, -0.040),
        (0.0004, -0.052),
    ]
    for (w0, z0), (w1, z1) in itertools.pairwise(outline):
        fill(
            canvas,
            plane.at([x - w0, x + w0, x + w1, x - w1], np.array([z0, z0, z1 - 0.0002, z1 - 0.0002]) + bottom),
            brass,
            plane=plane,
        )
    spot(
        canvas,
        level(scene.bench.bench_z_m),
        (x, 0.0),
        (0.016, 0.012),
        (0.80, 0.79, 0.78),
        soft_px=canvas.camera.width / 260,
        multiply=True,
    )


def plumb_bob_top_m(scene: Scene) -> float:
    """Height at which the cord meets the bob, m."""
    return scene.bench.bench_z_m + 0.085
