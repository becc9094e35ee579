"""Simulated runs of known truth: random containers, own errors, shared sources drawn as stated."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis import Column, Conditions, Series, normal_gravity

# Contraction of a sharp edge as the engine takes it from the handbook; the truth of a simulated hole is
# drawn from it.
CONTRACTION, CONTRACTION_U = 0.64, 0.03


@dataclass(frozen=True)
class Scenario:
    """How the readings of simulated runs differ from what is stated about them."""

    name: str
    rows: tuple[int, int] = (40, 400)
    sway_m: float = 0.0
    """Standard deviation of a jet that sways slowly, which nobody stated."""
    sway_share: float = 0.01
    """Correlation time of that as a share of the run's duration."""
    misjudged: float = 1.0
    """True own errors over the stated ones."""
    wild: float = 0.0
    """Share of throws that are wrong by centimetres."""
    stated: bool = True
    """Whether own errors are stated at all."""
    timed: bool = True
    throw_scale: float = 1.0
    """Factor on the throws' own errors, stated and true."""


SCENARIOS = (
    Scenario("as stated"),
    Scenario("few rows", rows=(5, 12)),
    Scenario("errors misjudged", misjudged=1.8),
    Scenario("swaying jet", sway_m=0.001),
    Scenario("slowly swaying jet", sway_m=0.001, sway_share=0.03),
    Scenario("wild readings", wild=0.04),
    Scenario("nothing stated", stated=False, rows=(12, 100)),
    Scenario("stills", timed=False, rows=(8, 30)),
)


@dataclass(frozen=True)
class Simulated:
    """One simulated run and what is true of it."""

    series: Series
    conditions: Conditions
    truth: dict[str, float]


def simulated_run(rng: np.random.Generator, scenario: Scenario = SCENARIOS[0]) -> Simulated:
    """Draw a run: container, hole and bench at random, then its readings with own and shared errors."""
    latitude = rng.uniform(-60.0, 60.0)
    g = normal_gravity(latitude, 100.0) + 5e-4 * rng.standard_normal()
    cv = rng.uniform(0.90, 0.99)
    cc = CONTRACTION + CONTRACTION_U * rng.standard_normal()
    cd = cc * cv
    d = rng.uniform(0.0035, 0.006)
    hole = math.pi * d**2 / 4.0
    area = rng.uniform(0.0018, 0.008)
    drop = rng.uniform(0.2, 0.6)
    h0 = rng.uniform(0.15, 0.3)
    h1 = rng.uniform(0.03, 0.06)
    n = int(rng.integers(scenario.rows[0], scenario.rows[1] + 1))
    k = cd * hole / area * math.sqrt(g / 2.0)
    r = cc * hole / area
    start = rng.uniform(0.0, 3.0)
    time = start + np.linspace(0.0, (math.sqrt(h0) - math.sqrt(h1)) / k, n)
    root = math.sqrt(h0) - k * (time - start)
    flight = math.sqrt(2.0 * drop / g)
    head = root**2
    launched = (root + k * flight) ** 2 if scenario.timed else head
    factor = cv / math.sqrt(1.0 - r**2)
    throw = 2.0 * factor * np.sqrt(drop * launched)

    u_head, u_throw = rng.uniform(1e-4, 6e-4), scenario.throw_scale * rng.uniform(3e-4, 2e-3)
    names = ("orifice position", "upright rule: scale", "throw zero", "tape: scale", "drop", "facing")
    shared_h, shared_x, shared_y = (np.zeros((n, len(names))) for _ in range(3))
    shared_h[:, 0] = rng.uniform(1e-4, 1e-3)
    shared_h[:, 1] = rng.uniform(2e-4, 3e-3) * head
    shared_x[:, 2] = rng.uniform(2e-4, 2e-3)
    shared_x[:, 3] = rng.uniform(2e-4, 3e-3) * throw
    shared_y[:, 4] = rng.uniform(2e-4, 2e-3)
    shared_h[:, 5], shared_x[:, 5] = 2e-4 - 1e-3 * head, 3e-4
    z = rng.standard_normal(len(names))
    own_h = scenario.misjudged * u_head * rng.standard_normal(n)
    own_x = scenario.misjudged * u_throw * rng.standard_normal(n)
    if scenario.sway_m:
        own_x = own_x + scenario.sway_m * _sway(rng, time, scenario.sway_share * (time[-1] - time[0]))
    if scenario.wild:
        wild = rng.random(n) < scenario.wild
        own_x = np.where(wild, rng.uniform(0.02, 0.1, n) * rng.choice([-1.0, 1.0], n), own_x)
    said = 1.0 if scenario.stated else 0.0
    series = Series(
        sources=names,
        time_s=time if scenario.timed else None,
        head=Column(head + shared_h @ z + own_h, np.full(n, said * u_head), shared_h),
        throw=Column(throw + shared_x @ z + own_x, np.full(n, said * u_throw), shared_x),
        drop=Column(drop + shared_y @ z, np.zeros(n), shared_y),
        kept=np.ones(n, dtype=bool),
    )
    u_d, u_area = rng.uniform(2e-5, 8e-5), 0.006 * area
    conditions = Conditions(
        latitude_deg=latitude,
        elevation_m=100.0,
        orifice_diameter_m=d + u_d * rng.standard_normal(),
        orifice_diameter_u_m=u_d,
        container_area_m2=area + u_area * rng.standard_normal(),
        container_area_u_m2=u_area,
    )
    return Simulated(
        series,
        conditions,
        {
            "speed_coefficient": cv,
            "discharge_coefficient": cd,
            "head_zero_offset_m": 0.0,
            "throw_zero_offset_m": 0.0,
            "slope_speed_vs_root_head": factor * math.sqrt(2.0 * g),
            "slope_speed_squared_vs_head": 2.0 * g * factor**2,
            "slope_throw_squared_vs_head": 4.0 * drop * factor**2,
            "gravity_from_slope_root": g * factor**2,
            "gravity_from_slope_squared": g * factor**2,
            "gravity_from_clock": g,
            "drain_rate_root_m_per_s": k,
            "time_to_empty_s": math.sqrt(h0) / k,
        },
    )


def _sway(rng: np.random.Generator, time: np.ndarray, correlation_s: float) -> np.ndarray:
    """Draw a first-order autoregressive wander of unit standard deviation."""
    step = float(np.mean(np.diff(time)))
    stay = math.exp(-step / correlation_s)
    out = np.empty(time.shape[0])
    out[0] = rng.standard_normal()
    for i in range(1, out.shape[0]):
        out[i] = stay * out[i - 1] + math.sqrt(1.0 - stay**2) * rng.standard_normal()
    return out
