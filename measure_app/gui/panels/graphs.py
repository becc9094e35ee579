"""The graphs that people expect: points, fitted line with its band, equation, and the residuals below."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QAction,
    QColor,
    QFocusEvent,
    QGuiApplication,
    QImage,
    QKeyEvent,
    QKeySequence,
    QPainter,
    QPen,
)
from PySide6.QtWidgets import QWidget

from analysis import Law, LawLine, LineResult
from measure_app.gui.panels.graph_words import (
    axis_html,
    band_u,
    equation_words,
    equation_words_short,
    fit_words,
    point_words,
    title_of,
    whole_of,
)
from measure_app.gui.panels.wording import unit_words
from measure_app.gui.signs import well_signed
from measure_app.gui.theme import Colours, colours
from measure_app.words import numeral, said

if TYPE_CHECKING:
    from measure_app.outcome import Outcome

_NEAR_PX = 14.0
_GRID = 60
_FEW = 60
"""Up to so many points, error bars are drawn; beyond, they would hide the points."""


def line_of(outcome: Outcome | None, law: Law, *, free: bool, both: bool) -> LawLine | None:
    """Return one fitted line of an outcome: with errors in both variables if wanted and had, else plain."""
    if outcome is None:
        return None
    fitting = [
        each for each in outcome.findings.lines if each.law is law and each.line.free_intercept == free
    ]
    return next((each for each in fitting if each.errors_in_both == both), fitting[0] if fitting else None)


class _Axis(pg.AxisItem):  # type: ignore[misc]  # the library has no types
    """An axis whose numbers have the reader's decimal mark."""

    def tickStrings(self, values: Any, scale: float, spacing: float) -> list[str]:  # noqa: N802
        """Return the words of the ticks; what rounding makes of a zero is one."""
        clean = [0.0 if abs(each) < 1e-6 * spacing else each for each in values]
        return [numeral(well_signed(words)) for words in super().tickStrings(clean, scale, spacing)]


def _axes() -> dict[str, _Axis]:
    return {side: _Axis(side) for side in ("left", "bottom")}


class LawGraph(pg.GraphicsLayoutWidget):  # type: ignore[misc]  # the library has no types
    """One law as a graph. Arrow keys walk along the points, Enter goes to a point's frame."""

    point_chosen = Signal(int)
    """The frame of a point that was pressed."""
    point_hovered = Signal(int)
    """The frame of the point under the pointer, -1 for none."""
    said = Signal(str)
    """The chosen point in words."""

    def __init__(self, law: Law, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.law = law
        self._fitted: LawLine | None = None
        self._whole: LineResult | None = None
        self._frames = np.zeros(0, dtype=np.int64)
        self._at = -1
        self._hovered = -1
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(said("Graph: {title_of}", title_of=title_of(law)))
        self.setMinimumHeight(300)
        self._make_plots()
        self._dress()
        copy = QAction(said("Copy the graph as a picture"), self)
        copy.triggered.connect(self.copy_picture)
        self.addAction(copy)
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.ActionsContextMenu)
        self.scene().sigMouseMoved.connect(self._moved)
        self.scene().sigMouseClicked.connect(self._clicked)

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the size for a panel; the library's own would leave a gap below."""
        return QSize(320, 300)

    def _make_plots(self) -> None:
        self.ci.layout.setContentsMargins(2, 4, 8, 2)
        self.ci.layout.setVerticalSpacing(2)
        self._main = self.addPlot(row=0, col=0, axisItems=_axes())
        self._low = self.addPlot(row=1, col=0, axisItems=_axes())
        self._low.setXLink(self._main)
        self.ci.layout.setRowStretchFactor(0, 5)
        self.ci.layout.setRowStretchFactor(1, 2)
        for plot in (self._main, self._low):
            plot.setMenuEnabled(False)
            plot.hideButtons()
            plot.getAxis("left").setWidth(
                self.fontMetrics().horizontalAdvance("\u22120.0005") + int(1.5 * self.fontMetrics().height())
            )
            for side in ("left", "bottom"):
                plot.getAxis(side).enableAutoSIPrefix(False)
        self._main.getAxis("bottom").setStyle(showValues=False)
        self._band = pg.FillBetweenItem(pg.PlotDataItem(), pg.PlotDataItem())
        self._line = pg.PlotDataItem()
        self._bars = pg.ErrorBarItem(x=np.zeros(0), y=np.zeros(0))
        self._points = pg.ScatterPlotItem(pxMode=True)
        self._cursor = pg.ScatterPlotItem(pxMode=True)
        for item in (self._band, self._bars, self._points, self._line, self._cursor):
            self._main.addItem(item)
        self._zero = pg.InfiniteLine(0.0, angle=0)
        self._residuals = pg.ScatterPlotItem(pxMode=True)
        self._low_cursor = pg.ScatterPlotItem(pxMode=True)
        for item in (self._zero, self._residuals, self._low_cursor):
            self._low.addItem(item)

    @property
    def fitted(self) -> LawLine | None:
        """The line shown."""
        return self._fitted

    @property
    def equation(self) -> str:
        """The line in words, as shown above the graph."""
        return equation_words(self._fitted, self._whole) if self._fitted is not None else ""

    @property
    def doubts(self) -> tuple[str, ...]:
        """What the fit does not answer well, in words."""
        return fit_words(self._fitted, self._whole) if self._fitted is not None else ()

    def show_line(self, fitted: LawLine | None, frames: Any) -> None:
        """Show a fitted law.

        Parameters
        ----------
        fitted : LawLine or None
            None: an empty graph.
        frames : (n,) int
            Frame of every row of the series.
        """
        self._fitted = fitted
        self._whole = whole_of(fitted, len(frames)) if fitted is not None else None
        self._at = -1
        self._frames = (
            np.asarray(frames, dtype=np.int64)[fitted.points.rows] if fitted is not None else np.zeros(0, int)
        )
        self._draw()

    def _draw(self) -> None:
        fitted = self._fitted
        scheme = colours()
        nothing = np.zeros(0)
        self._cursor.setData(nothing, nothing)
        self._low_cursor.setData(nothing, nothing)
        if fitted is None:
            for item in (self._points, self._residuals, self._line):
                item.setData(nothing, nothing)
            no_bars = dict.fromkeys(("x", "y", "top", "bottom", "left", "right"), nothing)
            self._bars.setData(**no_bars)  # what is not named again would stay, and be as long as before
            self._band.setCurves(pg.PlotDataItem(nothing, nothing), pg.PlotDataItem(nothing, nothing))
            self.setAccessibleDescription(said("Empty: there is no line yet."))
            return
        points, line = fitted.points, fitted.line
        few = len(points.x) <= _FEW
        look = {
            "symbol": "o",
            "size": 8 if few else 5,
            "pen": pg.mkPen(scheme.raised, width=0.6),
            "brush": pg.mkBrush(scheme.found),
        }
        self._points.setData(points.x, points.y, **look)
        u_x, u_y = (points.x_u, points.y_u) if few else (nothing, nothing)
        bars_at = (points.x, points.y) if few else (nothing, nothing)
        self._bars.setData(
            x=bars_at[0], y=bars_at[1], top=u_y, bottom=u_y, left=u_x, right=u_x, pen=pg.mkPen(scheme.faint)
        )
        low, high = float(points.x.min()), float(points.x.max())
        reach = 0.03 * (high - low)
        start = min(0.0, low) if fitted.law.from_origin and not line.free_intercept else low - reach
        grid = np.linspace(start, high + reach, _GRID)
        middle = line.intercept + line.slope * grid
        self._line.setData(grid, middle)
        u = band_u(fitted, self._whole, grid)
        wide = np.where(np.isfinite(u), 2.0 * u, 0.0)
        self._band.setCurves(pg.PlotDataItem(grid, middle - wide), pg.PlotDataItem(grid, middle + wide))
        residuals = points.y - line.intercept - line.slope * points.x
        self._residuals.setData(points.x, residuals, **(look | {"symbol": "d" if few else "o"}))
        self._bars.setVisible(few)
        ends = np.concatenate([points.y, middle[[0, -1]]])
        self._main.setXRange(float(grid[0]), float(grid[-1]), padding=0.02)
        self._main.setYRange(float(ends.min()), float(ends.max()), padding=0.05)
        span = 1.15 * float(np.max(np.abs(residuals))) or 1.0
        self._low.setYRange(-span, span, padding=0.02)
        self.setAccessibleDescription(
            said("{count} points. {equation}", count=len(points.x), equation=self.equation)
        )

    def copy_picture(self) -> None:
        """Copy the graph as a picture, with its equation, at twice the screen's size."""
        QGuiApplication.clipboard().setImage(self.picture())

    def picture(self) -> QImage:
        """Return the graph as a picture with its title and equation above."""
        scheme = colours()
        head = int(4.4 * self.fontMetrics().height())
        image = QImage(2 * self.width(), 2 * (self.height() + head), QImage.Format.Format_RGB32)
        image.setDevicePixelRatio(2.0)
        image.fill(QColor(scheme.raised))
        painter = QPainter(image)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self.font())
        painter.setPen(QColor(scheme.ink))
        line = self.fontMetrics().height()
        painter.drawText(QPointF(10, 1.2 * line), title_of(self.law))
        if self._fitted is not None:
            below = QRectF(10, 1.7 * line, self.width() - 20, 2.6 * line)
            painter.drawText(
                below, int(Qt.TextFlag.TextWordWrap), equation_words_short(self._fitted, self._whole)
            )
        # The scene, not the widget: lines and letters are drawn anew at the picture's own size.
        self.render(painter, QRectF(0, head, self.width(), self.height()), self.viewport().rect())
        painter.end()
        return image

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Walk along the points with the arrows; Enter goes to the frame."""
        steps = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}
        if event.key() in steps and self._fitted is not None:
            order = np.argsort(self._fitted.points.x, kind="stable")
            place = (
                int(np.flatnonzero(order == self._at)[0]) if self._at >= 0 else -steps[Qt.Key(event.key())]
            )
            place = max(0, min(len(order) - 1, place + steps[Qt.Key(event.key())]))
            self._choose(int(order[place]))
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._at >= 0:
            self.point_chosen.emit(int(self._frames[self._at]))
        elif event.matches(QKeySequence.StandardKey.Copy):
            self.copy_picture()
        else:
            super().keyPressEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Take the crop away with the focus."""
        super().focusOutEvent(event)
        self._hover(-1)

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802
        """Take the crop away with the pointer."""
        super().leaveEvent(event)
        self._hover(-1)

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Take the colours of a new palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and hasattr(self, "_low"):
            self._dress()
            self._draw()

    def _choose(self, at: int) -> None:
        fitted = self._fitted
        if fitted is None:
            return
        self._at = at
        points, line = fitted.points, fitted.line
        self._cursor.setData([points.x[at]], [points.y[at]])
        self._low_cursor.setData([points.x[at]], [points.y[at] - line.intercept - line.slope * points.x[at]])
        self.said.emit(point_words(fitted, at, int(self._frames[at])))

    def _nearest(self, scene: QPointF) -> int:
        fitted = self._fitted
        if fitted is None:
            return -1
        line, points = fitted.line, fitted.points
        for plot, y in (
            (self._main, points.y),
            (self._low, points.y - line.intercept - line.slope * points.x),
        ):
            box = plot.vb
            if not box.sceneBoundingRect().contains(scene):
                continue
            at = box.mapSceneToView(scene)
            per_x, per_y = box.viewPixelSize()
            gap = np.hypot((points.x - at.x()) / per_x, (y - at.y()) / per_y)
            best = int(np.argmin(gap))
            return best if gap[best] <= _NEAR_PX else -1
        return -1

    def _moved(self, scene: QPointF) -> None:
        at = self._nearest(scene)
        if at >= 0 and at != self._at:
            self._choose(at)
        self._hover(int(self._frames[at]) if at >= 0 else -1)

    def _hover(self, frame: int) -> None:
        if frame != self._hovered:
            self._hovered = frame
            self.point_hovered.emit(frame)

    def _clicked(self, event: Any) -> None:
        at = self._nearest(event.scenePos())
        if at >= 0 and event.button() == Qt.MouseButton.LeftButton:
            self._choose(at)
            self.point_chosen.emit(int(self._frames[at]))

    def _dress(self) -> None:
        scheme = colours()
        self.setBackground(scheme.raised)
        for plot in (self._main, self._low):
            for side in ("left", "bottom"):
                axis = plot.getAxis(side)
                axis.setPen(scheme.edge)
                axis.setTextPen(scheme.ink)
            plot.showGrid(x=True, y=True, alpha=0.15)
        style = {"color": scheme.ink}
        self._main.setLabel("left", axis_html(said(self.law.y_name), self.law.y_unit), **style)
        self._low.setLabel(
            "left",
            said("off / {unit_words}", unit_words=unit_words(self.law.y_unit)),
            **style,
        )
        self._low.setLabel("bottom", axis_html(said(self.law.x_name), self.law.x_unit), **style)
        self._line.setPen(pg.mkPen(scheme.law, width=2, style=Qt.PenStyle.DashLine))
        band = QColor(scheme.law)
        band.setAlpha(55)
        self._band.setBrush(band)
        self._zero.setPen(pg.mkPen(scheme.law, width=1.5, style=Qt.PenStyle.DashLine))
        self._dress_cursor(scheme)

    def _dress_cursor(self, scheme: Colours) -> None:
        ring = QPen(QColor(scheme.hand), 2.5)
        ring.setCosmetic(True)
        for cursor in (self._cursor, self._low_cursor):
            cursor.setSymbol("o")
            cursor.setSize(14)
            cursor.setPen(ring)
            cursor.setBrush(None)
