"""One frame as an image, and what is written over it."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QImage, QPainter, QPen
from PySide6.QtWidgets import QGraphicsItem, QStyleOptionGraphicsItem, QWidget

from calibration import Pixel
from measure_app.gui.coords import ViewMap
from measure_app.gui.frames import FrameReply
from measure_app.gui.theme import CASING, ON_FILM


class FrameItem(QGraphicsItem):
    """One frame as an image; it keeps the buffer alive that the image looks into."""

    def __init__(self) -> None:
        super().__init__()
        self._reply: FrameReply | None = None
        self.image: QImage | None = None
        self._size = QSize(1, 1)

    def show_reply(self, reply: FrameReply | None) -> None:
        """Show a frame; None: nothing."""
        self._reply = reply
        if reply is None or reply.pixels is None:
            self.image = None
        else:
            height, width = reply.pixels.shape[:2]
            self.image = QImage(reply.pixels.data, width, height, 4 * width, QImage.Format.Format_RGB32)
            if self.image.size() != self._size:
                self.prepareGeometryChange()
                self._size = self.image.size()
        self.update()

    def boundingRect(self) -> QRectF:  # noqa: N802
        """Return the frame's rectangle in the scene."""
        return QRectF(0, 0, self._size.width(), self._size.height())

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, _widget: QWidget | None = None
    ) -> None:
        """Paint the part of the frame that shows."""
        if self._reply is None:
            return  # no film yet: nothing, rather than a black square that looks like a frame
        if self.image is None:
            painter.fillRect(self.boundingRect(), QColor(CASING))
            return
        part = option.exposedRect.adjusted(-1, -1, 1, 1).intersected(self.boundingRect())
        whole = QRectF(part.toAlignedRect()).intersected(self.boundingRect())
        painter.drawImage(whole, self.image, whole)


def paint_cross(painter: QPainter, view: ViewMap, at: Pixel) -> None:
    """Paint the cross that keys move."""
    centre = view.view_at(at)
    for colour, width in ((CASING, 3.0), (ON_FILM["cross"], 1.0)):
        painter.setPen(QPen(QColor(colour), width))
        for arm in (QPointF(1, 0), QPointF(-1, 0), QPointF(0, 1), QPointF(0, -1)):
            painter.drawLine(centre + arm * 5, centre + arm * 18)


def paint_words(painter: QPainter, font: QFont, width: float, words: str) -> None:
    """Paint a sentence over the frame; "" paints nothing."""
    if not words:
        return
    painter.setFont(font)
    metrics = painter.fontMetrics()
    room = QRectF(0, 0, width - 48, 400)
    need = QRectF(metrics.boundingRect(room.toRect(), Qt.TextFlag.TextWordWrap, words))
    box = QRectF((width - need.width()) / 2 - 12, 12, need.width() + 24, need.height() + 14)
    ground = QColor(CASING)
    ground.setAlphaF(0.86)
    painter.setPen(QPen(QColor(ON_FILM["hand"]), 1.5))
    painter.setBrush(ground)
    painter.drawRoundedRect(box, 5, 5)
    painter.setPen(QColor("#ffffff"))
    flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
    painter.drawText(box.adjusted(12, 7, -12, -7), flags, words)
