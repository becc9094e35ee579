"""Straight lines against certified and published fits."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import least_squares, line_with_errors_in_both, straight_line
from analysis.lines import polynomial_design

SETS = json.loads((Path(__file__).parent / "data" / "regression.json").read_text(encoding="utf-8"))


def digits(found: float, certified: float) -> float:
    """Number of decimal digits that agree (NIST's log relative error)."""
    error = abs(found / certified - 1.0)
    return 16.0 if error == 0.0 else -math.log10(error)


def points(name: str) -> tuple[np.ndarray, np.ndarray]:
    return np.array(SETS[name]["x"], dtype=float), np.array(SETS[name]["y"], dtype=float)


def test_norris_to_eleven_digits() -> None:
    # NIST StRD Norris, certified values.
    line, nist = straight_line(*points("norris")), SETS["norris"]
    assert digits(line.intercept, nist["b0"]) > 11
    assert digits(line.slope, nist["b1"]) > 11
    assert digits(line.intercept_u, nist["sd_b0"]) > 11
    assert digits(line.slope_u, nist["sd_b1"]) > 11
    assert digits(line.residual_sd, nist["residual_sd"]) > 11
    assert digits(line.r_squared, nist["r2"]) > 11


def test_pontius_to_eleven_digits() -> None:
    # NIST StRD Pontius, certified values: a quadratic at x up to 3e6, which normal equations get wrong.
    x, y = points("pontius")
    fit, nist = least_squares(polynomial_design(x, 2), y), SETS["pontius"]
    for i in range(3):
        assert digits(fit.coefficients[i], nist[f"b{i}"]) > 11
        assert digits(fit.standard_errors[i], nist[f"sd_b{i}"]) > 11
    assert digits(fit.residual_sd, nist["residual_sd"]) > 11
    assert digits(fit.r_squared, nist["r2"]) > 11


@pytest.mark.parametrize("name", ["noint1", "noint2"])
def test_no_intercept_sets_with_uncentred_r_squared(name: str) -> None:
    # NIST StRD NoInt1 and NoInt2; certified values from memory, recomputed in exact fractions.
    line, nist = straight_line(*points(name), free_intercept=False), SETS[name]
    assert digits(line.slope, nist["b1"]) > 12
    assert digits(line.slope_u, nist["sd_b1"]) > 12
    assert digits(line.residual_sd, nist["residual_sd"]) > 12
    assert digits(line.r_squared, nist["r2_uncentred"]) > 12
    assert line.intercept == 0.0
    assert line.intercept_u == 0.0


def test_pearson_with_yorks_weights_gives_both_published_pairs_of_standard_errors() -> None:
    # York 1966 and Cantrell 2008: 0.057985 and 0.294971 from the weights alone, 0.070620 and 0.359247 scaled
    # by the scatter. As χ² per degree of freedom is 1.48, the scaled pair is the one shown.
    york = SETS["pearson_york"]
    x, y = points("pearson_york")
    u_x, u_y = 1.0 / np.sqrt(york["weight_x"]), 1.0 / np.sqrt(york["weight_y"])
    line = line_with_errors_in_both(x, y, u_x, u_y)
    assert digits(line.slope, york["slope"]) > 9
    assert digits(line.intercept, york["intercept"]) > 9
    assert line.chi_squared_per_dof == pytest.approx(york["S_over_dof"], rel=1e-9)
    assert line.covariance_unscaled is not None
    assert line.covariance_scaled is not None
    unscaled, scaled = np.sqrt(np.diag(line.covariance_unscaled)), np.sqrt(np.diag(line.covariance_scaled))
    # York's own standard errors are evaluated at the measured points, odrpack's at the adjusted ones.
    assert unscaled == pytest.approx([york["sigma_intercept"], york["sigma_slope"]], rel=1e-7)
    assert scaled == pytest.approx([york["sigma_intercept_scaled"], york["sigma_slope_scaled"]], rel=1e-7)
    assert line.covariance_unscaled[0, 1] == pytest.approx(york["cov_slope_intercept"], rel=1e-6)
    assert (line.slope_u, line.intercept_u) == (scaled[1], scaled[0])
    assert "scaled" in line.errors_shown


def test_errors_smaller_than_stated_do_not_shrink_the_standard_errors() -> None:
    x = np.linspace(1.0, 2.0, 20)
    y = 3.0 * x + 1e-4 * np.sin(40.0 * x)
    line = line_with_errors_in_both(x, y, np.full(20, 0.01), np.full(20, 0.01))
    assert line.chi_squared_per_dof is not None
    assert line.chi_squared_per_dof < 0.1
    assert line.covariance_unscaled is not None
    assert line.slope_u == math.sqrt(line.covariance_unscaled[1, 1])
    assert line.errors_shown == "from the stated errors"


def test_gum_h3_thermometer_needs_the_covariance_away_from_its_data() -> None:
    # JCGM 100:2008, H.3: b = y1 + y2 (t - 20 °C); u of the correction at 30 °C is 0.0041 °C, not 0.0073 °C.
    gum = SETS["gum_h3"]
    line = straight_line(np.array(gum["t"]) - gum["t0"], np.array(gum["b"]))
    assert line.intercept == pytest.approx(gum["y1"], abs=5e-5)
    assert line.intercept_u == pytest.approx(gum["s_y1"], abs=5e-5)
    assert line.slope == pytest.approx(gum["y2"], abs=5e-6)
    assert line.slope_u == pytest.approx(gum["s_y2"], abs=5e-6)
    correlation = line.covariance[0, 1] / (line.intercept_u * line.slope_u)
    assert correlation == pytest.approx(gum["r"], abs=5e-4)
    assert line.residual_sd == pytest.approx(gum["s"], abs=5e-5)
    value, u = line.predict(10.0)
    assert value == pytest.approx(gum["b_30"], abs=5e-5)
    assert u == pytest.approx(gum["u_b_30"], abs=5e-5)
    assert line.dof == gum["dof"]


@pytest.mark.parametrize("free", [True, False])
def test_weighted_line_agrees_with_statsmodels(free: bool) -> None:
    from statsmodels.regression.linear_model import WLS

    rng = np.random.default_rng(3)
    x = rng.uniform(0.2, 0.5, 40)
    u = rng.uniform(0.002, 0.02, 40)
    y = 4.3 * x + (0.05 if free else 0.0) + u * rng.standard_normal(40)
    ours = straight_line(x, y, free_intercept=free, u_y=u)
    theirs = WLS(y, polynomial_design(x, 1) if free else x[:, None], weights=1.0 / u**2).fit()
    assert ours.slope == pytest.approx(theirs.params[-1], rel=1e-11)
    assert ours.slope_u == pytest.approx(theirs.bse[-1], rel=1e-11)
    assert ours.r_squared == pytest.approx(theirs.rsquared, rel=1e-11)
    if free:
        assert ours.intercept == pytest.approx(theirs.params[0], rel=1e-10)
        assert ours.covariance == pytest.approx(theirs.cov_params(), rel=1e-9)


def test_exact_x_makes_errors_in_both_a_weighted_line() -> None:
    rng = np.random.default_rng(5)
    x, u = np.linspace(0.0, 20.0, 30), rng.uniform(0.001, 0.003, 30)
    y = 0.45 - 0.012 * x + 2.0 * u * rng.standard_normal(30)
    both, weighted = line_with_errors_in_both(x, y, np.zeros(30), u), straight_line(x, y, u_y=u)
    assert both.slope == pytest.approx(weighted.slope, rel=1e-10)
    assert both.slope_u == pytest.approx(weighted.slope_u, rel=1e-8)


@pytest.mark.parametrize("free", [True, False])
@pytest.mark.parametrize("share", [0.0, 0.1, 1.0, 20.0])
def test_york_and_odrpack_give_the_same_line_and_the_same_errors(
    share: float, free: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # odrpack (Zwolak, Boggs and Watson 2007) is another way to the same least distances.
    from odrpack import odr_fit

    from analysis import bivariate

    rng = np.random.default_rng(12)
    u_x, u_y = share * rng.uniform(0.01, 0.03, 60), rng.uniform(0.02, 0.05, 60)
    true = np.linspace(1.0, 4.0, 60)
    x, y = true + u_x * rng.standard_normal(60), 2.0 * true + 0.3 + u_y * rng.standard_normal(60)
    ours = line_with_errors_in_both(x, y, u_x, u_y, free_intercept=free)
    exact = u_x == 0.0
    theirs = odr_fit(
        lambda at, beta: beta[-1] * at + (beta[0] if free else 0.0),
        x,
        y,
        np.array([0.5, 1.5] if free else [1.5]),
        weight_x=1.0 / np.where(exact, 1.0, u_x) ** 2,
        weight_y=1.0 / u_y**2,
        fix_x=exact,
        jac_beta=lambda at, _beta: np.stack([np.ones_like(at), at]) if free else at[None],
        jac_x=lambda at, beta: np.full_like(at, beta[-1]),
        partol=1e-14,
        sstol=1e-15,
    )
    assert ours.slope == pytest.approx(theirs.beta[-1], rel=1e-7)
    assert ours.covariance_unscaled is not None
    assert ours.covariance_unscaled[1, 1] == pytest.approx(theirs.cov_beta[-1, -1], rel=1e-5)
    assert ours.chi_squared_per_dof == pytest.approx(theirs.sum_square / ours.dof, rel=1e-9)
    york = bivariate._york
    monkeypatch.setattr(bivariate, "_york", lambda *a: (york(*a)[0] * 1.001, york(*a)[1], False))
    searched = line_with_errors_in_both(x, y, u_x, u_y, free_intercept=free)
    assert searched.slope == pytest.approx(ours.slope, rel=1e-9)
    assert searched.slope_u == pytest.approx(ours.slope_u, rel=1e-8)


def test_a_line_that_almost_hits_the_origin_is_fitted_like_any_other() -> None:
    # A start of 1e-7 for the intercept makes odrpack doubt exact derivatives.
    rng = np.random.default_rng(0)
    x = np.linspace(0.04, 0.2, 200)
    u_x, u_y = np.full(200, 3e-4), np.full(200, 1e-3)
    for offset in (0.0, 1e-9, 1e-7, -1e-6):
        for _ in range(25):
            y = 0.84 * x + 1e-3 * rng.standard_normal(200)
            y += offset - straight_line(x, y, u_y=u_y).intercept
            line = line_with_errors_in_both(x, y, u_x, u_y)
            assert line.slope == pytest.approx(straight_line(x, y).slope, rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    scale_x=st.floats(1e-6, 1e6),
    scale_y=st.floats(1e-6, 1e6),
    seed=st.integers(0, 1000),
    free=st.booleans(),
)
def test_a_change_of_units_changes_nothing_else(
    scale_x: float, scale_y: float, seed: int, free: bool
) -> None:
    rng = np.random.default_rng(seed)
    x = np.linspace(0.05, 0.25, 15)
    y = 18.0 * x + 0.01 * rng.standard_normal(15)
    u_x, u_y = np.full(15, 5e-4), np.full(15, 0.01)
    one = line_with_errors_in_both(x, y, u_x, u_y, free_intercept=free)
    other = line_with_errors_in_both(
        scale_x * x, scale_y * y, scale_x * u_x, scale_y * u_y, free_intercept=free
    )
    assert other.slope == pytest.approx(one.slope * scale_y / scale_x, rel=1e-8)
    assert other.slope_u == pytest.approx(one.slope_u * scale_y / scale_x, rel=1e-8)
    assert other.intercept == pytest.approx(one.intercept * scale_y, rel=1e-6, abs=2e-8 * scale_y)


@pytest.mark.parametrize(
    ("x", "y", "free", "words"),
    [
        ([1.0], [2.0], True, "2 coefficients need 2 rows"),
        ([1.0, 1.0, 1.0], [2.0, 2.1, 2.2], True, "do not differ"),
        ([0.0, 0.0], [2.0, 2.1], False, "column of the design is zero"),
    ],
)
def test_what_no_line_can_be_fitted_to_is_refused_in_words(
    x: list[float], y: list[float], free: bool, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        straight_line(np.array(x), np.array(y), free_intercept=free)


@pytest.mark.parametrize(
    ("x", "u_y", "words"),
    [
        ([1.0], [0.1], "need 2 points"),
        ([1.0, 1.0], [0.1, 0.1], "do not differ"),
        ([1.0, 2.0], [0.1, 0.0], "above zero"),
    ],
)
def test_errors_in_both_refuses_in_words(x: list[float], u_y: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        line_with_errors_in_both(np.array(x), np.array(x), np.zeros(len(x)), np.array(u_y))


def test_two_points_have_a_line_and_no_scatter() -> None:
    line = straight_line(np.array([1.0, 2.0]), np.array([3.0, 5.0]))
    assert (line.slope, line.intercept) == (pytest.approx(2.0), pytest.approx(1.0))
    assert line.dof == 0
    assert math.isnan(line.slope_u)
    assert line.covariance_scaled is None
    assert line.checks == ()


def test_equation_carries_both_uncertainties() -> None:
    rng = np.random.default_rng(1)
    x = np.linspace(0.2, 0.45, 50)
    line = straight_line(x, 4.3 * x + 0.002 * rng.standard_normal(50))
    words = line.equation("v", "√h", "m^0.5/s", "m/s")
    assert words.startswith("v = (4.")
    assert "m^0.5/s · √h + (" in words
    held = straight_line(x, 4.3 * x + 0.002 * rng.standard_normal(50), free_intercept=False)
    assert held.equation("v", "√h").endswith("· √h")
