"""Systematic faults of an observer, named: what was read differently from everybody else, and how.

Every explanation is tried on the observer's readings, and the one that leaves the least, in the measure of a
robust chi-squared with a penalty for what it may choose freely, is named if it beats "nothing is wrong" by a
wide margin. A personal bias of the size that the class shows is part of every explanation and no fault.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from analysis import FloatArray, IntArray
from calibration import Segment
from measure_app.collating.class_key import PARTS, Reference
from measure_app.finders import Part
from measure_app.words import counted, said

Places = Mapping[Part, FloatArray]

ACCUSE = 20.0
"""Gain in chi-squared that a fault must bring beyond the cost of its free choices. One constant offset then
needs about 4.8 times the class's spread; how seldom that happens without a fault is measured in the tests."""
_FLOOR_PX = 0.3
_MOST = 25.0
"""Most that one reading counts in chi-squared: five standard deviations."""
_STRAY = 6.0
_FURTHEST_FRAME = 150
_PER_SHAPE = 0.25
"""A change of the picture or of the parts must leave at most this share of the distance there was."""


class Slip(Enum):
    """The kind of a fault, as findings.json names it in every language."""

    EDGE = "another edge"
    PICTURE_SIZE = "another picture size"
    MIRRORED = "mirrored"
    SWAPPED = "surface and landing swapped"
    FRAMES = "frames shifted"
    STRAY = "stray readings"
    UNIT = "unit slip"
    GRADUATION = "wrong graduation"
    SCALE = "wrong scale"
    ORIFICE = "orifice marked elsewhere"
    DROP = "another drop"


@dataclass(frozen=True, slots=True)
class Fault:
    """One systematic fault."""

    slip: Slip
    part: Part | None
    """None where both are concerned."""
    size: float
    """Offset in px, factor, or count of frames."""
    says: str
    spoils_places: bool = True
    """Whether the readings themselves are wrong in px; a wrong scale spoils lengths only."""
    limit: float = 0.0
    """For stray readings: how far from the observer's own middle they begin, px."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How observers of a class differ in one part, px along the line; robust against a few who slip."""

    centre: float
    """Middle of the observers' own offsets from the reference."""
    within: float
    """Standard deviation of one reading about the observer's own offset."""
    between: float
    """Standard deviation of the observers' own offsets."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What readings are held against."""

    lines: Mapping[Part, Segment | None]
    references: Mapping[Part, Reference]
    spreads: Mapping[Part, Spread]
    width_px: int
    """Columns of the picture."""


def spread_of(deviations: Sequence[FloatArray]) -> Spread:
    """Judge how observers of a class differ in one part.

    Parameters
    ----------
    deviations : sequence of (n_i,) ndarray
        One for each observer: places less the reference, px; NaN is passed over.
    """
    sound = [each[np.isfinite(each)] for each in deviations]
    sound = [each for each in sound if each.size]
    if not sound:
        return Spread(0.0, 1.0, 1.0)
    middles = np.array([float(np.median(each)) for each in sound])
    repeated = [each - np.median(each) for each in sound if each.size >= 3]
    # The median of few values lies close to them: n / (n - 1), and one value of each is spent.
    scaled = [off * math.sqrt(off.size / (off.size - 1)) for off in repeated]
    within = 1.4826 * float(np.median([np.median(np.abs(off)) for off in scaled])) if scaled else 1.0
    centre = float(np.median(middles))
    # Few observers show poorly how observers differ; for many the factor is 1.
    between = 1.4826 * (1.0 + 2.0 / len(middles)) * float(np.median(np.abs(middles - centre)))
    if len(middles) < 4:
        between = max(between, 2.0 * within)  # three observers do not show how observers differ
    return Spread(centre, max(within, _FLOOR_PX), max(between, _FLOOR_PX, 0.3 * within))


def stray_of(deviations: FloatArray, limit: float) -> NDArray[np.bool_]:
    """Say which readings lie farther than a limit, px, from the middle of an observer's own."""
    seen = np.isfinite(deviations)
    own = np.where(seen, deviations - np.median(deviations[seen]) if seen.any() else 0.0, 0.0)
    return np.asarray(np.abs(own) > limit)


def reading_faults(frames: IntArray, places: Places, ground: Ground) -> tuple[Fault, ...]:
    """Name what is systematically wrong with one observer's readings.

    Parameters
    ----------
    frames : (n,) int
    places : mapping
        (n, 2) px for each part; NaN where it was not read.
    ground : Ground
        What they are held against.
    """
    judge = _Judge(frames, ground)
    nothing = judge.score(places)
    if nothing.n < 3:
        return ()
    if nothing.chi2 < ACCUSE:
        return judge.stray(places)
    tried = [(nothing.chi2, ()), *judge.offsets(places, nothing), *judge.shifted(places, nothing)]
    tried += [*judge.reshaped(places, nothing)]
    best, faults = min(tried, key=lambda each: each[0])
    if faults and nothing.chi2 - best < ACCUSE:
        faults = ()
    return tuple(faults) if faults else judge.stray(places)


@dataclass(frozen=True, slots=True, eq=False)
class _Score:
    chi2: float
    n: int
    middles: Mapping[Part, float]
    """Median deviation from the class's middle, px."""
    distance: float
    """Median distance from the reference over all parts, px."""


def _chi2(off: FloatArray, spread: Spread, *, free: bool = False) -> tuple[FloatArray, IntArray]:
    """Robust chi-squared of deviations from the class's middle.

    Parameters
    ----------
    off : (k, n) px
        A row for each explanation; NaN is passed over.
    spread : Spread
        Of the class. A personal bias of its size is allowed for and costs little.
    free : bool
        Whether any offset is allowed, at the cost of a free parameter.

    Returns
    -------
    chi2 : (k,) float64
    seen : (k,) int64
        Deviations that there are.
    """
    there = np.isfinite(off)
    seen = np.asarray(there.sum(axis=1), dtype=np.int64)
    chi2 = np.zeros(len(off))
    rows = np.flatnonzero(seen)
    off, there, n = off[rows], there[rows], seen[rows]
    if not rows.size:
        return chi2, seen
    middle = np.median(off, axis=1) if there.all() else np.nanmedian(off, axis=1)
    bias, cost = middle, np.log(np.maximum(n, 2))
    if not free:
        own = spread.within**2 * (math.pi / 2) / n
        bias = middle * spread.between**2 / (spread.between**2 + own)
        cost = np.minimum((bias / spread.between) ** 2, _MOST * n)
    squares = np.minimum(((off - bias[:, None]) / spread.within) ** 2, _MOST)
    chi2[rows] = np.where(there, squares, 0.0).sum(axis=1) + cost
    if not free:
        # A bias far beyond the class's is no better an explanation than none at all.
        plain = np.where(there, np.minimum((off / spread.within) ** 2, _MOST), 0.0).sum(axis=1)
        chi2[rows] = np.minimum(chi2[rows], plain)
    return chi2, seen


_Tried = tuple[float, tuple[Fault, ...]]


class _Judge:
    """Scores explanations of one observer's readings."""

    def __init__(self, frames: IntArray, ground: Ground) -> None:
        self._frames = np.asarray(frames, dtype=np.int64)
        self._ground = ground
        # Frames are tried hundreds of times over; the curves are worked out once.
        self._first = int(self._frames.min()) - _FURTHEST_FRAME
        numbers = np.arange(self._first, int(self._frames.max()) + _FURTHEST_FRAME + 1, dtype=np.float64)
        self._curves = {part: ground.references[part].at(numbers) for part in PARTS}

    def score(self, places: Places, free: frozenset[Part] = frozenset()) -> _Score:
        """Score readings as they are, or with offsets of any size in some parts."""
        total, n, middles, distances = 0.0, 0, {}, []
        for part in PARTS:
            off = self.deviations(part, places)
            off = off[np.isfinite(off)]
            if not off.size:
                continue
            chi2, _ = _chi2(off[None, :], self._ground.spreads[part], free=part in free)
            middles[part] = float(np.median(off))
            distances.append(np.abs(off))
            total, n = total + float(chi2[0]), n + off.size
        distance = float(np.median(np.concatenate(distances))) if distances else math.nan
        return _Score(total, n, middles, distance)

    def deviations(self, part: Part, places: Places, shifts: IntArray | int = 0) -> FloatArray:
        """(n,) px along the line from where the class reads; NaN where there is no reference.

        With (k, 1) shifts, (k, n): as if the readings were of frames so many later.
        """
        line = self._ground.lines[part]
        if line is None:
            return np.full(self._frames.shape, np.nan)
        expected = self._curves[part][self._frames + shifts - self._first]
        return np.asarray(line.along(places[part]) - expected - self._ground.spreads[part].centre)

    def offsets(self, places: Places, nothing: _Score) -> list[_Tried]:
        """Try constant offsets: of the surface, of the landing, of both."""
        parts = list(nothing.middles)
        tried = [(self.score(places, free=frozenset((part,))).chi2, (part,)) for part in parts]
        if len(parts) == 2:
            # Each of two faults must pay for itself.
            both = self.score(places, free=frozenset(parts)).chi2 + ACCUSE
            return [*self._named(tried, nothing), *self._named([(both, tuple(parts))], nothing)]
        return self._named(tried, nothing)

    def _named(self, tried: Sequence[tuple[float, tuple[Part, ...]]], nothing: _Score) -> list[_Tried]:
        return [
            (chi2, tuple(self._edge(part, nothing.middles[part]) for part in parts)) for chi2, parts in tried
        ]

    def _edge(self, part: Part, off: float) -> Fault:
        line = self._ground.lines[part]
        forward = line is not None and line.direction[1 if part is Part.SURFACE else 0] >= 0
        positive = (off > 0) == forward
        if part is Part.SURFACE:
            where = said("too low") if positive else said("too high")
            guess = said("another edge of the water line, such as the other rim of the meniscus")
        else:
            where = said("too far right") if positive else said("too far left")
            guess = said("another edge of the jet or of its splash")
        words = said(
            "the {value} is read {off:.1f} px {where} throughout: {guess}",
            value=said(part.value),
            off=abs(off),
            where=where,
            guess=guess,
        )
        return Fault(Slip.EDGE, part, off, words)

    def shifted(self, places: Places, nothing: _Score) -> list[_Tried]:
        """Try the readings as those of earlier or later frames, the same number for all."""
        shifts = np.arange(-_FURTHEST_FRAME, _FURTHEST_FRAME + 1)
        total, count_of = np.zeros(len(shifts)), np.zeros(len(shifts), dtype=np.int64)
        for part in PARTS:
            if self._ground.lines[part] is None:
                continue
            chi2, seen = _chi2(self.deviations(part, places, shifts[:, None]), self._ground.spreads[part])
            total, count_of = total + chi2, count_of + seen
        # Readings shifted off the film say nothing either way: they count in full.
        total += _MOST * np.maximum(0, nothing.n - count_of)
        total[(shifts == 0) | (count_of < max(3, nothing.n // 2))] = np.inf
        where = int(np.argmin(total))
        if not np.isfinite(total[where]):
            return []
        best = int(shifts[where])
        count = counted("{count} frame", "{count} frames", abs(best))
        if best > 0:
            words = said(
                "surface and landing fit frames {count} later than those they are noted for: "
                "frames miscounted",
                count=count,
            )
        else:
            words = said(
                "surface and landing fit frames {count} earlier than those they are noted for: "
                "frames miscounted",
                count=count,
            )
        return [
            (float(total[where]) + 2 * math.log(nothing.n), (Fault(Slip.FRAMES, None, float(best), words),))
        ]

    def reshaped(self, places: Places, nothing: _Score) -> list[_Tried]:
        """Try the picture mirrored, of another size, and the two parts in each other's place."""
        surface, landing = places[Part.SURFACE], places[Part.LANDING]
        last = float(self._ground.width_px - 1)
        flip = {part: np.stack([last - xy[:, 0], xy[:, 1]], axis=1) for part, xy in places.items()}
        trials: list[tuple[Places, Fault]] = [
            (
                {Part.SURFACE: landing, Part.LANDING: surface},
                Fault(Slip.SWAPPED, None, 1.0, said("surface and landing stand in each other's place")),
            ),
            (
                flip,
                Fault(
                    Slip.MIRRORED,
                    None,
                    -1.0,
                    said("positions are mirrored left to right: read in a flipped picture"),
                ),
            ),
        ]
        for factor in self._factors(places):
            sized = {part: (xy + 0.5) / factor - 0.5 for part, xy in places.items()}
            words = said(
                "positions are those of a picture {factor:.4g} times as large: a copy of another size",
                factor=factor,
            )
            trials.append((sized, Fault(Slip.PICTURE_SIZE, None, factor, words)))
        tried: list[_Tried] = []
        for changed, fault in trials:
            score = self.score(changed)
            if score.n >= nothing.n / 2 and score.distance < _PER_SHAPE * nothing.distance:
                lost = max(0, nothing.n - score.n)
                tried.append((score.chi2 + _MOST * lost + math.log(nothing.n), (fault,)))
        return tried

    def _factors(self, places: Places) -> list[float]:
        """Picture sizes that the readings suggest: their own least squares, if it is far from 1."""
        have, want = [], []
        for part in PARTS:
            line = self._ground.lines[part]
            if line is None:
                continue
            along = self._curves[part][self._frames - self._first] + self._ground.spreads[part].centre
            # Only the coordinate along the line is known; across it people read anywhere.
            axis = int(np.argmax(np.abs(line.direction)))
            expected = line.at(along)[:, axis] + 0.5
            read = places[part][:, axis] + 0.5
            seen = np.isfinite(expected) & np.isfinite(read)
            have.append(read[seen])
            want.append(expected[seen])
        if not have or not sum(map(len, have)):
            return []
        ratios = np.concatenate(have) / np.concatenate(want)
        factor = float(np.median(ratios))
        return [factor] if math.isfinite(factor) and factor > 0 and abs(factor - 1.0) > 0.03 else []

    def stray(self, places: Places) -> tuple[Fault, ...]:
        """Name single readings far off the observer's own others."""
        faults = []
        for part in PARTS:
            off = self.deviations(part, places)
            seen = np.isfinite(off)
            if np.count_nonzero(seen) < 4:
                continue
            limit = max(_STRAY * self._ground.spreads[part].within, 4.0)
            far = np.flatnonzero(stray_of(off, limit))
            if far.size:
                named = ", ".join(str(int(self._frames[i])) for i in far[:5]) + (" …" if far.size > 5 else "")
                words = counted(
                    "the {part} is far off its neighbours in frame {frames}",
                    "the {part} is far off its neighbours in frames {frames}",
                    far.size,
                    part=said(part.value),
                    frames=named,
                )
                faults.append(Fault(Slip.STRAY, part, float(far.size), words, False, limit))
        return tuple(faults)
