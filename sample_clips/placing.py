"""Where things stand: bench, camera, and how the jet wanders."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from sample_clips.camera import Camera
from sample_clips.drain import Drain, Sway
from sample_clips.rules import RULE_WIDTH_M, rule_edge_m
from sample_clips.scene import Bench, FloatArray, Scene

_MARGIN_SHARE = 0.03


def sway_from(rng: np.random.Generator, amplitude_m: float, waves: int = 24) -> Sway:
    """Draw a jet's wander: slow drifts to quick flutter, 0.4 to 14 Hz."""
    frequencies = np.exp(rng.uniform(math.log(0.4), math.log(14.0), waves))
    return Sway(amplitude_m, tuple(frequencies.tolist()), tuple(rng.uniform(0, 2 * math.pi, waves).tolist()))


def camera_for(
    drain: Drain,
    bench: Bench,
    size: tuple[int, int],
    distance_m: float,
    *,
    squeeze: float = 0.94,
    nudge_m: tuple[float, float] = (0.0, 0.0),
    angles_deg: tuple[float, float, float] = (0.0, 0.0, 0.0),
    k1: float = 0.0,
) -> Camera:
    """Place a camera that has the whole experiment in view.

    Parameters
    ----------
    size : width and height, px
    distance_m : from the lens to the jet's plane
    squeeze : share of the picture that the experiment fills
    nudge_m : the lens's offset from the experiment's middle, x and z
    angles_deg : azimuth, elevation and roll
    """
    width, height = size
    left, right = bench.plumb_x_m - 0.02, bench.board_end_m + 0.06
    low, high = bench.bench_z_m - 0.03, drain.drop_m + drain.head0_m + bench.rim_m + 0.01
    focal = squeeze * distance_m * min(width / (right - left), height / (high - low))
    middle_x, middle_z = (left + right) / 2 + nudge_m[0], (low + high) / 2 + nudge_m[1]
    az, el, roll = angles_deg
    # The optical axis meets the jet's plane near the middle of things however the camera is turned.
    centre = (
        middle_x - distance_m * math.tan(math.radians(az)),
        -distance_m,
        middle_z - distance_m * math.tan(math.radians(el)),
    )
    return Camera(width, height, focal, centre, az, el, roll, k1)


def bench_for(rng: np.random.Generator, drain: Drain) -> Bench:
    """Draw where things stand about a container."""
    throw = float(drain.throw(0.0))
    floor = float(rng.uniform(0.022, 0.030))
    return Bench(
        rule_y_m=float(rng.uniform(-0.004, 0.010)),
        rule_zero_z_m=drain.drop_m - floor - float(rng.uniform(0.012, 0.030)),
        rule_length_m=0.30 if drain.head0_m > 0.17 else 0.25,
        tape_y_m=-float(rng.uniform(0.010, 0.018)),
        tape_zero_x_m=float(rng.uniform(-0.02, 0.01)),
        board_end_m=throw + float(rng.uniform(0.05, 0.09)),
        plumb_x_m=-drain.outer_radius_m - drain.widest_m - float(rng.uniform(0.11, 0.16)),
        bench_z_m=-float(rng.uniform(0.045, 0.060)),
        floor_m=floor,
        rim_m=float(rng.uniform(0.035, 0.06)),
        clutter=int(rng.integers(1 << 30)),
    )


def _landmarks(scene: Scene) -> FloatArray:
    """World points (n, 3), m, that have to be in the picture."""
    drain, bench = scene.drain, scene.bench
    rim = drain.drop_m + drain.head0_m + bench.rim_m
    left, top = rule_edge_m(scene) - RULE_WIDTH_M, bench.rule_zero_z_m + bench.rule_length_m
    end = max(bench.board_end_m, float(drain.throw(scene.timing.times_s[0]))) + 0.05
    return np.array(
        [
            (left, bench.rule_y_m, top),
            (left, bench.rule_y_m, bench.rule_zero_z_m),
            (scene.axis_x_m - drain.widest_m, -drain.widest_m, rim),
            (scene.axis_x_m + drain.widest_m, drain.widest_m, rim),
            (bench.plumb_x_m, 0.0, bench.bench_z_m),
            (bench.plumb_x_m, 0.0, drain.drop_m + drain.head0_m),
            (end, -0.075, bench.bench_z_m),
            (end, 0.10, bench.bench_z_m + 0.02),
            (0.0, -0.075, bench.bench_z_m),
        ]
    )


def framed(scene: Scene, camera: Camera) -> Scene:
    """Give the scene with a camera whose focal length has been chosen so that all fits into the picture."""
    points = _landmarks(scene)
    size = np.array([camera.width, camera.height])
    low, high = 0.2, 8.0
    for _ in range(40):
        factor = math.sqrt(low * high)
        trial = replace(camera, focal_px=camera.focal_px * factor)
        px = trial.project(points)
        fits = np.all((px > _MARGIN_SHARE * size) & (px < (1 - _MARGIN_SHARE) * size - 1))
        low, high = (factor, high) if fits else (low, factor)
    return replace(scene, camera=replace(camera, focal_px=camera.focal_px * low))
