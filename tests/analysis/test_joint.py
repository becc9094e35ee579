"""The joint fits: their covariance, what they know of each source, and how they judge the scatter."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis import (
    Column,
    Conditions,
    JointFit,
    LawLine,
    Points,
    Series,
    findings_of,
    line_with_errors_in_both,
)
from analysis.basis import basis_of
from analysis.estimate import Estimate, propagated
from analysis.models import SPEED_ROOT_HEAD
from analysis.scatter import correlation_time, far_off, median, robust_sd, scatter_of
from analysis.slopes import line_result
from tests.analysis.simulated import SCENARIOS, simulated_run

RUN = simulated_run(np.random.default_rng(11))
N = RUN.series.kept.shape[0]


def fits(series: Series = RUN.series) -> tuple[JointFit, JointFit]:
    findings = findings_of(series, RUN.conditions)
    assert findings.throws is not None
    assert findings.drain is not None
    return findings.throws, findings.drain


def test_an_estimate_has_the_variance_of_the_fit() -> None:
    for fit, names in zip(fits(), (("cv",), ("root_h0", "k")), strict=True):
        for name in names:
            i = fit.names.index(name)
            assert fit.estimate(name, N).u ** 2 == pytest.approx(fit.covariance[i, i], rel=1e-6)


@pytest.mark.parametrize(
    "name",
    [
        "speed_coefficient",
        "drain_rate_root_m_per_s",
        "time_to_empty_s",
        "head_zero_offset_m",
        "throw_zero_offset_m",
        "slope_speed_squared_vs_head",
        "gravity_from_clock",
    ],
)
def test_shared_sources_move_a_finding_as_its_budget_says(name: str) -> None:
    # A source moved by one standard uncertainty in all readings: the finding must follow by the share in its
    # budget, reduced where the readings themselves contradict the move, as the budget is.
    # A zero of the head that is 15 mm off makes an intercept that matters; the tension with it frees the zero.
    assert RUN.series.head is not None
    offset = 0.015 if name == "head_zero_offset_m" else 0.0
    run = Column(RUN.series.head.values + offset, RUN.series.head.own_u, RUN.series.head.shared)
    series = dataclasses.replace(RUN.series, head=run)
    before = findings_of(series, RUN.conditions)
    for k, source in enumerate(RUN.series.sources):
        columns = {}
        for column_name in ("head", "throw", "drop"):
            column = getattr(series, column_name)
            columns[column_name] = Column(column.values + column.shared[:, k], column.own_u, column.shared)
        after = findings_of(dataclasses.replace(series, **columns), RUN.conditions)
        one, other = before.finding(name), after.finding(name)
        assert one is not None
        assert other is not None
        moved = other.value - one.value
        said = before.estimates[name].shared.get(source, 0.0)
        assert moved == pytest.approx(said, abs=0.02 * one.u), source


@pytest.mark.parametrize(
    "name",
    ["speed_coefficient", "drain_rate_root_m_per_s", "slope_throw_squared_vs_head", "head_zero_offset_m"],
)
def test_single_readings_move_a_finding_as_its_estimate_says(name: str) -> None:
    before = findings_of(RUN.series, RUN.conditions)
    estimate, finding = before.estimates[name], before.finding(name)
    assert finding is not None
    for row in (0, 17, N - 1):
        for channel, column_name in enumerate(("head", "throw")):
            column = getattr(RUN.series, column_name)
            values = column.values.copy()
            values[row] += 0.5 * column.own_u[row]
            after = findings_of(
                dataclasses.replace(RUN.series, **{column_name: Column(values, column.own_u, column.shared)}),
                RUN.conditions,
            ).finding(name)
            assert after is not None
            said = 0.5 * estimate.own[channel, row]
            # Weights, scatter and pairing follow a little as well.
            assert after.value - finding.value == pytest.approx(
                said, abs=0.15 * abs(said) + 0.02 * estimate.u_own / np.sqrt(N)
            )


def test_readings_pull_a_source_that_was_stated_too_loosely() -> None:
    # The head's zero known to 20 mm only: the throws know it better, and u of Cv hardly suffers.
    assert RUN.series.head is not None
    loose = RUN.series.head.shared.copy()
    loose[:, 0] = 0.02
    series = dataclasses.replace(
        RUN.series, head=Column(RUN.series.head.values, RUN.series.head.own_u, loose)
    )
    throws, _ = fits(series)
    i = len(throws.names) + throws.sources.index("orifice position")
    assert np.sqrt(throws.covariance[i, i]) < 0.15
    assert throws.estimate("cv", N).u < 3.0 * fits()[0].estimate("cv", N).u


def test_an_unmoving_source_is_not_in_the_budget() -> None:
    throws, drain = fits()
    assert "drop" not in drain.sources
    assert "throw zero" not in drain.sources
    assert "drop" in throws.sources


def test_perfect_readings_are_recovered() -> None:
    t = np.linspace(0.0, 60.0, 200)
    root = 0.45 - 0.004 * t
    y0, g, cv = 0.3, 9.81, 0.96
    flight = np.sqrt(2.0 * y0 / g)
    throw = 2.0 * cv * np.sqrt(y0) * (root + 0.004 * flight)

    def column(values: np.ndarray, u: float) -> Column:
        return Column(values, np.full(200, u), np.zeros((200, 0)))

    for u in (0.0, 1e-9, 1e-4):
        series = Series(
            (),
            t,
            column(root**2, u),
            column(throw, u),
            column(np.full(200, y0), 0.0),
            np.ones(200, dtype=bool),
        )
        findings = findings_of(series, Conditions(gravity_m_s2=g))
        found = {finding.name: finding.value for finding in findings.findings}
        # r, the surface's speed over the jet's, is 0.2 % here: Cv of the law is cv √(1 - r²).
        assert found["speed_coefficient"] == pytest.approx(cv, rel=5e-6)
        assert found["drain_rate_root_m_per_s"] == pytest.approx(0.004, rel=1e-6)
        assert found["time_to_empty_s"] == pytest.approx(112.5, rel=1e-6)
        assert found["head_zero_offset_m"] == pytest.approx(0.0, abs=1e-6)
        assert findings.paired_head_m == pytest.approx((root + 0.004 * flight) ** 2, rel=1e-7)


def test_a_fast_surface_lowers_the_coefficient() -> None:
    # Hole a quarter of the container's area after contraction: the law gives v = Cv √(2gh/(1 - r²)).
    d, area = 0.02, 4.0 * 0.64 * np.pi * 0.02**2 / 4.0
    h = np.linspace(0.1, 0.3, 12)
    throw = 2.0 * 0.9 * np.sqrt(0.3 * h / (1.0 - 0.25**2))
    column = lambda values, u: Column(values, np.full(12, u), np.zeros((12, 0)))  # noqa: E731
    series = Series(
        (), None, column(h, 1e-4), column(throw, 1e-4), column(np.full(12, 0.3), 0.0), np.ones(12, dtype=bool)
    )
    known = findings_of(series, Conditions(orifice_diameter_m=d, container_area_m2=float(area))).finding(
        "speed_coefficient"
    )
    unknown = findings_of(series, Conditions()).finding("speed_coefficient")
    assert known is not None
    assert unknown is not None
    assert known.value == pytest.approx(0.9, rel=1e-6)
    assert unknown.value == pytest.approx(0.9 / np.sqrt(1.0 - 0.25**2), rel=1e-6)


def test_the_fitted_law_is_laid_out_to_all_rows() -> None:
    assert RUN.series.head is not None
    values = RUN.series.head.values.copy()
    values[5] = np.nan
    series = dataclasses.replace(
        RUN.series, head=Column(values, RUN.series.head.own_u, RUN.series.head.shared)
    )
    findings = findings_of(series, RUN.conditions)
    assert findings.law_head_m[5] == pytest.approx(RUN.series.head.values[5], abs=0.004)
    assert np.all(np.isfinite(findings.law_throw_m))
    assert findings.law_head_m == pytest.approx(
        np.where(np.isfinite(values), values, findings.law_head_m), abs=0.004
    )


def test_independent_scatter_has_a_correlation_time_of_one() -> None:
    rng = np.random.default_rng(1)
    times = [correlation_time(rng.standard_normal(300)) for _ in range(200)]
    assert np.median(times) < 1.1
    assert np.quantile(times, 0.95) < 1.7


@pytest.mark.parametrize("stay", [0.5, 0.8, 0.9])
def test_correlation_time_of_an_autoregressive_series(stay: float) -> None:
    # Known in closed form: (1 + a)/(1 - a).
    rng = np.random.default_rng(2)
    found = []
    for _ in range(60):
        noise = rng.standard_normal(3000)
        x = np.empty(3000)
        x[0] = noise[0] / np.sqrt(1.0 - stay**2)
        for i in range(1, 3000):
            x[i] = stay * x[i - 1] + noise[i]
        found.append(correlation_time(x - np.mean(x), 1.0))
    assert np.mean(found) == pytest.approx((1.0 + stay) / (1.0 - stay), rel=0.08)


def test_scatter_is_judged_against_what_was_stated() -> None:
    rng = np.random.default_rng(4)
    wide = scatter_of(3.0 * rng.standard_normal(500), 2.0, stated=True)
    assert wide.birge == pytest.approx(3.0, rel=0.1)
    assert wide.own_dof < 500
    narrow = scatter_of(0.3 * rng.standard_normal(500), 2.0, stated=True)
    assert narrow.inflation == narrow.correlation_time
    unstated = scatter_of(0.3 * rng.standard_normal(500), 2.0, stated=False)
    assert unstated.inflation == pytest.approx(0.09, rel=0.2)
    assert scatter_of(np.ones(2), 2.0, stated=True).inflation == 1.0


def test_wild_rows_cannot_hide_behind_their_own_scatter() -> None:
    z = np.random.default_rng(6).standard_normal(100)
    z[:20] += 40.0
    assert robust_sd(z) < 1.6
    assert np.array_equal(np.nonzero(far_off(z, stated=True))[0], np.arange(20))


def test_common_sources_cancel_in_a_difference() -> None:
    one = Estimate(2.0, np.array([[0.3, 0.0]]), {"scale": 0.4})
    other = Estimate(1.0, np.array([[0.0, 0.2]]), {"scale": 0.4, "drop": 0.1}, own_dof=5.0)
    difference = propagated(1.0, [(one, 1.0), (other, -1.0)], {"g": 0.2})
    assert difference.shared["scale"] == 0.0
    assert difference.u == pytest.approx(np.sqrt(0.3**2 + 0.2**2 + 0.1**2 + 0.2**2))
    assert {share.source for share in difference.budget} == {"own scatter of the readings", "drop", "g"}
    # Welch and Satterthwaite with the own part's 5 degrees of freedom.
    assert difference.dof == pytest.approx(5.0 * 0.18**2 / 0.13**2)


def test_errors_of_the_head_do_not_bias_the_speed_coefficient() -> None:
    # Heads far noisier than throws: weighting by heads as read would pull Cv down by 0.4 of its uncertainty.
    rng = np.random.default_rng(77)
    errors = []
    for _ in range(150):
        run = simulated_run(rng, dataclasses.replace(SCENARIOS[0], throw_scale=0.1))
        found = findings_of(run.series, run.conditions).finding("speed_coefficient")
        assert found is not None
        errors.append((found.value - run.truth["speed_coefficient"]) / found.u)
    assert abs(np.mean(errors)) < 3.0 / np.sqrt(150)


@pytest.mark.parametrize("free", [True, False])
def test_a_line_traced_to_its_readings_has_the_standard_error_of_the_fit(free: bool) -> None:
    # Errors of x as large as its steps, so that the adjusted points differ from those read.
    rng = np.random.default_rng(3)
    m = 400
    true = np.linspace(0.2, 0.45, m)
    u_x, u_y = rng.uniform(0.005, 0.04, m), rng.uniform(0.02, 0.2, m)
    x, y = true + u_x * rng.standard_normal(m), 4.3 * true + u_y * rng.standard_normal(m)
    zero, nothing = np.zeros(m), np.zeros((m, 0))
    points = Points(
        np.arange(m),
        x,
        y,
        u_x,
        u_y,
        nothing,
        nothing,
        np.stack([u_x, zero, zero]),
        np.stack([zero, u_y, zero]),
    )
    line = line_with_errors_in_both(x, y, u_x, u_y, free_intercept=free)
    result = line_result(LawLine(SPEED_ROOT_HEAD, points, line, errors_in_both=True), m, (), None)
    assert result is not None
    assert line.covariance_unscaled is not None
    scatter = scatter_of(
        (y - line.intercept - line.slope * x) / np.hypot(u_y, line.slope * u_x), 2.0, stated=True
    )
    expected = np.sqrt(line.covariance_unscaled[1, 1] * max(1.0, scatter.birge**2))
    assert result.slope.u_own == pytest.approx(expected, rel=1e-6)


def test_two_sources_that_the_readings_cannot_tell_apart_keep_their_doubt() -> None:
    # The same column twice: the readings know the sum, never the difference, whose variance stays at its prior's 2.
    assert RUN.series.head is not None
    twice = RUN.series.head.shared.copy()
    twice[:, 0] = 0.01
    twice[:, 2] = 0.01
    series = dataclasses.replace(
        RUN.series, head=Column(RUN.series.head.values, RUN.series.head.own_u, twice)
    )
    _, drain = fits(series)
    first = len(drain.names)
    i, j = (first + drain.sources.index(name) for name in ("orifice position", "throw zero"))
    c = drain.covariance
    assert c[i, i] + c[j, j] - 2.0 * c[i, j] == pytest.approx(2.0, rel=1e-6)
    assert c[i, i] + c[j, j] + 2.0 * c[i, j] < 0.1


def test_the_law_is_not_drawn_beyond_the_rows_it_was_fitted_to() -> None:
    assert RUN.series.head is not None
    kept = RUN.series.kept.copy()
    kept[:10] = False
    findings = findings_of(dataclasses.replace(RUN.series, kept=kept), RUN.conditions)
    assert np.all(np.isnan(findings.law_head_m[:10]))
    assert np.all(np.isfinite(findings.law_head_m[10:]))


def test_the_mean_of_single_ratios_has_an_honest_uncertainty() -> None:
    rng = np.random.default_rng(31)
    errors = []
    for _ in range(150):
        run = simulated_run(rng, SCENARIOS[2])
        basis = basis_of(run.series, run.conditions)
        assert basis.mean_of_ratios is not None
        errors.append((basis.mean_of_ratios.value - run.truth["speed_coefficient"]) / basis.mean_of_ratios.u)
    assert np.std(errors) == pytest.approx(1.0, abs=0.18)


def test_the_mean_of_single_ratios_widens_with_the_scatter_really_seen() -> None:
    assert RUN.series.throw is not None
    noise = 6.0 * RUN.series.throw.own_u * np.random.default_rng(2).standard_normal(N)
    noisy = Column(RUN.series.throw.values + noise, RUN.series.throw.own_u, RUN.series.throw.shared)
    calm, wide = (
        basis_of(series, RUN.conditions).mean_of_ratios
        for series in (RUN.series, dataclasses.replace(RUN.series, throw=noisy))
    )
    assert calm is not None
    assert wide is not None
    assert wide.u_own > 3.0 * calm.u_own


def test_exact_readings_do_not_make_their_neighbours_err_together() -> None:
    """Rounding noise has a correlation of its own; it must not widen what was stated."""
    smooth = 1e-14 * np.sin(np.linspace(0.0, 9.0, 60))
    assert scatter_of(smooth, 2.0, stated=True).correlation_time == 1.0
    assert scatter_of(1e12 * smooth, 2.0, stated=True).correlation_time > 5.0


@pytest.mark.parametrize("n", [1, 2, 3, 10, 2001])
def test_the_median_is_numpys(n: int) -> None:
    values = np.random.default_rng(n).standard_normal(n)
    assert median(values) == np.median(values)
    values[n // 2] = np.inf
    assert median(values) == np.median(values)
    values[n // 3] = np.nan
    assert np.isnan(median(values))
    assert np.isnan(median(values[:0]))


def test_a_law_is_worked_out_once_for_the_same_parameters() -> None:
    from analysis.penalised import _Evaluation

    asked: list[float] = []

    def evaluate(theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        asked.append(float(theta[0]))
        return theta.copy(), theta[None], theta

    law = _Evaluation(evaluate)
    at = np.array([1.0])
    for value in (1.0, 2.0, 2.0, 1.0, 3.0, 1.0, 2.0):
        at[0] = value  # the same array, moved on: what is known goes by what it held
        assert law(at)[0][0] == value
    assert asked == [1.0, 2.0, 3.0, 2.0]
