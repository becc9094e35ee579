"""A loupe beside the pointer: the frame eight times larger, a fine cross where a press would mark."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from calibration import Pixel
from measure_app.gui.coords import scene_at
from measure_app.gui.theme import CASING, ON_FILM
from measure_app.words import numeral, said

TIMES = 8
"""Magnification against the film's own pixels."""
SIDE = 168
_AWAY = 26


class Loupe(QWidget):
    """Shows the surroundings of one position of the frame; it never takes the mouse."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setFixedSize(SIDE, SIDE + 22)
        self.setAccessibleName(said("Loupe"))
        self._image: QImage | None = None
        self._at = Pixel(0.0, 0.0)
        self.hide()

    def look(self, image: QImage | None, at: Pixel, beside: QPointF) -> None:
        """Show the surroundings of a position.

        Parameters
        ----------
        image : QImage
            The frame.
        at : Pixel
            The position under the cross.
        beside : QPointF
            Where the pointer is, in the parent's points.
        """
        if image is None:
            self.hide()
            return
        self._image, self._at = image, at
        room = _room_of(self)
        x, y = beside.x() + _AWAY, beside.y() - self.height() - _AWAY
        if x + self.width() > room.right():
            x = beside.x() - _AWAY - self.width()
        if y < room.top():
            y = beside.y() + _AWAY
        self.move(round(max(room.left(), x)), round(min(y, max(0, room.bottom() - self.height()))))
        self.show()
        self.raise_()
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint the magnified pixels, the cross and the coordinates."""
        if self._image is None:
            return
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(CASING))
        window = QRectF(2, 2, SIDE - 4, SIDE - 4)
        centre = scene_at(self._at)
        reach = window.width() / (2 * TIMES)
        source = QRectF(centre.x() - reach, centre.y() - reach, 2 * reach, 2 * reach)
        painter.drawImage(window, self._image, source)
        middle = window.center()
        for colour, width in ((CASING, 3.0), (ON_FILM["cross"], 1.0)):
            painter.setPen(QPen(QColor(colour), width))
            for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                near, far = QPointF(dx * 5, dy * 5), QPointF(dx * (SIDE / 2 - 3), dy * (SIDE / 2 - 3))
                painter.drawLine(middle + near, middle + far)
        painter.setPen(QPen(QColor(ON_FILM["graduation"]), 1.0))
        painter.drawPoint(middle)
        painter.drawRect(window)
        painter.setPen(QColor("#ffffff"))
        text = numeral(f"x {self._at.x:.1f}   y {self._at.y:.1f} px")
        painter.drawText(QRectF(0, SIDE - 2, SIDE, 22), Qt.AlignmentFlag.AlignCenter, text)


def _room_of(widget: QWidget) -> QRect:
    parent = widget.parentWidget()
    return parent.rect() if parent is not None else QRect()
