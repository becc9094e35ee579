"""A push button that the keyboard presses in either way."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QPushButton, QWidget


class PressButton(QPushButton):
    """A push button that Enter presses as Space does, if it has the keyboard.

    A plain one heeds Enter only where it is a dialog's automatic default, and then also from other fields.
    """

    def __init__(self, text: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)  # given a text, the binding would look for an icon, and load all about icons
        self.setText(text)
        self.setAutoDefault(False)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Press on Enter."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
            return
        super().keyPressEvent(event)
