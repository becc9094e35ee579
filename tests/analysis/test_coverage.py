"""Honesty: the 95 % intervals hold the truth as often as they say, whatever goes wrong with the readings."""

from __future__ import annotations

import numpy as np
import pytest

from tests.analysis.coverage_study import held
from tests.analysis.simulated import REALISTIC, SCENARIOS, Scenario

RUNS = 200
ANGLE = "launch_angle_deg"
"""Found only where the readings tell it, and then from the bend of the throws alone, which a slow gust makes too."""


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_intervals_hold_the_truth(scenario: Scenario) -> None:
    # Of 200 runs at 95 % a binomial draw holds 190 ± 3.1: 180 and 199 are 3.2 and 2.9 standard deviations
    # away. The study command runs 1,000 and prints the table; the goal there is 93 to 97 %.
    outcome = held(RUNS, 20, scenario)
    assert len(outcome) == (15 if scenario.timed else 11)
    angles = [ok for ok, _ in outcome.pop(ANGLE)]
    assert np.mean(angles) > 0.86
    for name, results in outcome.items():
        assert len(results) == RUNS
        assert 180 <= sum(ok for ok, _ in results) <= 199, name
        errors = np.array([error for _, error in results])
        assert abs(np.mean(errors)) < 4.2 / np.sqrt(RUNS), name
        assert 0.8 < np.std(errors) < 1.2, name
    shares = [np.mean([ok for ok, _ in results]) for results in outcome.values()]
    assert 0.93 <= np.mean(shares) <= 0.975


@pytest.mark.parametrize(
    "scenario", [each for each in REALISTIC if not each.zero_lost], ids=lambda scenario: scenario.name
)
def test_intervals_hold_the_truth_on_a_real_bench(scenario: Scenario) -> None:
    # Of 80 runs a draw holds 76 ± 1.9; what surface tension takes, which nobody tells, is in the study alone.
    outcome = held(80, 20, scenario)
    outcome.pop(ANGLE)
    for name, results in outcome.items():
        assert sum(ok for ok, _ in results) >= 69, name
        errors = np.array([error for _, error in results])
        assert abs(np.mean(errors)) < 4.2 / np.sqrt(80), name
        assert 0.5 < np.std(errors) < 1.35, name
