"""Small drawings that explain what words alone would not."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from measure_app.gui.theme import Colours, colours
from measure_app.words import marked, numeral, said

_DEEPEST = 0.09
"""Depth beyond which the drawing does not follow, m; it is not to scale."""


class DepthDrawing(QWidget):
    """From above: camera, the jet's plane, and something behind or before it, with the rays that scale it."""

    def __init__(self, thing: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._thing = thing
        self._behind_m = 0.0
        self._distance_m: float | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._describe()

    def set_depth(self, behind_m: float, distance_m: float | None) -> None:
        """Draw the thing so far behind the jet's plane (before it where negative)."""
        if (behind_m, distance_m) != (self._behind_m, self._distance_m):
            self._behind_m, self._distance_m = behind_m, distance_m
            self._describe()
            self.update()

    @property
    def words(self) -> str:
        """What the drawing says."""
        depth = numeral(f"{1000 * abs(self._behind_m):.3g} mm")
        if self._behind_m == 0.0:
            return said("The {thing} is in the jet's plane: no correction is needed.", thing=self._thing)
        behind = marked("The {thing} stands {depth} behind the jet's plane and looks smaller than it is")
        before = marked("The {thing} stands {depth} before the jet's plane and looks larger than it is")
        told = said(behind if self._behind_m > 0 else before, thing=self._thing, depth=depth)
        if self._distance_m:
            return said(
                "{told}: {distance_m:.2g} % at this camera distance, corrected.",
                told=told,
                distance_m=100 * abs(self._behind_m) / self._distance_m,
            )
        return said(
            "{told}. Give the camera's distance (step Datum), or this cannot be corrected.", told=told
        )

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the size at which the drawing reads well."""
        return QSize(280, 8 * self.fontMetrics().height())

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return the least size."""
        return QSize(200, self.sizeHint().height())

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Draw the bench from above, the camera at the left."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scheme = colours()
        line = self.fontMetrics().height()
        area = QRectF(4, line + 4, self.width() - 8, self.height() - 2 * line - 8)
        lens = QPointF(area.left() + 26, area.center().y())
        plane = area.left() + 0.66 * area.width()
        shift = max(-1.0, min(1.0, self._behind_m / _DEEPEST)) * 0.24 * area.width()
        thing = plane + shift
        half = 0.26 * area.height()
        self._rays(painter, scheme, lens, plane, thing, half)
        _camera(painter, scheme, lens)
        painter.setPen(QPen(QColor(scheme.law), 3))
        painter.drawLine(QPointF(plane, area.top()), QPointF(plane, area.bottom()))
        self._label(painter, plane, 0, said("jet's plane"), scheme.law)
        painter.setPen(QPen(QColor(scheme.hand), 5))
        painter.drawLine(QPointF(thing, lens.y() - half), QPointF(thing, lens.y() + half))
        painter.setPen(QPen(QColor(scheme.raised), 1))
        for i in range(-3, 4):
            y = lens.y() + i * half / 3.5
            painter.drawLine(QPointF(thing - 2.5, y), QPointF(thing + 2.5, y))
        self._label(painter, thing, self.height() - line - 2, self._thing, scheme.hand)
        self._label(painter, lens.x() + 6, self.height() - line - 2, said("camera"), scheme.ink)
        painter.setPen(QColor(scheme.faint))
        painter.drawText(QPointF(4, self.fontMetrics().ascent()), said("from above"))

    def _rays(
        self, painter: QPainter, scheme: Colours, lens: QPointF, plane: float, thing: float, half: float
    ) -> None:
        painter.setPen(QPen(QColor(scheme.faint), 1.2, Qt.PenStyle.DashLine))
        for sign in (-1, 1):
            tip = QPointF(thing, lens.y() + sign * half)
            slope = (tip.y() - lens.y()) / (tip.x() - lens.x())
            reach = max(thing, plane)
            painter.drawLine(lens, QPointF(reach, lens.y() + slope * (reach - lens.x())))
            seen = QPointF(plane, lens.y() + slope * (plane - lens.x()))
            painter.setBrush(QColor(scheme.law))
            painter.drawEllipse(seen, 3.5, 3.5)
            painter.setBrush(Qt.BrushStyle.NoBrush)

    def _label(self, painter: QPainter, x: float, y: float, text: str, colour: str) -> None:
        width = self.fontMetrics().horizontalAdvance(text) + 2
        left = max(2.0, min(x - width / 2, self.width() - width - 2.0))
        painter.setPen(QColor(colour))
        painter.drawText(
            QRectF(left, y, width, self.fontMetrics().height()), int(Qt.AlignmentFlag.AlignCenter), text
        )

    def _describe(self) -> None:
        self.setAccessibleName(said("Drawing: where the {thing} stands", thing=self._thing))
        self.setAccessibleDescription(self.words)
        self.setToolTip(self.words)


def _camera(painter: QPainter, scheme: Colours, lens: QPointF) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(scheme.ink))
    painter.drawRoundedRect(QRectF(lens.x() - 24, lens.y() - 9, 18, 18), 3, 3)
    painter.drawPolygon(
        QPolygonF(
            [
                QPointF(lens.x() - 7, lens.y() - 4),
                QPointF(lens.x(), lens.y() - 7),
                QPointF(lens.x(), lens.y() + 7),
                QPointF(lens.x() - 7, lens.y() + 4),
            ]
        )
    )
    painter.setBrush(Qt.BrushStyle.NoBrush)
