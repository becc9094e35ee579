"""A box to choose in that shows plainly when it has the keyboard."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRectF
from PySide6.QtGui import QCursor, QPainter, QPaintEvent, QPalette, QPen
from PySide6.QtWidgets import QComboBox, QWidget

_EDGE_PX = 2.0


class ChoiceBox(QComboBox):
    """A combo box with the edge that fields and buttons have in focus.

    The style sheet would take the arrow and the frame of the style away, so the edge is painted over them.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.chosen_at: QPoint | None = None
        """Where the pointer was when the list closed: at what lies below it, at which nobody aimed."""

    def hidePopup(self) -> None:  # noqa: N802
        """Close the list."""
        self.chosen_at = QCursor.pos()
        super().hidePopup()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Paint the box, and the edge around it."""
        super().paintEvent(event)
        if not self.hasFocus():
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(self.palette().color(QPalette.ColorRole.Highlight), _EDGE_PX))
        half = _EDGE_PX / 2.0
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(half, half, -half, -half), 3.0, 3.0)
        painter.end()
