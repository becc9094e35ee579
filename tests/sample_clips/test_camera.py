"""The camera against OpenCV's, and against itself."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sample_clips.camera import Camera, Plane, level, upright

ANGLES = st.floats(-20, 20)


@given(
    azimuth=ANGLES,
    elevation=ANGLES,
    roll=st.floats(-90, 90),
    k1=st.floats(-0.1, 0.1),
    k2=st.floats(-0.02, 0.02),
    seed=st.integers(0, 2**32 - 1),
)
def test_pixels_are_opencv_s_to_a_millionth(
    azimuth: float, elevation: float, roll: float, k1: float, k2: float, seed: int
) -> None:
    camera = Camera(1280, 720, 1500.0, (0.2, -1.2, 0.25), azimuth, elevation, roll, k1, k2)
    points = np.random.default_rng(seed).uniform((-0.4, -0.1, -0.1), (0.6, 0.5, 0.6), (30, 3))
    theirs, _ = cv2.projectPoints(
        points,
        cv2.Rodrigues(camera.rotation)[0],
        camera.translation,
        camera.matrix,
        np.array([k1, k2, 0.0, 0.0, 0.0]),
    )
    np.testing.assert_allclose(camera.project(points), theirs[:, 0], rtol=0, atol=1e-6)


@given(k1=st.floats(-0.12, 0.1), k2=st.floats(-0.01, 0.02), x=st.floats(0, 1279), y=st.floats(0, 719))
def test_straightening_undoes_the_lens(k1: float, k2: float, x: float, y: float) -> None:
    camera = Camera(1280, 720, 1300.0, (0.0, -1.0, 0.0), k1=k1, k2=k2)
    np.testing.assert_allclose(camera.distort(camera.straighten([x, y])), [x, y], rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    "plane",
    [upright(0.03), level(-0.05), Plane((0.1, 0.0, 0.2), (0.6, 0.8, 0.0), (0.0, 0.0, 1.0))],
    ids=["upright", "level", "aslant"],
)
def test_a_sheet_s_homography_is_the_projection(plane: Plane) -> None:
    camera = Camera(1280, 720, 1300.0, (0.2, -1.1, 0.3), 3.0, -2.0, 5.0)
    u, v = np.meshgrid([0.0, 0.1, 0.3], [-0.05, 0.2])
    seen = np.stack([u, v, np.ones_like(u)], axis=-1) @ camera.sheet_matrix(plane).T
    np.testing.assert_allclose(
        seen[..., :2] / seen[..., 2:], camera.project_straight(plane.at(u, v)), atol=1e-9
    )


def test_right_is_right_and_up_is_up() -> None:
    camera = Camera(1280, 720, 1000.0, (0.0, -1.0, 0.0))
    x, y = camera.project([0.1, 0.0, 0.05])
    assert (x, y) == pytest.approx((639.5 + 100, 359.5 - 50))
    turned = Camera(1280, 720, 1000.0, (0.0, -1.0, 0.0), azimuth_deg=2.0, elevation_deg=1.0, roll_deg=3.0)
    x, y = turned.project([0.0, 0.0, 0.0])
    assert x < 639.5  # turned to the right, so straight ahead moves left
    assert y > 359.5  # looking up, so straight ahead moves down
    low, high = turned.project([[0.0, 0.0, -0.1], [0.0, 0.0, 0.1]])
    assert high[0] < low[0]  # rolled clockwise, so the upright leans to the left
