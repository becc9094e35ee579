"""The physics that is drawn: identities, and the truth of the path-traced clip."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import sample_clips
from sample_clips import Stage, random_scene, shipped_scene
from sample_clips.scene import Drain, Timing

BENCH = Path(sample_clips.__file__).parent / "bench" / "bench.truth.json"
SEEDS = st.integers(0, 10_000)


@given(seed=SEEDS)
def test_root_head_falls_on_a_straight_line(seed: int) -> None:
    scene = random_scene(seed)
    times = scene.timing.times_s
    root = np.sqrt(scene.drain.head(times))
    slope = np.diff(root) / np.diff(times)
    np.testing.assert_allclose(slope, -scene.drain.root_rate, rtol=1e-6)


@given(seed=SEEDS)
def test_what_leaves_the_hole_is_what_the_container_loses(seed: int) -> None:
    drain = random_scene(seed).drain
    t, step = 0.7, 1e-4
    sinking = float(drain.head(t - step) - drain.head(t + step)) / (2 * step)
    out = drain.contraction_coefficient * drain.hole_area_m2 * float(drain.speed(t))
    assert drain.bore_area_m2 * sinking == pytest.approx(out, rel=1e-9)
    # Bernoulli between the sinking surface and the jet, losses in Cv: v² = Cv² (2 g h) / (1 − (Cc a/A)²).
    ratio = drain.contraction_coefficient * drain.hole_area_m2 / drain.bore_area_m2
    ideal = 2 * drain.gravity_m_s2 * float(drain.head(t)) / (1 - ratio**2)
    assert float(drain.speed(t)) ** 2 == pytest.approx(drain.speed_coefficient**2 * ideal, rel=1e-12)


@given(seed=SEEDS, share=st.floats(0, 1))
def test_the_throw_was_launched_one_flight_time_earlier(seed: int, share: float) -> None:
    scene = random_scene(seed)
    drain, t = scene.drain, share * float(scene.timing.times_s[-1])
    flight = math.sqrt(2 * drain.drop_m / drain.gravity_m_s2)
    assert float(drain.throw(t)) == pytest.approx(float(drain.speed(t - flight)) * flight, rel=1e-12)


def test_the_path_traced_clip_has_the_same_physics() -> None:
    truth = json.loads(BENCH.read_text(encoding="utf-8"))
    p = truth["physics"]
    drain = Drain(
        p["g"],
        p["Cv"],
        p["Cc"],
        p["orifice_diameter_m"],
        p["container_inner_radius_m"],
        0.003,
        p["h0_m"],
        p["drop_y0_m"],
        p["meniscus_rise_at_wall_m"],
    )
    # Its truth leaves out the surface's own speed, a factor 1 + 1.6e-5 here.
    assert drain.approach == pytest.approx(1.0, abs=2e-5)
    assert drain.root_rate == pytest.approx(p["k_sqrt_m_per_s"], rel=2e-5)
    times = np.array([f["time_s"] for f in truth["frames"]])
    np.testing.assert_allclose(drain.head(times), [f["head_m"] for f in truth["frames"]], atol=4e-6)
    np.testing.assert_allclose(drain.throw(times), [f["throw_m"] for f in truth["frames"]], atol=1e-5)


def test_slow_motion_stretches_the_clock() -> None:
    timing = Timing((0, 1, 2, 8), Fraction(1, 30), 1 / 480, 30.0, 240.0)
    np.testing.assert_allclose(timing.times_s, np.array([0, 1, 2, 8]) / 240)


def test_the_phone_s_clock_is_uneven_and_loses_frames() -> None:
    times = shipped_scene("phone").timing.times_s
    steps = np.diff(times) * 30
    assert np.all(steps > 0.8)
    assert np.sum(steps > 1.8) == 6  # frames lost, once two in a row
    assert np.sum(steps > 2.8) == 1
    assert 0.01 < np.std(steps[steps < 1.5]) < 0.1


def test_a_scene_that_leaves_the_picture_is_refused() -> None:
    scene = random_scene(0)
    with pytest.raises(ValueError, match="leaves the picture"):
        Stage(replace(scene, camera=replace(scene.camera, focal_px=2 * scene.camera.focal_px)))
    long = replace(scene.timing, ticks=tuple(range(10_000)))
    with pytest.raises(ValueError, match="empty before the film ends"):
        Stage(replace(scene, timing=long))


@given(seed=SEEDS, difficulty=st.sampled_from(["clean", "hard"]))
def test_random_scenes_can_be_filmed(seed: int, difficulty: str) -> None:
    scene = random_scene(seed, difficulty)
    assert scene == random_scene(seed, difficulty)
    heads = scene.drain.head(scene.timing.times_s[[0, -1]])
    assert heads[1] > max(
        2 * scene.drain.hole_m, 60e-6 / scene.drain.hole_m
    )  # the law's range, physics of small holes
    assert 100 <= len(scene.timing.ticks) <= 150
    ends = scene.camera.project(
        np.concatenate(
            [
                scene.surface_edge(scene.timing.times_s[[0, -1]]),
                [[float(scene.drain.throw(0.0)), 0.0, 0.0], [0.0, 0.0, scene.drain.drop_m]],
            ]
        )
    )
    assert np.all((ends > 12) & (ends < [1267, 707]))


def test_an_unknown_difficulty_is_refused() -> None:
    with pytest.raises(ValueError, match="one of clean, hard"):
        random_scene(1, "cruel")
