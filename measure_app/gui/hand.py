"""The hand over the frame: a tool, a mark held or placed, and one edit when it lets go."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from msgspec.structs import replace as with_parts
from PySide6.QtCore import QObject, QPointF, Signal

from calibration import Pixel
from measure_app.edits import (
    AddGraduation,
    AddRule,
    Edit,
    SetOrifice,
    SetThrowZero,
)
from measure_app.gui.coords import ViewMap
from measure_app.gui.document import Document
from measure_app.gui.falling import with_mark
from measure_app.gui.graduating import offered_value
from measure_app.gui.marks import (
    READINGS,
    Handle,
    Kind,
    handles_of,
    moved,
    name_of,
    nearest,
    on_line,
    place_of,
    reading_edit,
    removed,
    rounded,
    spot_at,
    spot_of,
)
from measure_app.gui.placing import Repeat, apart_px, line_edit, mark_again, new_rule, repeat_reach
from measure_app.gui.tools import Tool, ToolOptions
from measure_app.run import (
    By,
    FallMark,
    FallPart,
    GraduationPart,
    OrificePart,
    Run,
    ThrowZeroPart,
)

_LINES = (Tool.PLUMB, Tool.GAUGE_LINE, Tool.LANDING_LINE)
_READ = {Tool.SURFACE: Kind.SURFACE, Tool.LANDING: Kind.LANDING}
_SHORTEST_PX = 3.0
_STILL = 3.0
"""A press that moves less than this before it is let go is no drag, view points."""


@dataclass(frozen=True, slots=True)
class Draft:
    """What the hand holds that is not in the run yet; painted over it."""

    handle: Handle | None = None
    """A mark of the run that is being moved."""
    at: Pixel | None = None
    """Where the mark, or the free end of a new line, is now."""
    line_from: Pixel | None = None
    """Start of a new line."""
    graduation: Pixel | None = None
    """A graduation whose value is not typed yet."""
    pending: tuple[GraduationPart, ...] = ()
    """Graduations of a new rule that has too few of them to be one."""
    fall: FallMark | None = None
    """First mark of a new fall, which needs a second to be one."""


class Hand(QObject):
    """Turns presses, drags and keys on the frame into edits of the document.

    While a mark is dragged only the draft changes; the run changes once, when it is let go.
    """

    tool_changed = Signal(object)
    draft_changed = Signal()
    selected_changed = Signal(object)
    """`Handle` or None."""
    value_wanted = Signal(object, object)
    """Where a graduation was marked (`Pixel`) and the value that fits (float in m, or None)."""
    value_settled = Signal()
    read_again = Signal(object)
    """`Repeat`"""

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self.tool = Tool.LOOK
        self.options = ToolOptions()
        self.draft = Draft()
        self.selected: Handle | None = None
        self._gesture = -1
        self._pressed_at = Pixel(0.0, 0.0)
        self._dragged = False
        self._still_px = 0.0
        document.run_changed.connect(self._on_run_changed)
        document.frame_changed.connect(self._on_frame_changed)

    @property
    def holding(self) -> bool:
        """Whether a mark or a line's end is being dragged."""
        return self.draft.at is not None

    def take(self, tool: Tool, options: ToolOptions) -> None:
        """Take a tool."""
        self.cancel()
        if tool is not Tool.LOOK:
            self.select(None)
        self.tool, self.options = tool, options
        self.tool_changed.emit(tool)

    def select(self, handle: Handle | None) -> None:
        """Choose the mark that keys move."""
        if handle != self.selected:
            self.selected = handle
            self._gesture = -1
            self.selected_changed.emit(handle)

    def visible_handles(self, frame: int) -> tuple[Handle, ...]:
        """Name the marks of a frame that may be taken hold of; none that are hidden from a reader."""
        run = self._document.run
        if run is None:
            return ()
        return tuple(
            handle
            for handle in handles_of(run, frame)
            if self._document.shows(handle.frame, spot_of(run, handle))
            and (handle.kind is not Kind.FALL or not self._document.blind or handle.fall == self.options.fall)
        )

    def visible_falls(self) -> tuple[FallPart, ...]:
        """Return the falls to be drawn; to a blind reader only the one in hand."""
        run, own = self._document.run, self.options.fall
        if run is None or not self._document.blind:
            return run.falls if run is not None else ()
        return run.falls[own : own + 1] if own is not None else ()

    def press(self, at: Pixel, point: QPointF, view: ViewMap, frame: int) -> bool:
        """Begin a gesture at a position; False where it is none and the picture may be moved instead."""
        run = self._document.run
        if run is None:
            return False
        self._pressed_at, self._dragged, self._still_px = at, False, _STILL / view.scale
        if self.draft.line_from is not None:
            self._set(replace(self.draft, at=at))
            return True
        held = nearest(run, self._takeable(frame), point, view)
        if held is not None:
            self.select(held)
            self._set(replace(self.draft, handle=held, at=place_of(run, held)))
            return True
        self.select(None)
        if self.tool is Tool.LOOK:
            return False
        if self.tool in _LINES:
            self._set(replace(self.draft, line_from=rounded(at), at=at))
        else:
            self._set(replace(self.draft, at=at))
        return True

    def drag(self, at: Pixel) -> None:
        """Go on with the gesture."""
        run = self._document.run
        if not self.holding or run is None:
            return
        handle = self.draft.handle
        moved_by = math.hypot(at.x - self._pressed_at.x, at.y - self._pressed_at.y)
        self._dragged = self._dragged or moved_by > self._still_px
        if handle is not None and not self._dragged:
            return  # a press to choose a mark shall not shift it
        if handle is not None and handle.kind is Kind.SURFACE:
            at = on_line(run.gauge_line, at)
        elif handle is not None and handle.kind is Kind.LANDING:
            at = on_line(run.landing_line, at)
        self._set(replace(self.draft, at=at))

    def release(self, frame: int) -> None:
        """Let go: the gesture becomes one edit."""
        run, at, handle = self._document.run, self.draft.at, self.draft.handle
        if run is None or at is None:
            return
        start = self.draft.line_from
        if handle is not None:
            self._set(replace(self.draft, handle=None, at=None))
            if handle.kind in READINGS and self.tool in _READ and not self._dragged:
                self._read(run, handle.kind, self._pressed_at, frame)
            elif handle.kind is Kind.FALL and self.tool is Tool.FALL and not self._dragged:
                self._mark_fall(run, FallMark(frame, rounded(self._pressed_at), self.options.px_u))
            elif self._dragged and rounded(at) != place_of(run, handle):
                self._perform(moved(run, handle, at, self.options.px_u))
        elif start is not None:
            if abs(at.x - start.x) + abs(at.y - start.y) < _SHORTEST_PX:
                self._set(
                    replace(self.draft, at=None)
                )  # a press without a drag: the second end comes by another
                return
            self._set(replace(self.draft, line_from=None, at=None))
            self._perform(line_edit(run, self.tool, start, rounded(at)))
        else:
            self._set(replace(self.draft, at=None))
            self._place(run, rounded(at), frame)

    def give_value(self, value_m: float) -> bool:
        """Give the value of the graduation that was marked last; False where it was refused."""
        at, run = self.draft.graduation, self._document.run
        if at is None or run is None:
            return False
        graduation = GraduationPart(px=at, value_m=value_m)
        rule = self.options.rule
        if rule is not None and rule < len(run.rules):
            done = self._perform(AddGraduation(rule, graduation))
        elif not self.draft.pending:
            self._set(replace(self.draft, pending=(graduation,)))
            done = True
        else:
            done = self._new_rule(run, (*self.draft.pending, graduation))
        if done:
            self._set(replace(self.draft, graduation=None))
            self.value_settled.emit()
        return done

    def nudge(self, dx: float, dy: float) -> bool:
        """Move the selected mark by so many pixels; nudges in a row are undone as one."""
        run = self._document.run
        if run is None or self.selected is None:
            return False
        place = place_of(run, self.selected)
        if place is None:
            return False
        if self._gesture < 0:
            self._gesture = self._document.new_gesture()
        to = Pixel(place.x + dx, place.y + dy)
        edit = moved(run, self.selected, to, self.options.px_u)
        return edit is not None and self._document.perform(edit, gesture=self._gesture)

    def remove(self) -> bool:
        """Remove the selected mark."""
        run = self._document.run
        if run is None or self.selected is None:
            return False
        edit = removed(run, self.selected)
        self.select(None)
        return self._perform(edit)

    def cancel(self) -> bool:
        """Drop what the hand holds; False where it held nothing."""
        held = self.draft != Draft()
        self._set(Draft())
        if held:
            self.value_settled.emit()
        return held

    def drop_value(self) -> None:
        """Take back a graduation whose value was not typed."""
        self._set(replace(self.draft, graduation=None))
        self.value_settled.emit()

    def _takeable(self, frame: int) -> tuple[Handle, ...]:
        """Marks that a press may take hold of with the tool in hand: placing must not catch neighbours."""
        handles = self.visible_handles(frame)
        if self.tool is Tool.FALL:  # a drop falls past rules, lines and other drops
            return tuple(h for h in handles if h.kind is Kind.FALL and h.fall == self.options.fall)
        if self.tool in _READ:
            return tuple(h for h in handles if h.kind is _READ[self.tool])
        if self.tool is Tool.GRADUATION:
            return tuple(h for h in handles if h.kind is Kind.GRADUATION)
        return handles

    def _place(self, run: Run, at: Pixel, frame: int) -> None:
        if self.tool is Tool.GRADUATION:
            self._set(replace(self.draft, graduation=at))
            self.value_wanted.emit(at, offered_value(self._marked(run), at))
        elif self.tool is Tool.ORIFICE:
            hole = run.orifice or OrificePart(px=at, px_u=self.options.px_u)
            self._perform(SetOrifice(with_parts(hole, px=at)))
        elif self.tool is Tool.THROW_ZERO:
            zero = run.throw_zero or ThrowZeroPart(px=at, px_u=self.options.px_u)
            self._perform(SetThrowZero(with_parts(zero, px=at)))
        elif self.tool in _READ:
            self._read(run, _READ[self.tool], at, frame)
        elif self.tool is Tool.FALL:
            self._mark_fall(run, FallMark(frame, at, self.options.px_u))

    def _read(self, run: Run, kind: Kind, at: Pixel, frame: int) -> None:
        earlier = spot_of(run, Handle(kind, frame=frame))
        spot = spot_at(run, kind, at, self.options.px_u)
        # A hidden mark is another reader's: replaced in silence, never taken for a repeat of one's own.
        seen = earlier is not None and earlier.by is By.HAND and self._document.shows(frame, earlier)
        again = seen and earlier is not None and apart_px(earlier, spot) <= repeat_reach(earlier)
        edit = reading_edit(run, kind, frame, at, self.options.px_u)
        if not self._perform(mark_again(kind, frame, spot) if again else edit):
            return
        if seen and earlier is not None:
            self.read_again.emit(Repeat(kind, frame, earlier, spot, again))
        if self.options.frames:
            self._document.go_to(next((f for f in self.options.frames if f > frame), frame))
        elif self.options.advance:
            self._document.go_to(frame + self.options.advance)

    def _mark_fall(self, run: Run, mark: FallMark) -> None:
        made = with_mark(run, self.options.fall, self.options.what, self.draft.fall, mark)
        if made.edit is not None and not self._perform(made.edit):
            return
        self._set(replace(self.draft, fall=made.first))
        self.options = replace(self.options, fall=made.fall)
        if self.options.advance:
            self._document.go_to(mark.frame + self.options.advance)

    def _marked(self, run: Run) -> tuple[GraduationPart, ...]:
        rule = self.options.rule
        return (
            run.rules[rule].graduations if rule is not None and rule < len(run.rules) else self.draft.pending
        )

    def _new_rule(self, run: Run, graduations: tuple[GraduationPart, ...]) -> bool:
        if not self._perform(AddRule(new_rule(run, self.options, graduations))):
            return False
        self._set(replace(self.draft, pending=()))
        self.options = replace(self.options, rule=len(run.rules))
        self.tool_changed.emit(self.tool)
        return True

    def _perform(self, edit: Edit | None) -> bool:
        self._gesture = -1
        return edit is not None and self._document.perform(edit)

    def _set(self, draft: Draft) -> None:
        if draft != self.draft:
            self.draft = draft
            self.draft_changed.emit()

    def _on_run_changed(self, _before: Run | None, after: Run | None) -> None:
        if self.selected is not None and (after is None or place_of(after, self.selected) is None):
            self.select(None)
        if after is None:
            self.cancel()
        rule, fall = self.options.rule, self.options.fall
        if rule is not None and after is not None and rule >= len(after.rules):
            self.options = replace(self.options, rule=None)
        if fall is not None and after is not None and fall >= len(after.falls):
            self.options = replace(self.options, fall=None)

    def _on_frame_changed(self, frame: int) -> None:
        """Let go of a mark of another frame: keys would move what nobody sees."""
        if self.selected is not None and self.selected.frame not in (-1, frame):
            self.select(None)

    def say(self) -> str:
        """Name the selected mark."""
        run = self._document.run
        return name_of(run, self.selected) if run is not None and self.selected is not None else ""
