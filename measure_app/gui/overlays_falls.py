"""Falls drawn over the frame: a pointed drop where the frame has a mark, a dot where another frame has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from PySide6.QtCore import QPointF
from PySide6.QtGui import QPainterPath

from calibration import Pixel
from measure_app.gui.coords import ViewMap
from measure_app.run import FallMark, FallPart

_SIZE = 6.5


class Strokes(Protocol):
    """Strokes with a casing, as the overlay's pen draws them."""

    @property
    def view(self) -> ViewMap:
        """The way between film and view."""

    def path(self, path: QPainterPath, colour: str, width: float = ..., dashed: bool = ...) -> None:
        """Draw a path."""

    def stroke(self, points: Sequence[QPointF], colour: str, width: float = ..., dashed: bool = ...) -> None:
        """Draw a line through points."""

    def dot(self, at: Pixel, colour: str, radius: float = ...) -> None:
        """Draw a filled point."""

    def words(self, text: str, at: QPointF, colour: str) -> None:
        """Write words on a dark ground."""


def draw_falls(pen: Strokes, falls: Iterable[FallPart], first: FallMark | None, frame: int) -> None:
    """Draw all falls, the marks of one frame so that they stand out.

    Parameters
    ----------
    pen : Strokes
    falls : iterable of FallPart
    first : FallMark or None
        A mark that waits for a second to be a fall.
    frame : int
        The frame shown.
    """
    for part in falls:
        points = [pen.view.view_at(mark.px) for mark in part.marks]
        pen.stroke(points, "fall", 1.0, dashed=True)
        for mark in part.marks:
            _mark(pen, mark, frame)
        pen.words(part.name, points[-1] + QPointF(12, 0), "fall")
    if first is not None:
        _mark(pen, first, frame)


def _mark(pen: Strokes, mark: FallMark, frame: int) -> None:
    if mark.frame != frame:
        pen.dot(mark.px, "fall", 2.4)
        return
    centre = pen.view.view_at(mark.px)
    path = QPainterPath(centre + QPointF(0, -2.1 * _SIZE))
    path.cubicTo(
        centre + QPointF(0.35 * _SIZE, -1.1 * _SIZE), centre + QPointF(_SIZE, -0.6 * _SIZE),
        centre + QPointF(_SIZE, 0),
    )  # fmt: skip
    path.arcTo(centre.x() - _SIZE, centre.y() - _SIZE, 2 * _SIZE, 2 * _SIZE, 0.0, -180.0)
    path.cubicTo(
        centre + QPointF(-_SIZE, -0.6 * _SIZE), centre + QPointF(-0.35 * _SIZE, -1.1 * _SIZE),
        centre + QPointF(0, -2.1 * _SIZE),
    )  # fmt: skip
    pen.path(path, "fall")
    pen.dot(mark.px, "fall", 1.2)
