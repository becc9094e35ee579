"""Drops let go beside the container: where they are drawn, how they fall, and the g that marks on them give."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from msgspec.structs import replace as having
from scipy.integrate import solve_ivp

from calibration import Pixel
from measure_app.clip import ClipInfo, PlaneGeometry
from measure_app.outcome import outcome_of
from measure_app.run import FallMark, FallPart
from measure_app.runfile import decode_run
from sample_clips import Scene, Stage, shipped_scene, with_pipette
from sample_clips.__main__ import main
from sample_clips.let_go import Let
from sample_clips.records import run_record, truth_record
from tests.sample_clips.scenes import small

FloatArray = np.ndarray


@pytest.fixture(scope="module")
def seen() -> tuple[Scene, FloatArray, FloatArray]:
    """Give a scene at half size, frames, and where the first drop's middle is seen in them, px, (n, 2)."""
    scene = with_pipette(small(shipped_scene("slow"), 90))
    stage, times = Stage(scene), scene.timing.times_s
    frames = np.arange(16, 76, 4)
    x, y = scene.camera.project(scene.drops[0].places(times[frames], scene.drain.gravity_m_s2)).T
    left, right = int(x.min()) - 9, int(x.max()) + 10
    top, bottom = int(y.min()) - 9, int(y.max()) + 10
    film = np.stack([stage.frame(float(times[f]))[top:bottom, left:right, 1] for f in frames]).astype(float)
    change = np.abs(film - np.median(film, axis=0))
    change[change < 0.02] = 0.0
    rows, columns = np.mgrid[top:bottom, left:right]
    weight = change.sum(axis=(1, 2))
    middle = [(change * grid).sum(axis=(1, 2)) / weight for grid in (columns, rows)]
    return scene, frames, np.stack(middle, axis=-1)


def test_the_drop_is_drawn_where_the_truth_says(seen: tuple[Scene, FloatArray, FloatArray]) -> None:
    scene, frames, middle = seen
    told = truth_record(scene)["drops"][0]
    truth = dict(zip(told["frames"], told["px"], strict=True))
    expected = np.array([truth[int(frame)] for frame in frames])
    assert np.abs(middle - expected).max() < 0.12
    assert np.abs(np.diff(expected[:, 1])).min() > 1.0


def test_the_fall_is_that_of_an_integrator() -> None:
    drop = Let(0.1, 0.0, 0.0, 0.4, 0.004)
    final2 = 4 / 3 * (998.0 / 1.2) * 9.81 * 0.004 / 0.55
    t = np.linspace(0.0, 0.28, 8)
    way = solve_ivp(
        lambda _, s: [s[1], 9.81 * (1 - s[1] ** 2 / final2)],
        (0, 0.28),
        [0, 0],
        t_eval=t,
        rtol=1e-10,
        atol=1e-13,
    ).y[0]
    assert 0.4 - drop.height(0.1 + t, 9.81) == pytest.approx(way, abs=1e-8)
    assert drop.height([0.0, 0.1], 9.81) == pytest.approx([0.4, 0.4])


def test_marks_on_the_rendered_drop_give_the_true_g(seen: tuple[Scene, FloatArray, FloatArray]) -> None:
    scene, frames, middle = seen
    clicks = middle + np.random.default_rng(4).normal(0, 0.3, middle.shape)
    marks = tuple(FallMark(int(f), Pixel(*px), 0.35) for f, px in zip(frames, clicks.tolist(), strict=True))
    run = decode_run(json.dumps(run_record(scene, "film.mp4", None)).encode())
    run = having(
        run, falls=(FallPart("pipette", "drop", marks),), camera=having(run.camera, rolling_shutter_s=0.0)
    )
    info = ClipInfo(
        Path("film.mp4"), "mp4", "h264", PlaneGeometry(scene.camera.width, scene.camera.height), 90, 8, 3.0,
        Fraction(30), Fraction(30), capture_rate_hz=240.0,
    )  # fmt: skip
    findings = outcome_of(run, scene.timing.times_s, info).findings
    found = findings.finding("gravity_from_parabola")
    assert abs(found.value - scene.drain.gravity_m_s2) < 2.5 * found.u
    assert found.u < 0.03 * found.value
    assert any(share.source.startswith("drag of the air") for share in found.budget)


def test_a_drop_that_leaves_the_picture_is_refused() -> None:
    scene = small(shipped_scene("slow"), 4)
    with pytest.raises(ValueError, match="a drop from the pipette leaves the picture"):
        with_pipette(replace(scene, bench=replace(scene.bench, plumb_x_m=-2.0)))


def test_the_command_does_not_write_drops_over_a_shipped_clip() -> None:
    result = CliRunner().invoke(main, ["render", "slow", "--pipette"])
    assert result.exit_code == 2
    assert "give --out DIR, so that the shipped one stays" in result.output
