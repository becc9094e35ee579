"""
How often the 95 % intervals hold the truth, and how wide they are, in simulated runs.

`python -m tests.analysis.coverage_study [RUNS] [SEED] [WORDS OF A SCENARIO'S NAME]` prints the table for every
scenario, or for those whose names hold the words; 1,000 runs by default.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from analysis import findings_of
from tests.analysis.simulated import REALISTIC, SCENARIOS, Scenario, simulated_run


def held(runs: int, seed: int, scenario: Scenario) -> dict[str, list[tuple[bool, float]]]:
    """Whether each finding's interval held the truth, and its error in units of u, run by run."""
    rng = np.random.default_rng(seed)
    outcome: dict[str, list[tuple[bool, float]]] = defaultdict(list)
    for _ in range(runs):
        run = simulated_run(rng, scenario)
        for finding in findings_of(run.series, run.conditions, corrections=scenario.corrections).findings:
            truth = run.truth[finding.name]
            low, high = finding.interval_95
            outcome[finding.name].append((low <= truth <= high, (finding.value - truth) / finding.u))
    return outcome


def table(runs: int, seed: int, scenarios: Iterable[Scenario]) -> str:
    """Coverage in per cent, mean and standard deviation of error/u, for every finding and scenario."""
    lines = []
    for scenario in scenarios:
        lines.append(f"{scenario.name}: {runs} runs, seed {seed}")
        for name, results in held(runs, seed, scenario).items():
            share = 100.0 * np.mean([ok for ok, _ in results])
            errors = np.array([error for _, error in results])
            lines.append(
                f"  {name:32s} {share:5.1f} %   error/u {np.mean(errors):+5.2f} ± {np.std(errors):4.2f}   "
                f"({len(results)} findings)"
            )
    return "\n".join(lines)


if __name__ == "__main__":
    asked = [int(each) for each in sys.argv[1:3]] + [1000, 1][len(sys.argv[1:3]) :]
    words = " ".join(sys.argv[3:])
    print(table(asked[0], asked[1], [each for each in (*SCENARIOS, *REALISTIC) if words in each.name]))
