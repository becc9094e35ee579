"""Facts that small faults in formulas would break: each worked by hand or taken from the source that is named."""

from __future__ import annotations

import dataclasses
import math
from types import MappingProxyType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis import (
    AreaProfile,
    Column,
    Conditions,
    Estimate,
    Fall,
    Falling,
    Falls,
    Finding,
    Instruments,
    Series,
    Shape,
    TracedJet,
    accepted_gravity,
    covariance,
    findings_of,
    monte_carlo,
    normal_gravity,
    water_at,
)
from analysis.answer import Derived, settled
from analysis.basis import basis_of
from analysis.bivariate import line_with_errors_in_both
from analysis.checks import _wander
from analysis.condensed import on_the_law
from analysis.corrections import _change_of_cv, _surface_speed, _throw_like
from analysis.diagnosis import Diagnosis
from analysis.doubts import _bent, _scatter
from analysis.drag import AIR_DENSITY, AIR_VISCOSITY, slowing
from analysis.drain_clock import DrainClock
from analysis.expected import expected_of
from analysis.flow import flow_of
from analysis.freefall import answers_from_falls
from analysis.from_lines import speed_coefficient_of_line, throw_zero_offset
from analysis.gravity_combined import _joined
from analysis.jet_shape import _Path
from analysis.models import ROOT_HEAD_TIME
from analysis.monte_carlo import _FORMULAS
from analysis.plan_forecast import _round_heads, forecast_of
from analysis.plan_proposal import _steps
from analysis.pooling import _odd
from analysis.published_tables import (
    BOVEY_CD,
    CASTEL,
    HAMILTON_SMITH_CD,
    MAIR_CD,
    ROUNDED_BY_TEMPERATURE,
    WEISBACH_CV,
)
from analysis.refits import PAIRS, Bend, _bend
from analysis.scatter import correlation_time
from analysis.shifts import _INTACT, _PRESSURE, Shift, finite_hole_ratio, hole_size_shift
from analysis.slopes import _usable_u_y
from analysis.suspect_list import _CAPILLARY_DRAIN, _DROP_OF_WATER_M, _wind
from analysis.suspect_trials import Wrong, _own_variance, bench_of
from analysis.suspects import _compared, _tube_suspect
from analysis.triggers import _bend as _bend_trigger
from tests.analysis.simulated import simulated_run
from tests.analysis.test_derivatives import PLAIN, RISING
from tests.analysis.test_derivatives import series as drained
from tests.analysis.test_plan import bench

RUN = simulated_run(np.random.default_rng(11))
N = RUN.series.kept.shape[0]


def like(**values: Any) -> Any:
    """Stand in for a run of which only these parts are asked."""
    return SimpleNamespace(**values)


@pytest.mark.parametrize(("t", "density"), [(4.0, 999.9749), (20.0, 998.2067), (25.0, 997.0470)])
def test_density_of_water_as_published(t: float, density: float) -> None:
    """Table of Tanaka and others (2001); the three values are given from memory."""
    assert water_at(t).density == pytest.approx(density, abs=2e-4)


def test_interval_in_the_logarithm_for_a_small_uncertainty_is_the_symmetric_one() -> None:
    estimate = Estimate(10.0, np.zeros((1, 1)), {"a": 1e-3})
    assert estimate.log_interval_95 == pytest.approx(estimate.interval_95, abs=1e-6)


def test_a_coefficient_below_one_may_have_its_interval_in_the_logarithm() -> None:
    # exp(±1.959964 · 0.1/0.5) = 1.479928 and 0.675708 (arithmetic).
    estimate = Estimate(0.5, np.zeros((1, 1)), {"a": 0.1})
    found = settled("discharge_coefficient", Derived(estimate, "Cd", "1", "m", False, in_logarithm=True))
    assert isinstance(found, Finding)
    assert found.interval_95 == pytest.approx((0.5 * 0.675708, 0.5 * 1.479928), rel=1e-5)


def test_errors_of_y_are_lifted_to_a_hundredth_of_the_hypotenuse() -> None:
    points = SimpleNamespace(y_u=np.array([0.0, 0.1]), x_u=np.array([3.0, 3.0]))
    lifted = _usable_u_y(points, -4.0)  # type: ignore[arg-type]
    assert lifted == pytest.approx([0.12, 0.01 * np.hypot(0.1, 12.0)], rel=1e-9)


def test_values_of_x_that_differ_by_rounding_do_not_differ_in_any_unit() -> None:
    for unit in (1e-6, 1.0, 1e6):
        x = unit * np.array([1.0, 1.0 + 2e-13, 1.0 - 2e-13])
        with pytest.raises(ValueError, match="x values do not differ"):
            line_with_errors_in_both(x, np.array([1.0, 2.0, 3.0]), np.zeros(3), np.ones(3))


# ---------------------------------------------------------------- doubts and triggers


def bent(q: float) -> Any:
    """√head from 0.5 at 5e-3 a second over 40 s, bent by q, known to 2.7e-6."""
    drain = like(value={"root_h0": 0.5, "k": 0.005}.__getitem__)
    bend = like(names=["bend"], covariance=np.array([[2.7e-6**2]]), theta=np.array([q]), rows=np.arange(3))
    return like(bend=bend, drain=drain, uneven_why="", series=like(time_s=np.array([3.0, 20.0, 43.0])))


def test_a_bend_of_the_drain_is_told_with_its_size_from_three_and_a_third_standard_uncertainties() -> None:
    # At mid-run √h = 0.4, so that -q T²/4 = -4e-3 m^0.5 there is 2 · 0.4 · 4e-3 m = 3.2 mm below; 1e-5 is 3.7 of
    # 2.7e-6, 0.88e-5 is 3.26.
    (told,) = _bent(bent(1e-5), guess=False)
    assert "3.2 mm of head below" in told.says
    assert "3.7 standard uncertainties" in told.says
    (above,) = _bent(bent(-1e-5), guess=False)
    assert "3.2 mm of head above" in above.says
    assert _bent(bent(0.88e-5), guess=False) == []


def test_a_sound_run_is_told_that_its_two_linearisations_agree() -> None:
    remarks = findings_of(RUN.series, RUN.conditions).remarks
    told = [each.says for each in remarks if each.about == "two linearisations"]
    assert len(told) == 1
    assert told[0].startswith("they agree")


def test_the_law_of_a_jet_is_named_as_it_was_taken() -> None:
    for angle, words in ((None, "joint fit of x = 2 Cv √(y₀ h)"), (0.5, "joint fit of the whole parabola")):
        at = dataclasses.replace(RUN.conditions, launch_angle_deg=angle, launch_angle_u_deg=angle)
        cv = findings_of(RUN.series, at).finding("speed_coefficient")
        assert cv is not None
        assert cv.method.startswith(words)


def test_a_diagnosis_claims_nothing_unexplained_unless_it_was_told() -> None:
    assert not Diagnosis((), ()).unexplained


# ---------------------------------------------------------------- corrections


def test_size_of_the_surface_speed() -> None:
    # r = 0.3: a jet that seems 0.96 with the surface's speed allowed for seems 0.96/√(1 - 0.09) = 1.006354 without.
    throws = like(value={"cv": 0.96}.__getitem__)
    basis = like(full_approach=0.3, approach=0.3, throws=throws, corrections=like(surface_speed=True))
    (effect,) = _surface_speed(basis).effects
    assert effect.change == pytest.approx(0.96 - 1.006354, abs=1e-6)


def test_a_millimetre_of_lost_head_counts_as_a_millimetre_less_throw_where_the_throw_is_twice_the_head() -> (
    None
):
    # x ∝ √h: dx = x dh/2h = 0.5 · 0.001/0.5.
    seen = like(
        head=like(values=np.array([0.25])),
        throw=like(values=np.array([0.5])),
        drop=like(values=np.array([0.4])),
    )
    basis = like(
        corrected=like(throws=seen, angle_rad=0.0), corrections=like(fall_during_flight=False), n=1,
        fall_in_flight=np.zeros(1),
    )  # fmt: skip
    shift = Shift(MappingProxyType({"jet_head": np.array([0.001])}))
    assert _throw_like(basis, shift) == pytest.approx([-0.001], rel=1e-12)


def test_the_jet_of_a_hole_that_is_not_small_gains_twice_what_its_discharge_loses() -> None:
    # Unwin 1910, s. 40: Q/Q₁ = 1 - (d/2h)²/32 and so on, so that the momentum's head is h (1 + (d/2h)²/16 …):
    # d = 20 mm under 40 mm: 40 · (1 + 0.0625/16) = 40.156 mm to first order.
    head = Column(np.array([0.04]), np.zeros(1), np.zeros((1, 0)))
    series = Series((), None, head, None, None, np.ones(1, dtype=bool))
    shift = hole_size_shift(series, Conditions(orifice_diameter_m=0.02))
    assert isinstance(shift, Shift)
    assert shift.adds["jet_head"][0] == pytest.approx(0.04 * 0.0625 / 16.0, rel=0.03)
    assert finite_hole_ratio(np.array([0.04]), 0.02)[0] == pytest.approx(1.0 - 0.0625 / 32.0, abs=3e-5)


# ---------------------------------------------------------------- falls


def two_events(step_s: float, flight_s: float = 0.2856, drop_m: float = 0.4) -> Falls:
    none = np.zeros((2, 0))
    down = Column(np.array([0.0, drop_m]), np.zeros(2), none)
    return Falls(
        (), (Fall("a drop", Falling.DROP, np.array([1.0, 1.0 + flight_s]), np.full(2, step_s), none, down),)
    )


def test_what_an_uncertain_time_does_to_the_mean_of_its_inverse_square_is_taken_off_and_told() -> None:
    # 1/T² is too large by 3 u²(T)/T² on average; each end falls anywhere within its frame of 1/30 s, so that
    # u²(T) = 2 · (1/30)²/12 and the bias 3 · 1.8519e-4/0.081567 = 0.68 %.
    g = accepted_gravity(RUN.conditions)
    slow = answers_from_falls(two_events(1.0 / 30.0), g, None)["gravity_from_fall_time"]
    assert isinstance(slow, Derived)
    assert any("on average, here by 0.68 %" in words for words in slow.remarks)
    # u(g) = 2 g u(T)/T with u(T) = (1/30)/√6 s.
    alone = 2.0 * slow.estimate.value * (1.0 / 30.0 / math.sqrt(6.0)) / 0.2856
    assert any(f"33.3 ms, which alone gives {alone:.2f} m/s²" in words for words in slow.remarks)
    fast = answers_from_falls(two_events(1.0 / 1000.0), g, None)["gravity_from_fall_time"]
    assert isinstance(fast, Derived)
    assert not any("on average" in words for words in fast.remarks)


def test_a_fall_with_one_column_too_short_is_refused() -> None:
    fall = two_events(0.01).falls[0]
    with pytest.raises(ValueError, match="step_s must have shape"):
        dataclasses.replace(fall, step_s=np.full(3, 0.01))
    with pytest.raises(ValueError, match="time_shared"):
        dataclasses.replace(fall, time_shared=np.zeros((3, 0)))


def test_what_two_routes_share_adds_up_in_their_mean() -> None:
    one, other = (Estimate(9.8, np.zeros((1, 1)), {"rule": move}) for move in (0.1, 0.3))
    assert _joined(9.8, (one, other), (0.25, 0.75)).shared["rule"] == pytest.approx(0.025 + 0.225)


def test_the_drain_s_line_is_against_time() -> None:
    basis = basis_of(RUN.series, RUN.conditions)
    assert basis.pairs is not None
    points = ROOT_HEAD_TIME.points(basis.pairs)
    assert points.x == pytest.approx(basis.pairs.time_s)
    assert not np.any(ROOT_HEAD_TIME.points(dataclasses.replace(basis.pairs, time_s=None)).x)


@pytest.mark.parametrize(("zero_u_m", "unstated"), [(4e-4, False), (0.0, True)])
def test_a_zero_of_the_head_is_free_in_the_throws_only_where_nothing_was_stated_of_it(
    zero_u_m: float, unstated: bool
) -> None:
    assert RUN.series.head is not None
    assert RUN.series.throw is not None
    columns = {}
    for name in ("head", "throw", "drop"):
        old = getattr(RUN.series, name)
        shared = np.full((N, 1), zero_u_m if name == "head" else 0.0)
        columns[name] = Column(old.values, old.own_u, shared)
    series = Series(("zero",), RUN.series.time_s, kept=RUN.series.kept, **columns)
    assert basis_of(series, RUN.conditions).both_zeros.unstated == unstated


# ---------------------------------------------------------------- rows, flow, bands


def test_a_head_of_nought_is_no_reading() -> None:
    assert RUN.series.head is not None
    values = RUN.series.head.values.copy()
    values[3] = 0.0
    series = dataclasses.replace(RUN.series, head=dataclasses.replace(RUN.series.head, values=values))
    chosen = basis_of(series, RUN.conditions).chosen
    assert not chosen.with_head[3]
    assert (
        chosen.reasons[3]
        == basis_of(
            dataclasses.replace(
                series, head=dataclasses.replace(RUN.series.head, values=np.where(values > 0.0, values, -1.0))
            ),
            RUN.conditions,
        ).chosen.reasons[3]
    )


def test_a_hole_of_no_width_has_no_flow() -> None:
    basis = basis_of(RUN.series, dataclasses.replace(RUN.conditions, orifice_diameter_m=0.0))
    assert flow_of(basis) is None


def test_the_band_of_a_run_is_that_of_its_own_heads() -> None:
    # 0.04 ft and 0.4 to 0.8 ft: 0.637 to 0.626 (Hamilton Smith, in the table), where any head would be 0.58 to 0.72.
    head = Column(np.linspace(0.8, 0.4, 9) * 0.3048, np.full(9, 1e-4), np.zeros((9, 0)))
    series = Series((), None, head, None, None, np.ones(9, dtype=bool))
    basis = basis_of(series, Conditions(orifice_diameter_m=0.04 * 0.3048, wall_thickness_m=1e-3))
    band = expected_of(basis)["discharge_coefficient"]
    assert band.likely == pytest.approx(0.5 * (0.637 + 0.626), abs=1e-6)
    no_head = expected_of(
        basis_of(
            dataclasses.replace(series, kept=np.zeros(9, dtype=bool)),
            Conditions(orifice_diameter_m=0.012, wall_thickness_m=1e-3),
        )
    )
    everywhere = no_head["discharge_coefficient"]
    published = [value for _, row in HAMILTON_SMITH_CD for value in row if value is not None]
    assert everywhere.low <= min(published)
    # A jet that fills a short tube has 0.82 (Unwin s. 44): no sharp edge comes near.
    assert max(published) <= everywhere.high < 0.75


def test_published_tables_as_they_were_copied() -> None:
    # A jet carries what its speed and section say, Cd = Cc Cv; two of Castel's rows miss that by 0.005.
    for _, contraction, speed, discharge in CASTEL:
        assert discharge == pytest.approx(contraction * speed, abs=0.0051)
    # Angles stand in degrees and minutes in the source, and add up to 280° 40'.
    minutes = [60.0 * row[0] for row in CASTEL]
    assert minutes == pytest.approx([round(each) for each in minutes], abs=0.01)
    assert sum(minutes) == pytest.approx(SUMS["CASTEL"], abs=0.1)
    # 60, 130 and 190 °F.
    assert [t for t, _ in ROUNDED_BY_TEMPERATURE] == pytest.approx([15.556, 54.444, 87.778], abs=1e-3)
    copied = {
        "HAMILTON_SMITH": [head + sum(v for v in row if v is not None) for head, row in HAMILTON_SMITH_CD],
        "MAIR": [head + sum(row) for head, row in MAIR_CD],
        "BOVEY": [head + cd for head, cd in BOVEY_CD],
        "WEISBACH": [head + cv for head, cv in WEISBACH_CV],
        "ROUNDED": [cd for _, cd in ROUNDED_BY_TEMPERATURE],
    }
    for name, rows in copied.items():
        assert sum(rows) == pytest.approx(SUMS[name], abs=5e-4), name


SUMS = {
    "CASTEL": 16840.0,
    "HAMILTON_SMITH": 68.025,
    "MAIR": 41.137,
    "BOVEY": 117.676,
    "WEISBACH": 412.369,
    "ROUNDED": 2.903,
}
"""Of all figures of a table, so that none changes by a slip."""


# ---------------------------------------------------------------- scatter and the check of the budget


def test_correlation_time_of_a_step_against_its_sums_term_by_term() -> None:
    # Eight readings above the law and eight below: ρ(l) from the products themselves, summed to the window of
    # Sokal 1989; the terms up to that lag on both sides have each lost 2 τ/n.
    r = np.repeat([1.0, -1.0], 8)
    n = r.shape[0]
    total, window = 1.0, 0
    for lag in range(1, n):
        total += 2.0 * float(r[:-lag] @ r[lag:]) / n
        window = lag
        if lag >= 5.0 * total:
            break
    tau = max(1.0, total)
    expected = tau + (2 * min(window, n // 4) + 1) * 2.0 * tau / n if tau > 1.0 else 1.0
    assert correlation_time(r) == pytest.approx(min(expected, n / 2.0), rel=1e-9)
    steady = np.tile([1.0, 1.0, 1.0, -1.0, -1.0, -1.0], 20)
    assert correlation_time(steady) == 1.0


POWERS = (
    # Cd = k (A/a) √(2/g), g = 2 k² A²/(Cv Cc a)² with a hole, with a jet 2 k² A²/(Cv a_jet)².
    ("discharge_coefficient", "container area", "container_area_m2", 1.0),
    ("discharge_coefficient", "orifice diameter", "orifice_diameter_m", -2.0),
    ("gravity_from_clock", "container area", "container_area_m2", 2.0),
    ("gravity_from_clock", "orifice diameter", "orifice_diameter_m", -4.0),
    ("gravity_from_clock", "jet diameter", "jet_diameter_m", -4.0),
)


@pytest.mark.parametrize(("name", "source", "key", "power"), POWERS)
def test_a_formula_in_the_check_of_a_budget_has_the_powers_of_the_law(
    name: str, source: str, key: str, power: float
) -> None:
    at = RUN.conditions
    if key == "jet_diameter_m":
        at = dataclasses.replace(at, jet_diameter_m=0.8 * (at.orifice_diameter_m or 0.0))
    assert _FORMULAS[name].once[source] == power
    values = []
    for factor in (1.0, 1.01):
        found = findings_of(RUN.series, dataclasses.replace(at, **{key: factor * getattr(at, key)})).finding(
            name
        )
        assert found is not None
        values.append(found.value)
    # The hole's width also tells how fast the surface moves, a little.
    assert values[1] / values[0] == pytest.approx(1.01**power, rel=1e-3)


def test_without_anything_said_of_the_readings_a_gain_is_one() -> None:
    odd = np.linspace(-1.0, 1.0, 12)
    assert _bend(odd, 0.01 * odd, None).gain == 1.0


# ---------------------------------------------------------------- plans


def test_steps_are_one_two_five_or_ten_times_the_finest() -> None:
    assert _steps((0.0, 1.0), 0.125, 8) == pytest.approx([0.125 * i for i in range(9)])
    assert _steps((0.0, 90.0), 1.0, 9) == pytest.approx([10.0 * i for i in range(10)])
    assert _steps((0.0, 40.0), 1.0, 9) == pytest.approx([5.0 * i for i in range(9)])


def test_moments_of_a_plan_stand_at_round_heads() -> None:
    heads = _round_heads(0.3, 0.05)
    assert heads[0] == 0.3
    assert heads[-1] == 0.05
    steps = -np.diff(heads[1:-1])
    assert steps == pytest.approx(np.full(len(steps), steps[0]))
    for start in (0.5, 0.37, 0.2, 0.11):
        steps = -np.diff(_round_heads(start, 0.02)[1:-1])
        lead = steps[0] / 10.0 ** math.floor(math.log10(steps[0]) + 1e-9)
        assert min(abs(lead - m) for m in (1.0, 2.0, 5.0)) < 1e-6


# ---------------------------------------------------------------- shapes, clocks, suspects


def test_a_jet_traced_in_one_stretch_of_time_is_a_jet() -> None:
    column = Column(np.ones(3), np.ones(3), np.zeros((3, 0)))
    assert TracedJet((), np.array([1.0]), column, column, 0.002).time_s.shape == (1,)
    with pytest.raises(ValueError, match="do not divide"):
        TracedJet((), np.zeros(0), column, column, 0.002)
    with pytest.raises(ValueError, match="do not divide"):
        TracedJet((), np.array([1.0, 2.0]), column, column, 0.002)


def test_the_clock_of_a_narrow_neck_runs_by_its_area() -> None:
    # Reference 1 cm², neck 0.05 cm²: the head falls twenty times as fast there; 2 √h · 1/0.05.
    profile = AreaProfile.of_areas([0.0, 0.1, 0.2], [5e-6, 5e-6, 2e-4])
    clock, head = DrainClock(profile, 1e-4), np.array([0.04])
    assert clock.head_by_root(clock.root(head), head) == pytest.approx([2.0 * 0.2 * 20.0], rel=1e-9)


def test_a_profile_tells_of_the_heights_at_its_very_ends_and_of_none_beyond() -> None:
    clock = DrainClock(AreaProfile.of_areas([0.05, 0.1, 0.2], [5e-6, 5e-6, 2e-4]), 1e-4)
    heads = np.array([0.0499, 0.05, 0.2, 0.2001, np.nan])
    assert clock.covers(heads).tolist() == [False, True, True, False, False]


def test_what_is_known_of_area_hole_and_jet_stands_in_a_trial_s_levels() -> None:
    d = RUN.conditions.orifice_diameter_m or 0.0
    at = dataclasses.replace(
        RUN.conditions,
        container_area_m2=0.004,
        container_area_u_m2=4e-5,
        orifice_diameter_u_m=0.01 * d,
        jet_diameter_m=0.8 * d,
        jet_diameter_u_m=0.016 * d,
    )
    bench = bench_of(basis_of(RUN.series, at))
    assert bench is not None
    # Areas of holes go with the square of their width: √(0.01² + 0.02²), √(0.01² + 0.04² + 0.002²).
    assert bench.cd_sd == pytest.approx(math.hypot(0.01, 0.02))
    assert bench.jet_sd == pytest.approx(math.hypot(0.01, 0.04, 0.002))
    assert bench.per_k is not None
    assert bench.jet_per_k == pytest.approx(bench.per_k / 0.64)
    unmeasured = bench_of(basis_of(RUN.series, dataclasses.replace(at, jet_diameter_m=None)))
    assert unmeasured is not None
    assert unmeasured.jet_per_k is None


def test_readings_on_a_smooth_curve_keep_the_errors_that_were_stated() -> None:
    misses = np.linspace(-0.1, 0.1, 40)
    assert _own_variance(misses, np.full(40, 1e-8)) == pytest.approx(np.full(40, 1e-8), rel=1e-6)


def test_a_size_is_set_against_what_was_stated() -> None:
    stated = like(unit="mm", traced=False)
    assert "within what was stated (0.20 mm)" in _compared(1.5, 0.2, stated)
    assert "3.0 times its stated uncertainty (0.20 mm)" in _compared(3.0, 0.2, stated)
    traced = like(unit="mm", traced=True)
    assert "within what the traced jet leaves open" in _compared(1.5, 0.2, traced)
    assert "3.0 times what the traced jet leaves open" in _compared(3.0, 0.2, traced)


def test_a_tube_has_the_size_of_its_hole() -> None:
    suspect = _tube_suspect(like(conditions=Conditions(orifice_diameter_m=0.005)), Shape.SILENT, 10.0)
    assert (suspect.size, suspect.size_u, suspect.unit) == (5.0, 2.5, "mm")
    assert "about 4.0 mm" in suspect.says


# ---------------------------------------------------------------- further formulas, one by one


def test_normal_gravity_at_equator_and_pole_as_published() -> None:
    """WGS 84, NIMA TR8350.2, table 3.4: 9.7803253359 and 9.8321849378 m/s²."""
    assert normal_gravity(0.0) == pytest.approx(9.7803253359, abs=1e-9)
    assert normal_gravity(90.0) == pytest.approx(9.8321849378, abs=1e-9)


def test_air_of_a_room_as_published() -> None:
    """Dry air at 20 °C and 101.325 kPa: 1.204 kg/m³ and 18.2 µPa s (from memory)."""
    assert pytest.approx(1.204, rel=0.01) == AIR_DENSITY
    assert pytest.approx(18.2e-6, rel=0.01) == AIR_VISCOSITY


def test_a_drilled_hole_is_within_a_tenth_of_a_millimetre_evenly() -> None:
    assert Instruments().hole_diameter_u_m == pytest.approx(0.1e-3 / math.sqrt(3.0), rel=0.05)


def test_surface_tension_takes_from_jet_and_drain_in_one_ratio_wherever_it_is_reckoned() -> None:
    assert _CAPILLARY_DRAIN == _PRESSURE / _INTACT == 2.0 / 3.5


def test_a_sound_run_has_nothing_wrong() -> None:
    assert all(value == 0.0 for value in dataclasses.asdict(Wrong()).values())


def test_throws_that_are_all_five_millimetres_too_long_show_it_as_their_zero() -> None:
    assert RUN.series.throw is not None
    longer = dataclasses.replace(RUN.series.throw, values=RUN.series.throw.values + 0.005)
    found = [
        throw_zero_offset(basis_of(series, RUN.conditions))
        for series in (RUN.series, dataclasses.replace(RUN.series, throw=longer))
    ]
    before, after = (each.estimate.value for each in found if isinstance(each, Derived))
    assert after - before == pytest.approx(0.005, rel=0.02)


def test_a_pulled_angle_is_left_as_sure_as_it_follows_what_is_stated() -> None:
    # A stated angle with the weight 1 - w of the readings against it follows by w, and w is what is left of u².
    at = dataclasses.replace(RUN.conditions, launch_angle_deg=0.0, launch_angle_u_deg=1.0)
    angles = [
        findings_of(RUN.series, dataclasses.replace(at, launch_angle_deg=deg)).finding("launch_angle_deg")
        for deg in (-0.05, 0.05)
    ]
    low, high = (each for each in angles if each is not None)
    assert high.u**2 == pytest.approx((high.value - low.value) / 0.1, rel=0.03)


def test_a_bent_drain_gives_back_its_bend() -> None:
    time = np.linspace(0.0, 40.0, 30)
    head = Column(
        (0.5 - 0.005 * time + 2e-5 * time * (time - 40.0)) ** 2, np.full(30, 1e-4), np.zeros((30, 0))
    )
    basis = basis_of(Series((), time, head, None, None, np.ones(30, dtype=bool)), Conditions())
    assert basis.bend is not None
    assert basis.bend.value("bend") == pytest.approx(2e-5, rel=1e-6)


def test_a_bend_is_a_trigger_from_three_point_six_standard_uncertainties() -> None:
    for value, told in ((1e-5, True), (3e-6, False)):
        bend = Estimate(value, np.zeros((1, 1)), {"a": 2e-6})
        basis = like(bend=like(estimate=lambda _name, _n, b=bend: b), drain=like(), n=1)
        assert bool(_bend_trigger(basis)) == told


def test_of_three_runs_that_disagree_none_is_named_that_is_not_far_off() -> None:
    # 2.39 is what the worst of three sound runs passes once in twenty (Bonferroni): Φ⁻¹(1 - 0.05/6).
    x, u = np.array([3.0, 0.0, 0.1]), np.ones(3)
    assert _odd(x, u, np.array([2.35, 0.5, 0.6]), 0.01) is None
    assert _odd(x, u, np.array([2.45, 0.5, 0.6]), 0.01) == 0


def test_a_wind_takes_its_share_over_the_time_of_flight() -> None:
    # 0.3 m at 9.81 m/s²: 0.24731 s; the drop is slowed by c v², so that c = slowing at 2 m/s over 4 m²/s².
    basis = like(pairs=None, gravity=like(value=9.81))
    c = float(slowing(np.array([2.0]), _DROP_OF_WATER_M)[0]) / 4.0
    assert _wind(basis) == pytest.approx(0.24731 * c, rel=1e-4)


def test_independent_readings_are_as_many_as_their_correlation_leaves() -> None:
    scatter = like(stated=False, birge=1.0, correlation_time=4.0)
    (told,) = _scatter(like(scatter=scatter, rows=np.arange(100)), "throws")
    assert "100 readings count as about 25" in told.says


def test_runs_of_few_readings_are_judged_too() -> None:
    # One of eight above the line, in the middle: 3 runs, 2.75 expected, variance 1.75 · 0.75/7 = 0.1875.
    check = _wander(np.array([-1.0, -1.0, -1.0, 1.0, -1.0, -1.0, -1.0, -1.0]))
    assert check is not None
    assert check.found == pytest.approx((2.75 - 3.0) / math.sqrt(0.1875))


def test_what_two_estimates_do_not_share_does_not_go_together() -> None:
    one, other = (Estimate(1.0, np.zeros((1, 1)), {name: 1.0}) for name in ("this", "that"))
    assert covariance(one, other) == 0.0


def test_a_value_of_nought_has_its_interval_on_both_sides() -> None:
    estimate = Estimate(0.0, np.zeros((1, 1)), {"a": 0.1})
    found = settled("g", Derived(estimate, "g", "1", "m", False, in_logarithm=True))
    assert isinstance(found, Finding)
    assert found.interval_95 == pytest.approx((-0.195996, 0.195996), rel=1e-5)


def test_three_marks_of_a_fall_make_a_parabola() -> None:
    t = np.array([0.1, 0.2, 0.3])
    down = Column(9.81 * t**2 / 2.0, np.full(3, 1e-4), np.zeros((3, 0)))
    falls = Falls((), (Fall("a drop", Falling.DROP, t, np.full(3, 0.01), np.zeros((3, 0)), down),))
    g = answers_from_falls(falls, accepted_gravity(RUN.conditions), None)["gravity_from_parabola"]
    assert isinstance(g, Derived)
    assert g.estimate.value == pytest.approx(9.81, rel=1e-6)


def test_a_jet_that_leaves_so_steeply_down_that_nothing_is_left_to_fall_has_no_line() -> None:
    line = like(slope=like(value=1.0))
    basis = like(line=lambda _law, **_which: line, pairs=like(drop=np.zeros(2)), approach=0.0)
    assert speed_coefficient_of_line(basis, free_intercept=True) is None


def test_a_correction_that_makes_the_zero_fit_again_is_set_against_the_held_zero() -> None:
    # With the correction the zero misses by 4 sd and was left free, Cv 0.97; without it it would miss by half of
    # one, so that Cv would be the held 0.95.
    held = like(value={"cv": 0.95}.__getitem__, gain=np.zeros((1, 1)), rows=np.array([0]))
    free = like(
        names=["cv", "head_zero"],
        value={"cv": 0.97, "head_zero": 0.004}.__getitem__,
        gain=np.array([[0.0], [1.0]]),
        rows=np.array([0]),
        covariance=np.diag([1.0, 1e-6]),
    )
    basis = like(both_zeros=like(held=held, free=free, unstated=False), throws=free)
    assert _change_of_cv(basis, np.array([0.0035]), on=True) == pytest.approx(0.97 - 0.95)


def test_a_traced_centre_is_moved_square_to_the_jet() -> None:
    # On y = c x² the way of the water is (1, 2 c x).
    x = np.array([[0.1, 0.2, 0.4]])
    path = like(
        x=x, y=1.5 * x**2, _traced=like(sources=(), half_width_m=0.002), _series=like(sources=(), head=None)
    )
    ((_, moved_x, moved_y, _),) = _Path.moved(path)
    aside, down = moved_x - x, moved_y - 1.5 * x**2
    assert aside + 3.0 * x * down == pytest.approx(np.zeros_like(x), abs=1e-15)
    assert np.hypot(aside, down) == pytest.approx(np.full_like(x, np.hypot(aside, down)[0, 0]))
    assert np.all(aside > 0.0)


def test_instruments_without_any_error_leave_next_to_none() -> None:
    without = {
        field.name: 0.0
        for field in dataclasses.fields(Instruments)
        if field.name.endswith(("u_m", "u_px", "relative_u", "u_deg"))
    }
    forecast = forecast_of(bench(instruments=Instruments(**without)))
    assert forecast.cv_u is not None
    assert forecast.cv_u < 1e-5


def test_a_rising_jet_laid_on_its_law_lands_where_it_was_seen() -> None:
    # At 5° a throw over √(h y) changes by 3 % along the run: some 10 mm, where the readings err by 0.4 mm.
    at = dataclasses.replace(RISING, launch_angle_deg=5.0)
    readings = drained(at)
    _, throw, _ = on_the_law(readings, findings_of(readings, at))
    assert throw is not None
    assert readings.throw is not None
    assert throw == pytest.approx(readings.throw.values, abs=1.2e-3)


def test_a_quantity_that_bends_is_drawn_with_its_bend(monkeypatch: pytest.MonkeyPatch) -> None:
    # s + 0.3 (s² - 1) of a normal s has the mean 0 and the variance 1 + 2 · 0.09.
    bend = Bend(gain=1.0, bias=0.0, curvature=0.3, roughness=0.0, pairs=PAIRS)
    monkeypatch.setattr(monte_carlo, "bends_of", lambda *_, **__: (1, {"speed_coefficient": bend}))
    readings = drained(PLAIN)
    findings = findings_of(readings, PLAIN)
    checked = monte_carlo.checked_by_monte_carlo(
        findings, readings, lambda each: findings_of(each, PLAIN), seed=1
    )
    check, estimate = checked.check("speed_coefficient"), findings.estimates["speed_coefficient"]
    assert check is not None
    assert check.u == pytest.approx(math.sqrt(1.18) * estimate.u, rel=0.02)
    # Whatever is made of drawn quantities is made in its own size.
    assert [each.name for each in checked.checks] == [each.name for each in findings.findings]
    for each in checked.checks:
        one = findings.estimates[each.name]
        assert each.mean == pytest.approx(one.value, abs=0.3 * one.u), each.name
