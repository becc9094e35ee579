"""Forecasts against closed forms, against the reference bench, and against runs that are really drawn."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import (
    Edge,
    Forecast,
    Instruments,
    Limits,
    Plan,
    findings_of,
    forecast_of,
    proposal_of,
    water_at,
)
from analysis.plan_forecast import drain_time, sight_of, simulated

BORE, G = 0.100, 9.80665


def bench(**changes) -> Plan:
    """A clear cylinder of 100 mm bore with a 4 mm hole, 250 mm of water, 400 mm above the tray."""
    values = {
        "container_area_m2": math.pi * BORE**2 / 4.0,
        "container_depth_m": BORE,
        "head_m": 0.250,
        "hole_diameter_m": 0.004,
        "drop_m": 0.400,
    }
    return Plan(**(values | changes))


def says(forecast: Forecast) -> dict[str, str]:
    return {remark.about: remark.says for remark in forecast.advice}


# --- closed forms ------------------------------------------------------------------------------------------


def test_reference_bench_has_its_sizes() -> None:
    """
    Sizes of the bench at h = 200 mm, Cv = 0.97, Cc = 0.62, water at 20 °C; derived, by hand.

    v = Cv √(2gh) = 1.92 m/s; x = 2 Cv √(h y₀) = 549 mm; T = √(2 y₀/g) = 0.286 s; jet d √Cc = 3.15 mm;
    a/A = 0.0016; Re = 7900 and We = 215 with the free speed √(2gh) and the hole's diameter;
    250 to 30 mm in t = 2A(√H - √h)/(Cd a √(2g)) = 151 s for Cd = 0.61.
    """
    plan = bench(cv=0.97, cd=0.62 * 0.97, head_m=0.2)
    at = forecast_of(plan).moments[0]
    assert at.speed_m_s == pytest.approx(1.92, abs=0.005)
    assert at.throw_m == pytest.approx(0.549, abs=0.0005)
    assert at.throw_m / at.speed_m_s == pytest.approx(0.286, abs=0.0005)
    assert forecast_of(plan).jet_diameter_m == pytest.approx(3.15e-3, abs=5e-6)
    water = water_at(20.0)
    assert math.sqrt(2 * G * 0.2) * 0.004 * water.density / water.viscosity == pytest.approx(7900, rel=0.005)
    assert water.density * 2 * G * 0.2 * 0.004 / water.surface_tension == pytest.approx(215, rel=0.005)
    assert at.reynolds == pytest.approx(1.92 * 0.00315 / 1.0034e-6, rel=0.002)
    assert at.weber == pytest.approx(998.2 * 1.92**2 * 0.00315 / 0.07274, rel=0.003)
    assert plan.hole_area_m2 / plan.container_area_m2 == pytest.approx(0.0016)
    assert drain_time(bench(), 0.61, 0.030) == pytest.approx(151.2, abs=0.1)
    assert forecast_of(bench()).law_limit_m == pytest.approx(0.015)  # 60 mm²/d beats 2 d


@given(
    cv=st.floats(0.8, 1.0),
    head=st.floats(0.05, 1.0),
    drop=st.floats(0.05, 2.0),
    d=st.floats(0.002, 0.012),
)
@settings(max_examples=12, deadline=None)
def test_throws_and_times_are_the_closed_forms(cv, head, drop, d) -> None:
    plan = bench(cv=cv, cd=0.62 * cv, head_m=head, drop_m=drop, hole_diameter_m=d)
    forecast = forecast_of(plan)
    r = 0.62 * plan.hole_area_m2 / plan.container_area_m2
    for at in forecast.moments:
        assert at.throw_m == pytest.approx(
            2.0 * cv * math.sqrt(at.head_m * drop) / math.sqrt(1.0 - r**2), rel=1e-9
        )
    heads = [at.head_m for at in forecast.moments]
    assert heads == sorted(heads, reverse=True)
    # Unwin, s. 53: the whole time of emptying is twice the time at the constant starting head.
    volume, flow = (
        plan.container_area_m2 * head,
        0.62 * cv * plan.hole_area_m2 * math.sqrt(2.0 * G * head),
    )
    assert forecast.empty_time_s == pytest.approx(2.0 * volume / flow, rel=1e-9)


def test_a_drain_integrated_step_by_step_takes_the_forecast_time() -> None:
    plan, cd = bench(), 0.65
    head, dt, t = plan.head_m, 1e-3, 0.0
    while head > 0.050:
        half = head - 0.5 * dt * cd * plan.hole_area_m2 * math.sqrt(2 * G * head) / plan.container_area_m2
        head -= dt * cd * plan.hole_area_m2 * math.sqrt(2 * G * half) / plan.container_area_m2
        t += dt
    assert drain_time(plan, cd, 0.050) == pytest.approx(t, abs=0.01)


def test_timing_a_fall_by_frames_has_the_known_sizes() -> None:
    """
    Both ends to one frame over 0.2857 s, with 2 mm in 400 mm of drop: √2·frame/√12, twice that over T.

    Derived; 9.7, 4.8, 2.4 and 1.3 % at 30, 60, 120 and 240 frames per second, the first with its curvature.
    """
    for rate, size in ((30.0, 0.0955), (60.0, 0.048), (120.0, 0.0243), (240.0, 0.0130)):
        forecast = forecast_of(bench(frame_rate_hz=rate, instruments=Instruments(drop_u_m=2e-3)))
        route = next(each for each in forecast.gravity if each.name.startswith("time of a drop"))
        assert route.relative_u == pytest.approx(size, rel=0.01)


def test_path_of_a_drop_against_drawn_falls() -> None:
    """Parabolas fitted by numpy to drawn falls, 2 mm a mark; the scale's own part taken away."""
    exact = Instruments(mark_u_px=0.0, rule_u_m=0.0, rule_depth_u_m=0.0)
    forecast = forecast_of(bench(frame_rate_hz=60.0, instruments=exact))
    route = next(each for each in forecast.gravity if each.name.startswith("path"))
    rng = np.random.default_rng(3)
    t = np.linspace(0.0, math.sqrt(2 * 0.4 / G), 18)
    got = [2.0 * np.polyfit(t, G * t**2 / 2 + 2e-3 * rng.standard_normal(18), 2)[0] / G for _ in range(2000)]
    assert float(np.std(got)) == pytest.approx(route.relative_u, rel=0.06)


# --- the engine's own uncertainty --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "plan",
    [bench(), bench(hole_diameter_m=0.008, drop_m=0.25, readings=12, field_width_m=3.0)],
    ids=["reference", "few readings in a coarse picture"],
)
def test_uncertainty_of_cv_is_that_of_drawn_runs(plan) -> None:
    """Runs with errors drawn as stated scatter about the true Cv by what the forecast says."""
    forecast = forecast_of(plan, surface_tension=False)
    rng = np.random.default_rng(11)
    found = []
    for _ in range(30):
        series = simulated(plan, forecast.cv, forecast.cd, forecast.independent, rng=rng)
        finding = findings_of(series, plan.conditions).finding("speed_coefficient")
        assert finding is not None
        found.append((finding.value, finding.u))
    values, stated = np.array(found).T
    assert forecast.cv_u == pytest.approx(float(np.mean(stated)), rel=0.1)
    # 30 runs: the standard deviation itself is known to 13 %.
    assert float(np.std(values)) == pytest.approx(forecast.cv_u, rel=0.4)
    assert float(np.mean(values)) == pytest.approx(forecast.cv, abs=4 * forecast.cv_u / math.sqrt(30))


def test_budget_adds_up_and_the_largest_source_stands_first() -> None:
    forecast = forecast_of(bench(instruments=Instruments(drop_u_m=0.02)))
    assert forecast.budget[0].source == "drop"
    assert forecast.cv_u == pytest.approx(math.hypot(*(share.u for share in forecast.budget)), rel=1e-6)
    # Cv goes as the inverse root of the drop.
    assert forecast.budget[0].u == pytest.approx(forecast.cv * 0.02 / 0.8, rel=0.02)


def test_more_frames_never_shrink_what_is_shared() -> None:
    slow, fast = (forecast_of(bench(frame_rate_hz=rate), surface_tension=False) for rate in (1.0, 240.0))
    shared = [sum(s.u**2 for s in f.budget if s.shared) for f in (slow, fast)]
    # Not the very same: better readings let the fit weigh its sources a little otherwise.
    assert shared[1] > 0.9 * shared[0]
    assert fast.frames > 100 * slow.frames
    assert "next to no better" in says(fast)["readings"]


def test_few_readings_are_told_that_more_would_help() -> None:
    words = says(forecast_of(bench(readings=4, instruments=Instruments(sway_u_m=4e-3))))
    assert "off the uncertainty" in words["readings"]


def test_borrowed_g_cannot_be_forecast_as_news() -> None:
    names = " ".join(route.name for route in forecast_of(bench()).gravity)
    assert "slope" not in names
    assert "clock" in names


# --- picture and tray --------------------------------------------------------------------------------------


def test_field_of_a_lens() -> None:
    """A 43.27 mm lens on 36 × 24 mm film sees as wide along its diagonal as it is far away."""
    plan = bench(focal_equivalent_mm=math.hypot(36, 24), image_width_px=3600, image_height_px=2400)
    sight = sight_of(plan)
    assert math.hypot(sight.field_width_m, sight.field_height_m) == pytest.approx(1.5)
    assert sight.metres_per_px == pytest.approx(sight.field_width_m / 3600)
    assert sight_of(replace(plan, field_width_m=0.8)).px_per_mm == pytest.approx(4.5)


def test_without_a_lens_all_just_fits() -> None:
    for shape in ((1920, 1080), (1080, 1920), (640, 480)):
        sight = sight_of(bench(image_width_px=shape[0], image_height_px=shape[1]))
        assert sight.fits
        assert sight.field_width_m * sight.field_height_m < 1.4 * max(
            sight.needed_width_m**2 * shape[1] / shape[0], sight.needed_height_m**2 * shape[0] / shape[1]
        )


def test_a_short_tray_is_named_with_the_head_at_which_it_catches_the_jet() -> None:
    forecast = forecast_of(bench(tray_length_m=0.4, cv=0.97))
    assert forecast.head_on_tray_m is not None
    assert 2 * 0.97 * math.sqrt(forecast.head_on_tray_m * 0.4) == pytest.approx(0.4, rel=1e-4)
    assert "tray" in says(forecast)
    assert not forecast.moments[0].on_tray
    assert forecast.moments[-1].on_tray
    assert "tray" not in says(forecast_of(bench(tray_length_m=forecast.least_tray_m + 1e-6)))


# --- advice ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "about", "words"),
    [
        ({"wall_thickness_m": 0.005}, "wall", "countersunk"),
        ({"wall_thickness_m": 0.010}, "wall", "short tube"),
        ({"head_m": 0.04}, "heads", "surface tension"),
        ({"head_m": 0.05, "hole_diameter_m": 0.012}, "heads", "smaller hole"),
        ({"hole_diameter_m": 0.02}, "container", "calmer"),
        ({"hole_diameter_m": 0.02}, "time", "over in"),
        ({"hole_diameter_m": 0.0012}, "time", "long for a lesson"),
        ({"field_width_m": 0.5}, "picture", "move the camera back"),
        ({"field_width_m": 4.0}, "picture", "zoom in"),
        ({"image_width_px": 320, "image_height_px": 180}, "picture", "pixel covers"),
        ({"camera_distance_m": 0.5}, "camera", "near one"),
        ({}, "surface tension", "offset of the zero"),
        # 0.97 √(250/400) · 0.01745 = 1.34 %, derived.
        ({}, "jet", "1.3 %"),
    ],
)
def test_advice(changes, about, words) -> None:
    advice = [r.says for r in forecast_of(bench(**changes)).advice if r.about == about]
    assert any(words in each for each in advice), advice


def test_a_sound_plan_is_not_nagged_about_wall_tray_or_picture() -> None:
    assert (
        not {"wall", "heads", "container", "tray", "time"}
        & says(forecast_of(bench(tray_length_m=0.7))).keys()
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"head_m": 0.0}, "head: must be"),
        ({"drop_m": -1.0}, "drop: must be"),
        ({"drop_m": math.nan}, "drop: must be"),
        ({"hole_diameter_m": 0.09}, "quarter of the container"),
        ({"head_m": 0.003}, "above the hole's diameter"),
        ({"frame_rate_hz": math.inf}, "frame rate"),
        ({"instruments": Instruments(drop_u_m=-1.0)}, "drop u"),
        ({"instruments": Instruments(rule_length_m=0.0)}, "rule length"),
    ],
)
def test_impossible_plans_are_refused(changes, words) -> None:
    with pytest.raises(ValueError, match=words):
        bench(**changes)


@given(
    area=st.floats(1e-4, 1.0),
    head=st.floats(0.005, 3.0),
    d=st.floats(5e-4, 0.02),
    drop=st.floats(0.01, 5.0),
    wall=st.floats(0.0, 0.05),
    edge=st.sampled_from([Edge.SHARP, Edge.ROUNDED, Edge.RE_ENTRANT]),
    rate=st.floats(1.0, 1000.0),
)
@settings(max_examples=12, deadline=None)
def test_any_plan_gets_a_whole_forecast(area, head, d, drop, wall, edge, rate) -> None:
    try:
        plan = Plan(area, math.sqrt(area), head, d, drop, wall, edge, frame_rate_hz=rate)
    except ValueError:
        return
    forecast = forecast_of(plan)
    numbers = [at.throw_m for at in forecast.moments] + [forecast.drain_time_s, forecast.empty_time_s]
    assert all(math.isfinite(number) and number > 0.0 for number in numbers)
    assert forecast.cv_u is None or forecast.cv_u > 0.0
    assert forecast.drain_time_range_s[0] <= forecast.drain_time_s <= forecast.drain_time_range_s[1]
    assert all(remark.says for remark in forecast.advice)


# --- proposal ----------------------------------------------------------------------------------------------


def test_proposal_is_the_best_of_its_limits_and_keeps_to_them() -> None:
    plan = bench(tray_length_m=0.7, wall_thickness_m=0.002)
    limits = Limits((0.003, 0.008), (0.2, 0.6))
    proposal = proposal_of(plan, limits)
    assert proposal is not None
    assert proposal.best is not None
    best = proposal.best.plan
    assert limits.hole_m[0] <= best.hole_diameter_m <= limits.hole_m[1]
    assert limits.drop_m[0] <= best.drop_m <= limits.drop_m[1]
    assert proposal.best.least_tray_m <= 0.7
    assert limits.time_s[0] <= proposal.best.drain_time_s <= limits.time_s[1]
    assert proposal.score == pytest.approx(proposal.best.cv_u, rel=0.05)
    assert sum(n for _, n in proposal.refused) < proposal.tried
    for hole, drop in ((0.005, 0.25), (0.006, 0.45), (0.005, 0.40)):
        other = forecast_of(replace(plan, hole_diameter_m=hole, drop_m=drop))
        if other.least_tray_m <= 0.7:
            assert other.cv_u is not None
            assert proposal.score <= other.cv_u * 1.0001


def test_where_nothing_will_do_the_reasons_are_told() -> None:
    proposal = proposal_of(bench(tray_length_m=0.1), Limits((0.004, 0.006), (0.3, 0.5)))
    assert proposal is not None
    assert proposal.best is None
    assert proposal.refused[0][0] == "the jet would miss the tray"
    assert proposal.refused[0][1] == proposal.tried
    assert proposal.gain is None


def test_a_search_can_be_stopped_and_limits_must_be_ranges() -> None:
    assert proposal_of(bench(), Limits((0.003, 0.008), (0.2, 0.6)), stop_requested=lambda: True) is None
    for bad in ((0.006, 0.003), (0.0, 0.01), (math.nan, 1.0)):
        with pytest.raises(ValueError, match="the smaller first"):
            Limits(bad, (0.2, 0.6))


# --- sizes of single sources -------------------------------------------------------------------------------


def test_scale_of_a_rule_errs_as_a_line_through_its_marks() -> None:
    rng = np.random.default_rng(5)
    for n, length in ((2, 0.3), (5, 0.3), (9, 0.24)):
        plan = bench(instruments=Instruments(rule_marks=n, rule_length_m=length))
        at = np.linspace(0.0, length, n)
        slopes = [np.polyfit(at, at + 1e-3 * rng.standard_normal(n), 1)[0] for _ in range(3000)]
        assert 1e-3 * plan.scale_gain == pytest.approx(float(np.std(slopes)), rel=0.06)


def test_each_source_weighs_what_the_law_says() -> None:
    """Cv = x/(2 √(y₀ h)): a throw's relative error counts whole, that of head and drop by half."""
    forecast = forecast_of(bench(instruments=Instruments(sway_u_m=1e-5)), surface_tension=False)
    plan, cv, s = forecast.plan, forecast.cv, forecast.sight.metres_per_px
    at = plan.instruments
    by_source = {share.source: share.u / cv for share in forecast.budget}
    depth = at.rule_depth_u_m / plan.camera_distance_m
    as_read = plan.scale_gain * at.mark_u_px * s
    for source, size in (
        ("rule along the throw: depth", depth),
        ("upright rule: depth", depth / 2.0),
        ("rule along the throw: scale as read", as_read),
        ("upright rule: scale as read", as_read / 2.0),
        ("rule along the throw: engraved scale", plan.scale_gain * at.rule_u_m),
        ("landing line: height as drawn", at.line_u_px * s / (2.0 * plan.drop_m)),
        ("drop", at.drop_u_m / (2.0 * plan.drop_m)),
    ):
        assert by_source[source] == pytest.approx(size, rel=0.15), source


def test_the_gain_of_more_readings_is_what_more_readings_give() -> None:
    few, more = (
        forecast_of(bench(readings=n, instruments=Instruments(sway_u_m=5e-3)), surface_tension=False)
        for n in (16, 32)
    )
    assert few.cv_u is not None
    assert more.cv_u is not None
    assert few.more_frames_gain > 0.1
    assert 1.0 - more.cv_u / few.cv_u == pytest.approx(few.more_frames_gain, rel=0.2)


def test_surface_tension_takes_its_head_from_the_throws_alone() -> None:
    plan, lost = bench(), 0.008
    whole, less = (simulated(plan, 0.97, 0.65, 20, lost_m=h) for h in (0.0, lost))
    assert whole.throw is not None
    assert less.throw is not None
    assert whole.head is not None
    assert less.head is not None
    assert np.array_equal(whole.head.values, less.head.values)
    per = (2.0 * 0.97) ** 2 * plan.drop_m
    assert (whole.throw.values**2 - less.throw.values**2) / per == pytest.approx(np.full(20, lost), rel=0.02)
    # 3.5 to 4 σ/(ρ g dj), dj = 0.8 d: 8.1 to 9.3 mm for 4 mm; derived.
    assert forecast_of(plan).capillary_loss_m == pytest.approx((8.13e-3, 9.29e-3), rel=2e-3)


def test_clock_with_the_jets_diameter_goes_with_its_fourth_power() -> None:
    """Derived: g = 2 (k A/(a_jet Cv))²; 0.1 mm of 3.15 mm gives 13 % with the rest."""

    def route(u: float) -> float:
        forecast = forecast_of(bench(cv=0.97, cd=0.62 * 0.97, instruments=Instruments(jet_diameter_u_m=u)))
        return next(each.relative_u for each in forecast.gravity if each.name.endswith("jet's diameter"))

    assert math.sqrt(route(2e-4) ** 2 - route(1e-4) ** 2) == pytest.approx(
        4 * math.sqrt(3) * 1e-4 / 3.15e-3, rel=0.01
    )
    assert route(1e-4) == pytest.approx(0.13, abs=0.006)
    assert route(2e-4) == pytest.approx(0.25, abs=0.01)


def test_near_and_far_edge_of_the_surface_part_by_the_ray_through_water() -> None:
    # 100 mm · (117.5 mm/1500 mm)/1.333 = 5.9 mm, for heads of 250 to 15 mm seen from 1.5 m at their middle.
    assert "5.9 mm" in says(forecast_of(bench()))["camera"]
    assert "2.9 mm" in says(forecast_of(bench(camera_distance_m=3.0)))["camera"]


def test_thin_jets_are_not_proposed() -> None:
    proposal = proposal_of(bench(), Limits((0.002, 0.004), (0.4, 0.4)))
    assert proposal is not None
    assert proposal.best is not None
    assert proposal.best.plan.hole_diameter_m >= 0.0035
    assert any("surface tension" in why for why, _ in proposal.refused)


def test_a_jet_whose_angle_is_not_well_known_leaves_cv_less_sure() -> None:
    level, tilted = (forecast_of(bench(instruments=Instruments(launch_u_deg=u))) for u in (0.0, 0.4))
    assert level.cv_u is not None
    assert tilted.cv_u is not None
    assert tilted.cv_u > 1.05 * level.cv_u
    assert "jet" not in says(forecast_of(bench(head_m=0.1)))
