"""The frame, large: zoom and move under the pointer; the hand hears presses and keys in pixels."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import (
    QWidget,
)

from calibration import Pixel
from measure_app.gui.document import Document
from measure_app.gui.frame_item import paint_cross, paint_words
from measure_app.gui.frames import FrameReply
from measure_app.gui.hand import Hand
from measure_app.gui.loupe import Loupe
from measure_app.gui.marks import place_of
from measure_app.gui.overlays import Scene, paint
from measure_app.gui.picture_view import PictureView
from measure_app.gui.theme import colours
from measure_app.gui.tools import Tool
from measure_app.words import said

_MARGIN = 30
"""The cross that keys move stays so far from the view's edges, view points."""
_ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, -1.0),
    Qt.Key.Key_Down: (0.0, 1.0),
}


class FrameView(PictureView):
    """Shows the current frame with the marks of the run over it."""

    painted = Signal(int)
    """Index of a frame that was painted for the first time since it came."""
    step_wanted = Signal(int)
    """So many frames on."""

    def __init__(self, document: Document, hand: Hand, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._hand = hand
        self.setMouseTracking(True)
        self.viewport().setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(said("Frame"))
        self.setMinimumSize(320, 200)
        self.loupe = Loupe(self.viewport())
        self.loupe_on = True
        self.shown = -1
        """Index of the frame that is shown; readings belong to it."""
        self.words = ""
        """What stands over the frame, such as why it cannot be had."""
        self._panning: QPointF | None = None
        self._space = False
        self._new = False
        self._pointer: QPointF | None = None
        self._cross: Pixel | None = None
        self._tool: object = hand.tool
        hand.draft_changed.connect(self._on_draft)
        hand.selected_changed.connect(self._on_selected)
        hand.tool_changed.connect(self._on_tool)
        document.run_changed.connect(self._repaint)
        document.outcome_changed.connect(self._repaint)
        document.blind_changed.connect(self._repaint)

    def show_reply(self, reply: FrameReply | None) -> None:
        """Show a frame, or say why it cannot be had."""
        self.show_picture(reply)
        self.shown = reply.index if reply is not None else -1
        self.words = ""
        if reply is not None and reply.error is not None:
            self.words = reply.error.words
        elif reply is not None and reply.suspect:
            self.words = said("Not to be measured: {suspect}", suspect=reply.suspect)
        self._new = True
        if self._pointer is not None and self.loupe.isVisible():
            self._look(self._pointer)
        self.viewport().update()

    def zoom_centre(self) -> QPointF:
        """Return the cross that keys move, or else the view's middle."""
        return self.map.view_at(self._cross) if self._cross is not None else super().zoom_centre()

    def set_loupe(self, on: bool) -> None:
        """Use the loupe, or not."""
        self.loupe_on = on
        if not on:
            self.loupe.hide()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Paint the frame, then the marks over it."""
        super().paintEvent(event)
        painter = QPainter(self.viewport())
        run = self._document.run
        if run is not None and self.shown >= 0:
            hand = self._hand
            paint(
                painter,
                self.map,
                Scene(
                    run,
                    self.shown,
                    hand.visible_handles(self.shown),
                    hand.draft,
                    hand.selected,
                    self._document.rule_fits,
                    hand.options.rule if hand.tool is Tool.GRADUATION else None,
                    hand.visible_falls(),
                ),
            )
            if self._cross is not None:
                paint_cross(painter, self.map, self._cross)
        paint_words(painter, self.font(), self.viewport().width(), self.words)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(colours().accent), 2.0))
            painter.drawRect(self.viewport().rect().adjusted(1, 1, -1, -1))
        painter.end()
        if self._new and self.shown >= 0:
            self._new = False
            self.painted.emit(self.shown)

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Begin to mark, or to move the picture."""
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        point = event.position()
        self._cross = None
        moving = event.button() is Qt.MouseButton.MiddleButton or (
            event.button() is Qt.MouseButton.LeftButton and self._space
        )
        if not moving and event.button() is Qt.MouseButton.LeftButton and self.image is not None:
            moving = not self._hand.press(self.map.pixel_at(point), point, self.map, self.shown)
        if moving:
            self._panning = point
            self.viewport().setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Go on marking or moving; the loupe follows."""
        point = event.position()
        self._pointer = point
        if self._panning is not None:
            self._fitted = False
            self._move(point - self._panning)
            self._panning = point
            return
        self._hand.drag(self.map.pixel_at(point))
        self._look(point)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Let go."""
        if self._panning is not None:
            self._panning = None
            self._on_tool(self._hand.tool)
        elif event.button() is Qt.MouseButton.LeftButton and self._hand.holding:
            self._hand.drag(self.map.pixel_at(event.position()))
            self._hand.release(self.shown)
            self._look(event.position())

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Take the second of two quick presses for a press: two graduations may be marked fast."""
        self.mousePressEvent(event)

    def leaveEvent(self, event: object) -> None:  # noqa: N802
        """Put the loupe away."""
        self._pointer = None
        if not self._hand.holding:
            self.loupe.hide()
        super().leaveEvent(event)  # type: ignore[arg-type]

    def focusInEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Show that the keyboard is here."""
        super().focusInEvent(event)
        self.viewport().update()

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Forget a held space bar, and show that the focus went."""
        self._space = False
        if self._pointer is None:
            self.loupe.hide()  # it stood at the cross, which keys move no longer
        super().focusOutEvent(event)
        self.viewport().update()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Move the selected mark or the cross, step, mark, remove, cancel; space moves the picture."""
        key = Qt.Key(event.key())
        if key in _ARROWS:
            self._arrow(_ARROWS[key], event.modifiers())
            return
        handler: Callable[[], object] | None = {
            Qt.Key.Key_Escape: self._escape,
            Qt.Key.Key_Delete: self._hand.remove,
            Qt.Key.Key_Backspace: self._hand.remove,
            Qt.Key.Key_Return: self._mark_with_key,
            Qt.Key.Key_Enter: self._mark_with_key,
        }.get(key)
        if key == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space = True
            self.viewport().setCursor(Qt.CursorShape.OpenHandCursor)
        elif handler is not None:
            handler()
            self.viewport().update()
        else:
            super().keyPressEvent(event)

    def keyReleaseEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Let the picture stand again."""
        if event.key() == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space = False
            self._on_tool(self._hand.tool)
        else:
            super().keyReleaseEvent(event)

    def _arrow(self, step: tuple[float, float], modifiers: Qt.KeyboardModifier) -> None:
        large = bool(modifiers & Qt.KeyboardModifier.ShiftModifier)
        if self._hand.selected is not None:
            size = 1.0 if large else 0.1
            self._hand.nudge(step[0] * size, step[1] * size)
            self._keep_in_sight(self._place_of_selected())
            self._look_at_selected()
        elif self._hand.tool is Tool.LOOK:
            if step[0]:
                self.step_wanted.emit(int(step[0]) * (10 if large else 1))
        elif self.image is not None:
            fine = bool(modifiers & Qt.KeyboardModifier.ControlModifier)
            size = 10.0 if large else 0.1 if fine else 1.0
            at = self._cross or self.map.pixel_at(QPointF(self.viewport().rect().center()))
            self._cross = self._on_frame(Pixel(at.x + step[0] * size, at.y + step[1] * size))
            self._keep_in_sight(self._cross, _MARGIN)
            if self._hand.draft.line_from is not None:
                point = self.map.view_at(self._cross)
                self._hand.press(self._cross, point, self.map, self.shown)
            self._look(self.map.view_at(self._cross), self._cross)
        self.viewport().update()

    def _mark_with_key(self) -> None:
        """Do at the cross what a press would do."""
        if self._cross is None or self.image is None:
            return
        point = self.map.view_at(self._cross)
        self._hand.select(None)
        if self._hand.press(self._cross, point, self.map, self.shown):
            self._hand.drag(self._cross)
            self._hand.release(self.shown)

    def _escape(self) -> None:
        if self._hand.cancel():
            return
        if self._hand.selected is not None:
            self._hand.select(None)
        elif self._hand.tool is not Tool.LOOK:
            self._hand.take(Tool.LOOK, self._hand.options)
        self._cross = None
        self.loupe.hide()

    def _look(self, point: QPointF, at: Pixel | None = None) -> None:
        wanted = (
            self.loupe_on
            and self.image is not None
            and self._panning is None
            and self._hand.draft.graduation is None
            and (self._hand.tool is not Tool.LOOK or self._hand.holding)
        )
        if not wanted:
            self.loupe.hide()
            return
        held = self._hand.draft.at if self._hand.draft.handle is not None else None
        self.loupe.look(self.image, at or held or self.map.pixel_at(point), point)

    def _look_at_selected(self) -> None:
        place = self._place_of_selected()
        if place is not None and self.loupe_on:
            self.loupe.look(self.image, place, self.map.view_at(place))

    def _place_of_selected(self) -> Pixel | None:
        run, selected = self._document.run, self._hand.selected
        return place_of(run, selected) if run is not None and selected is not None else None

    def _on_draft(self) -> None:
        self.viewport().update()

    def _on_selected(self, _handle: object) -> None:
        self.setAccessibleDescription(self._hand.say())
        self._keep_in_sight(self._place_of_selected())
        self.viewport().update()

    def _on_tool(self, tool: object) -> None:
        if tool is not self._tool:  # the same one again, as for a rule's next graduation: the cross stays
            self._cross, self._tool = None, tool
            self.loupe.hide()
        shape = Qt.CursorShape.OpenHandCursor if tool is Tool.LOOK else Qt.CursorShape.CrossCursor
        self.viewport().setCursor(shape)
        if tool is Tool.LOOK:
            self.loupe.hide()
        self.viewport().update()

    def _repaint(self) -> None:
        self.viewport().update()
