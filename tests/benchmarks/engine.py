"""
How long the engine takes: all findings of a run, and the Monte Carlo check of them.

`python -m tests.benchmarks.engine [SEED]` prints medians in milliseconds and, since machines differ, each as a
multiple of a reference loop of plain numpy on as many rows: ten QR decompositions of a table of ten columns.
Time of the processor is counted, not of the clock, so that other work on the machine matters little; with
OMP_NUM_THREADS=1 it is that of one core. Goals: 2,000 readings within 50 ms, their Monte Carlo check within 1 s.
"""

from __future__ import annotations

import dataclasses
import sys
import time
from collections.abc import Callable
from functools import partial

import numpy as np

from analysis import Conditions, Findings, Series, checked_by_monte_carlo, findings_of
from tests.analysis.simulated import SCENARIOS, Simulated, simulated_run

ROWS = (20, 200, 2000)
SOURCES = 30
"""Shared sources of a run from film: more than those of simulated ones."""


def run_of(rows: int, seed: int) -> Simulated:
    """Simulate a run with as many shared sources as a film's calibration names."""
    run = simulated_run(np.random.default_rng(seed), dataclasses.replace(SCENARIOS[0], rows=(rows, rows)))
    series = run.series
    k = len(series.sources)
    parts = {}
    for name in ("head", "throw", "drop"):
        column = getattr(series, name)
        # Every source split into several that move the readings alike: the same run, told in more words.
        shared = np.hstack([column.shared * np.sqrt(k / SOURCES)] * (SOURCES // k))
        parts[name] = dataclasses.replace(column, shared=shared)
    names = tuple(f"{name} {i}" for i in range(SOURCES // k) for name in series.sources)
    return dataclasses.replace(run, series=Series(names, series.time_s, kept=series.kept, **parts))


def median_ms(work: Callable[[], object], least_s: float = 0.6) -> float:
    """Median of as many runs as fit into some time, three at least, in milliseconds."""
    work()
    times: list[float] = []
    start = time.process_time()
    while len(times) < 3 or time.process_time() - start < least_s:
        before = time.process_time()
        work()
        times.append(time.process_time() - before)
    return 1e3 * float(np.median(times))


def reference_loop(rows: int) -> None:
    """Ten QR decompositions of a table of so many rows and ten columns."""
    table = np.vander(np.linspace(0.0, 1.0, rows), 10)
    for _ in range(10):
        np.linalg.qr(table)


def engine(conditions: Conditions, series: Series) -> Findings:
    """Derive findings from a series."""
    return findings_of(series, conditions)


def table(seed: int = 1) -> list[tuple[int, float, float, float]]:
    """Rows, then medians of reference loop, findings and Monte Carlo check, ms."""
    made = []
    for rows in ROWS:
        run = run_of(rows, seed)
        derive = partial(engine, run.conditions)
        findings = derive(run.series)
        made.append(
            (
                rows,
                median_ms(partial(reference_loop, rows)),
                median_ms(partial(derive, run.series)),
                median_ms(partial(checked_by_monte_carlo, findings, run.series, derive)),
            )
        )
    return made


def main(arguments: list[str]) -> None:
    """Print the table."""
    seed = int(arguments[0]) if arguments else 1
    print("rows   reference     findings_of          Monte Carlo check")
    for rows, reference, findings, check in table(seed):
        print(
            f"{rows:5d}  {reference:7.2f} ms  {findings:7.1f} ms ({findings / reference:6.1f} ×)"
            f"  {check:7.0f} ms ({check / reference:7.0f} ×)"
        )


if __name__ == "__main__":
    main(sys.argv[1:])
