"""The panels' body: it ends where its content ends, and what is aimed at stays under the pointer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QCursor
from PySide6.QtWidgets import QApplication, QPushButton, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot
from stand import hold

from measure_app.gui.panels.datum_panel import DatumPanel
from measure_app.gui.panels.film_panel import FilmPanel
from measure_app.gui.panels.findings_panel import FindingsPanel
from measure_app.gui.panels.handin_panel import HandInPanel
from measure_app.gui.panels.pieces import Sentence, choice
from measure_app.gui.panels.readings_panel import ReadingsPanel
from measure_app.gui.panels.rules_panel import RulesPanel
from measure_app.gui.panels.steady_scroll import SteadyScroll

LONG = "The frame cannot give it, since the line lies far past the last graduation. " * 3


@pytest.mark.parametrize(
    "kind", [FilmPanel, RulesPanel, DatumPanel, ReadingsPanel, FindingsPanel, HandInPanel]
)
@pytest.mark.parametrize("width", [340, 600])
def test_no_panel_scrolls_past_its_end(
    show: Callable[..., Any], qtbot: QtBot, kind: type, width: int
) -> None:
    panel, *_ = show(kind)
    panel.resize(width, 300)
    qtbot.wait(30)
    area = panel.findChild(SteadyScroll)
    last = max(
        each.mapTo(area.body, QPoint(0, each.height())).y()
        for each in area.body.findChildren(QWidget)
        if each.isVisible()
    )
    assert area.body.height() > area.viewport().height()
    assert area.body.height() - last <= 24  # the margin below


class Stand:
    """A body with a sentence above a row of buttons, which overflows."""

    def __init__(self, qtbot: QtBot) -> None:
        self.area = SteadyScroll()
        column = QVBoxLayout(self.area.body)
        self.sentence = Sentence("")
        self.buttons = [QPushButton(str(i)) for i in range(20)]
        for each in (*self.buttons[:3], self.sentence, *self.buttons[3:]):
            column.addWidget(each)
        QCursor.setPos(40, 100)
        hold(qtbot, self.area, 300, 240)
        qtbot.waitExposed(self.area)
        self.settle()
        assert self.area.verticalScrollBar().value() == 0  # it opens at its beginning
        self.area.verticalScrollBar().setValue(40)
        self.settle()

    def settle(self) -> None:
        for _ in range(5):
            QApplication.processEvents()

    def height_of(self, button: QPushButton) -> int:
        return button.mapToGlobal(QPoint(0, 0)).y()


def test_what_the_pointer_is_at_stays_there_when_a_sentence_grows_above_it(qtbot: QtBot) -> None:
    stand = Stand(qtbot)
    aimed = stand.buttons[4]
    QCursor.setPos(aimed.mapToGlobal(QPoint(20, 8)))
    before = stand.height_of(aimed)
    for words in (LONG, "", LONG + LONG, "short"):
        stand.sentence.say(words)
        stand.settle()
        assert stand.height_of(aimed) == before
        assert aimed.rect().contains(aimed.mapFromGlobal(QCursor.pos()))


def test_what_has_the_keyboard_stays_when_the_pointer_is_elsewhere(qtbot: QtBot) -> None:
    stand = Stand(qtbot)
    QCursor.setPos(stand.area.mapToGlobal(QPoint(900, 900)))
    stand.area.window().activateWindow()
    stand.buttons[5].setFocus()
    stand.settle()
    before = stand.height_of(stand.buttons[5])
    stand.sentence.say(LONG)
    stand.settle()
    assert stand.height_of(stand.buttons[5]) == before


def test_a_panel_that_fills_itself_under_a_resting_pointer_still_shows_its_beginning(qtbot: QtBot) -> None:
    stand = Stand(qtbot)
    stand.area.verticalScrollBar().setValue(0)
    for each in stand.buttons:
        each.clearFocus()
    QCursor.setPos(stand.buttons[4].mapToGlobal(QPoint(20, 8)))
    stand.sentence.say(LONG)
    stand.settle()
    assert stand.area.verticalScrollBar().value() == 0
    stand.sentence.say("")
    stand.settle()
    # But someone at work here keeps what is aimed at, at the top too.
    stand.area.window().activateWindow()
    stand.buttons[3].setFocus()
    QCursor.setPos(stand.buttons[4].mapToGlobal(QPoint(20, 8)))
    before = stand.height_of(stand.buttons[4])
    stand.sentence.say(LONG)
    stand.settle()
    assert stand.height_of(stand.buttons[4]) == before


def test_what_grows_below_the_pointer_moves_nothing_above(qtbot: QtBot) -> None:
    stand = Stand(qtbot)
    aimed = stand.buttons[2]
    QCursor.setPos(aimed.mapToGlobal(QPoint(20, 8)))
    before = stand.height_of(aimed)
    stand.sentence.say(LONG)
    stand.settle()
    assert stand.height_of(aimed) == before


def test_what_is_chosen_in_a_list_stays_where_the_list_closed_over_other_controls(qtbot: QtBot) -> None:
    stand = Stand(qtbot)
    box = choice("Shape", [("round", 0), ("by its area", 1)])
    stand.area.body.layout().insertWidget(4, box)  # the sentence that grows stands above it
    stand.area.window().activateWindow()
    box.setFocus()
    stand.settle()
    before = box.mapToGlobal(QPoint(0, 0)).y()
    below = stand.buttons[0]  # above the sentence: the pointer's own would stay and move the box
    QCursor.setPos(below.mapToGlobal(QPoint(20, 8)))
    box.hidePopup()
    stand.sentence.say(LONG)
    stand.settle()
    assert box.mapToGlobal(QPoint(0, 0)).y() == before


def test_what_is_typed_into_stays_while_the_pointer_rests(qtbot: QtBot) -> None:
    stand = Stand(qtbot)
    stand.area.window().activateWindow()
    stand.buttons[6].setFocus()
    stand.settle()
    QCursor.setPos(stand.buttons[1].mapToGlobal(QPoint(20, 8)))
    qtbot.keyClick(stand.buttons[6], Qt.Key.Key_A)
    before = stand.height_of(stand.buttons[6])
    stand.sentence.say(LONG)
    stand.settle()
    assert stand.height_of(stand.buttons[6]) == before
    # Who moves the pointer aims with it again.
    QCursor.setPos(stand.buttons[4].mapToGlobal(QPoint(20, 8)))
    aimed = stand.height_of(stand.buttons[4])
    stand.sentence.say("")
    stand.settle()
    assert stand.height_of(stand.buttons[4]) == aimed
