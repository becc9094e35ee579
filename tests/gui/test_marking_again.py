"""A second mark in a frame: the reader's scatter, and whose marks it may touch."""

from __future__ import annotations

import math

import pytest
from PySide6.QtCore import Qt

from calibration import Pixel
from measure_app.edits import SetSurface
from measure_app.extras import SetAside, earlier_marks_of, reader_scatter, set_aside_of
from measure_app.finders import Part
from measure_app.gui.main_window import MainWindow
from measure_app.gui.panels.steps import Step
from measure_app.gui.tools import Tool
from measure_app.run import By, Reading, Run, Spot
from tests.gui.conftest import Driver


@pytest.fixture
def reading(driver: Driver) -> Driver:
    """The sample run in hand, with the tool for surfaces."""
    driver.open_bench()
    driver.window.go_to_step(Step.READINGS)
    driver.view.zoom_to(Pixel(382.0, 80.0), 4.0)
    driver.window.bench.use_tool(Tool.SURFACE, px_u=0.5)
    return driver


def _surface(driver: Driver, frame: int = 0) -> Spot:
    run = driver.window.bench.document.run
    assert run is not None
    spot = next(r.surface for r in run.readings if r.frame == frame)
    assert spot is not None
    return spot


def _run(window: MainWindow) -> Run:
    run = window.bench.document.run
    assert run is not None
    return run


def test_a_second_press_gives_the_readers_scatter_and_one_undo_takes_it_back(reading: Driver) -> None:
    reading.press(Pixel(381.8, 70.0))
    first = _surface(reading)
    reading.press(Pixel(381.8, 71.0))  # within reach of the first mark, which it must not take hold of
    second = _surface(reading)
    assert second.px.y - first.px.y == pytest.approx(1.0, abs=0.02)
    found = reader_scatter(_run(reading.window), Part.SURFACE)
    assert found is not None
    apart = math.hypot(second.px.x - first.px.x, second.px.y - first.px.y)
    assert found.sd_px == pytest.approx(apart / math.sqrt(2), rel=1e-4)  # positions are kept to 0.01 px
    assert "scatter" in reading.window.statusBar().currentMessage()
    reading.window.bench.document.stack.undo()
    assert _surface(reading) == first
    assert earlier_marks_of(_run(reading.window)) == ()


def test_a_press_far_off_mends_a_mark_and_tells_nothing_of_scatter(reading: Driver) -> None:
    reading.press(Pixel(381.8, 60.0))
    reading.press(Pixel(381.8, 100.0))
    assert _surface(reading).px.y == pytest.approx(100.0, abs=0.3)
    assert earlier_marks_of(_run(reading.window)) == ()


def test_a_press_with_no_tool_chooses_a_mark_and_does_not_shift_it(reading: Driver) -> None:
    reading.press(Pixel(381.8, 70.0))
    before = _surface(reading)
    reading.window.bench.use_tool(Tool.LOOK)
    reading.press(Pixel(382.6, 71.0))
    assert _surface(reading) == before
    assert reading.window.bench.hand.selected is not None


def test_the_scatter_is_offered_and_given_to_the_readers_own_marks_only(reading: Driver) -> None:
    document = reading.window.bench.document
    document.perform(SetSurface(50, Spot(Pixel(382.0, 140.0), 0.7, By.HAND)))  # another reader's
    reading.window.bench.set_blind(True)
    reading.press(Pixel(381.8, 70.0))
    reading.press(Pixel(381.8, 71.0))
    panel = reading.window.panels[Step.READINGS]
    use = panel.again.use_scatter  # type: ignore[attr-defined]
    assert use.isVisibleTo(panel)
    reading.qtbot.mouseClick(use, Qt.MouseButton.LeftButton)
    assert _surface(reading).px_u == pytest.approx(0.71, abs=0.01)
    assert _surface(reading, 50).px_u == 0.7


def test_a_hidden_mark_is_never_taken_for_a_repeat(reading: Driver) -> None:
    document = reading.window.bench.document
    document.perform(SetSurface(0, Spot(Pixel(381.8, 70.0), 0.7, By.HAND)))
    reading.window.bench.set_blind(True)
    reading.press(Pixel(381.8, 71.0))
    assert earlier_marks_of(_run(reading.window)) == ()
    assert reading.window.statusBar().currentMessage() == ""


def test_setting_aside_twice_keeps_both_reasons_and_both_parts(reading: Driver) -> None:
    run = _run(reading.window)
    spot = Spot(Pixel(1.0, 2.0), 0.5, By.HAND)
    run = SetSurface(3, spot).apply(run)
    run = SetAside((3,), "a hand in the way").apply(run)
    other = Spot(Pixel(5.0, 6.0), 0.5, By.HAND)
    from measure_app.edits import SetLanding

    run = SetAside((3,), "a splash").apply(SetLanding(3, other).apply(run))
    (kept,) = set_aside_of(run)
    assert kept.reading == Reading(3, spot, other)
    assert kept.reason == "a hand in the way; a splash"
    again = SetAside((3,), "a splash").apply(run)
    assert set_aside_of(again) == (kept,)
