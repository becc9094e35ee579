"""What a press on the frame means at the moment."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from calibration import Measures
from measure_app.words import marked


class Tool(Enum):
    """What a press on the frame does; the value is what the tool is called."""

    LOOK = marked("look around")
    GRADUATION = marked("mark graduations")
    PLUMB = marked("mark the plumb")
    ORIFICE = marked("mark the orifice")
    THROW_ZERO = marked("mark the throw zero")
    GAUGE_LINE = marked("draw the gauge line")
    LANDING_LINE = marked("draw the landing line")
    SURFACE = marked("read the surface")
    LANDING = marked("read the landing")
    FALL = marked("mark a fall")


@dataclass(frozen=True, slots=True)
class ToolOptions:
    """How a tool is to be used; `Services.use_tool` makes it of its keywords."""

    rule: int | None = None
    """Rule to which graduations are added; None: a new rule, made when its second graduation is marked."""
    measures: Measures = Measures.HEAD
    """What a new rule measures."""
    name: str = ""
    """Name of a new rule; "": a usual one for what it measures."""
    graduation_u_m: float = 0.0002
    """Standard uncertainty of the engraved lines of a new rule, m."""
    px_u: float = 0.5
    """Standard uncertainty of a press on the frame, px."""
    advance: int = 0
    """Frames to move on after a reading; 0: stay."""
    frames: tuple[int, ...] = ()
    """Frames to go to one after another, instead of moving on evenly; increasing."""
    fall: int | None = None
    """Fall to which marks are added; None: a new one, made when its second mark is made."""
    what: Literal["drop", "jet drop", "jet front"] = "drop"
    """What falls in a new fall."""


SHOWN_AS: dict[Tool, str] = {
    Tool.LOOK: marked("Drag to move the picture, turn the wheel to magnify it."),
    Tool.GRADUATION: marked("Press on an engraved line of the rule, then type its value."),
    Tool.PLUMB: marked("Press at the top of the thread and drag to its lower end."),
    Tool.ORIFICE: marked("Press on the centre of the hole, at its outer rim."),
    Tool.THROW_ZERO: marked("Press on the point from which the throw counts."),
    Tool.GAUGE_LINE: marked(
        "Drag from above the highest water level to below the lowest, where the edge is clear."
    ),
    Tool.LANDING_LINE: marked(
        "Drag along the landing level, from under the hole to beyond the farthest landing."
    ),
    Tool.SURFACE: marked("Press where the gauge line meets the water's surface."),
    Tool.LANDING: marked("Press where the jet meets the landing line."),
    Tool.FALL: marked(
        "Press on the middle of the falling drop, frame by frame; again in the same frame to mend it."
    ),
}
"""One sentence for each tool, shown while it is in hand."""
