"""Simulated falls with known truth: a drop or a jet's front, seen in frames, with own and shared errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import Column, Fall, Falling, Falls

SOURCES = ("upright rule: scale", "rolling shutter")


@dataclass(frozen=True, slots=True)
class Bench:
    """Truth, and how well it is seen."""

    g: float = 9.81
    rate_hz: float = 60.0
    drop_m: float = 0.4
    speed_m_s: float = 1.9
    """Outward, at the hole; nought for a drop that is let go."""
    angle_deg: float = 0.0
    angle_u_deg: float = 0.0
    mark_u_m: float = 0.002
    scale_u: float = 0.005
    readout_s: float = 0.0
    """From the level of the hole to the landing level."""
    readout_u_s: float = 0.0


def _fall(bench: Bench, rng: np.random.Generator, kind: Falling, t, down, across, off, step=None) -> Fall:
    """Spoil true places (n,) by the run's shared errors `off` and by own ones."""
    n = len(t)
    seen = down * (1 + bench.scale_u * off[0]) + rng.normal(0, bench.mark_u_m, n)
    along = across * (1 + bench.scale_u * off[0]) + rng.normal(0, bench.mark_u_m, n)
    rows = down / bench.drop_m
    own = np.full(n, bench.mark_u_m)
    none = np.zeros(n)
    # The engine is told the mean readout; the camera's differs by its error.
    told = t - bench.readout_u_s * off[1] * rows
    return Fall(
        "a fall",
        kind,
        told,
        np.full(n, step or 1 / bench.rate_hz),
        np.stack([none, bench.readout_u_s * rows], axis=1),
        Column(seen, own, np.stack([bench.scale_u * seen, none], axis=1)),
        Column(along, own, np.stack([bench.scale_u * along, none], axis=1)),
    )


def _flight(bench: Bench, angle: float):
    """Give the time from hole to landing, and the velocity at the hole, down and across."""
    across, down = bench.speed_m_s * np.cos(angle), -bench.speed_m_s * np.sin(angle)
    return (-down + np.sqrt(down**2 + 2 * bench.g * bench.drop_m)) / bench.g, down, across


def _times(bench: Bench, rng: np.random.Generator, flight: float, first_m: float, down: float):
    """Give the times of the frames in which the thing is in the air, below `first_m`, from the start."""
    begin = (-down + np.sqrt(down**2 + 2 * bench.g * first_m)) / bench.g
    return np.arange(begin + rng.uniform() / bench.rate_hz, flight, 1 / bench.rate_hz)


def tracked(
    bench: Bench,
    rng: np.random.Generator,
    kind: Falling = Falling.DROP,
    count: int = 1,
    first_m: float = 0.002,
) -> Falls:
    """Falls marked in every frame; the camera's and the rule's errors are those of the run."""
    off = rng.normal(size=3)
    angle = np.radians(bench.angle_deg + bench.angle_u_deg * off[2])
    falls = []
    for _ in range(count):
        flight, down, across = _flight(bench, angle)
        t = _times(bench, rng, flight, first_m, down)
        y, x = down * t + bench.g * t**2 / 2, across * t
        falls.append(_fall(bench, rng, kind, t, y, x, off))
    stated = (bench.angle_deg, bench.angle_u_deg) if bench.angle_u_deg else (None, None)
    return Falls(SOURCES, tuple(falls), *stated)


def timed(bench: Bench, rng: np.random.Generator, kind: Falling = Falling.DROP, count: int = 1) -> Falls:
    """Falls of two events, each seen in the first frame after it happened."""
    off = rng.normal(size=3)
    falls = []
    step = 1 / bench.rate_hz
    for _ in range(count):
        # How high nobody rounds to a frame: drops differ by some per cent.
        drop = bench.drop_m * rng.uniform(0.85, 1.15)
        flight = np.sqrt(2 * drop / bench.g)
        start = rng.uniform() * step
        t = np.ceil(np.array([start, start + flight]) / step) * step
        across = np.array([0.0, bench.speed_m_s * flight])
        falls.append(_fall(bench, rng, kind, t, np.array([0.0, drop]), across, off))
    return Falls(SOURCES, tuple(falls))
