"""What to improve first: halves and more readings against the sums they stand for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Finding, Share, findings_of, improvement_of, improvements_of
from tests.analysis.simulated import simulated_run


def _finding(own: float, *shared: float, name: str = "speed_coefficient", assumed: bool = False) -> Finding:
    shares = [Share("own scatter of the readings", own, shared=False)]
    shares += [Share(f"source {i}", u, shared=True) for i, u in enumerate(shared)]
    u = math.hypot(own, *shared)
    return Finding(name, "Cv", 0.97, u, (0.9, 1.0), "1", "", assumed, (), tuple(shares))


@given(st.floats(1e-6, 1.0), st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=8))
def test_more_readings_shrink_only_what_is_not_shared(own: float, shared: list[float]) -> None:
    made = improvement_of(_finding(own, *shared))
    assert made is not None
    for more in made.more:
        left = math.hypot(own / math.sqrt(more.times), *shared)
        assert more.u == pytest.approx(left, rel=1e-9)
        assert more.gain == pytest.approx(1.0 - left / made.u, abs=1e-9)
        assert more.u >= math.hypot(*shared) * (1.0 - 1e-12)
    assert sum(each.share for each in made.sources) == pytest.approx(1.0)


def test_ten_times_as_many_readings_are_said_to_be_worth_nothing_where_they_are() -> None:
    made = improvement_of(_finding(0.001, 0.01))
    assert made is not None
    assert not made.more[1].worth_it
    spare = improvement_of(_finding(0.01, 0.001))
    assert spare is not None
    # JCGM 100, 4.2.3: the mean of ten times as many has √10 less.
    assert spare.more[1].gain == pytest.approx(1.0 - math.hypot(0.01 / math.sqrt(10.0), 0.001) / spare.u)


def test_cv_comes_first_and_a_borrowed_g_never() -> None:
    run = simulated_run(np.random.default_rng(3))
    names = [each.name for each in improvements_of(findings_of(run.series, run.conditions).findings)]
    assert names == ["speed_coefficient", "gravity_from_clock"]
    borrowed = _finding(0.1, 0.1, name="gravity_from_slope_root", assumed=True)
    assert improvements_of([borrowed]) == ()


def test_without_a_budget_nothing_is_said() -> None:
    assert improvement_of(Finding("speed_coefficient", "Cv", 0.97, 0.1, (0.9, 1.0), "1", "", False)) is None
