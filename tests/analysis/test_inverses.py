"""Formulas that have an inverse: there and back is where it began, for any bench that there can be.

Heads and their roots, containers' clocks, lenses and points of a frame have such tests beside their own.
"""

from __future__ import annotations

import math
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import Column, Conditions, Fall, Falling, Falls, Plan, Series, findings_of
from analysis.bivariate import line_with_errors_in_both
from analysis.distributions import root_of
from analysis.estimate import Estimate, covariance, propagated
from analysis.pairing import flight_time
from analysis.plan_forecast import drain_time
from analysis.shifts import level_drop
from analysis.suspect_trials import _inverse_root

few = settings(max_examples=40, deadline=None)
G = 9.80665


@few
@given(
    speed=st.floats(0.3, 6.0),
    degrees=st.floats(-60.0, 60.0),
    time=st.floats(0.05, 2.0),
    g=st.floats(1.6, 25.0),
)
def test_the_flight_of_any_jet_is_told_by_where_it_lands(
    speed: float, degrees: float, time: float, g: float
) -> None:
    # Free flight: x = v t cos θ, y = g t²/2 - v t sin θ, counted down.
    angle = math.radians(degrees)
    throw = np.array([speed * time * math.cos(angle)])
    drop = np.array([g * time**2 / 2.0 - speed * time * math.sin(angle)])
    level = level_drop(drop, throw, angle)
    assert flight_time(level, g, angle_rad=angle) == pytest.approx([time], rel=1e-9)
    assert throw / flight_time(level, g) == pytest.approx([speed], rel=1e-9)
    # A level jet is its own.
    assert level_drop(drop, throw, 0.0) == pytest.approx(drop)


@few
@given(
    head=st.floats(0.05, 2.0), part=st.floats(0.0, 1.0), cd=st.floats(0.5, 1.0), hole=st.floats(0.002, 0.02),
    bore=st.floats(0.05, 1.0),
)  # fmt: skip
def test_the_head_after_the_time_of_a_drain_is_the_head_it_was_asked_for(
    head: float, part: float, cd: float, hole: float, bore: float
) -> None:
    # dh/dt = -Cd a √(2gh)/A, so that √h falls evenly (Torricelli's law).
    plan = Plan(math.pi * bore**2 / 4.0, bore, head, hole, 0.4)
    to = part * head
    rate = cd * (hole / bore) ** 2 * math.sqrt(G / 2.0)
    left = math.sqrt(head) - rate * drain_time(plan, cd, to)
    assert left**2 == pytest.approx(to, abs=1e-9 * head)


@few
@given(
    slope=st.floats(0.1, 10.0),
    intercept=st.floats(-2.0, 2.0),
    seed=st.integers(0, 1000),
    n=st.integers(3, 15),
)
def test_axes_exchanged_give_the_line_turned_round(slope: float, intercept: float, seed: int, n: int) -> None:
    # Errors in both variables know no dependent one: x = (y - a)/b (York, Can. J. Phys. 44 (1966) 1079).
    dice = np.random.default_rng(seed)
    x = np.sort(dice.uniform(0.5, 3.0, n)) + np.linspace(0.0, 3.0, n)
    u_x, u_y = dice.uniform(0.005, 0.02, n), slope * dice.uniform(0.005, 0.02, n)
    y = intercept + slope * x + u_y * dice.normal(size=n)
    x = x + u_x * dice.normal(size=n)
    one, other = line_with_errors_in_both(x, y, u_x, u_y), line_with_errors_in_both(y, x, u_y, u_x)
    assert other.slope == pytest.approx(1.0 / one.slope, rel=1e-6)
    assert other.intercept == pytest.approx(-one.intercept / one.slope, rel=1e-6, abs=1e-6)
    assert one.chi_squared_per_dof == pytest.approx(other.chi_squared_per_dof, rel=1e-6)
    # u of 1/b is u of b over b², to the first order that both are told to.
    assert other.slope_u == pytest.approx(one.slope_u / one.slope**2, rel=1e-4)


def covariances(seed: int, size: int, rank: int) -> np.ndarray:
    dice = np.random.default_rng(seed)
    columns = dice.normal(size=(size, rank)) * 10.0 ** dice.uniform(-3.0, 3.0, (size, 1))
    return np.asarray(columns @ columns.T)


@few
@given(seed=st.integers(0, 10_000), size=st.integers(1, 6), lost=st.integers(0, 2))
def test_the_root_of_a_covariance_squared_is_that_covariance(seed: int, size: int, lost: int) -> None:
    told = covariances(seed, size, max(1, size - lost))
    scale = np.sqrt(np.outer(np.diag(told), np.diag(told)))
    root = root_of(told)
    assert (root @ root.T) / told.max() == pytest.approx(told / told.max(), abs=1e-12)
    if not lost:
        whitened = _inverse_root(told)
        assert whitened is not None
        made_one = whitened @ told @ whitened.T
        lean = np.linalg.cond(told / scale)
        assert made_one == pytest.approx(np.eye(size), abs=1e-11 * max(lean, 1.0) + 1e-9)


shares = st.floats(-2.0, 2.0)


@few
@given(value=st.floats(0.5, 5.0), own=st.lists(shares, min_size=2, max_size=2), one=shares, other=shares)
def test_a_quantity_taken_to_its_inverse_and_back_has_its_old_uncertainty(
    value: float, own: list[float], one: float, other: float
) -> None:
    there = Estimate(value, 0.01 * np.array([own]), MappingProxyType({"a": 0.01 * one, "b": 0.01 * other}))
    turned = propagated(1.0 / value, [(there, -1.0 / value**2)])
    back = propagated(1.0 / turned.value, [(turned, -1.0 / turned.value**2)])
    assert (back.value, back.u) == pytest.approx((there.value, there.u))
    assert dict(back.shared) == pytest.approx(dict(there.shared))
    # A quantity and its inverse go against one another wholly: correlation -1.
    assert covariance(there, turned) == pytest.approx(-there.u * turned.u)
    # Taken from itself, nothing is left, nor any doubt of it.
    nothing = propagated(0.0, [(there, 1.0), (back, -1.0)])
    assert nothing.u == pytest.approx(0.0, abs=1e-15)


@few
@given(u=st.floats(1e-6, 0.3), value=st.floats(0.1, 10.0))
def test_an_interval_in_the_logarithm_is_as_far_up_as_down(u: float, value: float) -> None:
    low, high = Estimate(value, np.array([[u * value]]), MappingProxyType({})).log_interval_95
    assert math.sqrt(low * high) == pytest.approx(value)
    assert math.log(high / value) == pytest.approx(1.959964 * u, rel=1e-6)


@few
@given(
    g=st.floats(1.6, 25.0), across=st.floats(0.3, 3.0), down=st.floats(-1.0, 1.0), rate=st.sampled_from([60, 120, 240]),
    n=st.integers(8, 20),
)  # fmt: skip
def test_any_flight_without_air_gives_back_its_g(
    g: float, across: float, down: float, rate: int, n: int
) -> None:
    t = np.arange(1, n + 1) / rate
    own, none = np.full(n, 1e-4), np.zeros((n, 1))
    fall = Fall(
        "any", Falling.JET_DROP, t, np.full(n, 1.0 / rate), none,
        Column(down * t + g * t**2 / 2.0, own, none), Column(across * t, own, none),
    )  # fmt: skip
    series = Series((), None, None, None, None, np.zeros(0, dtype=bool))
    angle = math.degrees(math.atan2(-down, across))
    falls = Falls(("s",), (fall,), launch_angle_deg=angle, launch_angle_u_deg=0.1)
    found = findings_of(series, Conditions(), falls)
    parabola, track = (found.finding(f"gravity_from_{name}") for name in ("parabola", "track"))
    assert track is not None
    assert track.value == pytest.approx(g, rel=1e-6)
    assert parabola is not None
    assert parabola.value == pytest.approx(g, rel=1e-6)
