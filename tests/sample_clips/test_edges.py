"""What is drawn lies where the truth says, found on frames free of noise by another hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

from sample_clips import Scene, Stage
from sample_clips.records import graduations
from tests.sample_clips.scenes import still_water

FloatArray = NDArray[np.float64]
LIMIT_PX = 0.02


@pytest.fixture(scope="module", params=[3, 11, 26])
def staged(request: pytest.FixtureRequest) -> tuple[Scene, Stage]:
    scene = still_water(request.param)
    return scene, Stage(scene)


def luma(picture: NDArray[np.float32]) -> FloatArray:
    return np.asarray(picture @ np.array([0.2126, 0.7152, 0.0722]), dtype=np.float64)


def light(picture: NDArray[np.float32]) -> FloatArray:
    """Green light (h, w) of encoded values (h, w, 3): ITU-R BT.709, item 1.2, solved for L."""
    green = picture[..., 1].astype(np.float64)
    return np.where(green < 0.081, green / 4.5, ((green + 0.099) / 1.099) ** (1 / 0.45))


def step_at(rows: FloatArray, values: FloatArray) -> float:
    """Give the place of a blurred step between two sloping tones, by least squares."""

    def misfit(p: FloatArray) -> FloatArray:
        share = ndtr((rows - p[0]) / abs(p[1]))
        above, below = p[2] + p[4] * (rows - p[0]), p[3] + p[5] * (rows - p[0])
        return np.asarray(above * (1 - share) + below * share - values)

    start = rows[int(np.argmax(np.abs(np.gradient(values))))]
    return float(least_squares(misfit, [start, 0.8, values[0], values[-1], 0.0, 0.0]).x[0])


def line_at(rows: FloatArray, values: FloatArray) -> float:
    """Give the place of a blurred dark line on a sloping tone, by least squares."""

    def misfit(p: FloatArray) -> FloatArray:
        return np.asarray(
            p[2] + p[4] * (rows - p[0]) - p[3] * np.exp(-(((rows - p[0]) / p[1]) ** 2) / 2) - values
        )

    start = [rows[int(np.argmin(values))], 0.8, values[0], values[0] - values.min(), 0.0]
    return float(least_squares(misfit, start).x[0])


def test_the_water_s_edge_lies_where_the_truth_says(staged: tuple[Scene, Stage]) -> None:
    scene, stage = staged
    for time in np.linspace(0, scene.timing.times_s[-1], 7):
        x, y = scene.camera.project(scene.surface_edge(float(time)))
        grey, row = light(stage.frame(float(time))), round(float(y))
        rows = np.arange(row - 6, row + 7)
        left = int(np.floor(x))
        places = [step_at(rows.astype(float), grey[rows, c]) for c in (left, left + 1)]
        found = places[0] + (places[1] - places[0]) * (x - left)
        assert found == pytest.approx(y, abs=LIMIT_PX), f"{scene.name} at {time:.2f} s"


def test_graduations_lie_where_the_truth_says(staged: tuple[Scene, Stage]) -> None:
    scene, stage = staged
    grey = light(stage.frame(0.0))
    _, points = graduations(scene, "upright")
    inward = points - [0.0073, 0.0, 0.0]  # only every tenth graduation reaches so far in
    misses = []
    for x, y in scene.camera.project(inward)[2:-1]:
        rows = np.arange(round(float(y)) - 3, round(float(y)) + 4)
        left = int(np.floor(x))
        dark = grey[rows][:, [left, left + 1]] @ [left + 1 - x, x - left]
        misses.append(line_at(rows.astype(float), dark) - y)
    assert np.max(np.abs(misses)) < LIMIT_PX


def test_the_jet_falls_along_the_path_that_the_physics_says(staged: tuple[Scene, Stage]) -> None:
    scene, stage = staged
    drain, cam = scene.drain, scene.camera
    time = 0.4 * float(scene.timing.times_s[-1])
    grey = np.abs(luma(stage.frame(time)) - luma(stage.without_jet(time)))
    ages = np.linspace(0.45, 0.99, 400) * drain.flight_time_s
    sway = scene.sway.amplitude_m * (ages / drain.flight_time_s) ** 1.5 * scene.sway.at(time - ages)
    x = drain.speed(time - ages) * ages + sway
    path = cam.project(np.stack([x, 0 * x, drain.drop_m - drain.gravity_m_s2 * ages**2 / 2], axis=-1))
    foot = float(cam.project(np.array([x[-1], 0.0, 0.010]))[1])  # stay clear of the wet board's sheen
    misses = []
    for row in range(int(path[0, 1]) + 1, int(foot), 4):
        centre = float(np.interp(row, path[:, 1], path[:, 0]))
        columns = np.arange(round(centre) - 14, round(centre) + 15)
        profile = grey[row, columns]
        seen = columns[profile > 0.25 * profile.max()]
        left, right = (
            _crossing(grey[row], seen[0], -1, 0.25 * profile.max()),
            _crossing(grey[row], seen[-1], 1, 0.25 * profile.max()),
        )
        misses.append((left + right) / 2 - centre)
    assert len(misses) > 20
    assert abs(np.mean(misses)) < 0.10
    assert np.max(np.abs(misses)) < 0.5


def _crossing(profile: FloatArray, last: int, step: int, level: float) -> float:
    """Give where a profile falls through a level, walking outward from the last column above it."""
    inner, outer = profile[last], profile[last + step]
    return float(last + step * (inner - level) / (inner - outer))


def test_an_edge_moves_smoothly_and_not_in_whole_pixels() -> None:
    scene = still_water(3)
    stage = Stage(scene)
    start = 0.3 * float(scene.timing.times_s[-1])
    fractions, misses = [], []
    for time in start + np.linspace(0, 0.25, 9):
        x, y = scene.camera.project(scene.surface_edge(float(time)))
        grey, row = light(stage.frame(float(time))), round(float(y))
        rows = np.arange(row - 6, row + 7)
        fractions.append(float(y) % 1)
        misses.append(step_at(rows.astype(float), grey[rows, round(float(x))]) - y)
    assert np.ptp(fractions) > 0.5
    assert np.ptp(misses) < 0.03
