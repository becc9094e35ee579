"""Simulated runs with one fault planted in them, of known name and size."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from analysis import Column, FloatArray, Series
from tests.analysis.simulated import Scenario, Simulated, simulated_run

Spoil = Callable[[Simulated, float], Simulated]

_CONTRACTION = (0.64, 0.015)
"""Of holes whose coefficients lie where published ones do; with more, a sound hole itself would be news."""
_USUAL = Scenario("as stated", contraction=_CONTRACTION)


@dataclass(frozen=True)
class Fault:
    """A fault that is planted, and the suspect that the engine must not acquit."""

    name: str
    sizes: tuple[float, float]
    """Between these, SI or relative."""
    spoil: Spoil
    either_way: bool = True
    scenario: Scenario = _USUAL
    wall_m: float | None = None


def _column(column: Column | None, values: FloatArray, factor: float = 1.0) -> Column | None:
    if column is None:
        return None
    return Column(np.array(values), factor * column.own_u, factor * column.shared)


def _with(run: Simulated, **columns: FloatArray) -> Simulated:
    """Put other values into some columns."""
    series = run.series
    changed = {name: _column(getattr(series, name), values) for name, values in columns.items()}
    return replace(run, series=replace(series, **changed))


def _values(run: Simulated, name: str) -> FloatArray:
    column: Column = getattr(run.series, name)
    return column.values


def _drop(run: Simulated, size: float) -> Simulated:
    return _with(run, drop=_values(run, "drop") * (1.0 + size))


def _film(run: Simulated, size: float) -> Simulated:
    # The jet lands on the water, so that its throw belongs to a smaller drop than the one stated.
    drop = _values(run, "drop")
    return _with(run, throw=_values(run, "throw") * np.sqrt(np.maximum(drop - size, 1e-3) / drop))


def _throw_zero(run: Simulated, size: float) -> Simulated:
    return _with(run, throw=_values(run, "throw") + size)


def _throw_scale(run: Simulated, size: float) -> Simulated:
    return _with(run, throw=_values(run, "throw") * (1.0 + size))


def _head_zero(run: Simulated, size: float) -> Simulated:
    return _with(run, head=_values(run, "head") + size)


def _head_scale(run: Simulated, size: float) -> Simulated:
    return _with(run, head=_values(run, "head") * (1.0 + size))


def _tilt(run: Simulated, size: float) -> Simulated:
    # By x² = 4 Cv² h (y₀ - x tan φ), the level throw x₀ given.
    level, drop = _values(run, "throw"), _values(run, "drop")
    per_drop = level**2 / drop
    slope = math.tan(math.radians(size))
    return _with(run, throw=0.5 * (np.sqrt((per_drop * slope) ** 2 + 4.0 * level**2) - per_drop * slope))


def _time(run: Simulated, warp: Callable[[FloatArray], FloatArray]) -> Simulated:
    series: Series = run.series
    if series.time_s is None:
        return run
    return replace(run, series=replace(series, time_s=warp(series.time_s)))


def _clock(run: Simulated, size: float) -> Simulated:
    return _time(run, lambda time: time * (1.0 + size))


def _taper(run: Simulated, size: float) -> Simulated:
    head = np.sort(_values(run, "head"))[::-1]
    width = 1.0 + size * (head - np.mean(head)) / np.ptp(head)

    def warp(time: FloatArray) -> FloatArray:
        steps = np.diff(time) * 0.5 * (width[1:] + width[:-1])
        return np.asarray(time[0] + np.concatenate([[0.0], np.cumsum(steps)]))

    return _time(run, warp)


def _area(run: Simulated, size: float) -> Simulated:
    area = run.conditions.container_area_m2 or math.nan
    return replace(run, conditions=replace(run.conditions, container_area_m2=area * (1.0 + size)))


def _hole(run: Simulated, size: float) -> Simulated:
    d = run.conditions.orifice_diameter_m or math.nan
    return replace(run, conditions=replace(run.conditions, orifice_diameter_m=d * (1.0 + size)))


def _none(run: Simulated, _size: float) -> Simulated:
    return run


_THIN = Scenario("thin wall", cv=(0.96, 0.985), contraction=(0.64, 0.01))
_ANGLED = replace(_THIN, angle_deg=3.0)
_THIN_M = 1e-3
FAULTS: tuple[Fault, ...] = (
    Fault("drop", (0.08, 0.2), _drop, scenario=_THIN, wall_m=_THIN_M),
    Fault("wet landing", (0.02, 0.06), _film, either_way=False, scenario=_THIN, wall_m=_THIN_M),
    Fault("throw zero", (0.01, 0.03), _throw_zero, scenario=_THIN, wall_m=_THIN_M),
    Fault("throw scale", (0.04, 0.1), _throw_scale, scenario=_THIN, wall_m=_THIN_M),
    Fault("tape in another plane than the jet", (0.04, 0.1), _throw_scale, scenario=_THIN, wall_m=_THIN_M),
    Fault("wind", (0.04, 0.1), _throw_scale, scenario=_THIN, wall_m=_THIN_M),
    Fault("head zero", (0.004, 0.012), _head_zero, scenario=_THIN, wall_m=_THIN_M),
    Fault("head scale", (0.08, 0.2), _head_scale, scenario=_THIN, wall_m=_THIN_M),
    Fault(
        "upright rule in another plane than the surface",
        (0.08, 0.2),
        _head_scale,
        scenario=_THIN,
        wall_m=_THIN_M,
    ),
    Fault("launch angle", (0.0, 0.0), _none, scenario=_ANGLED, wall_m=_THIN_M),
    Fault("tilted landing", (2.0, 5.0), _tilt, scenario=_THIN, wall_m=_THIN_M),
    Fault("slow-motion factor", (0.1, 0.3), _clock, scenario=_THIN, wall_m=_THIN_M),
    Fault("container area", (0.1, 0.3), _area, scenario=_THIN, wall_m=_THIN_M),
    Fault("hole's diameter", (0.08, 0.2), _hole, scenario=_THIN, wall_m=_THIN_M),
    Fault("container not equally wide", (0.03, 0.15), _taper, scenario=_THIN, wall_m=_THIN_M),
    Fault(
        "surface tension of a thin jet",
        (0.0, 0.0),
        _none,
        scenario=replace(_THIN, capillary=True),
        wall_m=_THIN_M,
    ),
    Fault(
        "thick wall, hole acting as a short tube",
        (0.0, 0.0),
        _none,
        scenario=Scenario("short tube", cv=(0.80, 0.84), contraction=(1.0, 0.005)),
        wall_m=_THIN_M,
    ),
    # The same with nothing known of the wall, so that Cv and Cd may be nearly anything.
    Fault("drop", (0.25, 0.5), _drop),
    Fault("head zero", (0.004, 0.012), _head_zero),
    Fault("throw zero", (0.01, 0.03), _throw_zero),
    Fault("launch angle", (0.0, 0.0), _none, scenario=replace(_USUAL, angle_deg=3.0)),
    Fault("surface tension of a thin jet", (0.0, 0.0), _none, scenario=replace(_USUAL, capillary=True)),
)
SOUND: Mapping[str, tuple[Scenario, float | None]] = MappingProxyType(
    {
        "sound, wall not known": (_USUAL, None),
        "sound, thin wall": (_THIN, _THIN_M),
        "sound, few rows": (replace(_USUAL, rows=(5, 12)), None),
        "sound, stills": (replace(_USUAL, timed=False, rows=(8, 30)), None),
        "sound, wild readings": (replace(_USUAL, wild=0.04), None),
        "sound, errors misjudged": (replace(_USUAL, misjudged=1.8), None),
        "sound, slow sway": (replace(_USUAL, sway_m=0.001, sway_share=0.03), None),
        "sound, angle measured": (replace(_USUAL, angle_deg=1.0, angle_u_deg=0.3), None),
    }
)


def faulty_run(rng: np.random.Generator, fault: Fault) -> Simulated:
    """Draw a run and plant the fault in it."""
    run = simulated_run(rng, fault.scenario)
    size = rng.uniform(*fault.sizes) * (rng.choice([-1.0, 1.0]) if fault.either_way else 1.0)
    return walled(fault.spoil(run, size), fault.wall_m)


def walled(run: Simulated, wall_m: float | None) -> Simulated:
    """State the wall's thickness."""
    return replace(run, conditions=replace(run.conditions, wall_thickness_m=wall_m))
