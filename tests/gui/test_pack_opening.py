"""Packs opened by the window: unfolded beside themselves, a share led through, read blind where it must be."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from calibration import Pixel
from measure_app.gui.pack_opening import folder_for
from measure_app.gui.panels.steps import Step
from measure_app.gui.tools import Tool
from measure_app.packs import PackPlan, manifest_of, pack
from measure_app.runfile import load_run
from tests.gui.conftest import BENCH, Answers, Driver


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack of the sample film for three students, to be read blind."""
    out = tmp_path_factory.mktemp("made") / "class.clepsydra"
    pack(BENCH / "bench.run.json", out, PackPlan(students=3, each=10, blind=True))
    return out


@pytest.fixture
def given(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path / "class.clepsydra"))


def opened(driver: Driver, given: Path) -> None:
    driver.window.files.open_file(given)
    driver.qtbot.waitUntil(lambda: driver.window.bench.document.run is not None, timeout=60_000)
    driver.shows_frame(0)
    driver.settles()


def test_a_pack_that_is_opened_asks_for_the_share_and_opens_its_run(
    driver: Driver, answers: Answers, given: Path
) -> None:
    answers.share_is = 2
    opened(driver, given)
    assert answers.asked == ["share of 3"]
    document = driver.window.bench.document
    assert document.path == given.parent / "class" / "share-02.run.json"
    assert sorted(p.name for p in document.path.parent.glob("*.run.json")) == ["share-02.run.json"]


def test_a_pack_to_be_read_blind_stays_blind_and_ones_own_marks_stay_in_sight(
    driver: Driver, qtbot: QtBot, given: Path
) -> None:
    opened(driver, given)
    bench = driver.window.bench
    assert bench.document.blind
    with qtbot.waitSignal(bench.troubled) as signal:
        bench.set_blind(False)
    assert "to be read blind" in str(signal.args[0])
    assert bench.document.blind


def test_presses_lead_from_one_frame_of_the_share_to_the_next(driver: Driver, given: Path) -> None:
    opened(driver, given)
    window = driver.window
    window.go_to_step(Step.READINGS)
    panel = window.panels[Step.READINGS]
    frames = panel.share.frames  # type: ignore[attr-defined]
    assert len(frames) >= 10
    assert list(frames) == sorted(frames)
    panel.share.next_button.click()  # type: ignore[attr-defined]
    panel.take(Tool.SURFACE)  # type: ignore[attr-defined]
    first = frames[0] if frames[0] > 0 else frames[1]
    window.bench.document.go_to(first)
    driver.shows_frame(first)
    driver.press(Pixel(381.0, 80.0))
    after = frames[frames.index(first) + 1]
    assert window.bench.document.frame == after
    driver.settles()
    assert "0 done" in panel.share.words.text()  # type: ignore[attr-defined]


def test_an_answer_is_gone_on_with_when_the_pack_is_opened_again(
    driver: Driver, answers: Answers, given: Path, tmp_path: Path
) -> None:
    opened(driver, given)
    run = tmp_path / "class" / "share-01.run.json"
    assert driver.window.bench.save()
    before = run.read_bytes()
    driver.window.files.close_run()
    opened(driver, given)
    assert run.read_bytes() == before
    assert driver.window.bench.document.path == run
    answers.share_is = 3
    driver.window.files.open_file(given)
    other = tmp_path / "class-2" / "share-03.run.json"
    driver.qtbot.waitUntil(lambda: driver.window.bench.document.path == other, timeout=60_000)
    assert load_run(other) != load_run(run)


def test_a_broken_pack_is_told_in_one_line_and_leaves_nothing(
    driver: Driver, qtbot: QtBot, given: Path
) -> None:
    data = bytearray(given.read_bytes())
    data[len(data) // 2] ^= 255
    given.write_bytes(data)
    with qtbot.waitSignal(driver.window.bench.troubled, timeout=60_000) as signal:
        driver.window.files.open_file(given)
    assert "\n" not in str(signal.args[0])
    assert sorted(path.name for path in given.parent.iterdir() if path.suffix != ".ini") in (
        ["class.clepsydra"],
        ["class.clepsydra", "recovery"],
    )
    assert driver.window.bench.document.run is None


def test_no_answer_opens_nothing(driver: Driver, answers: Answers, given: Path) -> None:
    answers.share_is = None
    driver.window.files.open_file(given)
    assert driver.window.bench.document.run is None
    assert not (given.parent / "class").exists()


def test_the_folder_is_new_unless_it_holds_the_run_already(given: Path) -> None:
    assert manifest_of(given).runs[0] == "share-01.run.json"
    assert folder_for(given, "share-01.run.json") == given.parent / "class"
    (given.parent / "class").mkdir()
    assert folder_for(given, "share-01.run.json") == given.parent / "class-2"
    (given.parent / "class" / "share-01.run.json").write_text("{}")
    assert folder_for(given, "share-01.run.json") == given.parent / "class"
