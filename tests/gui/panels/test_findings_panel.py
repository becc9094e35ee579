"""Findings: graphs, equations, budgets, and nothing shown that is hidden or old."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace as with_parts
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QLabel, QWidget
from pytestqt.qtbot import QtBot
from stand import bench, hold

from analysis import FINDING_NAMES, LAWS, Remark, Share, Undetermined, finding_name, with_uncertainty
from measure_app.gui.panels import wording
from measure_app.gui.panels.budget_bars import BudgetList, budget_rows
from measure_app.gui.panels.datum_panel import DatumPanel
from measure_app.gui.panels.finding_list import ASSUMED_G, FindingList
from measure_app.gui.panels.findings_panel import FindingsPanel
from measure_app.gui.panels.graph_words import (
    axis_html,
    band_u,
    equation_words,
    fit_words,
    point_words,
    tab_of,
    whole_of,
)
from measure_app.gui.panels.graphs import line_of
from measure_app.gui.panels.readings_panel import ReadingsPanel
from measure_app.gui.panels.wording import BORROWED_G, unit_words

Show = Callable[..., Any]


def press(qtbot: QtBot, button: QAbstractButton) -> None:
    button.setFocus()
    qtbot.keyClick(button, Qt.Key.Key_Space)


def test_all_findings_are_listed_with_value_interval_and_mark(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    findings = document.outcome.findings.findings
    assert panel.list.rows_model.rows == findings
    spoken = [panel.list.rows_model.index(i, 0).data() for i in range(len(findings))]
    assert all("±" in words and "95 %" in words for words in spoken)
    assert [("assumed g" in words) for words in spoken] == [f.depends_on_assumed_g for f in findings]
    assert ASSUMED_G.startswith("◇")


def test_every_name_of_the_contract_has_words(show: Show) -> None:
    _, document, _ = show(FindingsPanel)
    assert {f.name for f in document.outcome.findings.findings} <= set(FINDING_NAMES)
    assert finding_name("something_new") == "something new"


def test_a_g_out_of_a_slope_says_that_it_is_no_news(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FindingsPanel)
    names = [f.name for f in document.outcome.findings.findings]
    assert panel.borrowed.text() == ""  # Cv is chosen first
    panel.list.setFocus()
    for _step in range(names.index("gravity_from_slope_root")):
        qtbot.keyClick(panel.list, Qt.Key.Key_Down)
    assert BORROWED_G in panel.borrowed.text()
    assert "g" in panel.budget_words.text()


def test_the_budget_adds_up_and_tells_what_halving_the_first_source_gives(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    cv = document.outcome.findings.finding("speed_coefficient")
    rows = budget_rows(cv)
    assert sum(row.part for row in rows) == pytest.approx(1.0)
    assert rows[0].length == 1.0
    halved = with_parts(
        cv, budget=(Share(cv.budget[0].source, cv.budget[0].u / 2, shared=True), *cv.budget[1:])
    )
    before, after = (np.sqrt(sum(s.u**2 for s in f.budget)) for f in (cv, halved))
    assert f"{100 * (1 - after / before):.0f} % smaller" in panel.budget_words.text()
    spoken = panel.budget.rows_model.index(0, 0).data()
    assert cv.budget[0].source in spoken
    assert ("shared by all readings" if cv.budget[0].shared else "of single readings") in spoken


def test_bars_of_shared_sources_are_hatched_and_those_of_single_readings_solid(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    cv = document.outcome.findings.finding("speed_coefficient")
    shares = (Share("drop", 1e-3, shared=True), Share("landing", 1e-3, shared=False))
    bars = panel.budget
    bars.show_finding(with_parts(cv, budget=shares), 6)
    image = bars.viewport().grab().toImage()
    line = bars.fontMetrics().height()
    shades = []
    for i in range(2):
        rect = bars.visualRect(bars.model().index(i, 0))
        middle = rect.top() + 4 + round(1.5 * line)
        shades.append({image.pixel(rect.left() + 12 + x, middle) for x in range(40)})
    assert len(shades[0]) > 1
    assert len(shades[1]) == 1


def test_the_graph_shows_the_points_and_the_line_that_the_engine_fitted(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FindingsPanel)
    tabs = panel.graphs
    for i, law in enumerate(LAWS):
        tabs.tabs.setCurrentIndex(i)
        fitted = tabs.current.fitted
        assert fitted is line_of(document.outcome, law, free=True, both=True)
        x, y = tabs.current._points.getData()
        assert np.array_equal(x, fitted.points.x)
        assert np.array_equal(y, fitted.points.y)
        line_x, line_y = tabs.current._line.getData()
        slope = (line_y[-1] - line_y[0]) / (line_x[-1] - line_x[0])
        assert slope == pytest.approx(fitted.line.slope, rel=1e-9)
        assert tab_of(law) in tabs.tabs.tabText(i)
    tabs.tabs.setCurrentIndex(0)
    press(qtbot, tabs.free_box)
    assert tabs.current.fitted.line.intercept == 0.0
    assert "+" not in tabs.equation.text().splitlines()[0]
    press(qtbot, tabs.both_box)
    assert not tabs.current.fitted.errors_in_both
    assert "least squares" in tabs.equation.text()


def test_a_graph_fills_its_tab(show: Show) -> None:
    panel, *_ = show(FindingsPanel)
    QGuiApplication.processEvents()
    tabs = panel.graphs.tabs
    assert tabs.height() - tabs.tabBar().height() - panel.graphs.current.height() < 12


def test_the_axes_carry_their_units() -> None:
    titles = [(axis_html(law.x_name, law.x_unit), axis_html(law.y_name, law.y_unit)) for law in LAWS]
    assert [t.rsplit("/ ", 1)[-1].split("<")[0] for pair in titles for t in pair] == [
        "√m", "m/s", "m", "m²/s²", "m", "m²", "s", "√m",
    ]  # fmt: skip


def test_the_equation_is_the_fits_own() -> None:
    fitted = line_of(bench()[3], LAWS[0], free=True, both=True)
    assert fitted is not None
    words = equation_words(fitted)
    assert f"{fitted.line.slope:.4f}"[:5] in words
    assert "300 points" in words
    assert "R² = 0.9999" in words


@pytest.mark.parametrize(
    ("law", "name"),
    [
        (LAWS[0], "slope_speed_vs_root_head"),
        (LAWS[1], "slope_speed_squared_vs_head"),
        (LAWS[2], "slope_throw_squared_vs_head"),
    ],
)
def test_a_graph_tells_the_findings_own_uncertainty_and_names_the_scatter(law: Any, name: str) -> None:
    outcome = bench()[3]
    fitted = line_of(outcome, law, free=True, both=True)
    assert fitted is not None
    whole = whole_of(fitted, len(outcome.lengths.readings))
    finding = outcome.findings.finding(name)
    assert whole is not None
    assert finding is not None
    assert whole.slope.u == pytest.approx(finding.u, rel=1e-3)
    words = equation_words(fitted, whole)
    assert with_uncertainty(finding.value, finding.u, unit_words(law.slope_unit)).split(" ")[0] in words
    assert "scatter only" in words
    assert whole.slope.u > 3 * fitted.line.slope_u  # 300 frames: what they share is what counts


def test_the_band_is_as_wide_as_slope_and_intercept_let_the_line_move() -> None:
    outcome = bench()[3]
    fitted = line_of(outcome, LAWS[0], free=True, both=True)
    assert fitted is not None
    whole = whole_of(fitted, len(outcome.lengths.readings))
    assert whole is not None
    assert whole.intercept is not None
    u = band_u(fitted, whole, np.array([0.0, 0.3, 0.45]))
    assert u[0] == pytest.approx(whole.intercept.u)
    assert np.all(u[1:] < whole.intercept.u + np.array([0.3, 0.45]) * whole.slope.u)


def test_the_origin_is_missed_only_by_the_whole_uncertainty() -> None:
    outcome = bench()[3]
    fitted = line_of(outcome, LAWS[0], free=True, both=True)
    assert fitted is not None
    whole = whole_of(fitted, len(outcome.lengths.readings))
    # By scatter alone the sample's line misses the origin 14 times over; its true Cv is one number throughout.
    assert any("origin" in words for words in fit_words(fitted))
    assert not any("origin" in words for words in fit_words(fitted, whole))


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.key)
def test_a_point_is_said_to_stand_off_by_its_own_uncertainty_in_both_directions(law: Any) -> None:
    fitted = line_of(bench()[3], law, free=True, both=True)
    assert fitted is not None
    points, line = fitted.points, fitted.line
    off = points.y - line.intercept - line.slope * points.x
    # Propagation of independent errors in y and in slope·x (JCGM 100:2008, 5.1.2).
    u = np.sqrt(points.y_u**2 + (line.slope * points.x_u) ** 2)
    for at in range(len(off)):
        side = "above" if off[at] >= 0 else "below"
        words = point_words(fitted, at, 7)
        assert f"{side} the line ({abs(off[at]) / u[at]:.1f} of its own" in words


def test_arrows_walk_along_the_points_and_enter_goes_to_the_frame(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FindingsPanel)
    graph = panel.graphs.current
    graph.setFocus()
    qtbot.keyClick(graph, Qt.Key.Key_Right)
    qtbot.keyClick(graph, Qt.Key.Key_Right)
    fitted = graph.fitted
    second = int(np.argsort(fitted.points.x, kind="stable")[1])
    frame = document.outcome.lengths.readings[int(fitted.points.rows[second])].frame
    assert f"Frame {frame}:" in panel.graphs.point.text()
    assert panel.graphs.point.text() == point_words(fitted, second, frame)
    ringed, residuals = (np.column_stack(item.getData()) for item in (graph._low_cursor, graph._residuals))
    # The ring below sits on the point's own residual.
    assert np.any(np.all(np.isclose(residuals, ringed[0], rtol=1e-12, atol=1e-15), axis=1))
    qtbot.keyClick(graph, Qt.Key.Key_Return)
    assert document.frame == frame


def test_pointing_at_a_point_asks_for_its_pixels_and_pressing_goes_to_its_frame(show: Show) -> None:
    panel, document, services = show(FindingsPanel)
    graph = panel.graphs.current
    QGuiApplication.processEvents()
    points = graph.fitted.points
    at = int(np.argmax(points.x))
    scene = graph._main.vb.mapViewToScene(QPointF(float(points.x[at]), float(points.y[at])))
    graph._moved(scene)
    frame = document.outcome.lengths.readings[int(points.rows[at])].frame
    assert services.asked[-1][:2] == ("crop", frame)
    graph._moved(QPointF(-50.0, -50.0))
    assert services.asked[-1][:2] == ("crop", -1)

    class Press:
        def scenePos(self) -> QPointF:  # noqa: N802
            return scene

        def button(self) -> Qt.MouseButton:
            return Qt.MouseButton.LeftButton

    document.go_to(150)
    graph._clicked(Press())
    assert document.frame == frame


def test_a_graph_is_copied_as_a_picture(show: Show, qtbot: QtBot) -> None:
    panel, *_ = show(FindingsPanel)
    press(qtbot, panel.graphs.copy_button)
    image = QGuiApplication.clipboard().image()
    assert image.width() >= 400
    shades = {image.pixel(x, y) for x in range(0, image.width(), 7) for y in range(0, image.height(), 7)}
    assert len(shades) > 10


def test_blind_mode_hides_all_of_it(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    document.set_blind(True)
    assert "Blind mode" in panel.state.text()
    assert not panel.list.isVisible()
    assert panel.list.rows_model.rows == ()
    assert panel.graphs.current.fitted is None
    document.set_blind(False)
    assert panel.list.rows_model.rows


def test_without_an_outcome_it_says_why(show: Show) -> None:
    panel, *_ = show(FindingsPanel, measured=False)
    assert "Nothing to show yet" in panel.state.text()
    assert not panel.list.isVisible()


def test_what_is_not_determined_is_named_with_what_is_missing(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    outcome = document.outcome
    fewer = with_parts(
        outcome,
        findings=with_parts(outcome.findings, undetermined=(Undetermined("time_to_empty_s", "a clock"),)),
    )
    document.set_outcome(fewer)
    assert panel.undetermined.text() == "•  time to empty: needs a clock."
    assert panel.undetermined.isVisible()


def test_findings_are_copied_as_a_table(show: Show, qtbot: QtBot) -> None:
    panel, document, _ = show(FindingsPanel)
    press(qtbot, panel.copy_button)
    lines = QGuiApplication.clipboard().text().splitlines()
    assert len(lines) == 1 + len(document.outcome.findings.findings)
    cells = lines[1].split("\t")
    assert cells[1] == "Cv"
    assert float(cells[2].replace(",", ".")) == pytest.approx(document.outcome.findings.findings[0].value)


@pytest.mark.qt_log_ignore("This plugin does not support")  # sizes and stacking, without a screen
def test_the_graphs_have_a_window_of_their_own(show: Show) -> None:
    panel, *_ = show(FindingsPanel)
    panel._enlarge()
    assert panel._large_tabs.current.fitted is panel.graphs.current.fitted
    room = panel.screen().availableGeometry()
    assert panel._large.height() <= room.height() - 60
    last = panel._large_tabs.copy_button
    assert last.mapTo(panel._large, last.rect().bottomRight()).y() <= panel._large.height()
    panel._large.close()


@pytest.mark.qt_log_ignore("This plugin does not support")  # sizes and stacking, without a screen
@pytest.mark.parametrize("seen", [True, False])
def test_blind_mode_shuts_the_window_of_the_graphs_whichever_step_is_open(show: Show, seen: bool) -> None:
    panel, document, _ = show(FindingsPanel)
    panel._enlarge()
    large = panel._large_tabs
    large.current._choose(3)
    assert large.point.text().startswith("Frame ")
    if not seen:
        panel.hide()
    document.set_blind(True)
    assert not large.isVisible()
    assert large.current.fitted is None
    assert "Frame" not in large.point.text()


@pytest.mark.qt_log_ignore("This plugin does not support")  # sizes and stacking, without a screen
def test_the_window_of_the_graphs_keeps_up_while_another_step_is_open(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    panel._enlarge()
    panel.hide()
    document.set_outcome(None)
    assert panel._large_tabs.current.fitted is None
    panel._large.close()


def test_the_words_about_a_point_go_with_its_graph(show: Show) -> None:
    panel, *_ = show(FindingsPanel)
    panel.graphs.current._choose(3)
    assert panel.graphs.point.text().startswith("Frame ")
    panel.graphs.tabs.setCurrentIndex(1)
    assert "Frame" not in panel.graphs.point.text()


def test_graphs_are_not_loaded_before_they_are_looked_at() -> None:
    code = "import sys, measure_app.gui.panels.findings_panel; sys.exit('pyqtgraph' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_list_models_keep_the_rules(qtmodeltester: Any) -> None:
    findings = bench()[3].findings.findings
    listed = FindingList()
    listed.show_findings(findings)
    qtmodeltester.check(listed.rows_model)
    bars = BudgetList()
    left_out = bars.show_finding(findings[0], 3)
    assert left_out == len(findings[0].budget) - 3
    qtmodeltester.check(bars.rows_model)


def test_a_long_name_of_a_finding_breaks_rather_than_being_cut(qtbot: QtBot) -> None:
    findings = bench()[3].findings.findings
    long = next(f for f in findings if f.name == "speed_coefficient_mean_of_ratios")
    short = next(f for f in findings if f.name == "speed_coefficient")
    listed = FindingList()
    hold(qtbot, listed, 190, 400)
    listed.show_findings((short, long))
    line = listed.fontMetrics().height()
    one, two = (listed.sizeHintForRow(row) for row in (0, 1))
    assert two - one >= 0.8 * line
    assert one + two <= listed.height() <= one + two + 10
    listed.resize(700, 400)
    assert listed.sizeHintForRow(1) == listed.sizeHintForRow(0) == one


def test_a_graph_with_few_points_can_be_emptied(show: Show) -> None:
    panel, _, _ = show(FindingsPanel)
    graph = panel.graphs.current
    fitted = graph.fitted
    few = with_parts(
        fitted,
        points=with_parts(
            fitted.points,
            **{
                name: getattr(fitted.points, name)[..., :10]
                for name in ("rows", "x", "y", "x_u", "y_u", "x_own", "y_own")
            },
            x_shared=fitted.points.x_shared[:10],
            y_shared=fitted.points.y_shared[:10],
        ),
    )
    graph.show_line(few, np.arange(300))
    graph.show_line(None, ())
    bars = graph._bars.boundingRect()  # it threw where bars of the line before were left
    assert bars.isEmpty()


def test_remarks_name_the_fields_of_the_window_and_single_frames(show: Show) -> None:
    panel, document, _ = show(FindingsPanel)
    remarks = (
        Remark("depth", "no camera.distance_m: give camera.distance_m and the behind_m of gauge_line.", None),
        Remark("surface", "not found in frame 7, one of 300: hidden", (7, 7)),
        Remark("landing", "not found", (3, 9)),
    )
    document.set_outcome(with_parts(document.outcome, remarks=remarks))
    text = panel.remarks.text()
    assert "camera.distance_m" not in text
    assert text.count("“From the lens to the jet's plane” (step Datum › Camera)") == 2
    assert "“behind the jet's plane” of “Gauge line”." in text
    assert "Surface (frame 7): not found in frame 7, one of 300: hidden." in text
    assert "Landing (frames 3 to 9): not found." in text


def test_every_key_that_is_said_by_a_field_has_that_field(show: Show) -> None:
    labels = {
        child.text()
        for kind in (DatumPanel, ReadingsPanel)
        for child in show(kind)[0].findChildren(QWidget)
        if isinstance(child, QLabel | QAbstractButton)
    }
    shown = " | ".join(labels)
    for key, (label, step, section) in wording._OF_FIELDS.items():
        if step is not None:
            assert label in shown, key
            assert section in shown, key
        assert label in wording.with_fields(f"give {key}.")
        assert wording.with_fields(f"my_{key} {key}x") == f"my_{key} {key}x"
