"""Whatever has the keyboard shows it, in every panel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from measure_app.gui.panels.datum_panel import DatumPanel
from measure_app.gui.panels.film_panel import FilmPanel
from measure_app.gui.panels.findings_panel import FindingsPanel
from measure_app.gui.panels.handin_panel import HandInPanel
from measure_app.gui.panels.readings_panel import ReadingsPanel
from measure_app.gui.panels.rules_panel import RulesPanel
from measure_app.gui.theme import dress

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
