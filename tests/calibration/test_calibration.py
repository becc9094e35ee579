"""What a calibration hands out: shapes, sources, gaps, reach, remarks."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from calibration import Camera, Gauge, Measures, Metres, Pixel, Segment, calibrate
from tests.calibration import bench
from tests.calibration.pinhole import scene
from tests.calibration.test_rules import FLOOR, UPRIGHT, _rule, _square

ONE = np.ones(1)


def test_all_lengths_name_the_same_sources():
    sc = scene(0, rule_foot=-0.2)
    c = calibrate(sc.setup)
    heads, throws, drop = c.heads(sc.surface_px, np.ones(3)), c.throws(sc.landing_px, np.ones(3)), c.drop()
    assert heads.sources == throws.sources == drop.sources == c.sources
    assert len(set(c.sources)) == len(c.sources)
    column = c.sources.index
    assert np.all(throws.shared[:, column("meniscus allowance")] == 0)
    assert np.all(heads.shared[:, column("meniscus allowance")] == pytest.approx(-3e-4))
    assert np.all(np.abs(heads.shared[:, column("orifice, up and down")]) > 3e-4)
    assert np.all(np.abs(heads.shared[:, column("throw zero, sideways")]) == 0)
    assert np.all(np.abs(throws.shared[:, column("throw zero, sideways")]) > 3e-4)
    assert np.all(drop.own_u == 0)
    assert not heads.values.flags.writeable


def test_the_foot_of_the_plumb_stands_in_for_a_throw_zero():
    sc = scene(6, zero=False, drawn=0.0)
    c = calibrate(sc.setup)
    throws = c.throws(sc.landing_px, np.zeros(3))
    assert throws.values == pytest.approx(sc.throws, abs=1e-8)
    assert not any("throw zero" in s for s in c.sources)
    assert np.all(np.abs(throws.shared[:, c.sources.index("orifice, sideways")]) > 3e-4)


@pytest.mark.parametrize(
    ("rules", "missing"),
    [([UPRIGHT], ["throws"]), ([FLOOR], ["heads"]), ([], ["heads", "throws"])],
)
def test_a_missing_rule_is_a_reason_and_a_gap_not_an_exception(rules, missing):
    c = calibrate(_square(rules))
    assert len(c.gaps) == len(missing)
    for word, gap in zip(missing, c.gaps, strict=True):
        assert f"no rule measures {word}" in gap
        assert "rules" in gap
    lengths = {
        "heads": c.heads(np.array([[380.0, 300.0]]), ONE),
        "throws": c.throws(np.array([[900.0, 700.0]]), ONE),
    }
    for word, found in lengths.items():
        assert isinstance(found, Metres)
        assert np.isnan(found.values[0]) == (word in missing)
        assert bool(found.reasons and found.reasons[0]) == (word in missing)
        assert found.sources == c.sources
    # The floor rule lies in the plane of the drop and so has its scale.
    assert np.isnan(c.drop().values[0]) == (len(missing) == 2)
    assert np.all(np.isnan(c.head_points(np.array([0.1])))) == ("heads" in missing)


def test_without_lines_there_is_no_drop_and_no_point_but_still_a_length():
    c = calibrate(replace(_square([UPRIGHT, FLOOR]), gauge_line=None, landing_line=None))
    assert "landing_line" in c.drop().reasons[0]
    assert np.all(np.isnan(c.head_points(np.array([0.1]))))
    assert np.all(np.isnan(c.throw_points(np.array([0.1]))))
    heads = c.heads(np.array([[380.0, 300.0]]), ONE)
    assert heads.values == pytest.approx([0.2], abs=1e-9)
    assert heads.own_u == pytest.approx([1e-3], rel=1e-3)
    assert c.throws(np.array([[900.0, 700.0]]), ONE).own_u == pytest.approx([1e-3], rel=1e-3)


def test_one_rule_serves_both_directions():
    both = replace(UPRIGHT, measures=Measures.BOTH)
    c = calibrate(_square([both]))
    assert c.gaps == ()
    assert c.heads(np.array([[380.0, 300.0]]), ONE).values == pytest.approx([0.2], abs=1e-9)
    assert c.throws(np.array([[900.0, 700.0]]), ONE).values == pytest.approx([0.5], abs=1e-9)


def test_readings_far_past_the_graduations_are_refused_with_how_far():
    c = calibrate(_square([UPRIGHT, FLOOR]))
    # Graduations from y = 650 to 250 px, 0.4 m: trusted for 0.2 m, which is up to y = 50.
    found = c.heads(np.array([[380.0, 60.0], [380.0, 40.0], [np.nan, 3.0], [380.0, 300.0]]), np.ones(4))
    assert found.values[0] == pytest.approx(0.44)
    assert np.isnan(found.values[1])
    assert np.isnan(found.own_u[1])
    assert "210 mm past the last graduation of “upright”" in found.reasons[1]
    assert "read a graduation further out" in found.reasons[1]
    assert found.reasons[2] == "no position was read"
    assert found.reasons[3] == ""
    # Throws: 0 to 0.6 m, trusted for 0.3 m on either side.
    found = c.throws(np.array([[1290.0, 700.0], [1310.0, 700.0], [90.0, 700.0]]), np.ones(3))
    assert np.isnan(found.values).tolist() == [False, True, True]
    assert "“floor”" in found.reasons[1]


def test_shapes_are_checked_and_nothing_is_read_from_nothing():
    c = calibrate(_square([UPRIGHT, FLOOR]))
    assert len(c.heads(np.empty((0, 2)), np.empty(0)).values) == 0
    with pytest.raises(ValueError, match="shape"):
        c.heads(np.zeros((3, 3)), np.zeros(3))
    with pytest.raises(ValueError, match="shape"):
        c.throws(np.zeros((3, 2)), np.zeros(2))


def test_a_level_gauge_line_has_no_inverse():
    level = Gauge(Segment(Pixel(300.0, 300.0), Pixel(500.0, 300.0)))
    c = calibrate(replace(_square([UPRIGHT, FLOOR]), gauge_line=level))
    assert np.all(np.isnan(c.head_points(np.array([0.1, 0.15]))))


def test_an_assumed_vertical_is_said_and_a_leaning_rule_widens_it():
    leaning = _rule([((350, 650), 0.0), ((364, 450), 0.2), ((378, 250), 0.4)])  # 4 degrees
    c = calibrate(_square([leaning, FLOOR], plumb=None))
    says = " ".join(r.says for r in c.remarks)
    assert "no plumb is marked" in says
    assert "4.0°" in says
    throws = c.heads(np.array([[380.0, 300.0]]), ONE)
    # 20 px beside the orifice: 20 mm times 4 degrees.
    assert abs(throws.shared[0, c.sources.index("roll of the camera (no plumb)")]) == pytest.approx(
        1.4e-3, rel=0.02
    )


def test_a_swapped_plumb_is_said():
    c = calibrate(_square([UPRIGHT, FLOOR], plumb=Segment(Pixel(300.0, 800.0), Pixel(300.0, 100.0))))
    assert any("swapped" in r.says for r in c.remarks)


def test_a_camera_that_stands_otherwise_than_stated_is_said():
    sc = scene(3, errors=0.2, facing_u_deg=30.0)
    c = calibrate(replace(sc.setup, camera=replace(sc.setup.camera, facing_u_deg=0.5)))
    assert any("camera.facing_u_deg allows 0.5°" in r.says for r in c.remarks)


@pytest.mark.parametrize(
    ("camera", "says"),
    [
        (Camera(distance_m=120.0, distance_u_m=0.1), "check the distance and its unit"),
        (Camera(distance_m=1.2), "2 % was taken"),
        (Camera(), "Give camera.distance_m"),
        (Camera(), "long side of the frame"),
    ],
)
def test_doubts_about_the_camera_are_said(camera, says):
    c = calibrate(_square([UPRIGHT, FLOOR], camera=camera))
    assert any(says in r.says for r in c.remarks)


def test_a_focal_length_that_contradicts_the_distance_is_said():
    setup = bench.setup()
    c = calibrate(replace(setup, camera=replace(setup.camera, distance_m=1.5)))
    assert any("1.15 m" in r.says and "1.50 m" in r.says for r in c.remarks)


def test_plumb_and_landing_line_count_by_their_ends():
    c = calibrate(_square([UPRIGHT, FLOOR]))
    # Half a pixel at either end of 700 px, the gauge line 20 mm beside the orifice.
    heads = c.heads(np.array([[380.0, 300.0]]), ONE).shared[0, c.sources.index("plumb direction")]
    assert abs(heads) == pytest.approx(0.020 * np.sqrt(2) * 0.5 / 700, rel=1e-3)
    # The landing line begins 20 px beyond the orifice and is 680 px long: its level is run on by 20/680.
    drop = c.drop().shared[0, c.sources.index("landing line: position")]
    assert abs(drop) == pytest.approx(0.5e-3 * np.hypot(1 + 20 / 680, 20 / 680), rel=1e-3)


def test_up_is_against_the_plumb():
    c = calibrate(_square([UPRIGHT, FLOOR]))
    assert c.up() == pytest.approx([0.0, -1.0], abs=1e-9)


def test_two_thousand_readings_are_calibrated_at_once():
    setup = bench.setup()
    px = np.column_stack([np.full(2000, 381.0), np.linspace(60, 250, 2000)])
    calibrate(setup).heads(px, np.ones(2000))
    best = min(_timed(setup, px) for _ in range(5))
    assert best < 0.06  # about 0.009 s on an idle machine; the bound only catches a fall into a Python loop


def _timed(setup, px):
    start = time.process_time()
    calibrate(setup).heads(px, np.ones(len(px)))
    return time.process_time() - start
