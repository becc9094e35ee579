"""One strip: a line of the film through time, with what was read, found, fitted and refused drawn on it."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
    QWheelEvent,
)
from PySide6.QtWidgets import QToolTip, QWidget

from measure_app.gui.coords import StripMap
from measure_app.gui.marks import Kind
from measure_app.gui.strip_layers import Layers
from measure_app.gui.strip_paint import (
    MARGIN_LEFT,
    MARGIN_RIGHT,
    TIME_AXIS,
    StripScene,
    TimeLine,
    paint_hairline,
    paint_still,
)
from measure_app.gui.strip_picture import StripPicture
from measure_app.gui.theme import Colours, colours
from measure_app.words import numeral, said

_GRIP = 6.0
_POINT = 7.0


class _Held(Enum):
    """What a drag on the strip has hold of."""

    NOTHING = 0
    TIME = 1
    START = 2
    STOP = 3
    READING = 4


class StripView(QWidget):
    """Paints a strip; a press goes to a frame, brackets and hand readings can be dragged."""

    frame_wanted = Signal(int)
    step_wanted = Signal(int)
    end_wanted = Signal(bool)
    """True: the last frame of the part measured, False: its first."""
    bracket_wanted = Signal(bool)
    """True: the part measured shall end at the current frame, False: start there."""
    part_wanted = Signal(int, int)
    reading_moved = Signal(int, float)
    """Frame, and the place along the line where its reading was let go, px."""
    zoom_wanted = Signal(float, float)
    """Factor, and the frame that stays where it is."""
    whole_wanted = Signal()

    def __init__(self, part: Kind, parent: QWidget | None = None, *, with_axis: bool = False) -> None:
        super().__init__(parent)
        self.part = part
        self._with_axis = with_axis
        self.layers = Layers(part)
        self.time = TimeLine()
        self.picture: StripPicture | None = None
        self.words = ""
        """What stands in an empty strip."""
        self._held = _Held.NOTHING
        self._preview: float | None = None
        self._held_frame = -1
        self._part_preview: tuple[int, int] | None = None
        self._key: tuple[object, ...] = ()
        self._pixmap: QPixmap | None = None
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        name = said("Head strip") if part is Kind.SURFACE else said("Throw strip")
        self.setAccessibleName(name)
        self.setAccessibleDescription(
            said("Arrow keys go one frame back or on, with Shift ten; Home and End to the ends of the part.")
        )
        self.setMinimumHeight(62 + (TIME_AXIS if with_axis else 0))

    @property
    def map(self) -> StripMap:
        """The way between frames and places and this view's points."""
        below = TIME_AXIS if self._with_axis else 2
        area = QRectF(
            MARGIN_LEFT,
            3,
            max(1, self.width() - MARGIN_LEFT - MARGIN_RIGHT),
            max(1, self.height() - 3 - below),
        )
        length = self.picture.length if self.picture is not None else 1
        if self.picture is None and self.layers.segment is not None:
            length = int(self.layers.segment.length_px) + 1
        return StripMap(area, self.time.first, self.time.last, length, self.layers.upward)

    def show_layers(self, layers: Layers) -> None:
        """Show other marks and lines."""
        if layers.upward != self.layers.upward and self.picture is not None:
            rows = self.picture.rows
            self.picture = StripPicture(self.picture.strip, layers.upward)
            self.picture.fill(rows)
        self.layers = layers
        self.update()

    def show_time(self, time: TimeLine) -> None:
        """Show another part of the film, or another current frame."""
        if time != self.time:
            self.time = time
            self.update()

    def show_picture(self, picture: StripPicture | None) -> None:
        """Show other pixels, or none."""
        self.picture = picture
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint the strip from its kept picture, and the hairline over it."""
        scheme, scene = colours(), self._scene()
        area = scene.way.area
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._kept(scene, scheme))
        painter.setFont(self.font())
        if self.time.n_frames:
            painter.setClipRect(area)
            paint_hairline(painter, scene)
            painter.setClipping(False)
        if self.words:
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            room = area.adjusted(12, 0, -12, 0)
            if self.picture is not None:  # the words stand over pixels of any shade
                plate = painter.boundingRect(room, flags, self.words).adjusted(-8, -3, 8, 3)
                painter.fillRect(plate, QColor(scheme.raised))
            painter.setPen(QColor(scheme.ink if self.picture is not None else scheme.faint))
            painter.drawText(room, flags, self.words)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        pen = QPen(QColor(scheme.accent), 2.0) if self.hasFocus() else QPen(QColor(scheme.edge), 1.0)
        painter.setPen(pen)
        painter.drawRect(area)

    def _scene(self) -> StripScene:
        held = self._held_frame if self._held is _Held.READING else -1
        return StripScene(
            self.map,
            self.layers,
            self.time,
            self.picture,
            self._with_axis,
            self._part_preview,
            held,
            self._preview,
        )

    def _kept(self, scene: StripScene, scheme: Colours) -> QPixmap:
        """Return the picture of all that stays while one steps, painted anew where it changed."""
        ratio = self.devicePixelRatioF()
        still = replace(scene.time, frame=0)
        rows = scene.picture.rows if scene.picture is not None else -1
        key = (
            self.width(),
            self.height(),
            ratio,
            scheme,
            scene.layers,
            still,
            scene.picture,
            rows,
            scene.part_preview,
            scene.held_frame,
            scene.preview,
        )
        if self._key != key or self._pixmap is None:
            pixmap = QPixmap(round(self.width() * ratio), round(self.height() * ratio))
            pixmap.setDevicePixelRatio(ratio)
            pixmap.fill(Qt.GlobalColor.transparent)
            painter = QPainter(pixmap)
            painter.setFont(self.font())
            paint_still(painter, scene, scheme)
            painter.end()
            self._key, self._pixmap = key, pixmap
        return self._pixmap

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Take hold of a reading or a bracket, or go to the frame."""
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        if event.button() is not Qt.MouseButton.LeftButton or not self.time.n_frames:
            return
        self._held, self._held_frame = self._under(event.position())
        if self._held is _Held.READING:
            self._preview = dict(self.layers.hand)[self._held_frame]
            self.frame_wanted.emit(self._held_frame)
        elif self._held in (_Held.START, _Held.STOP):
            self._part_preview = (self.time.start, self.time.stop)
        else:
            self._held = _Held.TIME
            self.frame_wanted.emit(self.map.frame_at(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Go on with the drag, or show what a press would take hold of."""
        point, way = event.position(), self.map
        if self._held is _Held.TIME:
            self.frame_wanted.emit(way.frame_at(point.x()))
        elif self._held is _Held.READING:
            self._preview = min(max(way.along_at(point.y()), 0.0), way.length - 1)
            self.update()
        elif self._held in (_Held.START, _Held.STOP):
            self._part_preview = self._part_at(way.frame_at(point.x() + way.per_frame / 2))
            self.update()
        else:
            held, _ = self._under(point)
            shape = {
                _Held.READING: Qt.CursorShape.SizeVerCursor,
                _Held.START: Qt.CursorShape.SizeHorCursor,
                _Held.STOP: Qt.CursorShape.SizeHorCursor,
            }.get(held, Qt.CursorShape.ArrowCursor)
            self.setCursor(shape)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Let go: a dragged reading or bracket becomes one edit."""
        held, self._held = self._held, _Held.NOTHING
        if held is _Held.READING and self._preview is not None:
            before = dict(self.layers.hand).get(self._held_frame)
            preview, self._preview = self._preview, None
            if before is not None and abs(preview - before) > 1e-9 and self._moved_enough(before, preview):
                self.reading_moved.emit(self._held_frame, preview)
        elif held in (_Held.START, _Held.STOP) and self._part_preview is not None:
            part, self._part_preview = self._part_preview, None
            if part != (self.time.start, self.time.stop):
                self.part_wanted.emit(*part)
        self.mouseMoveEvent(event)
        self.update()

    def mouseDoubleClickEvent(self, _event: QMouseEvent) -> None:  # noqa: N802
        """Show the whole film again."""
        self.whole_wanted.emit()

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Stretch the time axis about the pointer."""
        turns = event.angleDelta().y() / 120.0
        if turns and self.time.n_frames:
            way = self.map
            about = way.first + (event.position().x() - way.area.left()) / way.per_frame
            self.zoom_wanted.emit(1.25**turns, about)
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Step, or go to an end of the part."""
        large = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        key = Qt.Key(event.key())
        if key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            self.step_wanted.emit((10 if large else 1) * (1 if key == Qt.Key.Key_Right else -1))
        elif key in (Qt.Key.Key_Home, Qt.Key.Key_End):
            self.end_wanted.emit(key == Qt.Key.Key_End)
        elif key in (Qt.Key.Key_S, Qt.Key.Key_E) and not event.modifiers():
            self.bracket_wanted.emit(key == Qt.Key.Key_E)
        else:
            super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Answer to hovering: the frame, its time, and why a span has no reading."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            QToolTip.showText(event.globalPos(), self.tell(event.pos().x()), self)
            return True
        return super().event(event)

    def tell(self, x: float) -> str:
        """Say what is at an x of the view."""
        if not self.time.n_frames:
            return self.words
        frame = min(max(self.map.frame_at(x), 0), self.time.n_frames - 1)
        told = [said("Frame {frame}", frame=frame)]
        if frame < len(self.time.seconds):
            told[0] += numeral(f", {self.time.seconds[frame]:.3f} s")
        told += [span.words for span in self.layers.refused if span.first <= frame <= span.last]
        return "\n".join(told)

    def _under(self, point: QPointF) -> tuple[_Held, int]:
        way = self.map
        near = [
            (abs(way.x_at(frame) - point.x()) + abs(way.y_at(along) - point.y()), frame)
            for frame, along in self.layers.hand
        ]
        if near and min(near)[0] <= _POINT:
            return _Held.READING, min(near)[1]
        if abs(way.x_at(self.time.start - 0.5) - point.x()) <= _GRIP:
            return _Held.START, -1
        if abs(way.x_at(self.time.stop - 0.5) - point.x()) <= _GRIP:
            return _Held.STOP, -1
        return _Held.NOTHING, -1

    def _part_at(self, frame: int) -> tuple[int, int]:
        start, stop = self.time.start, self.time.stop
        if self._held is _Held.START:
            return min(max(frame, 0), stop - 2), stop
        return start, max(min(frame, self.time.n_frames), start + 2)

    def _moved_enough(self, before: float, after: float) -> bool:
        """Whether a drag was more than a shaky press."""
        way = self.map
        return abs(way.y_at(before) - way.y_at(after)) >= 1.5
