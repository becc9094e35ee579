"""Whatever has the keyboard shows it, in every panel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from measure_app.gui.panels.datum_panel import DatumPanel
from measure_app.gui.panels.film_panel import FilmPanel
from measure_app.gui.panels.findings_panel import FindingsPanel
from measure_app.gui.panels.handin_panel import HandInPanel
from measure_app.gui.panels.pieces import choice
from measure_app.gui.panels.readings_panel import ReadingsPanel
from measure_app.gui.panels.rules_panel import RulesPanel
from measure_app.gui.theme import DARK, LIGHT, dress

Show = Callable[..., Any]


@pytest.mark.parametrize(
    ("kind", "many"),
    [
        (FilmPanel, 8),
        (RulesPanel, 15),
        (DatumPanel, 25),
        (ReadingsPanel, 12),
        (FindingsPanel, 10),
        (HandInPanel, 8),
    ],
)
def test_whatever_has_the_keyboard_shows_it(
    show: Show, qtbot: QtBot, qapp: QApplication, kind: type, many: int
) -> None:
    dressed = qapp.styleSheet()
    dress(qapp, dark=False)
    try:
        panel, *_ = show(kind)
        with qtbot.waitActive(panel.host):
            panel.host.activateWindow()
        unseen, looked = [], 0
        for each in panel.findChildren(QWidget):
            reached = each.focusPolicy() & Qt.FocusPolicy.TabFocus == Qt.FocusPolicy.TabFocus
            if not (reached and each.isVisible() and each.isEnabled()):
                continue
            each.setFocus(Qt.FocusReason.TabFocusReason)
            if not each.hasFocus() or each.focusProxy() is not None:
                continue  # a part that hands the keyboard on
            looked += 1
            panel.host.setAttribute(Qt.WidgetAttribute.WA_KeyboardFocusChange)  # as a press of Tab does
            held = each.grab().toImage()
            each.clearFocus()
            if held == each.grab().toImage():
                unseen.append(f"{type(each).__name__} {each.accessibleName()}")
        assert looked >= many
        assert unseen == []
    finally:
        qapp.setStyleSheet(dressed)


@pytest.mark.parametrize("dark", [False, True])
def test_a_choice_in_focus_has_an_edge_as_strong_as_a_fields(
    qtbot: QtBot, qapp: QApplication, dark: bool
) -> None:
    dressed, palette = qapp.styleSheet(), qapp.palette()
    dress(qapp, dark=dark)
    try:
        host = QWidget()
        box = choice("What it measures", [("Heads", 1), ("Throws", 2)], host)
        box.resize(160, 30)
        host.resize(180, 40)
        qtbot.addWidget(host)
        host.show()
        with qtbot.waitActive(host):
            host.activateWindow()
        accent = QColor((DARK if dark else LIGHT).accent)

        def edge() -> int:
            """Pixels of the accent's colour along the left edge, two columns of 22."""
            picture = box.grab().toImage()
            return sum(picture.pixelColor(x, y) == accent for x in (0, 1) for y in range(4, 26))

        box.clearFocus()
        assert edge() == 0
        box.setFocus()
        assert edge() == 44
    finally:
        qapp.setPalette(palette)
        qapp.setStyleSheet(dressed)
