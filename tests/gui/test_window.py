"""The whole window, driven by presses and keys."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot

from calibration import Measures, Pixel
from measure_app.clip import open_clip
from measure_app.edits import SetConditions, SetDrop, SetOrifice, SetTitle
from measure_app.gui.dialogs import Choice
from measure_app.gui.main_window import MainWindow
from measure_app.gui.marks import Handle, Kind
from measure_app.gui.panels.steps import Step
from measure_app.gui.theme import colours
from measure_app.gui.tools import Tool
from measure_app.outcome import measure
from measure_app.run import By
from measure_app.runfile import load_run
from tests.gui.conftest import BENCH, Answers, Driver, is_closed

CTRL = Qt.KeyboardModifier.ControlModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier


def test_from_an_empty_window_to_findings_by_presses_and_keys(
    driver: Driver, qtbot: QtBot, answers: Answers, tmp_path: Path
) -> None:
    """A film is opened, marked as the sample's marks say, searched, and gives what the command line gives."""
    window, document = driver.window, driver.window.bench.document
    film = tmp_path / "bench.mp4"
    shutil.copy(BENCH / "bench.mp4", film)
    truth = load_run(BENCH / "bench.run.json")
    answers.film_is = film
    qtbot.mouseClick(window.start.film, Qt.MouseButton.LeftButton)
    driver.shows_frame(0)
    driver.view.zoom(1.6)

    for measures in (Measures.HEAD, Measures.THROW):
        rule = next(rule for rule in truth.rules if rule.measures is measures)
        window.bench.use_tool(
            Tool.GRADUATION, measures=measures, graduation_u_m=rule.graduation_u_m, px_u=rule.px_u
        )
        for graduation in rule.graduations:
            driver.press(graduation.px)
            qtbot.waitUntil(window.stage.entry.isVisible, timeout=60_000)
            driver.type(f"{graduation.value_m * 1000:g}".replace(".", ","))
            assert not window.stage.entry.isVisible()
    assert [len(rule.graduations) for rule in document.run.rules] == [len(r.graduations) for r in truth.rules]
    for mine, theirs in zip(document.run.rules, truth.rules, strict=True):
        for a, b in zip(mine.graduations, theirs.graduations, strict=True):
            assert a.value_m == pytest.approx(b.value_m)
            assert np.hypot(a.px.x - b.px.x, a.px.y - b.px.y) < 0.02

    parts = (truth.plumb, truth.orifice, truth.throw_zero, truth.gauge_line, truth.landing_line)
    assert None not in parts
    for tool, start, end in (
        (Tool.PLUMB, truth.plumb.top_px, truth.plumb.bottom_px),
        (Tool.GAUGE_LINE, truth.gauge_line.from_px, truth.gauge_line.to_px),
        (Tool.LANDING_LINE, truth.landing_line.from_px, truth.landing_line.to_px),
    ):
        window.bench.use_tool(tool)
        driver.press(start)  # one press for each end, moving the picture between them
        driver.press(end)
    window.bench.use_tool(Tool.ORIFICE, px_u=truth.orifice.px_u)
    driver.press(truth.orifice.px)
    window.bench.use_tool(Tool.THROW_ZERO, px_u=truth.throw_zero.px_u)
    driver.press(truth.throw_zero.px)
    # What is typed into fields has its own tests; here it goes the same way as from a field.
    document.perform(SetOrifice(truth.orifice))
    document.perform(SetConditions(truth.conditions))
    document.perform(SetDrop(truth.drop))

    driver.view.setFocus()
    driver.key(Qt.Key.Key_F, CTRL)
    qtbot.waitUntil(lambda: document.search is not None, timeout=60_000)
    driver.settles()
    assert document.outcome is not None
    assert document.outcome.findings.finding("speed_coefficient") is not None

    answers.place_is = tmp_path / "mine.run.json"
    driver.key(Qt.Key.Key_S, CTRL)
    assert answers.place_is.exists()
    saved = load_run(answers.place_is)
    assert saved.clip.path == "bench.mp4"
    with open_clip(film) as clip:
        # The readings found are found again, not taken over: the command line sees the set-up alone.
        theirs = measure(saved, clip)
    mine_found = {f.name: (f.value, f.u) for f in document.outcome.findings.findings}
    assert mine_found == {f.name: (f.value, f.u) for f in theirs.findings.findings}
    assert document.outcome.rows == theirs.rows
    assert [r.says for r in document.outcome.remarks] == [r.says for r in theirs.remarks]


def test_the_sample_gives_the_same_files_as_the_command_line(
    driver: Driver, qtbot: QtBot, tmp_path: Path
) -> None:
    from measure_app.__main__ import main

    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    with qtbot.waitSignal(driver.window.bench.results_written, timeout=240_000) as signal:
        driver.window.bench.write_results(tmp_path / "window")
    assert signal.args[0] == tmp_path / "window"
    assert main(["measure", str(BENCH / "bench.run.json"), "--out", str(tmp_path / "line")]) == 0
    for name in ("readings.csv", "findings.json"):
        assert (tmp_path / "window" / name).read_bytes() == (tmp_path / "line" / name).read_bytes()


def test_twenty_readings_take_twenty_presses(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    document = driver.window.bench.document
    line = document.run.gauge_line
    assert line is not None
    driver.window.bench.use_tool(Tool.SURFACE, advance=10, px_u=0.4)
    for i in range(20):
        frame = 10 * i
        driver.shows_frame(frame)
        driver.press(Pixel(line.from_px.x + 1.0, 160.0 + i))
    marked = [r.surface for r in document.run.readings if r.surface is not None]
    assert len(marked) == 20
    assert {spot.by for spot in marked} == {By.HAND}
    assert {spot.px_u for spot in marked} == {0.4}
    assert document.frame == 200
    qtbot.waitUntil(lambda: len(driver.window.deck.head.layers.hand) == 20, timeout=60_000)


def test_a_mark_is_dragged_with_one_edit_and_undone_with_its_name(driver: Driver) -> None:
    driver.open_bench()
    document = driver.window.bench.document
    assert document.run.orifice is not None
    was = document.run.orifice.px
    driver.drag(was, Pixel(was.x + 6, was.y + 4))
    assert document.stack.count() == 1
    assert document.stack.undoText() == "set orifice"
    now = document.run.orifice.px
    assert abs(now.x - was.x - 6) < 1.0
    assert document.run.orifice.diameter_m == load_run(BENCH / "bench.run.json").orifice.diameter_m
    driver.key(Qt.Key.Key_Z, CTRL)
    assert document.run.orifice.px == was


def test_arrows_nudge_the_selected_mark_by_a_tenth_and_a_whole_pixel(driver: Driver) -> None:
    driver.open_bench()
    document, hand = driver.window.bench.document, driver.window.bench.hand
    driver.view.setFocus()
    hand.select(Handle(Kind.ORIFICE))
    was = document.run.orifice.px
    for _ in range(3):
        driver.key(Qt.Key.Key_Right)
    driver.key(Qt.Key.Key_Up, SHIFT)
    assert document.run.orifice.px == pytest.approx((was.x + 0.3, was.y - 1.0))
    assert document.stack.count() == 1  # nudges in a row are one step
    assert driver.view.loupe.isVisible()
    driver.key(Qt.Key.Key_Escape)
    assert hand.selected is None


def test_marks_can_be_made_without_a_mouse(driver: Driver) -> None:
    driver.open_bench()
    document = driver.window.bench.document
    driver.window.bench.use_tool(Tool.THROW_ZERO)
    driver.view.fit()
    driver.key(Qt.Key.Key_Right, SHIFT)
    driver.key(Qt.Key.Key_Down)
    driver.key(Qt.Key.Key_Down, CTRL)
    driver.key(Qt.Key.Key_Return)
    middle = driver.view.map.pixel_at(QPointF(driver.view.viewport().rect().center()))
    assert document.run.throw_zero.px == pytest.approx((middle.x + 10, middle.y + 1.1), abs=0.01)


def test_the_loupe_shows_while_a_tool_is_in_hand_only(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    port = driver.view.viewport()
    qtbot.mouseMove(port, QPoint(200, 150))
    assert not driver.view.loupe.isVisible()
    driver.window.bench.use_tool(Tool.ORIFICE)
    qtbot.mouseMove(port, QPoint(210, 150))
    assert driver.view.loupe.isVisible()
    assert driver.view.loupe._at == driver.view.map.pixel_at(QPointF(210, 150))


def test_the_wheel_magnifies_under_the_pointer(driver: Driver) -> None:
    driver.open_bench()
    about = QPointF(240, 130)
    held = driver.view.map.pixel_at(about)
    before = driver.view.map.scale
    driver.view.zoom(2.0, about)
    after = driver.view.map.pixel_at(about)
    assert driver.view.map.scale == pytest.approx(2 * before)
    assert (after.x, after.y) == pytest.approx((held.x, held.y), abs=1e-6)


def test_keys_step_through_the_film(driver: Driver) -> None:
    driver.open_bench()
    document = driver.window.bench.document
    driver.view.setFocus()
    driver.key(Qt.Key.Key_BracketRight)
    assert document.frame == 1
    driver.key(Qt.Key.Key_Right, SHIFT)
    assert document.frame == 11
    driver.key(Qt.Key.Key_Left)
    assert document.frame == 10
    driver.window.deck.throw.setFocus()
    driver.key(Qt.Key.Key_End)
    assert document.frame == 299
    driver.key(Qt.Key.Key_Left, SHIFT)
    assert document.frame == 289
    driver.key(Qt.Key.Key_Home)
    assert document.frame == 0
    driver.shows_frame(0)


def test_a_press_on_a_strip_goes_to_the_frame_under_it(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    strip = driver.window.deck.head
    point = QPointF(strip.map.x_at(120), strip.height() / 2).toPoint()
    qtbot.mouseClick(strip, Qt.MouseButton.LeftButton, pos=point)
    assert driver.window.bench.document.frame == strip.map.frame_at(point.x())
    driver.shows_frame(strip.map.frame_at(point.x()))


def test_brackets_set_the_part_measured(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    strip, document = driver.window.deck.head, driver.window.bench.document
    start = QPoint(round(strip.map.x_at(-0.5)), 30)
    end = QPoint(round(strip.map.x_at(39.5)), 30)
    qtbot.mousePress(strip, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(strip, end)
    assert document.run.clip.start_frame == 0  # not before it is let go
    qtbot.mouseRelease(strip, Qt.MouseButton.LeftButton, pos=end)
    assert document.run.clip.start_frame == 40
    assert document.run.clip.stop_frame is None
    document.go_to(200)
    strip.setFocus()
    driver.key(Qt.Key.Key_E)
    assert document.run.clip.stop_frame == 201
    document.stack.undo()
    document.stack.undo()
    assert document.run.clip.start_frame == 0


def test_a_hand_reading_is_dragged_on_the_strip(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    driver.settles()
    strip, document = driver.window.deck.head, driver.window.bench.document
    document.go_to(60)
    driver.shows_frame(60)
    driver.window.bench.use_tool(Tool.SURFACE, px_u=0.4)
    line = document.run.gauge_line
    driver.press(Pixel(line.from_px.x, 180.0))
    ((frame, along),) = strip.layers.hand
    assert frame == 60
    start = QPointF(strip.map.x_at(60), strip.map.y_at(along)).toPoint()
    end = start + QPoint(0, 12)
    qtbot.mousePress(strip, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(strip, end)
    qtbot.mouseRelease(strip, Qt.MouseButton.LeftButton, pos=end)
    ((_, now),) = strip.layers.hand
    assert now == pytest.approx(strip.map.along_at(end.y()), abs=0.02)
    assert document.stack.count() == 2


def test_blind_reading_hides_fit_found_and_others_marks(driver: Driver) -> None:
    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    head = driver.window.deck.head
    assert head.layers.law_frames is not None
    assert head.layers.found_frames is not None
    assert any(h.kind is Kind.SURFACE for h in driver.window.bench.hand.visible_handles(100))
    driver.view.setFocus()
    driver.key(Qt.Key.Key_B, CTRL)
    assert head.layers.law_frames is None
    assert head.layers.found_frames is None
    assert head.layers.refused == ()
    assert not any(h.kind is Kind.SURFACE for h in driver.window.bench.hand.visible_handles(100))
    driver.window.bench.document.go_to(100)
    driver.shows_frame(100)
    driver.window.bench.use_tool(Tool.SURFACE)
    driver.press(Pixel(driver.window.bench.document.run.gauge_line.from_px.x, 180.0))
    assert len(head.layers.hand) == 1
    driver.key(Qt.Key.Key_B, CTRL)
    assert head.layers.law_frames is not None


def test_finding_can_be_stopped_and_leaves_nothing(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    bench = driver.window.bench
    with qtbot.waitSignal(bench.finding_progress, timeout=60_000):
        bench.find_the_rest()
    bench.stop_finding()
    driver.settles()
    assert bench.document.search is None
    assert bench.document.run.readings == ()
    assert driver.window.stage.notice.text == ""


def test_undo_of_finding_takes_the_found_readings_away(driver: Driver) -> None:
    driver.open_bench()
    bench = driver.window.bench
    bench.find_the_rest()
    driver.settles()
    assert len(bench.document.run.readings) > 250
    assert bench.document.stack.undoText() == "adopt found readings"
    bench.document.stack.undo()
    driver.settles()
    assert bench.document.run.readings == ()
    assert bench.document.current_search is None
    bench.document.stack.redo()
    driver.settles()
    assert bench.document.current_search is bench.document.search


def test_the_strips_show_while_nothing_was_found(driver: Driver) -> None:
    driver.open_bench()
    driver.settles()
    for view in driver.window.deck.views:
        assert view.picture is not None
        assert view.picture.rows == 300
        assert view.words == ""
    assert "frame 0" in driver.window.deck.head.tell(driver.window.deck.head.map.x_at(0)).lower()


@pytest.mark.parametrize(
    "content", [b"", b"\0" * 4096, b'{"format": "clepsydra-run", "clip": 3}', b"[" * 100_000]
)
def test_a_hostile_run_is_one_line_and_what_is_in_hand_stays(
    driver: Driver, answers: Answers, tmp_path: Path, content: bytes
) -> None:
    bad = tmp_path / "bad.run.json"
    bad.write_bytes(content)
    driver.open_bench()
    run = driver.window.bench.document.run
    answers.run_is = bad
    driver.window.files.open_run()
    assert driver.window.bench.document.run == run
    assert "bad.run.json" in driver.window.stage.notice.text
    assert "\n" not in driver.window.stage.notice.text


def test_a_film_that_is_gone_is_said_and_can_be_found_again(
    driver: Driver, qtbot: QtBot, answers: Answers, tmp_path: Path
) -> None:
    tree = json.loads((BENCH / "bench.run.json").read_text())
    path = tmp_path / "lost.run.json"
    path.write_text(json.dumps(tree))
    driver.window.files.open_file(path)
    qtbot.waitUntil(lambda: driver.window.stage.notice.text != "", timeout=60_000)
    assert "bench.mp4" in driver.window.stage.notice.text
    answers.film_is = BENCH / "bench.mp4"
    driver.window.stage.notice._remedy.click()
    driver.shows_frame(0)
    assert driver.window.stage.notice.text == ""
    assert driver.window.bench.document.stack.undoText() == "locate film"
    assert len(driver.window.bench.document.run.rules) == 2


def test_a_film_that_is_none_leaves_the_window_alive(driver: Driver, qtbot: QtBot, tmp_path: Path) -> None:
    bad = tmp_path / "bad.mp4"
    bad.write_bytes(b"\0" * 5000)
    driver.window.files.open_file(bad)
    qtbot.waitUntil(lambda: driver.window.stage.notice.text != "", timeout=60_000)
    assert "bad.mp4" in driver.window.stage.notice.text
    driver.open_bench()


def test_changes_are_asked_about_before_they_go(
    driver: Driver, answers: Answers, qtbot: QtBot, tmp_path: Path
) -> None:
    driver.open_bench()
    window = driver.window
    window.bench.document.perform(SetTitle("changed"))
    assert window.isWindowModified()
    answers.choice = Choice.STAY
    window.files.close_run()
    assert window.bench.document.run is not None
    answers.choice, answers.place_is = Choice.SAVE, tmp_path / "kept.run.json"
    clip = window.bench.clip
    assert clip is not None
    window.files.close_run()
    assert window.bench.document.run is None
    qtbot.waitUntil(lambda: is_closed(clip), timeout=60_000)  # it would keep its frames at hand
    assert load_run(tmp_path / "kept.run.json").title == "changed"
    assert answers.asked == ["unsaved", "unsaved", "place"]
    assert (tmp_path / "kept.run.json") in _recent(window)


def _recent(window: MainWindow) -> tuple[Path, ...]:
    from measure_app.gui.recent import recent_files

    return recent_files(window.settings)


def test_what_a_crash_left_is_offered_and_taken_back(
    make_window: Callable[[], MainWindow], qtbot: QtBot, tmp_path: Path
) -> None:
    first = make_window()
    first.files.open_sample()
    first.bench.document.perform(SetTitle("unfinished"))
    qtbot.waitUntil(lambda: not first.bench.keeper.busy, timeout=60_000)
    (file,) = (tmp_path / "recovery").glob("*.json")
    copy = tmp_path / "recovery" / "dead.recovery.json"  # as a window that died would have left it
    shutil.copy(file, copy)
    second = make_window()
    row = second.start._lists.itemAt(0).widget()
    assert "unfinished" in row.layout().itemAt(0).widget().text()
    row.layout().itemAt(1).widget().click()
    assert second.bench.document.run.title == "unfinished"
    assert second.bench.changed
    assert second.isWindowModified()
    qtbot.waitUntil(lambda: not copy.exists(), timeout=60_000)  # once the second window keeps it as its own
    assert len(list((tmp_path / "recovery").glob("*.json"))) == 2
    qtbot.waitUntil(lambda: second.stage.view.shown == 0, timeout=60_000)


def test_a_film_can_be_dropped(driver: Driver) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(BENCH / "bench.run.json"))])
    drop = QDropEvent(
        QPointF(300, 300),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    driver.window.dropEvent(drop)
    driver.shows_frame(0)
    assert driver.window.bench.document.path == BENCH / "bench.run.json"


def test_steps_are_reached_in_any_order(driver: Driver) -> None:
    driver.open_bench()
    driver.view.setFocus()
    for key, step in (
        (Qt.Key.Key_5, Step.FINDINGS),
        (Qt.Key.Key_2, Step.RULES),
        (Qt.Key.Key_6, Step.HAND_IN),
        (Qt.Key.Key_1, Step.FILM),
    ):
        driver.key(key, Qt.KeyboardModifier.AltModifier)
        assert driver.window.step is step
        checked = [row.step for row in driver.window.rail.rows if row.isChecked()]
        assert checked == [step]


def test_playing_skips_frames_and_keeps_time(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    playback, document = driver.window.playback, driver.window.bench.document
    playback.set_speed(2.0)
    playback.play()
    begun = playback._clock.elapsed()
    qtbot.wait(600)
    spent = (playback._clock.elapsed() - begun) / 1000
    playback.stop()
    assert abs(document.seconds[document.frame] - 2.0 * spent) < 0.25


def test_every_control_has_a_name(driver: Driver) -> None:
    from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QComboBox, QLineEdit

    driver.open_bench()
    nameless = []
    for step in Step:
        driver.window.go_to_step(step)
        for kind in (QAbstractButton, QComboBox, QAbstractSpinBox, QLineEdit):
            for widget in driver.window.findChildren(kind):
                inside = isinstance(widget.parent(), QComboBox | QAbstractSpinBox)
                text = getattr(widget, "text", lambda: "")() if isinstance(widget, QAbstractButton) else ""
                if widget.isVisible() and not inside and not widget.accessibleName() and not text:
                    nameless.append(
                        f"{step.value}: {type(widget).__name__} in {type(widget.parent()).__name__}"
                    )
    assert nameless == []


def test_still_pictures_open_as_a_film_without_a_clock(
    driver: Driver, answers: Answers, tmp_path: Path
) -> None:
    import cv2

    folder = tmp_path / "shots"
    folder.mkdir()
    with open_clip(BENCH / "bench.mp4") as clip:
        for i in range(8):
            cv2.imwrite(str(folder / f"{i}.png"), clip.frame(35 * i).bgr())
    tree = json.loads((BENCH / "bench.run.json").read_text())
    tree["clip"] = {"path": "shots"}
    (tmp_path / "shots.run.json").write_text(json.dumps(tree))
    driver.window.files.open_file(tmp_path / "shots.run.json")
    driver.shows_frame(0)
    driver.key(Qt.Key.Key_BracketRight)
    driver.shows_frame(1)
    document = driver.window.bench.document
    assert document.seconds is None
    driver.window.bench.find_the_rest()
    driver.settles()
    assert document.outcome is not None
    assert document.outcome.findings.finding("speed_coefficient") is not None
    assert "drain_rate_root_m_per_s" in {each.name for each in document.outcome.findings.undetermined}
    driver.window.playback.play()
    assert not driver.window.playback.playing
    answers.film_is = folder
    driver.window.bench.forget_changes()
    driver.window.files.new_run_on_pictures()
    driver.shows_frame(0)
    assert document.run.clip.path == "shots"
    driver.window.go_to_step(Step.FILM)
    facts = driver.window.panels[Step.FILM]._facts  # type: ignore[attr-defined]
    assert facts.text() == "shots\n1280 × 720 px, 8 frames, no clock"


def test_no_message_moves_the_frame(driver: Driver) -> None:
    driver.open_bench()
    where = driver.view.mapToGlobal(QPoint(0, 0)), driver.view.size()
    driver.window.statusBar().showMessage("Saved as a.run.json")
    driver.settles()
    assert (driver.view.mapToGlobal(QPoint(0, 0)), driver.view.size()) == where


def test_before_a_film_is_there_the_stage_shows_neither_a_frame_nor_a_scale(
    driver: Driver, qtbot: QtBot, tmp_path: Path
) -> None:
    window = driver.window
    path = tmp_path / "lost.run.json"
    path.write_text((BENCH / "bench.run.json").read_text())
    window.files.open_file(path)
    qtbot.waitUntil(lambda: window.stage.notice.text != "", timeout=60_000)
    assert window.stage._scale.text() == ""
    picture = driver.view.viewport().grab().toImage()
    assert picture.pixelColor(picture.width() // 2, picture.height() // 2).name() == colours().sunken
    driver.open_bench()
    assert window.stage._scale.text() == f"{100 * driver.view.map.scale:.0f} %"


def test_a_file_that_is_not_there_opens_nothing(driver: Driver, tmp_path: Path) -> None:
    driver.window.files.open_file(tmp_path / "none.mp4")
    assert driver.window.bench.document.run is None
    assert "none.mp4: there is no such file" in driver.window.start._trouble.text()


def test_a_magnified_picture_says_how_it_is_moved_while_a_press_marks(driver: Driver) -> None:
    driver.open_bench()
    says = driver.window.stage._says
    driver.window.bench.use_tool(Tool.ORIFICE)
    assert "Space" not in says.text()
    driver.view.zoom(3.0)
    assert (
        says.text()
        == "Press on the centre of the hole, at its outer rim. Hold Space and drag to move the picture."
    )
    driver.window.bench.use_tool(Tool.LOOK)
    assert "Space" not in says.text()


def test_a_panel_is_laid_out_before_it_is_first_painted(driver: Driver, qtbot: QtBot) -> None:
    driver.window.files.open_file(BENCH / "bench.mp4")
    qtbot.waitUntil(lambda: bool(driver.window._panels), timeout=60_000)
    box = driver.window.panels[Step.FILM].frame_box
    assert box.height() >= box.minimumSizeHint().height()
