"""Each question asked of a line fails on the fault that it is there for, and holds on a sound line."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import Check, line_with_errors_in_both, straight_line
from analysis.checks import _wander

X = np.linspace(0.04, 0.2, 60)
NOISE = np.random.default_rng(8).standard_normal(60)


def found(checks: tuple[Check, ...], words: str) -> Check:
    return next(check for check in checks if words in check.question)


def test_a_sound_line_passes_every_question() -> None:
    u = np.full(60, 0.002)
    line = line_with_errors_in_both(X, 18.7 * X + 0.002 * NOISE, np.zeros(60), u)
    assert len(line.checks) == 5
    assert all(check.holds for check in line.checks)


@pytest.mark.parametrize(
    ("y", "words"),
    [
        (18.7 * X + 0.01 * np.sin(60.0 * X) + 0.001 * NOISE, "wander"),
        (18.7 * (X + 0.005) + 0.002 * NOISE, "miss the origin"),
        (18.7 * X + 0.008 * NOISE, "larger than the stated errors"),
        (18.7 * X + 0.002 * NOISE + 0.3 * (np.arange(60) == 59), "one reading alone"),
        (18.7 * X - 10.0 * (X - 0.1) ** 2 + 0.002 * NOISE, "bent"),
    ],
)
def test_each_fault_is_found_by_its_question(y: np.ndarray, words: str) -> None:
    line = line_with_errors_in_both(X, y, np.zeros(60), np.full(60, 0.002))
    check = found(line.checks, words)
    assert not check.holds
    assert check.found > check.limit
    assert len(check.remedy) > 20


@pytest.mark.parametrize(("signs", "runs"), [("+-" * 10, 20), ("+" * 10 + "-" * 10, 2), ("++--" * 5, 10)])
def test_the_runs_test_is_that_of_wald_and_wolfowitz(signs: str, runs: int) -> None:
    """Mean 2mn/N + 1 and variance 2mn(2mn - N)/(N²(N - 1)): NIST/SEMATECH e-Handbook, section 1.3.5.13."""
    check = _wander(np.array([1.0 if sign == "+" else -1.0 for sign in signs]))
    assert check is not None
    m, total = 10, 20
    mean, variance = 2 * m * m / total + 1, 2 * m * m * (2 * m * m - total) / (total**2 * (total - 1))
    assert mean == 11.0
    assert variance == pytest.approx(4.7368, abs=1e-4)
    assert check.found == pytest.approx((mean - runs) / variance**0.5)
    assert check.limit == pytest.approx(2.326, abs=1e-3)  # 99 % of the normal distribution, one-sided


def test_limits_are_one_in_a_hundred() -> None:
    # 1,500 sound lines: each question fails in about 1 %; Cook's distance has no such level.
    rng = np.random.default_rng(2)
    failed: dict[str, int] = {}
    runs = 1500
    x = np.linspace(0.04, 0.2, 30)
    for _ in range(runs):
        line = straight_line(x, 18.7 * x + 0.002 * rng.standard_normal(30), u_y=np.full(30, 0.002))
        for check in line.checks:
            failed[check.question[:20]] = failed.get(check.question[:20], 0) + (not check.holds)
    shares = {words: count / runs for words, count in failed.items()}
    # Binomial: 1 % of 1,500 is 15 ± 3.9; the runs test is discrete and one-sided.
    assert all(share < 0.019 for share in shares.values()), shares
    assert shares["Does the line miss t"] > 0.004
    assert shares["Is the line bent (qu"] > 0.004
    assert shares["Is the scatter large"] > 0.004


def test_few_or_perfect_points_are_not_questioned() -> None:
    assert straight_line(np.array([1.0, 2.0]), np.array([1.0, 2.0])).checks == ()
    assert straight_line(X, 18.7 * X).checks == ()


def test_a_law_without_an_origin_is_not_asked_for_one() -> None:
    line = straight_line(X, 0.4 - X + 0.001 * NOISE, from_origin=False)
    assert not any("origin" in check.question for check in line.checks)


@pytest.mark.parametrize("free", [True, False])
def test_the_largest_cooks_distance_agrees_with_statsmodels(free: bool) -> None:
    from statsmodels.regression.linear_model import OLS

    y = 18.7 * X + 0.002 * NOISE + 0.02 * (np.arange(60) == 57)
    design = np.stack([np.ones(60), X], axis=1) if free else X[:, None]
    theirs = OLS(y, design).fit().get_influence().cooks_distance[0]
    line = straight_line(X, y, free_intercept=free)
    assert found(line.checks, "one reading alone").found == pytest.approx(np.max(theirs), rel=1e-9)
