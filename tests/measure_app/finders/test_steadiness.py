"""What the still background tells of the camera: shift and turn, and that exposure is neither."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration import FloatArray, Pixel, Segment
from measure_app.finders.steadiness import COLUMN, ROW, Drift, drift_of, with_shared_drift
from measure_app.strips import Strip, StripLine

WIDTH, HEIGHT = 640, 400


def room(right: FloatArray, down: FloatArray) -> FloatArray:
    """Light of a room of soft-edged panels at places of the reference frame."""
    across = np.zeros(np.broadcast(right, down).shape)
    for k, x in enumerate(range(30, WIDTH, 41)):
        across = across + (0.08 if k % 2 else -0.08) * np.tanh((right - x) / 1.5)
    level = np.zeros_like(across)
    for k, y in enumerate(range(25, HEIGHT, 37)):
        level = level + (0.07 if k % 2 else -0.07) * np.tanh((down - y) / 1.5)
    return np.asarray(0.4 + across + level)


def film(
    shift: NDArray[np.float64], turn: NDArray[np.float64], gain: NDArray[np.float64], seed: int = 0
) -> list[Strip]:
    """Strips of three rows and three columns of frames moved so: `shift` (n, 2) px, `turn` (n,) about the middle."""
    rng = np.random.default_rng(seed)
    lines = [
        StripLine(f"{ROW} {i}", Segment(Pixel(2.0, y), Pixel(WIDTH - 3.0, y)), 1.0)
        for i, y in enumerate((60.0, 200.0, 350.0))
    ]
    lines += [
        StripLine(f"{COLUMN} {i}", Segment(Pixel(x, 2.0), Pixel(x, HEIGHT - 3.0)), 1.0)
        for i, x in enumerate((50.0, 320.0, 600.0))
    ]
    strips = []
    for line in lines:
        at = line.segment.at(line.along_px)
        dx, dy = at[:, 0] - WIDTH / 2, at[:, 1] - HEIGHT / 2
        # What is seen at a place comes from where it was before the motion.
        right = at[:, 0] - shift[:, :1] + turn[:, None] * dy
        down = at[:, 1] - shift[:, 1:] - turn[:, None] * dx
        levels = 16 + 219 * gain[:, None] * room(right, down) + rng.normal(0, 0.8, right.shape)
        strips.append(Strip(line, np.arange(len(shift)), np.clip(np.rint(levels), 0, 255).astype(np.uint8)))
    return strips


def test_exposure_that_drifts_is_not_a_camera_that_moves() -> None:
    n = 80
    gain = 1.0 + 0.25 * np.sin(np.arange(n) / 11.0)
    assert not drift_of(film(np.zeros((n, 2)), np.zeros(n), gain), ()).moved


def test_shift_and_turn_are_told_apart_whatever_the_exposure() -> None:
    n = 60
    t = np.linspace(0.0, 1.0, n)
    shift = np.stack([1.5 * t, -4.0 * t], axis=1)
    turn = 0.004 * t
    drift = drift_of(film(shift, turn, 1.0 - 0.2 * t), ())
    assert drift.moved
    assert not drift.lost.any()
    for x, y in ((100.0, 100.0), (500.0, 300.0)):
        at = np.array([x, y])
        right = drift.along(np.array([1.0, 0.0]), at)
        down = drift.along(np.array([0.0, 1.0]), at)
        assert right == pytest.approx(shift[:, 0] - turn * (y - HEIGHT / 2), abs=0.12)
        assert down == pytest.approx(shift[:, 1] + turn * (x - WIDTH / 2), abs=0.12)
    # Half the picture's width away the turn alone is worth more than a pixel.
    far = drift.along(np.array([0.0, 1.0]), np.array([620.0, 200.0]))
    assert np.abs(far - drift.down_px)[-1] > 0.8


def test_what_all_corrections_have_in_common_is_shared() -> None:
    n = 20
    u = np.full(n, 0.3)
    u[5] = 0.5
    drift = Drift(np.ones(n), np.ones(n), u, np.zeros(n, dtype=bool))
    own, shared, why = with_shared_drift(np.full(n, 0.1), 0.05, (None,) * n, drift)
    # Each line is unsure by 0.3 px or 0.5 px; three in a direction make the correction.
    assert shared == pytest.approx(np.sqrt(0.05**2 + 0.3**2 / 3))
    assert own[0] == pytest.approx(0.1)
    assert own[5] == pytest.approx(np.sqrt(0.1**2 + (0.5**2 - 0.3**2) / 3))
    assert why == (None,) * n


def test_a_turn_made_of_one_line_that_shows_something_else_is_not_believed() -> None:
    n = 40
    none, ones = np.zeros(n), np.ones(n)
    shift = np.stack([none, np.linspace(0.0, -2.0, n)], axis=1)
    strips = film(shift, none, ones)
    assert not drift_of(strips, ()).lost.any()
    # What the first column crosses moves by another 5 px from frame 20 on.
    other = film(shift + np.stack([none, np.where(np.arange(n) < 20, 0.0, 5.0)], axis=1), none, ones)
    drift = drift_of([*strips[:3], other[3], *strips[4:]], ())
    assert drift.lost[20:].all()
    assert not drift.lost[:20].any()
