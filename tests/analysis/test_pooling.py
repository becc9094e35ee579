"""Several runs pooled: published random-effects figures, what is shared, who stands out."""

from __future__ import annotations

import math
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.pooling import BETWEEN, RunValue, pooled

# Thirteen trials of a vaccine, positive and negative in the treated and in the control group (Colditz and
# others, JAMA 271 (1994) 698), the standard example of random-effects pooling. Table and results from memory;
# that every printed digit of the results comes out of the table vouches for both.
TRIALS = [
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232),
    (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
]  # fmt: skip


def runs(values: list[float], u: list[float], **common: list[float]) -> list[RunValue]:
    return [
        RunValue(f"run {i + 1}", x, own, MappingProxyType({name: each[i] for name, each in common.items()}))
        for i, (x, own) in enumerate(zip(values, u, strict=True))
    ]


def test_published_figures_of_random_effects() -> None:
    x = [math.log(a / (a + b) / (c / (c + d))) for a, b, c, d in TRIALS]
    u = [math.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)) for a, b, c, d in TRIALS]
    found = pooled(runs(x, u))
    assert found.chi_squared == pytest.approx(152.2330, abs=5e-5)
    assert found.dof == 12
    assert found.between_dersimonian_laird**2 == pytest.approx(0.3088, abs=5e-5)
    assert found.between**2 == pytest.approx(0.3181, abs=5e-5)
    assert not found.consistent
    assert found.odd is None
    # With DerSimonian and Laird's variance: -0.7141 ± 0.1787. Mandel and Paule's is close by.
    assert found.mean.value == pytest.approx(-0.7141, abs=0.002)
    assert found.mean.u == pytest.approx(0.1787, abs=0.003)


def test_runs_that_agree_are_weighted_as_stated() -> None:
    found = pooled(runs([10.1, 9.9, 10.0], [0.1, 0.1, 0.2]))
    assert found.between == 0.0
    assert found.consistent
    assert found.mean.value == pytest.approx((10.1 + 9.9 + 10.0 / 4) / 2.25)
    assert found.mean.u == pytest.approx(0.1 / 1.5)
    assert math.isinf(found.mean.dof)
    assert {share.source for share in found.mean.budget} == {"each run's own errors"}


def test_what_runs_share_stays_as_it_is_however_many_they_are() -> None:
    for n in (2, 10, 400):
        found = pooled(runs([5.0] * n, [0.1] * n, drop=[0.03] * n, rule=[-0.04] * n))
        assert found.mean.u == pytest.approx(math.hypot(0.1 / math.sqrt(n), 0.05))
        shares = {share.source: share.u for share in found.mean.budget}
        assert shares["drop"] == pytest.approx(0.03)
        assert shares["rule"] == pytest.approx(0.04)


def test_a_source_that_only_some_runs_have_is_diluted_by_its_weight_only() -> None:
    found = pooled(runs([1.0, 1.0], [0.1, 0.1], drop=[0.06, 0.0]))
    assert found.mean.u == pytest.approx(math.hypot(0.1 / math.sqrt(2.0), 0.03))


def test_scatter_beyond_what_was_stated_widens_the_mean_and_its_tails() -> None:
    found = pooled(runs([1.0, 1.6, 1.3, 0.8], [0.01] * 4))
    sd = float(np.std([1.0, 1.6, 1.3, 0.8], ddof=1))
    # With equal and tiny stated errors the scatter is all that counts.
    assert found.between == pytest.approx(math.sqrt(sd**2 - 0.01**2))
    assert found.between_dersimonian_laird == pytest.approx(found.between)
    assert found.mean.u == pytest.approx(sd / 2.0)
    assert found.mean.dof == pytest.approx(3.0)
    assert found.birge == pytest.approx(sd / 0.01)
    assert BETWEEN in {share.source for share in found.mean.budget}
    low, high = found.mean.interval_95
    assert high - low == pytest.approx(2.0 * 3.182 * sd / 2.0, rel=1e-3)  # Student's t, 3 degrees of freedom


def test_the_odd_one_out_is_named_and_only_if_it_is_one() -> None:
    one = pooled(runs([1.00, 1.01, 0.99, 1.20], [0.02] * 4))
    assert one.odd == 3
    assert one.deviations[3] == pytest.approx(0.2 / math.hypot(0.02, 0.02 / math.sqrt(3.0)))
    two_camps = pooled(runs([1.0, 1.0, 1.2, 1.2], [0.02] * 4))
    assert not two_camps.consistent
    assert two_camps.odd is None
    agree = pooled(runs([1.0, 1.01, 0.99, 1.05], [0.02] * 4))
    assert agree.consistent
    assert agree.odd is None
    assert pooled(runs([1.0, 2.0], [0.02, 0.02])).odd is None  # of two, neither can be told


def test_one_run_is_its_own_mean() -> None:
    found = pooled(runs([3.0], [0.2], drop=[0.1]))
    assert found.mean.value == 3.0
    assert found.mean.u == pytest.approx(math.hypot(0.2, 0.1))
    assert found.consistent
    assert math.isnan(found.deviations[0])


@pytest.mark.parametrize("values", [[], runs([1.0], [0.0]), runs([math.nan], [1.0]), runs([1.0], [math.inf])])
def test_what_cannot_be_pooled_is_refused(values: list[RunValue]) -> None:
    with pytest.raises(ValueError, match="pool"):
        pooled(values)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    # Runs with stated errors of different sizes, scatter between them that nobody stated, a common source.
    rng = np.random.default_rng(4)
    for between, n in ((0.0, 4), (0.3, 4), (0.1, 8), (1.0, 3)):
        held = 0
        for _ in range(500):
            u = rng.uniform(0.05, 0.2, n)
            common = rng.uniform(0.02, 0.1) * np.ones(n)
            x = (
                7.0
                + u * rng.standard_normal(n)
                + between * rng.standard_normal(n)
                + common * rng.standard_normal()
            )
            low, high = pooled(runs(x.tolist(), u.tolist(), rule=common.tolist())).mean.interval_95
            held += low <= 7.0 <= high
        # 500 draws at 95 %: 475 ± 4.9. Few runs that scatter cost a little either way.
        assert 455 <= held <= 495, (between, n)


@given(
    st.lists(st.tuples(st.floats(-10, 10), st.floats(0.01, 5.0)), min_size=1, max_size=8),
    st.floats(1e-6, 1e6),
    st.floats(-100, 100),
    st.randoms(),
)
def test_unit_origin_and_order_do_not_matter(
    data: list[tuple[float, float]], unit: float, shift: float, random: object
) -> None:
    x, u = [each[0] for each in data], [each[1] for each in data]
    order = list(range(len(x)))
    random.shuffle(order)  # type: ignore[attr-defined]
    one = pooled(runs(x, u))
    other = pooled(runs([unit * (x[i] + shift) for i in order], [unit * u[i] for i in order]))
    size = max(u) + abs(shift) + 10.0
    assert other.mean.value == pytest.approx(unit * (one.mean.value + shift), abs=1e-9 * unit * size)
    assert other.mean.u == pytest.approx(unit * one.mean.u, rel=1e-5)
    assert other.chi_squared == pytest.approx(one.chi_squared, rel=1e-6, abs=1e-9)
    assert min(x) - 1e-9 <= one.mean.value <= max(x) + 1e-9
    assert one.mean.u >= 0.999 / math.sqrt(sum(1.0 / each**2 for each in u))
    if one.odd is not None and other.odd is not None:
        assert order[other.odd] == one.odd
