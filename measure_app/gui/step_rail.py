"""The steps at the left: each with its state as a shape and in words, reachable in any order."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from measure_app.gui.panels.steps import Step, StepState
from measure_app.gui.theme import colours
from measure_app.words import said

WIDTH = 172
_MARK = 11.0
_LEFT = 40


class StepRow(QAbstractButton):
    """One step: a mark, its name, and what it still lacks."""

    def __init__(self, step: Step, number: int, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.step = step
        self._number = number
        self._state = StepState(step, False, (), "")
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        self.setText(said(step.value))

    @property
    def says(self) -> str:
        """What stands under the name."""
        if self._state.done or not self._state.lacks:
            if self._state.done and self._state.waits:
                return said("done; {waits}", waits=self._state.waits)
            return said("done") if self._state.done else ""
        return said("lacks {lacks}", lacks=self._state.lacks[0]) + (
            "\u00a0…" if len(self._state.lacks) > 1 else ""
        )

    def show_state(self, state: StepState) -> None:
        """Show how far the step is."""
        self._state = state
        more = "; ".join(state.lacks)
        self.setAccessibleName(said("Step {value}", value=said(self.step.value)))
        words = said("Done.") if state.done else said("Still lacks: {more}.", more=more)
        self.setAccessibleDescription(
            f"{said('Done.') if state.done else said('Lacks {more}.', more=more)} {state.unlocks}"
        )
        self.setToolTip(
            said("{words}\n{unlocks}\nAlt+{number}", words=words, unlocks=state.unlocks, number=self._number)
        )
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the room for name and words."""
        name, words = self._fonts()
        width = WIDTH - _LEFT - 10
        flags = int(Qt.TextFlag.TextWordWrap)
        box = QFontMetrics(words).boundingRect(0, 0, width, 400, flags, self.says)
        return QSize(WIDTH, QFontMetrics(name).height() + box.height() + 20)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return the same: a row is never cut."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint ground, mark, name and words."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scheme = colours()
        if self.isChecked():
            painter.fillRect(self.rect(), QColor(scheme.raised))
            painter.fillRect(0, 0, 4, self.height(), QColor(scheme.accent))
        elif self.underMouse():
            painter.fillRect(self.rect(), QColor(scheme.sunken))
        name, words = self._fonts()
        top = 9.0
        height = QFontMetrics(name).height()
        self._paint_mark(painter, QPointF(22, top + height / 2), scheme.good, scheme.open, scheme.raised)
        painter.setFont(name)
        painter.setPen(QColor(scheme.ink))
        painter.drawText(
            QRectF(_LEFT, top, WIDTH - _LEFT, height), Qt.AlignmentFlag.AlignLeft, said(self.step.value)
        )
        painter.setFont(words)
        painter.setPen(QColor(scheme.faint))
        box = QRectF(_LEFT, top + height + 1, self.width() - _LEFT - 10, self.height() - top - height)
        painter.drawText(box, Qt.TextFlag.TextWordWrap, self.says)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(scheme.accent), 2.0))
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))

    def _paint_mark(self, painter: QPainter, centre: QPointF, good: str, still: str, paper: str) -> None:
        """Done: a full drop with a tick; otherwise an empty drop."""
        painter.setPen(QPen(QColor(good if self._state.done else still), 1.8))
        path = _drop(centre, _MARK)
        painter.setBrush(QColor(good) if self._state.done else Qt.BrushStyle.NoBrush)
        painter.drawPath(path)
        if self._state.done:
            pen = QPen(QColor(paper), 2.0)
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            painter.setPen(pen)
            low = centre + QPointF(-0.5, 6.0)
            painter.drawLine(centre + QPointF(-4.0, 2.5), low)
            painter.drawLine(low, centre + QPointF(4.2, -1.5))

    def _fonts(self) -> tuple[QFont, QFont]:
        name = QFont(self.font())
        name.setBold(True)
        words = QFont(self.font())
        words.setPointSizeF(words.pointSizeF() * 0.86)
        return name, words


def _drop(centre: QPointF, size: float) -> QPainterPath:
    path = QPainterPath(centre + QPointF(0, -size))
    path.cubicTo(
        centre + QPointF(size * 0.35, -size * 0.45),
        centre + QPointF(size * 0.85, 0),
        centre + QPointF(size * 0.78, size * 0.4),
    )
    path.cubicTo(
        centre + QPointF(size * 0.7, size * 1.12),
        centre + QPointF(-size * 0.7, size * 1.12),
        centre + QPointF(-size * 0.78, size * 0.4),
    )
    path.cubicTo(
        centre + QPointF(-size * 0.85, 0),
        centre + QPointF(-size * 0.35, -size * 0.45),
        centre + QPointF(0, -size),
    )
    return path


class StepRail(QWidget):
    """All steps, one above the other."""

    chosen = Signal(object)
    """`Step`"""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFixedWidth(WIDTH)
        self.setAccessibleName(said("Steps"))
        self._group = QButtonGroup(self)
        self.rows = tuple(StepRow(step, number) for number, step in enumerate(Step, start=1))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 6, 0, 6)
        layout.setSpacing(1)
        for row in self.rows:
            self._group.addButton(row)
            layout.addWidget(row)
            row.clicked.connect(lambda _=False, step=row.step: self.chosen.emit(step))
        layout.addStretch(1)

    def show_states(self, states: Sequence[StepState]) -> None:
        """Show how far the steps are."""
        for row, state in zip(self.rows, states, strict=True):
            row.show_state(state)

    def check(self, step: Step) -> None:
        """Mark the step that is open; the keyboard, where a row has it, goes along."""
        held = any(row.hasFocus() for row in self.rows)
        for row in self.rows:
            if row.step is step:
                row.setChecked(True)
                if held:
                    row.setFocus(Qt.FocusReason.OtherFocusReason)
