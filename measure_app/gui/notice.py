"""A line above the frame for what went wrong: one sentence, what to do, and a way to do it."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QApplication, QFrame, QHBoxLayout, QLabel, QWidget

from measure_app.gui.press_button import PressButton
from measure_app.words import said


class Notice(QFrame):
    """Shows one sentence until it is put away."""

    left = Signal()
    """It went while it had the keyboard."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("notice")
        row = QHBoxLayout(self)
        row.setContentsMargins(10, 5, 6, 5)
        self._sign = QLabel("▲")
        self._sign.setAccessibleName(said("Attention"))
        self._words = QLabel()
        self._words.setWordWrap(True)
        self._words.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self._remedy = PressButton()
        self._away = PressButton(said("Put away"))
        self._away.clicked.connect(self.clear)
        self._does: Callable[[], object] | None = None
        self._remedy.clicked.connect(self._on_remedy)
        row.addWidget(self._sign)
        row.addWidget(self._words, 1)
        row.addWidget(self._remedy)
        row.addWidget(self._away)
        self.hide()

    @property
    def text(self) -> str:
        """What stands there; "" while it is away."""
        return self._words.text() if not self.isHidden() else ""

    def say(self, words: str, remedy: str = "", does: Callable[[], object] | None = None) -> None:
        """Say something, and offer a remedy."""
        self._words.setText(words)
        self._words.setAccessibleName(words)
        self._remedy.setText(remedy)
        self._remedy.setVisible(bool(remedy))
        self._does = does
        self.show()

    def clear(self) -> None:
        """Put it away; who pressed here by key is not left at the next best button."""
        self._does = None
        focused = QApplication.focusWidget()
        had = focused is not None and self.isAncestorOf(focused)
        self.hide()
        if had:
            self.left.emit()

    def _on_remedy(self) -> None:
        if self._does is not None:
            self._does()
