"""How the set-up of an answer differs from the key's, in numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import FloatArray
from calibration import Calibration, Measures, Segment
from measure_app.collating.class_key import Key
from measure_app.errors import AppError
from measure_app.finders import Part
from measure_app.outcome import calibration_of
from measure_app.run import RulePart, Run

_ENDS = np.array([0.15, 0.5, 0.85])


@dataclass(frozen=True, slots=True)
class GraduationFact:
    """One engraved line, as it was marked and as the key's rule has it there."""

    rule: str
    part: Part
    marked_m: float
    key_m: float


@dataclass(frozen=True, slots=True)
class SetupFacts:
    """Comparison of two set-ups; None where either lacks what it takes."""

    same: bool
    """Whether the set-up is the key's, to the last digit."""
    scale: dict[Part, float | None]
    """A length by the answer over the same length by the key."""
    offset_m: dict[Part, float | None]
    """Length by the answer less the length by the key, at the middle of the line."""
    drop: float | None
    """Drop of the answer over the key's."""
    orifice_px: tuple[float, float] | None
    """Where the orifice is marked, less where the key has it."""
    graduations: tuple[GraduationFact, ...]
    missing: str
    """Why there is no calibration, "" where there is one."""


def setup_facts(run: Run, key: Key) -> SetupFacts:
    """Compare a set-up with the key's; the run is in the pixels of the key's film."""
    same = _setup(run) == _setup(key.run)
    size = (key.info.width, key.info.height)
    theirs, missing = _calibrated(run, size)
    ours, _ = _calibrated(key.run, size)
    scale: dict[Part, float | None] = {Part.SURFACE: None, Part.LANDING: None}
    offset = dict(scale)
    if theirs is not None and ours is not None:
        for part, line in key.lines.items():
            if line is not None:
                scale[part], offset[part] = _compared(_along(theirs, part, line), _along(ours, part, line))
    mark = None
    if run.orifice is not None and key.run.orifice is not None:
        mark = (run.orifice.px.x - key.run.orifice.px.x, run.orifice.px.y - key.run.orifice.px.y)
    drop = None
    if run.drop is not None and key.run.drop is not None:
        drop = run.drop.value_m / key.run.drop.value_m
    return SetupFacts(same, scale, offset, drop, mark, tuple(_graduations(run, key.run)), missing)


def _setup(run: Run) -> tuple[object, ...]:
    return (
        run.rules,
        run.camera,
        run.plumb,
        run.orifice,
        run.drop,
        run.throw_zero,
        run.gauge_line,
        run.landing_line,
    )


def _calibrated(run: Run, size: tuple[int, int]) -> tuple[Calibration | None, str]:
    try:
        return calibration_of(run, size), ""
    except AppError as error:
        return None, str(error)


def _along(calibration: Calibration, part: Part, line: Segment) -> FloatArray:
    points, nothing = line.at(_ENDS * line.length_px), np.zeros(len(_ENDS))
    lengths = calibration.heads if part is Part.SURFACE else calibration.throws
    return np.asarray(lengths(points, nothing).values)


def _compared(theirs: FloatArray, ours: FloatArray) -> tuple[float | None, float | None]:
    span = float(ours[-1] - ours[0])
    if not np.isfinite([*theirs, *ours]).all() or abs(span) < 1e-9:
        return None, None
    ratio = float((theirs[-1] - theirs[0]) / span)
    return ratio, float(theirs[1] - ratio * ours[1])


def _graduations(run: Run, key: Run) -> list[GraduationFact]:
    """Hold each graduation against the key's rule that measures the same."""
    facts = []
    for part, measures in ((Part.SURFACE, Measures.HEAD), (Part.LANDING, Measures.THROW)):
        model = next((r for r in key.rules if r.measures in {measures, Measures.BOTH}), None)
        if model is None:
            continue
        read = _RuleReader(model)
        for rule in run.rules:
            if rule.measures in {measures, Measures.BOTH} and rule != model:
                facts += [
                    GraduationFact(rule.name, part, g.value_m, float(read(np.array([g.px]))[0]))
                    for g in rule.graduations
                ]
    return facts


class _RuleReader:
    """Reads values off a rule at any position: the value along it, straight, or bent by perspective."""

    def __init__(self, rule: RulePart) -> None:
        px = np.array([g.px for g in rule.graduations], dtype=np.float64)
        values = np.array([g.value_m for g in rule.graduations])
        self._middle = px.mean(axis=0)
        self._direction = np.linalg.svd(px - self._middle)[2][0]
        along = (px - self._middle) @ self._direction
        self._span = float(np.abs(along).max()) or 1.0
        self._fit = np.polyfit(along / self._span, values, 2 if len(values) > 3 else 1)

    def __call__(self, px: FloatArray) -> FloatArray:
        along = (px - self._middle) @ self._direction / self._span
        return np.asarray(np.polyval(self._fit, along))
