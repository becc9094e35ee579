"""What must hold of any run: units scale through, order does not matter, sharing is never averaged away."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import Column, Conditions, Findings, Series, findings_of
from tests.analysis.simulated import SCENARIOS, Simulated, simulated_run

COLUMNS = ("head", "throw", "drop")
seeds = st.integers(0, 10_000)
quick = settings(max_examples=8, deadline=None)

# Powers of the unit of length and of the unit of time in each finding.
POWERS = {
    "speed_coefficient": (0.0, 0.0),
    "discharge_coefficient": (0.0, 0.0),
    "head_zero_offset_m": (1.0, 0.0),
    "throw_zero_offset_m": (1.0, 0.0),
    "slope_speed_vs_root_head": (0.5, -1.0),
    "slope_speed_squared_vs_head": (1.0, -2.0),
    "slope_throw_squared_vs_head": (1.0, 0.0),
    "gravity_from_slope_root": (1.0, -2.0),
    "gravity_from_slope_squared": (1.0, -2.0),
    "gravity_from_clock": (1.0, -2.0),
    "drain_rate_root_m_per_s": (0.5, -1.0),
    "time_to_empty_s": (0.0, 1.0),
}


def scenario(name: str, seed: int, rows: int | None = None) -> Simulated:
    chosen = next(each for each in SCENARIOS if each.name == name)
    if rows is not None:
        chosen = dataclasses.replace(chosen, rows=(rows, rows))
    return simulated_run(np.random.default_rng(seed), chosen)


def with_columns(series: Series, change: Callable[[Column], Column]) -> Series:
    changed = {}
    for name in COLUMNS:
        column = getattr(series, name)
        assert column is not None
        changed[name] = change(column)
    return dataclasses.replace(series, **changed)


def scaled(column: Column, by: float) -> Column:
    return Column(by * column.values, by * column.own_u, by * column.shared)


def same(one: Findings, other: Findings, rel: float = 1e-6) -> None:
    """Assert that two answers tell the same, the uncertainty to `rel`, the value to `rel` of that."""
    assert [each.name for each in one.findings] == [each.name for each in other.findings]
    for a, b in zip(one.findings, other.findings, strict=True):
        assert b.value == pytest.approx(a.value, rel=1e-9, abs=10.0 * rel * a.u), a.name
        assert b.u == pytest.approx(a.u, rel=rel), a.name
        assert b.interval_95 == pytest.approx(a.interval_95, rel=1e-9, abs=10.0 * rel * a.u), a.name


@quick
@given(seed=seeds, length=st.floats(1.0, 20.0), time=st.floats(0.02, 50.0))
def test_units_of_length_and_time_scale_through(seed: int, length: float, time: float) -> None:
    # Larger units of length only: the least head of the law holds a capillary length, which is not scaled.
    run = scenario("as stated", seed)
    g = 9.81
    at = dataclasses.replace(run.conditions, gravity_m_s2=g, latitude_deg=None, elevation_m=None)
    there = dataclasses.replace(
        at,
        gravity_m_s2=g * length / time**2,
        orifice_diameter_m=length * (at.orifice_diameter_m or 0.0),
        orifice_diameter_u_m=length * (at.orifice_diameter_u_m or 0.0),
        container_area_m2=length**2 * (at.container_area_m2 or 0.0),
        container_area_u_m2=length**2 * (at.container_area_u_m2 or 0.0),
    )
    assert run.series.time_s is not None
    moved = with_columns(run.series, lambda column: scaled(column, length))
    one = findings_of(run.series, at)
    other = findings_of(dataclasses.replace(moved, time_s=time * run.series.time_s), there)
    assert {each.name for each in one.findings} >= set(POWERS)
    for name, (of_length, of_time) in POWERS.items():
        a, b = one.finding(name), other.finding(name)
        assert a is not None
        assert b is not None
        by = length**of_length * time**of_time
        assert b.value == pytest.approx(by * a.value, rel=1e-7, abs=1e-5 * by * a.u), name
        assert b.u == pytest.approx(by * a.u, rel=1e-5), name
        # A share that is as good as none may be lost in rounding, one that counts may not.
        shares = {share.source: share.u for share in b.budget}
        for share in a.budget:
            assert shares.get(share.source, 0.0) == pytest.approx(
                by * share.u, rel=1e-4, abs=1e-5 * by * a.u
            ), (name, share.source)


@quick
@given(seed=seeds)
def test_rows_of_stills_may_stand_in_any_order(seed: int) -> None:
    run = scenario("stills", seed)
    order = np.random.default_rng(seed).permutation(run.series.kept.shape[0])
    mixed = with_columns(
        run.series, lambda column: Column(column.values[order], column.own_u[order], column.shared[order])
    )
    mixed = dataclasses.replace(mixed, kept=run.series.kept[order])
    one, other = findings_of(run.series, run.conditions), findings_of(mixed, run.conditions)
    same(one, other)
    assert np.array_equal(other.kept, one.kept[order])
    assert other.speed_m_s == pytest.approx(one.speed_m_s[order], rel=1e-12)


@quick
@given(seed=seeds)
def test_sources_may_be_named_in_any_order_and_counted_from_either_side(seed: int) -> None:
    run = scenario("as stated", seed)
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(run.series.sources))
    signs = rng.choice([-1.0, 1.0], order.shape[0])
    mixed = with_columns(
        dataclasses.replace(run.series, sources=tuple(run.series.sources[i] for i in order)),
        lambda column: Column(column.values, column.own_u, column.shared[:, order] * signs),
    )
    one, other = findings_of(run.series, run.conditions), findings_of(mixed, run.conditions)
    same(one, other)
    for a, b in zip(one.findings, other.findings, strict=True):
        shares = {share.source: share.u for share in b.budget}
        for share in a.budget:
            assert shares.get(share.source, 0.0) == pytest.approx(share.u, rel=1e-3, abs=1e-5 * a.u), a.name


@quick
@given(seed=seeds, part=st.floats(0.05, 0.95), which=st.integers(0, 5))
def test_a_source_told_as_two_independent_halves_counts_the_same(seed: int, part: float, which: int) -> None:
    # Two causes that move the readings alike, cos and sin of the whole, are together the one cause.
    run = scenario("as stated", seed)

    def split(column: Column) -> Column:
        shared = column.shared.copy()
        second = math.sqrt(1.0 - part**2) * shared[:, which : which + 1]
        shared[:, which] *= part
        return Column(column.values, column.own_u, np.hstack([shared, second]))

    two = dataclasses.replace(with_columns_and_source(run.series, split), kept=run.series.kept)
    same(findings_of(run.series, run.conditions), findings_of(two, run.conditions))


def with_columns_and_source(series: Series, change: Callable[[Column], Column]) -> Series:
    parts = {name: change(getattr(series, name)) for name in COLUMNS}
    return Series((*series.sources, "second half"), series.time_s, kept=series.kept, **parts)


@quick
@given(seed=seeds, many=st.integers(3, 12))
def test_more_frames_never_shrink_a_shared_source(seed: int, many: int) -> None:
    # The same film read `many` times as densely. What only stretches the readings, as the drop and both
    # scales do, no reading can tell from Cv itself: its share follows the value found, and no more.
    few, more = (findings_of_frames(seed, n) for n in (60, 60 * many))
    stretching = ("drop", "tape: scale", "upright rule: scale")
    for name in ("speed_coefficient", "slope_throw_squared_vs_head", "slope_speed_vs_root_head"):
        a, b = few.finding(name), more.finding(name)
        assert a is not None
        assert b is not None
        before = {share.source: share.u for share in a.budget}
        after = {share.source: share.u for share in b.budget}
        for source in stretching:
            # Shares are products of the value; lines weigh readings by what was read, which differs a little.
            assert after.get(source, 0.0) / b.value == pytest.approx(
                before.get(source, 0.0) / a.value,
                rel=0.01 if name == "speed_coefficient" else 0.05,
                abs=0.01 * a.u / a.value,
            )
        assert b.u > math.hypot(*(after.get(source, 0.0) for source in stretching))
    for finding in more.findings:
        stretched = math.hypot(*(s.u for s in finding.budget if s.source in stretching))
        assert finding.u >= stretched, finding.name


def findings_of_frames(seed: int, n: int) -> Findings:
    run = scenario("as stated", seed, rows=n)
    return findings_of(run.series, run.conditions)


@quick
@given(
    seed=seeds,
    rubbish=st.lists(st.sampled_from([math.nan, math.inf, -1.0, 0.0, 1e9]), min_size=3, max_size=3),
)
def test_rows_that_are_not_kept_may_hold_anything(seed: int, rubbish: list[float]) -> None:
    run = scenario("few rows", seed)
    n = run.series.kept.shape[0]
    at = n // 2
    rows = np.insert(np.arange(n), at, 0)

    def with_row(column: Column, value: float) -> Column:
        values, own, shared = column.values[rows], column.own_u[rows], column.shared[rows]
        values[at], own[at], shared[at] = value, rubbish[0], rubbish[-1]
        return Column(values, own, shared)

    assert run.series.time_s is not None
    time = run.series.time_s[rows]
    time[at] = math.nan
    kept = np.ones(n + 1, dtype=bool)
    kept[at] = False
    parts = {
        name: with_row(getattr(run.series, name), value) for name, value in zip(COLUMNS, rubbish, strict=True)
    }
    more = Series(run.series.sources, time, kept=kept, **parts)
    same(findings_of(run.series, run.conditions), findings_of(more, run.conditions), rel=1e-9)


@pytest.mark.parametrize("g_true", [1.62, 9.81, 24.8])
def test_the_slope_of_speeds_made_with_a_borrowed_g_does_not_know_the_true_g(g_true: float) -> None:
    # x = v √(2y₀/g) with v = Cv √(2gh): the true g goes out. Slope²/2 is g_assumed Cv² = 9.227077 for
    # Cv = 0.97 and 9.80665 m/s² on any planet (arithmetic; 9.409 for g_assumed = 10).
    head, drop, cv = np.linspace(0.25, 0.04, 40), 0.4, 0.97
    throw = cv * np.sqrt(2.0 * g_true * head) * math.sqrt(2.0 * drop / g_true)
    none = np.zeros((40, 0))
    series = Series(
        (),
        None,
        Column(head, np.full(40, 1e-4), none),
        Column(throw, np.full(40, 1e-4), none),
        Column(np.full(40, drop), np.zeros(40), none),
        np.ones(40, dtype=bool),
    )
    for g_assumed, expected in ((9.80665, 9.227077), (10.0, 9.409)):
        findings = findings_of(series, Conditions(gravity_m_s2=g_assumed))
        for name in ("gravity_from_slope_root", "gravity_from_slope_squared"):
            finding = findings.finding(name)
            assert finding is not None
            assert finding.value == pytest.approx(expected, rel=1e-6)
            assert finding.depends_on_assumed_g
        cv_found = findings.finding("speed_coefficient")
        assert cv_found is not None
        assert cv_found.value == pytest.approx(cv, rel=1e-6)


@quick
@given(seed=seeds, factor=st.floats(0.2, 5.0))
def test_an_assumed_g_goes_straight_through_the_findings_that_borrow_it(seed: int, factor: float) -> None:
    # Stills are not paired by a flight time, so that g enters nowhere else.
    run = scenario("stills", seed)
    one, other = (findings_of(run.series, Conditions(gravity_m_s2=g)) for g in (9.81, factor * 9.81))
    powers = {
        "gravity_from_slope_root": 1.0,
        "gravity_from_slope_squared": 1.0,
        "slope_speed_vs_root_head": 0.5,
        "slope_speed_squared_vs_head": 1.0,
    }
    for finding in one.findings:
        after = other.finding(finding.name)
        assert after is not None
        by = factor ** powers.get(finding.name, 0.0)
        assert after.value == pytest.approx(by * finding.value, rel=1e-9, abs=1e-5 * by * finding.u)
        assert finding.depends_on_assumed_g == (finding.name in powers)
