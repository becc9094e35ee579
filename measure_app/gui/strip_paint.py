"""How a strip is painted: from the pixels to the readings, and the hairline over it all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen

from calibration import FloatArray
from measure_app.gui.coords import StripMap
from measure_app.gui.marks import Kind
from measure_app.gui.strip_layers import Layers
from measure_app.gui.strip_picture import StripPicture
from measure_app.gui.theme import CASING, ON_FILM, Colours
from measure_app.words import said

MARGIN_LEFT = 58
MARGIN_RIGHT = 10
TIME_AXIS = 20
"""Room below a strip for the time, points."""


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


@dataclass(frozen=True, slots=True, eq=False)
class StripScene:
    """All that the painting of a strip needs to know."""

    way: StripMap
    layers: Layers
    time: TimeLine
    picture: StripPicture | None
    with_axis: bool
    part_preview: tuple[int, int] | None = None
    """The part measured while one of its brackets is dragged."""
    held_frame: int = -1
    """Frame of the hand reading that is dragged."""
    preview: float | None = None
    """Where it is now, px along the line."""


_WIDE = 6.0
"""Columns of a strip so wide are shown as they are, view points."""


def paint_still(painter: QPainter, scene: StripScene, scheme: Colours) -> None:
    """Paint all that does not move with the current frame."""
    way = scene.way
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.fillRect(way.area, QColor(scheme.sunken))
    _paint_pixels(painter, scene)
    painter.save()
    painter.setClipRect(way.area)
    if scene.time.n_frames:
        _paint_refused(painter, scene)
        _paint_lines(painter, scene)
        _paint_points(painter, scene)
        _paint_part(painter, scene, scheme)
    painter.restore()
    _paint_scale(painter, scene, scheme)
    if scene.with_axis and scene.time.n_frames:
        _paint_time(painter, scene, scheme)


def _paint_pixels(painter: QPainter, scene: StripScene) -> None:
    way = scene.way
    picture = scene.picture
    if picture is None or not picture.rows:
        return
    painter.save()
    # Wide columns are single frames, which must not seem to run into one another.
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, way.per_frame < _WIDE)
    painter.setClipRect(way.area)
    first = max(0.0, scene.time.first)
    last = min(float(picture.rows), scene.time.last)
    if last > first:
        source = QRectF(first, 0, last - first, picture.length)
        left = way.x_at(first - 0.5)
        target = QRectF(left, way.area.top(), (last - first) * way.per_frame, way.area.height())
        painter.drawImage(target, picture.image(), source)
    painter.restore()


def _paint_refused(painter: QPainter, scene: StripScene) -> None:
    way = scene.way
    brush_colour = QColor(ON_FILM["hand"])
    for span in scene.layers.refused:
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


def _paint_lines(painter: QPainter, scene: StripScene) -> None:
    way = scene.way
    layers = scene.layers
    if layers.found_frames is not None and layers.found_along is not None and layers.found_frames.size:
        path = _polyline(way, layers.found_frames.astype(np.float64), layers.found_along, gap=1.5)
        _cased(painter, path, ON_FILM["found"], 1.2)
    if layers.law_frames is not None and layers.law_along is not None:
        path = _polyline(way, layers.law_frames, layers.law_along, gap=None)
        _cased(painter, path, ON_FILM["gauge"], 1.2, dashed=True)


def _paint_points(painter: QPainter, scene: StripScene) -> None:
    way = scene.way
    for frame, along in scene.layers.hand:
        held = frame == scene.held_frame and scene.preview is not None
        place = scene.preview if held and scene.preview is not None else along
        centre = QPointF(way.x_at(frame), way.y_at(place))
        if not way.area.adjusted(-8, -8, 8, 8).contains(centre):
            continue
        for colour, width in ((CASING, 4.0), (ON_FILM["hand"], 1.8)):
            painter.setPen(QPen(QColor(colour), width))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(centre, 4.2, 4.2)


def _paint_part(painter: QPainter, scene: StripScene, scheme: Colours) -> None:
    way = scene.way
    start, stop = scene.part_preview or (scene.time.start, scene.time.stop)
    shade = QColor(scheme.ground)
    shade.setAlphaF(0.66)
    left, right = way.x_at(start - 0.5), way.x_at(stop - 0.5)
    if left > way.area.left():
        painter.fillRect(
            QRectF(way.area.left(), way.area.top(), left - way.area.left(), way.area.height()), shade
        )
    if right < way.area.right():
        painter.fillRect(QRectF(right, way.area.top(), way.area.right() - right, way.area.height()), shade)
    for x, inward in ((left, 1), (right, -1)):
        path = QPainterPath(QPointF(x + inward * 7, way.area.top() + 2))
        path.lineTo(x + inward * 1.5, way.area.top() + 2)
        path.lineTo(x + inward * 1.5, way.area.bottom() - 2)
        path.lineTo(x + inward * 7, way.area.bottom() - 2)
        _cased(painter, path, ON_FILM["graduation"], 2.4)


def paint_hairline(painter: QPainter, scene: StripScene) -> None:
    """Mark the current frame."""
    way = scene.way
    x = way.x_at(scene.time.frame)
    for colour, width in ((CASING, 3.0), (ON_FILM["cross"], 1.2)):
        painter.setPen(QPen(QColor(colour), width))
        painter.drawLine(QPointF(x, way.area.top()), QPointF(x, way.area.bottom()))


def _paint_scale(painter: QPainter, scene: StripScene, scheme: Colours) -> None:
    way = scene.way
    font = painter.font()
    font.setPointSizeF(max(7.0, font.pointSizeF() * 0.82))
    painter.setFont(font)
    height = painter.fontMetrics().height()
    painter.setPen(QColor(scheme.faint))
    painter.save()
    painter.translate(10, way.area.center().y())
    painter.rotate(-90)
    what = scene.layers.what or (said("head") if scene.layers.part is Kind.SURFACE else said("throw"))
    half = way.area.height() / 2
    painter.setFont(fitting(font, what, 2 * half))
    painter.drawText(QRectF(-half, -height / 2, 2 * half, height), Qt.AlignmentFlag.AlignCenter, what)
    painter.restore()
    lowest = 1e9
    for tick in sorted(scene.layers.ticks, key=lambda each: -way.y_at(each.along)):
        y = way.y_at(tick.along)
        if not way.area.top() <= y <= way.area.bottom():
            continue
        painter.drawLine(QPointF(way.area.left() - 4, y), QPointF(way.area.left(), y))
        if lowest - y >= height * 0.95:
            lowest = y
            box = QRectF(18, y - height / 2, way.area.left() - 25, height)
            painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, tick.words)


def fitting(font: QFont, words: str, room: float) -> QFont:
    """Return a font so much smaller that words have room, but not so small that nobody reads them."""
    fitted, width = QFont(font), QFontMetricsF(font).horizontalAdvance(words)
    if width > room > 0.0:
        fitted.setPointSizeF(max(6.0, 0.98 * font.pointSizeF() * room / width))
    return fitted


def _paint_time(painter: QPainter, scene: StripScene, scheme: Colours) -> None:
    way, n = scene.way, scene.time.n_frames
    clocked = len(scene.time.seconds) >= 2
    if not clocked and n < 2:
        return
    height = painter.fontMetrics().height()
    times = np.asarray(scene.time.seconds) if clocked else np.arange(n, dtype=np.float64)
    low = float(np.interp(scene.time.first, np.arange(len(times)), times))
    high = float(np.interp(scene.time.last, np.arange(len(times)), times))
    room = max(1.0, way.area.width() / 80)
    step = _round_step((high - low) / room)
    step = step if clocked else max(1.0, step)  # without a clock the axis counts frames
    painter.setPen(QColor(scheme.faint))
    values = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    for value in values.tolist():
        x = way.x_at(float(np.interp(value, times, np.arange(len(times)))))
        painter.drawLine(QPointF(x, way.area.bottom()), QPointF(x, way.area.bottom() + 4))
        box = QRectF(x - 40, way.area.bottom() + 3, 80, height)
        if x + 24 < way.area.right() + MARGIN_RIGHT:
            words = said("{value:.10g} s", value=value) if clocked else said("frame {value:.0f}", value=value)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)


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
