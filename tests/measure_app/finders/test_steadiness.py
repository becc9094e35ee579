"""What the still background tells of the camera: shift and turn, and that exposure is neither."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration import FloatArray, Pixel, Segment
from measure_app.finders.line_shifts import shifts_of
from measure_app.finders.steadiness import COLUMN, ROW, Drift, beside_of, drift_of, with_shared_drift
from measure_app.finders.track import Why
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
    shift: NDArray[np.float64],
    turn: NDArray[np.float64],
    gain: NDArray[np.float64],
    focal: float = WIDTH,
) -> list[Strip]:
    """Strips of three rows and three columns of frames of a camera that pans, tilts and rolls.

    `shift` (n, 2) px is what that moves in the picture's middle, `turn` (n,) the roll; of small angles (the
    pinhole's motion field, e.g. Longuet-Higgins and Prazdny, Proc. R. Soc. B 208, 385 (1980); from memory).
    """
    rng = np.random.default_rng(0)
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
        x, y = dx / focal, dy / focal
        right = at[:, 0] - shift[:, :1] * (1 + x**2) - shift[:, 1:] * x * y + turn[:, None] * dy
        down = at[:, 1] - shift[:, 1:] * (1 + y**2) - shift[:, :1] * x * y - turn[:, None] * dx
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
        dx, dy = x - WIDTH / 2, y - HEIGHT / 2
        cross = dx * dy / WIDTH**2
        true_right = shift[:, 0] * (1 + dx**2 / WIDTH**2) + shift[:, 1] * cross - turn * dy
        true_down = shift[:, 1] * (1 + dy**2 / WIDTH**2) + shift[:, 0] * cross + turn * dx
        assert right == pytest.approx(true_right, abs=0.12)
        assert down == pytest.approx(true_down, abs=0.12)
    # Half the picture's width away the turn alone is worth more than a pixel.
    far = drift.along(np.array([0.0, 1.0]), np.array([620.0, 200.0]))
    assert np.abs(far - drift.down_px)[-1] > 0.8


@pytest.mark.parametrize("focal", [0.75 * WIDTH, 1.5 * WIDTH])
def test_a_focal_length_that_is_not_known_is_in_how_sure_the_motion_is(focal: float) -> None:
    n = 30
    t = np.linspace(0.0, 1.0, n)
    shift = np.stack([6.0 * t, -5.0 * t], axis=1)
    drift = drift_of(film(shift, 0.0 * t, np.ones(n), focal), ())
    for x, y in ((100.0, 100.0), (320.0, 200.0), (560.0, 330.0)):
        at = np.array([x, y])
        u, v = (x - WIDTH / 2) / focal, (y - HEIGHT / 2) / focal
        true = np.stack(
            [shift[:, 0] * (1 + u**2) + shift[:, 1] * u * v, shift[:, 1] * (1 + v**2) + shift[:, 0] * u * v]
        )
        for axis, direction in enumerate(np.eye(2)):
            off = drift.along(direction, at) - true[axis]
            assert (np.abs(off) < 2.5 * drift.u_along(direction, at)).all()
            assert drift.u_along(direction, at).max() < 0.75


DOWN, THERE = np.array([0.0, 1.0]), np.array([300.0, 200.0])


def test_what_all_corrections_have_in_common_is_shared() -> None:
    n = 20
    u = np.full(n, 0.3)
    u[5] = 0.5
    drift = Drift(np.ones(n), np.ones(n), u, np.zeros(n, dtype=bool))
    own, shared, why = with_shared_drift(np.full(n, 0.1), 0.05, (None,) * n, drift, DOWN, THERE)
    assert shared == pytest.approx(np.hypot(0.05, 0.3))
    assert own[0] == pytest.approx(0.1)
    assert own[5] == pytest.approx(np.sqrt(0.1**2 + 0.5**2 - 0.3**2))
    assert why == (None,) * n


def test_a_correction_is_as_unsure_as_its_turn_makes_it_there_and_refused_where_hardly_known() -> None:
    n = 6
    ones, none = np.ones(n), np.zeros(n)
    covariance = np.zeros((n, 3, 3))
    covariance[:, 0, 0], covariance[:, 1, 1] = 0.04, 0.01
    covariance[:, 2, 2] = 1e-6
    covariance[:, 1, 2] = covariance[:, 2, 1] = 5e-5
    covariance[3, 1, 1] = 1.0
    drift = Drift(ones, ones, np.full(n, 0.2), none > 0, none, (100.0, 200.0), covariance)
    # 200 px right of the pivot: var(down) + 2 × 200 × cov(down, turn) + 200² × var(turn).
    there = drift.u_along(DOWN, THERE)
    assert there[0] == pytest.approx(np.sqrt(0.01 + 400 * 5e-5 + 4e4 * 1e-6))
    assert drift.u_along(np.array([1.0, 0.0]), THERE)[0] == pytest.approx(0.2)
    _, shared, why = with_shared_drift(np.full(n, 0.1), 0.0, (None,) * n, drift, DOWN, THERE)
    assert [each is Why.CAMERA for each in why] == [False, False, False, True, False, False]
    assert shared == pytest.approx(there[0])


def other_from(shift: FloatArray, row: int, extra_px: float, column: int = 0) -> list[Strip]:
    """Strips of a camera moved so, of which one column shows something that moves otherwise from a row on."""
    n = len(shift)
    none, ones = np.zeros(n), np.ones(n)
    extra = np.stack([none, np.where(np.arange(n) < row, 0.0, extra_px)], axis=1)
    strips = film(shift, none, ones)
    strips[3 + column] = film(shift + extra, none, ones)[3 + column]
    return strips


@pytest.mark.parametrize("column", [0, 1, 2])
@pytest.mark.parametrize("extra_px", [1.5, 5.0, -14.0])
def test_one_line_that_shows_something_else_is_left_out(column: int, extra_px: float) -> None:
    n = 30
    shift = np.stack([np.zeros(n), np.linspace(0.0, -2.0, n)], axis=1)
    drift = drift_of(other_from(shift, 15, extra_px, column), ())
    assert not drift.lost.any()
    at = np.array([450.0, 200.0])
    off = drift.along(np.array([0.0, 1.0]), at) - shift[:, 1]
    u = drift.u_along(np.array([0.0, 1.0]), at)
    assert np.abs(off).max() < 0.15
    assert (np.abs(off) < 3.0 * u).all()
    assert u.max() < 0.6


def test_two_columns_that_part_leave_open_which_of_them_is_right() -> None:
    n = 30
    shift = np.stack([np.zeros(n), np.linspace(0.0, -2.0, n)], axis=1)
    strips = other_from(shift, 15, 4.0, 0)
    # One row tells no turn: the columns' parting may be one.
    drift = drift_of([strips[1], strips[3], strips[5]], ())
    off = np.abs(drift.along(np.array([0.0, 1.0]), np.array([320.0, 200.0])) - shift[:, 1])
    u = drift.u_along(np.array([0.0, 1.0]), np.array([320.0, 200.0]))
    bad = (drift.lost | (u > 0.75))[15:]
    assert bad.all() or (off[15:][~bad] < 3.0 * u[15:][~bad]).all()
    assert not drift.lost[:15].any()


def test_a_leaning_edge_moves_along_a_line_that_it_crosses_and_is_known_by_the_lines_beside() -> None:
    line = StripLine(f"{COLUMN} 1", Segment(Pixel(50.0, 2.0), Pixel(50.0, HEIGHT - 3.0)), 1.0)

    def seen(at: StripLine, moved_px: float) -> FloatArray:
        points = at.segment.at(at.along_px)
        # Every edge falls by one in five to the right.
        y = points[:, 1] - 0.2 * (points[:, 0] - moved_px)
        edges = [(-1) ** k * np.tanh((y - 20 - 45 * k) / 2.0) for k in range(9)]
        return np.asarray(100.0 + 30.0 * np.sum(edges, axis=0))

    moves = np.array([0.0, 2.0, 5.0])
    strip = Strip(line, np.arange(3), np.rint([seen(line, m) for m in moves]).astype(np.uint8))
    beside = [
        Strip(each, np.arange(1), np.rint(seen(each, 0.0))[None].astype(np.uint8)) for each in beside_of(line)
    ]
    got = shifts_of(strip, (), 0, beside)
    assert got.lean == pytest.approx(-0.2, abs=0.03)
    assert got.shift_px == pytest.approx(-0.2 * moves, abs=0.05)


def test_the_halves_of_a_line_tell_how_sure_its_shift_is() -> None:
    n = 40
    strips = film(np.zeros((n, 2)), np.zeros(n), np.ones(n))
    quiet = shifts_of(strips[4], (), 0)
    assert quiet.u_px.max() < 0.1
    # The lower half shows something that moves by 1 px.
    apart = film(
        np.stack([np.zeros(n), np.where(np.arange(n) > 0, 1.0, 0.0)], axis=1), np.zeros(n), np.ones(n)
    )
    levels = strips[4].levels.copy()
    levels[:, HEIGHT // 2 :] = apart[4].levels[:, HEIGHT // 2 :]
    parted = shifts_of(Strip(strips[4].line, strips[4].frames, levels), (), 0)
    assert np.median(parted.u_px) == pytest.approx(0.5 * 1.4826, rel=0.3)


def test_a_search_that_has_not_come_to_an_end_tells_nothing() -> None:
    n = 2
    # One broad rise that moves further at once than is looked for.
    y = np.arange(HEIGHT - 4.0)
    levels = np.stack([100.0 + 60.0 * np.tanh((y - 150.0 - m) / 25.0) for m in (0.0, 45.0)])
    line = StripLine(f"{COLUMN} 1", Segment(Pixel(50.0, 2.0), Pixel(50.0, HEIGHT - 3.0)), 1.0)
    got = shifts_of(Strip(line, np.arange(n), np.rint(levels).astype(np.uint8)), (), 0)
    assert got.fit[0] > 0.9
    assert abs(got.shift_px[1] - 45.0) > 5.0
    assert got.fit[1] == 0.0
