"""The page "Before the film": fields at the left, and a forecast that follows them."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from measure_app.gui.main_window import MainWindow
from measure_app.gui.panels.plan_page import PlanDialog, plan_dialog


@pytest.fixture
def dialog(qtbot: QtBot) -> Iterator[PlanDialog]:
    made = PlanDialog()
    qtbot.addWidget(made)
    made.show()
    settled(qtbot, made)
    yield made
    made._lane.close()


def settled(qtbot: QtBot, dialog: PlanDialog) -> None:
    qtbot.waitUntil(lambda: not dialog.busy, timeout=30_000)


def typed(qtbot: QtBot, dialog: PlanDialog, name: str, text: str) -> None:
    edit = dialog.fields[name].value_edit
    edit.selectAll()
    qtbot.keyClicks(edit, text) if text else qtbot.keyClick(edit, Qt.Key.Key_Delete)
    qtbot.keyClick(edit, Qt.Key.Key_Return)
    settled(qtbot, dialog)


def page(dialog: PlanDialog) -> str:
    return re.sub(r"\s+", " ", dialog.page.toPlainText())


def test_it_opens_with_a_forecast_and_the_cautions(dialog: PlanDialog) -> None:
    words = page(dialog)
    # 2 · 0.97 √(0.25 · 0.4) = 613 mm
    assert "613 mm" in words
    assert "In short" in words
    assert "residual-current" in words
    assert dialog.trouble.isHidden()


def test_a_typed_drop_changes_the_throw_and_its_uncertainty_the_budget(
    dialog: PlanDialog, qtbot: QtBot
) -> None:
    typed(qtbot, dialog, "drop", "10 ± 1 cm")
    # 2 · 0.97 √(0.25 · 0.1) = 307 mm
    assert "307 mm" in page(dialog)
    assert dialog.asked().instruments.drop_u_m == pytest.approx(0.01)
    assert "largest source of that is “drop”" in page(dialog)


def test_an_impossible_plan_is_told_and_the_last_forecast_stays_grey(
    dialog: PlanDialog, qtbot: QtBot
) -> None:
    typed(qtbot, dialog, "hole", "90")
    assert "quarter of the container" in dialog.trouble.text()
    assert not dialog.page.isEnabled()
    assert "613 mm" in page(dialog)
    typed(qtbot, dialog, "hole", "4")
    assert dialog.trouble.isHidden()
    assert dialog.page.isEnabled()


def test_a_box_asks_for_two_sides(dialog: PlanDialog, qtbot: QtBot) -> None:
    assert dialog.fields["bore"].isVisible()
    dialog.shape.setFocus()
    qtbot.keyClick(dialog.shape, Qt.Key.Key_Down)
    settled(qtbot, dialog)
    assert not dialog.fields["bore"].isVisible()
    assert dialog.fields["width"].isVisible()
    assert dialog.asked().bore_m is None
    assert (dialog.asked().width_m, dialog.asked().depth_m) == (0.1, 0.06)


def test_lens_and_picture_reach_the_plan(dialog: PlanDialog, qtbot: QtBot) -> None:
    typed(qtbot, dialog, "lens", "26")
    dialog.picture.setFocus()
    qtbot.keyClick(dialog.picture, Qt.Key.Key_Down)
    settled(qtbot, dialog)
    assert dialog.asked().focal_equivalent_mm == pytest.approx(26.0)
    assert dialog.asked().image_px == (3840, 2160)
    assert "The picture shows 2.18 m" in page(dialog)  # 1.5 m · 43.27/26 along the diagonal of 16:9


def test_a_better_hole_is_looked_for_and_taken_over(dialog: PlanDialog, qtbot: QtBot) -> None:
    typed(qtbot, dialog, "tray", "500")
    assert not dialog.take.isEnabled()
    dialog.look.click()
    settled(qtbot, dialog)
    assert "A better hole and drop" in page(dialog)
    assert dialog.look.text() == "Look for it"
    assert dialog.take.isEnabled()
    dialog.take.click()
    settled(qtbot, dialog)
    assert dialog.fields["drop"].value == pytest.approx(0.2)
    assert "beyond the tray" not in page(dialog)
    assert not dialog.take.isEnabled()


def test_limits_the_wrong_way_round_are_told(dialog: PlanDialog, qtbot: QtBot) -> None:
    typed(qtbot, dialog, "hole_from", "9")
    dialog.look.click()
    settled(qtbot, dialog)
    assert "the smaller first" in dialog.trouble.text()


def test_every_control_has_a_name_and_is_reached_by_keys(dialog: PlanDialog) -> None:
    for field in dialog.fields.values():
        assert field.value_edit.accessibleName()
        assert field.value_edit.focusPolicy() & Qt.FocusPolicy.TabFocus
    for control in (dialog.shape, dialog.edge, dialog.picture, dialog.look, dialog.take, dialog.page):
        assert control.accessibleName()


def test_a_window_has_one_plan_and_what_was_typed_stays(qtbot: QtBot) -> None:
    owner = QWidget()
    qtbot.addWidget(owner)
    first = plan_dialog(owner)
    settled(qtbot, first)
    typed(qtbot, first, "head", "300")
    first.close()
    again = plan_dialog(owner)
    assert again is first
    assert again.fields["head"].value == pytest.approx(0.3)
    first._lane.close()


def test_start_page_and_menu_open_it_and_a_closing_window_ends_its_thread(
    window: MainWindow, qtbot: QtBot
) -> None:
    window.start.plan.click()
    dialog = window.findChild(PlanDialog)
    assert dialog is not None
    assert dialog.isVisible()
    settled(qtbot, dialog)
    assert "613 mm" in page(dialog)
    window.menus.show_plan()
    assert len(window.findChildren(PlanDialog)) == 1
    dialog.close()
    dialog._lane.close()
    assert not dialog._lane._thread.isRunning()


def test_it_fits_the_screen(dialog: PlanDialog) -> None:
    room = dialog.screen().availableGeometry()
    assert dialog.width() <= room.width() - 40
    assert dialog.height() <= room.height() - 60
