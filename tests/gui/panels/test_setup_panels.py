"""Film, Rules and Datum: what is typed and pressed becomes the right edit of the run."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace as with_facts
from types import SimpleNamespace
from typing import Any

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLineEdit, QSpinBox
from pytestqt.qtbot import QtBot
from stand import bench

from calibration import Measures, Pixel
from measure_app.edits import SetConditions, SetPlumb
from measure_app.gui.document import Document
from measure_app.gui.panels.datum_panel import DatumPanel
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.film_panel import FilmPanel, coarse_words
from measure_app.gui.panels.rules_panel import RulesPanel
from measure_app.gui.recompute import Question, derive
from measure_app.gui.tools import Tool
from measure_app.outcome import outcome_of
from measure_app.run import PlumbPart
from measure_app.words import source_words, use_language

Show = Callable[..., Any]


def give(qtbot: QtBot, field: QuantityField, text: str) -> None:
    field.value_edit.selectAll()
    qtbot.keyClicks(field.value_edit, text) if text else qtbot.keyClick(field.value_edit, Qt.Key.Key_Delete)
    qtbot.keyClick(field.value_edit, Qt.Key.Key_Return)


def press(qtbot: QtBot, button: QAbstractButton) -> None:
    """Press a button by the keyboard."""
    button.setFocus()
    qtbot.keyClick(button, Qt.Key.Key_Space)


def set_box(qtbot: QtBot, box: QSpinBox, value: int) -> None:
    box.selectAll()
    qtbot.keyClicks(box, str(value))
    qtbot.keyClick(box, Qt.Key.Key_Return)


# Film


def test_the_part_measured_is_set_by_its_first_and_last_frame(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FilmPanel)
    set_box(qtbot, panel.start_box, 30)
    set_box(qtbot, panel.stop_box, 200)
    assert (document.run.clip.start_frame, document.run.clip.stop_frame) == (30, 201)
    assert panel._length.text().startswith("171 frames, 11.333 s")
    set_box(qtbot, panel.stop_box, 299)
    assert document.run.clip.stop_frame is None
    document.stack.undo()
    assert panel.stop_box.value() == 200


def test_without_a_film_no_frames_of_the_last_one_are_left(show: Show) -> None:
    panel, document, _ = show(FilmPanel)
    assert panel.stop_box.value() == 299
    document.set_clip(None, None)
    assert (panel.start_box.value(), panel.stop_box.value(), panel.stop_box.maximum()) == (0, 0, 0)
    assert document.run.clip.stop_frame is None


def test_a_part_that_ends_before_it_starts_is_refused_in_words(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FilmPanel)
    set_box(qtbot, panel.start_box, 250)
    set_box(qtbot, panel.stop_box, 100)
    assert document.run.clip.stop_frame is None
    assert "before it starts" in panel._refusal.text()
    assert panel.stop_box.value() == 299


def test_here_takes_the_frame_in_sight(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FilmPanel)
    document.go_to(40)
    press(qtbot, panel._start_here)
    document.go_to(90)
    press(qtbot, panel._stop_here)
    assert (document.run.clip.start_frame, document.run.clip.stop_frame) == (40, 91)
    press(qtbot, panel._first)
    assert document.frame == 40
    press(qtbot, panel._last)
    assert document.frame == 90


def test_time_and_gap_are_those_of_the_frame(show: Show) -> None:
    panel, document, _ = show(FilmPanel)
    document.go_to(37)
    assert panel.frame_box.value() == 37
    assert panel._time.text() == "2.467 s"  # 37 frames of 1/15 s
    assert panel._gap.text() == "66.7 ms"
    document.go_to(299)
    assert panel._gap.text() == "last frame"


def test_slow_motion_is_typed_or_taken_from_the_camera(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FilmPanel)
    give(qtbot, panel.rate_field, "120")
    assert document.run.clip.capture_rate_hz == 120.0
    assert "8 times slower" in panel._factor.text()
    give(qtbot, panel.rate_field, "")
    assert document.run.clip.capture_rate_hz is None
    info = with_facts(document.info, capture_rate_hint=240.0, remarks=("the frame rate varies",))
    document.set_clip(info, document.stamps)
    assert panel._hint.isVisible()
    assert "The frame rate varies." in panel._doubt.text()
    press(qtbot, panel._hint)
    assert document.run.clip.capture_rate_hz == 240.0
    assert not panel._hint.isVisible()


def test_a_rate_that_cannot_be_is_refused_at_its_field(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FilmPanel)
    give(qtbot, panel.rate_field, "-30")
    assert "greater than 0" in panel.rate_field.error.text()
    assert document.run.clip.capture_rate_hz is None
    assert panel._refusal.text() == ""


# Rules


def test_rules_without_a_hole_have_their_scale_and_residuals(show: Show) -> None:
    run, info, stamps, _ = bench()
    alone = replace(run, orifice=None)
    panel, document, _ = show(RulesPanel, run=alone)
    derived = derive(Question(alone, stamps.seconds(), info, None), SimpleNamespace())  # type: ignore[arg-type]
    assert derived.outcome is None
    document.set_outcome(None, derived.lack, derived.rule_fits)
    assert all(row.residual_px is not None for row in panel.table.shown_rows())
    assert "mm per px" in panel.scale.text()
    assert "No scale" not in panel.scale.text()


def test_the_table_shows_values_places_and_residuals(show: Show) -> None:
    panel, document, _ = show(RulesPanel)
    rows = panel.table.shown_rows()
    assert len(rows) == len(document.run.rules[0].graduations)
    fit = document.outcome.calibration.rule_fits[0]
    assert [row.residual_px for row in rows] == pytest.approx(fit.residuals_px.tolist())
    assert rows[0].residual_m == pytest.approx(float(fit.residuals_px[0]) * fit.m_per_px)
    assert "(0.83" in panel.scale.text()
    assert "mm per px" in panel.scale.text()
    assert "Perspective" in panel.perspective.text()


def test_a_line_gets_another_value_and_is_removed(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(RulesPanel)
    panel.table.select_where(lambda row: row.value_m == 0.13)
    give(qtbot, panel.value_field, "13,1 cm")
    assert 0.131 in [g.value_m for g in document.run.rules[0].graduations]
    qtbot.keyClick(panel.table, Qt.Key.Key_Delete)
    assert 0.131 not in [g.value_m for g in document.run.rules[0].graduations]
    document.stack.undo()
    document.stack.undo()
    assert document.run == bench()[3].run


def _typing(panel: Any) -> QLineEdit:
    """The field that stands in the table's cell."""
    (editor,) = panel.table.viewport().findChildren(QLineEdit)
    return editor


@pytest.mark.parametrize("how", ["twice", "F2", "digit"])
def test_a_value_is_typed_over_in_its_own_cell(show: Show, qtbot: QtBot, how: str) -> None:
    panel, document, _ = show(RulesPanel)
    before = {g.px: g.value_m for g in document.run.rules[0].graduations}
    rows = panel.table.shown_rows()
    at = next(i for i, row in enumerate(rows) if row.value_m == 0.13)
    where = panel.table.visualRect(panel.table.model().index(at, 0 if how == "twice" else 2)).center()
    viewport, left = panel.table.viewport(), Qt.MouseButton.LeftButton
    qtbot.mouseClick(viewport, left, pos=where)
    if how == "twice":
        qtbot.mouseDClick(viewport, left, pos=where)
    elif how == "F2":
        qtbot.keyClick(panel.table, Qt.Key.Key_F2)
    else:
        qtbot.keyClicks(panel.table, "1")
        assert _typing(panel).text() == "1"
    editor = _typing(panel)
    editor.selectAll()
    qtbot.keyClicks(editor, "13,1 cm")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.wait(1)  # the table takes it by way of its loop
    after = {g.px: g.value_m for g in document.run.rules[0].graduations}
    assert {place: value for place, value in after.items() if before[place] != value} == {
        next(place for place, value in before.items() if value == 0.13): 0.131
    }
    assert [row.value_m for row in panel.table.selected_rows()] == [0.131]


def test_what_is_half_typed_in_a_cell_is_taken_before_saving_and_nonsense_is_refused(
    show: Show, qtbot: QtBot
) -> None:
    panel, document, _ = show(RulesPanel)
    panel.table.select_where(lambda row: row.value_m == 0.13)
    qtbot.keyClick(panel.table, Qt.Key.Key_F2)
    editor = _typing(panel)
    editor.selectAll()
    qtbot.keyClicks(editor, "131")
    panel.take_typed()
    assert 0.131 in [g.value_m for g in document.run.rules[0].graduations]
    qtbot.keyClick(editor, Qt.Key.Key_Escape)
    panel.table.rows_model.cell_typed.emit(panel.table.selected_rows()[0], "ten")
    assert "not a number" in panel.value_field.error.text()
    assert 0.131 in [g.value_m for g in document.run.rules[0].graduations]


def test_a_value_that_another_line_has_is_refused_at_its_field(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(RulesPanel)
    panel.table.select_where(lambda row: row.value_m == 0.13)
    give(qtbot, panel.value_field, "100")
    assert "same value" in panel.value_field.error.text()
    assert document.run == bench()[3].run


def test_a_misread_line_is_marked_by_a_sign(show: Show) -> None:
    panel, *_ = show(RulesPanel)
    row = panel.table.shown_rows()[0]
    far = with_facts(row, residual_px=5 * row.u_px)
    assert "⚠" in panel.table.rows_model.fields[2].text(far)
    assert "⚠" not in panel.table.rows_model.fields[2].text(row)


def test_uncertainties_depth_name_and_purpose_of_a_rule(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(RulesPanel)
    panel.rule_list.setFocus()
    qtbot.keyClick(panel.rule_list, Qt.Key.Key_Down)
    give(qtbot, panel.px_u_field, "0,7")
    give(qtbot, panel.graduation_u_field, "0,3 mm")
    give(qtbot, panel.behind_field, "-12 ± 1")
    panel.name_edit.selectAll()
    qtbot.keyClicks(panel.name_edit, "tray tape")
    qtbot.keyClick(panel.name_edit, Qt.Key.Key_Return)
    panel.measures_box.setFocus()
    qtbot.keyClick(panel.measures_box, Qt.Key.Key_Down)
    rule = document.run.rules[1]
    assert (rule.px_u, rule.graduation_u_m, rule.behind_m, rule.behind_u_m) == (0.7, 0.0003, -0.012, 0.001)
    assert (rule.name, rule.measures) == ("tray tape", Measures.BOTH)
    assert document.run.rules[0] == bench()[0].rules[0]
    assert "12 mm before the jet's plane" in panel.drawing.words


def test_a_new_rule_takes_the_tool_with_what_it_is(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(RulesPanel)
    panel.kind_box.setFocus()
    qtbot.keyClick(panel.kind_box, Qt.Key.Key_Down)
    panel.made_of.setFocus()
    qtbot.keyClick(panel.made_of, Qt.Key.Key_Down)
    press(qtbot, panel.new_button)
    assert services.tool is Tool.GRADUATION
    assert (services.options.rule, services.options.measures) == (None, Measures.THROW)
    assert services.options.graduation_u_m == 0.0003  # off a printer
    assert panel.new_button.isChecked()
    assert not panel.add_button.isChecked()
    services.use_tool(Tool.LOOK)
    assert not panel.new_button.isChecked()
    press(qtbot, panel.add_button)
    assert services.options.rule == 0


def test_a_missing_second_rule_is_said(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(RulesPanel)
    assert panel.missing.text() == ""
    panel.rule_list.setCurrentRow(1)
    press(qtbot, panel.delete_button)
    assert len(document.run.rules) == 1
    assert "second one along the tray" in panel.missing.text()


def test_the_list_of_rules_shows_whole_entries_and_no_empty_room(show: Show) -> None:
    panel, document, _ = show(RulesPanel)
    listed = panel.rule_list
    last = listed.visualItemRect(listed.item(listed.count() - 1))
    assert 0 <= listed.viewport().height() - last.bottom() <= listed.fontMetrics().lineSpacing()
    first = listed.visualItemRect(listed.item(0))
    assert first.height() >= listed.fontMetrics().height() + 4
    assert len(document.run.rules) == listed.count() == 2


def test_plumb_is_drawn_or_done_without(show: Show, qtbot: QtBot) -> None:
    panel, document, services = show(RulesPanel)
    plumb = PlumbPart(top_px=Pixel(100, 50), bottom_px=Pixel(100 - 500 * math.tan(math.radians(2.5)), 550))
    assert document.perform(SetPlumb(plumb))
    assert "leans 2.5° against it" in panel._plumb_words.text()
    press(qtbot, panel.plumb_button)
    assert services.tool is Tool.PLUMB
    press(qtbot, panel.no_plumb)
    assert document.run.plumb is None
    assert "own vertical" in panel._plumb_words.text()


# Datum


def test_every_field_of_the_datum_goes_where_it_belongs(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    give(qtbot, panel.orifice.px_u, "0,8")
    give(qtbot, panel.orifice.diameter, "4,96 ± 0,03")
    give(qtbot, panel.gauge.behind, "-30 ± 2")
    give(qtbot, panel.gauge.meniscus, "1,2 ± 0,4")
    give(qtbot, panel.landing.behind, "3 ± 1")
    give(qtbot, panel.drop.drop, "25,9 cm ± 1 mm")
    give(qtbot, panel.zero.px_u, "0,9")
    give(qtbot, panel.place.temperature, "18,5")
    give(qtbot, panel.place.latitude, "-33,9")
    give(qtbot, panel.place.elevation, "12")
    give(qtbot, panel.place.gravity, "")
    give(qtbot, panel.camera.distance, "1,2 ± 0,01")
    give(qtbot, panel.camera.facing_u, "0,5")
    give(qtbot, panel.camera.k1, "-0,03")
    run = document.run
    assert (run.orifice.px_u, run.orifice.diameter_m, run.orifice.diameter_u_m) == (0.8, 0.00496, 0.00003)
    assert (run.gauge_line.behind_m, run.gauge_line.behind_u_m) == (-0.03, 0.002)
    assert (run.gauge_line.above_level_m, run.gauge_line.above_level_u_m) == (0.0012, 0.0004)
    assert (run.landing_line.behind_m, run.landing_line.behind_u_m) == (0.003, 0.001)
    assert (run.drop.value_m, run.drop.u_m) == (0.259, 0.001)
    assert run.throw_zero.px_u == 0.9
    assert run.conditions.water_temperature_c == 18.5
    assert (run.conditions.latitude_deg, run.conditions.elevation_m) == (-33.9, 12.0)
    assert run.conditions.gravity_m_s2 is None
    assert (run.camera.distance_m, run.camera.distance_u_m, run.camera.facing_u_deg) == (1.2, 0.01, 0.5)
    assert (run.camera.lens.k1, run.camera.lens.focal_px) == (-0.03, 1368.0)
    while document.stack.canUndo():
        document.stack.undo()
    assert run.orifice.px == document.run.orifice.px
    assert document.run == bench()[3].run


def test_the_g_in_use_is_said_with_its_source(show: Show, qtbot: QtBot) -> None:
    panel, *_ = show(DatumPanel)
    panel.place.section.set_open(True)
    give(qtbot, panel.place.gravity, "")
    assert "standard gravity" in panel.place.used.text()
    give(qtbot, panel.place.latitude, "45")
    give(qtbot, panel.place.elevation, "0")
    assert "9.806" in panel.place.used.text()  # WGS 84, 45° and sea level: 9.80620 m/s²
    assert "latitude and elevation" in panel.place.used.text()


def test_the_area_follows_from_the_inner_diameter_with_its_uncertainty(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    box = panel.container
    box.section.set_open(True)
    box.shape.setCurrentIndex(0)
    box.shape.activated.emit(0)
    give(qtbot, box.diameter, "54 ± 0,2")
    given = document.run.conditions
    assert given.container_area_m2 == pytest.approx(2.29022e-3, rel=1e-5)  # π·27² mm²
    assert given.container_area_u_m2 == pytest.approx(2 * 0.2 / 54 * 2.29022e-3, rel=1e-5)
    assert box.shape.currentIndex() == 0
    assert "22.90" in box.held.text()


def test_the_area_follows_from_two_sides_once_both_are_given(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    box = panel.container
    before = document.run.conditions.container_area_m2
    box.shape.setCurrentIndex(1)
    box.shape.activated.emit(1)
    give(qtbot, box.width, "100 ± 0,3")
    assert document.run.conditions.container_area_m2 == before
    give(qtbot, box.depth, "60 ± 0,5")
    assert document.run.conditions.container_area_m2 == pytest.approx(6e-3)
    u = ((0.06 * 0.0003) ** 2 + (0.1 * 0.0005) ** 2) ** 0.5
    assert document.run.conditions.container_area_u_m2 == pytest.approx(u)
    give(qtbot, box.area, "70 cm² ± 1")
    assert document.run.conditions.container_area_m2 == pytest.approx(7e-3)
    assert box.width.value is None


@pytest.mark.parametrize(
    ("block", "field", "text", "says"),
    [
        ("orifice", "diameter", "0", "greater than 0"),
        ("orifice", "px_u", "-1", "at least 0"),
        ("drop", "drop", "-260", "greater than 0"),
        ("place", "latitude", "95", "at most 90"),
        ("place", "temperature", "300", "at most 110"),
        ("camera", "facing_u", "100", "at most 90"),
        ("container", "diameter", "-5", "greater than nought"),
        ("gauge", "behind", "far", "not a number"),
    ],
)
def test_what_cannot_be_is_refused_at_the_field_and_the_run_stays(
    show: Show, qtbot: QtBot, block: str, field: str, text: str, says: str
) -> None:
    panel, document, _ = show(DatumPanel)
    where = getattr(getattr(panel, block), field)
    give(qtbot, where, text)
    assert says in where.error.text()
    assert document.run == bench()[3].run


def test_the_drop_may_be_read_from_the_frame(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    # The line lies far below the rule that measures heads, on the tape for the throws, which has the plane's scale.
    read = document.outcome.calibration.drop()
    assert abs(read.values[0] - 0.26) < 2.0 * read.u[0] < 0.003  # drawn with a drop of 260 mm
    assert "The frame gives (260." in panel.drop.read.text()
    press(qtbot, panel.drop.from_frame)
    assert document.run.drop is None
    assert panel.drop.drop.value_edit.text() == ""
    assert "from the frame" in panel.drop.section._head.text()


def without_floor_rule(document: Document) -> None:
    run = replace(document.run, rules=document.run.rules[:1])
    document.set_outcome(outcome_of(run, document.seconds, document.info))


def test_a_drop_that_the_frame_cannot_give_is_missing(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    without_floor_rule(document)
    (reason,) = document.outcome.calibration.drop().reasons
    assert "the landing line lies" in reason
    assert reason in panel.drop.read.text()
    press(qtbot, panel.drop.from_frame)
    assert "missing" in panel.drop.section._head.text()


def test_tools_are_taken_and_shown_as_taken(show: Show, qtbot: QtBot) -> None:
    panel, _, services = show(DatumPanel)
    for block, tool in (
        (panel.orifice, Tool.ORIFICE),
        (panel.gauge, Tool.GAUGE_LINE),
        (panel.landing, Tool.LANDING_LINE),
        (panel.zero, Tool.THROW_ZERO),
    ):
        block.section.set_open(True)
        made, _ = block._tools[0]
        press(qtbot, made)
        assert services.tool is tool
        assert made.isChecked()


def test_fields_wait_for_the_mark_that_they_belong_to(show: Show) -> None:
    run = bench()[0]
    panel, *_ = show(
        DatumPanel, run=replace(run, orifice=None, gauge_line=None, landing_line=None, drop=None)
    )
    assert not panel.orifice.diameter.isEnabled()
    assert not panel.gauge.behind.isEnabled()
    assert "Draw the landing line" in panel.drop.read.text()


@pytest.mark.parametrize("kind", [FilmPanel, RulesPanel, DatumPanel])
def test_everything_has_a_name_and_is_reached_by_the_keyboard(show: Show, kind: type) -> None:
    panel, *_ = show(kind)
    for control in (c for each in (QAbstractButton, QComboBox, QSpinBox) for c in panel.findChildren(each)):
        if control.objectName().startswith("qt_") or control.parent() is None:
            continue
        # Older Qt shows the corner of a table, which it makes itself, among a panel's buttons.
        if control.metaObject().className() == "QTableCornerButton":
            continue
        assert control.accessibleName() or getattr(control, "text", str)(), control
        assert control.focusPolicy() & Qt.FocusPolicy.TabFocus, control
    for edit in panel.findChildren(QLineEdit):
        if edit.objectName() != "qt_spinbox_lineedit":
            assert edit.accessibleName(), edit.placeholderText()


def test_coarse_pixels_are_said_once_the_scale_is_known() -> None:
    fine, coarse = (SimpleNamespace(m_per_px=size) for size in (0.8e-3, 1.6e-3))
    assert coarse_words((fine,)) == ()  # type: ignore[arg-type]  # only the scale is looked at
    (words,) = coarse_words((fine, coarse))  # type: ignore[arg-type]
    assert "0.62 px to a millimetre: half a pixel is 0.8 mm" in words
    assert coarse_words(()) == ()


def test_a_drop_out_of_the_rules_reach_is_told_roughly_as_a_check(show: Show) -> None:
    panel, document, _ = show(DatumPanel)
    without_floor_rule(document)
    assert f"about {100 * document.run.drop.value_m:.2g} cm" in panel.drop.read.text()
    hole = document.run.orifice.px
    line = replace(document.run.landing_line, from_px=hole, to_px=Pixel(hole.x + 500, hole.y - 9))
    assert panel.drop._rough(replace(document.run, landing_line=line)) is None  # above the hole: no drop


def test_tools_wait_for_a_film_to_mark_on(show: Show) -> None:
    for kind in (RulesPanel, DatumPanel):
        panel, document, _ = show(kind)
        tools = [b for b in panel.findChildren(QAbstractButton) if b.text().startswith(("Mark", "Draw"))]
        assert len(tools) >= 2
        assert all(b.isEnabled() for b in tools)
        document.set_clip(None, None)
        assert not any(b.isEnabled() for b in tools)


def test_graduations_are_copied_in_the_unit_that_the_header_names(show: Show) -> None:
    panel, document, _ = show(RulesPanel)
    panel.table.copy_all()
    lines = [line.split("\t") for line in QGuiApplication.clipboard().text().splitlines()]
    assert lines[0] == ["value / m", "at px", "off px", "off / m"]
    values = [float(line[0].replace(",", ".")) for line in lines[1:]]
    assert values == pytest.approx([each.value_m for each in document.run.rules[0].graduations])


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_containers_area_can_be_typed_in_every_language(show: Show, qtbot: QtBot, language: str) -> None:
    use_language(language)
    try:
        panel, document, _ = show(DatumPanel)
        block = panel.container
        block.section.set_open(True)
        shown = lambda: [f.isVisible() for f in (block.diameter, block.width, block.depth, block.area)]  # noqa: E731
        assert shown() == [False, False, False, True]  # the run holds an area of no known shape
        block.shape.setCurrentIndex(0)
        block.shape.activated.emit(0)
        assert shown() == [True, False, False, False]
        give(qtbot, block.diameter, "54")
        assert document.run.conditions.container_area_m2 == pytest.approx(math.pi * 0.027**2)
        block.shape.setCurrentIndex(1)
        block.shape.activated.emit(1)
        assert shown() == [False, True, True, False]
    finally:
        use_language("en")


@pytest.mark.usefixtures("german")
def test_a_rule_without_a_name_of_its_own_is_named_in_the_windows_language(show: Show) -> None:
    run, *_ = bench()
    first, second = run.rules[:2]
    named = replace(run, rules=(replace(first, name="upright rule"), replace(second, name="floor rule 2")))
    panel, document, _ = show(RulesPanel, measured=False, run=named)
    panel.rule_list.setCurrentRow(1)
    assert panel.rule_list.item(0).text().startswith("aufrechter Maßstab (")
    assert panel.name_edit.text() == "Maßstab am Boden 2"
    panel.take_typed()
    names = [rule.name for rule in document.run.rules]
    assert names == ["upright rule", "floor rule 2"]  # as other runs have it
    assert source_words("floor rule 2: scale as read").startswith("Maßstab am Boden 2: ")
    assert source_words("my floor rule: scale as read").startswith("my floor rule: ")


def test_the_launch_angle_and_the_walls_thickness_are_typed_by_the_orifice(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    give(qtbot, panel.orifice.angle, "2")
    assert document.run.orifice.launch_angle_u_deg == 1.0  # a straight edge along 2 cm
    give(qtbot, panel.orifice.angle, "-1,5 ± 0,7")
    give(qtbot, panel.orifice.wall, "2,1")
    hole = document.run.orifice
    assert (hole.launch_angle_deg, hole.launch_angle_u_deg, hole.wall_thickness_m) == (-1.5, 0.7, 0.0021)
    give(qtbot, panel.orifice.angle, "")
    give(qtbot, panel.orifice.wall, "")
    hole = document.run.orifice
    assert (hole.launch_angle_deg, hole.launch_angle_u_deg, hole.wall_thickness_m) == (None, None, None)


def test_a_round_container_gives_the_water_lines_depth_by_its_area(show: Show, qtbot: QtBot) -> None:
    run = bench()[3].run
    conditions = replace(run.conditions, container_area_m2=math.pi * 0.03**2, container_area_u_m2=2e-5)
    known = replace(run, conditions=conditions)
    panel, document, _ = show(DatumPanel, run=known)
    assert "(30.00 ± 0.11) mm" in panel.gauge.radius_words.text()
    press(qtbot, panel.gauge.from_area)
    line = document.run.gauge_line
    assert line.behind_m == pytest.approx(-0.03)
    assert line.behind_u_m == pytest.approx(2e-5 / (2 * math.pi * 0.03))
    assert not panel.gauge.from_area.isVisible()
    unknown = replace(conditions, container_area_m2=None, container_area_u_m2=None)
    assert document.perform(SetConditions(unknown))
    assert "Container" in panel.gauge.radius_words.text()
    assert not panel.gauge.from_area.isVisible()


def test_an_edge_taken_for_certain_to_be_the_level_is_doubted(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(DatumPanel)
    give(qtbot, panel.gauge.meniscus, "0 ± 0")
    assert "climbs about 1 mm" in panel.gauge.doubt.text()
    give(qtbot, panel.gauge.meniscus, "0 ± 0,3")
    assert panel.gauge.doubt.text() == ""
    assert document.run.gauge_line.above_level_u_m == 0.0003


def test_what_waits_for_the_cameras_distance_is_said_and_its_field_is_one_press_away(
    show: Show, qtbot: QtBot
) -> None:
    run = bench()[3].run
    afar = replace(run, camera=replace(run.camera, distance_m=None, distance_u_m=None))
    panel, document, _ = show(DatumPanel, run=afar)
    off = sum(each.behind_m != 0 for each in (*afar.rules, afar.gauge_line, afar.landing_line, afar.orifice))
    assert off >= 2
    assert f"{off} depths wait" in panel.waits.text()
    assert not panel.camera.section.is_open
    press(qtbot, panel.to_camera)
    field = panel.camera.distance.value_edit
    assert panel.window().focusWidget() is field
    assert (
        panel._scroll.viewport().rect().contains(field.mapTo(panel._scroll.viewport(), field.rect().center()))
    )
    give(qtbot, panel.camera.distance, "1,2 ± 0,01")
    assert document.run.camera.distance_m == 1.2
    assert panel.waits.text() == ""
    assert not panel.to_camera.isVisible()
