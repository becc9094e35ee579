"""A panel's body that scrolls, ends where its content ends, and holds still what the pointer is at."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QCursor, QResizeEvent
from PySide6.QtWidgets import QApplication, QFrame, QScrollArea, QWidget

from measure_app.gui.choice_box import ChoiceBox


class _Body(QWidget):
    """Content as tall as its words need at the width that there is."""

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return the least width, and no height where the height follows from the width.

        The least height is that of sentences broken at their least width; the room kept for it would stand
        empty below the last line. The height for the true width is asked for all the same.
        """
        least = super().minimumSizeHint()
        return QSize(least.width(), 0) if self.hasHeightForWidth() else least


class SteadyScroll(QScrollArea):
    """Scrolls a body whose sentences come and go.

    When something above grows or shrinks, whatever control the pointer is at, or else the one that has the
    keyboard, stays where it is on the screen, so that a press meets what was aimed at. A pointer that has not
    moved since the last key, or since a list closed under it, aims at nothing: the keyboard goes before it.
    At the top that is so only while a control here has the keyboard.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.body = _Body()
        self._places: dict[QWidget, QRect] = {}
        self._keyed_at: QPoint | None = None
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setWidget(self.body)
        application = QApplication.instance()
        if isinstance(application, QApplication):
            application.focusChanged.connect(self._on_focus)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Note where the pointer rests while keys are pressed."""
        if event.type() == QEvent.Type.KeyPress:
            self._keyed_at = QCursor.pos()
        return super().eventFilter(watched, event)

    def _on_focus(self, before: QWidget | None, now: QWidget | None) -> None:
        if before is not None:
            before.removeEventFilter(self)
        if now is not None and self.body.isAncestorOf(now):
            now.installEventFilter(self)

    def _rests(self, focused: QWidget | None) -> bool:
        """Whether the pointer lies where it lay when what has the keyboard was last worked with."""
        at = QCursor.pos()
        return at == self._keyed_at or (isinstance(focused, ChoiceBox) and focused.chosen_at == at)

    def event(self, event: QEvent) -> bool:
        """Give the body the height it asks for, then scroll by as much as that moved what is to stay."""
        taken = super().event(event)
        if event.type() == QEvent.Type.LayoutRequest:
            self._hold_still()
        return taken

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """Do the same where sentences break anew at another width."""
        super().resizeEvent(event)
        self._hold_still()

    def settle(self) -> None:
        """Lay everything out now rather than after the next painting, which would show it squashed."""
        layout = self.body.layout()
        if layout is not None:
            layout.activate()
        QApplication.sendEvent(self, QEvent(QEvent.Type.LayoutRequest))

    def _hold_still(self) -> None:
        # Out of sight nothing is laid out yet, and nothing can be aimed at.
        before, self._places = self._places, self._controls() if self.isVisible() else {}
        held = self._held(before)
        if held is None or held not in self._places:
            return
        shift = self._places[held].top() - before[held].top()
        if shift:
            bar = self.verticalScrollBar()
            bar.setValue(bar.value() + shift)

    def _controls(self) -> dict[QWidget, QRect]:
        """Return where everything stands that can be pressed or typed into, in places of the body."""
        layout = self.body.layout()
        if layout is not None:
            layout.activate()  # when first shown, nothing has its place yet
        return {
            each: QRect(each.mapTo(self.body, QPoint(0, 0)), each.size())
            for each in self.body.findChildren(QWidget)
            if each.focusPolicy() != Qt.FocusPolicy.NoFocus and each.isVisibleTo(self.body)
        }

    def _held(self, places: dict[QWidget, QRect]) -> QWidget | None:
        """Return the control that the pointer was at, or the next below it; else the one with the keyboard."""
        focused = QApplication.focusWidget()
        working = focused is not None and self.body.isAncestorOf(focused)
        if self.verticalScrollBar().value() == 0 and not working:
            return None  # nobody works here: what fills itself is read from its beginning
        if focused in places and self._rests(focused):
            return focused
        pointer = self.viewport().mapFromGlobal(QCursor.pos())
        if self.viewport().rect().contains(pointer):
            height = self.body.mapFrom(self.viewport(), pointer).y()
            below = [(place.top(), i) for i, place in enumerate(places.values()) if place.bottom() >= height]
            return list(places)[min(below)[1]] if below else None
        return focused if focused in places else None
