"""Precision of a class in every quantity, and how each observer stands in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis import FloatArray, IntArray
from measure_app.collating.answer import Answer
from measure_app.collating.class_key import PARTS, Key
from measure_app.collating.class_result import QUANTITIES, Standing
from measure_app.collating.precision import Precision, precision_of
from measure_app.collating.slips import Fault, Slip, stray_of
from measure_app.finders import Part

Faults = Sequence[tuple[Fault, ...]]
"""The faults of each observer."""
_IN_PX = {"surface_px": Part.SURFACE, "landing_px": Part.LANDING}
_PARTS_OF = {
    "head_mm": (Part.SURFACE,),
    "throw_mm": (Part.LANDING,),
    "cv": (Part.SURFACE, Part.LANDING),
}


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """Answers with their places along the key's lines, px; NaN where single readings are stray."""

    answers: Sequence[Answer]
    along: Mapping[Part, Sequence[FloatArray]]
    deviations: Mapping[Part, Sequence[FloatArray]]
    again: Mapping[Part, Sequence[tuple[IntArray, FloatArray]]]
    """Frames and places of earlier marks of the same frames."""


def without_strays(
    key: Key,
    answers: Sequence[Answer],
    along: Mapping[Part, Sequence[FloatArray]],
    deviations: Mapping[Part, Sequence[FloatArray]],
    faults: Faults,
) -> Sound:
    """Take single stray readings out; they are named, and say nothing of how well people read."""
    kept: dict[Part, list[FloatArray]] = {part: [] for part in PARTS}
    near: dict[Part, list[FloatArray]] = {part: [] for part in PARTS}
    again: dict[Part, list[tuple[IntArray, FloatArray]]] = {part: [] for part in PARTS}
    for part in PARTS:
        line = key.lines[part]
        for i, each in enumerate(answers):
            off = deviations[part][i]
            named = [fault for fault in faults[i] if fault.slip is Slip.STRAY and fault.part is part]
            gone = np.zeros(off.shape, dtype=bool)
            if named:
                gone = stray_of(off, named[0].limit)
            kept[part].append(np.where(gone, np.nan, along[part][i]))
            near[part].append(np.where(gone, np.nan, off))
            marks = np.array(each.repeats[part], dtype=np.float64).reshape(-1, 3)
            places = line.along(marks[:, 1:]) if line is not None else np.full(len(marks), np.nan)
            again[part].append((marks[:, 0].astype(np.int64), places))
    return Sound(answers, kept, near, again)


def counts_in(name: str, faults: tuple[Fault, ...]) -> bool:
    """Whether an observer with these faults counts in a quantity; single stray readings exclude nobody."""
    grave = [fault for fault in faults if fault.slip is not Slip.STRAY]
    if name in _IN_PX:
        return not any(fault.spoils_places for fault in grave)
    return not grave


def precisions_of(
    read: Sound, faults: Faults
) -> tuple[dict[str, Precision | str], dict[str, bool], list[dict[str, Standing]]]:
    """Work out the precision of every quantity.

    Returns
    -------
    precisions : dict
        By quantity; words where it cannot be told.
    by_frame : dict
        Whether the frames' own means were taken out; where observers share no frames, deviations from the
        reference stand in for that.
    standings : list of dict
        For each observer, by quantity.
    """
    precisions: dict[str, Precision | str] = {}
    by_frame: dict[str, bool] = {}
    standings: list[dict[str, Standing]] = [{} for _ in read.answers]
    for name in QUANTITIES:
        values, counts = _values(read, name), [counts_in(name, each) for each in faults]
        part = _IN_PX.get(name)
        who, where, y = _columns(read, values, counts, part)
        found = precision_of(who, where, y)
        by_frame[name] = not isinstance(found, str)
        if isinstance(found, str) and part is not None:
            values = list(read.deviations[part])
            who, where, y = _columns(read, values, counts, None)
            found = precision_of(who, np.zeros_like(where), y)
        precisions[name] = found
        if isinstance(found, str):
            continue
        levels = _levels(found, who, where, y) if by_frame[name] else None
        for i, each in enumerate(read.answers):
            standing = _standing(found, i, each.frames, values[i], levels)
            if standing is not None:
                standings[i][name] = standing
    return precisions, by_frame, standings


def _values(read: Sound, name: str) -> list[FloatArray]:
    if name in _IN_PX:
        return list(read.along[_IN_PX[name]])
    values = []
    for i, each in enumerate(read.answers):
        there = np.all([np.isfinite(read.along[part][i]) for part in _PARTS_OF[name]], axis=0)
        lengths = {"head_mm": 1000.0 * each.head_m, "throw_mm": 1000.0 * each.throw_m, "cv": each.cv}
        values.append(np.where(there, lengths[name], np.nan))
    return values


def _columns(
    read: Sound, values: Sequence[FloatArray], counts: Sequence[bool], again: Part | None
) -> tuple[IntArray, IntArray, FloatArray]:
    """Observer, frame and value of every reading that counts, earlier marks of a part among them if asked."""
    who: list[IntArray] = [np.empty(0, dtype=np.int64)]
    where: list[IntArray] = [np.empty(0, dtype=np.int64)]
    y: list[FloatArray] = [np.empty(0)]
    for i, each in enumerate(read.answers):
        if not counts[i]:
            continue
        columns = [(each.frames, values[i])]
        if again is not None:
            columns.append(read.again[again][i])
        for frames, found in columns:
            sound = np.isfinite(found)
            who.append(np.full(int(sound.sum()), i, dtype=np.int64))
            where.append(frames[sound])
            y.append(found[sound])
    return np.concatenate(who), np.concatenate(where), np.concatenate(y)


def _levels(found: Precision, who: IntArray, where: IntArray, y: FloatArray) -> dict[int, float]:
    """Value of each frame as the average observer gets it."""
    effects = {each.observer: each.effect for each in found.observers}
    known = np.array([int(i) in effects for i in who], dtype=bool)
    off = y[known] - np.array([effects[int(i)] for i in who[known]])
    numbers, index = np.unique(where[known], return_inverse=True)
    means = np.bincount(index, off) / np.bincount(index)
    return dict(zip(numbers.tolist(), means.tolist(), strict=True))


def _standing(
    found: Precision, i: int, frames: IntArray, values: FloatArray, levels: Mapping[int, float] | None
) -> Standing | None:
    own = found.of(i)
    if own is not None:
        return Standing(own.n, own.effect, own.s, own.h, own.k, own.k_critical_1, counts=True)
    # Not among those who count: held against them, frame by frame.
    base = np.full(len(frames), found.mean)
    if levels is not None:
        base = np.array([levels.get(int(f), np.nan) for f in frames])
    off = values - base
    off = off[np.isfinite(off)]
    if not off.size:
        return None
    bias = float(off.mean())
    s = float(off.std(ddof=1)) if off.size > 1 else None
    spread = float(np.std([each.effect for each in found.observers], ddof=1))
    return Standing(
        n=int(off.size),
        bias=bias,
        s=s,
        h=bias / spread if spread > 0 else None,
        k=s / found.repeatability if s is not None and found.repeatability > 0 else None,
        k_critical_1=None,
        counts=False,
    )
