"""One strip: a line of the film through time, with what was read, found, fitted and refused drawn on it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QWheelEvent,
)
from PySide6.QtWidgets import QToolTip, QWidget

from calibration import FloatArray
from measure_app.gui.coords import StripMap
from measure_app.gui.marks import Kind
from measure_app.gui.strip_layers import Layers
from measure_app.gui.strip_picture import StripPicture
from measure_app.gui.theme import CASING, ON_FILM, Colours, colours

MARGIN_LEFT = 58
MARGIN_RIGHT = 10
_TIME_AXIS = 20
_GRIP = 6.0
_POINT = 7.0


class _Held(Enum):
    """What a drag on the strip has hold of."""

    NOTHING = 0
    TIME = 1
    START = 2
    STOP = 3
    READING = 4


@dataclass(frozen=True, slots=True)
class TimeLine:
    """What both strips share: the frames in view, the current one, the part measured."""

    n_frames: int = 0
    first: float = 0.0
    last: float = 1.0
    frame: int = 0
    start: int = 0
    stop: int = 0
    """One past the last frame measured."""
    seconds: tuple[float, ...] = ()
    """Time of each frame, s."""


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
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        name = "Head strip" if part is Kind.SURFACE else "Throw strip"
        self.setAccessibleName(name)
        self.setAccessibleDescription(
            "Arrow keys go one frame back or on, with Shift ten; Home and End to the ends of the part."
        )
        self.setMinimumHeight(62 + (_TIME_AXIS if with_axis else 0))

    @property
    def map(self) -> StripMap:
        """The way between frames and places and this view's points."""
        below = _TIME_AXIS if self._with_axis else 2
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

    # Painting.

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint the pixels, then from the evidence to the hairline."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scheme, way = colours(), self.map
        painter.fillRect(way.area, QColor(scheme.sunken))
        self._paint_pixels(painter, way)
        painter.save()
        painter.setClipRect(way.area)
        if self.time.n_frames:
            self._paint_refused(painter, way)
            self._paint_lines(painter, way)
            self._paint_points(painter, way)
            self._paint_part(painter, way, scheme)
            self._paint_hairline(painter, way)
        painter.restore()
        self._paint_scale(painter, way, scheme)
        if self._with_axis and self.time.n_frames:
            self._paint_time(painter, way, scheme)
        if self.words:
            painter.setPen(QColor(scheme.faint))
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(way.area.adjusted(12, 0, -12, 0), flags, self.words)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        pen = QPen(QColor(scheme.accent), 2.0) if self.hasFocus() else QPen(QColor(scheme.edge), 1.0)
        painter.setPen(pen)
        painter.drawRect(way.area)

    def _paint_pixels(self, painter: QPainter, way: StripMap) -> None:
        picture = self.picture
        if picture is None or not picture.rows:
            return
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.setClipRect(way.area)
        first = max(0.0, self.time.first)
        last = min(float(picture.rows), self.time.last)
        if last > first:
            source = QRectF(first, 0, last - first, picture.length)
            left = way.x_at(first - 0.5)
            target = QRectF(left, way.area.top(), (last - first) * way.per_frame, way.area.height())
            painter.drawImage(target, picture.image(), source)
        painter.restore()

    def _paint_refused(self, painter: QPainter, way: StripMap) -> None:
        brush_colour = QColor(ON_FILM["hand"])
        for span in self.layers.refused:
            left, right = way.x_at(span.first - 0.5), way.x_at(span.last + 0.5)
            box = QRectF(left, way.area.top(), max(right - left, 2.0), way.area.height())
            shade = QColor(CASING)
            shade.setAlphaF(0.35)
            painter.fillRect(box, shade)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(brush_colour)
            painter.setBrush(Qt.BrushStyle.BDiagPattern)
            hatch = painter.brush()
            hatch.setColor(brush_colour)
            painter.setBrush(hatch)
            painter.drawRect(box)

    def _paint_lines(self, painter: QPainter, way: StripMap) -> None:
        layers = self.layers
        if layers.found_frames is not None and layers.found_along is not None and layers.found_frames.size:
            path = _polyline(way, layers.found_frames.astype(np.float64), layers.found_along, gap=1.5)
            _cased(painter, path, ON_FILM["found"], 1.2)
        if layers.law_frames is not None and layers.law_along is not None:
            path = _polyline(way, layers.law_frames, layers.law_along, gap=None)
            _cased(painter, path, ON_FILM["gauge"], 1.2, dashed=True)

    def _paint_points(self, painter: QPainter, way: StripMap) -> None:
        for frame, along in self.layers.hand:
            held = self._held is _Held.READING and frame == self._held_frame and self._preview is not None
            place = self._preview if held and self._preview is not None else along
            centre = QPointF(way.x_at(frame), way.y_at(place))
            if not way.area.adjusted(-8, -8, 8, 8).contains(centre):
                continue
            for colour, width in ((CASING, 4.0), (ON_FILM["hand"], 1.8)):
                painter.setPen(QPen(QColor(colour), width))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawEllipse(centre, 4.2, 4.2)

    def _paint_part(self, painter: QPainter, way: StripMap, scheme: Colours) -> None:
        start, stop = self._part_preview or (self.time.start, self.time.stop)
        shade = QColor(scheme.ground)
        shade.setAlphaF(0.66)
        left, right = way.x_at(start - 0.5), way.x_at(stop - 0.5)
        if left > way.area.left():
            painter.fillRect(
                QRectF(way.area.left(), way.area.top(), left - way.area.left(), way.area.height()), shade
            )
        if right < way.area.right():
            painter.fillRect(
                QRectF(right, way.area.top(), way.area.right() - right, way.area.height()), shade
            )
        for x, inward in ((left, 1), (right, -1)):
            path = QPainterPath(QPointF(x + inward * 7, way.area.top() + 2))
            path.lineTo(x + inward * 1.5, way.area.top() + 2)
            path.lineTo(x + inward * 1.5, way.area.bottom() - 2)
            path.lineTo(x + inward * 7, way.area.bottom() - 2)
            _cased(painter, path, ON_FILM["graduation"], 2.4)

    def _paint_hairline(self, painter: QPainter, way: StripMap) -> None:
        x = way.x_at(self.time.frame)
        for colour, width in ((CASING, 3.0), (ON_FILM["cross"], 1.2)):
            painter.setPen(QPen(QColor(colour), width))
            painter.drawLine(QPointF(x, way.area.top()), QPointF(x, way.area.bottom()))

    def _paint_scale(self, painter: QPainter, way: StripMap, scheme: Colours) -> None:
        font = painter.font()
        font.setPointSizeF(max(7.0, font.pointSizeF() * 0.82))
        painter.setFont(font)
        height = painter.fontMetrics().height()
        painter.setPen(QColor(scheme.faint))
        painter.save()
        painter.translate(10, way.area.center().y())
        painter.rotate(-90)
        what = self.layers.what or ("head" if self.part is Kind.SURFACE else "throw")
        half = way.area.height() / 2
        painter.drawText(QRectF(-half, -height / 2, 2 * half, height), Qt.AlignmentFlag.AlignCenter, what)
        painter.restore()
        lowest = 1e9
        for tick in sorted(self.layers.ticks, key=lambda each: -way.y_at(each.along)):
            y = way.y_at(tick.along)
            if not way.area.top() <= y <= way.area.bottom():
                continue
            painter.drawLine(QPointF(way.area.left() - 4, y), QPointF(way.area.left(), y))
            if lowest - y >= height * 0.95:
                lowest = y
                box = QRectF(18, y - height / 2, way.area.left() - 25, height)
                painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, tick.words)

    def _paint_time(self, painter: QPainter, way: StripMap, scheme: Colours) -> None:
        seconds = self.time.seconds
        if len(seconds) < 2:
            return
        height = painter.fontMetrics().height()
        times = np.asarray(seconds)
        low = float(np.interp(self.time.first, np.arange(len(times)), times))
        high = float(np.interp(self.time.last, np.arange(len(times)), times))
        room = max(1.0, way.area.width() / 80)
        step = _round_step((high - low) / room)
        painter.setPen(QColor(scheme.faint))
        values = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
        for value in values.tolist():
            x = way.x_at(float(np.interp(value, times, np.arange(len(times)))))
            painter.drawLine(QPointF(x, way.area.bottom()), QPointF(x, way.area.bottom() + 4))
            box = QRectF(x - 40, way.area.bottom() + 3, 80, height)
            if x + 24 < way.area.right() + MARGIN_RIGHT:
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, f"{value:.10g} s")

    # Mouse and keys.

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
        said = [f"Frame {frame}"]
        if frame < len(self.time.seconds):
            said[0] += f", {self.time.seconds[frame]:.3f} s"
        said += [span.words for span in self.layers.refused if span.first <= frame <= span.last]
        return "\n".join(said)

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


def _polyline(way: StripMap, frames: FloatArray, along: FloatArray, gap: float | None) -> QPainterPath:
    """Return a line through points; broken where a place is not known or frames are missing."""
    path = QPainterPath()
    pen_down, last = False, 0.0
    for frame, place in zip(frames.tolist(), along.tolist(), strict=True):
        if not np.isfinite(place):
            pen_down = False
            continue
        point = QPointF(way.x_at(frame), way.y_at(place))
        if pen_down and (gap is None or frame - last <= gap):
            path.lineTo(point)
        else:
            path.moveTo(point)
        pen_down, last = True, frame
    return path


def _cased(painter: QPainter, path: QPainterPath, colour: str, width: float, dashed: bool = False) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    shade = QColor(CASING)
    shade.setAlphaF(0.3 if dashed else 0.6)  # a curve over the evidence must not bury it
    painter.setPen(QPen(shade, width + (0.8 if width < 2 else 2.0)))
    painter.drawPath(path)
    pen = QPen(QColor(colour), width)
    if dashed:
        pen.setDashPattern([5.0, 4.0])
    painter.setPen(pen)
    painter.drawPath(path)


def _round_step(least: float) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that is no less."""
    power = 10.0 ** np.floor(np.log10(max(least, 1e-9)))
    return float(next(power * m for m in (1, 2, 5, 10) if power * m >= least * (1 - 1e-9)))
