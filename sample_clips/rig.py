"""What stands still of the experiment itself: stand, cylinder, upright rule, tray, landing board, tape, plumb line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.camera import Plane, level, upright
from sample_clips.numerals import engrave
from sample_clips.paint import Canvas, Samples, Window, band, fill, grain, line, mottle, ramp, rectangle, spot, tinted
from sample_clips.scene import Colour, Scene

BOARD_FRONT_TO_BACK_M = 0.045
BOARD_START_M = 0.030
_BOARD_DEEP_M = 0.026
RULE_WIDTH_M = 0.028
RULE_GAP_M = 0.009
"""Between the upright rule's edge and the container's wall."""
_BASE_M = 0.010
_INK: Colour = (0.10, 0.10, 0.11)


def rule_edge_m(scene: Scene) -> float:
    """Where the graduated edge of the upright rule stands along the throw, m."""
    return -2 * scene.drain.outer_radius_m - RULE_GAP_M


def paint_rig(canvas: Canvas, scene: Scene) -> None:
    """Paint all that stands still, the container still without water."""
    _paint_shadows(canvas, scene)
    _paint_tray(canvas, scene)
    _paint_stand(canvas, scene)
    _paint_rule(canvas, scene)
    paint_cylinder(canvas, scene)
    paint_ring(canvas, scene)
    _paint_plumb(canvas, scene)


def _paint_shadows(canvas: Canvas, scene: Scene) -> None:
    left, right, front, back = _stand_extent(scene)
    plane, away = level(scene.bench.bench_z_m), -scene.look.light_from
    soft = canvas.camera.width / 110
    for reach, dark in ((0.14, 0.80), (0.03, 0.72)):
        u = sorted((left - 0.015 + min(away, 0) * reach, right + 0.015 + max(away, 0) * reach))
        fill(canvas, rectangle(plane, (u[0], u[1]), (front - 0.012, back + 0.05)), (dark, dark, dark * 1.01),
             soft_px=soft, multiply=True)
    fill(canvas, rectangle(plane, (0.0, scene.bench.board_end_m + 0.08), (-0.095, 0.13)), (0.74, 0.73, 0.73),
         soft_px=0.7 * soft, multiply=True)


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
        tone = 0.94 + 0.10 * np.clip((v - low) / (high - low), 0, 1) + 0.05 * np.cos(number * 2.1 + look.stand_colour[0] * 9)
        if look.stand == "timber":
            tone = tone + 0.13 * grain(u + 0.31 * number, v, scene.seed + 51)
        elif look.stand == "bricks":
            tone = tone + 0.09 * mottle(u, v, 0.006, scene.seed + 52) + 0.06 * mottle(u, v, 0.025, scene.seed + 53)
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
        fill(canvas, rectangle(level(high), (left, right), (front, back)), lambda u, v: 1.08 * face(u, v * 0 + high - 0.02),
             plane=level(high))
    plane = upright(front)
    fill(canvas, rectangle(plane, (left, right), (low, high)), face, plane=plane)


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
        reading = along - self.zero_m
        number = np.clip(np.round(reading / 0.001), 0, round(self.last_m / 0.001))
        off_px = (reading - number * 0.001) * self.px_per_m
        length = np.where(number % 10 == 0, 0.0085, np.where(number % 5 == 0, 0.0062, 0.0042))
        inward = self.edge_m - across
        width = np.where(number % 10 == 0, 0.00030, 0.00020).astype(np.float32)
        reach = ramp(((length - inward) * self.px_per_m).astype(np.float32)) * ramp((inward * self.px_per_m).astype(np.float32))
        return np.asarray(band(off_px.astype(np.float32), width / 2 * self.px_per_m) * reach, dtype=np.float32)


def _paint_rule(canvas: Canvas, scene: Scene) -> None:
    bench = scene.bench
    plane, edge, zero = upright(bench.rule_y_m), rule_edge_m(scene), bench.rule_zero_z_m
    scale = _Scale(scene.camera.focal_px / (scene.camera.distance_m + bench.rule_y_m), zero, bench.rule_length_m, edge)
    left, top = edge - RULE_WIDTH_M, zero + bench.rule_length_m + 0.006
    side = scene.look.light_from

    def steel(u: Samples, v: Samples) -> Samples:
        sheen = 0.80 + 0.10 * np.exp(-(((v - zero - 0.6 * bench.rule_length_m) / 0.11) ** 2))
        tone = sheen + 0.02 * mottle(u, v, (0.0011, 0.05), scene.seed + 61) + 0.02 * side * (u - edge) / RULE_WIDTH_M
        return tinted((0.985, 1.0, 1.01), tone.astype(np.float32))

    fill(canvas, rectangle(upright(bench.rule_y_m + 0.05), (left + 0.006, edge + 0.004), (zero, top)), (0.90, 0.90, 0.91),
         soft_px=canvas.camera.width / 300, multiply=True)
    corners = rectangle(plane, (left, edge), (zero, top))
    fill(canvas, corners, steel, plane=plane)
    window = canvas.around(canvas.camera.project_straight(corners))
    u, v = canvas.on(plane, window)
    canvas.blend(window, 0.93 * scale.ink(v, u), _INK)
    for mark in range(10, round(bench.rule_length_m * 1000) + 1, 10):
        engrave(canvas, plane, str(mark), (edge - 0.0100, zero + mark / 1000), 0.0058, _INK, align=1.0)


def tape_mark_z_m() -> float:
    """Height of the tape's upper edge, where its graduations begin, m."""
    return -0.0025


def _paint_tray(canvas: Canvas, scene: Scene) -> None:
    """Paint the tray, the water standing in it, the landing board and the tape on the board's front."""
    bench, look = scene.bench, scene.look
    low, lip = bench.bench_z_m, bench.bench_z_m + 0.020
    left, right, front, back = 0.016, bench.board_end_m + 0.045, -0.072, 0.098
    white = look.tray

    def enamel(gain: float) -> Colour:
        return (min(1.0, white[0] * gain), min(1.0, white[1] * gain), min(1.0, white[2] * gain))

    fill(canvas, rectangle(level(lip), (left - 0.004, right + 0.004), (front - 0.004, back + 0.004)), enamel(1.10))
    fill(canvas, rectangle(upright(back), (left, right), (low, lip)), enamel(0.93))
    pool = level(low + 0.007)

    def water(u: Samples, v: Samples) -> Samples:
        tint = np.asarray(enamel(0.90), dtype=np.float32) * np.exp(-0.010 * np.asarray(look.dye_per_m, dtype=np.float32))
        glint = 1 + 0.05 * mottle(u, v, (0.05, 0.018), scene.seed + 71) + 0.07 * np.clip((v - front) / (back - front), 0, 1)
        return tinted(tint.tolist(), glint.astype(np.float32))

    fill(canvas, rectangle(pool, (left + 0.003, right - 0.003), (front + 0.002, back - 0.002)), water, plane=pool)
    board_front, board_back = bench.tape_y_m, bench.tape_y_m + BOARD_FRONT_TO_BACK_M
    fill(canvas, rectangle(pool, (BOARD_START_M, bench.board_end_m), (board_front - 0.022, board_back)), (0.72, 0.75, 0.77),
         soft_px=canvas.camera.width / 330, multiply=True)
    _paint_board(canvas, scene, board_front, board_back)
    _paint_tape(canvas, scene)
    outer = upright(front)
    shade = canvas.camera.width / 1500
    fill(canvas, rectangle(outer, (left, right), (low, lip)), enamel(0.97), soft_px=0)
    fill(canvas, rectangle(outer, (left, right), (low, low + 0.006)), (0.86, 0.86, 0.88), soft_px=3 * shade, multiply=True)
    fill(canvas, rectangle(outer, (left - 0.004, right + 0.004), (lip - 0.0035, lip)), enamel(1.12))


def _paint_board(canvas: Canvas, scene: Scene, front: float, back: float) -> None:
    look, end = scene.look, scene.bench.board_end_m
    times = scene.timing.times_s
    reach = scene.drain.throw(np.array([times[0], times[-1]]))
    top = level(0.0)

    def slate(u: Samples, v: Samples) -> Samples:
        tone = 1.0 + 0.05 * mottle(u, v, (0.03, 0.006), scene.seed + 81) + 0.04 * mottle(u, v, 0.004, scene.seed + 82)
        wet = 1 / (1 + np.exp(-(u - (reach[1] - 0.05)) / 0.02)) * np.exp(-((v / 0.022) ** 4))
        return tinted(look.board, (tone * (1 - 0.14 * wet)).astype(np.float32))

    fill(canvas, rectangle(top, (BOARD_START_M, end), (front, back)), slate, plane=top)
    face = upright(front)
    dark: Colour = (0.62 * look.board[0], 0.62 * look.board[1], 0.62 * look.board[2])
    fill(canvas, rectangle(face, (BOARD_START_M, end), (-_BOARD_DEEP_M, 0.0)), dark)


def _paint_tape(canvas: Canvas, scene: Scene) -> None:
    bench = scene.bench
    plane = upright(bench.tape_y_m)
    high, low = tape_mark_z_m(), tape_mark_z_m() - 0.0165
    start, stop = BOARD_START_M + 0.004, bench.board_end_m - 0.004
    corners = rectangle(plane, (start, stop), (low, high))

    def paper(u: Samples, v: Samples) -> Samples:
        tone = 0.93 + 0.015 * mottle(u, v, (0.04, 0.01), scene.seed + 91) + 0.02 * (v - low) / (high - low)
        return tinted((1.0, 0.985, 0.93), tone.astype(np.float32))

    fill(canvas, corners, paper, plane=plane)
    scale = _Scale(scene.camera.focal_px / (scene.camera.distance_m + bench.tape_y_m), bench.tape_zero_x_m,
                   stop - bench.tape_zero_x_m, high)
    window = canvas.around(canvas.camera.project_straight(corners))
    u, v = canvas.on(plane, window)
    within = ramp(((u - start) * scale.px_per_m).astype(np.float32)) * ramp(((stop - u) * scale.px_per_m).astype(np.float32))
    canvas.blend(window, 0.95 * scale.ink(u, v) * within, _INK)
    for mark in range(0, 2000, 20):
        x = bench.tape_zero_x_m + mark / 1000
        if start + 0.008 < x < stop - 0.008:
            engrave(canvas, plane, str(mark), (x, low + 0.0042), 0.0054, _INK)


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """The samples that look at the cylinder, and where on it each of them looks."""

    window: Window
    across: Samples
    """Offset from the middle over the apparent half width: −1 to 1 inside."""
    height_m: Samples
    """Height at which the sample's ray passes the axis."""
    cover: Samples
    distance_m: float
    """Horizontal distance of the lens from the axis."""
    px_per_m: float

    def height_at(self, toward_m: Samples | float, eye_m: float) -> Samples:
        """Height, m, at which the rays pass a depth `toward_m` before (+) or behind (−) the axis."""
        return np.asarray(eye_m + (self.height_m - eye_m) * (self.distance_m - toward_m) / self.distance_m,
                          dtype=np.float32)

    def round_depth(self, radius_m: float) -> Samples:
        """How far before the axis a round wall of `radius_m` is seen at each sample, m."""
        return np.asarray(radius_m * np.sqrt(np.clip(1 - self.across**2, 0, 1)), dtype=np.float32)


def column(canvas: Canvas, scene: Scene, low_m: float, high_m: float, margin_px: float = 4.0) -> Column:
    """Give the samples that look at the cylinder between two heights."""
    tx, ty = scene.toward_camera
    plane = Plane((scene.axis_x_m, 0.0, 0.0), (-ty, tx, 0.0), (0.0, 0.0, 1.0))
    radius = scene.drain.outer_radius_m
    cam = scene.camera
    distance = float(np.hypot(cam.centre_m[0] - scene.axis_x_m, cam.centre_m[1]))
    half = radius * distance / np.sqrt(distance**2 - radius**2)  # where the grazing rays pass the axis
    window = canvas.around(cam.project_straight(rectangle(plane, (-half, half), (low_m, high_m))), margin_px)
    u, v = canvas.on(plane, window)
    scale = cam.focal_px / distance
    cover = ramp(np.asarray((half - np.abs(u)) * scale, dtype=np.float32))
    return Column(window, np.asarray(u / half, dtype=np.float32), v, cover, distance, scale)


def paint_cylinder(canvas: Canvas, scene: Scene) -> None:
    """Paint the clear cylinder, empty, on its base."""
    drain, eye = scene.drain, scene.camera.centre_m[2]
    floor = drain.drop_m - scene.bench.floor_m
    rim = drain.drop_m + drain.head0_m + scene.bench.rim_m
    tube = column(canvas, scene, scene.bench.rule_zero_z_m - 0.01, rim + 0.02)
    depth = tube.round_depth(drain.outer_radius_m)
    below_rim = ramp((rim - tube.height_at(depth, eye)) * tube.px_per_m)
    below_far_rim = ramp((rim - tube.height_at(-depth, eye)) * tube.px_per_m)
    above_foot = ramp((tube.height_at(depth, eye) - scene.bench.rule_zero_z_m) * tube.px_per_m)
    body = tube.cover * np.maximum(below_rim, below_far_rim) * above_foot
    canvas.scale(tube.window, np.asarray(body, dtype=np.float32), _clear_wall(tube))
    canvas.blend(tube.window, np.asarray(body * glints(tube, scene), dtype=np.float32), (0.97, 0.985, 0.99))
    for far in (1.0, -1.0):
        off = (tube.height_at(far * depth, eye) - rim) * tube.px_per_m
        canvas.blend(tube.window, 0.55 * tube.cover * band(off, 0.0009 * tube.px_per_m), (0.93, 0.95, 0.955))
    _paint_base(canvas, scene, tube, floor)


def _clear_wall(tube: Column) -> Samples:
    """How much light the empty cylinder lets through, (h, w, 3): its sides bend it away."""
    q = np.abs(tube.across)
    through = 0.955 - 0.40 * np.exp(-(((q - 0.985) / 0.030) ** 2)) - 0.16 * np.exp(-(((q - 0.885) / 0.028) ** 2))
    return tinted((0.985, 1.0, 1.0), np.asarray(through, dtype=np.float32))


def glints(tube: Column, scene: Scene) -> Samples:
    """Cover (h, w) of the window's reflections on the cylinder."""
    q = tube.across * -scene.look.light_from
    cover = (0.50 * np.exp(-(((q + 0.60) / 0.035) ** 2)) + 0.20 * np.exp(-(((q + 0.49) / 0.05) ** 2))
             + 0.42 * np.exp(-(((q - 0.93) / 0.018) ** 2)) + 0.30 * np.exp(-(((q + 0.93) / 0.018) ** 2)))
    return np.asarray(cover, dtype=np.float32)


def _paint_base(canvas: Canvas, scene: Scene, tube: Column, floor: float) -> None:
    eye = scene.camera.centre_m[2]
    depth = tube.round_depth(scene.drain.outer_radius_m)
    under = ramp((floor - tube.height_at(depth, eye)) * tube.px_per_m)
    above = ramp((tube.height_at(depth, eye) - scene.bench.rule_zero_z_m) * tube.px_per_m)
    q = tube.across * -scene.look.light_from
    tone = 0.62 + 0.26 * np.exp(-(((q + 0.45) / 0.5) ** 2)) - 0.22 * np.abs(q) ** 6
    canvas.blend(tube.window, np.asarray(tube.cover * under * above, dtype=np.float32),
                 tinted((0.36, 0.38, 0.41), np.asarray(tone / 0.8, dtype=np.float32)))


def paint_ring(canvas: Canvas, scene: Scene) -> None:
    """Paint the brass ring about the hole, seen from its edge; it stands before the water."""
    z, plane = scene.drain.drop_m, upright(0.0)
    ring = scene.drain.hole_m / 2 + 0.0035
    sheets: tuple[tuple[float, float, Colour, float], ...] = (
        (-1.0, 1.0, (0.74, 0.60, 0.33), 0.0), (0.3, 0.75, (0.93, 0.85, 0.62), 0.8), (-1.0, -0.6, (0.45, 0.34, 0.17), 0.8))
    for low, high, colour, soft in sheets:
        fill(canvas, rectangle(plane, (-0.0042, 0.0), (z + low * ring, z + high * ring)), colour, soft_px=soft)


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

    outline = [(0.0022, 0.0), (0.0022, -0.005), (0.0055, -0.008), (0.0075, -0.013), (0.0072, -0.022), (0.0035, -0.040),
               (0.0004, -0.052)]
    for (w0, z0), (w1, z1) in zip(outline[:-1], outline[1:], strict=True):
        fill(canvas, plane.at([x - w0, x + w0, x + w1, x - w1], np.array([z0, z0, z1 - 0.0002, z1 - 0.0002]) + bottom),
             brass, plane=plane)
    spot(canvas, level(scene.bench.bench_z_m), (x, 0.0), (0.016, 0.012), (0.80, 0.79, 0.78),
         soft_px=canvas.camera.width / 260, multiply=True)


def plumb_bob_top_m(scene: Scene) -> float:
    """Height at which the cord meets the bob, m."""
    return scene.bench.bench_z_m + 0.085
