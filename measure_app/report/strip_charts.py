"""From an outcome to the figures of the two strips."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from analysis import FloatArray, Line
from calibration import Segment
from measure_app.finders import Part
from measure_app.outcome import Outcome, ReadingRow
from measure_app.report.strip_chart import Refusal, StripChart
from measure_app.run import By, Spot
from measure_app.strips import Strip
from measure_app.words import numeral, said


class _Read(NamedTuple):
    """Times and places along a strip of hand readings, and of found ones."""

    hand_s: FloatArray
    hand_along: FloatArray
    found_s: FloatArray
    found_along: FloatArray


_ROUND_STEPS_M = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)


def strip_charts(outcome: Outcome) -> tuple[StripChart, ...]:
    """Return a chart for each strip that was read."""
    charts = []
    if outcome.search is not None and outcome.search.head_strip is not None:
        charts.append(_head_chart(outcome, outcome.search.head_strip))
    if outcome.search is not None and outcome.search.throw_strip is not None:
        charts.append(_throw_chart(outcome, outcome.search.throw_strip))
    return tuple(charts)


def _head_chart(outcome: Outcome, strip: Strip) -> StripChart:
    upward = float(np.dot(strip.line.segment.direction, outcome.calibration.up()))
    return _chart(
        outcome,
        strip,
        Part.SURFACE,
        name="head-strip",
        title=said("The water surface through time"),
        starts_low=upward > 0,
        along_title=said("along the gauge line / px"),
        lengths=[row.head_m for row in outcome.rows],
        law=_heads_by_law(outcome, _times(outcome)),
        law_says=said("fitted: √h falls evenly"),
        scale_title=said("head  $h$ / cm"),
    )


def _throw_chart(outcome: Outcome, strip: Strip) -> StripChart:
    return _chart(
        outcome,
        strip,
        Part.LANDING,
        name="throw-strip",
        title=said("The landing through time"),
        starts_low=_leads_outward(outcome, strip.line.segment),
        along_title=said("along the landing line / px"),
        lengths=[row.throw_m for row in outcome.rows],
        law=_throws_by_law(outcome, _times(outcome)),
        law_says=said("fitted: x² = s·h of one flight time earlier"),
        scale_title=said("throw  $x$ / cm"),
    )


def _chart(
    outcome: Outcome,
    strip: Strip,
    part: Part,
    *,
    name: str,
    title: str,
    starts_low: bool,
    along_title: str,
    lengths: list[float | None],
    law: FloatArray | None,
    law_says: str,
    scale_title: str,
) -> StripChart:
    """One strip with what was read on it, the law (n,) m of its frames, and a scale in centimetres."""
    segment = strip.line.segment
    read = _read(outcome, part, segment)
    calibration = outcome.calibration
    places = calibration.head_points if part is Part.SURFACE else calibration.landing_points
    ticks, labels = _scale(places, segment, strip.levels.shape[1], lengths)
    return StripChart(
        name=name,
        title=title,
        levels=strip.levels,
        time_s=_times(outcome),
        starts_low=starts_low,
        along_title=along_title,
        hand_s=read.hand_s,
        hand_along=read.hand_along,
        found_s=read.found_s,
        found_along=read.found_along,
        law_s=np.empty(0) if law is None else _times(outcome),
        law_along=np.empty(0) if law is None else segment.along(places(law)),
        law_says=law_says,
        refusals=_refusals(outcome, part),
        scale_along=ticks,
        scale_says=labels,
        scale_title=scale_title,
    )


def _times(outcome: Outcome) -> FloatArray:
    """(n,) s of the frames searched, which are the rows of the outcome."""
    return np.array(
        [row.time_s if row.time_s is not None else row.frame for row in outcome.rows], dtype=float
    )


def _read(outcome: Outcome, part: Part, segment: Segment) -> _Read:
    """Return places along the strip of what was read by hand, and of what was found."""

    def spot_of(row: ReadingRow) -> Spot | None:
        return row.surface if part is Part.SURFACE else row.landing

    times = _times(outcome)
    spots = [spot_of(row) for row in outcome.rows]
    by_hand = np.array([spot is not None and spot.by is By.HAND for spot in spots], dtype=bool)
    by_search = np.array([spot is not None and spot.by is By.FOUND for spot in spots], dtype=bool)
    pixels = np.array([spot.px if spot is not None else (np.nan, np.nan) for spot in spots], dtype=float)
    along = segment.along(pixels.reshape(-1, 2))
    if not by_search.any():
        return _Read(times[by_hand], along[by_hand], np.empty(0), np.empty(0))
    return _Read(times[by_hand], along[by_hand], times, np.where(by_search, along, np.nan))


def _refusals(outcome: Outcome, part: Part) -> tuple[Refusal, ...]:
    times = {row.frame: time for row, time in zip(outcome.rows, _times(outcome).tolist(), strict=True)}
    return tuple(
        Refusal(times[span.first], times[span.last], said(span.why.value))
        for span in outcome.refused
        if span.part is part and span.first in times and span.last in times
    )


def _leads_outward(outcome: Outcome, segment: Segment) -> bool:
    orifice = outcome.calibration.setup.orifice.px
    return bool(segment.along(np.array([orifice]))[0] < segment.length_px / 2)


def _fitted(outcome: Outcome, key: str, *, free: bool) -> Line | None:
    """Return a law's straight line, with errors in both variables where it was fitted so."""
    lines = [
        each for each in outcome.findings.lines if each.law.key == key and each.line.free_intercept == free
    ]
    return max(lines, key=lambda each: each.errors_in_both).line if lines else None


def _heads_by_law(outcome: Outcome, times: FloatArray) -> FloatArray | None:
    """(n,) m, head of the fitted straight line of √head against time; NaN once it is empty."""
    line = _fitted(outcome, "root_head_time", free=True)
    if line is None:
        return None
    root = line.intercept + line.slope * times
    return np.where(root >= 0.0, root**2, np.nan)


def _throws_by_law(outcome: Outcome, times: FloatArray) -> FloatArray | None:
    """(n,) m, throw of the water that left one flight time earlier, by the line of x² through the origin."""
    line = _fitted(outcome, "throw_squared_head", free=False)
    if line is None:
        return None
    heads = _heads_by_law(outcome, times - float(np.nanmedian(outcome.findings.flight_time_s)))
    if heads is None:
        return None
    return np.asarray(np.sqrt(np.clip(line.slope * heads, 0.0, None)), dtype=np.float64)


def _scale(
    places: Callable[[FloatArray], FloatArray], segment: Segment, length: int, read_m: list[float | None]
) -> tuple[FloatArray, tuple[str, ...]]:
    """Return places of round lengths along the strip and their labels in centimetres."""
    seen = [value for value in read_m if value is not None]
    if len(seen) < 2 or max(seen) <= min(seen):
        return np.empty(0), ()
    span = max(seen) - min(seen)
    step = next((step for step in _ROUND_STEPS_M if span / step <= 6), _ROUND_STEPS_M[-1])
    values = step * np.arange(np.floor((min(seen) - span) / step), np.ceil((max(seen) + span) / step) + 1)
    with np.errstate(all="ignore"):
        along = segment.along(places(values))
    good = np.isfinite(along) & (along >= 0) & (along <= length - 1)
    decimals = max(0, int(np.ceil(-np.log10(step * 100) - 1e-9)))
    return along[good], tuple(
        numeral(f"{value * 100:.{decimals}f}".replace("-", "−")) for value in values[good]
    )
