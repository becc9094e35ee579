"""What stands half typed is saved, a saved run knows its film, and results carry the picture of the set-up."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt, QTimer
from pytestqt.qtbot import QtBot

from measure_app.clip import sha256_of
from measure_app.edits import SetTitle
from measure_app.errors import OutputError, Stopped
from measure_app.extras import notes_of
from measure_app.gui.dialogs import Clash
from measure_app.gui.main_window import MainWindow
from measure_app.gui.panels.steps import Step
from measure_app.gui.recovery import RecoveryStore, Snapshot
from measure_app.runfile import file_mark, load_run, save_run
from tests.gui.conftest import BENCH, Answers, Driver


def test_words_that_are_still_being_typed_are_in_the_saved_run(
    driver: Driver, qtbot: QtBot, answers: Answers, tmp_path: Path
) -> None:
    driver.open_bench()
    window = driver.window
    window.go_to_step(Step.HAND_IN)
    panel = window.panels[Step.HAND_IN]
    qtbot.keyClicks(panel.notes_box, "rain on the roof")  # type: ignore[attr-defined]
    panel.observer_edit.selectAll()  # type: ignore[attr-defined]
    qtbot.keyClicks(panel.observer_edit, "N. Reader")  # type: ignore[attr-defined]
    answers.place_is = tmp_path / "mine.run.json"
    assert window.files.save()
    saved = load_run(tmp_path / "mine.run.json")
    assert notes_of(saved) == "rain on the roof"
    assert saved.observer == "N. Reader"
    assert not window.bench.changed


def test_words_that_are_still_being_typed_count_as_a_change(
    driver: Driver, qtbot: QtBot, answers: Answers
) -> None:
    driver.open_bench()
    driver.window.go_to_step(Step.HAND_IN)
    qtbot.keyClicks(driver.window.panels[Step.HAND_IN].notes_box, "a gust")  # type: ignore[attr-defined]
    driver.window.files.close_run()
    assert answers.asked == ["unsaved"]


def test_a_saved_run_knows_its_film_and_notices_another_in_its_place(
    driver: Driver, qtbot: QtBot, tmp_path: Path
) -> None:
    film = tmp_path / "drain.mp4"
    shutil.copy(BENCH / "bench.mp4", film)
    window = driver.window
    window.files.open_file(film)
    driver.shows_frame(0)
    driver.settles()
    assert window.bench.save(tmp_path / "drain.run.json")
    assert load_run(tmp_path / "drain.run.json").clip.sha256 == sha256_of(film)
    assert not window.bench.changed
    shutil.copy(BENCH.parent / "slow" / "slow.mp4", film)
    with qtbot.waitSignal(window.bench.troubled, timeout=60_000) as signal:
        window.files.open_file(tmp_path / "drain.run.json")
    assert "not the film that this run was made from" in str(signal.args[0])


def test_results_written_by_the_window_show_the_set_up(driver: Driver, qtbot: QtBot, tmp_path: Path) -> None:
    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    bench = driver.window.bench
    told: list[tuple[int, int, str]] = []
    ticks: list[float] = []
    clock = QTimer()
    clock.timeout.connect(lambda: ticks.append(time.monotonic()))
    clock.start(20)
    bench.writing_progress.connect(lambda *now: told.append(now))
    with qtbot.waitSignal(bench.results_written, timeout=120_000) as signal:
        bench.write_results(tmp_path / "out")
    clock.stop()
    assert signal.args[0] == tmp_path / "out"
    assert (tmp_path / "out" / "figures" / "set-up.jpg").read_bytes().startswith(b"\xff\xd8")
    assert [done for done, _, _ in told] == list(range(told[0][1]))  # each part once, none left out
    assert {"findings.json", "workbook.xlsx", "report.pdf"} < {what for _, _, what in told}
    assert len(ticks) > 2 * len(told)  # the window lives on meanwhile
    # Stopped in the middle of the second writing: what the first wrote stays as it was, nothing lies beside it.
    before = {path: path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file()}
    bench.writing_progress.connect(lambda done, *_: bench.stop_writing() if done == 3 else None)
    with qtbot.waitSignal(bench.results_written, timeout=120_000) as signal:
        bench.write_results(tmp_path / "out")
    assert isinstance(signal.args[0], Stopped)
    assert {path: path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file()} == before
    assert {path.name for path in tmp_path.iterdir()} <= {"out", "recovery"}


def test_a_number_still_being_typed_is_taken_unless_escape_dropped_it(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    window = driver.window
    window.go_to_step(Step.DATUM)
    panel = window.panels[Step.DATUM]
    field = panel.orifice.diameter  # type: ignore[attr-defined]
    before = window.bench.document.run
    field.value_edit.selectAll()
    qtbot.keyClicks(field.value_edit, "7")
    qtbot.keyClick(field.value_edit, Qt.Key.Key_Escape)
    window.take_typed()
    assert window.bench.document.run == before
    qtbot.keyClicks(field.value_edit, "7")
    window.take_typed()
    assert window.bench.document.run != before


def test_a_run_that_another_window_saved_meanwhile_is_not_written_over_unasked(
    driver: Driver, answers: Answers, tmp_path: Path
) -> None:
    driver.open_bench()
    window, place = driver.window, tmp_path / "mine.run.json"
    answers.place_is = place
    assert window.files.save()
    assert window.files.save()
    assert answers.asked == ["place"]
    theirs = place.read_bytes().replace(b"Workshop bench", b"Another bench", 1)
    place.write_bytes(theirs)
    assert not window.files.save()
    assert answers.asked[-1] == "clash"
    assert place.read_bytes() == theirs
    answers.clash_is, answers.place_is = Clash.ELSEWHERE, tmp_path / "elsewhere.run.json"
    assert window.files.save()
    assert place.read_bytes() == theirs
    assert window.bench.document.path == tmp_path / "elsewhere.run.json"


def test_saving_over_it_is_a_persons_own_choice_and_a_file_that_is_gone_comes_back(
    driver: Driver, answers: Answers, tmp_path: Path
) -> None:
    driver.open_bench()
    window, place = driver.window, tmp_path / "mine.run.json"
    answers.place_is = place
    assert window.files.save()
    place.write_bytes(b"{}")
    answers.clash_is = Clash.OVER
    assert window.files.save()
    assert load_run(place).title == "Workshop bench: clear cylinder, 5 mm hole"
    place.unlink()
    answers.asked.clear()
    assert window.files.save()
    assert answers.asked == []
    assert place.exists()


def test_two_windows_on_one_run_ask_before_either_writes_over_the_other(
    make_window: Callable[[], MainWindow], answers: Answers, tmp_path: Path
) -> None:
    place = tmp_path / "shared.run.json"
    shutil.copy(BENCH / "bench.run.json", place)
    one, two = make_window(), make_window()
    for window, title in ((one, "first"), (two, "second")):
        window.files.open_file(place)
        window.bench.document.perform(SetTitle(title))
    answers.asked.clear()
    assert one.files.save()
    assert answers.asked == []
    assert not two.files.save()
    assert answers.asked == ["clash"]
    assert load_run(place).title == "first"
    assert two.bench.changed
    answers.clash_is = Clash.OVER
    assert two.files.save()
    assert load_run(place).title == "second"
    # And the other way round: the first window knows only what it wrote itself.
    answers.clash_is = Clash.STAY
    one.bench.document.perform(SetTitle("first again"))
    assert not one.files.save()
    assert load_run(place).title == "second"


@pytest.mark.parametrize("meanwhile", [True, False])
def test_what_a_crash_left_is_not_saved_over_what_another_window_saved_meanwhile(
    make_window: Callable[[], MainWindow],
    qtbot: QtBot,
    answers: Answers,
    tmp_path: Path,
    *,
    meanwhile: bool,
) -> None:
    place = tmp_path / "mine.run.json"
    shutil.copy(BENCH / "bench.run.json", place)
    first = make_window()
    first.files.open_file(place)
    first.bench.document.perform(SetTitle("unfinished"))
    qtbot.waitUntil(lambda: not first.bench.keeper.busy, timeout=60_000)
    (file,) = (tmp_path / "recovery").glob("*.json")
    shutil.copy(file, tmp_path / "recovery" / "dead.recovery.json")
    if meanwhile:
        save_run(replace(load_run(place), title="theirs"), place)
    second = make_window()
    (dead,) = RecoveryStore(tmp_path / "recovery").left_behind()
    second.bench.restore(dead)
    answers.asked.clear()
    assert second.files.save() is not meanwhile
    assert answers.asked == (["clash"] if meanwhile else [])
    assert load_run(place).title == ("theirs" if meanwhile else "unfinished")


def test_a_recovery_file_without_a_mark_is_asked_about(
    make_window: Callable[[], MainWindow], answers: Answers, tmp_path: Path
) -> None:
    place = tmp_path / "mine.run.json"
    shutil.copy(BENCH / "bench.run.json", place)
    window = make_window()
    window.bench.restore(Snapshot(load_run(place), tmp_path, place))
    assert not window.files.save()
    assert answers.asked == ["clash"]


def test_a_dead_windows_file_goes_only_once_its_run_is_kept_anew(
    make_window: Callable[[], MainWindow], qtbot: QtBot, tmp_path: Path
) -> None:
    window = make_window()
    run = load_run(BENCH / "bench.run.json")
    dead = tmp_path / "recovery" / "dead.recovery.json"
    dead.write_text("not looked at", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("measure_app.gui.recovery.write_whole", _full_disk)
        with qtbot.waitSignal(window.bench.troubled, timeout=60_000) as signal:
            window.bench.restore(Snapshot(run, BENCH, None, file=dead))
        assert "cannot be kept" in str(signal.args[0])
    assert dead.exists()
    window.bench.document.perform(SetTitle("the disk has room again"))
    qtbot.waitUntil(lambda: not dead.exists(), timeout=60_000)


def _full_disk(path: Path, _data: bytes) -> None:
    raise OutputError("cannot be written (no space left on device)", where=str(path))


def test_the_mark_of_a_saved_run_is_of_what_was_written_not_of_what_stands_there(tmp_path: Path) -> None:
    place = tmp_path / "a.run.json"
    mark = save_run(load_run(BENCH / "bench.run.json"), place)
    assert mark == file_mark(place)
    place.write_bytes(place.read_bytes() + b" ")
    assert mark != file_mark(place)


def test_a_clock_that_was_put_back_changes_nothing(driver: Driver, tmp_path: Path) -> None:
    """Changes are known by content: neither an old date nor a future one is a change, and a change is one."""
    place = tmp_path / "mine.run.json"
    shutil.copy(BENCH / "bench.run.json", place)
    window = driver.window
    window.files.open_file(place)
    for year, second in ((1990, 631152000), (2100, 4102444800)):
        os.utime(place, (second, second))
        window.bench.document.perform(SetTitle(f"in {year}"))
        assert window.files.save()
        assert load_run(place).title == f"in {year}"
    data = place.read_bytes()
    before = place.stat()
    place.write_bytes(data.replace(b"in 2100", b"in 2101"))
    os.utime(place, ns=(before.st_atime_ns, before.st_mtime_ns))
    window.bench.document.perform(SetTitle("mine"))
    assert not window.files.save()
    assert load_run(place).title == "in 2101"
