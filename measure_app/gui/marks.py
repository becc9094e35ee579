"""The points of a run that stand on the frame: where they are, what moving or removing one means. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import QPointF

from calibration import Pixel, Segment, rule_words
from measure_app.edits import (
    ClearLanding,
    ClearSurface,
    Edit,
    MoveGraduation,
    RemoveGraduation,
    RemoveRule,
    SetGaugeLine,
    SetLanding,
    SetLandingLine,
    SetOrifice,
    SetPlumb,
    SetSurface,
    SetThrowZero,
)
from measure_app.gui.coords import ViewMap
from measure_app.gui.falling import mark_in, moved_mark, without_mark
from measure_app.run import By, LinePart, Reading, Run, Spot
from measure_app.words import marked, said

REACH = 11.0
"""A press so near to a mark takes hold of it, view points."""


class Kind(Enum):
    """What a mark marks; the value is its name for people."""

    GRADUATION = marked("graduation")
    PLUMB_TOP = marked("plumb, upper end")
    PLUMB_BOTTOM = marked("plumb, lower end")
    ORIFICE = marked("orifice")
    THROW_ZERO = marked("throw zero")
    GAUGE_FROM = marked("gauge line, start")
    GAUGE_TO = marked("gauge line, end")
    LANDING_FROM = marked("landing line, start")
    LANDING_TO = marked("landing line, end")
    SURFACE = marked("surface")
    LANDING = "landing"
    FALL = marked("mark of a fall")


READINGS = (Kind.SURFACE, Kind.LANDING)


@dataclass(frozen=True, slots=True)
class Handle:
    """Names one mark of a run."""

    kind: Kind
    rule: int = -1
    index: int = -1
    """Which graduation of the rule."""
    frame: int = -1
    """Of a reading, or of a mark of a fall."""
    fall: int = -1
    """Which fall of the run."""


def reading_in(run: Run, frame: int) -> Reading | None:
    """Return the reading of a frame."""
    return next((reading for reading in run.readings if reading.frame == frame), None)


def spot_of(run: Run, handle: Handle) -> Spot | None:
    """Return the position read that a handle names."""
    reading = reading_in(run, handle.frame)
    if reading is None or handle.kind not in READINGS:
        return None
    return reading.surface if handle.kind is Kind.SURFACE else reading.landing


def handles_of(run: Run, frame: int) -> tuple[Handle, ...]:
    """Name every mark of the run that stands on a frame, those that are seldom moved first."""
    found = [
        Handle(Kind.GRADUATION, rule=r, index=i)
        for r, rule in enumerate(run.rules)
        for i in range(len(rule.graduations))
    ]
    if run.plumb is not None:
        found += [Handle(Kind.PLUMB_TOP), Handle(Kind.PLUMB_BOTTOM)]
    if run.gauge_line is not None:
        found += [Handle(Kind.GAUGE_FROM), Handle(Kind.GAUGE_TO)]
    if run.landing_line is not None:
        found += [Handle(Kind.LANDING_FROM), Handle(Kind.LANDING_TO)]
    if run.orifice is not None:
        found.append(Handle(Kind.ORIFICE))
    if run.throw_zero is not None:
        found.append(Handle(Kind.THROW_ZERO))
    reading = reading_in(run, frame)
    if reading is not None:
        found += [Handle(Kind.SURFACE, frame=frame)] if reading.surface is not None else []
        found += [Handle(Kind.LANDING, frame=frame)] if reading.landing is not None else []
    found += [
        Handle(Kind.FALL, fall=f, frame=frame)
        for f in range(len(run.falls))
        if mark_in(run, f, frame) is not None
    ]
    return tuple(found)


_ENDS: dict[Kind, tuple[str, str]] = {
    Kind.PLUMB_TOP: ("plumb", "top_px"),
    Kind.PLUMB_BOTTOM: ("plumb", "bottom_px"),
    Kind.ORIFICE: ("orifice", "px"),
    Kind.THROW_ZERO: ("throw_zero", "px"),
    Kind.GAUGE_FROM: ("gauge_line", "from_px"),
    Kind.GAUGE_TO: ("gauge_line", "to_px"),
    Kind.LANDING_FROM: ("landing_line", "from_px"),
    Kind.LANDING_TO: ("landing_line", "to_px"),
}
_SETTERS: dict[str, type[Edit]] = {
    "plumb": SetPlumb,
    "orifice": SetOrifice,
    "throw_zero": SetThrowZero,
    "gauge_line": SetGaugeLine,
    "landing_line": SetLandingLine,
}


def place_of(run: Run, handle: Handle) -> Pixel | None:
    """Return where a mark stands; None where it is no longer there."""
    if handle.kind is Kind.GRADUATION:
        if not 0 <= handle.rule < len(run.rules):
            return None
        graduations = run.rules[handle.rule].graduations
        return graduations[handle.index].px if 0 <= handle.index < len(graduations) else None
    if handle.kind in READINGS:
        spot = spot_of(run, handle)
        return spot.px if spot is not None else None
    if handle.kind is Kind.FALL:
        mark = mark_in(run, handle.fall, handle.frame)
        return mark.px if mark is not None else None
    part, field = _ENDS[handle.kind]
    owner = getattr(run, part)
    return getattr(owner, field) if owner is not None else None


def moved(run: Run, handle: Handle, to: Pixel, px_u: float = 0.5) -> Edit | None:
    """Return the edit that puts a mark elsewhere; a found reading that is moved becomes one by hand.

    Parameters
    ----------
    run : Run
    handle : Handle
    to : Pixel
        Where it goes; a reading is put on its line.
    px_u : float
        Standard uncertainty of a found reading that becomes one by hand, px.
    """
    if place_of(run, handle) is None:
        return None
    to = rounded(to)
    if handle.kind is Kind.GRADUATION:
        old = run.rules[handle.rule].graduations[handle.index]
        return MoveGraduation(handle.rule, handle.index, replace(old, px=to))
    if handle.kind in READINGS:
        spot = spot_of(run, handle)
        own = spot.px_u if spot is not None and spot.by is By.HAND else px_u
        return reading_edit(run, handle.kind, handle.frame, to, own)
    if handle.kind is Kind.FALL:
        return moved_mark(run, handle.fall, handle.frame, to)
    part, field = _ENDS[handle.kind]
    changes: dict[str, Any] = {field: to}
    setter: Any = _SETTERS[part]
    edit: Edit = setter(replace(getattr(run, part), **changes))
    return edit


def removed(run: Run, handle: Handle) -> Edit | None:
    """Return the edit that takes a mark away; a line or the plumb goes as a whole."""
    if place_of(run, handle) is None:
        return None
    if handle.kind is Kind.GRADUATION:
        few = len(run.rules[handle.rule].graduations) <= 2
        return RemoveRule(handle.rule) if few else RemoveGraduation(handle.rule, handle.index)
    if handle.kind in READINGS:
        return ClearSurface(handle.frame) if handle.kind is Kind.SURFACE else ClearLanding(handle.frame)
    if handle.kind is Kind.FALL:
        return without_mark(run, handle.fall, handle.frame)
    setter: Any = _SETTERS[_ENDS[handle.kind][0]]
    edit: Edit = setter(None)
    return edit


def reading_edit(run: Run, kind: Kind, frame: int, at: Pixel, px_u: float) -> Edit:
    """Return the edit that reads a part by hand; the place is put on the part's line where there is one."""
    spot = spot_at(run, kind, at, px_u)
    return SetSurface(frame, spot) if kind is Kind.SURFACE else SetLanding(frame, spot)


def spot_at(run: Run, kind: Kind, at: Pixel, px_u: float) -> Spot:
    """Return a place read by hand, put on the part's line where there is one."""
    line = run.gauge_line if kind is Kind.SURFACE else run.landing_line
    return Spot(px=rounded(on_line(line, at)), px_u=px_u, by=By.HAND)


def on_line(line: LinePart | None, at: Pixel) -> Pixel:
    """Return the foot of a position on a line; without a line the position itself."""
    if line is None or line.from_px == line.to_px:
        return at
    segment = Segment(line.from_px, line.to_px)
    dx, dy = segment.direction
    along = (at.x - line.from_px.x) * dx + (at.y - line.from_px.y) * dy
    return Pixel(float(line.from_px.x + along * dx), float(line.from_px.y + along * dy))


def rounded(pixel: Pixel) -> Pixel:
    """Return a position to a hundredth of a pixel, far below what a hand can do, so that files stay short."""
    return Pixel(round(pixel.x, 2), round(pixel.y, 2))


def nearest(
    run: Run, handles: Iterable[Handle], point: QPointF, view: ViewMap, reach: float = REACH
) -> Handle | None:
    """Return the mark under a point of the view, the nearest of those within reach."""
    best, least = None, reach
    for handle in handles:
        place = place_of(run, handle)
        if place is None:
            continue
        at = view.view_at(place)
        distance = math.hypot(at.x() - point.x(), at.y() - point.y())
        if distance <= least:
            best, least = handle, distance
    return best


def name_of(run: Run, handle: Handle) -> str:
    """Return what a mark is called, for the status line and for screen readers."""
    place = place_of(run, handle)
    where = said(" at x {x:.2f}, y {y:.2f} px", x=place.x, y=place.y) if place is not None else ""
    if handle.kind is Kind.GRADUATION and place is not None:
        rule = run.rules[handle.rule]
        return said(
            "{name}: graduation {value_m:g} mm{where}",
            name=rule_words(rule.name),
            value_m=rule.graduations[handle.index].value_m * 1000,
            where=where,
        )
    if handle.kind in READINGS:
        return said(
            "{value} in frame {frame}{where}", value=said(handle.kind.value), frame=handle.frame, where=where
        )
    if handle.kind is Kind.FALL and place is not None:
        return said(
            "{name}: its mark in frame {frame}{where}",
            name=run.falls[handle.fall].name,
            frame=handle.frame,
            where=where,
        )
    return f"{said(handle.kind.value)}{where}"
