"""Facts that small faults in formulas would break: each worked by hand or read off a square camera."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration import (
    CalibrationError,
    Camera,
    Gauge,
    Mark,
    Measures,
    Pixel,
    Rule,
    Segment,
    Setup,
    calibrate,
)
from calibration.joint import Priors, fit_together, scale_difference
from calibration.marked import straightened
from calibration.reach import Reach, past
from calibration.rulefit import perspective_words
from calibration.rules import table_of
from measure_app.run import CameraPart, LinePart, OrificePart
from tests.calibration.pinhole import scene
from tests.calibration.test_rules import FLOOR, UPRIGHT, _rule, _square

ONE = np.ones(1)


def test_along_is_measured_from_the_start() -> None:
    segment = Segment(Pixel(10.0, 20.0), Pixel(13.0, 24.0))
    assert segment.along(np.array([[10.0, 20.0], [13.0, 24.0], [9.0, 27.0]])) == pytest.approx(
        [0.0, 5.0, 5.0]
    )


def test_a_place_past_two_rules_is_set_against_the_nearer() -> None:
    # Trusted to 0.3 + 0.1 m and to 1.2 + 0.1 m: 1.5 m is 200 mm past the second, 0.85 m lies nearer below its 1.0 m.
    rules = (Reach("low", 0.0, 0.3, 0.1), Reach("high", 1.0, 1.2, 0.1))
    assert "300 mm past the last graduation of “high”" in past(rules, 1.5)
    assert "150 mm past the last graduation of “high”" in past(rules, 0.85)
    assert "200 mm past the last graduation of “low”" in past(rules, 0.5)
    assert "250 mm past the last graduation of “low”" in past(rules, -0.25)
    assert past(rules, 0.39) == past(rules, -0.09) == past(rules, 0.91) == past(rules, 1.29) == ""


def test_a_plumb_or_a_line_two_pixels_long_is_long_enough() -> None:
    plumb = Segment(Pixel(300.0, 100.0), Pixel(300.0, 102.0))
    assert calibrate(_square([UPRIGHT, FLOOR], plumb=plumb)).gaps == ()
    with pytest.raises(CalibrationError, match="one spot"):
        calibrate(_square([UPRIGHT, FLOOR], plumb=replace(plumb, end=Pixel(300.0, 101.9))))
    gauge = Gauge(Segment(Pixel(380.0, 490.0), Pixel(380.0, 488.0)))
    assert calibrate(replace(_square([UPRIGHT, FLOOR]), gauge_line=gauge)).gaps == ()


@pytest.mark.parametrize(("allowed_deg", "bettered"), [(0.1, False), (0.2, False), (0.5, True), (2.0, True)])
def test_rules_better_the_facing_where_they_know_it_by_a_fifth_better(
    allowed_deg: float, bettered: bool
) -> None:
    stand = scene(1)
    camera = replace(stand.setup.camera, facing_u_deg=allowed_deg)
    facing = calibrate(replace(stand.setup, camera=camera)).facing
    assert (min(facing.u_deg) < 0.8 * allowed_deg) == bettered
    assert ("bettered" in facing.known_by) == bettered


def test_a_rule_without_a_doubt_of_its_depth_has_no_source_for_it() -> None:
    named = [
        any(
            source == "upright: depth"
            for source in calibrate(_square([replace(UPRIGHT, behind_u_m=u), FLOOR])).sources
        )
        for u in (0.0, 0.002)
    ]
    assert named == [False, True]


def test_depth_left_uncorrected_is_the_whole_of_the_correction() -> None:
    # Without a distance the long side of the frame serves for the focal length, 1200 px of 1 mm: 1.2 m. A drop 60 mm
    # behind the plane is farther out by 60/1200 of its way from the point faced, x = 599.5 and y = 449.5.
    calibration = calibrate(_square([UPRIGHT, FLOOR], camera=Camera(facing_u_deg=0.1)))
    places = calibration.places(np.array([[900.0, 700.0]]), ONE, behind_m=0.06)
    assert places.across.values == pytest.approx([0.5], abs=1e-9)
    column = places.across.sources.index("depth of what falls, left uncorrected")
    assert places.across.shared[0, column] == pytest.approx(0.05 * 1e-3 * (900.0 - 599.5), rel=1e-9)
    assert places.down.shared[0, column] == pytest.approx(0.05 * 1e-3 * (700.0 - 449.5), rel=1e-9)


def test_what_a_run_file_leaves_out_is_the_same_for_a_calibration() -> None:
    stated, taken = CameraPart(), Camera()
    assert taken.facing_u_deg == stated.facing_u_deg == 2.0
    assert (taken.distance_m, taken.facing, taken.lens) == (None, None, None)
    ends = (Pixel(0.0, 0.0), Pixel(9.0, 0.0))
    line, gauge = LinePart(*ends), Gauge(Segment(*ends))
    for key in ("behind_m", "behind_u_m", "above_level_m", "above_level_u_m"):
        assert getattr(gauge, key) == getattr(line, key) == 0.0, key
    point, mark = OrificePart(ends[0], 0.5), Mark(ends[0], 0.5)
    assert (mark.behind_m, mark.behind_u_m) == (point.behind_m, point.behind_u_m) == (0.0, 0.0)
    rule = Rule("r", Measures.BOTH, (), 1e-4, 0.5)
    # 0.3 mm + 0.2 mm/m of a class II measure of one metre, Directive 2014/32/EU.
    assert (rule.behind_m, rule.behind_u_m, rule.scale_u) == (0.0, 0.0, 0.5e-3)
    # Both ends of a line drawn by hand are good to half a pixel, of the plumb as of the gauge.
    assert gauge.px_u == Setup((9, 9), mark).plumb_px_u == 0.5


def test_rules_at_other_depths_have_one_scale_in_the_jet_s_plane() -> None:
    stand = scene(2, errors=1e-3, drawn=0.0)
    assert {rule.behind_m for rule in stand.setup.rules} == {0.008, -0.01}
    fits = calibrate(stand.setup).rule_fits
    marks = table_of(stand.setup.rules, ("upright", "shelf"), straightened(stand.setup).graduations)
    assert len(fits) == 2
    priors = Priors(np.zeros(2), 1e-3, 1.0 / (stand.setup.camera.distance_m or 1.0), 1e-5, 0.0)
    focal = stand.setup.camera.lens.focal_px if stand.setup.camera.lens else 0.0
    fit = fit_together(
        marks, straightened(stand.setup).centre, focal, priors, widen=np.ones(2), equal_scales=()
    )
    assert abs(scale_difference(fit, 0, 1)[0]) < 2e-4


def test_graduations_off_a_line_and_a_rule_that_leans_are_told_from_two_pixels_and_two_degrees() -> None:
    def told(bow_px: float, lean_deg: float) -> str:
        y = np.linspace(650.0, 250.0, 5)
        x = 350.0 + np.tan(np.radians(lean_deg)) * (650.0 - y) + bow_px * np.array([1, -1, 0, 1, -1])
        pairs = [((float(a), float(b)), 0.1 * i) for i, (a, b) in enumerate(zip(x, y, strict=True))]
        return " ".join(each.says for each in calibrate(_square([_rule(pairs), FLOOR])).remarks)

    # Off by b, -b, 0, b, -b, of which a slope takes a tenth of the squares: √(3.6 b²/3) = 1.095 b.
    assert "stray 2.1 px" in told(1.93, 0.0)
    assert "stray" not in told(1.6, 0.0)
    assert "2.2°" in told(0.0, 2.2)
    assert "°" not in told(0.0, 1.8)


def test_a_rule_is_square_within_two_standard_uncertainties() -> None:
    assert "square to the camera" in perspective_words(0.019, 0.01)
    assert "looks" in perspective_words(0.021, 0.01)


def test_lines_that_tell_no_lean_say_so_instead_of_square() -> None:
    told = perspective_words(math.tan(math.radians(24.0)), math.radians(15.0))
    assert "square" not in told
    assert "do not tell" in told
    assert "± 15°" in told
    assert "24" not in told
    assert "square" in perspective_words(0.01, math.radians(4.9))
    assert "looks" in perspective_words(math.tan(math.radians(31.0)), math.radians(15.0))


def test_a_rule_for_both_ways_is_trusted_across_itself_for_one_and_a_half_lengths() -> None:
    calibration = calibrate(_square([replace(UPRIGHT, measures=Measures.BOTH)]))
    # It stands 50 mm inward of the throw zero and is 0.4 m long: trusted to 0.55 m, which is x = 950.
    found = calibration.throws(np.array([[940.0, 700.0], [960.0, 700.0]]), np.ones(2))
    assert found.values[0] == pytest.approx(0.54)
    assert "trusted for 600 mm" in found.reasons[1]


def test_half_a_degree_towards_the_lower_values_is_said_as_that() -> None:
    told = perspective_words(math.tan(math.radians(0.5)), 0.001)
    assert told == "the camera looks 0.500° ± 0.057° towards its lower values instead of squarely at it"
    assert "towards its higher values" in perspective_words(-math.tan(math.radians(0.5)), 0.001)


def test_what_a_rule_says_of_the_perspective_along_itself_is_one_source_of_its_own() -> None:
    sources = calibrate(scene(3, rule_foot=-0.2).setup).sources
    rules = {name.partition(": ")[0] for name in sources if ": scale" in name}
    assert len(rules) == 2
    assert {name for name in sources if "perspective as read" in name} == {
        f"{rule}: perspective as read" for rule in rules
    }
