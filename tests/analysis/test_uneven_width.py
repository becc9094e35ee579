"""A container that is not equally wide bends the drain curve as a wrong zero does, but leaves the throws alone."""

from __future__ import annotations

import dataclasses
import math
from functools import cache

import numpy as np
import pytest

from analysis import Column, Conditions, Findings, Series, checked_by_monte_carlo, findings_of
from analysis.coefficients import WIDTH
from tests.analysis.simulated import REALISTIC, simulated_run

G, CV, CD, DROP, HOLE = 9.81, 0.97, 0.62, 0.30, 0.006
AREA = 0.0040
N = 120


def drained(taper: float, *, zero_off_m: float = 0.0, throws: bool = True) -> tuple[Series, Conditions]:
    """Let a container drain whose area at the highest head is that much larger than at the lowest.

    The law dh/dt = -Cd a √(2 g h)/A(h), integrated in small steps of the head; invented errors of 0.1 mm in
    head and 0.5 mm in throw.
    """
    rng = np.random.default_rng(4)
    fine = np.linspace(0.20, 0.05, 20_001)
    area = AREA * (1.0 + taper * (fine - 0.125) / 0.15)
    pace = area / (CD * math.pi * HOLE**2 / 4.0 * np.sqrt(2.0 * G * fine))
    clock = np.concatenate([[0.0], np.cumsum(0.5 * (pace[1:] + pace[:-1]) * -np.diff(fine))])
    time = np.linspace(0.0, clock[-1], N)
    head = np.interp(time, clock, fine)
    # A throw that lands at t left one flight time before.
    left = np.interp(time - math.sqrt(2.0 * DROP / G), clock, fine, left=np.nan)
    left = np.where(np.isnan(left), head, left)
    throw = 2.0 * CV * np.sqrt(left * DROP)
    shared = np.zeros((N, 1))
    shared[:, 0] = 4e-4
    none = np.zeros((N, 1))
    series = Series(
        sources=("orifice, up and down",),
        time_s=time,
        head=Column(head + zero_off_m + 1e-4 * rng.standard_normal(N), np.full(N, 1e-4), shared),
        throw=Column(throw + 5e-4 * rng.standard_normal(N), np.full(N, 5e-4), none) if throws else None,
        drop=Column(np.full(N, DROP), np.zeros(N), none) if throws else None,
        kept=np.ones(N, dtype=bool),
    )
    conditions = Conditions(
        gravity_m_s2=G,
        orifice_diameter_m=HOLE,
        orifice_diameter_u_m=5e-5,
        container_area_m2=AREA,
        container_area_u_m2=2e-5,
        water_temperature_c=20.0,
    )
    return series, conditions


@cache
def findings(taper: float, zero_off_m: float = 0.0, *, throws: bool = True) -> Findings:
    return findings_of(*drained(taper, zero_off_m=zero_off_m, throws=throws))


def told(made: Findings) -> str:
    return " ".join(each.says for each in made.remarks if each.about == "√head in time")


@pytest.mark.parametrize("taper", [-0.4, 0.3, 0.5])
@pytest.mark.parametrize("throws", [True, False])
def test_cd_holds_the_truth_though_the_width_changes(taper: float, throws: bool) -> None:
    made = findings(taper, throws=throws)
    assert made.drain is not None
    assert "head_zero" not in made.drain.names
    cd = made.finding("discharge_coefficient")
    k = made.finding("drain_rate_root_m_per_s")
    assert cd is not None
    assert k is not None
    assert abs(cd.value - CD) < 2.0 * cd.u
    assert cd.budget[0].source == WIDTH
    # The rate goes as 1/A: between the ends it changes by about the taper, k ± taper/2, rectangular.
    assert k.u / k.value == pytest.approx(abs(taper) / 2.0 / math.sqrt(3.0), rel=0.25)
    assert "is not equally wide" in told(made)
    assert ("the throws put it" in told(made)) == throws


def test_g_by_the_clock_and_the_time_to_empty_carry_it_too() -> None:
    made = findings(0.3)
    g, empty, k = (
        made.finding(name) for name in ("gravity_from_clock", "time_to_empty_s", "drain_rate_root_m_per_s")
    )
    assert g is not None
    assert empty is not None
    assert k is not None
    of = {each.source: each.u for each in k.budget}[WIDTH] / k.value
    assert {each.source: each.u for each in g.budget}[WIDTH] == pytest.approx(2.0 * of * g.value, rel=1e-6)
    assert {each.source: each.u for each in empty.budget}[WIDTH] == pytest.approx(of * empty.value, rel=1e-6)
    assert g.interval_95[0] < G < g.interval_95[1]


def test_the_trials_hold_such_a_run_too() -> None:
    series, conditions = drained(0.5)
    made = findings(0.5)
    after = checked_by_monte_carlo(made, series, lambda moved: findings_of(moved, conditions)).findings
    for name in ("discharge_coefficient", "drain_rate_root_m_per_s", "gravity_from_clock"):
        before, now = made.finding(name), after.finding(name)
        assert before is not None
        assert now is not None
        wide, wider = (each.interval_95[1] - each.interval_95[0] for each in (before, now))
        assert wider == pytest.approx(wide, rel=0.25)


def test_a_zero_that_both_laws_want_is_a_zero() -> None:
    made = findings(0.0, 0.005)
    assert made.drain is not None
    assert "head_zero" in made.drain.names
    cd = made.finding("discharge_coefficient")
    assert cd is not None
    assert cd.value == pytest.approx(CD, rel=0.02)
    assert WIDTH not in {each.source for each in cd.budget}
    assert "is not equally wide" not in told(made)


def test_without_throws_a_zero_within_the_hole_may_be_one_and_a_farther_one_is_none() -> None:
    near, far = findings(0.0, 0.005, throws=False), findings(0.0, 0.03, throws=False)
    assert near.drain is not None
    assert far.drain is not None
    assert "head_zero" in near.drain.names
    assert "head_zero" not in far.drain.names


def test_a_sound_run_is_left_alone() -> None:
    made = findings(0.0)
    assert made.drain is not None
    assert made.drain.names == ("root_h0", "k")
    assert told(made) == ""


def test_a_profile_that_is_given_takes_the_doubt_away() -> None:
    from analysis import AreaProfile

    series, conditions = drained(0.3)
    heads = np.linspace(0.0, 0.21, 22)
    areas = AREA * (1.0 + 0.3 * (heads - 0.125) / 0.15)
    profile = AreaProfile.of_areas(list(heads), list(areas))
    made = findings_of(series, dataclasses.replace(conditions, profile=profile, profile_relative_u=0.005))
    cd = made.finding("discharge_coefficient")
    assert cd is not None
    assert cd.value == pytest.approx(CD, abs=2.0 * cd.u)
    assert cd.u < 0.03 * CD
    assert told(made) == ""


def test_what_surface_tension_takes_from_throws_and_flow_unlike_is_no_change_of_width() -> None:
    # 3.5 σ/(ρ g dj) in the throws, 2 in the flow: the two zeros part by some millimetres.
    chosen = next(each for each in REALISTIC if each.name == "capillary head")
    for seed in range(6):
        run = simulated_run(np.random.default_rng([seed, 7]), chosen)
        drain = findings_of(run.series, run.conditions).drain
        assert drain is not None
        assert "bend" not in drain.names
