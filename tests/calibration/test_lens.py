"""The lens against OpenCV, which uses the same radial model."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration import Lens
from calibration.facing import bent, rotation_to_plane, slopes
from calibration.lens import distort, optical_centre, straighten

CENTRE = np.array([639.5, 359.5])
GRID = np.stack(np.meshgrid(np.linspace(0, 1279, 9), np.linspace(0, 719, 7)), axis=-1).reshape(-1, 2)


@pytest.mark.parametrize(("k1", "k2"), [(-0.02, 0.0), (0.05, -0.01), (-0.12, 0.03)])
def test_straightening_agrees_with_opencv(k1, k2):
    focal = 1368.0
    K = np.array([[focal, 0, CENTRE[0]], [0, focal, CENTRE[1]], [0, 0, 1]])
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 200, 1e-12)
    # OpenCV 4 takes the criteria in a function of their own.
    by_opencv = getattr(cv2, "undistortPointsIter", cv2.undistortPoints)
    told = (GRID[:, None], K, np.array([k1, k2, 0, 0]))
    more = (None, K) if by_opencv is not cv2.undistortPoints else (None, None, K)
    reference = by_opencv(*told, *more, criteria)[:, 0]
    assert straighten(GRID, Lens(k1, k2, focal), CENTRE) == pytest.approx(reference, abs=1e-6)


def test_distorting_agrees_with_opencv():
    focal, k = 1100.0, (-0.08, 0.02)
    K = np.array([[focal, 0, CENTRE[0]], [0, focal, CENTRE[1]], [0, 0, 1]])
    rays = np.column_stack([(GRID - CENTRE) / focal, np.ones(len(GRID))])
    reference = cv2.projectPoints(rays[:, None], np.zeros(3), np.zeros(3), K, np.array([*k, 0, 0]))[0][:, 0]
    assert distort(GRID, Lens(*k, focal), CENTRE) == pytest.approx(reference, abs=1e-9)


@settings(max_examples=60)
@given(k1=st.floats(-0.15, 0.2), k2=st.floats(-0.02, 0.05), focal=st.floats(900, 3000))
def test_distort_undoes_straighten(k1, k2, focal):
    lens = Lens(k1, k2, focal)
    there = straighten(GRID, lens, CENTRE)
    seen = np.all(np.isfinite(there), axis=1)
    assert seen.sum() > 50
    assert distort(there[seen], lens, CENTRE) == pytest.approx(GRID[seen], abs=1e-6)


def test_a_position_beyond_the_fold_has_no_ray():
    lens = Lens(-0.4, 0.0, 600.0)  # r (1 - 0.4 r^2) never exceeds 0.609
    far = CENTRE + np.array([[0.62 * 600, 0.0], [0.60 * 600, 0.0]])
    straight = straighten(far, lens, CENTRE)
    assert np.all(np.isnan(straight[0]))
    assert np.all(np.isfinite(straight[1]))


def test_a_picture_that_runs_out_again_past_the_fold_is_no_second_ray():
    # r (1 - 0.4 r² + 0.05 r⁴) grows to 0.6504 at r² = 1.0734 (1 - 1.2 r² + 0.25 r⁴ = 0), falls, and grows again.
    lens, fold = Lens(-0.4, 0.05, 600.0), np.sqrt((1.2 - np.sqrt(0.44)) / 0.5)
    furthest = fold * (1 - 0.4 * fold**2 + 0.05 * fold**4)
    seen = np.array([0.3, furthest - 1e-4, furthest + 1e-4, 0.7, 1.0, 2.0, 3.0])
    straight = straighten(CENTRE + 600.0 * np.column_stack([seen, np.zeros(7)]), lens, CENTRE)
    assert np.isfinite(straight[:, 0]).tolist() == [True, True, False, False, False, False, False]
    assert straight[1, 0] == pytest.approx(CENTRE[0] + 600.0 * fold, abs=600 * 0.03)
    # Terms that both push outward, or of which the last outdoes the first everywhere, have no fold.
    for k1, k2 in ((0.05, 0.0), (0.1, 0.02), (-0.1, 0.1)):
        far = CENTRE + 600.0 * np.array([[2.0, 0.0]])
        again = distort(straighten(far, Lens(k1, k2, 600.0), CENTRE), Lens(k1, k2, 600.0), CENTRE)
        assert again == pytest.approx(far, abs=1e-6)
    # Each alone pulls inward in the end: r (1 - 0.1 r⁴) grows to r⁴ = 2, r (1 + 0.1 r² - 0.05 r⁴) to r² = 2.6904.
    for lens, fold2 in ((Lens(0.0, -0.1, 600.0), np.sqrt(2.0)), (Lens(0.1, -0.05, 600.0), 2.6904)):
        end = np.sqrt(fold2) * (1 + lens.k1 * fold2 + lens.k2 * fold2**2)
        both = straighten(CENTRE + 600.0 * np.array([[end - 1e-3, 0.0], [end + 1e-3, 0.0]]), lens, CENTRE)
        assert np.isfinite(both[:, 0]).tolist() == [True, False]


def test_without_a_lens_nothing_moves_and_the_centre_is_the_image_centre():
    assert straighten(GRID, None, CENTRE) is GRID
    assert optical_centre(None, (1280, 720)).tolist() == [639.5, 359.5]


@pytest.mark.parametrize("bend", [-0.06, 0.0, 0.05])
def test_a_bend_is_put_back_as_it_was_taken_out(bend):
    straight = CENTRE + 1100.0 * slopes(GRID, CENTRE, 1100.0, np.zeros((1, 2)), np.array([bend]))[0]
    assert bent(straight, CENTRE, 1100.0, bend) == pytest.approx(GRID, abs=1e-9)
    # To first order the bend is the k1 of the radial model.
    near = CENTRE + (GRID - CENTRE) / 10
    apart = straighten(near, Lens(bend, 0.0, 1100.0), CENTRE) - near
    bend_apart = CENTRE + 1100.0 * slopes(near, CENTRE, 1100.0, np.zeros((1, 2)), np.array([bend]))[0] - near
    assert bend_apart == pytest.approx(apart, abs=1e-4)


@settings(max_examples=60)
@given(a=st.floats(-1.5, 1.5), b=st.floats(-1.5, 1.5), bend=st.floats(-0.05, 0.05), seed=st.integers(0, 999))
def test_turning_to_the_plane_and_bending_have_their_inverses(a, b, bend, seed):
    R = rotation_to_plane(np.array([[a, b]]))[0]
    np.testing.assert_allclose(R @ R.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(R) == pytest.approx(1.0)
    # The foot of the perpendicular is where the axis goes, and a camera that faces the plane is not turned.
    assert R @ (np.array([a, b, 1.0]) / np.sqrt(1 + a * a + b * b)) == pytest.approx(
        [0.0, 0.0, 1.0], abs=1e-12
    )
    assert rotation_to_plane(np.zeros((1, 2)))[0] == pytest.approx(np.eye(3))
    seen = CENTRE + np.random.default_rng(seed).uniform(-600.0, 600.0, (8, 2))
    tangents = np.array([[a / 5, b / 5]])
    rho = slopes(seen, CENTRE, 1100.0, tangents, np.array([bend]))[0]
    # Back: a ray of these slopes, turned the other way, put on the picture and bent.
    rays = np.column_stack([rho, np.ones(8)]) @ rotation_to_plane(tangents)[0]
    straight = CENTRE + 1100.0 * rays[:, :2] / rays[:, 2:]
    assert bent(straight, CENTRE, 1100.0, bend) == pytest.approx(seen, abs=1e-6)
