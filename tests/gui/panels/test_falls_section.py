"""Marking a fall: what a press means, the list of falls, its edits and undo, and the g that is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QTransform
from PySide6.QtWidgets import QAbstractButton, QApplication
from pytestqt.qtbot import QtBot
from stand import BENCH, bench

from calibration import Pixel
from measure_app.edits import AddFall, ChangeFall
from measure_app.gui.coords import ViewMap
from measure_app.gui.document import Document
from measure_app.gui.falling import with_mark, without_last
from measure_app.gui.hand import Draft, Hand
from measure_app.gui.marks import Kind, rounded
from measure_app.gui.overlays import Scene, paint
from measure_app.gui.panels.readings_panel import ReadingsPanel
from measure_app.gui.tools import Tool, ToolOptions
from measure_app.outcome import outcome_of
from measure_app.run import FallMark, FallPart

Show = Callable[..., Any]


def press(qtbot: QtBot, button: QAbstractButton) -> None:
    button.setFocus()
    qtbot.keyClick(button, Qt.Key.Key_Space)


def mark(frame: int, y: float = 300.0, x: float = 700.0) -> FallMark:
    return FallMark(frame, Pixel(x, y), 0.5)


def falling(count: int = 5, name: str = "drop 1", what: Any = "drop") -> FallPart:
    """Give marks of a fall in the bench film: 15 frames a second, about 1,190 px to a metre."""
    marks = tuple(mark(10 + i, 150.0 + 0.5 * 9.81 * (i / 15) ** 2 * 1190) for i in range(count))
    return FallPart(name, what, marks)


def with_falls(*falls: FallPart) -> Any:
    return replace(bench()[0], falls=falls)


def test_a_press_begins_a_fall_the_second_makes_it_and_more_go_on_with_it() -> None:
    run = with_falls()
    one = with_mark(run, None, "jet drop", None, mark(7))
    assert (one.edit, one.first, one.fall) == (None, mark(7), None)
    again = with_mark(run, None, "jet drop", one.first, mark(7, 310.0))
    assert (again.edit, again.first) == (None, mark(7, 310.0))
    two = with_mark(run, None, "jet drop", again.first, mark(5, 290.0))
    assert isinstance(two.edit, AddFall)
    assert two.edit.fall == FallPart("jet drop 1", "jet drop", (mark(5, 290.0), mark(7, 310.0)))
    run = two.edit.apply(run)
    three = with_mark(run, two.fall, "drop", None, mark(6))
    assert isinstance(three.edit, ChangeFall)
    run = three.edit.apply(run)
    assert [each.frame for each in run.falls[0].marks] == [5, 6, 7]
    mended = with_mark(run, 0, "drop", None, mark(6, 305.0)).edit
    assert mended is not None
    assert mended.apply(run).falls[0].marks[1] == mark(6, 305.0)
    # A fall that is no longer there is a new one.
    assert with_mark(run, 4, "drop", None, mark(1)).first == mark(1)


def test_new_falls_have_names_of_their_own_and_the_last_two_marks_stay() -> None:
    run = with_falls(falling(), falling(name="drop 2"))
    made = with_mark(run, None, "drop", mark(1), mark(2)).edit
    assert isinstance(made, AddFall)
    assert made.fall.name == "drop 3"
    shorter = without_last(falling(3))
    assert shorter is not None
    assert len(shorter.marks) == 2
    assert without_last(shorter) is None


@pytest.fixture
def hand(qapp: QApplication) -> tuple[Hand, Document]:
    document = Document()
    plain, info, stamps, _ = bench()
    document.open(plain, BENCH)
    document.set_clip(info, stamps)
    assert qapp is not None
    made = Hand(document, document)
    made.take(Tool.FALL, ToolOptions(px_u=0.7, advance=1, what="drop"))
    return made, document


def click(hand: Hand, document: Document, x: float, y: float) -> None:
    at = Pixel(x, y)
    assert hand.press(at, QPointF(x + 0.5, y + 0.5), ViewMap(QTransform()), document.frame)
    hand.release(document.frame)


def test_the_film_moves_on_by_one_frame_after_each_press_and_all_can_be_undone(
    hand: tuple[Hand, Document],
) -> None:
    made, document = hand
    document.go_to(20)
    # Over the orifice too: a drop falls past every mark, and takes none along.
    x, y = document.run.orifice.px
    for i in range(4):
        click(made, document, x, y + 10.0 * i)
        assert document.frame == 21 + i
    (fall,) = document.run.falls
    assert [(each.frame, each.px_u) for each in fall.marks] == [(20, 0.7), (21, 0.7), (22, 0.7), (23, 0.7)]
    assert document.run.orifice.px == (x, y)
    document.stack.undo()
    document.stack.undo()
    assert [each.frame for each in document.run.falls[0].marks] == [20, 21]
    document.stack.undo()
    assert document.run.falls == ()
    assert made.options.fall is None
    assert made.draft == Draft()


def test_taking_another_tool_drops_a_mark_that_is_no_fall_yet(hand: tuple[Hand, Document]) -> None:
    made, document = hand
    click(made, document, 700.0, 200.0)
    assert made.draft.fall is not None
    made.take(Tool.LOOK, ToolOptions())
    assert made.draft.fall is None


def test_a_blind_reader_sees_the_fall_in_hand_alone(hand: tuple[Hand, Document]) -> None:
    made, document = hand
    document.perform(AddFall(falling()))
    assert len(made.visible_falls()) == 1
    document.set_blind(True)
    assert made.visible_falls() == ()
    click(made, document, 700.0, 200.0)
    click(made, document, 700.0, 220.0)
    assert [fall.name for fall in made.visible_falls()] == ["drop 2"]


def drag(hand: Hand, document: Document, start: Pixel, end: Pixel) -> None:
    assert hand.press(start, QPointF(start.x + 0.5, start.y + 0.5), ViewMap(QTransform()), document.frame)
    hand.drag(end)
    hand.release(document.frame)


def test_a_mark_is_dragged_nudged_and_removed_like_other_points_and_all_is_undone(
    hand: tuple[Hand, Document],
) -> None:
    made, document = hand
    document.perform(AddFall(falling(3)))
    before = document.run
    made.take(Tool.LOOK, ToolOptions())
    document.go_to(11)
    px = before.falls[0].marks[1].px
    drag(made, document, Pixel(px.x + 2.0, px.y), Pixel(px.x + 9.0, px.y + 4.0))
    (fall,) = document.run.falls
    assert fall.marks[1] == replace(before.falls[0].marks[1], px=rounded(Pixel(px.x + 9.0, px.y + 4.0)))
    assert (fall.marks[0], fall.marks[2]) == (before.falls[0].marks[0], before.falls[0].marks[2])
    assert made.say().startswith("drop 1: its mark in frame 11")
    assert made.nudge(0.1, 0.0)
    assert made.nudge(0.1, 0.0)
    assert document.run.falls[0].marks[1].px.x == pytest.approx(px.x + 9.2)
    document.stack.undo()
    document.stack.undo()
    assert document.run == before
    made.select(made.visible_handles(11)[-1])
    assert made.remove()
    assert [each.frame for each in document.run.falls[0].marks] == [10, 12]
    document.go_to(12)
    made.select(made.visible_handles(12)[-1])
    assert made.remove()
    assert document.run.falls == ()
    document.stack.undo()
    document.stack.undo()
    assert document.run == before


def test_with_the_tool_in_hand_only_the_fall_s_own_mark_is_taken_and_a_press_on_it_mends_it(
    hand: tuple[Hand, Document],
) -> None:
    made, document = hand
    document.perform(AddFall(falling(3)))
    document.perform(AddFall(falling(3, "drop 2")))
    first = document.run.falls[0]
    made.take(Tool.FALL, ToolOptions(px_u=0.5, advance=1, fall=1))
    document.go_to(11)
    px = document.run.falls[1].marks[1].px
    drag(made, document, px, Pixel(px.x + 6.0, px.y))
    assert document.run.falls[0] == first
    assert document.run.falls[1].marks[1].px == rounded(Pixel(px.x + 6.0, px.y))
    assert document.frame == 11
    click(made, document, px.x + 4.0, px.y)
    assert document.run.falls[1].marks[1].px == rounded(Pixel(px.x + 4.0, px.y))
    assert document.frame == 12
    assert document.run.falls[0] == first


def test_a_blind_reader_takes_hold_of_no_mark_of_another_s_fall(hand: tuple[Hand, Document]) -> None:
    made, document = hand
    document.perform(AddFall(falling(3)))
    made.take(Tool.LOOK, ToolOptions())
    assert [h for h in made.visible_handles(11) if h.kind is Kind.FALL]
    document.set_blind(True)
    assert not [h for h in made.visible_handles(11) if h.kind is Kind.FALL]


def test_the_tool_is_taken_with_what_falls_and_the_frames_to_move_on(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(ReadingsPanel)
    panel.falls.set_open(True)
    section = panel.falls
    section.what_box.setCurrentIndex(1)
    section.advance_box.setValue(2)
    press(qtbot, section.mark_button)
    assert services.tool is Tool.FALL
    assert (services.options.what, services.options.advance, services.options.fall) == ("jet drop", 2, None)
    assert section.mark_button.isChecked()
    assert not panel.surface_button.isChecked()
    press(qtbot, section.mark_button)
    assert services.tool is Tool.LOOK


def test_falls_are_listed_mended_and_deleted(show: Show, qtbot: QtBot) -> None:
    panel, document, services = show(ReadingsPanel, run=with_falls(falling(), falling(2, "pipette")))
    section = panel.falls
    section.set_open(True)
    assert [field.text(section.table.rows_model.rows[0]) for field in section.table.rows_model.fields] == [
        "drop 1", "5", "10–14", "a drop that is let go",
    ]  # fmt: skip
    section.table.select_where(lambda shown: shown.index == 0)
    press(qtbot, section.more_button)
    assert services.options.fall == 0
    press(qtbot, section.last_button)
    assert len(document.run.falls[0].marks) == 4
    section.behind.value_edit.selectAll()
    qtbot.keyClicks(section.behind.value_edit, "12\r")
    assert document.run.falls[0].behind_m == pytest.approx(0.012)
    section.table.select_where(lambda shown: shown.index == 1)
    assert not section.last_button.isEnabled()
    press(qtbot, section.delete_button)
    assert [fall.name for fall in document.run.falls] == ["drop 1"]
    document.stack.undo()
    assert len(document.run.falls) == 2


def test_the_g_of_the_falls_is_told_beside_them(show: Show) -> None:
    run = with_falls(falling(5))
    panel, document, _ = show(ReadingsPanel, run=run)
    panel.falls.set_open(True)
    document.set_outcome(outcome_of(run, document.seconds, bench()[1]))
    assert panel.falls.answer.text().startswith("g from a fall's parabola: (")
    assert "the accepted g" in panel.falls.answer.text()
    document.set_blind(True)
    assert "accepted" not in panel.falls.answer.text()


@pytest.mark.usefixtures("qapp")
def test_a_mark_is_drawn_as_a_drop_where_it_is_and_as_a_dot_in_other_frames() -> None:
    def drawn(frame: int) -> np.ndarray:
        image = QImage(200, 200, QImage.Format.Format_RGB32)
        image.fill(QColor("black"))
        painter = QPainter(image)
        fall = FallPart("", "drop", (mark(3, 60.0, 100.0), mark(4, 140.0, 100.0)))
        run = replace(
            bench()[0],
            rules=(),
            plumb=None,
            orifice=None,
            gauge_line=None,
            landing_line=None,
            throw_zero=None,
        )
        paint(painter, ViewMap(QTransform()), Scene(run, frame, (), Draft(), None, (), None, (fall,)))
        painter.end()
        return (
            np.frombuffer(image.constBits(), np.uint8)
            .reshape(200, 200, 4)[..., :3]
            .max(axis=-1)
            .astype(float)
        )

    here, elsewhere = drawn(3), drawn(9)
    # The drop's ring stands out to the right of its middle, and its point above it, in the frame of the mark alone.
    assert here[60, 107] > 150 > elsewhere[60, 107]
    assert here[48, 100] > 150 > elsewhere[48, 100]
    assert elsewhere[60, 101] > 150


def test_the_read_out_time_of_a_frame_goes_into_the_run(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(ReadingsPanel, run=with_falls(falling()))
    section = panel.falls
    section.set_open(True)
    qtbot.keyClicks(section.shutter.value_edit, "18 ± 2\r")
    camera = document.run.camera
    assert (camera.rolling_shutter_s, camera.rolling_shutter_u_s) == (
        pytest.approx(0.018),
        pytest.approx(0.002),
    )
    section.shutter.value_edit.selectAll()
    qtbot.keyClick(section.shutter.value_edit, Qt.Key.Key_Backspace)
    qtbot.keyClick(section.shutter.value_edit, Qt.Key.Key_Return)
    assert document.run.camera.rolling_shutter_s is None
    section.shutter.value_edit.selectAll()
    qtbot.keyClicks(section.shutter.value_edit, "5000\r")
    assert document.run.camera.rolling_shutter_s is None
    assert "at most 1" in section.shutter.error.text()
