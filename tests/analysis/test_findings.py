"""What a series says, what it does not, and that neither depends on order, units or luck."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import Column, Conditions, Findings, Series, covariance, findings_of, law_limit_m
from analysis.penalised import directions_of
from analysis.rows import BELOW_LIMIT
from tests.analysis.simulated import SCENARIOS, Simulated, simulated_run

NAMES = {
    "speed_coefficient",
    "discharge_coefficient",
    "head_zero_offset_m",
    "throw_zero_offset_m",
    "slope_speed_vs_root_head",
    "slope_speed_squared_vs_head",
    "slope_throw_squared_vs_head",
    "gravity_from_slope_root",
    "gravity_from_slope_squared",
    "gravity_from_clock",
    "drain_rate_root_m_per_s",
    "time_to_empty_s",
    "speed_coefficient_zero_intercept",
    "speed_coefficient_mean_of_ratios",
    "launch_angle_deg",
}
RUN = simulated_run(np.random.default_rng(11))


def scenario(name: str, seed: int) -> Simulated:
    return simulated_run(np.random.default_rng(seed), next(each for each in SCENARIOS if each.name == name))


def assert_sound(findings: Findings, n: int) -> None:
    """Assert what must hold of any answer, whatever the input."""
    named = [finding.name for finding in findings.findings] + [each.name for each in findings.undetermined]
    assert sorted(named) == sorted(NAMES)
    for finding in findings.findings:
        low, high = finding.interval_95
        assert all(math.isfinite(number) for number in (finding.value, finding.u, low, high)), finding
        assert low < finding.value < high
        assert finding.u > 0.0
        assert finding.method
        assert sum(share.u**2 for share in finding.budget) == pytest.approx(finding.u**2, rel=1e-9)
        assert list(finding.budget) == sorted(finding.budget, key=lambda share: -share.u)
    assert all(each.missing for each in findings.undetermined)
    assert findings.kept.shape == findings.speed_m_s.shape == findings.paired_head_m.shape == (n,)
    assert len(findings.reasons) == n


def same(one: Findings, other: Findings, rel: float = 1e-7) -> None:
    assert [f.name for f in one.findings] == [f.name for f in other.findings]
    for a, b in zip(one.findings, other.findings, strict=True):
        assert b.value == pytest.approx(a.value, rel=rel, abs=rel * a.u), a.name
        assert b.u == pytest.approx(a.u, rel=rel), a.name


def test_every_name_of_the_contract_is_determined_by_a_whole_run() -> None:
    findings = findings_of(RUN.series, RUN.conditions)
    assert findings.undetermined == ()
    assert_sound(findings, RUN.series.kept.shape[0])


def test_only_what_used_an_assumed_g_says_so() -> None:
    findings = findings_of(RUN.series, RUN.conditions)
    assert {finding.name for finding in findings.findings if finding.depends_on_assumed_g} == {
        "slope_speed_vs_root_head",
        "slope_speed_squared_vs_head",
        "gravity_from_slope_root",
        "gravity_from_slope_squared",
        "discharge_coefficient",
    }
    for name in ("gravity_from_slope_root", "gravity_from_slope_squared"):
        finding = findings.finding(name)
        assert finding is not None
        assert any("no news of g" in remark and "g_assumed·Cv²" in remark for remark in finding.remarks)
    clock = findings.finding("gravity_from_clock")
    assert clock is not None
    assert any("contraction coefficient" in remark for remark in clock.remarks)


@pytest.mark.parametrize("g_assumed", [1.62, 9.80665, 24.8])
def test_g_from_a_slope_gives_back_the_g_that_was_put_in(g_assumed: float) -> None:
    assumed = dataclasses.replace(RUN.conditions, gravity_m_s2=g_assumed)
    findings = findings_of(RUN.series, assumed)
    cv = findings.finding("speed_coefficient")
    for name in ("gravity_from_slope_root", "gravity_from_slope_squared"):
        finding = findings.finding(name)
        assert finding is not None
        assert cv is not None
        # Pairing with another flight time moves Cv by parts in a thousand; zeros move the slope a little
        # more.
        assert finding.value == pytest.approx(g_assumed * cv.value**2, rel=0.03)


def test_g_by_the_clock_does_not_follow_the_assumed_g() -> None:
    values = []
    for g in (8.0, 9.8, 12.0):
        finding = findings_of(RUN.series, dataclasses.replace(RUN.conditions, gravity_m_s2=g)).finding(
            "gravity_from_clock"
        )
        assert finding is not None
        values.append(finding.value)
    assert np.ptp(values) < 0.005 * values[1]


def test_a_measured_jet_replaces_the_assumed_contraction() -> None:
    conditions = dataclasses.replace(
        RUN.conditions, jet_diameter_m=0.8 * (RUN.conditions.orifice_diameter_m or 0.0), jet_diameter_u_m=5e-5
    )
    assumed = findings_of(RUN.series, RUN.conditions).finding("gravity_from_clock")
    measured = findings_of(RUN.series, conditions).finding("gravity_from_clock")
    assert assumed is not None
    assert measured is not None
    # A jet of 0.8 d is a contraction of 0.64, the assumed one.
    assert measured.value == pytest.approx(assumed.value, rel=1e-9)
    assert "jet diameter" in {share.source for share in measured.budget}
    assert "contraction coefficient (assumed)" not in {share.source for share in measured.budget}


def test_discharge_over_speed_coefficient_is_the_contraction() -> None:
    run = scenario("as stated", 3)
    findings = findings_of(run.series, run.conditions)
    cd, cv = findings.finding("discharge_coefficient"), findings.finding("speed_coefficient")
    assert cd is not None
    assert cv is not None
    truth = run.truth["discharge_coefficient"] / run.truth["speed_coefficient"]
    assert cd.value / cv.value == pytest.approx(truth, abs=3.0 * (cd.u + cv.u))


@pytest.mark.parametrize(
    ("dropped", "missing"),
    [
        (
            {"time_s": None},
            {
                "discharge_coefficient": "time",
                "gravity_from_clock": "time",
                "drain_rate_root_m_per_s": "time",
                "time_to_empty_s": "time",
            },
        ),
        (
            {"throw": None},
            {
                "speed_coefficient": "throw",
                "slope_throw_squared_vs_head": "throw",
                "gravity_from_clock": "throw",
            },
        ),
        ({"drop": None}, {"speed_coefficient": "drop", "slope_speed_vs_root_head": "drop"}),
        ({"head": None}, {"speed_coefficient": "head", "drain_rate_root_m_per_s": "head"}),
        (
            {"head": None, "throw": None, "drop": None, "time_s": None},
            {"speed_coefficient": "head and throw and drop", "time_to_empty_s": "head and time"},
        ),
    ],
)
def test_what_is_missing_is_named_and_the_rest_is_derived(
    dropped: dict[str, None], missing: dict[str, str]
) -> None:
    findings = findings_of(dataclasses.replace(RUN.series, **dropped), RUN.conditions)
    assert_sound(findings, RUN.series.kept.shape[0])
    words = {each.name: each.missing for each in findings.undetermined}
    for name, missed in missing.items():
        assert missed in words[name]
    if "head" not in dropped and "time_s" not in dropped:
        assert findings.finding("drain_rate_root_m_per_s") is not None


@pytest.mark.parametrize(
    ("condition", "names", "words"),
    [
        ("container_area_m2", ("discharge_coefficient", "gravity_from_clock"), "container area"),
        ("orifice_diameter_m", ("discharge_coefficient", "gravity_from_clock"), "orifice diameter"),
    ],
)
def test_a_missing_condition_is_named(condition: str, names: tuple[str, ...], words: str) -> None:
    findings = findings_of(RUN.series, dataclasses.replace(RUN.conditions, **{condition: None}))
    assert {each.name for each in findings.undetermined} == set(names)
    assert all(words in each.missing for each in findings.undetermined)


def test_an_unstated_uncertainty_of_a_condition_is_said_to_be_missing() -> None:
    conditions = dataclasses.replace(RUN.conditions, container_area_u_m2=None)
    finding = findings_of(RUN.series, conditions).finding("discharge_coefficient")
    assert finding is not None
    assert any("no uncertainty was stated for the container area" in remark for remark in finding.remarks)


def cut(series: Series, rows: list[int]) -> Series:
    def part(column: Column | None) -> Column | None:
        return (
            None if column is None else Column(column.values[rows], column.own_u[rows], column.shared[rows])
        )

    return Series(
        series.sources,
        None if series.time_s is None else series.time_s[rows],
        part(series.head),
        part(series.throw),
        part(series.drop),
        series.kept[rows],
    )


@pytest.mark.parametrize("rows", [[], [0], [0, 5], [0, 5, 9], [0, 4, 8, 12]])
@pytest.mark.parametrize("stated", [True, False])
def test_few_readings_are_no_reason_to_fall(rows: list[int], stated: bool) -> None:
    run = RUN if stated else scenario("nothing stated", 4)
    series = cut(run.series, rows)
    findings = findings_of(series, run.conditions)
    assert_sound(findings, len(rows))
    if not rows:
        assert findings.findings == ()
    if len(rows) >= 3:
        assert {each.name for each in findings.undetermined} <= {"launch_angle_deg"}


def test_two_readings_without_stated_errors_have_a_wide_interval() -> None:
    run = scenario("nothing stated", 4)
    bare = dataclasses.replace(
        run.series,
        sources=(),
        **{
            name: Column(
                getattr(run.series, name).values,
                np.zeros_like(getattr(run.series, name).values),
                np.zeros((run.series.kept.shape[0], 0)),
            )
            for name in ("head", "throw", "drop")
        },
    )
    found = findings_of(cut(bare, [0, 5]), run.conditions).finding("speed_coefficient")
    assert found is not None
    # One degree of freedom: Student's t is 12.7.
    assert (found.interval_95[1] - found.value) / found.u == pytest.approx(12.706, rel=1e-3)
    one = findings_of(cut(bare, [0]), run.conditions)
    assert "an uncertainty" in next(
        each.missing for each in one.undetermined if each.name == "speed_coefficient"
    )


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_no_input_brings_it_down_or_makes_it_invent_numbers(data: st.DataObject) -> None:
    n = data.draw(st.integers(0, 14))
    numbers = st.one_of(st.floats(-0.5, 2.0), st.sampled_from([math.nan, 0.0, 0.1, 0.2, 1e-9, 50.0]))
    errors = st.one_of(st.floats(0.0, 0.01), st.sampled_from([math.nan, 0.0]))

    def column() -> Column | None:
        if data.draw(st.integers(0, 9)) == 0:
            return None
        values = np.array(data.draw(st.lists(numbers, min_size=n, max_size=n)), dtype=float)
        own = np.array(data.draw(st.lists(errors, min_size=n, max_size=n)), dtype=float)
        shared = np.array(data.draw(st.lists(errors, min_size=2 * n, max_size=2 * n)), dtype=float)
        return Column(values, own, shared.reshape(n, 2))

    steps = data.draw(st.lists(st.sampled_from([0.0, 0.1, 1.0, 30.0]), min_size=n, max_size=n))
    series = Series(
        sources=("one", "other"),
        time_s=None if data.draw(st.booleans()) else np.cumsum(np.array(steps, dtype=float)),
        head=column(),
        throw=column(),
        drop=column(),
        kept=np.array(data.draw(st.lists(st.booleans(), min_size=n, max_size=n)), dtype=bool),
    )
    conditions = Conditions(
        orifice_diameter_m=data.draw(st.sampled_from([None, 0.005, 0.0])),
        orifice_diameter_u_m=data.draw(st.sampled_from([None, 1e-4])),
        container_area_m2=data.draw(st.sampled_from([None, 0.002, -1.0])),
        water_temperature_c=data.draw(st.sampled_from([None, 20.0, 99.0])),
    )
    assert_sound(findings_of(series, conditions), n)


@pytest.mark.parametrize(
    ("finding", "name", "power"),
    [
        ("gravity_from_clock", "orifice_diameter_m", 4),
        ("gravity_from_clock", "container_area_m2", 2),
        ("discharge_coefficient", "orifice_diameter_m", 2),
        ("discharge_coefficient", "container_area_m2", 1),
    ],
)
def test_one_per_cent_of_an_input_counts_by_its_power(finding: str, name: str, power: int) -> None:
    """The clock's g rests on (A/a)², so on d⁻⁴ and A²; Cd = k A/(a √(g/2)) on d⁻² and A (JCGM 100, 5.1)."""
    one = {f"{name[:-2]}_u_m": 0.01} if name.endswith("_m") else {f"{name[:-3]}_u_m2": 0.01}
    conditions = dataclasses.replace(
        RUN.conditions, **{key: share * getattr(RUN.conditions, name) for key, share in one.items()}
    )
    found = findings_of(RUN.series, conditions).finding(finding)
    assert found is not None
    word = "diameter" if "diameter" in name else "area"
    (share,) = (each.u for each in found.budget if word in each.source)
    assert share / found.value == pytest.approx(0.01 * power, rel=1e-9)


def test_drops_that_are_next_to_nothing_bring_nothing_down() -> None:
    """Drops of 10⁻³¹³ m, which a shared error of millimetres exceeds by more than a float can say."""
    run = RUN
    drop = run.series.drop
    assert drop is not None
    tiny = Column(np.full_like(drop.values, 2.2e-313), drop.own_u, drop.shared)
    findings = findings_of(dataclasses.replace(run.series, drop=tiny), run.conditions)
    assert_sound(findings, run.series.kept.shape[0])
    assert np.isfinite(directions_of((np.full((3, 2), 0.01), 2.2e-313))).all()


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_the_order_of_stills_does_not_matter(seed: int) -> None:
    run = scenario("stills", seed)
    rows = np.random.default_rng(seed).permutation(run.series.kept.shape[0]).tolist()
    same(findings_of(run.series, run.conditions), findings_of(cut(run.series, rows), run.conditions))


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), factor=st.floats(0.05, 20.0))
def test_lengths_in_other_units_leave_the_coefficients_alone(seed: int, factor: float) -> None:
    run = scenario("as stated", seed)
    g = 9.81

    def longer(column: Column | None) -> Column:
        assert column is not None
        return Column(factor * column.values, factor * column.own_u, factor * column.shared)

    series = dataclasses.replace(
        run.series, head=longer(run.series.head), throw=longer(run.series.throw), drop=longer(run.series.drop)
    )
    one = findings_of(run.series, Conditions(gravity_m_s2=g))
    other = findings_of(series, Conditions(gravity_m_s2=factor * g))
    powers = {"head_zero_offset_m": 1.0, "throw_zero_offset_m": 1.0, "slope_speed_vs_root_head": 0.5,
              "slope_speed_squared_vs_head": 1.0, "slope_throw_squared_vs_head": 1.0, "gravity_from_slope_root": 1.0,
              "gravity_from_slope_squared": 1.0, "drain_rate_root_m_per_s": 0.5}  # fmt: skip
    for finding in one.findings:
        scaled = other.finding(finding.name)
        assert scaled is not None
        by = factor ** powers.get(finding.name, 0.0)
        assert scaled.value == pytest.approx(by * finding.value, rel=1e-6, abs=1e-5 * by * finding.u), (
            finding.name
        )
        assert scaled.u == pytest.approx(by * finding.u, rel=1e-5), finding.name


def test_the_hour_at_which_the_clock_starts_does_not_matter() -> None:
    assert RUN.series.time_s is not None
    later = dataclasses.replace(RUN.series, time_s=RUN.series.time_s + 1000.0)
    same(findings_of(RUN.series, RUN.conditions), findings_of(later, RUN.conditions), rel=1e-6)


def test_more_readings_do_not_shrink_what_they_share() -> None:
    few, many = (
        findings_of(
            simulated_run(np.random.default_rng(5), dataclasses.replace(SCENARIOS[0], rows=(n, n))).series,
            RUN.conditions,
        )
        for n in (60, 1500)
    )
    for name in ("speed_coefficient", "slope_throw_squared_vs_head"):
        one, other = few.finding(name), many.finding(name)
        assert one is not None
        assert other is not None
        assert other.budget[0].shared
        assert other.u > 0.5 * one.u


def test_heads_below_the_limit_are_left_out_and_the_change_is_said() -> None:
    run = scenario("as stated", 6)
    assert run.series.head is not None
    wide = dataclasses.replace(run.conditions, orifice_diameter_m=0.04)
    findings = findings_of(run.series, wide)
    below = run.series.head.values < 0.08
    assert law_limit_m(wide) == 0.08
    assert np.any(below)
    assert {findings.reasons[i] for i in np.nonzero(below)[0]} == {BELOW_LIMIT}
    assert not np.any(findings.kept[below])
    words = next(remark.says for remark in findings.remarks if remark.about == "low heads")
    assert str(int(np.sum(below))) in words
    assert "instead of" in words


@pytest.mark.parametrize(("d", "limit"), [(0.002, 0.03), (0.004, 0.015), (0.005, 0.012), (0.01, 0.02)])
def test_the_limit_is_two_diameters_or_sixty_square_millimetres_over_the_diameter(
    d: float, limit: float
) -> None:
    assert law_limit_m(Conditions(orifice_diameter_m=d)) == pytest.approx(limit)
    assert law_limit_m(Conditions()) is None


def test_wild_readings_are_found_counted_and_left_out() -> None:
    run = scenario("wild readings", 12)
    assert run.series.throw is not None
    findings = findings_of(run.series, run.conditions)
    outlying = [i for i, words in enumerate(findings.reasons) if "off the law" in words]
    assert len(outlying) > 3
    assert any(
        remark.about == "readings off the law" and str(len(outlying)) in remark.says
        for remark in findings.remarks
    )
    assert not np.any(findings.kept[outlying])
    cv = findings.finding("speed_coefficient")
    assert cv is not None
    assert cv.value == pytest.approx(run.truth["speed_coefficient"], abs=3.0 * cv.u)


def test_a_law_that_fails_for_a_third_of_the_readings_is_not_saved_by_leaving_them_out() -> None:
    assert RUN.series.throw is not None
    throws = RUN.series.throw.values.copy()
    throws[::3] *= 1.1
    series = dataclasses.replace(
        RUN.series, throw=Column(throws, RUN.series.throw.own_u, RUN.series.throw.shared)
    )
    findings = findings_of(series, RUN.conditions)
    assert not any("off the law" in words for words in findings.reasons)
    assert any("none was left out" in remark.says for remark in findings.remarks)
    cv, before = (
        findings.finding("speed_coefficient"),
        findings_of(RUN.series, RUN.conditions).finding("speed_coefficient"),
    )
    assert cv is not None
    assert before is not None
    assert cv.u > 1.2 * before.u


def shifted(series: Series, *, head: float = 0.0, throw: float = 1.0) -> Series:
    assert series.head is not None
    assert series.throw is not None
    return dataclasses.replace(
        series,
        head=Column(series.head.values + head, series.head.own_u, series.head.shared),
        throw=Column(series.throw.values * throw, series.throw.own_u, series.throw.shared),
    )


def test_lost_head_shows_as_an_offset_and_does_not_bias_the_coefficient() -> None:
    # A head read 8 mm too high is what surface tension in a thin jet looks like; Cv must come from the slope
    # then.
    run = scenario("as stated", 21)
    findings = findings_of(shifted(run.series, head=0.008), run.conditions)
    offset, cv, ratios = (
        findings.finding("head_zero_offset_m"),
        findings.finding("speed_coefficient"),
        run.truth["speed_coefficient"],
    )
    assert offset is not None
    assert cv is not None
    assert offset.value == pytest.approx(-0.008, abs=3.0 * offset.u)
    assert offset.interval_95[1] < 0.0
    assert cv.value == pytest.approx(ratios, abs=3.0 * cv.u)
    assert any(remark.about == "head zero" for remark in findings.remarks)
    assert any("surface tension is expected" in words for words in offset.remarks)


def test_a_coefficient_above_one_is_called_impossible() -> None:
    findings = findings_of(shifted(RUN.series, throw=1.2), RUN.conditions)
    words = [remark.says for remark in findings.remarks if remark.about == "speed coefficient"]
    assert len(words) == 1
    assert "impossible" in words[0]
    assert "standard uncertainties above 1" in words[0]
    low = findings_of(shifted(RUN.series, throw=0.7), RUN.conditions)
    assert any("outside the published band" in remark.says for remark in low.remarks)


def test_both_linearisations_agree_on_sound_readings_and_say_when_they_do_not() -> None:
    words = next(
        r.says for r in findings_of(RUN.series, RUN.conditions).remarks if r.about == "two linearisations"
    )
    assert words.startswith("they agree")
    assert "standard uncertainties of that difference" in words
    off = findings_of(shifted(RUN.series, head=0.02), RUN.conditions)
    assert next(r.says for r in off.remarks if r.about == "two linearisations").startswith(
        "they do not agree"
    )


def test_a_container_that_is_not_prismatic_shows_as_a_bend() -> None:
    assert RUN.series.head is not None
    assert RUN.series.time_s is not None
    t = RUN.series.time_s - RUN.series.time_s[0]
    heads = (np.sqrt(RUN.series.head.values) + 0.03 * (t / t[-1]) * (1.0 - t / t[-1])) ** 2
    series = dataclasses.replace(
        RUN.series, head=Column(heads, RUN.series.head.own_u, RUN.series.head.shared)
    )
    assert any(r.about == "√head in time" for r in findings_of(series, RUN.conditions).remarks)
    assert not any(r.about == "√head in time" for r in findings_of(RUN.series, RUN.conditions).remarks)


def test_throws_are_paired_with_the_head_of_their_launch() -> None:
    run = scenario("as stated", 30)
    exact = run.series.head
    assert exact is not None
    findings = findings_of(run.series, run.conditions)
    k, flight = findings.finding("drain_rate_root_m_per_s"), findings.flight_time_s
    assert k is not None
    expected = (np.sqrt(exact.values) + k.value * flight) ** 2
    assert findings.paired_head_m == pytest.approx(expected, abs=2e-5)
    assert np.all(findings.paired_head_m > exact.values)
    still = findings_of(dataclasses.replace(run.series, time_s=None), run.conditions)
    assert still.paired_head_m == pytest.approx(exact.values)


def test_speeds_of_single_rows() -> None:
    findings = findings_of(RUN.series, RUN.conditions)
    throw, drop = RUN.series.throw, RUN.series.drop
    assert throw is not None
    assert drop is not None
    g = findings.accepted_gravity
    assert findings.speed_m_s == pytest.approx(throw.values * np.sqrt(g.value / (2.0 * drop.values)))
    by_hand = findings.speed_m_s * np.sqrt(
        (throw.u / throw.values) ** 2 + (drop.u / (2.0 * drop.values)) ** 2 + (g.u / (2.0 * g.value)) ** 2
    )
    assert findings.speed_u == pytest.approx(by_hand, rel=1e-6)


def test_rows_without_a_reading_have_no_numbers() -> None:
    assert RUN.series.throw is not None
    throws = RUN.series.throw.values.copy()
    throws[3] = math.nan
    series = dataclasses.replace(
        RUN.series, throw=Column(throws, RUN.series.throw.own_u, RUN.series.throw.shared)
    )
    findings = findings_of(series, RUN.conditions)
    assert math.isnan(findings.speed_m_s[3])
    assert math.isnan(findings.paired_head_m[3])
    assert findings.reasons[3] == ""


def test_rows_that_the_series_drops_are_not_fitted() -> None:
    kept = RUN.series.kept.copy()
    kept[::2] = False
    thinned = dataclasses.replace(RUN.series, kept=kept)
    same(
        findings_of(thinned, RUN.conditions),
        findings_of(cut(RUN.series, np.nonzero(kept)[0].tolist()), RUN.conditions),
    )


def test_findings_know_their_covariance() -> None:
    # Cv and the slope of x² against h rest on the same throws: their errors go together.
    estimates = findings_of(RUN.series, RUN.conditions).estimates
    one, other = estimates["speed_coefficient"], estimates["slope_throw_squared_vs_head"]
    r = covariance(one, other) / (one.u * other.u)
    assert 0.3 < r < 1.0
    assert covariance(one, one) == pytest.approx(one.u**2)


def test_a_wild_head_is_left_out_of_both_fits() -> None:
    assert RUN.series.head is not None
    values = RUN.series.head.values.copy()
    values[20] += 0.03
    series = dataclasses.replace(
        RUN.series, head=Column(values, RUN.series.head.own_u, RUN.series.head.shared)
    )
    findings = findings_of(series, RUN.conditions)
    assert "off the drain curve" in findings.reasons[20]
    assert findings.drain is not None
    assert findings.throws is not None
    assert 20 not in findings.drain.rows
    assert 20 not in findings.throws.rows
    assert not findings.kept[20]
    # 30 mm in units of the row's own error, as the reason says.
    said = float(findings.reasons[20].split("stands ")[1].split(" ")[0])
    assert said == pytest.approx(0.03 / RUN.series.head.own_u[20], rel=0.1)


def test_how_far_a_wild_reading_stands_off_counts_in_the_scatter_really_seen() -> None:
    run = scenario("errors misjudged", 9)
    assert run.series.throw is not None
    values = run.series.throw.values.copy()
    values[10] += 30.0 * run.series.throw.own_u[10]
    series = dataclasses.replace(
        run.series, throw=Column(values, run.series.throw.own_u, run.series.throw.shared)
    )
    words = findings_of(series, run.conditions).reasons[10]
    said = float(words.split("stands ")[1].split(" ")[0])
    # True errors are 1.8 times the stated ones; those of the head count as well.
    assert 10.0 < said < 22.0


def test_an_accepted_g_that_is_not_known_well_is_in_the_budget_where_it_belongs() -> None:
    conditions = dataclasses.replace(RUN.conditions, latitude_deg=None, elevation_m=None)
    findings = findings_of(RUN.series, conditions)
    g = findings.accepted_gravity
    # Cd goes as 1/√g, a speed as √g and a speed² as g; lengths do not know g.
    for name, power in (
        ("discharge_coefficient", 0.5),
        ("slope_speed_vs_root_head", 0.5),
        ("slope_speed_squared_vs_head", 1.0),
        ("gravity_from_slope_root", 1.0),
        ("gravity_from_slope_squared", 1.0),
    ):
        finding = findings.finding(name)
        assert finding is not None
        share = next(share.u for share in finding.budget if share.source == "accepted gravity")
        assert share == pytest.approx(power * finding.value * g.u / g.value, rel=1e-3), name
    for name in ("speed_coefficient", "throw_zero_offset_m", "head_zero_offset_m", "gravity_from_clock"):
        finding = findings.finding(name)
        assert finding is not None
        assert all(share.source != "accepted gravity" for share in finding.budget), name


def test_a_wild_head_takes_its_throw_with_it_though_the_throw_alone_would_not_show_it() -> None:
    run = simulated_run(np.random.default_rng(4), dataclasses.replace(SCENARIOS[0], throw_scale=10.0))
    assert run.series.head is not None
    values = run.series.head.values.copy()
    values[20] += 12.0 * run.series.head.own_u[20]
    series = dataclasses.replace(
        run.series, head=Column(values, run.series.head.own_u, run.series.head.shared)
    )
    findings = findings_of(series, run.conditions)
    assert findings.throws is not None
    assert 20 not in findings.throws.outlying
    assert 20 not in findings.throws.rows
