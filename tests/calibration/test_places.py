"""Places of what moves: the same measure as heads and throws, at a depth of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration import Measures, calibrate
from tests.calibration.pinhole import DROP, scene


@pytest.mark.parametrize("seed", range(4))
def test_a_place_on_the_gauge_line_is_the_head_and_one_on_the_landing_line_the_throw(seed):
    stand = scene(seed)
    calibration = calibrate(stand.setup)
    gauge, landing = stand.setup.gauge_line, stand.setup.landing_line
    u = np.full(len(stand.heads), 0.5)
    heads = calibration.heads(stand.surface_px, u)
    down = calibration.places(stand.surface_px, u, behind_m=gauge.behind_m).down
    assert -down.values - gauge.above_level_m == pytest.approx(heads.values, abs=1e-12)
    own = [name not in ("gauge line: depth", "meniscus allowance") for name in heads.sources]
    assert -down.shared[:, : len(heads.sources)][:, own] == pytest.approx(heads.shared[:, own], abs=1e-12)
    across = calibration.places(stand.landing_px, u, behind_m=landing.behind_m).across
    assert across.values == pytest.approx(calibration.throws(stand.landing_px, u).values, abs=1e-12)
    # The landing lies the drop below the orifice.
    fallen = calibration.places(stand.landing_px, u).down.values
    assert fallen == pytest.approx(np.full(len(fallen), DROP), abs=4e-3)


def test_both_coordinates_of_a_mark_count():
    stand = scene(5)
    calibration = calibrate(stand.setup)
    px, u = stand.landing_px[:3], np.full(3, 2.0)
    places = calibration.places(px, u)
    for metres, turn in ((places.down, 1), (places.across, 0)):
        step = np.zeros(2)
        step[turn] = 1.0
        part = 0 if metres is places.across else 1
        moved = [calibration.places(px + way * step, u) for way in (0.5, -0.5)]
        by = np.abs(np.subtract(*[(each.across if part == 0 else each.down).values for each in moved]))
        assert metres.own_u == pytest.approx(2.0 * by, rel=0.02)


def test_depth_is_carried_and_its_error_is_a_source_of_its_own():
    stand = scene(6)
    calibration = calibrate(stand.setup)
    px, u = stand.landing_px, np.full(len(stand.landing_px), 0.5)
    flat = calibration.places(px, u)
    back = calibration.places(px, u, behind_m=0.05, behind_u_m=0.01)
    distance = stand.setup.camera.distance_m
    # Two points at the same depth lie apart by (1 + depth/distance) times as much.
    assert np.ptp(back.across.values) == pytest.approx(
        np.ptp(flat.across.values) * (1 + 0.05 / distance), rel=1e-4
    )
    column = back.across.shared[:, back.across.sources.index("depth of what falls")]
    assert np.ptp(column) == pytest.approx(np.ptp(flat.across.values) * 0.01 / distance, rel=1e-3)
    assert not np.any(flat.across.shared[:, -2:])


@pytest.mark.parametrize("depth", [False, True])
def test_an_unknown_distance_leaves_depth_uncorrected_and_counts_it(depth):
    stand = scene(7, distance=False, depth=depth)
    calibration = calibrate(stand.setup)
    px, u = stand.landing_px, np.full(len(stand.landing_px), 0.5)
    back = calibration.places(px, u, behind_m=0.05)
    assert back.across.values == pytest.approx(calibration.places(px, u).across.values)
    column = np.sum(back.across.shared[:, ["uncorrected" in name for name in back.across.sources]], axis=1)
    assert np.ptp(column) == pytest.approx(np.ptp(back.across.values) * 0.05 / 1.15, rel=0.2)


def test_between_two_rules_a_place_is_trusted_and_far_below_them_it_is_not():
    stand = scene(8)
    setup = stand.setup
    upright = next(rule for rule in setup.rules if rule.measures is Measures.HEAD)
    # A short upright rule above the orifice alone: its own trust ends half its length below it.
    values = np.array([graduation.value_m for graduation in upright.graduations])
    top = [g for g in upright.graduations if g.value_m >= np.sort(values)[-3]]
    short = replace(
        setup, rules=tuple(replace(r, graduations=tuple(top)) if r is upright else r for r in setup.rules)
    )
    calibration = calibrate(short)
    foot = stand.landing_px[:1]
    middle = 0.5 * (np.array([[*setup.orifice.px]]) + foot)
    both = calibration.places(np.concatenate([middle, foot + np.array([[0.0, 400.0]])]), np.ones(2)).down
    assert np.isfinite(both.values[0])
    assert not np.isfinite(both.values[1])
    assert "past the last graduation" in both.reasons[1]
    alone = calibrate(replace(short, rules=tuple(r for r in short.rules if r.measures is not Measures.THROW)))
    refused = alone.places(middle, np.ones(1))
    assert not np.isfinite(refused.down.values[0])
    assert "no rule measures throws" in refused.across.reasons[0]


def test_without_rules_nothing_is_measured():
    stand = scene(9)
    places = calibrate(replace(stand.setup, rules=())).places(
        np.array([[1.0, 2.0]]), np.ones(1), behind_m=0.01
    )
    assert np.isnan(places.down.values[0])
    assert np.isnan(places.across.values[0])
    assert "no rule measures heads" in places.down.reasons[0]


def _with_rules(stand, kinds):
    """Give a scene's set-up with its floor rule, a short upright one above the hole, both, or all as they are."""
    upright = next(rule for rule in stand.setup.rules if rule.measures is Measures.HEAD)
    floor = next(rule for rule in stand.setup.rules if rule.measures is Measures.THROW)
    top = tuple(sorted(upright.graduations, key=lambda each: each.value_m)[-3:])
    short = replace(upright, graduations=top)
    return replace(stand.setup, rules=tuple({"short": short, "floor": floor}[kind] for kind in kinds))


@pytest.mark.parametrize("kinds", [("floor",), ("short", "floor")])
def test_a_floor_rule_reaches_the_drop_and_its_uncertainty_holds(kinds):
    off = []
    for seed in range(40):
        drop = calibrate(_with_rules(scene(seed), kinds)).drop()
        assert drop.reasons == ()
        assert 0.3e-3 < drop.u[0] < 3e-3
        off.append((drop.values[0] - DROP) / drop.u[0])
    # χ² of forty draws: the root of its mean is between 0.72 and 1.29 in 99 of 100 cases.
    assert 0.72 < np.sqrt(np.mean(np.square(off))) < 1.29
    assert max(map(abs, off)) < 3.5


def test_without_a_floor_rule_a_short_upright_one_does_not_reach_the_drop():
    refused = calibrate(_with_rules(scene(2), ("short",))).drop()
    assert np.isnan(refused.values[0])
    assert "the landing line lies" in refused.reasons[0]
    assert "“upright”" in refused.reasons[0]


def test_a_floor_rule_far_below_the_hole_does_not_reach_it():
    stand = scene(2)
    setup = _with_rules(stand, ("floor",))
    (floor,) = setup.rules
    near = tuple(
        sorted(floor.graduations, key=lambda each: each.value_m)[:3]
    )  # 8 cm of it, trusted for 12 cm
    refused = calibrate(replace(setup, rules=(replace(floor, graduations=near),))).drop()
    assert np.isnan(refused.values[0])
    assert "the hole lies" in refused.reasons[0]
    assert "upright beside it" in refused.reasons[0]
