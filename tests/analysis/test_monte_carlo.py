"""First-order uncertainties held against trials, and the refits beneath."""

from __future__ import annotations

import dataclasses
import math
from functools import cache, partial
from typing import Any

import numpy as np
import pytest

from analysis import Conditions, Findings, Series, findings_of
from analysis.condensed import condenser_of, on_the_law
from analysis.estimate import NORMAL_95
from analysis.monte_carlo import TOLERANCE, Checked, checked_by_monte_carlo
from analysis.refits import (
    INTERCEPT,
    PAIRS,
    RATE,
    ROOT_H0,
    bends_of,
    fitted_quantities,
    wandering,
)
from analysis.scatter import correlation_time
from tests.analysis.simulated import SCENARIOS, Simulated, simulated_run


def scenario(name: str, seed: int, rows: int) -> Simulated:
    chosen = next(each for each in SCENARIOS if each.name == name)
    return simulated_run(np.random.default_rng(seed), dataclasses.replace(chosen, rows=(rows, rows)))


def engine(conditions: Conditions, series: Series) -> Findings:
    return findings_of(series, conditions)


def check(run: Simulated, seed: int = 1) -> tuple[Findings, Checked]:
    findings = findings_of(run.series, run.conditions)
    return findings, checked_by_monte_carlo(findings, run.series, partial(engine, run.conditions), seed=seed)


RUN = scenario("as stated", 1, 2000)


@cache
def checked() -> Any:
    """Check the run once, and within a test, so that it is seen which lines that test passes over."""
    return check(RUN)


def test_a_condensed_run_says_what_the_whole_run_says() -> None:
    for run in (RUN, scenario("slowly swaying jet", 3, 1200), scenario("stills", 2, 300)):
        findings = findings_of(run.series, run.conditions)
        condenser = condenser_of(run.series, findings, 100)
        values = tuple(getattr(run.series, name).values for name in ("head", "throw", "drop"))
        short = findings_of(condenser.of((values[0], values[1], values[2])), run.conditions)
        assert short.kept.shape == (100,)
        swaying = findings.throws is not None and findings.throws.scatter.correlation_time > 1.5
        for name in ("speed_coefficient", "slope_throw_squared_vs_head", "head_zero_offset_m"):
            one, other = findings.finding(name), short.finding(name)
            assert one is not None
            assert other is not None
            assert other.value == pytest.approx(one.value, abs=0.25 * one.u), name
            # How much neighbours err together is estimated anew from fewer of them.
            assert other.u == pytest.approx(one.u, rel=0.25 if swaying else 0.04), name
        if findings.finding("drain_rate_root_m_per_s") is not None:
            k, again = (f.finding("drain_rate_root_m_per_s") for f in (findings, short))
            assert k is not None
            assert again is not None
            assert again.value == pytest.approx(k.value, abs=0.3 * k.u)


def test_a_short_run_is_not_condensed() -> None:
    run = scenario("few rows", 5, 12)
    findings = findings_of(run.series, run.conditions)
    condenser = condenser_of(run.series, findings, 100)
    values = tuple(getattr(run.series, name).values for name in ("head", "throw", "drop"))
    same = condenser.of((values[0], values[1], values[2]))
    for name in ("head", "throw", "drop"):
        one, other = getattr(run.series, name), getattr(same, name)
        assert other.values == pytest.approx(one.values, abs=1e-12)
        assert other.own_u == pytest.approx(one.own_u, rel=1e-12)
        assert other.shared == pytest.approx(one.shared, abs=1e-15)


def test_readings_laid_on_the_law_have_no_scatter_and_pull_nothing() -> None:
    head, throw, drop = on_the_law(RUN.series, checked()[0])
    series = condenser_of(RUN.series, checked()[0], 100).of((head, throw, drop))
    again = findings_of(series, RUN.conditions)
    for fit, before in ((again.throws, checked()[0].throws), (again.drain, checked()[0].drain)):
        assert fit is not None
        assert before is not None
        assert fit.scatter.birge < 0.05
        assert max(abs(fit.pull(source)) for source in fit.sources) < 0.02
        assert any(abs(before.pull(source)) > 0.1 for source in before.sources)
    cv, cv_again = checked()[0].finding("speed_coefficient"), again.finding("speed_coefficient")
    assert cv is not None
    assert cv_again is not None
    assert cv_again.value == pytest.approx(cv.value, abs=0.05 * cv.u)


def test_first_order_holds_for_all_but_the_clock() -> None:
    assert [each.name for each in checked()[1].checks] == [each.name for each in checked()[0].findings]
    off = {each.name for each in checked()[1].checks if not each.holds}
    # g by the clock goes with the fourth power of the hole's diameter and the second of a contraction that is
    # known to a twentieth.
    assert off == {"gravity_from_clock"}
    for each in checked()[1].checks:
        assert each.reached <= TOLERANCE / 4.0 * checked()[0].estimates[each.name].u
    assert checked()[1].refits == 2 * PAIRS + 1


def test_an_interval_that_does_not_hold_is_replaced_and_says_so() -> None:
    before, after = (
        checked()[0].finding("gravity_from_clock"),
        checked()[1].findings.finding("gravity_from_clock"),
    )
    found = checked()[1].check("gravity_from_clock")
    assert before is not None
    assert after is not None
    assert found is not None
    assert after.interval_95 == found.interval != before.interval_95
    assert (after.value, after.u, after.budget) == (before.value, before.u, before.budget)
    assert any("Monte Carlo" in words and "seed 1" in words for words in after.remarks)
    assert [each.interval_95 for each in checked()[1].findings.findings if each.name != after.name] == [
        each.interval_95 for each in checked()[0].findings if each.name != after.name
    ]
    assert sum("Monte Carlo" in remark.says for remark in checked()[1].findings.remarks) == 1
    # The same by hand: everything that g is made of drawn from what is stated of it.
    rng = np.random.default_rng(8)
    m = 400_000
    at = RUN.conditions

    def drawn(value: float | None, u: float | None) -> np.ndarray:
        assert value is not None
        assert u is not None
        return value + u * rng.standard_normal(m)

    k, cv = checked()[0].estimates["drain_rate_root_m_per_s"], checked()[0].estimates["speed_coefficient"]
    area = drawn(at.container_area_m2, at.container_area_u_m2)
    d = drawn(at.orifice_diameter_m, at.orifice_diameter_u_m)
    g = (
        2.0
        * (drawn(k.value, k.u) * area / (drawn(0.64, 0.03) * math.pi * d**2 / 4.0 * drawn(cv.value, cv.u)))
        ** 2
    )
    low, high = np.quantile(g, [0.025, 0.975])
    assert found.interval == pytest.approx((low, high), abs=0.03 * before.u)
    assert found.u == pytest.approx(np.std(g), rel=0.02)
    assert found.shortest[1] - found.shortest[0] < found.interval[1] - found.interval[0]


def test_the_seed_decides_everything() -> None:
    run = scenario("few rows", 7, 10)
    (_, one), (_, same), (_, other) = check(run, 3), check(run, 3), check(run, 4)
    assert one.checks == same.checks
    assert one.checks != other.checks
    for a, b in zip(one.checks, other.checks, strict=True):
        u = one.findings.estimates[a.name].u
        assert a.interval == pytest.approx(b.interval, abs=0.12 * u), a.name


def test_few_rows_whose_scatter_says_their_errors_have_wider_tails() -> None:
    run = scenario("nothing stated", 4, 7)
    findings, checked = check(run)
    k, found = findings.estimates["drain_rate_root_m_per_s"], checked.check("drain_rate_root_m_per_s")
    assert found is not None
    # Own errors from 4 or 5 degrees of freedom: Student's t, so that the interval is wider than 1.96 u.
    assert math.isfinite(k.own_dof)
    assert found.interval[1] - found.interval[0] > 2.0 * NORMAL_95 * k.u * 1.01


def test_the_whole_engine_run_on_many_moved_runs_scatters_as_the_check_says() -> None:
    # 160 runs of the same truth: their scatter about it is what u and the trials claim.
    seeds = np.random.SeedSequence(5).spawn(160)
    fixed = scenario("as stated", 21, 40)
    findings, checked = check(fixed)
    law = on_the_law(fixed.series, findings)
    condenser = condenser_of(fixed.series, findings, 100)
    base = fitted_quantities(engine(fixed.conditions, condenser.of(law)))
    names = (
        "speed_coefficient",
        "drain_rate_root_m_per_s",
        "slope_speed_squared_vs_head",
        INTERCEPT,
        ROOT_H0,
    )
    moved: dict[str, list[float]] = {name: [] for name in names}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        z = rng.standard_normal(len(fixed.series.sources))
        values = []
        for at, name in zip(law, ("head", "throw", "drop"), strict=True):
            column = getattr(fixed.series, name)
            assert at is not None
            values.append(at + column.own_u * rng.standard_normal(40) + column.shared @ z)
        made = fitted_quantities(engine(fixed.conditions, condenser.of((values[0], values[1], values[2]))))
        for name in names:
            moved[name].append(made[name].value - base[name].value)
    first_order = fitted_quantities(findings)
    for name in names:
        # The standard deviation of 160 draws is known to 5.6 %.
        assert np.std(moved[name]) == pytest.approx(first_order[name].u, rel=0.18), name
        found = checked.check(name)
        if found is not None:
            assert found.u == pytest.approx(first_order[name].u, rel=0.03), name


def test_a_fit_that_bends_is_seen_to_bend() -> None:
    # An engine whose Cv answers every error with its square as well.
    run = scenario("as stated", 1, 30)
    honest = partial(engine, run.conditions)
    findings = honest(run.series)
    cv = findings.estimates["speed_coefficient"]
    base = {}

    def bent(series: Series) -> Findings:
        made = honest(series)
        estimate = made.estimates["speed_coefficient"]
        base.setdefault("cv", estimate.value)
        s = (estimate.value - base["cv"]) / cv.u
        changed = dataclasses.replace(estimate, value=estimate.value + 0.3 * cv.u * s**2)
        return dataclasses.replace(made, estimates={**made.estimates, "speed_coefficient": changed})

    _, bends = bends_of(findings, run.series, bent, 1)
    assert bends["speed_coefficient"].curvature == pytest.approx(0.3, abs=0.02)
    assert bends["speed_coefficient"].bias == pytest.approx(0.3, abs=0.05)
    assert abs(bends["drain_rate_root_m_per_s"].curvature) < 0.02
    checked = checked_by_monte_carlo(findings, run.series, bent)
    found = checked.check("speed_coefficient")
    assert found is not None
    assert not found.holds
    assert found.mean - cv.value == pytest.approx(0.3 * cv.u, abs=0.07 * cv.u)
    # Skewed upwards: both ends lie higher.
    assert found.interval[1] > found.first_order[1] + 0.5 * cv.u
    assert found.interval[0] > found.first_order[0] + 0.2 * cv.u


def test_an_engine_that_follows_errors_too_eagerly_is_found_out() -> None:
    run = scenario("as stated", 1, 30)
    honest = partial(engine, run.conditions)
    findings = honest(run.series)
    base = {}

    def eager(series: Series) -> Findings:
        made = honest(series)
        assert made.drain is not None
        k = made.drain.value("k")
        base.setdefault("k", k)
        theta = made.drain.theta.copy()
        theta[made.drain.names.index("k")] = base["k"] + 1.3 * (k - base["k"])
        return dataclasses.replace(made, drain=dataclasses.replace(made.drain, theta=theta))

    _, bends = bends_of(findings, run.series, eager, 1)
    assert bends[RATE].gain == pytest.approx(1.3, abs=0.03)
    assert bends["speed_coefficient"].gain == 1.0
    found = checked_by_monte_carlo(findings, run.series, eager).check("drain_rate_root_m_per_s")
    assert found is not None
    assert found.u == pytest.approx(1.3 * findings.estimates["drain_rate_root_m_per_s"].u, rel=0.03)


@pytest.mark.parametrize("tau", [1.0, 3.0, 12.0])
def test_errors_wander_with_the_correlation_time_asked_for(tau: float) -> None:
    wander = wandering(np.random.default_rng(2).standard_normal((40, 3000)), tau)
    assert np.std(wander) == pytest.approx(1.0, rel=0.03)
    assert np.mean([correlation_time(row, 0.0) for row in wander]) == pytest.approx(tau, rel=0.1)


def test_nothing_to_check_is_no_reason_to_fall() -> None:
    series = Series((), None, None, None, None, np.ones(3, dtype=bool))
    findings = findings_of(series, Conditions())
    checked = checked_by_monte_carlo(findings, series, partial(engine, Conditions()))
    assert checked.findings.checked
    assert checked.findings.findings == findings.findings == ()
    assert checked.findings.remarks == findings.remarks
    assert checked.checks == ()


def test_findings_without_readings_enough_to_refit_are_checked_all_the_same() -> None:
    run = scenario("as stated", 1, 40)
    kept = np.zeros(40, dtype=bool)
    kept[[0, 39]] = True
    two = dataclasses.replace(run.series, kept=kept)
    findings = findings_of(two, run.conditions)
    checked = checked_by_monte_carlo(findings, two, partial(engine, run.conditions))
    assert {each.name for each in checked.checks} <= {each.name for each in findings.findings}
    assert checked.check("speed_coefficient") is not None


def test_one_refit_that_left_another_zero_free_bends_nothing() -> None:
    # In one of 32 refits the errors drawn make the engine leave the head's zero free: k jumps by 7 u there.
    run = scenario("as stated", 1, 30)
    honest = partial(engine, run.conditions)
    findings = honest(run.series)
    k = findings.estimates["drain_rate_root_m_per_s"]
    asked = []

    def jumps(series: Series) -> Findings:
        made = honest(series)
        asked.append(series)
        if len(asked) != 4:
            return made
        assert made.drain is not None
        estimate = made.estimates["drain_rate_root_m_per_s"]
        far = dataclasses.replace(estimate, value=estimate.value + 7.0 * k.u)
        drain = dataclasses.replace(made.drain, names=(*made.drain.names, "head_zero"))
        return dataclasses.replace(
            made, drain=drain, estimates={**made.estimates, "drain_rate_root_m_per_s": far}
        )

    refits, bends = bends_of(findings, run.series, jumps, 1)
    assert refits == len(asked) == 2 * PAIRS + 1
    bend = bends["drain_rate_root_m_per_s"]
    assert bend.pairs == PAIRS - 1
    assert abs(bend.bias) + abs(bend.curvature) + bend.roughness < 0.05
