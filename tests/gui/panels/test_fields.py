"""A field for a quantity: what is typed is committed once, refused in words, and never lost."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot
from stand import hold

from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.instruments import CALLIPER, LENGTHS, STEEL_RULE, TAPE
from measure_app.gui.panels.quantity import LENGTH_MM


class Taken:
    """A field in a window, and what it committed."""

    def __init__(self, qtbot: QtBot, **options: object) -> None:
        self.qtbot = qtbot
        self.field = QuantityField("Drop", LENGTH_MM, "Measure it.", instruments=LENGTHS, **options)  # type: ignore[arg-type]
        hold(qtbot, self.field, 320, 200)
        self.got: list[tuple[float | None, float | None]] = []
        self.field.committed.connect(lambda value, u: self.got.append((value, u)))

    def type(self, text: str) -> None:
        self.field.value_edit.selectAll()
        self.qtbot.keyClicks(self.field.value_edit, text) if text else self.qtbot.keyClick(
            self.field.value_edit, Qt.Key.Key_Delete
        )
        self.qtbot.keyClick(self.field.value_edit, Qt.Key.Key_Return)


@pytest.fixture
def taken(qtbot: QtBot) -> Taken:
    return Taken(qtbot)


def test_a_value_gets_the_instruments_uncertainty_to_begin_with(taken: Taken) -> None:
    taken.type("260,5")
    assert taken.got == [(0.2605, STEEL_RULE.u)]


def test_an_uncertainty_typed_behind_the_value_wins(taken: Taken) -> None:
    taken.type("26,05 ± 0,1 cm")
    assert taken.got == [(0.2605, 0.001)]
    assert taken.field.unit_box is not None
    assert taken.field.unit_box.currentText() == "cm"


def test_another_instrument_changes_the_uncertainty_alone(taken: Taken, qtbot: QtBot) -> None:
    taken.type("260")
    box = taken.field.instrument_box
    assert box is not None
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert taken.got[-1] == (0.26, TAPE.u)
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert taken.got[-1] == (0.26, CALLIPER.u)


def test_what_is_no_number_is_refused_at_the_field_and_stays_to_be_mended(taken: Taken) -> None:
    taken.type("twelve")
    assert taken.got == []
    assert "not a number" in taken.field.error.text()
    assert taken.field.value_edit.text() == "twelve"
    taken.type("12")
    assert taken.got == [(0.012, STEEL_RULE.u)]
    assert taken.field.error.text() == ""


def test_emptying_a_field_takes_the_value_away(taken: Taken) -> None:
    taken.field.set_values(0.26, 0.001)
    taken.type("")
    assert taken.got == [(None, None)]


def test_a_field_that_must_be_filled_says_so(qtbot: QtBot) -> None:
    taken = Taken(qtbot, needed=True)
    taken.field.set_values(0.26, 0.001)
    taken.type("")
    assert taken.got == []
    assert "cannot be empty" in taken.field.error.text()


def test_escape_puts_back_what_was_there(taken: Taken, qtbot: QtBot) -> None:
    taken.field.set_values(0.26, 0.0005)
    taken.field.value_edit.selectAll()
    qtbot.keyClicks(taken.field.value_edit, "999")
    qtbot.keyClick(taken.field.value_edit, Qt.Key.Key_Escape)
    assert taken.field.value_edit.text() == "260"
    assert taken.got == []


def test_another_unit_shows_the_same_quantity(taken: Taken, qtbot: QtBot) -> None:
    taken.field.set_values(0.26, 0.0005)
    box = taken.field.unit_box
    assert box is not None
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert (taken.field.value_edit.text(), taken.field.u_edit.text()) == ("26", "0.05")
    assert taken.got == []


def test_showing_what_the_run_holds_commits_nothing(taken: Taken) -> None:
    taken.field.set_values(0.26, 0.0005)
    taken.field.set_values(None)
    assert taken.got == []


def test_leaving_the_field_with_tab_commits_as_enter_does(taken: Taken, qtbot: QtBot) -> None:
    taken.field.value_edit.setFocus()
    qtbot.keyClicks(taken.field.value_edit, "12")
    qtbot.keyClick(taken.field.value_edit, Qt.Key.Key_Tab)
    assert taken.got == [(0.012, STEEL_RULE.u)]


def test_every_control_has_a_name_for_those_who_cannot_see_it(taken: Taken) -> None:
    field = taken.field
    assert field.value_edit.accessibleName() == "Drop"
    assert "uncertainty" in field.u_edit.accessibleName()
    assert field.unit_box is not None
    assert field.instrument_box is not None
    assert "unit" in field.unit_box.accessibleName()
    assert "measured with" in field.instrument_box.accessibleName()


def test_what_is_typed_after_tab_replaces_the_usual_uncertainty_even_when_it_came_late(
    taken: Taken, qtbot: QtBot
) -> None:
    field = taken.field
    field.value_edit.setFocus()
    qtbot.keyClicks(field.value_edit, "255")
    field.u_edit.setFocus(Qt.FocusReason.TabFocusReason)
    assert field.u_edit.text() == "0.41"
    field.set_values(field.value, field.u)  # the findings came back and the panel shows itself anew
    field.u_edit.setText("")  # as a run does that has no uncertainty …
    field.u_edit.setModified(False)
    field.set_values(0.255, STEEL_RULE.u)  # … until it is known
    qtbot.keyClicks(field.u_edit, "2")
    assert field.u_edit.text() == "2"
    qtbot.keyClick(field.u_edit, Qt.Key.Key_Return)
    assert taken.got[-1] == (0.255, 0.002)


def test_an_uncertainty_half_typed_stays_when_the_findings_come_back(taken: Taken, qtbot: QtBot) -> None:
    field = taken.field
    field.set_values(0.26, 0.001)
    field.u_edit.setFocus()
    field.u_edit.selectAll()
    qtbot.keyClicks(field.u_edit, "0,")
    field.set_values(0.26, 0.001)
    qtbot.keyClicks(field.u_edit, "5")
    assert field.u_edit.text() == "0,5"
    qtbot.keyClick(field.u_edit, Qt.Key.Key_Return)
    assert taken.got == [(0.26, 0.0005)]
