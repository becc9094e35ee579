"""Rules: what is refused, what their scatter and perspective say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration import (
    CalibrationError,
    Camera,
    Gauge,
    Graduation,
    Lens,
    Mark,
    Measures,
    Pixel,
    Rule,
    Segment,
    Setup,
    calibrate,
)
from calibration.lens import distort, optical_centre, straighten
from tests.calibration.pinhole import moved, scene

ONE = np.ones(1)


def _rule(pairs, name="upright", measures=Measures.HEAD, **more):
    marks = tuple(Graduation(Pixel(*px), value) for px, value in pairs)
    return Rule(name, measures, marks, graduation_u_m=1e-4, px_u=0.3, **more)


def _square(rules, **more):
    """Give a camera that faces the plane squarely, 1 mm to the pixel, orifice at (400, 500), landing at y = 700."""
    camera = more.pop("camera", Camera(distance_m=1.2, distance_u_m=0.01, facing_u_deg=0.1))
    return Setup(
        frame_size=(1200, 900),
        orifice=Mark(Pixel(400.0, 500.0), 0.5),
        rules=tuple(rules),
        camera=camera,
        plumb=more.pop("plumb", Segment(Pixel(300.0, 100.0), Pixel(300.0, 800.0))),
        gauge_line=Gauge(Segment(Pixel(380.0, 250.0), Pixel(380.0, 490.0))),
        landing_line=Gauge(Segment(Pixel(420.0, 700.0), Pixel(1100.0, 700.0))),
        **more,
    )


UPRIGHT = _rule([((350, 650), 0.0), ((350, 450), 0.2), ((350, 250), 0.4)])
FLOOR = _rule([((400, 710), 0.0), ((700, 710), 0.3), ((1000, 710), 0.6)], "floor", Measures.THROW)


def test_a_square_camera_measures_by_plain_proportion():
    c = calibrate(_square([UPRIGHT, FLOOR]))
    assert c.heads(np.array([[380.0, 300.0]]), ONE).values == pytest.approx([0.2], abs=1e-9)
    assert c.throws(np.array([[900.0, 700.0]]), ONE).values == pytest.approx([0.5], abs=1e-9)
    assert c.drop().values == pytest.approx([0.2], abs=1e-9)
    assert c.heads(np.array([[380.0, 300.0]]), ONE).own_u == pytest.approx([1e-3], rel=1e-6)
    assert [f.m_per_px for f in c.rule_fits] == pytest.approx([1e-3, 1e-3], rel=1e-9)
    assert c.remarks == ()


def test_depth_carries_a_nearer_water_line_by_the_rule_of_proportion():
    # Water line 30 mm before the plane, 1.2 m away: 1170/1200 of the apparent distance from the point faced squarely,
    # and the orifice, in the plane, stays.
    setup = _square([UPRIGHT, FLOOR])
    setup = replace(setup, gauge_line=replace(setup.gauge_line, behind_m=-0.03))
    middle = (900 - 1) / 2
    seen = 1e-3 * (1.17 / 1.2 * (middle - 300.0) - (middle - 500.0))
    assert calibrate(setup).heads(np.array([[380.0, 300.0]]), ONE).values == pytest.approx([seen], abs=1e-9)


def test_the_facing_that_is_given_is_the_point_that_depth_leaves_alone():
    setup = _square([UPRIGHT, FLOOR])
    camera = Camera(distance_m=1.2, distance_u_m=0.01, facing=Pixel(380.0, 300.0), facing_u_deg=0.001)
    camera = replace(camera, lens=Lens(0.0, 0.0, 1200.0))
    # With the facing off the middle of the image the view is not square, so the plain rule of proportion is off; what
    # lies at the foot itself moves by no depth whatever.
    near = replace(setup, camera=camera, gauge_line=replace(setup.gauge_line, behind_m=-0.2))
    flat = replace(setup, camera=camera)
    px = np.array([[380.0, 300.0]])
    assert calibrate(near).heads(px, ONE).values == pytest.approx(
        calibrate(flat).heads(px, ONE).values, abs=1e-6
    )
    assert calibrate(flat).facing.px == pytest.approx((380.0, 300.0), abs=0.5)


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ([((350, 650), 0.0)], "mark at least two"),
        ([((350, 650), 0.0), ((350, 650.4), 0.1)], "less than a pixel apart"),
        ([((350, 650), 0.1), ((350, 450), 0.1)], "two graduations of 0.1 m"),
        ([((350, 650), 0.0), ((350, 450), 0.3), ((350, 250), 0.2)], "goes back between 0.2 m and 0.3 m"),
        ([((350, 650), 0.0), ((350, float("nan")), 0.3)], "not a finite number"),
        ([((350, 650), 0.0), ((350, 450), float("inf"))], "not a finite number"),
    ],
)
def test_what_cannot_be_a_rule_is_refused_by_key(pairs, says):
    with pytest.raises(CalibrationError, match=says) as caught:
        calibrate(_square([FLOOR, _rule(pairs)]))
    assert caught.value.where == "rules[1].graduations"
    assert "“upright”" in caught.value.words


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"camera": Camera(distance_m=0.0)}, "camera.distance_m"),
        ({"camera": Camera(distance_m=float("nan"))}, "camera.distance_m"),
        ({"camera": Camera(facing_u_deg=60.0)}, "camera.facing_u_deg"),
        ({"plumb": Segment(Pixel(3, 3), Pixel(3, 3))}, "plumb"),
        ({"gauge_line": Gauge(Segment(Pixel(3, 3), Pixel(3, 4)))}, "gauge_line"),
        ({"landing_line": Gauge(Segment(Pixel(3, float("nan")), Pixel(30, 4)))}, "landing_line"),
        ({"orifice": Mark(Pixel(float("inf"), 3), 0.5)}, "orifice"),
        ({"throw_zero": Mark(Pixel(3, 3), -0.5)}, "throw_zero"),
    ],
)
def test_what_cannot_be_marked_is_refused_by_key(change, where):
    with pytest.raises(CalibrationError) as caught:
        calibrate(replace(_square([UPRIGHT, FLOOR]), **change))
    assert caught.value.where == where


def test_a_camera_nearer_than_the_water_is_refused():
    setup = _square([UPRIGHT], camera=Camera(distance_m=0.02))
    setup = replace(setup, gauge_line=replace(setup.gauge_line, behind_m=-0.03))
    with pytest.raises(CalibrationError, match=r"camera\.distance_m: .*check the unit"):
        calibrate(setup)


def test_values_that_fall_along_the_rule_measure_the_same():
    falling = _rule([(g.px, 0.4 - g.value_m) for g in UPRIGHT.graduations])
    a, b = (calibrate(_square([r, FLOOR])) for r in (UPRIGHT, falling))
    px = np.array([[380.0, 300.0]])
    assert a.heads(px, ONE).values == pytest.approx(b.heads(px, ONE).values, abs=1e-9)
    assert a.heads(px, ONE).u == pytest.approx(b.heads(px, ONE).u, rel=1e-3)


def test_a_misread_graduation_is_named_and_widens_the_scale():
    sc = scene(1, drawn=0.3)
    marks = list(sc.setup.rules[0].graduations)
    x, y = marks[4].px
    marks[4] = Graduation(Pixel(x, y - 4.0), marks[4].value_m)
    wrong = replace(sc.setup, rules=(replace(sc.setup.rules[0], graduations=tuple(marks)), sc.setup.rules[1]))
    good, bad = calibrate(sc.setup), calibrate(wrong)
    assert good.remarks == ()
    remark = next(r for r in bad.remarks if r.about == "upright")
    assert f"{marks[4].value_m:g} m, off by" in remark.says
    fit = bad.rule_fits[0]
    assert fit.p_value < 1e-6
    assert np.argmax(np.abs(fit.residuals_px)) == 4
    # Residuals count positive towards growing values, which is up.
    assert fit.residuals_px[4] == pytest.approx(4.0, abs=1.0)
    # By itself, with no other rule to lean on, its scale is less sure by the Birge ratio.
    alone = [calibrate(replace(x, rules=x.rules[:1])) for x in (wrong, sc.setup)]
    column = [
        c.heads(sc.surface_px, np.zeros(3)).shared[0, c.sources.index("upright: scale as read")]
        for c in alone
    ]
    assert abs(column[0]) > 2.0 * abs(column[1])
    assert bad.rule_fits[1].p_value > 0.01


def test_chi_squared_is_what_chance_brings():
    # Expected value of chi-squared over its freedom: 1, give or take sqrt(2 / (freedom * 200)) over 200 scenes.
    ratio = np.array([[f.chi_squared for f in calibrate(scene(s).setup).rule_fits] for s in range(200)])
    freedom = np.array([f.freedom for f in calibrate(scene(0).setup).rule_fits])
    assert np.mean(ratio, axis=0) / freedom == pytest.approx([1.0, 1.0], abs=0.1)
    assert freedom[0] == pytest.approx(9 - 2, abs=0.8)
    assert freedom[1] == pytest.approx(12 - 3, abs=0.8)


def test_two_graduations_tell_no_scatter_and_no_perspective():
    fit = calibrate(scene(0, graduations=(2, 2)).setup).rule_fits[0]
    assert fit.p_value is None
    assert fit.facing_deg is None
    assert fit.perspective == "two graduations show no perspective"


def test_each_rule_says_what_perspective_it_shows():
    sc = scene(3, errors=0.1, facing_u_deg=60.0)
    c = calibrate(sc.setup)
    floor = c.rule_fits[1]
    assert floor.facing_deg == pytest.approx(c.facing.sideways_deg, abs=0.5)
    assert f"{abs(floor.facing_deg):.3f}° ± {floor.facing_u_deg:.3f}°" in floor.perspective
    assert ("higher" if floor.facing_deg < 0 else "lower") in floor.perspective
    square = calibrate(_square([UPRIGHT, FLOOR])).rule_fits[0]
    assert square.perspective.startswith("square to the camera")


def test_rules_that_disagree_in_scale_are_remarked_and_not_blended():
    print_out = replace(
        FLOOR, graduations=tuple(Graduation(g.px, g.value_m * 1.03) for g in FLOOR.graduations)
    )
    c = calibrate(_square([UPRIGHT, print_out]))
    remark = next(r for r in c.remarks if r.about == "scale")
    assert "2.96 %" in remark.says  # ln 1.03
    assert c.heads(np.array([[380.0, 300.0]]), ONE).values == pytest.approx([0.2], abs=1e-5)
    assert c.throws(np.array([[900.0, 700.0]]), ONE).values == pytest.approx([0.5 * 1.03], abs=1e-5)


def test_graduations_off_one_line_are_remarked():
    crooked = _rule([((350, 650), 0.0), ((356, 500), 0.15), ((350, 350), 0.3), ((356, 250), 0.4)])
    c = calibrate(_square([crooked, FLOOR]))
    assert any("from a straight line" in r.says for r in c.remarks)


@pytest.mark.parametrize("k1", [-0.05, 0.05])
def test_a_lens_that_was_not_given_is_found_by_the_graduations(k1):
    sc = _filmed_through(k1)
    c = calibrate(sc.setup)
    heads, throws = c.heads(sc.surface_px, np.zeros(3)), c.throws(sc.landing_px, np.zeros(3))
    assert "lens not given" in c.sources
    for found, true in ((heads, sc.heads), (throws, sc.throws)):
        assert np.all(np.abs(found.values - true) < 1.0 * found.u)
    known = calibrate(
        replace(sc.setup, camera=replace(sc.setup.camera, lens=Lens(0.0, 0.0, c.facing.focal_px)))
    )
    ignored = known.throws(sc.landing_px, np.zeros(3)).values
    assert np.max(np.abs(throws.values - sc.throws)) < np.max(np.abs(ignored - sc.throws))


def test_a_lens_that_bends_much_is_remarked():
    assert any(r.about == "lens" for r in calibrate(_filmed_through(-0.25).setup).remarks)
    assert not any(r.about == "lens" for r in calibrate(_filmed_through(-0.02).setup).remarks)


def _filmed_through(k1):
    """Give a scene of true marks filmed through a lens of some distortion that the set-up does not mention."""
    sc = scene(7, drawn=0.0, rule_foot=-0.2)
    lens, bends = sc.setup.camera.lens, Lens(k1, 0.0, sc.setup.camera.lens.focal_px)
    centre = optical_centre(None, sc.setup.frame_size)

    def through(px):
        return distort(straighten(np.asarray(px, dtype=float), lens, centre), bends, centre)

    setup = moved(sc.setup, lambda p: Pixel(*through([p])[0].tolist()))
    setup = replace(setup, camera=replace(setup.camera, lens=None))
    return replace(sc, setup=setup, surface_px=through(sc.surface_px), landing_px=through(sc.landing_px))


def test_names_that_are_empty_or_repeated_are_told_apart():
    again = replace(FLOOR, measures=Measures.HEAD, name="upright")
    nameless = replace(FLOOR, name=" ")
    c = calibrate(_square([UPRIGHT, again, nameless]))
    assert [f.name for f in c.rule_fits] == ["upright (1)", "upright (2)", "rule 3"]
    assert len(set(c.sources)) == len(c.sources)
