"""Simulated runs of known truth: random containers, own errors, shared sources drawn as stated."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from analysis import Column, Conditions, Corrections, Series, findings_of, normal_gravity

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
    gust_m: float = 0.0
    """Standard deviation, at the longest throw, of what slow gusts of wind add to throws; nobody stated it. It
    grows with the square of the throw, as the time in the wind and the sideways way do."""
    wander_share: float = 0.0
    """Correlation time of the own errors of heads and throws as a share of the run's duration; 0: independent."""
    capillary: bool = False
    """Whether surface tension takes its head from jet and discharge."""
    corrections: Corrections = field(default_factory=Corrections)
    """What the engine is told to correct."""
    zero_m: tuple[float, float] = (0.0, 0.0)
    """How far the head's zero is off beyond what was stated of it: between these, to either side."""
    angle_deg: float = 0.0
    """Standard deviation of the angle at which the jet leaves."""
    angle_u_deg: float | None = None
    """Standard uncertainty with which that angle was measured; None: it was not."""
    cv: tuple[float, float] = (0.90, 0.99)
    """Between which the true speed coefficient lies."""
    contraction: tuple[float, float] = (CONTRACTION, CONTRACTION_U)
    """Mean and standard deviation of the true contraction."""

    @property
    def curved(self) -> bool:
        """Whether the straight lines are straight no longer, so that their truth is that of exact readings."""
        return self.zero_lost or self.angle_deg > 0.0

    @property
    def zero_lost(self) -> bool:
        """Whether the head that drives the jet is not the one marked, by more than was stated."""
        return self.capillary or self.zero_m != (0.0, 0.0)


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
REALISTIC = (
    Scenario("gusts", gust_m=0.002),
    Scenario("neighbouring readings err together", wander_share=0.01),
    Scenario("capillary head", capillary=True),
    Scenario("capillary head, corrected", capillary=True, corrections=Corrections(capillary=True)),
    Scenario("head zero off", zero_m=(0.006, 0.012)),
    Scenario("launch angle measured", angle_deg=1.0, angle_u_deg=0.3),
    Scenario(
        "all at once", gust_m=0.0015, wander_share=0.005, capillary=True, angle_deg=0.7, angle_u_deg=0.3
    ),
)
"""Benches as they are. The head lost to surface tension, and a zero that is off, are told by nobody."""


OF_THE_LINES = frozenset(
    {
        "head_zero_offset_m",
        "throw_zero_offset_m",
        "slope_speed_vs_root_head",
        "slope_speed_squared_vs_head",
        "slope_throw_squared_vs_head",
        "gravity_from_slope_root",
        "gravity_from_slope_squared",
    }
)
"""Findings that describe a straight line through the points, whatever bends them."""


OF_A_SOUND_ZERO = frozenset(
    {"speed_coefficient_zero_intercept", "speed_coefficient_mean_of_ratios", "launch_angle_deg"}
)
"""Findings that take the head's zero as marked; a lost head biases them, which they say."""


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
    cv = rng.uniform(*scenario.cv)
    cc = scenario.contraction[0] + scenario.contraction[1] * rng.standard_normal()
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
    # σ/(ρ g) of clean water at 20 °C is 7.43 mm² (IAPWS R1-76); a jet's throw shows 3.5 of it over its
    # diameter, the discharge Laplace's 2 (the momentum balance of a round jet).
    lost = 7.43e-6 / (d * math.sqrt(cc)) if scenario.capillary else 0.0
    jet_lost, drain_lost = 3.5 * lost, 2.0 * lost
    zero = rng.uniform(*scenario.zero_m) * rng.choice([-1.0, 1.0]) if scenario.zero_m != (0.0, 0.0) else 0.0
    angle = math.radians(scenario.angle_deg) * rng.standard_normal() if scenario.angle_deg else 0.0
    start = rng.uniform(0.0, 3.0)
    rest = math.sqrt(h0 - drain_lost)
    time = start + np.linspace(0.0, (rest - math.sqrt(h1 - drain_lost)) / k, n)
    root = rest - k * (time - start)
    factor = cv / math.sqrt(1.0 - r**2)
    head, launched = root**2 + drain_lost, root**2 + drain_lost
    throw = np.zeros(n)
    for _ in range(4):
        v = factor * np.sqrt(2.0 * g * (launched - jet_lost))
        up = v * math.sin(angle)
        flight = (up + np.sqrt(up**2 + 2.0 * g * drop)) / g
        throw = v * math.cos(angle) * flight
        if not scenario.timed:
            break
        launched = (root + k * flight) ** 2 + drain_lost

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
    white_h, white_x = rng.standard_normal(n), rng.standard_normal(n)
    if scenario.wander_share:
        white_h, white_x = (_sway(rng, time, scenario.wander_share * (time[-1] - time[0])) for _ in range(2))
    own_h, own_x = scenario.misjudged * u_head * white_h, scenario.misjudged * u_throw * white_x
    if scenario.gust_m:
        slow = _sway(rng, time, rng.uniform(0.01, 0.03) * (time[-1] - time[0]))
        own_x = own_x + scenario.gust_m * (throw / throw[0]) ** 2 * slow
    if scenario.sway_m:
        own_x = own_x + scenario.sway_m * _sway(rng, time, scenario.sway_share * (time[-1] - time[0]))
    if scenario.wild:
        wild = rng.random(n) < scenario.wild
        own_x = np.where(wild, rng.uniform(0.02, 0.1, n) * rng.choice([-1.0, 1.0], n), own_x)
    said = 1.0 if scenario.stated else 0.0
    exact = Series(
        sources=names,
        time_s=time if scenario.timed else None,
        head=Column(head + zero, np.full(n, said * u_head), shared_h),
        throw=Column(throw, np.full(n, said * u_throw), shared_x),
        drop=Column(np.full(n, drop), np.zeros(n), shared_y),
        kept=np.ones(n, dtype=bool),
    )
    series = Series(
        sources=names,
        time_s=time if scenario.timed else None,
        head=Column(head + zero + shared_h @ z + own_h, np.full(n, said * u_head), shared_h),
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
    if scenario.angle_u_deg is not None:
        conditions = replace(
            conditions,
            launch_angle_deg=math.degrees(angle) + scenario.angle_u_deg * rng.standard_normal(),
            launch_angle_u_deg=scenario.angle_u_deg,
        )
    truth = {
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
        "time_to_empty_s": rest / k,
        "speed_coefficient_zero_intercept": cv,
        "speed_coefficient_mean_of_ratios": cv,
        "launch_angle_deg": math.degrees(angle),
    }
    if scenario.curved:
        true = replace(
            conditions,
            gravity_m_s2=g,
            launch_angle_deg=math.degrees(angle) if scenario.angle_u_deg is not None else None,
        )
        truth |= {
            each.name: each.value
            for each in findings_of(exact, true, corrections=scenario.corrections).findings
            if each.name in OF_THE_LINES or (each.name in OF_A_SOUND_ZERO and scenario.zero_lost)
        }
    return Simulated(series, conditions, truth)


def _sway(rng: np.random.Generator, time: np.ndarray, correlation_s: float) -> np.ndarray:
    """Draw a first-order autoregressive wander of unit standard deviation."""
    step = float(np.mean(np.diff(time)))
    stay = math.exp(-step / correlation_s)
    out = np.empty(time.shape[0])
    out[0] = rng.standard_normal()
    for i in range(1, out.shape[0]):
        out[i] = stay * out[i - 1] + math.sqrt(1.0 - stay**2) * rng.standard_normal()
    return out
