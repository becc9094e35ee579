"""Where a graduation was marked: a small field for the value that is engraved there."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QLineEdit, QWidget

from measure_app.gui.theme import colours
from measure_app.words import numeral, said


class ValueEntry(QFrame):
    """Asks for an engraved value in millimetres; Enter takes it, Escape drops the graduation."""

    given = Signal(float)
    """m"""
    dropped = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.setAutoFillBackground(True)
        layout = QGridLayout(self)
        layout.setContentsMargins(8, 6, 8, 6)
        label = QLabel(said("Engraved value"), self)
        self._field = QLineEdit(self)
        self._field.setFixedWidth(self._field.fontMetrics().horizontalAdvance(said("such as 1200")) + 18)
        self._field.setAccessibleName(said("Engraved value in millimetres"))
        self._field.setPlaceholderText(said("such as 120"))
        label.setBuddy(self._field)
        layout.addWidget(label, 0, 0)
        layout.addWidget(self._field, 0, 1)
        layout.addWidget(QLabel("mm", self), 0, 2)
        self._error = QLabel(self)
        self._error.setWordWrap(True)
        layout.addWidget(self._error, 1, 0, 1, 3)
        self._refuse("")
        self._beside = QPointF()
        self._field.returnPressed.connect(self._on_enter)
        self.hide()

    def ask(self, beside: QPointF, offered_m: float | None) -> None:
        """Stand beside a point of the parent and offer a value; the offer is selected, typing replaces it."""
        self._field.setText("" if offered_m is None else numeral(f"{offered_m * 1000:g}"))
        self._refuse("")
        self._beside = beside
        self._place()
        self.show()
        self.raise_()
        self._field.setFocus(Qt.FocusReason.OtherFocusReason)
        self._field.selectAll()

    def _place(self) -> None:
        """Take the size that the words need, beside the mark and within the frame."""
        self.adjustSize()
        room, beside = _room_of(self), self._beside
        x = (
            beside.x() + 22
            if beside.x() + 22 + self.width() < room.right()
            else beside.x() - 22 - self.width()
        )
        y = min(max(beside.y() + 16, 0), room.bottom() - self.height())
        self.move(round(max(0.0, x)), round(y))

    def _refuse(self, words: str) -> None:
        """Say why what was typed is not taken; "" takes it away."""
        self._error.setText(f"\u2716 {words}" if words else "")
        self._error.setVisible(bool(words))
        self._error.setStyleSheet(f"color: {colours().warning};" if words else "")
        self._field.setStyleSheet(f"border: 2px dashed {colours().warning};" if words else "")
        self._field.setAccessibleDescription(words)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Drop the graduation on Escape; Enter, which the field has heard, must not mark once more."""
        if event.key() == Qt.Key.Key_Escape:
            self.dropped.emit()
        elif event.key() not in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            super().keyPressEvent(event)

    def _on_enter(self) -> None:
        value = number_of(self._field.text())
        if value is None:
            self._field.selectAll()
            self._refuse(said("A number in millimetres is wanted, such as 120 or 7.5."))
            self._place()
            return
        self.given.emit(value / 1000)


def number_of(text: str) -> float | None:
    """Return the number that a person typed, with a decimal point or comma; None where it is none."""
    plain = text.strip().replace("−", "-").replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        return None
    return value if abs(value) < 1e9 else None


def _room_of(widget: QWidget) -> QRect:
    parent = widget.parentWidget()
    return parent.rect() if parent is not None else QRect()
