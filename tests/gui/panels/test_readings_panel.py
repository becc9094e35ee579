"""Readings: marking, finding, setting aside, marking again, reading blind."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QApplication
from pytestqt.qtbot import QtBot
from stand import bench

from calibration import Pixel
from measure_app.edits import SetGaugeLine, SetLanding, SetNote, SetSurface
from measure_app.extras import SetAside, set_aside_of, waiting_marks
from measure_app.finders import Part, RefusedSpan, Why
from measure_app.gui.finding import key_of
from measure_app.gui.panels.reading_rows import concise, evenly_spread, shown_readings
from measure_app.gui.panels.readings_panel import ReadingsPanel
from measure_app.gui.tools import Tool
from measure_app.run import By, LinePart, Reading, Spot

Show = Callable[..., Any]


def press(qtbot: QtBot, button: QAbstractButton) -> None:
    button.setFocus()
    qtbot.keyClick(button, Qt.Key.Key_Space)


def hand(y: float, u: float = 0.5) -> Spot:
    return Spot(Pixel(381.0, y), u, By.HAND)


def hand_run(count: int = 6) -> Any:
    readings = tuple(Reading(40 * i, hand(150.0 + 20 * i), hand(600.0)) for i in range(count))
    return replace(bench()[0], readings=readings)


class Searched:
    """Stands in for a search, as far as the panel looks at one."""

    def __init__(
        self, refused: tuple[RefusedSpan, ...], readings: tuple[Reading, ...] = (Reading(0),)
    ) -> None:
        self.refused = refused
        self.readings = readings


def test_the_tool_moves_on_by_the_frames_chosen(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(ReadingsPanel)
    press(qtbot, panel.spread)
    assert panel.advance_box.value() == 15  # 300 frames, twenty presses
    press(qtbot, panel.surface_button)
    assert (services.tool, services.options.advance, services.options.px_u) == (Tool.SURFACE, 15, 0.5)
    panel.px_u_field.value_edit.selectAll()
    qtbot.keyClicks(panel.px_u_field.value_edit, "0,8\r")
    assert services.options.px_u == 0.8
    press(qtbot, panel.landing_button)
    assert services.tool is Tool.LANDING
    assert (panel.surface_button.isChecked(), panel.landing_button.isChecked()) == (False, True)
    press(qtbot, panel.landing_button)
    assert services.tool is Tool.LOOK


def test_finding_shows_progress_and_can_be_stopped(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(ReadingsPanel)
    press(qtbot, panel.finding.find_button)
    assert services.asked[-1] == ("find",)
    assert not panel.finding.stop_button.isEnabled()
    services.finding_running.emit(True)
    services.finding_progress.emit(30, 300)
    assert (panel.finding.bar.value(), panel.finding.bar.maximum()) == (30, 300)
    assert panel.finding.bar.isVisible()
    assert not panel.finding.find_button.isEnabled()
    press(qtbot, panel.finding.stop_button)
    assert services.asked[-1] == ("stop",)
    services.finding_running.emit(False)
    assert panel.finding.find_button.isEnabled()
    assert not panel.finding.bar.isVisible()


def test_the_keyboard_is_at_stop_while_finding_and_back_at_find_afterwards(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(ReadingsPanel)
    panel.window().activateWindow()
    qtbot.waitUntil(lambda: panel.window().isActiveWindow())
    press(qtbot, panel.finding.find_button)
    services.finding_running.emit(True)
    assert panel.finding.stop_button.hasFocus()
    services.finding_running.emit(False)
    assert panel.finding.find_button.hasFocus()
    services.finding_running.emit(True)
    panel.note_edit.setFocus()  # who is typing meanwhile is left alone
    services.finding_running.emit(False)
    assert panel.note_edit.hasFocus()


def test_finding_says_what_it_lacks(show: Show) -> None:
    run = replace(bench()[0], gauge_line=None, landing_line=None)
    panel, *_ = show(ReadingsPanel, run=run)
    assert not panel.finding.find_button.isEnabled()
    assert "draw the gauge line" in panel.finding.lack.text()


def test_the_table_holds_what_the_outcome_says(show: Show) -> None:
    panel, document, _ = show(ReadingsPanel)
    shown = panel.table.shown_rows()
    rows = document.outcome.rows
    assert len(shown) == len(rows) == 300
    assert [(r.frame, r.head_m, r.throw_m, r.kept) for r in shown] == [
        (r.frame, r.head_m, r.throw_m, r.kept) for r in rows
    ]
    assert shown[0].by == "found"
    assert shown[0].head_words == "199.65(61)"  # 199.65 mm with u = 0.61 mm: JCGM 100:2008, 7.2.2


def test_rows_of_an_older_outcome_are_not_passed_for_news(show: Show) -> None:
    panel, document, _ = show(ReadingsPanel)
    document.perform(SetSurface(3, hand(201.0)))  # the outcome in hand is from before
    moved = next(row for row in panel.table.shown_rows() if row.frame == 3)
    assert moved.head_m is None
    assert "hand" in moved.by
    assert next(row for row in panel.table.shown_rows() if row.frame == 4).head_m is not None


def test_a_row_leads_to_its_frame_and_the_frame_to_its_row(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel)
    document.go_to(120)
    assert [row.frame for row in panel.table.selected_rows()] == [120]
    panel.table.setFocus()
    qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    qtbot.keyClick(panel.table, Qt.Key.Key_Return)
    assert document.frame == 121


def test_readings_are_deleted_and_set_aside_with_a_reason(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel)
    panel.table.select_where(lambda row: row.frame == 5)
    panel.table.setFocus()
    qtbot.keyClick(panel.table, Qt.Key.Key_Delete)
    assert 5 not in [r.frame for r in document.run.readings]
    panel.table.select_where(lambda row: row.frame == 7)
    press(qtbot, panel.aside_button)
    assert "why" in panel.aside_error.text()
    assert 7 in [r.frame for r in document.run.readings]
    qtbot.keyClicks(panel.reason_edit, "splash hides it\r")
    assert [(e.reading.frame, e.reason) for e in set_aside_of(document.run)] == [(7, "splash hides it")]
    row = next(row for row in panel.table.shown_rows() if row.frame == 7)
    assert row.aside
    assert row.reason == "set aside: splash hides it"
    panel.table.select_where(lambda row: row.frame == 7)
    press(qtbot, panel.put_back_button)
    document.stack.undo()
    document.stack.undo()
    document.stack.undo()
    assert document.run == bench()[3].run


@pytest.mark.parametrize(
    ("value", "u", "words"),
    [
        (199.66, 0.61, "199.66(61)"),
        (446.41, 1.2, "446.4(12)"),
        (250.0, 12.0, "250(12)"),
        (-3.2, 0.05, "−3.200(50)"),
    ],
)
def test_lengths_in_the_table_carry_the_uncertainty_of_their_last_digits(
    value: float, u: float, words: str
) -> None:
    assert concise(value, u).replace("-", "−") == words


def test_the_table_needs_no_sideways_scrolling_in_the_narrowest_panel(show: Show) -> None:
    panel, _, _ = show(ReadingsPanel)
    panel.resize(340, 700)
    QApplication.processEvents()
    assert panel.table.horizontalScrollBar().maximum() == 0
    panel.table.select_where(lambda row: row.frame == 120)
    assert panel.chosen.text() == "Frame 120, found: took part in the fits."


def test_refused_spans_say_why_and_lead_to_their_frames(show: Show) -> None:
    panel, document, _ = show(ReadingsPanel)
    assert not panel.finding.spans.isVisible()
    spans = (RefusedSpan(Part.SURFACE, 40, 61, Why.COVERED), RefusedSpan(Part.LANDING, 80, 80, Why.FAINT))

    document.set_search(Searched(spans), key_of(document.run))
    panel.refresh()
    assert panel.finding.spans.isVisible()
    assert panel.finding.spans.shown_rows() == list(spans)
    assert "Not read in 2 spans of frames" in panel.finding.refused_words.text()
    panel.finding.spans.clicked.emit(panel.finding.spans.model().index(1, 0))
    assert document.frame == 80


def test_spans_of_a_search_on_other_lines_are_not_passed_for_news(show: Show) -> None:
    panel, document, _ = show(ReadingsPanel)
    spans = (RefusedSpan(Part.SURFACE, 40, 61, Why.COVERED),)
    line = document.run.gauge_line
    for refused in ((), spans):
        document.set_search(Searched(refused), key_of(document.run))
        panel.refresh()
        assert panel.finding.refused_words.text()
        moved = LinePart(Pixel(line.from_px.x + 9, line.from_px.y), Pixel(line.to_px.x + 9, line.to_px.y))
        document.perform(SetGaugeLine(moved))
        assert panel.finding.spans.shown_rows() == []
        assert panel.finding.refused_words.text() == ""
        document.stack.undo()
        assert panel.finding.spans.shown_rows() == list(refused)
        assert panel.finding.refused_words.text()


def test_a_search_that_found_nothing_says_why(show: Show) -> None:
    panel, document, _ = show(ReadingsPanel, measured=False)
    spans = (RefusedSpan(Part.SURFACE, 0, 299, Why.FAINT),)
    document.set_search(Searched(spans, readings=()), key_of(document.run))
    panel.refresh()
    assert panel.finding.spans.shown_rows() == list(spans)


def test_a_note_belongs_to_the_frame_it_was_typed_at(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel)
    document.go_to(12)
    panel.note_edit.setFocus()
    qtbot.keyClicks(panel.note_edit, "ripple\r")
    assert {r.frame: r.note for r in document.run.readings if r.note} == {12: "ripple"}
    assert document.stack.count() == 1
    qtbot.keyClicks(panel.note_edit, " from the left")
    document.go_to(13)  # by a key of the window: the line is not left and Enter was not pressed
    assert {r.frame: r.note for r in document.run.readings if r.note} == {12: "ripple from the left"}
    assert panel.note_edit.text() == ""
    document.go_to(12)
    assert panel.note_edit.text() == "ripple from the left"
    document.stack.undo()
    assert panel.note_edit.text() == "ripple"
    panel.note_edit.clear()
    panel.note_edit.setModified(True)
    qtbot.keyClick(panel.note_edit, Qt.Key.Key_Return)
    assert document.run == bench()[3].run


def test_a_note_on_a_hidden_reading_stays_hidden_and_unharmed(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel)
    document.perform(SetNote(0, "drop on the scale"))
    press(qtbot, panel.blind_box)
    assert panel.note_edit.text() == ""
    assert not panel.note_edit.isEnabled()
    press(qtbot, panel.blind_box)
    assert panel.note_edit.isEnabled()
    assert panel.note_edit.text() == "drop on the scale"


def test_marking_again_gives_the_readers_own_scatter_and_sets_it(show: Show, qtbot: QtBot) -> None:
    panel, document, services = show(ReadingsPanel, run=hand_run())
    panel.again.set_open(True)
    press(qtbot, panel.again.some)
    waiting = waiting_marks(document.run)
    assert len(waiting) == 5
    assert services.tool is Tool.SURFACE
    assert document.frame == waiting[0].frame
    assert document.stack.count() == 1  # all five are one step
    for i, mark in enumerate(waiting):
        y = mark.spot.px.y + (0.8 if i % 2 else -0.8)
        document.perform(SetSurface(mark.frame, hand(y)))
    assert panel.again.waiting.text() == ""
    assert "0.57 px" in panel.again.scatter.text()  # every pair differs by 0.8: 0.8/√2
    press(qtbot, panel.again.use_scatter)
    assert {r.surface.px_u for r in document.run.readings if r.surface} == {0.57}
    assert {r.landing.px_u for r in document.run.readings if r.landing} == {0.5}
    assert panel.px_u_field.value == 0.57


def test_marks_that_wait_are_led_to_and_can_be_brought_back(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel, run=hand_run())
    panel.again.set_open(True)
    document.go_to(80)
    press(qtbot, panel.again.here)
    assert "frame 80" in panel.again.waiting.text()
    document.go_to(0)
    press(qtbot, panel.again.next_waiting)
    assert document.frame == 80
    press(qtbot, panel.again.bring_back)
    assert document.run == hand_run()


def test_without_hand_marks_there_is_nothing_to_mark_again(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel)
    panel.again.set_open(True)
    press(qtbot, panel.again.some)
    assert "No surface was marked by hand" in panel.again.waiting.text()
    assert document.stack.count() == 0


def test_blind_mode_shows_a_readers_own_marks_without_what_follows_from_them(
    show: Show, qtbot: QtBot
) -> None:
    panel, document, _ = show(ReadingsPanel)
    press(qtbot, panel.blind_box)
    assert document.blind
    assert panel.table.shown_rows() == []
    document.perform(SetSurface(3, hand(201.0)))
    document.perform(SetLanding(9, hand(600.0)))
    rows = panel.table.shown_rows()
    assert [row.frame for row in rows] == [3, 9]
    assert [row.by for row in rows] == ["hand", "hand"]  # not that the other part was found
    assert all(row.head_m is None and row.throw_m is None and not row.reason for row in rows)
    assert panel.finding.refused_words.text() == ""
    assert panel.count.text() == "2 frames read by hand."
    press(qtbot, panel.blind_box)
    assert len(panel.table.shown_rows()) == 300


def test_blind_mode_hides_what_another_observer_marked_wrote_and_set_aside(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel, run=hand_run())
    document.perform(SetNote(80, "glare on the wall"))
    document.perform(SetAside((120,), "splash"))
    press(qtbot, panel.blind_box)
    assert panel.table.shown_rows() == []
    assert panel.count.text() == "0 frames read by hand."
    document.perform(SetSurface(80, hand(191.3)))  # the reader's own, where the other's landing stays hidden
    (row,) = panel.table.shown_rows()
    assert (row.frame, row.landing, row.reason) == (80, None, "")
    document.perform(SetSurface(7, hand(150.0)))
    document.perform(SetAside((7,), "my slip"))
    assert [(row.frame, row.reason) for row in panel.table.shown_rows() if row.aside] == [
        (7, "set aside: my slip")
    ]
    press(qtbot, panel.blind_box)
    assert {row.frame for row in panel.table.shown_rows() if row.aside} == {7, 120}


def test_deleting_while_blind_leaves_what_is_hidden(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel, run=hand_run())
    before = document.run
    press(qtbot, panel.blind_box)
    document.perform(SetSurface(80, hand(191.3)))
    document.perform(SetSurface(5, hand(150.0)))
    document.perform(SetLanding(5, hand(600.0)))
    count = document.stack.count()
    panel.table.selectAll()
    press(qtbot, panel.delete_button)
    readings = {r.frame: r for r in document.run.readings}
    assert 5 not in readings
    assert readings[80].surface is None
    assert readings[80].landing == next(r.landing for r in before.readings if r.frame == 80)
    assert document.stack.count() == count + 1  # one step, undone at once
    document.stack.undo()
    assert len(panel.table.shown_rows()) == 2


def test_a_reader_who_reads_blind_repeats_none_but_own_marks(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel, run=hand_run())
    panel.again.set_open(True)
    press(qtbot, panel.blind_box)
    document.go_to(80)
    press(qtbot, panel.again.here)
    press(qtbot, panel.again.some)
    assert waiting_marks(document.run) == ()
    assert "No surface was marked by hand" in panel.again.waiting.text()
    document.perform(SetSurface(9, hand(201.0)))
    press(qtbot, panel.again.some)
    assert [mark.frame for mark in waiting_marks(document.run)] == [9]


def test_the_table_is_copied_with_numbers_in_metres(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel)
    press(qtbot, panel.copy_button)
    lines = QGuiApplication.clipboard().text().splitlines()
    assert len(lines) == 301
    head = float(lines[1].split("\t")[2].replace(",", "."))
    assert abs(head - document.outcome.rows[0].head_m) < 1e-9
    assert lines[0].split("\t")[:4] == ["frame", "t / s", "head / m", "throw / m"]
    assert abs(float(lines[1].split("\t")[3].replace(",", ".")) - document.outcome.rows[0].throw_m) < 1e-9


def test_frames_are_spread_evenly_and_none_twice() -> None:
    assert evenly_spread(range(100), 5) == (10, 30, 50, 70, 90)
    assert evenly_spread((3, 4), 5) == (3, 4)
    for count in range(1, 30):
        picked = evenly_spread(range(30), count)
        assert len(set(picked)) == count
        assert list(picked) == sorted(picked)


def test_rows_need_no_window() -> None:
    run, _, stamps, outcome = bench()
    rows = shown_readings(outcome.run, outcome, stamps.seconds())
    assert rows[15].time_s == 1.0
    assert shown_readings(run, None, None) == ()


def test_no_time_is_cut_when_readings_come_one_by_one(show: Show) -> None:
    panel, document, _ = show(ReadingsPanel, measured=False)
    spot = Spot(document.run.gauge_line.from_px, 0.5, By.HAND)
    for frame in (0, 15, 290):
        assert document.perform(SetSurface(frame, spot))
    table = panel.table
    column = [each.header for each in table.rows_model.fields].index("t / s")
    assert table.columnWidth(column) >= table.sizeHintForColumn(column)
