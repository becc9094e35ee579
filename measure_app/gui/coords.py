"""Where a pixel of the film lies on the screen, and back. The half pixel lives here and nowhere else.

The run format puts (0, 0) at the *centre* of the top-left pixel; Qt draws that pixel over the square from
(0, 0) to (1, 1), so its centre is at (0.5, 0.5). Strips have the same difference along both axes: frames to
the right, pixels of the line along the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QTransform

from calibration import Pixel

HALF = 0.5


def scene_at(pixel: Pixel) -> QPointF:
    """Return the scene's point for a position in the displayed frame."""
    return QPointF(pixel.x + HALF, pixel.y + HALF)


def pixel_at(scene: QPointF) -> Pixel:
    """Return the position in the displayed frame for a point of the scene; the inverse of `scene_at`."""
    return Pixel(scene.x() - HALF, scene.y() - HALF)


@dataclass(frozen=True, slots=True, eq=False)
class ViewMap:
    """The way between the film's pixels and a view's own points, at one zoom and place."""

    transform: QTransform
    """From scene to viewport, as `QGraphicsView.viewportTransform` gives it."""

    @property
    def scale(self) -> float:
        """View points per pixel of the film."""
        return math.hypot(self.transform.m11(), self.transform.m12())

    def view_at(self, pixel: Pixel) -> QPointF:
        """Return the view's point for a position in the frame."""
        return self.transform.map(scene_at(pixel))

    def pixel_at(self, view: QPointF) -> Pixel:
        """Return the position in the frame under a point of the view, to a fraction of a pixel.

        `QGraphicsView.mapToScene` takes whole points only; at a small scale that is off by over a pixel.
        """
        inverse, _ = self.transform.inverted()
        return pixel_at(inverse.map(view))


@dataclass(frozen=True, slots=True)
class StripMap:
    """The way between (frame, place along the line) and the points of a strip's view."""

    area: QRectF
    """Where the strip is drawn."""
    first: float
    """Left end of the time axis: the frame whose column begins there."""
    last: float
    """Right end: one past the frame whose column ends there."""
    length: float
    """Pixels along the line, as many as the strip has samples."""
    upward: bool
    """Whether places grow upward; else the line's start is at the top."""

    @property
    def per_frame(self) -> float:
        """View points per frame."""
        return self.area.width() / max(self.last - self.first, 1e-9)

    def x_at(self, frame: float) -> float:
        """Return the view's x for the middle of a frame's column."""
        return self.area.left() + (frame + HALF - self.first) * self.per_frame

    def frame_at(self, x: float) -> int:
        """Return the frame whose column holds the view's x; not held to the film's ends."""
        return math.floor(self.first + (x - self.area.left()) / self.per_frame)

    def y_at(self, along: float) -> float:
        """Return the view's y for a place along the line, px from its start."""
        share = (along + HALF) / max(self.length, 1e-9)
        return (
            self.area.bottom() - share * self.area.height()
            if self.upward
            else (self.area.top() + share * self.area.height())
        )

    def along_at(self, y: float) -> float:
        """Return the place along the line, px from its start, for the view's y; the inverse of `y_at`."""
        share = (y - self.area.top()) / max(self.area.height(), 1e-9)
        return (1.0 - share if self.upward else share) * self.length - HALF
