"""Containers that are not equally wide: integrals against quadrature, emptying times against worked formulas."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from analysis import AreaProfile, Column, Conditions, Findings, Series, findings_of
from analysis.drain_clock import drain_clock

G = 9.80665
BOTTLE = ([-0.01, 0.0, 0.12, 0.16, 0.18, 0.26], [0.09, 0.092, 0.094, 0.06, 0.03, 0.028])
SHAPES: dict[str, tuple[AreaProfile, Callable[[float], float], tuple[float, float]]] = {
    "areas": (
        AreaProfile.of_areas([0.0, 0.1, 0.25], [0.004, 0.006, 0.005]),
        lambda h: float(np.interp(h, [0.0, 0.1, 0.25], [0.004, 0.006, 0.005])),
        (0.0, 0.25),
    ),
    "frustum": (
        AreaProfile.of_diameters([-0.02, 0.25], [0.06, 0.12]),
        lambda h: math.pi / 4.0 * (0.06 + (h + 0.02) / 0.27 * 0.06) ** 2,
        (0.0, 0.25),
    ),
    "bottle": (
        AreaProfile.of_diameters(*BOTTLE),
        lambda h: math.pi / 4.0 * float(np.interp(h, *BOTTLE)) ** 2,
        (0.0, 0.26),
    ),
    "sphere": (
        AreaProfile.of_sphere(0.1, 0.24),
        lambda h: math.pi * (0.12**2 - (h - 0.1) ** 2),
        (0.0, 0.22),
    ),
}


def by_quadrature(area: Callable[[float], float], low: float, high: float) -> float:
    """∫A/(2√h) dh, taken over √h so that nothing is singular."""
    kinks = [math.sqrt(h) for h in (0.1, 0.12, 0.16, 0.18) if low < h < high]
    found, _ = quad(
        lambda s: area(s * s), math.sqrt(low), math.sqrt(high), points=kinks or None, epsabs=1e-14, limit=200
    )
    return float(found)


@pytest.mark.parametrize("name", SHAPES)
def test_the_clock_is_the_integral(name: str) -> None:
    profile, area, (low, high) = SHAPES[name]
    for a, b in ((low, high), (0.03, 0.2), (0.11, 0.17), (0.05, 0.051)):
        gained = profile.clock(np.array([b])) - profile.clock(np.array([a]))
        assert float(gained[0]) == pytest.approx(by_quadrature(area, a, b), rel=1e-9), (a, b)
    at = np.linspace(low + 1e-6, high - 1e-6, 50)
    assert profile.area(at) == pytest.approx([area(float(h)) for h in at], rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(name=st.sampled_from(sorted(SHAPES)), part=st.floats(0.001, 0.999))
def test_the_head_is_the_clock_turned_round(name: str, part: float) -> None:
    profile, _, (low, high) = SHAPES[name]
    head = np.array([low + part * (high - low)])
    assert float(profile.head(profile.clock(head))[0]) == pytest.approx(float(head[0]), rel=1e-7, abs=1e-9)


def test_a_cylinder_as_a_profile_is_the_plain_law() -> None:
    same = AreaProfile.of_areas([0.05, 0.2], [0.005, 0.005])
    heads = np.array([0.0, 0.01, 0.1, 0.3])  # beyond its ends it goes on as wide
    assert same.clock(heads) == pytest.approx(0.005 * np.sqrt(heads), rel=1e-12)
    assert same.head(0.005 * np.sqrt(heads)) == pytest.approx(heads, rel=1e-10, abs=1e-15)


def test_emptying_times_of_the_textbooks() -> None:
    # Standard results, from memory: a full sphere of radius R empties through its lowest point in
    # 16 π R^2.5/(15 Cd a √g), a full hemisphere in 14 π R^2.5/(15 Cd a √(2g)), a cone on its tip in
    # (2/5) A √H/(Cd a √(2g)). The clock falls at Cd a √(g/2).
    r, h, cd_a = 0.1, 0.2, 1.0e-5
    rate = cd_a * math.sqrt(G / 2.0)
    sphere = AreaProfile.of_sphere(r, 2.0 * r)
    cone = AreaProfile.of_diameters([0.0, h], [0.0, 0.12])
    full, half = (float(sphere.clock(np.array([top]))[0]) / rate for top in (2.0 * r, r))
    tip = float(cone.clock(np.array([h]))[0]) / rate
    assert full == pytest.approx(16.0 * math.pi * r**2.5 / (15.0 * cd_a * math.sqrt(G)), rel=1e-12)
    assert half == pytest.approx(14.0 * math.pi * r**2.5 / (15.0 * cd_a * math.sqrt(2.0 * G)), rel=1e-12)
    area = math.pi * 0.06**2
    assert tip == pytest.approx(0.4 * area * math.sqrt(h) / (cd_a * math.sqrt(2.0 * G)), rel=1e-12)


CD, CV, D, DROP = 0.62, 0.97, 0.004, 0.4


def drained(area: Callable[[float], float], h0: float, h1: float, n: int = 60) -> Series:
    """Drain A(h) dh/dt = -Cd a √(2 g h) by an outside solver; throws fly one flight time before they land."""
    rate = CD * math.pi * D**2 / 4.0 * math.sqrt(2.0 * G)
    solved = solve_ivp(
        lambda _t, h: -rate * np.sqrt(np.maximum(h, 1e-9)) / area(float(h[0])),
        (0.0, 900.0),
        [h0],
        rtol=1e-10,
        atol=1e-12,
        dense_output=True,
        max_step=2.0,
        events=_reaches(h1),
    )
    flight = math.sqrt(2.0 * DROP / G)
    time = np.linspace(flight, float(solved.t_events[0][0]), n)
    head, launched = solved.sol(time)[0], solved.sol(time - flight)[0]
    throw = 2.0 * CV * np.sqrt(DROP * launched)
    none = np.zeros((n, 1))
    return Series(
        sources=("drop",),
        time_s=time,
        head=Column(head, np.full(n, 1e-4), none),
        throw=Column(throw, np.full(n, 2e-4), none),
        drop=Column(np.full(n, DROP), np.zeros(n), np.full((n, 1), 1e-4)),
        kept=np.ones(n, dtype=bool),
    )


def _reaches(head: float) -> Callable[..., float]:
    def crossing(_t: float, h: np.ndarray) -> float:
        return float(h[0]) - head

    crossing.terminal = True  # type: ignore[attr-defined]
    return crossing


def value(findings: Findings, name: str) -> float:
    found = findings.finding(name)
    assert found is not None, name
    return found.value


@pytest.mark.parametrize("name", ["frustum", "sphere", "bottle"])
def test_a_drain_by_an_outside_solver_gives_back_its_coefficients(name: str) -> None:
    profile, area, _ = SHAPES[name]
    low, high = 0.03, 0.11 if name == "bottle" else 0.2
    series = drained(area, high, low)
    conditions = Conditions(
        gravity_m_s2=G,
        orifice_diameter_m=D,
        orifice_diameter_u_m=1e-5,
        jet_diameter_m=D * math.sqrt(CD / CV),
        jet_diameter_u_m=1e-5,
        profile=profile,
        profile_relative_u=0.01,
    )
    findings = findings_of(series, conditions)
    assert value(findings, "discharge_coefficient") == pytest.approx(CD, rel=2e-5)
    assert value(findings, "speed_coefficient") == pytest.approx(CV, rel=2e-5)
    assert value(findings, "gravity_from_clock") == pytest.approx(G, rel=1e-4)
    assert series.time_s is not None
    assert series.head is not None
    first = float(series.head.values[0])
    empties = by_quadrature(area, 0.0, first) / (CD * math.pi * D**2 / 4.0 * math.sqrt(G / 2.0))
    assert value(findings, "time_to_empty_s") == pytest.approx(empties, rel=1e-4)
    # The areas' own uncertainty comes through whole, once in Cd and twice in g.
    budget = {
        s.source: s.u
        for each in findings.findings
        if each.name == "discharge_coefficient"
        for s in each.budget
    }
    assert budget["container area"] == pytest.approx(0.01 * CD, rel=1e-3)


def test_one_area_for_a_cone_spoils_the_drain_and_leaves_the_speed_alone() -> None:
    profile, area, _ = SHAPES["frustum"]
    series = drained(area, 0.2, 0.03)
    middle = float(profile.area(np.array([0.115]))[0])
    plain = Conditions(gravity_m_s2=G, orifice_diameter_m=D, container_area_m2=middle)
    findings = findings_of(series, plain)
    assert value(findings, "discharge_coefficient") != pytest.approx(CD, rel=0.02)
    # Only the level's fall during the flight, some tenths of a millimetre, comes out a little wrong.
    assert value(findings, "speed_coefficient") == pytest.approx(CV, rel=2e-3)


def test_heads_beyond_the_profile_stay_out_of_the_drain_only() -> None:
    _, area, _ = SHAPES["frustum"]
    series = drained(area, 0.2, 0.03)
    short = AreaProfile.of_diameters([-0.02, 0.115], [0.06, 0.09])  # the same cone, known only half way up
    findings = findings_of(series, Conditions(gravity_m_s2=G, orifice_diameter_m=D, profile=short))
    assert findings.drain is not None
    assert findings.throws is not None
    assert series.head is not None
    assert float(np.max(series.head.values[findings.drain.rows])) <= 0.115
    assert findings.throws.rows.shape[0] == 60
    assert value(findings, "discharge_coefficient") == pytest.approx(CD, rel=2e-5)


@pytest.mark.parametrize(
    ("heads", "values"),
    [([0.1], [1.0]), ([0.1, 0.1], [1.0, 1.0]), ([0.2, 0.1], [1.0, 1.0]), ([0.1, 0.2], [1.0])],
)
def test_a_profile_needs_heights_that_rise(heads: list[float], values: list[float]) -> None:
    for make in (AreaProfile.of_areas, AreaProfile.of_diameters):
        with pytest.raises(ValueError, match="height"):
            make(heads, values)


@pytest.mark.parametrize("name", SHAPES)
def test_the_slope_of_the_head_is_its_difference(name: str) -> None:
    profile, _, _ = SHAPES[name]
    heads = np.array([0.03, 0.09, 0.17])
    clock = drain_clock(profile, heads)
    root = clock.root(heads)
    by_difference = (clock.head(root + 1e-6) - clock.head(root - 1e-6)) / 2e-6
    assert clock.head_by_root(root, heads) == pytest.approx(by_difference, rel=1e-5)
    # In a cylinder it is 2 √h, as everyone knows it.
    assert drain_clock(None, heads).head_by_root(np.sqrt(heads), heads) == pytest.approx(2.0 * np.sqrt(heads))
