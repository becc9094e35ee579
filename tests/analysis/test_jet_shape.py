"""A traced jet gives its angle and Cv from lengths alone, with true errors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import (
    Column,
    Conditions,
    Series,
    TracedJet,
    accepted_gravity,
    jet_shape_of,
    with_traced_angle,
)
from analysis.jet_estimates import LOST
from analysis.jet_shape import LINES

DROP, CV, G = 0.4, 0.97, 9.80665
SOURCES = ("orifice, up and down", "upright rule: scale as read")


def traced(
    angle_deg: float,
    *,
    cv: float = CV,
    noise: float = 0.0,
    g: float = G,
    low: float = 0.0,
    seed: int = 0,
    held: float = 0.0,
    rate: float = 0.012,
) -> tuple[TracedJet, Series]:
    """Parcels flown from a container whose √h falls evenly, without the head `held` back, m.

    `low` puts the orifice's mark too low, m.
    """
    rng = np.random.default_rng(seed)
    angle = math.radians(angle_deg)
    when, depths = np.linspace(0.3, 9.7, 20), DROP * np.array([0.14, 0.2, 0.3, 0.45, 0.6, 0.75, 0.9, 0.97])
    x = np.empty((20, 8))
    for i, t in enumerate(when):
        for j, y in enumerate(depths):
            way = math.sqrt(2 * y / g)
            for _ in range(30):  # the parcel that passes this depth now left at its own speed
                v = cv * math.sqrt(2 * g * ((0.5 - rate * (t - way)) ** 2 - held))
                up = v * math.sin(angle)
                way = (up + math.sqrt(up**2 + 2 * g * y)) / g
            x[i, j] = v * math.cos(angle) * way
    x += noise * rng.normal(size=x.shape)
    y = np.broadcast_to(depths - low, x.shape)
    points = x.size
    shared_y = np.stack([np.full(points, -0.0005), 0.001 * y.ravel()], axis=1)
    shared_x = np.stack([np.zeros(points), 0.001 * x.ravel()], axis=1)
    own = np.full(points, max(noise, 1e-5))
    clock = np.linspace(0.0, 10.0, 300)
    head = (0.5 - rate * clock) ** 2
    return (
        TracedJet(
            SOURCES, when, Column(x.ravel(), own, shared_x), Column(y.ravel(), own.copy(), shared_y), 0.002
        ),
        Series(
            SOURCES,
            clock,
            Column(head, np.full(300, 1e-4), np.stack([np.full(300, -0.0005), 0.001 * head], axis=1)),
            None,
            None,
            np.ones(300, dtype=bool),
        ),
    )


@settings(max_examples=25, deadline=None)
@given(angle=st.floats(-6.0, 6.0), cv=st.floats(0.8, 1.0))
def test_angle_and_cv_come_back(angle: float, cv: float) -> None:
    jet, series = traced(angle, cv=cv)
    shape = jet_shape_of(jet, series, accepted_gravity(Conditions()))
    assert shape.angle is not None
    assert shape.speed_coefficient is not None
    assert shape.angle.value == pytest.approx(angle, abs=0.05)
    assert shape.speed_coefficient.value == pytest.approx(cv, rel=1e-3)


def test_no_news_of_g_is_used() -> None:
    """On the Moon (1.62 m/s²) the same lengths: only the water's way is timed by g, an effect of second order."""
    jet, series = traced(1.0)
    here, there = (
        jet_shape_of(jet, series, accepted_gravity(Conditions(gravity_m_s2=g))) for g in (9.81, 9.61)
    )
    assert here.angle is not None
    assert there.angle is not None
    assert here.angle.value == pytest.approx(there.angle.value, abs=0.01)
    assert here.speed_coefficient is not None
    assert there.speed_coefficient is not None
    assert here.speed_coefficient.value == pytest.approx(there.speed_coefficient.value, rel=2e-4)


def test_an_orifice_marked_too_low_is_in_the_budget_under_its_name() -> None:
    """Marked 0.5 mm too low, one standard uncertainty: the angle moves by what the budget says of that source."""
    jet, series = traced(0.0)
    sound = jet_shape_of(jet, series, accepted_gravity(Conditions())).angle
    moved = jet_shape_of(*traced(0.0, low=0.0005), accepted_gravity(Conditions())).angle
    assert sound is not None
    assert moved is not None
    share = sound.shared["orifice, up and down"]
    assert abs(share) > 0.05
    assert moved.value - sound.value == pytest.approx(share, rel=0.02)
    # A scale that is off alike in both directions turns nothing.
    assert abs(sound.shared["upright rule: scale as read"]) < 1e-3


def test_own_uncertainty_is_the_scatter() -> None:
    angles = []
    for seed in range(40):
        jet, series = traced(0.5, noise=0.0004, seed=seed)
        angle = jet_shape_of(jet, series, accepted_gravity(Conditions())).angle
        assert angle is not None
        angles.append((angle.value, angle.u_own))
    values, u = np.array(angles).T
    assert np.std(values) == pytest.approx(np.mean(u), rel=0.35)


def test_lines_that_err_alike_in_all_stretches_are_told_by_how_they_lie_beside_the_parabola() -> None:
    """Something behind the jet draws each line along, all through: stretches agree on an angle that is off."""
    rng, told = np.random.default_rng(1), []
    jet, series = traced(0.5, noise=0.0002)
    for _ in range(60):
        drawn = np.tile(rng.normal(0.0, 0.002, 8), 20)
        moved = replace(jet, across=replace(jet.across, values=jet.across.values + drawn))
        angle = jet_shape_of(moved, series, accepted_gravity(Conditions())).angle
        assert angle is not None
        told.append((angle.value, angle.shared[LINES], angle.u_own))
    values, u, u_own = np.array(told).T
    assert np.std(values) > 3.0 * np.mean(u_own)
    assert np.std(values) == pytest.approx(np.sqrt(np.mean(u**2)), rel=0.35)
    sound = jet_shape_of(jet, series, accepted_gravity(Conditions())).angle
    assert sound is not None
    assert abs(sound.shared[LINES]) < 0.1 * np.mean(u)


def test_held_back_head_leaves_the_cv_of_the_run_as_it_is() -> None:
    """Head that surface tension holds back (physics: the same all through) is the line's intercept, not its slope."""
    jet, series = traced(0.0, held=0.004, rate=0.03)
    shape = jet_shape_of(jet, series, accepted_gravity(Conditions()))
    assert shape.by_slope
    assert shape.speed_coefficient is not None
    assert shape.speed_coefficient.value == pytest.approx(CV, rel=1e-3)
    # Each stretch by itself feels it: v² = Cv² 2g (h - h₀).
    assert np.nanmin(shape.cv) == pytest.approx(
        CV * math.sqrt(1 - 0.004 / (0.5 - 0.03 * 9.4) ** 2), abs=0.004
    )
    assert LOST not in shape.speed_coefficient.shared


def test_where_the_heads_span_too_little_surface_tension_is_in_the_uncertainty() -> None:
    jet, series = traced(0.0, rate=0.001)
    shape = jet_shape_of(jet, series, accepted_gravity(Conditions()))
    assert not shape.by_slope
    assert shape.speed_coefficient is not None
    assert shape.speed_coefficient.value == pytest.approx(CV, rel=1e-3)
    # 3.5 σ/(ρ g dj) of a 4 mm jet at 20 °C (σ 72.74 mN/m, ρ 998.2 kg/m³: IAPWS R1-76 and R7-97), of 0.245 m.
    taken = 3.5 * 0.07274 / (998.2 * G * 0.004)
    assert shape.speed_coefficient.shared[LOST] == pytest.approx(-0.5 * taken / 0.245 * CV, rel=0.02)


def test_the_slopes_uncertainty_is_its_scatter_and_its_shares_are_its_moves() -> None:
    told = [
        jet_shape_of(*traced(0.5, noise=0.0004, seed=seed, rate=0.03), accepted_gravity(Conditions()))
        for seed in range(40)
    ]
    cvs = [shape.speed_coefficient for shape in told]
    assert all(shape.by_slope for shape in told)
    values, u = np.array([(cv.value, cv.u_own) for cv in cvs if cv is not None]).T
    assert np.std(values) == pytest.approx(np.mean(u), rel=0.35)
    jet, series = traced(0.0, rate=0.03)
    sound = jet_shape_of(jet, series, accepted_gravity(Conditions())).speed_coefficient
    assert series.head is not None
    head = Column(series.head.values - 0.0005, series.head.own_u, series.head.shared)
    low, _ = traced(0.0, rate=0.03, low=0.0005)
    moved = jet_shape_of(low, replace(series, head=head), accepted_gravity(Conditions())).speed_coefficient
    assert sound is not None
    assert moved is not None
    share = sound.shared["orifice, up and down"]
    assert abs(share) > 0.001
    assert moved.value - sound.value == pytest.approx(share, rel=0.05)


def test_what_is_missing_is_said_and_a_stated_angle_stands() -> None:
    jet, series = traced(1.0)
    gravity = accepted_gravity(Conditions())
    none = jet_shape_of(None, series, gravity, "the reason")
    assert (none.missing, none.missing_cv) == ("the reason", "the reason")
    assert with_traced_angle(Conditions(), none) == Conditions()
    still = Series((), None, None, None, None, np.ones(0, dtype=bool))
    headless = jet_shape_of(jet, still, gravity)
    assert headless.angle is not None
    assert "heads" in headless.missing_cv
    taken = with_traced_angle(Conditions(), headless)
    assert taken.launch_angle_deg == headless.angle.value
    assert taken.launch_angle_u_deg == pytest.approx(headless.angle.u)
    stated = Conditions(launch_angle_deg=0.0, launch_angle_u_deg=0.1)
    assert with_traced_angle(stated, headless) is stated
    lost = Column(np.full(160, np.nan), np.full(160, np.nan), np.zeros((160, 2)))
    unseen = TracedJet(SOURCES, jet.time_s, lost, lost, 0.002)
    assert "followed in 0" in jet_shape_of(unseen, series, gravity).missing


def test_a_trace_that_agrees_with_a_level_jet_leaves_it_level_and_says_how_sure_that_is() -> None:
    """A 0.4° trace whose orifice and centre alone make ± 0.2°: no slope is shifted by it, every u knows of it."""
    jet, series = traced(0.4)
    shape = jet_shape_of(jet, series, accepted_gravity(Conditions()))
    assert shape.angle is not None
    assert abs(shape.angle.value) < 2.0 * shape.angle.u
    taken = with_traced_angle(Conditions(), shape)
    assert taken.launch_angle_deg == 0.0
    assert taken.launch_angle_u_deg == pytest.approx(max(abs(shape.angle.value), shape.angle.u))
    tilted, series = traced(6.0)
    shape = jet_shape_of(tilted, series, accepted_gravity(Conditions()))
    assert shape.angle is not None
    assert with_traced_angle(Conditions(), shape).launch_angle_deg == shape.angle.value
