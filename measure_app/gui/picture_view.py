"""A picture that is zoomed under the pointer and moved; what lies over it is its heirs' care."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPointF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QPainter, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QFrame, QGraphicsItem, QGraphicsScene, QGraphicsView, QWidget

from calibration import Pixel
from measure_app.gui.coords import ViewMap
from measure_app.gui.frame_item import FrameItem
from measure_app.gui.frames import FrameReply
from measure_app.gui.theme import colours

_ZOOM_STEP = 1.25
_LARGEST = 40.0


class PictureView(QGraphicsView):
    """Shows one picture, whole or magnified."""

    zoomed = Signal(float)
    """View points per pixel of the film."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        # Of the one that Qt makes, the binding would find out the kind, and load every kind of widget for it.
        self.setViewport(QWidget())
        self._item = FrameItem()
        self._item.setFlag(QGraphicsItem.GraphicsItemFlag.ItemUsesExtendedStyleOption)
        scene = QGraphicsScene(self)
        scene.addItem(self._item)
        self.setScene(scene)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setViewportUpdateMode(QGraphicsView.ViewportUpdateMode.FullViewportUpdate)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTransformationAnchor(QGraphicsView.ViewportAnchor.NoAnchor)
        self.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, True)
        self._fitted = True
        self._dress()

    @property
    def image(self) -> QImage | None:
        """The frame shown."""
        return self._item.image

    @property
    def shows_whole(self) -> bool:
        """Whether the whole frame is in sight."""
        return self._fitted

    @property
    def map(self) -> ViewMap:
        """The way between film and view now."""
        return ViewMap(self.viewportTransform())

    def show_picture(self, reply: FrameReply | None) -> None:
        """Show a frame in place of the one before."""
        before = self._item.boundingRect()
        self._item.show_reply(reply)
        if self._item.boundingRect() != before:
            self._set_room()
            if self._fitted:
                self.fit()

    def fit(self) -> None:
        """Show the whole frame."""
        self._fitted = True
        self.fitInView(self._item, Qt.AspectRatioMode.KeepAspectRatio)
        self.zoomed.emit(self.map.scale)
        self.viewport().update()

    def zoom(self, factor: float, about: QPointF | None = None) -> None:
        """Magnify about a point of the view; None: `zoom_centre`."""
        point = self.zoom_centre() if about is None else about
        scale = self.map.scale
        lowest = min(self._fit_scale(), 1.0)
        factor = max(lowest / scale, min(factor, _LARGEST / scale))
        held = self.map.pixel_at(point)
        self.scale(factor, factor)
        self._fitted = self.map.scale <= self._fit_scale() * 1.0001
        there = self.map.view_at(held)
        self._move(point - there)
        self.zoomed.emit(self.map.scale)
        self.viewport().update()

    def zoom_to(self, at: Pixel, scale: float) -> None:
        """Bring a position of the frame to the middle at so many points per pixel."""
        self.zoom(scale / self.map.scale)
        self._move(QPointF(self.viewport().rect().center()) - self.map.view_at(at))

    def zoom_centre(self) -> QPointF:
        """Return about what a zoom goes that no pointer asked for: the view's middle."""
        return QPointF(self.viewport().rect().center())

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Follow the palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange:
            self._dress()

    def _dress(self) -> None:
        wanted = QColor(colours().sunken)
        if self.backgroundBrush().color() != wanted:
            self.setBackgroundBrush(wanted)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """Keep the whole frame in view where it was."""
        super().resizeEvent(event)
        if self._fitted:
            self.fit()

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Magnify under the pointer."""
        turns = event.angleDelta().y() / 120.0
        if turns:
            self.zoom(_ZOOM_STEP**turns, event.position())
        event.accept()

    def _on_frame(self, at: Pixel) -> Pixel:
        """Return the position, or the nearest one on the frame."""
        box = self._item.boundingRect()
        return Pixel(min(max(at.x, 0.0), box.width() - 1), min(max(at.y, 0.0), box.height() - 1))

    def _keep_in_sight(self, at: Pixel | None, margin: int = 0) -> None:
        """Move the picture so that what keys work on is seen: nobody marks blindly."""
        room = self.viewport().rect().adjusted(margin, margin, -margin, -margin)
        if at is None or self._fitted or room.contains(self.map.view_at(at).toPoint()):
            return
        self._move(QPointF(room.center()) - self.map.view_at(at))

    def _fit_scale(self) -> float:
        box, room = self._item.boundingRect(), self.viewport().rect()
        return min(room.width() / box.width(), room.height() / box.height())

    def _set_room(self) -> None:
        """Let the picture be moved until its edge reaches the middle of the view."""
        box = self._item.boundingRect()
        self.scene().setSceneRect(box.adjusted(-box.width(), -box.height(), box.width(), box.height()))

    def _move(self, by: QPointF) -> None:
        scale = self.map.scale
        self.translate(by.x() / scale, by.y() / scale)
