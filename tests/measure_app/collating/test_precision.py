"""ISO 5725-2 through the collation's own functions, against published values and an independent computation."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure_app.collating import Precision, h_critical, k_critical, precision_of

# ISO 5725-2:1994, example 1 (B.1), sulfur in coal, per cent by mass, 8 laboratories; raw values and summary from
# memory. Levels 1, 3 and 4 as remembered give the summary to every printed digit.
SULFUR = {
    1: (
        [[.71, .71, .70, .71], [.69, .67, .68], [.66, .65, .69], [.67, .65, .66], [.70, .69, .66, .71, .69],
         [.73, .74, .73], [.71, .71, .69], [.70, .65, .68]],
        (0.690, 0.015, 0.026),
    ),
    3: (
        [[1.68, 1.70, 1.68, 1.69], [1.64, 1.64, 1.65], [1.61, 1.61, 1.62], [1.68, 1.66, 1.66],
         [1.64, 1.67, 1.60, 1.66, 1.68], [1.70, 1.73, 1.73], [1.69, 1.70, 1.68], [1.67, 1.68, 1.67]],
        (1.667, 0.017, 0.035),
    ),
    4: (
        [[3.26, 3.26, 3.20, 3.24], [3.20, 3.20, 3.20], [3.37, 3.36, 3.38], [3.16, 3.22, 3.23],
         [3.20, 3.19, 3.18, 3.27, 3.24], [3.27, 3.31, 3.29], [3.27, 3.24, 3.23], [3.25, 3.26, 3.26]],
        (3.250, 0.026, 0.058),
    ),
}  # fmt: skip


def columns(cells):
    who = [i for i, cell in enumerate(cells) for _ in cell]
    return np.array(who), np.zeros(len(who), dtype=int), np.array([v for cell in cells for v in cell])


def told(*args) -> Precision:
    found = precision_of(*args)
    assert isinstance(found, Precision), found
    return found


@pytest.mark.parametrize("level", SULFUR)
def test_iso_5725_2_example_1_from_memory(level):
    cells, (m, s_r, s_R) = SULFUR[level]
    found = told(*columns(cells))
    assert found.mean == pytest.approx(m, abs=6e-4)
    assert found.repeatability == pytest.approx(s_r, abs=5.1e-4)
    assert found.reproducibility == pytest.approx(s_R, abs=5.1e-4)


@pytest.mark.parametrize("level", SULFUR)
def test_one_way_analysis_of_variance_gives_the_same(level):
    """statsmodels, independently: s_r² is the residual mean square, s_L² what the groups have beyond it."""
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    who, _, y = columns(SULFUR[level][0])
    table = anova_lm(ols("y ~ C(who)", pd.DataFrame({"y": y, "who": who})).fit())
    within, groups = table["mean_sq"]["Residual"], table["mean_sq"]["C(who)"]
    n = np.bincount(who)
    typical = (n.sum() - (n**2).sum() / n.sum()) / (len(n) - 1)
    found = told(*columns(SULFUR[level][0]))
    assert found.repeatability == pytest.approx(math.sqrt(within), rel=1e-10)
    assert found.between == pytest.approx(math.sqrt((groups - within) / typical), rel=1e-9)


def test_two_way_analysis_of_variance_gives_the_same_s_r():
    """Observers and frames, many cells empty: residual mean square of statsmodels' two-way model."""
    from statsmodels.formula.api import ols

    rng = np.random.default_rng(4)
    pairs = np.array([(i, j) for i in range(9) for j in range(14) if (i * 5 + j * 3) % 4 < 2 or j == 0])
    who, where = pairs.T
    y = rng.normal(0, 2, 9)[who] + rng.normal(0, 30, 14)[where] + rng.normal(0, 0.5, len(who))
    fit = ols("y ~ C(who) + C(where)", pd.DataFrame({"y": y, "who": who, "where": where})).fit()
    found = told(who, where, y)
    assert found.repeatability == pytest.approx(math.sqrt(fit.mse_resid), rel=1e-9)
    assert found.freedom == pytest.approx(fit.df_resid)
    steps = [found.observers[i].effect - found.observers[0].effect for i in range(1, 9)]
    assert steps == pytest.approx([fit.params[f"C(who)[T.{i}]"] for i in range(1, 9)], rel=1e-8)
    leverage = fit.get_influence().hat_matrix_diag
    for each in found.observers:
        mine = who == each.observer
        assert each.freedom == pytest.approx((1 - leverage[mine]).sum(), rel=1e-8)
        own = math.sqrt((fit.resid[mine] ** 2).sum() / (1 - leverage[mine]).sum())
        assert each.s == pytest.approx(own, rel=1e-8)


def test_known_spreads_come_back_whatever_the_frames_are():
    """Mean of s_r² and s_R² over many classes that share frames as packs deal them."""
    from measure_app.packs import shares_of

    rng = np.random.default_rng(11)
    shares = shares_of(0, 300, 24, 12).frames
    who = np.concatenate([np.full(len(share), i) for i, share in enumerate(shares)])
    where = np.concatenate([np.array(share) for share in shares])
    level = 200 - 0.6 * np.arange(300) + 2e-4 * np.arange(300) ** 2
    found = []
    for _ in range(150):
        y = level[where] + rng.normal(0, 0.9, 24)[who] + rng.normal(0, 0.7, len(who))
        each = told(who, where, y)
        found.append((each.repeatability**2, each.reproducibility**2))
    within, total = np.mean(found, axis=0)
    assert within == pytest.approx(0.49, rel=0.02)
    assert total == pytest.approx(0.49 + 0.81, rel=0.04)


@given(st.lists(st.floats(-1e3, 1e3), min_size=4, max_size=4), st.floats(-50, 50))
def test_no_frames_own_level_changes_anything(levels, step):
    rng = np.random.default_rng(0)
    who, where = np.repeat(np.arange(5), 4), np.tile(np.arange(4), 5)
    y = rng.normal(0, 1, 20)
    plain, moved = told(who, where, y), told(who, where, y + np.array(levels)[where] + step)
    assert moved.repeatability == pytest.approx(plain.repeatability, rel=1e-6)
    assert [o.effect for o in moved.observers] == pytest.approx([o.effect for o in plain.observers], abs=1e-6)


# ISO 5725-2:1994, tables 6 and 7 (indicators for Mandel's h and k), from memory.
@pytest.mark.parametrize(
    ("p", "one", "five"),
    [
        (3, 1.15, 1.15),
        (4, 1.49, 1.42),
        (5, 1.72, 1.57),
        (6, 1.87, 1.66),
        (7, 1.98, 1.71),
        (8, 2.06, 1.75),
        (10, 2.18, 1.80),
    ],
)
def test_critical_values_of_h_from_memory(p, one, five):
    assert h_critical(p, 0.01) == pytest.approx(one, abs=0.0101)
    assert h_critical(p, 0.05) == pytest.approx(five, abs=0.0101)


@pytest.mark.parametrize(
    ("p", "one", "five"),
    [(3, 1.71, 1.65), (4, 1.92, 1.76), (5, 2.05, 1.81), (6, 2.14, 1.85), (10, 2.32, 1.90)],
)
def test_critical_values_of_k_for_two_values_each_from_memory(p, one, five):
    assert k_critical(1, p, 0.01) == pytest.approx(one, abs=0.0101)
    assert k_critical(1, p, 0.05) == pytest.approx(five, abs=0.0101)


def test_h_and_k_exceed_their_limits_as_often_as_they_say():
    rng = np.random.default_rng(3)
    h, k = [], []
    for _ in range(600):
        found = told(np.repeat(np.arange(8), 4), np.zeros(32, dtype=int), rng.normal(size=32))
        h += [abs(o.h) > found.h_critical_5 for o in found.observers]
        k += [o.k > o.k_critical_5 for o in found.observers]
    assert np.mean(h) == pytest.approx(0.05, abs=0.012)
    assert np.mean(k) == pytest.approx(0.05, abs=0.012)


def test_what_cannot_be_told_is_said():
    none = np.empty(0)
    assert "fewer than two" in precision_of([], [], none)
    assert "fewer than two" in precision_of([0, 0], [1, 1], np.array([1.0, 2.0]))
    assert "tie" in precision_of([0, 1, 2, 3], [0, 0, 1, 1], np.arange(4.0))
    assert "unknowns" in precision_of([0, 1], [0, 0], np.array([1.0, 2.0]))
    assert h_critical(2, 0.05) is None
