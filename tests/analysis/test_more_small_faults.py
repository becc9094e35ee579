"""More facts that small faults in formulas would break: each worked by hand or from the source that is named."""

from __future__ import annotations

import math
from types import MappingProxyType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis import Column, Conditions, Estimate, Instruments, Series, findings_of
from analysis.basis import basis_of
from analysis.condensed import on_the_law
from analysis.corrections import Effect, _amount
from analysis.doubts import _scatter
from analysis.estimate import in_mm
from analysis.from_lines import _capillary_words
from analysis.jet_shape import _head_operator, _trend
from analysis.launch import launch_angle
from analysis.law_fits import ThrowsLaw
from analysis.lines import straight_line
from analysis.models import GRAVITY, _speed
from analysis.monte_carlo import INTERCEPT, _derivative
from analysis.penalised import _inverse
from analysis.plan_forecast import _parabola, sight_of
from analysis.plan_proposal import Limits, _objections, law_limit_m
from analysis.published import SHARP_CC, SHARP_CV
from analysis.scatter import correlation_time
from analysis.shifts import _RECIPROCAL, LAUNCH_ANGLE, _smooth_throws
from analysis.suspect_list import to_try
from analysis.suspects import _over_usual, _tried
from analysis.triggers import _jet, bend_by
from tests.analysis.simulated import simulated_run
from tests.analysis.test_plan import bench

RUN = simulated_run(np.random.default_rng(11))


def like(**values: Any) -> Any:
    """Stand in for a run of which only these parts are asked."""
    return SimpleNamespace(**values)


def moving(value: float, u: float) -> Estimate:
    return Estimate(value, np.zeros((1, 1)), MappingProxyType({"a": u}))


# ---------------------------------------------------------------- from how many readings on something is asked


def test_of_four_points_the_one_that_moves_the_line_is_asked_for() -> None:
    line = straight_line(np.array([1.0, 2.0, 3.0, 9.0]), np.array([1.1, 1.9, 3.2, 5.0]))
    (cook,) = [each for each in line.checks if "one reading alone" in each.question]
    assert not cook.holds
    three = straight_line(np.array([1.0, 2.0, 9.0]), np.array([1.1, 1.9, 5.0]))
    assert not any("one reading alone" in each.question for each in three.checks)


def test_neighbours_are_asked_of_ten_readings_and_not_of_nine() -> None:
    # All alike: the sum of all correlations, 10, is taken for no more than half of the readings.
    assert correlation_time(np.ones(10), 1.0) == 5.0
    assert correlation_time(np.ones(9), 1.0) == 1.0


def test_scatter_is_told_from_three_standard_deviations_of_its_own() -> None:
    # The Birge ratio of 32 readings scatters by 1/√64: told from 1 + 3/8 on.
    for birge, told in ((1.40, 1), (1.36, 0)):
        scatter = like(stated=True, birge=birge, correlation_time=1.0)
        assert len(_scatter(like(scatter=scatter, rows=np.arange(32)), "throws")) == told


def test_a_parabola_is_forecast_from_five_frames_on() -> None:
    plan = bench(frame_rate_hz=40.0)
    assert _parabola(plan, sight_of(plan), 0.101) is not None  # frames at 0, 25, 50, 75 and 100 ms
    assert _parabola(plan, sight_of(plan), 0.099) is None


def test_heads_between_readings_are_told_from_eight_readings_on() -> None:
    def drained(n: int) -> Series:
        t = np.linspace(0.0, 10.0, n)
        head = Column((0.5 - 0.02 * t) ** 2, np.full(n, 1e-4), np.zeros((n, 0)))
        return Series((), t, head, None, None, np.ones(n, dtype=bool))

    assert _head_operator(drained(7), np.array([5.0])) is None
    told = _head_operator(drained(8), np.array([5.0]))
    assert told is not None
    rows, operator = told
    assert operator @ np.sqrt(drained(8).head.values[rows]) == pytest.approx([0.4])  # type: ignore[union-attr]


def test_an_angle_is_left_free_from_eight_readings_on_and_where_none_was_stated() -> None:
    law: Any = like()  # of law and pairs, whose heads would be asked for
    assert ThrowsLaw.with_free_angle(law, like(rows=np.arange(7), sources=()), law) is None
    assert ThrowsLaw.with_free_angle(law, like(rows=np.arange(9), sources=(LAUNCH_ANGLE,)), law) is None
    with pytest.raises(AttributeError, match="head"):
        ThrowsLaw.with_free_angle(law, like(rows=np.arange(8), sources=()), law)


# ---------------------------------------------------------------- numbers and sizes


def test_a_sharp_edge_as_published() -> None:
    """Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 17: contraction 0.64, velocity 0.97."""
    assert (SHARP_CC, SHARP_CV) == (0.64, 0.97)


def test_the_reciprocal_of_the_series_for_a_hole_that_is_not_small() -> None:
    # ₂F₁(-1/4, 1/4; 2; z): each term from the one before, then 1/(1 + Σ aₖ zᵏ) term by term.
    a = [1.0]
    for k in range(8):
        a.append(a[-1] * (k - 0.25) * (k + 0.25) / ((k + 2.0) * (k + 1.0)))
    b = [1.0]
    for k in range(1, 9):
        b.append(-sum(a[j] * b[k - j] for j in range(1, k + 1)))
    assert list(_RECIPROCAL) == pytest.approx(b[1:], rel=1e-12)


def test_lengths_are_told_in_millimetres_value_and_uncertainty_alike() -> None:
    assert in_mm(moving(0.00123, 0.00045)) == "(1.23 ± 0.45) mm"


def test_a_change_is_called_small_below_a_millionth_or_a_thousandth_of_a_millimetre() -> None:
    assert _amount(Effect("Cv", 1.1e-6, "1")).startswith("+")
    assert _amount(Effect("Cv", 0.9e-6, "1")) == "by less than 1e-06"
    assert _amount(Effect("head", 1.1e-6, "m")).endswith(" mm")
    assert _amount(Effect("head", 1.1e-6, "m")).startswith("+")
    assert _amount(Effect("head", 0.9e-6, "m")) == "by less than 0.001 mm"


def test_every_suspect_s_unit_is_what_it_says() -> None:
    si = {"%": 1e-2, "mm": 1e-3, "°": math.radians(1.0), "m/s": 1.0, "ms": 1e-3}
    tried = to_try(basis_of(RUN.series, RUN.conditions))
    assert len(tried) >= 8
    assert {each.name: each.per_unit for each in tried} == {each.name: si[each.unit] for each in tried}


def test_a_suspect_s_size_is_set_against_what_is_usual_or_stated() -> None:
    for stated, times in ((None, 3.0), (0.5, 3.0), (4.0, 1.5)):
        assert _over_usual(like(trying=like(usual=2.0, stated_u=stated), solved=like(size=-6.0))) == times
    assert _over_usual(like(trying=None)) == 1.0


def test_a_bend_is_counted_in_its_own_uncertainty() -> None:
    bend = like(estimate=lambda _name, _n: moving(1e-5, 2e-6))
    assert bend_by(like(bend=bend, drain=like(), n=1)) == pytest.approx(5.0)
    sure = like(estimate=lambda _name, _n: moving(1e-5, 0.0))
    assert bend_by(like(bend=sure, drain=like(), n=1)) == 0.0


def test_g_from_the_clock_is_set_against_the_accepted_one_with_the_doubt_of_both() -> None:
    # ln 1.2 = 0.18232; relative u of 3 % and 4 % are 5 % together: 3.646 of them, told from 3.29 on.
    at = like(conditions=like(jet_diameter_m=0.004), gravity=like(value=10.0, u=0.4))
    (told,) = _jet(at, {"gravity_from_clock": moving(12.0, 0.36)})
    assert told == "g from the drain's clock is 20 % off the accepted one, 3.6 standard uncertainties"
    assert _jet(at, {"gravity_from_clock": moving(11.7, 0.36)}) == []


# ---------------------------------------------------------------- formulas


def test_a_product_s_derivatives() -> None:
    # 12 = 3 · 2²: by the first 4, by the second 2 · 12/2 = 12. With an intercept b: a² (b + ...), by b: a².
    at = {"a": moving(2.0, 0.1), "b": moving(3.0, 0.1), INTERCEPT: moving(0.0, 0.1)}
    whole, plain = moving(12.0, 1.0), like(fitted={"a": 2.0, "b": 1.0})
    assert _derivative(whole, plain, at, "b", 1.0) == pytest.approx(4.0)
    assert _derivative(whole, plain, at, "a", 2.0) == pytest.approx(12.0)
    assert _derivative(whole, like(fitted={"a": 2.0, INTERCEPT: 1.0}), at, INTERCEPT, 1.0) == pytest.approx(
        4.0
    )


def test_a_direction_that_nothing_determines_comes_out_wide() -> None:
    # Of [[1, 1], [1, 1]] beside 1 the directions are (1, -1)/√2 with 0, (0, 0, 1) with 1, (1, 1)/√2 with 2; the
    # first is given 1e-14 of the largest.
    made = _inverse(np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]))
    wide = np.array([1.0, -1.0, 0.0]) / math.sqrt(2.0)
    assert wide @ made @ wide == pytest.approx(1.0 / 2e-14, rel=1e-3)
    assert np.array([0.0, 0.0, 1.0]) @ made @ np.array([0.0, 0.0, 1.0]) == pytest.approx(1.0)


def test_throws_of_stills_are_smoothed_along_the_root_of_the_head() -> None:
    # Throws that lie on a cubic of √h are left alone; what alternates about it is taken off, but for a few per cent.
    root = np.linspace(0.2, 0.5, 24)
    law = 0.1 + 0.8 * root - 0.3 * root**2 + 0.2 * root**3
    own = np.full(24, 1e-4)
    none = np.zeros((24, 0))

    def stills(throw: Any) -> Series:
        kept = np.ones(24, dtype=bool)
        return Series((), None, Column(root**2, own, none), Column(throw, own, none), None, kept)

    assert _smooth_throws(stills(law), law) == pytest.approx(law, abs=1e-12)
    rough = law + 0.001 * np.where(np.arange(24) % 2, 1.0, -1.0)
    assert np.sqrt(np.mean((_smooth_throws(stills(rough), rough) - law) ** 2)) < 3e-4
    nought = Series((), None, Column(0.0 * root, own, none), None, None, np.ones(24, dtype=bool))
    assert _smooth_throws(nought, rough) is rough


def test_conditions_of_a_run_without_any_have_no_jet() -> None:
    assert _jet(like(conditions=Conditions(), gravity=like(value=9.81, u=0.0)), {}) == []


def test_readings_that_no_law_was_fitted_to_stay_as_they_were_read() -> None:
    heads = Column(np.array([0.2, 0.15, 0.1]), np.full(3, 1e-3), np.zeros((3, 0)))
    readings = Series(
        sources=(), time_s=None, head=heads, throw=None, drop=None, kept=np.ones(3, dtype=np.bool_)
    )
    findings = findings_of(readings, Conditions())
    assert findings.throws is None
    assert findings.drain is None
    head, throw, drop = on_the_law(readings, findings)
    assert head is heads.values
    assert throw is None
    assert drop is None


def test_intervals_are_not_called_checked_before_they_were() -> None:
    assert not findings_of(RUN.series, Conditions()).checked


def test_what_surface_tension_would_take_is_said_where_the_hole_is_known() -> None:
    # σ/(ρ g) of clean water at 20 °C is 7.43 mm² (IAPWS R1-76): over a jet of 4 mm 3.5 and 4 times 1.86 mm.
    def words(diameter_m: float | None, temperature_c: float | None = None) -> str:
        given = Conditions(orifice_diameter_m=diameter_m, water_temperature_c=temperature_c)
        return _capillary_words(like(conditions=given, gravity=like(value=9.81)))

    assert "−6.5 to −7.4 mm" in words(0.005)
    assert "5.00 mm" in words(0.005)
    assert words(None) == words(0.0) == ""
    assert words(0.005, 40.0)
    assert words(0.005, 0.0)
    assert words(0.005, 40.1) == words(0.005, -0.1) == ""


def test_the_drain_rate_moves_a_head_at_launch_by_what_it_was_there() -> None:
    # h = (root + k t)², the head at launch a time of flight t earlier: dh/dk = 2 √h t, with the √h of the launch.
    time = np.linspace(0.0, 50.0, 30)
    own, nothing, kept = np.full(30, 1e-3), np.zeros((30, 0)), np.ones(30, dtype=np.bool_)
    heads = (0.45 - 0.004 * time) ** 2
    readings = Series(
        sources=(),
        time_s=time,
        head=Column(heads, own, nothing),
        throw=Column(2.0 * 0.97 * np.sqrt(0.3 * heads), own, nothing),
        drop=Column(np.full(30, 0.3), own, nothing),
        kept=kept,
    )
    pairs = basis_of(readings, Conditions()).pairs
    assert pairs is not None
    flight = np.sqrt(2.0 * pairs.drop / pairs.gravity)
    rate_u = pairs.head_shared[:, -1] / (2.0 * np.sqrt(pairs.head) * flight)
    assert rate_u[0] > 0.0
    assert rate_u == pytest.approx(np.full(rate_u.shape, rate_u[0]), rel=1e-6)


def test_what_a_plan_reckons_with_unasked_is_what_its_help_says() -> None:
    # As `clepsydra plan --help` has it: 1mm, 1mm, 0.06mm, 1 per cent, 3mm, 1mm, 0: level, 300mm.
    usual = Instruments()
    assert (usual.drop_u_m, usual.zero_u_m, usual.hole_diameter_u_m) == (1e-3, 1e-3, 6e-5)
    assert (usual.area_relative_u, usual.rule_depth_u_m, usual.sway_u_m) == (0.01, 3e-3, 1e-3)
    assert (usual.launch_u_deg, usual.rule_length_m) == (0.0, 0.3)


def test_a_size_beyond_what_is_expected_costs_its_square_over_half_of_that_and_its_own_uncertainty() -> None:
    # Expected 1, found 3 ± 1.2: (2 / √(0.5² + 1.2²))² = (2/1.3)² on top of χ²; within what is expected nothing.
    def misfit(size: float) -> float:
        solved = like(size=size, size_u=1.2, misfit=7.0)
        asked = like(solved=lambda *_: solved, cv=None, cd=None)
        trying = like(trial=None, step=1.0, one_sided=False, expected=1.0)
        return _tried(trying, asked, like(misfit=9.0)).misfit

    assert misfit(3.0) == pytest.approx(7.0 + (2.0 / 1.3) ** 2)
    assert misfit(1.0) == 7.0


def test_a_speed_reckoned_with_the_accepted_g_rises_with_it() -> None:
    # v = x √(g / 2 y): dv/dg = v / 2 g.
    pairs = basis_of(RUN.series, RUN.conditions).pairs
    assert pairs is not None
    v, _, _, shared = _speed(pairs)
    moved = shared[:, pairs.sources.index(GRAVITY)]
    assert pairs.gravity_u > 0.0
    assert moved == pytest.approx(v / (2.0 * pairs.gravity) * pairs.gravity_u, rel=1e-12)


def test_correlation_that_fitted_parameters_took_away_is_put_back_lag_by_lag() -> None:
    n, rng = 400, np.random.default_rng(5)
    residuals = rng.standard_normal(n)
    for i in range(1, n):
        residuals[i] += 0.5 * residuals[i - 1]
    rho = [float(residuals[lag:] @ residuals[: n - lag]) / float(residuals @ residuals) for lag in range(n)]
    sums = [1.0 + 2.0 * sum(rho[1 : lag + 1]) for lag in range(n)]
    window = next(lag for lag in range(1, n) if lag >= 5.0 * sums[lag])
    tau = sums[window]
    assert 1.5 < tau < 6.0
    assert correlation_time(residuals, 0.0) == pytest.approx(tau)
    lost = (2 * min(window, n // 4) + 1) * 2.0 * tau / n
    assert correlation_time(residuals, 2.0) == pytest.approx(tau + lost)


def test_no_interval_is_that_of_trials_before_any_were_made() -> None:
    assert not any(each.from_trials for each in findings_of(RUN.series, RUN.conditions).findings)


def test_a_plan_whose_law_ends_above_a_third_of_its_head_is_objected_to() -> None:
    limit = law_limit_m(bench().conditions)
    assert limit is not None
    limits, words = Limits((0.002, 0.008), (0.1, 0.5)), "the law would end above a third of the starting head"
    assert list(_objections(bench(head_m=2.9 * limit), bench(), limits)) == [words]
    assert words not in list(_objections(bench(head_m=3.1 * limit), bench(), limits))


def test_a_traced_angle_that_turns_by_so_much_is_told_so() -> None:
    # 0.05° a second over 20 s is 1.0°; the alternating 0.01° is scatter, and by itself no change.
    time = np.linspace(0.0, 20.0, 9)
    scatter = 0.01 * np.array([1, -1, 1, -1, 1, -1, 1, -1, 1])
    assert "1.0°" in _trend(time, 2.0 + 0.05 * time + scatter)
    assert _trend(time, 2.0 + scatter) == ""


def test_an_angle_of_the_throws_and_cv_are_correlated_by_no_more_than_wholly() -> None:
    angle = launch_angle(basis_of(RUN.series, RUN.conditions))
    assert not isinstance(angle, str), angle
    (told,) = [each for each in angle.remarks if "correlation of the two" in each]
    number = told.partition("correlation of the two ")[2].split(")")[0].replace("−", "-")
    assert 0.3 < abs(float(number)) <= 1.0
