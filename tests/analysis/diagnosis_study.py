"""
How often a diagnosis is right: faults planted in simulated runs, and sound runs that must have none.

Run with ``python -m tests.analysis.diagnosis_study N SEED``.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis import Shape, findings_of
from tests.analysis.faults import FAULTS, SOUND, Fault, faulty_run, walled
from tests.analysis.simulated import simulated_run


@dataclass(frozen=True)
class Tally:
    """What came of the runs with one fault."""

    runs: int
    told: int
    """Runs in which something was found to be off."""
    first: int
    """Of these, those with the planted fault in the first group."""
    against: int
    """Of these, those that speak against the planted fault."""
    unexplained: int
    """Of these, those where the engine says that no single suspect explains the trouble."""
    group: float
    """Mean size of the first group."""


def tally_of(fault: Fault, runs: int, seed: Sequence[int]) -> Tally:
    """Plant a fault in many runs."""
    told = first = against = unexplained = size = 0
    for i in range(runs):
        run = faulty_run(np.random.default_rng([*seed, i]), fault)
        diagnosis = findings_of(run.series, run.conditions).diagnosis
        if diagnosis is None:
            continue
        told += 1
        groups = diagnosis.groups
        first += any(each.name == fault.name for each in groups[0])
        against += any(
            each.name == fault.name and each.shape is Shape.SPEAKS_AGAINST
            for group in groups
            for each in group
        )
        unexplained += diagnosis.unexplained
        size += len(groups[0])
    return Tally(runs, told, first, against, unexplained, size / max(1, told))


def false_alarms(name: str, runs: int, seed: int) -> int:
    """Count diagnoses of sound runs."""
    scenario, wall = SOUND[name]
    alarms = 0
    for i in range(runs):
        run = walled(simulated_run(np.random.default_rng([seed, i]), scenario), wall)
        alarms += findings_of(run.series, run.conditions).diagnosis is not None
    return alarms


def main(runs: int, seed: int) -> None:
    """Print both tables."""
    print(f"{runs} runs for each fault, seed {seed}")
    print(f"{'planted':50} {'wall':>7} {'told':>6} {'first':>6} {'against':>8} {'unexpl.':>8} {'alike':>6}")
    for j, fault in enumerate(FAULTS):
        got = tally_of(fault, runs, (seed, j))
        wall = "unknown" if fault.wall_m is None else "thin"
        print(
            f"{fault.name:50} {wall:>7} {got.told:6d} {got.first:6d} {got.against:8d} {got.unexplained:8d} "
            f"{got.group:6.1f}"
        )
    print(f"\n{'sound runs':50} {'told of':>7}")
    for name in SOUND:
        print(f"{name:50} {false_alarms(name, runs, seed):4d} of {runs}")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
