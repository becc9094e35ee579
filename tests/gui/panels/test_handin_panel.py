"""Hand-in: texts become edits, results are written or the reason is told; help has its cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace as with_parts
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtWidgets import QAbstractButton, QLabel
from pytestqt.qtbot import QtBot
from stand import bench

from measure_app.edits import SetTitle
from measure_app.errors import OutputError, Stopped
from measure_app.extras import Question, notes_of, questions_of
from measure_app.gui import panels
from measure_app.gui.panels import Step, make_panels
from measure_app.gui.panels.handin_panel import HandInPanel
from measure_app.gui.panels.help_pages import CAUTIONS, PAGES, help_html, page_of

Show = Callable[..., Any]


def press(qtbot: QtBot, button: QAbstractButton) -> None:
    button.setFocus()
    qtbot.keyClick(button, Qt.Key.Key_Space)


def test_title_observer_and_notes_become_edits(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(HandInPanel)
    panel.title_edit.selectAll()
    qtbot.keyClicks(panel.title_edit, "Our drain\r")
    qtbot.keyClicks(panel.observer_edit, "R. Meier\r")
    qtbot.keyClicks(panel.notes_box, "windy")
    qtbot.waitUntil(lambda: notes_of(document.run) == "windy")
    assert (document.run.title, document.run.observer) == ("Our drain", "R. Meier")
    document.stack.undo()
    assert panel.notes_box.toPlainText() == ""
    document.stack.undo()
    assert panel.observer_edit.text() == ""


def test_questions_are_set_answered_and_removed(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(HandInPanel)
    qtbot.keyClicks(panel.question_edit, "Why is Cv below 1?\r")
    qtbot.keyClicks(panel.question_edit, "What limits you?\r")
    assert not panel.no_questions.isVisible()
    qtbot.keyClicks(panel._answers[1], "the drop")
    panel.take_typed()
    assert questions_of(document.run) == (
        Question("Why is Cv below 1?"),
        Question("What limits you?", "the drop"),
    )
    panel._remove_question(0)
    assert questions_of(document.run) == (Question("What limits you?", "the drop"),)
    assert panel._answers[0].toPlainText() == "the drop"
    document.stack.undo()
    assert len(panel._answers) == 2


def test_results_are_written_where_it_says_and_the_answer_is_told(
    show: Show, qtbot: QtBot, tmp_path: Path
) -> None:
    panel, document, services = show(HandInPanel)
    assert panel.out.folder_edit.text() == str(document.path.parent / "bench-results")
    panel.out.folder_edit.setText(str(tmp_path / "out"))
    qtbot.keyClicks(panel.notes_box, "typed at the last moment")
    press(qtbot, panel.out.write_button)
    assert not services.asked  # the outcome in hand has not got the notes yet
    document.set_outcome(with_parts(document.outcome, run=document.run))
    assert services.asked[-1] == ("write", tmp_path / "out")
    assert notes_of(document.run) == "typed at the last moment"
    assert not panel.out.write_button.isEnabled()
    assert "Writing" in panel.out.state.text()
    services.results_written.emit(
        OutputError("the disk is full; free some room", where=str(tmp_path / "out"))
    )
    assert "Nothing was written" in panel.out.state.text()
    assert "disk is full" in panel.out.state.text()
    assert panel.out.write_button.isEnabled()
    assert not panel.out.open_button.isVisible()
    press(qtbot, panel.out.write_button)
    services.results_written.emit(tmp_path / "out")
    assert panel.out.state.text() == f"✔ Written into {tmp_path / 'out'}"
    assert panel.out.open_button.isVisible()


def test_what_is_being_made_is_told_and_can_be_stopped(show: Show, qtbot: QtBot, tmp_path: Path) -> None:
    panel, _, services = show(HandInPanel)
    out = panel.out
    out.folder_edit.setText(str(tmp_path / "out"))
    assert not out.stop_button.isEnabled()
    assert not out.bar.isVisible()
    out.write_button.setFocus()
    press(qtbot, out.write_button)
    assert out.bar.isVisible()
    assert out.bar.maximum() == 0  # something goes on, how long it takes is not known yet
    assert panel.window().focusWidget() is out.stop_button  # the keyboard goes on to what can be pressed now
    services.writing_progress.emit(7, 12, "workbook.xlsx")
    assert (out.bar.value(), out.bar.maximum()) == (7, 12)
    assert "workbook.xlsx" in out.state.text()
    press(qtbot, out.stop_button)
    assert services.asked[-1] == ("stop writing",)
    services.writing_progress.emit(8, 12, "report.pdf")
    assert "Stopping" in out.state.text()
    services.results_written.emit(Stopped("stopped; nothing was written"))
    assert "Stopped. Nothing was written" in out.state.text()
    assert not out.bar.isVisible()
    assert not out.stop_button.isEnabled()
    assert out.write_button.isEnabled()


def test_writing_that_waits_for_the_newest_outcome_stops_at_once(show: Show, tmp_path: Path) -> None:
    panel, document, services = show(HandInPanel)
    panel.out.folder_edit.setText(str(tmp_path / "out"))
    document.perform(SetTitle("Changed"))
    panel.out.write_button.click()
    panel.out.stop_button.click()
    assert "Stopped. Nothing was written" in panel.out.state.text()
    document.set_outcome(with_parts(document.outcome, run=document.run))
    assert services.asked == []


def test_what_was_changed_last_is_in_what_is_written(show: Show, qtbot: QtBot, tmp_path: Path) -> None:
    panel, document, services = show(HandInPanel)
    earlier = document.outcome
    panel.out.folder_edit.setText(str(tmp_path / "out"))
    panel.title_edit.selectAll()
    qtbot.keyClicks(panel.title_edit, "Typed last")
    press(qtbot, panel.out.write_button)
    document.set_outcome(with_parts(earlier))  # an answer to an older question
    assert services.asked == []
    document.set_outcome(with_parts(earlier, run=document.run))
    assert services.asked == [("write", tmp_path / "out")]
    assert document.outcome.run.title == "Typed last"


def test_a_wait_for_an_outcome_that_does_not_come_ends_in_words(show: Show, tmp_path: Path) -> None:
    panel, document, services = show(HandInPanel)
    panel.out.folder_edit.setText(str(tmp_path / "out"))
    document.perform(SetTitle("Changed"))
    panel.out.write_button.click()
    document.set_outcome(None, OutputError("mark the orifice first", where="orifice"))
    assert "Nothing was written" in panel.out.state.text()
    assert "mark the orifice first" in panel.out.state.text()
    assert services.asked == []


def test_a_change_after_writing_is_told(show: Show, tmp_path: Path) -> None:
    panel, document, services = show(HandInPanel)
    panel.out.folder_edit.setText(str(tmp_path / "out"))
    panel.out.write_button.click()
    services.results_written.emit(tmp_path / "out")
    document.perform(SetTitle("Changed"))
    assert "changed since" in panel.out.state.text()
    document.stack.undo()
    assert panel.out.state.text() == f"✔ Written into {tmp_path / 'out'}"


def test_why_nothing_was_written_outlives_a_new_outcome(show: Show, tmp_path: Path) -> None:
    panel, document, services = show(HandInPanel)
    panel.out.folder_edit.setText(str(tmp_path / "out"))
    panel.out.write_button.click()
    services.results_written.emit(OutputError("the disk is full; free some room", where="out"))
    document.set_outcome(with_parts(document.outcome))
    assert "disk is full" in panel.out.state.text()
    panel.out.folder_edit.setText(str(tmp_path / "elsewhere"))
    assert panel.out.state.text() == ""


@pytest.mark.parametrize("seen", [True, False])
@pytest.mark.parametrize("chosen", [True, False])
def test_another_run_gets_neither_folder_nor_notes_of_the_one_before(
    show: Show, tmp_path: Path, seen: bool, chosen: bool
) -> None:
    panel, document, services = show(HandInPanel)
    if chosen:
        panel.out.folder_edit.setText(str(tmp_path / "out"))
    panel.out.write_button.click()
    services.results_written.emit(tmp_path / "out")
    panel.notes_box.setPlainText("of the first run")
    if not seen:
        panel.hide()
    document.open(replace(document.run, title="second"), tmp_path / "second.run.json")
    panel.take_typed()
    assert notes_of(document.run) == ""
    panel.show()
    assert panel.out.folder_edit.text() == str(tmp_path / "second-results")
    assert "Written" not in panel.out.state.text()
    assert not panel.out.open_button.isVisible()
    assert panel.title_edit.text() == "second"
    assert panel.notes_box.toPlainText() == ""


def test_notes_shown_are_not_written_into_a_run_opened_out_of_sight(show: Show, tmp_path: Path) -> None:
    panel, document, _ = show(HandInPanel)
    panel.notes_box.setPlainText("kept with the first run")
    panel.take_typed()
    panel.hide()
    document.open(replace(document.run, title="second", extra={}), tmp_path / "second.run.json")
    panel.take_typed()
    assert notes_of(document.run) == ""


def test_the_folder_follows_the_run_file_unless_it_was_chosen(show: Show, tmp_path: Path) -> None:
    panel, document, _ = show(HandInPanel)
    document.set_path(tmp_path / "again.run.json")
    assert panel.out.folder_edit.text() == str(tmp_path / "again-results")
    panel.out.folder_edit.setText(str(tmp_path / "mine"))
    document.set_path(tmp_path / "third.run.json")
    assert panel.out.folder_edit.text() == str(tmp_path / "mine")


def test_a_half_path_is_not_written_to(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(HandInPanel)
    panel.out.folder_edit.setText("somewhere")
    press(qtbot, panel.out.write_button)
    assert "whole path" in panel.out.state.text()
    assert not [asked for asked in services.asked if asked[0] == "write"]


def test_with_nothing_to_write_it_says_so(show: Show) -> None:
    panel, *_ = show(HandInPanel, measured=False)
    assert not panel.out.write_button.isEnabled()
    assert "Nothing to write yet" in panel.out.state.text()


@pytest.mark.parametrize("step", list(Step))
def test_every_step_has_a_short_page(step: Step) -> None:
    page = page_of(step)
    assert 2 <= len(page.points) <= 8
    assert len(page.about.split()) < 50
    html = help_html(step)
    assert (CAUTIONS[1] in html) == page.suggests_set_up


def test_the_pages_that_suggest_a_set_up_carry_the_cautions() -> None:
    assert {page.step for page in PAGES if page.suggests_set_up} >= {Step.FILM, Step.DATUM}
    words = " ".join(CAUTIONS).lower()
    for needed in (
        "mains",
        "residual-current",
        "wipe",
        "technician",
        "eye protection",
        "film anyone",
        "school",
    ):
        assert needed in words


def test_help_unfolds_in_the_panel(show: Show, qtbot: QtBot) -> None:
    panel, *_ = show(HandInPanel)
    assert not panel._help.isVisible()
    press(qtbot, panel.help_button)
    assert panel._help.isVisible()
    assert "Save the run as well" in panel._help.text()


def test_the_front_door_gives_a_panel_for_every_step(show: Show, qtbot: QtBot) -> None:
    _, document, services = show(HandInPanel)
    made = make_panels(document, services)
    for panel in made.values():
        qtbot.addWidget(panel)
    assert list(made) == list(Step)
    assert all(panel.step is step and panel.title == step.value for step, panel in made.items())
    assert panels.__all__ == sorted(panels.__all__)


def test_panels_of_an_empty_window_say_what_to_do(qtbot: QtBot) -> None:
    from stand import HandMade, hold

    from measure_app.gui.document import Document

    document = Document()
    services = HandMade(document)
    for panel in make_panels(document, services).values():
        hold(qtbot, panel, 340, 700)
        panel.catch_up()
        told = [label.text() for label in panel.findChildren(QLabel) if label.isVisibleTo(panel)]
        assert any(len(words) > 20 for words in told), panel.step
    document.deleteLater()


def test_results_of_the_sample_are_not_offered_a_place_in_the_program(show: Show) -> None:
    panel, document, _ = show(HandInPanel)
    document.open(document.run, None)  # as the sample is: saving asks for a place
    document.set_clip(with_parts(bench()[1]), bench()[2])
    panel.catch_up()
    assert panel.out.folder_edit.text() == str(Path.home() / "results")


def test_a_run_that_was_never_saved_is_told_of_when_its_results_are_written(
    show: Show,
) -> None:
    panel, document, services = show(HandInPanel)
    document.open(document.run, None)
    document.set_outcome(bench()[3])
    panel.out._write()
    services.results_written.emit(Path(panel.out.folder_edit.text()))
    assert panel.out.state.text().endswith("is not saved yet: Ctrl+S keeps it.")


@pytest.mark.parametrize("answer", [Path("/somewhere/out"), OutputError("the disk is full")])
def test_what_came_of_the_writing_is_brought_into_sight(show: Show, qtbot: QtBot, answer: object) -> None:
    panel, _, services = show(HandInPanel)
    panel.resize(340, 420)
    qtbot.wait(20)
    panel._scroll.verticalScrollBar().setValue(0)
    panel.out._write()
    panel._scroll.verticalScrollBar().setValue(0)
    services.results_written.emit(answer)
    port = panel._scroll.viewport()
    place = QRect(panel.out.state.mapTo(port, QPoint(0, 0)), panel.out.state.size())
    assert panel.out.state.text()
    assert port.rect().contains(place)
