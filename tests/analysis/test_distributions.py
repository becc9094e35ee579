"""Monte Carlo against the published examples of JCGM 100 and JCGM 101 (statuses beside the data)."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Estimate
from analysis.distributions import (
    Correlated,
    Normal,
    Propagated,
    Rectangular,
    StudentT,
    numerical_tolerance,
    propagate_distributions,
    shortest_interval,
    symmetric_interval,
)

DATA = Path(__file__).parent / "data"
KNOWN = json.loads((DATA / "uncertainty.json").read_text(encoding="utf-8"))
H3 = json.loads((DATA / "regression.json").read_text(encoding="utf-8"))["gum_h3"]
ROOT_3 = math.sqrt(3.0)


def added(inputs: np.ndarray) -> np.ndarray:
    return np.asarray(inputs.sum(axis=0))


def flat(sd: float) -> Rectangular:
    return Rectangular(-sd * ROOT_3, sd * ROOT_3)


@pytest.mark.parametrize(
    ("example", "inputs", "end", "u"),
    [
        ("jcgm101_9_2_2", [Normal(0.0, 1.0)] * 4, 3.92, 2.0),
        # The exact end of the sum of four: 2√3 (2 - (3/5)^(1/4)) (JCGM 101, 9.2.3.4; recomputed).
        ("jcgm101_9_2_3", [flat(1.0)] * 4, 3.8794, 2.0),
        ("jcgm101_9_2_4", [flat(1.0)] * 3 + [flat(10.0)], 17.0, 10.1),
    ],
)
def test_sums_of_four(example: str, inputs: list[Normal | Rectangular], end: float, u: float) -> None:
    (found,) = propagate_distributions(added, inputs, seed=1, tolerance=0.03 if end > 10.0 else 0.02)
    assert found.settled
    assert found.u == pytest.approx(u, rel=0.005)
    assert found.mean == pytest.approx(0.0, abs=0.03)
    for low, high in (found.interval, found.shortest):
        # The shortest interval of a flat-topped distribution may slide to and fro; its length may not.
        assert high - low == pytest.approx(2.0 * end, rel=0.01)
    assert found.interval[1] == pytest.approx(end, rel=0.01)
    published = KNOWN[example].get("interval95_mcm", KNOWN[example].get("interval95"))
    assert found.interval == pytest.approx(tuple(published), rel=0.012)


def test_the_exact_end_of_four_rectangles_is_met_to_four_digits() -> None:
    (found,) = propagate_distributions(added, [flat(1.0)] * 4, seed=3, tolerance=1e-9, most_trials=2_000_000)
    assert not found.settled
    assert found.trials == 2_000_000
    exact = 2.0 * ROOT_3 * (2.0 - (3.0 / 5.0) ** 0.25)
    assert exact == pytest.approx(KNOWN["jcgm101_9_2_3"]["exact_endpoint"], abs=1e-9)
    assert 0.5 * (found.interval[1] - found.interval[0]) == pytest.approx(exact, abs=0.006)
    assert max(abs(found.interval[0] + exact), abs(found.interval[1] - exact)) < 2.0 * found.reached


def mass(inputs: np.ndarray) -> np.ndarray:
    """Give conventional mass over nominal, mg (JCGM 101, 9.3.1)."""
    m_r, dm_r, rho_a, rho_w, rho_r = inputs
    return np.asarray((m_r + dm_r) * (1.0 + (rho_a - 1.2) * (1.0 / rho_w - 1.0 / rho_r)) - 100_000.0)


MASS_INPUTS = [
    Normal(100_000.0, 0.05),
    Normal(1.234, 0.020),
    Rectangular(1.10, 1.30),
    Rectangular(7000.0, 9000.0),
    Rectangular(7950.0, 8050.0),
]


def test_mass_calibration_where_the_first_order_sees_nothing() -> None:
    (found,) = propagate_distributions(mass, MASS_INPUTS, seed=2, tolerance=5e-4)
    published = KNOWN["jcgm101_9_3"]["mcm"]
    assert found.settled
    assert found.mean == pytest.approx(published["mean"], abs=0.0005)
    assert found.u == pytest.approx(published["u"], abs=0.0004)
    # Published with fewer trials than ours; 4 million trials give 1.0843 to 1.3833.
    assert found.shortest == pytest.approx(tuple(published["i95_shortest"]), abs=0.0025)
    # First order: the air density stands at its reference value, so that the other densities count nothing.
    assert KNOWN["jcgm101_9_3"]["gum1"]["u"] == pytest.approx(math.hypot(0.05, 0.02), abs=1e-4)
    assert found.u > 1.35 * math.hypot(0.05, 0.02)


def test_end_gauge_to_first_and_to_second_order() -> None:
    known = KNOWN["gum_h1"]
    ls, d, alpha, theta, d_alpha, d_theta = (
        Normal(*known["inputs"][name])
        for name in ("ls_nm", "d_nm", "alpha_s", "theta_c", "delta_alpha", "delta_theta_c")
    )
    (whole,) = propagate_distributions(
        lambda q: q[0] + q[1] - q[0] * (q[4] * q[3] + q[2] * q[5]),
        [ls, d, alpha, theta, d_alpha, d_theta],
        seed=4,
        tolerance=0.15,
    )
    assert 1e-6 * whole.mean == pytest.approx(known["length_mm"], abs=1e-6)
    assert whole.u == pytest.approx(known["second_order_uc_nm"], abs=0.5)
    (first,) = propagate_distributions(
        added, [Normal(0.0, u) for u in known["components_nm"].values()], seed=4, tolerance=0.15
    )
    assert first.u == pytest.approx(known["uc_nm"], abs=0.5)
    # Effective degrees of freedom and expanded uncertainty as the engine reckons them, part by part.
    freedom = first.u**4 / sum(u**4 / known["dof"][name] for name, u in known["components_nm"].items())
    assert freedom == pytest.approx(known["veff"], abs=1.0)
    part = Estimate(0.0, np.array([[known["components_nm"]["delta_theta"]]]), {"rest": 27.0}, own_dof=2.0)
    assert part.dof == pytest.approx(2.0 * (math.hypot(16.6, 27.0) / 16.6) ** 4)


def test_resistance_and_reactance_measured_together() -> None:
    known = KNOWN["gum_h2"]
    data = np.array([known["V"], 1e-3 * np.array(known["I_mA"]), known["phi_rad"]])
    inputs = [Correlated(data.mean(axis=1), np.cov(data) / data.shape[1])]

    def model(q: np.ndarray) -> np.ndarray:
        z = q[0] / q[1]
        r, x = z * np.cos(q[2]), z * np.sin(q[2])
        return np.stack([r, x, z, r + x, r + z, x + z])

    found = propagate_distributions(model, inputs, seed=5, tolerance=0.002, most_trials=300_000)
    for each, name in zip(found, ("R", "X", "Z"), strict=False):
        assert each.mean == pytest.approx(known[name], abs=0.002)
        assert each.u == pytest.approx(known[f"u_{name}"], abs=0.0015)

    def correlation(both: Propagated, one: Propagated, other: Propagated) -> float:
        return (both.u**2 - one.u**2 - other.u**2) / (2.0 * one.u * other.u)

    r, x, z, rx, rz, xz = found
    assert correlation(rx, r, x) == pytest.approx(known["r_RX"], abs=0.01)
    assert correlation(rz, r, z) == pytest.approx(known["r_RZ"], abs=0.01)
    assert correlation(xz, x, z) == pytest.approx(known["r_XZ"], abs=0.003)


def test_thermometer_line_read_away_from_its_data() -> None:
    u = np.array([H3["s_y1"], H3["s_y2"]])
    correlation = np.array([[1.0, H3["r"]], [H3["r"], 1.0]])
    values = np.array([H3["y1"], H3["y2"]])

    def read_at_30(q: np.ndarray) -> np.ndarray:
        return np.asarray(q[0] + 10.0 * q[1])

    (true,) = propagate_distributions(read_at_30, [Correlated(values, correlation * np.outer(u, u))], seed=6)
    (blind,) = propagate_distributions(read_at_30, [Correlated(values, np.diag(u**2))], seed=6)
    assert true.mean == pytest.approx(H3["b_30"], abs=1e-4)
    assert true.u == pytest.approx(H3["u_b_30"], abs=5e-5)
    assert blind.u == pytest.approx(0.0073, abs=1e-4)  # without the correlation (recomputed)
    (few,) = propagate_distributions(
        read_at_30, [Correlated(values, correlation * np.outer(u, u), dof=9.0)], seed=6, tolerance=2e-4
    )
    # Student's t with 9 degrees of freedom: 2.262.
    assert 0.5 * (few.interval[1] - few.interval[0]) == pytest.approx(2.262 * true.u, rel=0.015)


def test_few_indications_are_drawn_from_a_t_distribution() -> None:
    (found,) = propagate_distributions(added, [StudentT(5.0, 0.3, 4.0)], seed=7, tolerance=0.01)
    assert 0.5 * (found.interval[1] - found.interval[0]) == pytest.approx(2.776 * 0.3, rel=0.02)


def test_a_control_that_follows_closely_saves_trials_and_leaves_the_answer_alone() -> None:
    inputs = [Normal(0.0, 1.0), Normal(0.0, 1.0)]

    def bent(q: np.ndarray) -> np.ndarray:
        s = (q[0] + q[1]) / math.sqrt(2.0)
        return np.asarray(s + 0.1 * s**2)

    def straight(q: np.ndarray) -> np.ndarray:
        return np.asarray((q[0] + q[1]) / math.sqrt(2.0))

    (plain,) = propagate_distributions(bent, inputs, seed=8, tolerance=0.006)
    (led,) = propagate_distributions(bent, inputs, seed=9, tolerance=0.006, control=straight)
    assert plain.settled
    assert led.settled
    assert led.trials * 4 <= plain.trials
    # s + 0.1 s² is monotone where it matters: its ends are those of s, bent.
    exact = (-1.95996 + 0.1 * 1.95996**2, 1.95996 + 0.1 * 1.95996**2)
    assert led.interval == pytest.approx(exact, abs=0.006)
    assert plain.interval == pytest.approx(exact, abs=0.012)
    assert led.u == pytest.approx(math.sqrt(1.0 + 0.02), abs=0.006)
    assert led.mean == pytest.approx(0.1, abs=0.006)


@given(st.floats(1e-9, 1e9), st.integers(1, 3))
def test_the_numerical_tolerance_is_half_of_the_last_digit_shown(u: float, digits: int) -> None:
    tolerance = numerical_tolerance(u, digits)
    assert 0.5 * 10.0 ** (1 - digits) * u * 1.06 > tolerance > 0.049 * 10.0 ** (1 - digits) * u
    assert f"{2.0 * tolerance:.0e}"[0] == "1"


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"), [(0.00035, 2, 5e-6), (0.054, 1, 0.005), (2.0, 1, 0.5), (0.0996, 2, 5e-3)]
)
def test_numerical_tolerances(u: float, digits: int, tolerance: float) -> None:
    # The first two are the examples of JCGM 101, 7.9.2 and 9.3 (from memory).
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance, rel=1e-9)


def test_both_intervals_of_a_lopsided_distribution() -> None:
    ordered = np.sort(np.random.default_rng(1).exponential(size=400_000))
    assert symmetric_interval(ordered) == pytest.approx((-math.log(0.975), -math.log(0.025)), rel=0.02)
    low, high = shortest_interval(ordered)
    assert low == pytest.approx(0.0, abs=0.005)
    assert high == pytest.approx(-math.log(0.05), rel=0.02)


def test_the_same_seed_gives_the_same_trials() -> None:
    one, other, third = (
        propagate_distributions(mass, MASS_INPUTS, seed=seed, most_trials=20_000) for seed in (1, 1, 2)
    )
    assert one == other
    assert one != third
