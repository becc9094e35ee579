"""What finding returns: a position with its error in every frame, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.path import fitted, stretches_of
from measure_app.words import marked, said


class Part(Enum):
    """The two parts of a reading."""

    SURFACE = marked("surface")
    LANDING = marked("landing")


class Why(Enum):
    """Why a part was not found in a frame; the value is the reason a person reads."""

    DAMAGED = marked("the frame is damaged or missing in the film")
    COVERED = marked("something covers the line")
    REPEATED = marked("the film repeats the frame before; what moved in between is not in it")
    FAINT = marked("too faint against its surroundings")
    ASTRAY = marked("does not follow the path of the frames around it")
    OFF_END = marked("beyond the end of the line")
    MOTIONLESS = marked(
        "nothing on the line moves as a draining surface or a shrinking jet does in most of the part "
        "measured; let it begin and end with the draining"
    )
    AT_REST = marked("the water rests; nothing moves on the lines")
    HIDDEN = marked(
        "something hides the line in most of the part measured, so that what is behind is not known; draw "
        "the line where it is free, or measure the part in which it is"
    )
    PARTED = marked(
        "what is followed before a gap does not lead to what is followed after it; mark the surface by hand "
        "in three frames or more, on both sides of the gap"
    )
    MARKED = marked("found elsewhere than the mark by hand")
    CAMERA = marked("the camera moved and the background could not be followed")


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One part of the readings through the whole part measured."""

    part: Part
    frames: NDArray[np.int64]
    """(n,) frame indices."""
    along_px: FloatArray
    """(n,) px along the line from its start; NaN where not found."""
    own_u_px: FloatArray
    """(n,) px, standard uncertainty that is independent from frame to frame; NaN where not found."""
    shared_u_px: float
    """px, standard uncertainty of what all frames share: which place of the blurred edge or jet is *the*
    place."""
    why: tuple[Why | None, ...]
    """(n,) None where found."""
    remarks: tuple[str, ...] = ()
    """What a person should know of how it was found, in whole sentences but for the capital and the stop."""

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for array in (self.frames, self.along_px, self.own_u_px):
            array.setflags(write=False)

    @property
    def found(self) -> NDArray[np.bool_]:
        """(n,) True where the part was found."""
        return np.isfinite(self.along_px)


PART_WHY = {Part.SURFACE: marked("surface: {why}"), Part.LANDING: marked("landing: {why}")}
"""How it is said why a part was not read."""


@dataclass(frozen=True, slots=True)
class RefusedSpan:
    """Frames without a reading of one part, and why."""

    part: Part
    first: int
    last: int
    why: Why

    @property
    def words(self) -> str:
        """The reason as a person reads it."""
        return said(PART_WHY[self.part], why=said(self.why.value))


def refused_spans(track: Track) -> tuple[RefusedSpan, ...]:
    """Join neighbouring frames that were refused for the same reason."""
    spans: list[RefusedSpan] = []
    for frame, why in zip(track.frames.tolist(), track.why, strict=True):
        if why is None:
            continue
        if spans and spans[-1].why is why and spans[-1].last == frame - 1:
            spans[-1] = RefusedSpan(track.part, spans[-1].first, frame, why)
        else:
            spans.append(RefusedSpan(track.part, frame, frame, why))
    return tuple(spans)


def reasons_of(
    *,
    astray: NDArray[np.bool_],
    faint: NDArray[np.bool_],
    covered: NDArray[np.bool_],
    off_end: NDArray[np.bool_],
    damaged: NDArray[np.bool_],
    marked: NDArray[np.int64] | None,
    repeated: NDArray[np.bool_] | None = None,
) -> tuple[Why | None, ...]:
    """Why each frame is refused, None where it is not; where several hold, the gravest is said.

    Rows `marked` by hand are not refused for leaving their neighbours' path: a person has seen them there.
    """
    trusted = np.zeros(len(damaged), dtype=bool)
    if marked is not None:
        trusted[marked] = True
    why: list[Why | None] = [None] * len(damaged)
    for reason, rows in (
        (Why.ASTRAY, astray & ~trusted),
        (Why.FAINT, faint),
        (Why.REPEATED, repeated if repeated is not None else np.zeros_like(faint)),
        (Why.COVERED, covered),
        (Why.OFF_END, off_end),
        (Why.DAMAGED, damaged),
    ):
        for row in np.flatnonzero(rows):
            why[row] = reason
    return tuple(why)


_LEFT, _HIDDEN = 0.45, 0.5
"""Shares of the run: below the first nothing that is left is trusted, if the second or more is hidden."""


def unless_mostly_hidden(why: tuple[Why | None, ...]) -> tuple[Why | None, ...]:
    """Refuse what is left, too, where something hides the line in most of the run.

    What a line shows without the water is told by most of the frames. Where something lies before it in most
    of them, that is taken for the background, and its edges for what moves.
    """
    whole = [each for each in why if each is not Why.DAMAGED]
    left = sum(each is None for each in whole)
    hidden = sum(each in {Why.COVERED, Why.ASTRAY} for each in whole)
    if left >= _LEFT * len(whole) or hidden < _HIDDEN * len(whole):
        return why
    return tuple(Why.HIDDEN if each is None else each for each in why)


_STANDS, _ASKED = 0.25, 8
"""A path that moves, within stretches of so many frames and more, by less than this part of how far its
frames lie apart, stands still in each of them."""


def unless_it_stands(places: FloatArray, why: tuple[Why | None, ...]) -> tuple[Why | None, ...]:
    """Refuse all where the path stands still in every stretch that was found, and jumps from one to the next.

    What covers a line for half of a run lets other things stand out in either half; a jet and a surface move
    all the time. `places`, (n,) px.
    """
    held = np.flatnonzero([each is None for each in why])
    long = [each for each in stretches_of(held) if len(each) >= _ASKED]
    if sum(map(len, long)) < 0.5 * len(held) or not long:
        return why
    quarter = [max(1, len(each) // 4) for each in long]
    moved = sum(
        abs(float(np.median(places[each[-k:]]) - np.median(places[each[:k]])))
        for each, k in zip(long, quarter, strict=True)
    )
    if moved >= _STANDS * float(np.ptp(places[held])):
        return why
    return tuple(Why.MOTIONLESS if each is None else each for each in why)


_PARTED_PX, _PARTED_U, _EACH_SIDE, _MOST_OF_IT = 2.0, 5.0, 15, 2.0 / 3.0
"""A step at a gap, px and in its standard uncertainties, that no falling surface takes, by measurement (on
215 films that were followed rightly 0.9 px and 3.7 at most); frames that it takes on each side; and the part
of the frames from which one side is believed."""
_TOGETHER = 6.0
"""So many neighbours wander together."""


def unless_it_parts(
    places: FloatArray, why: tuple[Why | None, ...], clock: FloatArray
) -> tuple[Why | None, ...]:
    """Refuse a path of which two parts, on either side of a gap, do not lie on one smooth curve.

    Each may be smooth by itself, and one of them follows something else. A curve of third degree with a step
    at the gap is fitted to all that was found. The smaller part goes, or all if neither is most of it.

    Parameters
    ----------
    places : (n,) px
    why : (n,) refusals so far
    clock : (n,) when each frame was taken, −1 to 1
    """
    kept = list(why)
    while True:
        held = np.flatnonzero([each is None for each in kept])
        gaps = np.cumsum([len(each) for each in stretches_of(held, _GAP)])[:-1]
        gaps = gaps[(gaps >= _EACH_SIDE) & (gaps <= len(held) - _EACH_SIDE)]
        if not len(gaps):
            return tuple(kept)
        steps = np.array([_step(places[held], clock[held], gap) for gap in gaps.tolist()])
        off = np.where(np.abs(steps[:, 0]) > _PARTED_PX, np.abs(steps[:, 0]) / steps[:, 1], 0.0)
        if off.max() <= _PARTED_U:
            return tuple(kept)
        gap = int(gaps[np.argmax(off)])
        sides = sorted((held[:gap], held[gap:]), key=len)
        for row in sides[0] if len(sides[1]) >= _MOST_OF_IT * len(held) else held:
            kept[row] = Why.PARTED


_GAP = 2
"""Frames from one that was found to the next, up to which there is no gap."""


def _step(places: FloatArray, clock: FloatArray, at: int) -> tuple[float, float]:
    """By how much places (m,), px, from a row on lie beside the curve through all, and its uncertainty."""
    smooth, beyond = np.polynomial.chebyshev.chebvander(clock, 3), np.arange(len(places)) >= at
    basis = np.column_stack([smooth, beyond]).astype(np.float64)
    covariance, weights, scatter = fitted(places, basis, 0.1)
    return float(weights[-1]), scatter * float(np.sqrt(_TOGETHER * covariance[-1, -1]))


def nothing_found(part: Part, frames: NDArray[np.int64], why: Why) -> Track:
    """Return the track of a strip that shows nothing at all."""
    none = np.full(len(frames), np.nan)
    return Track(part, frames, none, none.copy(), 0.0, (why,) * len(frames))
