"""
Every share of every budget against differences: the whole engine run on readings moved to either side.

An error that an estimate remembers is a derivative, so that it must be what moves the value when that error is put in.
Checked for each finding and each source: readings one by one, sources shared by all, and what was measured once.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from functools import cache

import numpy as np
import pytest

from analysis import Column, Conditions, Corrections, Estimate, Series, findings_of
from analysis.basis import Basis, basis_of
from analysis.from_lines import speed_coefficient_of_line
from analysis.triggers import linearisations

N = 14
STEP = 0.05
"""Standard uncertainties to either side."""
ALTERNATING = np.where(np.arange(N) % 2, 0.5, -0.5)
"""Own errors of readings whose neighbours do not err together, smaller than stated: nothing is widened."""
SOURCES = ("orifice position", "upright rule: scale", "throw zero", "tape: scale", "drop", "facing")
PLAIN = Conditions(
    latitude_deg=52.0,
    elevation_m=100.0,
    orifice_diameter_m=0.005,
    orifice_diameter_u_m=5e-5,
    container_area_m2=0.004,
    container_area_u_m2=2.4e-5,
)
RISING = dataclasses.replace(
    PLAIN,
    jet_diameter_m=0.0041,
    jet_diameter_u_m=4e-5,
    launch_angle_deg=0.8,
    launch_angle_u_deg=0.3,
    landing_above_m=0.003,
    landing_above_u_m=0.0004,
)
RUNS = {"a level jet": (PLAIN, Corrections()), "a rising jet": (RISING, Corrections(hole_size=True))}
MEASURED_ONCE = {
    "orifice diameter": ("orifice_diameter_m", 5e-5),
    "container area": ("container_area_m2", 2.4e-5),
    "jet diameter": ("jet_diameter_m", 4e-5),
    "launch angle": ("launch_angle_deg", 0.3),
    "landing line: height over the drop's level": ("landing_above_m", 0.0004),
}


SIGN = {"launch angle": -1.0, "landing line: height over the drop's level": -1.0} | dict.fromkeys(
    ("orifice diameter", "container area", "jet diameter"), 1.0
)
"""Of a correction the error stands in the readings: what is taken off too much is stated too large."""


def series(at: Conditions) -> Series:
    """A drain by the law, k = Cd (a/A) √(g/2), and its throws; then the own errors."""
    angle = math.radians(at.launch_angle_deg or 0.0)
    hole, g = math.pi * 0.005**2 / 4.0, 9.81
    k = 0.62 * hole / 0.004 * math.sqrt(g / 2.0)
    root = np.linspace(math.sqrt(0.25), math.sqrt(0.05), N)
    time = 1.0 + (root[0] - root) / k
    drop, cv = 0.4, 0.965
    flight = np.full(N, math.sqrt(2.0 * drop / g))
    for _ in range(4):
        speed = cv * math.sqrt(2.0 * g) * (root + k * flight)
        up = speed * math.sin(angle)
        flight = (up + np.sqrt(up**2 + 2.0 * g * drop)) / g
    head, throw = root**2, speed * math.cos(angle) * flight
    own_h, own_x = np.full(N, 3e-4), np.full(N, 8e-4)
    of_head, of_throw, of_drop = (np.zeros((N, len(SOURCES))) for _ in range(3))
    of_head[:, 0] = 4e-4
    of_head[:, 1] = 1e-3 * head
    of_throw[:, 2] = 7e-4
    of_throw[:, 3] = 1.5e-3 * throw
    of_drop[:, 4] = 8e-4
    of_head[:, 5], of_throw[:, 5] = 2e-4 - 1e-3 * head, 3e-4
    pairs = np.where(np.arange(N) % 4 < 2, 1.0, -1.0)
    return Series(
        SOURCES,
        time,
        Column(head + ALTERNATING * pairs * own_h, own_h, of_head),
        Column(throw + ALTERNATING * own_x, own_x, of_throw),
        Column(np.full(N, drop + at.landing_above_m), np.full(N, 4e-4), of_drop),
        np.ones(N, dtype=bool),
    )


def answers(readings: Series, at: Conditions, corrections: Corrections) -> dict[str, Estimate]:
    """All findings, and what doubts and comparisons make of the lines."""
    found = dict(findings_of(readings, at, corrections=corrections).estimates)
    basis: Basis = basis_of(readings, at, corrections)
    more = {
        "difference of the linearisations": linearisations(found),
        "Cv of the free line": speed_coefficient_of_line(basis, free_intercept=True),
        "Cv of the line through the origin": speed_coefficient_of_line(basis, free_intercept=False),
    }
    if at.launch_angle_deg is not None:
        # The stated angle as the throws pull it: its share is what is left of what was stated, not a derivative.
        del found["launch_angle_deg"]
    return found | {name: each for name, each in more.items() if each is not None}


def differences(
    moved: Callable[[float], tuple[Series, Conditions]], corrections: Corrections
) -> dict[str, float]:
    """Change of each value by one standard uncertainty of an error, from a small step to either side."""
    low, high = (answers(*moved(step), corrections) for step in (-STEP, STEP))
    return {name: (high[name].value - low[name].value) / (2.0 * STEP) for name in high}


def moved_by(readings: Series, changes: Mapping[str, np.ndarray]) -> Series:
    columns = {}
    for name, change in changes.items():
        column = getattr(readings, name)
        columns[name] = Column(column.values + change, column.own_u, column.shared)
    return dataclasses.replace(readings, **columns)


@cache
def before(run: str) -> dict[str, Estimate]:
    return answers(series(RUNS[run][0]), *RUNS[run])


@pytest.mark.parametrize("run", RUNS)
def test_a_shared_source_moves_every_finding_by_its_share(run: str) -> None:
    at, corrections = RUNS[run]
    readings = series(at)
    for k, source in enumerate(SOURCES):
        columns = {name: getattr(readings, name).shared[:, k] for name in ("head", "throw", "drop")}
        by = differences(
            lambda step, c=columns: (moved_by(readings, {n: step * each for n, each in c.items()}), at),
            corrections,
        )
        for name, estimate in before(run).items():
            assert by[name] == pytest.approx(estimate.shared.get(source, 0.0), abs=0.006 * estimate.u), (
                name,
                source,
            )


@pytest.mark.parametrize("run", RUNS)
def test_a_single_reading_moves_every_finding_by_its_own_share(run: str) -> None:
    at, corrections = RUNS[run]
    readings = series(at)
    for channel, column in enumerate(("head", "throw", "drop")):
        for row in (0, N - 1):
            one = np.zeros(N)
            one[row] = getattr(readings, column).own_u[row]
            by = differences(
                lambda step, c=column, o=one: (moved_by(readings, {c: step * o}), at), corrections
            )
            for name, estimate in before(run).items():
                if (name, column) == ("slope_throw_squared_vs_head", "drop"):
                    # One slope belongs to the mean drop, in which each row's drop is but one of many.
                    continue
                said = float(estimate.own[channel, row])
                # Pairing carries a head back by the whole drain's rate, which every head moves a little.
                assert by[name] == pytest.approx(said, abs=0.01 * estimate.u_own), (name, column, row)


@pytest.mark.parametrize("run", RUNS)
def test_what_was_measured_once_moves_every_finding_by_its_share(run: str) -> None:
    at, corrections = RUNS[run]
    readings = series(at)
    for source, (key, u) in MEASURED_ONCE.items():
        if not getattr(at, key):
            continue
        by = differences(
            lambda step, k=key, u=u: (readings, dataclasses.replace(at, **{k: getattr(at, k) + step * u})),
            corrections,
        )
        for name, estimate in before(run).items():
            said = SIGN[source] * estimate.shared.get(source, 0.0)
            assert by[name] == pytest.approx(said, abs=0.012 * estimate.u), (name, source)
