"""What is drawn on a strip besides its pixels, worked out from the run and its outcome. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Segment
from measure_app.gui.document import Document
from measure_app.gui.marks import Kind
from measure_app.gui.signs import well_signed
from measure_app.run import By, LinePart, Run, Spot
from measure_app.words import said

if TYPE_CHECKING:
    from analysis import Line
    from measure_app.finders import RefusedSpan
    from measure_app.outcome import Outcome

_ROUND_M = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
_MOST_TICKS = 5
_LAW_POINTS = 400


@dataclass(frozen=True, slots=True)
class Tick:
    """A round length on the scale beside a strip."""

    along: float
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """Marks, lines and spans of one strip; places are px along the line from its start."""

    part: Kind
    segment: Segment | None = None
    upward: bool = False
    """Whether the line's start belongs at the bottom."""
    hand: tuple[tuple[int, float], ...] = ()
    """(frame, place) of hand readings."""
    found_frames: NDArray[np.int64] | None = None
    """(n,) frames of found readings, in order."""
    found_along: FloatArray | None = None
    law_frames: FloatArray | None = None
    """(m,) frames at which the fitted law was worked out."""
    law_along: FloatArray | None = None
    """(m,); NaN where the law has nothing to say."""
    refused: tuple[RefusedSpan, ...] = ()
    ticks: tuple[Tick, ...] = ()
    what: str = ""
    """What the scale shows."""


def layers_of(document: Document, part: Kind) -> Layers:
    """Gather what one strip shows; while reading blind, only what the reader marked."""
    run = document.run
    line = None if run is None else run.gauge_line if part is Kind.SURFACE else run.landing_line
    if run is None or line is None:
        return Layers(part)
    segment = Segment(line.from_px, line.to_px)
    upward = _upward(run, segment, part)
    hand = [
        (reading.frame, spot)
        for reading in run.readings
        if (spot := _spot(reading.surface, reading.landing, part)) is not None
        and spot.by is By.HAND
        and document.shows(reading.frame, spot)
    ]
    marked = tuple((frame, _along(segment, spot)) for frame, spot in hand)
    outcome = document.outcome
    ticks = _ticks(outcome, segment, part, line) if outcome is not None else ()
    what = said("head / cm") if part is Kind.SURFACE else said("throw / cm")
    if document.blind:
        return Layers(part, segment, upward, marked, ticks=ticks, what=what)
    frames, along = _found(run, segment, part)
    law_frames, law_along = _law(document, outcome, segment, part)
    search = document.current_search
    refused = (
        tuple(span for span in search.refused if span.part.value == part.value) if search is not None else ()
    )
    return Layers(part, segment, upward, marked, frames, along, law_frames, law_along, refused, ticks, what)


def _spot(surface: Spot | None, landing: Spot | None, part: Kind) -> Spot | None:
    return surface if part is Kind.SURFACE else landing


def _along(segment: Segment, spot: Spot) -> float:
    return float(segment.along(np.array([spot.px], dtype=np.float64))[0])


def _upward(run: Run, segment: Segment, part: Kind) -> bool:
    """Heights stand upright in the head strip; the throw strip has the far end on top."""
    if part is Kind.SURFACE:
        down = np.array([0.0, 1.0])
        if run.plumb is not None:
            down = np.subtract(run.plumb.bottom_px, run.plumb.top_px)
        return bool(np.dot(segment.direction, down) < 0)
    near = run.throw_zero or run.orifice
    if near is None:
        return True
    return bool(segment.along(np.array([near.px], dtype=np.float64))[0] < segment.length_px / 2)


def _found(run: Run, segment: Segment, part: Kind) -> tuple[NDArray[np.int64], FloatArray]:
    spots = [
        (reading.frame, spot.px)
        for reading in run.readings
        if (spot := _spot(reading.surface, reading.landing, part)) is not None and spot.by is By.FOUND
    ]
    frames = np.array([frame for frame, _ in spots], dtype=np.int64)
    pixels = np.array([px for _, px in spots], dtype=np.float64).reshape(-1, 2)
    return frames, segment.along(pixels)


def _law(
    document: Document, outcome: Outcome | None, segment: Segment, part: Kind
) -> tuple[FloatArray | None, FloatArray | None]:
    seconds, run = document.seconds, document.run
    if outcome is None or seconds is None or run is None:
        return None, None
    drain = _line(outcome, "root_head_time", free=True)
    if drain is None:
        return None, None
    stop = len(seconds) if run.clip.stop_frame is None else min(run.clip.stop_frame, len(seconds))
    start = min(run.clip.start_frame, stop - 1)
    frames = np.linspace(start, stop - 1, min(_LAW_POINTS, max(2, stop - start)))
    times = np.interp(frames, np.arange(len(seconds)), seconds)
    if part is Kind.SURFACE:
        places = outcome.calibration.head_points(_heads(drain, times))
    else:
        throw = _line(outcome, "throw_squared_head", free=False)
        flights = outcome.findings.flight_time_s
        if throw is None or not np.isfinite(flights).any():
            return None, None
        squared = throw.slope * _heads(drain, times - float(np.nanmedian(flights)))
        places = outcome.calibration.landing_points(np.sqrt(np.clip(squared, 0.0, None)))
    return frames, segment.along(places)


def _heads(drain: Line, times: FloatArray) -> FloatArray:
    root = drain.intercept + drain.slope * times
    return np.where(root >= 0.0, root**2, np.nan)


def _line(outcome: Outcome, key: str, *, free: bool) -> Line | None:
    lines = [e for e in outcome.findings.lines if e.law.key == key and e.line.free_intercept is free]
    return max(lines, key=lambda each: each.errors_in_both).line if lines else None


def _ticks(outcome: Outcome, segment: Segment, part: Kind, line: LinePart) -> tuple[Tick, ...]:
    """Round lengths along the line, as many as stay apart."""
    lengths = outcome.calibration.heads if part is Kind.SURFACE else outcome.calibration.throws
    places: Callable[[FloatArray], FloatArray] = (
        outcome.calibration.head_points if part is Kind.SURFACE else outcome.calibration.landing_points
    )
    ends = lengths(np.array([line.from_px, line.to_px], dtype=np.float64), np.zeros(2)).values
    if not np.isfinite(ends).all():
        middle = segment.at(np.linspace(0.0, segment.length_px, 33))
        seen = lengths(middle, np.zeros(len(middle))).values
        seen = seen[np.isfinite(seen)]
        if seen.size < 2:
            return ()
        ends = np.array([seen.min(), seen.max()])
    low, high = float(ends.min()), float(ends.max())
    step = next((s for s in _ROUND_M if (high - low) / s <= _MOST_TICKS), 2.0)
    values = step * np.arange(np.ceil(low / step), np.floor(high / step) + 1)
    if not values.size:
        return ()
    along = segment.along(places(values))
    decimals = 1 if step < 0.01 else 0
    return tuple(
        Tick(float(a), length_words(v, decimals))
        for v, a in zip(values.tolist(), along.tolist(), strict=True)
        if np.isfinite(a)
    )


def length_words(metres: float, decimals: int) -> str:
    """Write a length of the axis in centimetres; a zero has no sign."""
    return well_signed(said("{cm:.{decimals}f}", cm=100.0 * metres, decimals=decimals))
