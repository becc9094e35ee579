"""The pixels beneath a number: a crop of its frame, beside the pointer."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRectF, Qt, Slot
from PySide6.QtGui import QColor, QCursor, QGuiApplication, QImage, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from calibration import Pixel
from measure_app.gui.coords import scene_at
from measure_app.gui.frames import FrameReply
from measure_app.gui.marks import reading_in
from measure_app.gui.theme import CASING, ON_FILM
from measure_app.gui.workbench import Workbench
from measure_app.run import Spot
from measure_app.words import said

_GAP = 4
_HEAD = 20


class CropPopup(QWidget):
    """Shows the surroundings of the surface and of the landing in one frame."""

    def __init__(self, bench: Workbench, parent: QWidget) -> None:
        super().__init__(parent, Qt.WindowType.ToolTip | Qt.WindowType.FramelessWindowHint)
        self.setAttribute(Qt.WidgetAttribute.WA_ShowWithoutActivating)
        self.setAccessibleName(said("Pixels of the frame"))
        self._bench = bench
        self._wanted = -1
        self._size = (150, 110)
        self._reply: FrameReply | None = None
        self._spots: tuple[tuple[str, Spot], ...] = ()
        bench.crop_wanted.connect(self._on_wanted)
        bench.frames.peeked.connect(self._on_frame)
        bench.document.clip_changed.connect(self._away)

    @Slot(int, int, int)
    def _on_wanted(self, frame: int, width: int, height: int) -> None:
        info = self._bench.document.info
        if info is None or not 0 <= frame < info.n_frames:
            self._away()
            return
        self._wanted, self._size = frame, (max(60, width), max(60, height))
        self._bench.frames.peek(frame)

    @Slot(object)
    def _on_frame(self, reply: FrameReply) -> None:
        outcome, run = self._bench.document.outcome, self._bench.document.run
        if reply.index != self._wanted or reply.pixels is None or run is None:
            return
        reading = reading_in(outcome.run if outcome is not None else run, reply.index)
        if reading is None:
            self._away()
            return
        pairs = (("surface", reading.surface), ("landing", reading.landing))
        self._spots = tuple((name, spot) for name, spot in pairs if spot is not None)
        self._reply = reply
        width = len(self._spots) * (self._size[0] + _GAP) + _GAP
        self.resize(width, self._size[1] + _HEAD + _GAP)
        self.move(self._place())
        self.show()
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint the crops, twice as large as on the film, each with a cross on the place read."""
        if self._reply is None or self._reply.pixels is None:
            return
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(CASING))
        painter.setPen(QColor("#ffffff"))
        height, width = self._reply.pixels.shape[:2]
        image = QImage(self._reply.pixels.data, width, height, 4 * width, QImage.Format.Format_RGB32)
        for i, (name, spot) in enumerate(self._spots):
            left = _GAP + i * (self._size[0] + _GAP)
            box = QRectF(left, _HEAD, *self._size)
            painter.setPen(QColor("#ffffff"))
            words = said("frame {index}: {name}", index=self._reply.index, name=name) if i == 0 else name
            painter.drawText(QRectF(left, 0, self._size[0], _HEAD), Qt.AlignmentFlag.AlignCenter, words)
            _crop(painter, image, box, spot.px)

    def _place(self) -> QPoint:
        at = QCursor.pos()
        screen = QGuiApplication.screenAt(at) or QGuiApplication.primaryScreen()
        room = screen.availableGeometry()
        x = at.x() + 18 if at.x() + 18 + self.width() < room.right() else at.x() - 18 - self.width()
        y = at.y() + 18 if at.y() + 18 + self.height() < room.bottom() else at.y() - 18 - self.height()
        return QPoint(max(room.left(), x), max(room.top(), y))

    def _away(self, *_: object) -> None:
        self._wanted = -1
        self._reply = None
        self.hide()


def _crop(painter: QPainter, image: QImage, box: QRectF, at: Pixel) -> None:
    centre = scene_at(at)
    source = QRectF(
        centre.x() - box.width() / 4, centre.y() - box.height() / 4, box.width() / 2, box.height() / 2
    )
    painter.save()
    painter.setClipRect(box)
    painter.drawImage(box, image, source)
    middle = box.center()
    for colour, width in ((CASING, 3.0), (ON_FILM["cross"], 1.0)):
        painter.setPen(QPen(QColor(colour), width))
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            start = middle.toPoint() + QPoint(5 * dx, 5 * dy)
            painter.drawLine(start, middle.toPoint() + QPoint(22 * dx, 22 * dy))
    painter.restore()
