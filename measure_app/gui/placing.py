"""What is placed on the frame as parts of a run: rules, lines, the same place read again."""

from __future__ import annotations

import math
from dataclasses import dataclass

from msgspec.structs import replace

from calibration import Measures, Pixel
from measure_app.edits import Edit, SetGaugeLine, SetLandingLine, SetPlumb
from measure_app.gui.marks import Kind
from measure_app.gui.tools import Tool, ToolOptions
from measure_app.run import GraduationPart, LinePart, PlumbPart, RulePart, Run, Spot
from measure_app.words import marked

_NAMES = {
    Measures.HEAD: marked("upright rule"),
    Measures.THROW: marked("floor rule"),
    Measures.BOTH: marked("square"),
}
_REPEAT_PX, _REPEAT_U = 15.0, 10.0
"""Within so many pixels, or standard uncertainties, a second mark repeats the first; farther, it mends it."""


@dataclass(frozen=True, slots=True)
class Repeat:
    """The same part of the same frame read twice by hand."""

    kind: Kind
    frame: int
    first: Spot
    second: Spot
    counts: bool
    """Whether it tells of the reader's scatter; False: too far off, a correction."""

    @property
    def apart_px(self) -> float:
        """How far both stand from each other, px."""
        return apart_px(self.first, self.second)


def apart_px(one: Spot, other: Spot) -> float:
    """Return how far two marks stand from each other, px."""
    return math.hypot(one.px.x - other.px.x, one.px.y - other.px.y)


def mark_again(kind: Kind, frame: int, spot: Spot) -> Edit:
    """Make the edit that marks a place of a frame once more."""
    from measure_app.extras import (
        MarkAgain,  # brings the finders with it, for which no first frame shall wait
    )
    from measure_app.finders import Part

    return MarkAgain(frame, Part.SURFACE if kind is Kind.SURFACE else Part.LANDING, spot)


def repeat_reach(spot: Spot) -> float:
    """Return how far a second mark may be off and still be taken for the same place meant again, px."""
    return max(_REPEAT_PX, _REPEAT_U * spot.px_u)


def new_rule(run: Run, options: ToolOptions, graduations: tuple[GraduationPart, ...]) -> RulePart:
    """Make a rule of its graduations, under a name that no other rule of the run has."""
    name = given = options.name or _NAMES[options.measures]
    taken = {rule.name for rule in run.rules}
    number = 2
    while name in taken:
        name = f"{given} {number}"
        number += 1
    in_order = tuple(sorted(graduations, key=lambda each: each.value_m))
    return RulePart(name, options.measures, in_order, options.graduation_u_m, options.px_u)


def line_edit(run: Run, tool: Tool, start: Pixel, end: Pixel) -> Edit:
    """Make the edit that draws the tool's line from one place to another."""
    if tool is Tool.PLUMB:
        top, bottom = (start, end) if start.y <= end.y else (end, start)
        return SetPlumb(PlumbPart(top_px=top, bottom_px=bottom))
    old = run.gauge_line if tool is Tool.GAUGE_LINE else run.landing_line
    line = replace(old or LinePart(from_px=start, to_px=end), from_px=start, to_px=end)
    return SetGaugeLine(line) if tool is Tool.GAUGE_LINE else SetLandingLine(line)
