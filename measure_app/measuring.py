"""One pass over the film: strips, then the surface and the landing in every frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis import accepted_gravity
from calibration import Pixel, Segment
from measure_app.clip import ClipInfo, FrameSource
from measure_app.errors import SetupIncomplete
from measure_app.finders import (
    Drift,
    Hints,
    JetLines,
    JetTrace,
    RefusedSpan,
    Track,
    drift_of,
    find_landing,
    find_surface,
    jet_lines,
    part_of,
    refused_spans,
    running,
    still_lines,
    trace_jet,
    whole_again,
)
from measure_app.run import By, LinePart, Reading, Run, Spot
from measure_app.series import SharedReading, conditions_of
from measure_app.strips import Progress, Strip, StripLine, sweep
from measure_app.words import said

HEAD_STRIP = "head"
THROW_STRIP = "throw"
_SOME = 3
"""Of so many of the jet's lines one is asked whether the water runs at all."""


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What one pass over the film gave."""

    head_strip: Strip | None
    """The pixels of the gauge line through time; None where the run has no gauge line."""
    throw_strip: Strip | None
    """The pixels of the landing line through time; None where the run has no landing line."""
    surface: Track | None
    landing: Track | None
    drift: Drift
    """How the camera moved; places found are those of the first frame of the part measured."""
    readings: tuple[Reading, ...]
    """Found readings, one for each frame in which something was found."""
    jet: JetTrace | None = None
    """The jet traced towards the orifice; None where it could not be followed."""

    @property
    def refused(self) -> tuple[RefusedSpan, ...]:
        """Spans without a reading, and why."""
        return tuple(
            span
            for track in (self.surface, self.landing)
            if track is not None
            for span in refused_spans(track)
        )

    @property
    def shared(self) -> SharedReading:
        """Errors that all found readings have in common."""
        usual = SharedReading()
        return SharedReading(_kept(self.surface, usual.surface_u_px), _kept(self.landing, usual.landing_u_px))


def _kept(track: Track | None, usual: float) -> float:
    """Round as readings are rounded, so that what a run file keeps gives the same answer."""
    return round(track.shared_u_px, 4) if track is not None else usual


def part_measured(run: Run, info: ClipInfo) -> tuple[int, int]:
    """First frame of the part measured, and one past its last, within the film.

    Raises
    ------
    SetupIncomplete
        If the part has fewer than two frames.
    """
    stop = info.n_frames if run.clip.stop_frame is None else min(run.clip.stop_frame, info.n_frames)
    if stop - run.clip.start_frame < 2:
        raise SetupIncomplete(
            said(
                "the part measured, frames {start_frame} to {stop}, has fewer than two frames of the "
                "film's {frames}; move its start or its stop",
                start_frame=run.clip.start_frame,
                stop=stop - 1,
                frames=info.n_frames,
            ),
            where="clip.start_frame",
        )
    return run.clip.start_frame, stop


def search(
    run: Run,
    source: FrameSource,
    *,
    progress: Progress | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> Search:
    """Read the film once and find what the run has lines for.

    Hand readings steer the finding; they are not part of the result.

    Raises
    ------
    SetupIncomplete
        If there is neither a gauge line nor a landing line with an orifice above it.
    Stopped
        If `stop_requested` said so.
    ClipError
        If the film cannot be read at all.
    """
    start, stop = part_measured(run, source.info)
    gauge = (
        StripLine(HEAD_STRIP, _segment(run.gauge_line), coloured=True) if run.gauge_line is not None else None
    )
    landing = StripLine(THROW_STRIP, _segment(run.landing_line)) if run.landing_line is not None else None
    tracing: JetLines | None = None
    if landing is not None and run.orifice is not None:
        tracing = jet_lines(
            landing.segment, run.orifice.px, run.throw_zero.px if run.throw_zero is not None else None
        )
    if gauge is None and tracing is None:
        raise SetupIncomplete(
            said(
                "there is no line to look along; draw the gauge line across the water surface, the "
                "landing line along the landing level, and mark the orifice"
            ),
            where="gauge_line",
        )
    lines = [line for line in (gauge, landing) if line is not None]
    lines += [*tracing.lines, *tracing.upper] if tracing is not None else []
    moving = _moving_boxes(run)
    strips = {
        strip.line.name: strip
        for strip in sweep(
            source,
            lines,
            start,
            stop,
            progress=progress,
            stop_requested=stop_requested,
            more=lambda luma: still_lines(luma, moving),
        )
    }
    named = {line.name for line in lines}
    drift = drift_of([strip for name, strip in strips.items() if name not in named], moving)
    surface_hints = None if gauge is None else _hints(run, "surface", gauge, start, stop)
    landing_hints = None if landing is None else _hints(run, "landing", landing, start, stop)
    close = [] if tracing is None else [strips[line.name] for line in tracing.lines]
    looked_at = ([strips[HEAD_STRIP]] if gauge is not None else []) + close[::_SOME]
    marks = [each for each in (surface_hints, landing_hints) if each is not None]
    rows, frames = running(looked_at, drift, marks), looked_at[0].frames
    surface_track = landing_track = jet = None
    if gauge is not None:
        found = find_surface(
            part_of(strips[HEAD_STRIP], rows),
            falls_forward=_falls_forward(run, gauge.segment),
            hints=surface_hints and surface_hints.after(rows.start),
            drift=drift.during(rows),
            seconds=source.stamps.seconds()[start:stop][rows],
        )
        surface_track = whole_again(found, rows, frames)
    if tracing is not None and landing is not None:
        found = find_landing(
            [part_of(strip, rows) for strip in close],
            tracing,
            hints=landing_hints and landing_hints.after(rows.start),
            drift=drift.during(rows),
            flight_frames=_flight_frames(run, source, start, stop),
        )
        landing_track = whole_again(found, rows, frames)
        jet = trace_jet(close, [strips[line.name] for line in tracing.upper], tracing, landing_track, drift)
    return Search(
        _by_itself(strips.get(HEAD_STRIP)),
        _by_itself(strips.get(THROW_STRIP)),
        surface_track,
        landing_track,
        drift,
        _readings(range(start, stop), gauge, surface_track, landing, landing_track),
        jet,
    )


def _by_itself(strip: Strip | None) -> Strip | None:
    """Cut a strip's grey levels out of the memory that it shares with all other lines, which can then go."""
    return strip and replace(strip, levels=strip.levels.copy(), colour=None)


def _moving_boxes(run: Run) -> tuple[tuple[float, float, float, float], ...]:
    """Where things move on purpose, px: around the gauge line, and from the orifice to the landing line."""
    boxes = []
    hole = [run.orifice.px] if run.orifice is not None else []
    groups = [
        [line.from_px, line.to_px, *hole] for line in (run.gauge_line, run.landing_line) if line is not None
    ]
    for group in groups:
        x, y = [px.x for px in group], [px.y for px in group]
        margin = 0.1 * max(max(x) - min(x), max(y) - min(y)) + 10.0
        boxes.append((min(x) - margin, min(y) - margin, max(x) + margin, max(y) + margin))
    return tuple(boxes)


def _segment(part: LinePart) -> Segment:
    return Segment(part.from_px, part.to_px)


def _flight_frames(run: Run, source: FrameSource, start: int, stop: int) -> float | None:
    """How many frames water is under way from orifice to landing; None without a drop or without a clock."""
    if run.drop is None or not source.info.file_rate:
        return None
    step = float(np.median(np.diff(source.stamps.seconds()[start:stop])))
    fall = 2.0 * run.drop.value_m / accepted_gravity(conditions_of(run)).value
    return float(np.sqrt(fall)) / step if step > 0.0 else None


def _falls_forward(run: Run, gauge: Segment) -> bool:
    """Whether walking along the gauge line leads downward in the world."""
    down = np.array([0.0, 1.0])
    if run.plumb is not None:
        down = np.subtract(run.plumb.bottom_px, run.plumb.top_px)
    return bool(np.dot(gauge.direction, down) > 0)


def _hints(run: Run, part: str, line: StripLine, start: int, stop: int) -> Hints | None:
    marked = [
        (reading.frame - start, spot.px, spot.px_u)
        for reading in run.readings
        if start <= reading.frame < stop
        and (spot := getattr(reading, part)) is not None
        and spot.by is By.HAND
    ]
    if not marked:
        return None
    rows, pixels, u = zip(*marked, strict=True)
    places = line.segment.along(np.array(pixels, dtype=np.float64))
    return Hints(np.array(rows, dtype=np.int64), places, np.array(u, dtype=np.float64))


def _readings(
    frames: range,
    gauge: StripLine | None,
    surface: Track | None,
    landing: StripLine | None,
    jet: Track | None,
) -> tuple[Reading, ...]:
    surfaces = _spots(gauge, surface, len(frames))
    landings = _spots(landing, jet, len(frames))
    return tuple(
        Reading(frame=frame, surface=head, landing=throw)
        for frame, head, throw in zip(frames, surfaces, landings, strict=True)
        if head is not None or throw is not None
    )


def _spots(line: StripLine | None, track: Track | None, count: int) -> list[Spot | None]:
    if line is None or track is None:
        return [None] * count
    # A thousandth of a pixel is far below any error and keeps run files short.
    positions = np.round(line.segment.at(np.nan_to_num(track.along_px)), 3).tolist()
    u = np.round(np.nan_to_num(track.own_u_px), 4).tolist()
    return [
        Spot(px=Pixel(*position), px_u=own, by=By.FOUND) if there else None
        for position, own, there in zip(positions, u, track.found.tolist(), strict=True)
    ]
