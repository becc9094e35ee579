"""The class as one observer: every frame's readings together, with the errors between observers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace

from analysis import FloatArray, IntArray
from calibration import Calibration, Pixel, Segment
from measure_app.collating.class_key import PARTS, Key
from measure_app.collating.precision import Precision
from measure_app.errors import AppError
from measure_app.finders import Part
from measure_app.outcome import Outcome, calibration_of, outcome_of
from measure_app.run import By, LinePart, Reading, Run, Spot, ThrowZeroPart
from measure_app.words import said


@dataclass(frozen=True, slots=True, eq=False)
class PooledPart:
    """One part of all frames, put together."""

    frames: IntArray
    along: FloatArray
    """(m,) px along the key's line, as the average observer reads it."""
    u: FloatArray
    """(m,) px, standard uncertainty from the scatter within observers."""
    counts: IntArray
    """(m,) readings."""
    shared_u: float
    """Standard uncertainty that all frames share: of the average observer's bias, px."""


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """The pooled run and what it yields."""

    run: Run
    outcome: Outcome | None
    why: str
    """Why there is no outcome."""
    parts: Mapping[Part, PooledPart]


def pooled_part(
    observers: IntArray, frames: IntArray, along: FloatArray, precision: Precision | str
) -> PooledPart | None:
    """Put the readings of one part together.

    Each observer's own bias is taken off first, so that a frame read by two who read high is not high; what
    stays uncertain is the bias of the average observer, s_L / sqrt(p), which all frames share. Within a frame
    n readings leave s_r / sqrt(n).
    """
    use = np.isfinite(along)
    if not use.any():
        return None
    bias = (
        {each.observer: each.effect for each in precision.observers} if not isinstance(precision, str) else {}
    )
    off = along[use] - np.array([bias.get(int(i), 0.0) for i in observers[use]])
    numbers, where, counts = np.unique(frames[use], return_inverse=True, return_counts=True)
    places = np.bincount(where, off) / counts
    if isinstance(precision, str):
        return PooledPart(numbers, places, np.full(len(numbers), np.nan), counts, 0.0)
    # An observer without a bias of their own known brings the whole of s_L along.
    unknown = np.array([int(i) not in bias for i in observers[use]])
    extra = np.bincount(where, unknown.astype(float)) / counts * precision.between
    u = np.hypot(precision.repeatability / np.sqrt(counts), extra)
    return PooledPart(numbers, places, u, counts, precision.between / math.sqrt(len(precision.observers)))


def pooled(key: Key, parts: Mapping[Part, PooledPart], observers: int) -> Pooled:
    """Make a run of the class's readings on the key's set-up, and derive.

    The errors that all frames share go to where the run file keeps such: that of the surface into
    `gauge_line.above_level_u_m`, that of the landing into `throw_zero.px_u`, each added in squares to what
    stands there.
    """
    run = key.run
    spots: dict[int, dict[str, Spot]] = {}
    for part, pool in parts.items():
        line = key.lines[part]
        if line is None:
            continue
        places = np.round(line.at(pool.along), 4).tolist()
        for frame, xy, u in zip(pool.frames.tolist(), places, pool.u.tolist(), strict=True):
            px_u = round(u, 4) if math.isfinite(u) else _stated(part)
            spots.setdefault(frame, {})[part.value] = Spot(px=Pixel(*xy), px_u=px_u, by=By.HAND)
    readings = tuple(
        Reading(frame=frame, surface=both.get(Part.SURFACE.value), landing=both.get(Part.LANDING.value))
        for frame, both in sorted(spots.items())
    )
    made = replace(
        run,
        title=said("{title} (class of {observers})", title=run.title, observers=observers)[:2000],
        observer=said("class of {observers}", observers=observers),
        readings=readings,
        extra={},
    )
    try:
        calibration = calibration_of(key.run, (key.info.width, key.info.height))
        made = _with_shared(made, calibration, parts)
        return Pooled(made, outcome_of(made, key.seconds, key.info), "", parts)
    except AppError as error:
        return Pooled(made, None, str(error), parts)


def _stated(part: Part) -> float:
    """Scatter of a careful hand where the class does not show it, px; common practice, no source."""
    return 1.0 if part is Part.SURFACE else 2.0


def _with_shared(run: Run, calibration: Calibration, parts: Mapping[Part, PooledPart]) -> Run:
    surface, landing = parts.get(Part.SURFACE), parts.get(Part.LANDING)
    line = run.gauge_line
    if surface is not None and line is not None and surface.shared_u > 0:
        u = surface.shared_u * _metres_per_px(calibration, line)
        run = replace(run, gauge_line=replace(line, above_level_u_m=math.hypot(line.above_level_u_m, u)))
    if landing is not None and landing.shared_u > 0:
        zero = run.throw_zero or _foot(run)
        if zero is not None:
            run = replace(run, throw_zero=replace(zero, px_u=math.hypot(zero.px_u, landing.shared_u)))
    return run


def _metres_per_px(calibration: Calibration, line: LinePart) -> float:
    segment = Segment(line.from_px, line.to_px)
    ends = segment.at(np.array([0.25, 0.75]) * segment.length_px)
    heads = calibration.heads(ends, np.zeros(2)).values
    step = abs(float(heads[1] - heads[0])) / (0.5 * segment.length_px)
    return step if math.isfinite(step) else 0.0


def _foot(run: Run) -> ThrowZeroPart | None:
    """The foot of the plumb through the orifice on the landing line, where nothing else is marked."""
    if run.orifice is None or run.landing_line is None:
        return None
    down = np.array([0.0, 1.0])
    if run.plumb is not None:
        down = np.subtract(run.plumb.bottom_px, run.plumb.top_px)
    line = Segment(run.landing_line.from_px, run.landing_line.to_px)
    table = np.stack([down, -line.direction], axis=1)
    if abs(float(np.linalg.det(table))) < 1e-9:
        return None
    steps = np.linalg.solve(table, np.subtract(line.start, run.orifice.px))
    foot = np.asarray(run.orifice.px) + steps[0] * down
    return ThrowZeroPart(px=Pixel(*foot.tolist()), px_u=run.orifice.px_u, behind_m=run.orifice.behind_m)


def class_parts(
    observers: Sequence[int],
    frames: Sequence[IntArray],
    along: Mapping[Part, Sequence[FloatArray]],
    precisions: Mapping[Part, Precision | str],
) -> dict[Part, PooledPart]:
    """Put both parts of all observers together."""
    if not observers:
        return {}
    who = np.concatenate([np.full(len(f), i, dtype=np.int64) for i, f in zip(observers, frames, strict=True)])
    where = np.concatenate(list(frames))
    made = {p: pooled_part(who, where, np.concatenate(list(along[p])), precisions[p]) for p in PARTS}
    return {part: pool for part, pool in made.items() if pool is not None}
