"""A g from falls: sizes, bias, coverage, drag, what falls share, and when routes may be brought together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis import Column, Conditions, Fall, Falling, Falls, Series, findings_of
from analysis.drag import drag_coefficient, held_back, slowing
from analysis.estimate import Estimate
from analysis.fall_fits import fit_parabola, fit_time, fit_track, pooled
from analysis.gravity import AcceptedGravity
from analysis.gravity_combined import gravity_combined
from tests.analysis.falling import SOURCES, Bench, timed, tracked

WORLDS = (1.62, 9.81, 24.8)
"""m/s², on the Moon, the Earth, Jupiter."""
NOTHING = Series((), None, None, None, None, np.zeros(0, dtype=bool))
ROUTES = ("gravity_from_fall_time", "gravity_from_parabola", "gravity_from_track")


def together(falls: Falls, fit, **how):
    fits = [found for i in range(len(falls.falls)) if (found := fit(falls, i)) is not None]
    return pooled(fits, falls, **how).estimate


def found(falls: Falls | None, gravity: float | None = None):
    return findings_of(NOTHING, Conditions(gravity_m_s2=gravity), falls)


def words_of(falls: Falls) -> dict[str, str]:
    return {each.name: each.missing for each in found(falls).undetermined}


def whole_fall(g: float, *, dt: float = 1 / 60, n: int = 12, v: float = 1.5, mark_u: float = 0.001) -> Fall:
    """Give an exact flight from the hole with stated errors."""
    t = dt * np.arange(1, n + 1)
    none = np.zeros((n, 1))
    own = np.full(n, mark_u)
    return Fall(
        "exact", Falling.JET_DROP, t, np.full(n, dt), none, Column(g * t**2 / 2, own, none), Column(v * t, own, none)
    )  # fmt: skip


@pytest.mark.parametrize("g", WORLDS)
def test_exact_falls_give_the_true_g_by_every_route(g):
    fall = whole_fall(g)
    ends = replace(
        fall,
        time_s=np.array([0.0, 0.25]), step_s=fall.step_s[:2], time_shared=fall.time_shared[:2],
        down=Column(np.array([0.0, g * 0.25**2 / 2]), np.full(2, 1e-6), np.zeros((2, 1))), across=None,
    )  # fmt: skip
    by = found(Falls(("s",), (fall, replace(ends, step_s=np.full(2, 1e-6)))))
    for name in ROUTES:
        assert by.finding(name).value == pytest.approx(g, rel=1e-6), name
        assert not by.finding(name).depends_on_assumed_g
    assert by.finding("gravity_combined").value == pytest.approx(g, rel=1e-6)


def test_no_value_leans_on_the_accepted_g():
    falls = tracked(Bench(), np.random.default_rng(5), Falling.JET_DROP)
    one, other = found(falls, 9.81), found(falls, 1.62)
    for name in ROUTES[1:]:
        assert one.finding(name).value == other.finding(name).value
        assert "they agree" in one.finding(name).remarks[0]
        assert "they do not agree" in other.finding(name).remarks[0]
        assert "above the accepted g, 1.620 m/s² (given, taken as exact)" in other.finding(name).remarks[0]


# Both ends to one frame: u(g)/g = 2 √(1/6) / (f T), here T = √(2 · 0.4 m / 9.80665 m/s²) = 0.2856 s, and half
# a per cent for 2 mm of 400 mm (derived). Exact counting of frames over all phases gives 9.7 % at 30 Hz.
@pytest.mark.parametrize(("rate", "percent"), [(30, 9.5), (60, 4.8), (120, 2.4), (240, 1.3)])
def test_what_one_frame_at_each_end_costs(rate, percent):
    bench = Bench(g=9.80665, rate_hz=rate, scale_u=0.0)
    t, none = np.array([0.0, np.sqrt(0.8 / 9.80665)]), np.zeros((2, 2))
    down = Column(np.array([0.0, 0.4]), np.array([0.0, 0.002]), none)
    falls = Falls(SOURCES, (Fall("f", Falling.DROP, t, np.full(2, 1 / rate), none, down),))
    one = together(falls, fit_time, over_square_of_time=True)
    assert 100 * one.u / one.value == pytest.approx(percent, abs=0.06)
    ten = together(replace(falls, falls=falls.falls * 10), fit_time, over_square_of_time=True)
    assert ten.u / ten.value == pytest.approx(one.u / one.value / np.sqrt(10), rel=0.02)
    # Simulated with whole frames, mean and scatter are as said.
    rng = np.random.default_rng(rate)
    seen = [
        together(timed(bench, rng), fit_time, over_square_of_time=True).value / 9.80665 for _ in range(1500)
    ]
    assert 100 * np.std(seen) == pytest.approx(percent, rel=0.11)
    assert np.mean(seen) == pytest.approx(1.0, abs=3.5 * np.std(seen) / np.sqrt(1500))


def test_the_bias_of_an_inverse_square_is_taken_off():
    """1/T² is 1 + 3 (u/T)² too large: 0.7 % at 30 Hz (derived)."""
    bench = Bench(g=9.80665, rate_hz=30, scale_u=0.0, mark_u_m=1e-6)
    rng = np.random.default_rng(2)
    draws = [timed(bench, rng) for _ in range(6000)]
    raw = np.mean([fit_time(falls, 0).g for falls in draws]) / 9.80665 - 1
    mended = (
        np.mean([together(falls, fit_time, over_square_of_time=True).value for falls in draws]) / 9.80665 - 1
    )
    assert raw == pytest.approx(0.0068, abs=0.003)
    assert abs(mended) < 0.003


@pytest.mark.parametrize("rate", [30, 60, 120, 240])
def test_a_free_parabola_is_as_sure_as_many_points_of_its_length_allow(rate):
    """The variance of the quadratic term of n even points tends to 180 σ²/(n T⁴): u(g) = √720 σ/(√n T²) (derived)."""
    bench = Bench(g=9.80665, rate_hz=rate, scale_u=0.0)
    falls = tracked(bench, np.random.default_rng(rate), first_m=1e-6)
    n = falls.falls[0].n
    length = n / rate
    expected = np.sqrt(720 / n) * 0.002 / length**2
    assert together(falls, fit_parabola).u == pytest.approx(expected, rel=0.09 if n > 20 else 0.2)


def test_holding_the_start_to_the_hole_halves_the_error_and_the_angle_is_counted():
    free = tracked(Bench(scale_u=0.0, angle_deg=5.0), np.random.default_rng(3), Falling.JET_DROP)
    held = replace(free, launch_angle_deg=5.0, launch_angle_u_deg=0.0)
    assert together(held, fit_parabola).u < 0.62 * together(free, fit_parabola).u
    doubted = together(replace(held, launch_angle_u_deg=0.2), fit_parabola)
    assert doubted.u > together(held, fit_parabola).u
    # An angle that is stated wrongly by its uncertainty moves g by what the budget says.
    moved = together(replace(held, launch_angle_deg=5.2), fit_parabola)
    assert moved.value - together(held, fit_parabola).value == pytest.approx(
        doubted.shared["launch angle"], rel=0.05
    )
    # About level, an angle only moves the moment at which the top was passed: g does not feel it.
    level = replace(held, launch_angle_deg=0.0, launch_angle_u_deg=1.0)
    assert together(level, fit_parabola).shared["launch angle"] == pytest.approx(0.0, abs=1e-9)
    # A drop that was let go somewhere is not held to the hole.
    other = replace(held, falls=tuple(replace(fall, kind=Falling.DROP) for fall in held.falls))
    assert together(other, fit_parabola).value == together(free, fit_parabola).value


def coverage(make, fit, *, n=1000, logarithm=False, seed=0):
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(n):
        g, rate = rng.choice(WORLDS), rng.choice([30.0, 60.0, 120.0, 240.0])
        bench = Bench(
            g=g, rate_hz=rate, drop_m=rng.uniform(0.25, 0.6), mark_u_m=rng.uniform(0.5e-3, 2e-3),
            readout_u_s=0.003, angle_deg=rng.uniform(-5, 5), angle_u_deg=0.5,
        )  # fmt: skip
        estimate = together(make(bench, rng), fit, over_square_of_time=logarithm)
        low, high = estimate.log_interval_95 if logarithm else estimate.interval_95
        held += low <= g <= high
    return held / n


def level(make, **more):
    return lambda bench, rng: make(replace(bench, angle_deg=0.0, angle_u_deg=0.0), rng, **more)


# The share itself scatters by 0.7 % over 1,000 runs.
@pytest.mark.parametrize(
    ("make", "fit", "logarithm"),
    [
        (level(timed), fit_time, True),
        (level(timed, count=5), fit_time, True),
        (level(tracked), fit_parabola, False),
        (level(tracked, count=3), fit_parabola, False),
        (lambda bench, rng: tracked(bench, rng, Falling.JET_FRONT), fit_parabola, False),
        (lambda bench, rng: tracked(bench, rng, Falling.JET_DROP), fit_track, False),
    ],
    ids=["time", "five times", "parabola", "three parabolas", "parabola from the hole", "track"],
)
def test_intervals_hold_the_true_g(make, fit, logarithm):
    assert 0.93 <= coverage(make, fit, logarithm=logarithm) <= 0.97


def test_the_combined_interval_holds_the_true_g():
    rng = np.random.default_rng(8)
    held = determined = 0
    for _ in range(400):
        bench = Bench(g=9.81, rate_hz=60.0, readout_u_s=0.003, mark_u_m=0.001, angle_u_deg=0.5)
        track = tracked(bench, rng, Falling.JET_DROP)
        finding = found(track).finding("gravity_combined")
        if finding is not None:
            determined += 1
            held += finding.interval_95[0] <= 9.81 <= finding.interval_95[1]
    assert 0.92 <= determined / 400 <= 0.98
    assert 0.92 <= held / determined <= 0.98


def test_a_shutter_that_nobody_told_of_costs_what_it_should():
    """14 ms from the hole's row to the landing's: g about a tenth low when a fall is timed (derived)."""
    t, none = np.array([0.0, np.sqrt(0.8 / 9.81)]), np.zeros((2, 1))
    down = Column(np.array([0.0, 0.4]), np.array([0.0, 1e-4]), none)
    # The stamps say T, but the landing's row was read 14 ms later than the hole's: the fall took T + 14 ms.
    late = none + np.array([[0.0], [0.014]])
    fall = Fall("f", Falling.DROP, t, np.full(2, 1e-4), late, down)
    estimate = together(Falls(("rolling shutter",), (fall,)), fit_time, over_square_of_time=True)
    truth = together(Falls(("rolling shutter",), (replace(fall, time_s=t + late[:, 0]),)), fit_time)
    assert truth.value / estimate.value - 1 == pytest.approx((1 + 0.014 / t[1]) ** -2 - 1, abs=1e-4)
    assert truth.value / estimate.value - 1 == pytest.approx(-0.091, abs=0.002)
    assert estimate.shared["rolling shutter"] / estimate.value == pytest.approx(-0.098, abs=0.001)


@pytest.mark.parametrize("fit", [fit_parabola, fit_track], ids=["parabola", "track"])
@pytest.mark.parametrize("angle", [None, 0.0, 4.0])
@pytest.mark.parametrize("which", ["down", "across", "time"])
def test_every_mark_moves_g_as_its_gain_says(fit, angle, which):
    falls = tracked(
        Bench(mark_u_m=2e-4, angle_deg=angle or 0, angle_u_deg=0.3),
        np.random.default_rng(4),
        Falling.JET_DROP,
    )
    falls = replace(falls, launch_angle_deg=angle, launch_angle_u_deg=0.3)
    fall, before = falls.falls[0], fit(falls, 0)
    push = 1e-7 * np.random.default_rng(6).normal(size=fall.n)
    if which == "time":
        moved = replace(fall, time_s=fall.time_s + push)
    else:
        column = getattr(fall, which)
        moved = replace(
            fall, **{which: Column(column.values + push, column.own_u.copy(), column.shared.copy())}
        )
    after = fit(replace(falls, falls=(moved,)), 0)
    gain = {"down": before.per_down, "across": before.per_across, "time": before.per_time}[which]
    scale = np.linalg.norm(gain) * np.linalg.norm(push)
    assert after.g - before.g == pytest.approx(float(gain @ push), abs=2e-3 * scale + 1e-11)


def test_what_falls_share_does_not_shrink_and_what_they_do_not_does():
    rng = np.random.default_rng(11)
    bench = Bench(scale_u=0.01, mark_u_m=0.001, rate_hz=120.0)
    few, many = tracked(bench, rng, count=1), tracked(bench, rng, count=16)
    one, all_ = together(few, fit_parabola), together(many, fit_parabola)
    source = SOURCES[0]
    assert all_.shared[source] / all_.value == pytest.approx(0.01, rel=0.1)
    assert one.shared[source] / one.value == pytest.approx(0.01, rel=0.1)
    assert all_.u_own == pytest.approx(one.u_own / 4, rel=0.25)


def test_marks_that_scatter_more_than_stated_widen_the_error_and_are_told():
    rng = np.random.default_rng(12)
    falls = tracked(Bench(mark_u_m=0.004, rate_hz=240.0), rng)
    fall = falls.falls[0]
    modest = Column(fall.down.values.copy(), np.full(fall.n, 0.001), fall.down.shared.copy())
    doubted = replace(falls, falls=(replace(fall, down=modest),))
    finding = found(doubted).finding("gravity_from_parabola")
    assert finding.u == pytest.approx(found(falls).finding("gravity_from_parabola").u, rel=0.3)
    assert any("look for a mark in the wrong frame" in words for words in finding.remarks)
    sound = found(falls).finding("gravity_from_parabola")
    assert any("lie about their curve as stated" in words for words in sound.remarks)


def test_budgets_add_up_and_name_what_moves_g():
    rng = np.random.default_rng(13)
    bench = Bench(readout_u_s=0.003)
    falls = tracked(bench, rng, Falling.JET_DROP)
    falls = replace(falls, falls=(*falls.falls, *timed(bench, rng).falls))
    by = found(falls)
    for name in (*ROUTES, "gravity_combined"):
        finding = by.finding(name)
        assert finding is not None, words_of(falls)
        assert sum(share.u**2 for share in finding.budget) == pytest.approx(finding.u**2)
        names = {share.source for share in finding.budget}
        assert {"upright rule: scale", "rolling shutter", "reading the marks, up and down"} <= names
    shares = {share.source: share for share in by.finding("gravity_from_fall_time").budget}
    assert not shares["when within a frame each end happens"].shared
    assert by.finding("gravity_from_fall_time").budget[0].source == "when within a frame each end happens"


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 100.0), st.floats(0.01, 100.0))
def test_units_of_time_and_length_scale_through(seconds, metres):
    rng = np.random.default_rng(14)
    base = tracked(Bench(mark_u_m=0.001), rng, Falling.JET_DROP)
    base = replace(base, falls=(*base.falls, *timed(Bench(), rng).falls))

    def scaled(column: Column) -> Column:
        return Column(column.values * metres, column.own_u * metres, column.shared * metres)

    other = replace(
        base,
        falls=tuple(
            replace(
                fall, time_s=fall.time_s * seconds, step_s=fall.step_s * seconds,
                time_shared=fall.time_shared * seconds, down=scaled(fall.down), across=scaled(fall.across),
            )
            for fall in base.falls
        ),
    )  # fmt: skip
    for name in ROUTES:
        one, two = found(base).finding(name), found(other).finding(name)
        assert two.value == pytest.approx(one.value * metres / seconds**2, rel=1e-9)
        assert two.u == pytest.approx(one.u * metres / seconds**2, rel=1e-9)


def test_drag_of_spheres_against_published_values():
    # Stokes and Newton at the ends; Re = 100: 1.09, Re = 500: 0.55 (standard drag curve of a sphere: Clift, Grace
    # and Weber, Bubbles, Drops, and Particles, 1978, table 5.1; from memory).
    got = drag_coefficient(np.array([0.01, 100.0, 500.0, 5000.0]))
    assert got == pytest.approx([2400.0, 1.09, 0.55, 0.44], rel=0.03)
    # Final speeds of drops in still air: 1.0 mm 4.03, 2.0 mm 6.49 m/s (Gunn and Kinzer, J. Meteor. 6 (1949) 243,
    # table 1; from memory). Larger drops are flattened and fall up to a quarter slower than spheres.
    for d, final in ((0.001, 4.03), (0.002, 6.49)):
        assert slowing(np.array([final]), d)[0] == pytest.approx(9.81, rel=0.18)


def _in_air(d: float, t: np.ndarray, g: float = 9.81, v: float = 1.9) -> np.ndarray:
    """Places (n, 2), down and across, of a round drop that leaves level."""

    def rate(_, state):
        velocity = state[2:]
        speed = np.hypot(*velocity)
        return [
            *velocity,
            *(np.array([g, 0.0]) - slowing(np.array([speed]), d)[0] * velocity / max(speed, 1e-12)),
        ]

    return solve_ivp(rate, (0, t[-1]), [0, 0, 0, v], t_eval=t, rtol=1e-9, atol=1e-12).y[:2].T


def test_drag_is_taken_off_as_an_integrator_would():
    t = np.linspace(0, 0.28, 15)
    seen = _in_air(0.004, t)
    down, across = held_back(t, 0.0, 1.9, 9.81, 0.004)
    assert seen[:, 0] + down == pytest.approx(9.81 * t**2 / 2, abs=5e-5)
    assert seen[:, 1] + across == pytest.approx(1.9 * t, abs=5e-5)
    assert down[-1] > 0.004  # not a small matter: over a per cent of the height fallen


def test_a_drop_in_air_gives_the_true_g_only_with_its_drag():
    t = np.arange(0, 0.28, 1 / 120)
    seen, none, own = _in_air(0.004, t), np.zeros((len(t), 1)), np.full(len(t), 2e-4)
    fall = Fall(
        "f", Falling.JET_DROP, t + 1.0, np.full(len(t), 1 / 120), none, Column(seen[:, 0].copy(), own, none),
        Column(seen[:, 1].copy(), own, none), 0.004, 0.001,
    )  # fmt: skip
    blind = Falls(("s",), (replace(fall, diameter_m=None),))
    told = Falls(("s",), (fall,), 0.0, 0.0)
    free = replace(told, launch_angle_deg=None, launch_angle_u_deg=None)
    assert together(blind, fit_parabola).value < 9.81 * 0.965
    for falls, fit in ((free, fit_parabola), (told, fit_parabola), (told, fit_track)):
        estimate = together(falls, fit)
        assert estimate.value == pytest.approx(9.81, rel=0.004)
        # A quarter off the size is a quarter off the correction.
        wrong = together(replace(falls, falls=(replace(fall, diameter_m=0.005),)), fit)
        moved = abs(estimate.shared["drag of the air (size of the drop)"])
        assert wrong.value - estimate.value == pytest.approx(-moved, rel=0.3)


def test_what_is_missing_and_how_to_mark_it_is_said():
    nothing = words_of(Falls((), ()))
    assert set(nothing) >= {*ROUTES, "gravity_combined"}
    assert all("click a falling drop in three successive frames" in nothing[name] for name in ROUTES)
    assert nothing["gravity_combined"] == "two independent values of g"
    why = words_of(Falls((), (), missing="marks within reach of the upright rule"))
    assert all(why[name] == "marks within reach of the upright rule" for name in ROUTES)
    rng = np.random.default_rng(15)
    only = words_of(tracked(Bench(), rng))
    assert "two marks alone" in only["gravity_from_fall_time"]
    assert "a drop of the jet" in only["gravity_from_track"]
    assert "there is one, from the parabola of a fall" in only["gravity_combined"]
    assert "in three frames or more" in words_of(timed(Bench(), rng))["gravity_from_parabola"]
    assert not set(words_of_table := {each.name for each in found(None).undetermined}) & {*ROUTES}, (
        words_of_table
    )


def test_marks_that_rise_give_no_g():
    fall = whole_fall(9.81)
    upside = Column(-fall.down.values, np.full(fall.n, 1e-3), np.zeros((fall.n, 1)))
    said = words_of(Falls(("s",), (replace(fall, down=upside),)))
    assert "fall faster and faster" in said["gravity_from_parabola"]
    assert "fall faster and faster" in said["gravity_from_track"]


def test_cautions_ride_along_and_a_slow_front_is_told():
    falls = tracked(Bench(), np.random.default_rng(16), Falling.JET_FRONT)
    finding = found(replace(falls, cautions=("the clock is the film's own",))).finding(
        "gravity_from_parabola"
    )
    assert finding.remarks[-1] == "the clock is the film's own"
    assert any("slowed by the finger" in words for words in finding.remarks)


GIVEN = AcceptedGravity(9.81, 0.0, "given")


def _route(value: float, own: float, scale: float, n: int = 1) -> Estimate:
    return Estimate(value, np.full((1, n), own / np.sqrt(n)), {"rule: scale": scale})


def test_routes_that_agree_are_weighted_with_what_they_share():
    """Two values with a common error: weights and variance by hand (Aitken's generalised least squares)."""
    one, two = _route(9.9, 0.2, 0.1, 1), _route(9.7, 0.1, 0.1, 2)
    answer = gravity_combined({"gravity_from_clock": one, "gravity_from_parabola": two}, GIVEN)
    v = np.array([[0.05 / 9.9**2, 0.01 / (9.9 * 9.7)], [0.01 / (9.9 * 9.7), 0.02 / 9.7**2]])
    w = np.linalg.solve(v, np.ones(2))
    w /= w.sum()
    expected = np.exp(w @ np.log([9.9, 9.7]))
    assert answer.estimate.value == pytest.approx(expected)
    assert answer.estimate.u == pytest.approx(expected * np.sqrt(w @ v @ w))
    assert answer.estimate.u > 0.1  # the scale that both share stays
    assert any(words.startswith("the routes agree: χ²") for words in answer.remarks)


def test_routes_that_do_not_agree_are_not_combined():
    one, two = _route(9.9, 0.1, 0.1, 1), _route(9.0, 0.1, 0.1, 2)
    answer = gravity_combined({"gravity_from_clock": one, "gravity_from_parabola": two}, GIVEN)
    assert isinstance(answer, str)
    assert "(9.90 ± 0.14) m/s² from the drain's clock and (9.00 ± 0.14) m/s² from the parabola" in answer
    # χ² = ln(9.9/9)² over the variance of that difference, in which the common error all but cancels.
    assert "χ² = 40" in answer
    assert isinstance(gravity_combined({"gravity_from_clock": one}, GIVEN), str)


def test_agreement_is_asked_of_the_mean_of_least_chi_squared_where_a_weight_would_be_negative():
    # The second rests four times as much on the scale that both share: the best weights are 1.5 and -0.5, and
    # none is used below nought. χ² of the difference: ln(10/9.8)² over own parts and what the scale leaves.
    one, two = _route(9.8, 0.02, 0.05, 1), _route(10.0, 0.05, 0.2, 2)
    answer = gravity_combined({"gravity_from_clock": one, "gravity_from_parabola": two}, GIVEN)
    variance = (0.02 / 9.8) ** 2 + (0.05 / 10.0) ** 2 + (0.05 / 9.8 - 0.2 / 10.0) ** 2
    chi_squared = np.log(10.0 / 9.8) ** 2 / variance
    assert not isinstance(answer, str), answer
    assert any(words.startswith(f"the routes agree: χ² = {chi_squared:.1f}") for words in answer.remarks)
    assert answer.estimate.value == pytest.approx(9.8)


def test_a_common_error_excuses_no_difference():
    """Values that share their largest error must agree better than their uncertainties alone would ask."""
    far = {
        "gravity_from_parabola": _route(9.9, 0.02, 0.5, 1),
        "gravity_from_track": _route(9.7, 0.02, 0.5, 2),
    }
    assert isinstance(gravity_combined(far, GIVEN), str)


def test_a_slipped_frame_rate_shows_against_the_clock():
    """A film played at half its rate: falls tell a quarter of g, and so are not combined with a sound value."""
    falls = tracked(Bench(mark_u_m=0.001), np.random.default_rng(17))
    slow = replace(falls, falls=tuple(replace(fall, time_s=2 * fall.time_s) for fall in falls.falls))
    half = together(slow, fit_parabola)
    assert half.value == pytest.approx(9.81 / 4, rel=0.1)
    answer = gravity_combined(
        {"gravity_from_clock": _route(9.8, 0.8, 0.0), "gravity_from_parabola": half}, GIVEN
    )
    assert isinstance(answer, str)
    assert "frame rate" in answer


def test_a_launch_upwards_and_uneven_steps_are_allowed_for_when_a_fall_is_timed():
    angle, v, t = np.radians(4.0), 1.9, 0.3
    y, x = 9.81 * t**2 / 2 - v * np.sin(angle) * t, v * np.cos(angle) * t
    own, none = np.full(2, 1e-4), np.zeros((2, 1))
    # The first event is late by half its step, the second by half of a step twice as long.
    steps = np.array([0.01, 0.02])
    fall = Fall(
        "f", Falling.JET_FRONT, np.array([0.0, t]) + steps / 2, steps, none,
        Column(np.array([0.0, y]), own, none), Column(np.array([0.0, x]), own, none),
    )  # fmt: skip
    falls = Falls(("s",), (fall,), 4.0, 0.1)
    got = fit_time(falls, 0)
    assert got.g == pytest.approx(9.81)
    assert got.extra["launch angle"] == pytest.approx(
        fit_time(replace(falls, launch_angle_deg=4.1), 0).g - 9.81, rel=1e-2
    )
    assert got.own[2] == pytest.approx(np.array([1, -1]) * 2 * 9.81 / t * steps / np.sqrt(12))
