"""Sentences: what they show, and where they break."""

from __future__ import annotations

from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from measure_app.gui.panels.pieces import Sentence


def test_a_value_its_uncertainty_and_its_unit_stay_on_one_line(qtbot: QtBot) -> None:
    words = "Cv is 0.972 ± 0.013, the drop (260.1 ± 0.8) mm, at 20 °C; 5 months pass, 3 sources count."
    sentence = Sentence(words)
    qtbot.addWidget(sentence)
    assert sentence.text() == words
    shown = QLabel.text(sentence)
    for kept in ("0.972 ± 0.013", "(260.1 ± 0.8) mm", "20 °C"):
        assert kept.replace(" ", "\u00a0") in shown
    assert "5 months" in shown
    assert "3 sources" in shown
