"""Buttons are pressed by Enter as by Space."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QLineEdit, QVBoxLayout
from pytestqt.qtbot import QtBot

from measure_app.gui.main_window import MainWindow
from measure_app.gui.press_button import PressButton
from tests.gui.conftest import Answers


@pytest.mark.parametrize("key", [Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space])
def test_the_start_page_is_used_by_the_keyboard(
    window: MainWindow, qtbot: QtBot, answers: Answers, key: Qt.Key
) -> None:
    window.start.run.setFocus()
    qtbot.keyClick(window.start.run, key)
    assert answers.asked == ["run"]


@pytest.mark.qt_log_ignore("propagateSizeHints")  # told by a screenless dialog
def test_enter_in_a_dialogs_field_presses_no_button(qtbot: QtBot) -> None:
    dialog = QDialog()
    qtbot.addWidget(dialog)
    field, button = QLineEdit(), PressButton("Do it")
    column = QVBoxLayout(dialog)
    column.addWidget(field)
    column.addWidget(button)
    pressed: list[str] = []
    button.clicked.connect(lambda: pressed.append(button.text()))
    dialog.show()
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert pressed == []
    qtbot.keyClick(button, Qt.Key.Key_Return)
    assert pressed == ["Do it"]
