"""What is left after a crash."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from measure_app.gui.recovery import RecoveryStore, Snapshot
from measure_app.run import ClipPart, Run

RUN = Run(clip=ClipPart(path="film.mp4"), title="kept")
ROOT = Path(__file__).parent.parent.parent

CHILD = """
    import sys
    from pathlib import Path
    from PySide6.QtCore import QSettings
    from measure_app.edits import SetTitle
    from measure_app.gui.app import make_application
    from measure_app.gui.main_window import MainWindow
    from measure_app.gui.recovery import RecoveryStore

    application = make_application()
    folder = Path(sys.argv[1])
    window = MainWindow(QSettings(str(folder / "s.ini"), QSettings.Format.IniFormat), RecoveryStore(folder))
    window.show()
    window.files.open_sample()
    number = 0

    def change(snapshot=None):
        global number
        if snapshot is not None:
            print(snapshot.run.title.split()[1], flush=True)  # this one is on the disk
        number += 1
        window.bench.document.perform(SetTitle(f"change {number}"))

    window.bench.keeper.kept.connect(change)
    change()
    application.exec()
"""


def test_a_window_that_is_killed_loses_at_most_the_change_in_hand(tmp_path: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(CHILD), str(tmp_path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )
    assert child.stdout is not None
    written = 0
    while written < 25:
        line = child.stdout.readline()
        assert line, "the child ended by itself"
        written = int(line)
    assert RecoveryStore(tmp_path).left_behind() == ()  # its window lives: nothing is offered
    child.send_signal(signal.SIGKILL)
    child.wait()
    rest = child.stdout.read().split()
    child.stdout.close()
    store = RecoveryStore(tmp_path)
    (found,) = store.left_behind()
    last = int(rest[-1]) if rest else written
    assert found.run.title in {f"change {last}", f"change {last + 1}"}
    assert found.path is None
    store.discard(found)
    assert store.left_behind() == ()
    store.close()


ENDED = """
    import sys
    from pathlib import Path
    from PySide6.QtCore import QSettings, QTimer
    from PySide6.QtTest import QTest
    from measure_app.edits import SetObserver
    from measure_app.gui.app import heed_signals, make_application
    from measure_app.gui.main_window import MainWindow
    from measure_app.gui.panels.steps import Step
    from measure_app.gui.recovery import RecoveryStore

    application = make_application()
    folder = Path(sys.argv[1])
    window = MainWindow(QSettings(str(folder / "s.ini"), QSettings.Format.IniFormat), RecoveryStore(folder))
    window.show()
    heed_signals(application, window)
    QTest.qWaitForWindowActive(window)
    window.files.open_sample()
    window.go_to_step(Step.HAND_IN)
    title = window.panels[Step.HAND_IN].title_edit
    title.clear()
    title.setFocus()
    QTest.keyClicks(title, "half typed")

    def last():
        for number in range(1, 200):  # far more than the disk has taken by now
            window.bench.document.perform(SetObserver(f"observer {number}"))
        print("ready", flush=True)

    QTimer.singleShot(0, last)
    sys.exit(application.exec())
"""


@pytest.mark.skipif(os.name == "nt", reason="there the system ends windows by a message, which is a close")
@pytest.mark.parametrize("number", [signal.SIGTERM])
def test_a_window_that_the_system_ends_leaves_everything_to_be_taken_back(
    tmp_path: Path, number: signal.Signals
) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(ENDED), str(tmp_path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        child.send_signal(number)
        assert child.wait(timeout=60) == 128 + number
    store = RecoveryStore(tmp_path)
    (found,) = store.left_behind()
    assert (found.run.title, found.run.observer) == ("half typed", "observer 199")
    store.close()


HOLDER = """
    import os, sys
    from pathlib import Path
    from measure_app.gui.recovery import RecoveryStore

    store = RecoveryStore(Path(sys.argv[1]))
    print("holds", flush=True)
    sys.stdin.readline()
"""


def test_locks_of_dead_windows_go_and_those_of_living_ones_stay(tmp_path: Path) -> None:
    def holder() -> subprocess.Popen[str]:
        child = subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(HOLDER), str(tmp_path)],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert child.stdout is not None
        assert child.stdout.readline() == "holds\n"
        return child

    dead, living = holder(), holder()
    try:
        dead.kill()
        dead.wait()
        assert len(list(tmp_path.glob("*.lock"))) == 2
        (tmp_path / "notes.lock").write_text("someone else's")
        store = RecoveryStore(tmp_path)
        own = {path.name for path in tmp_path.glob("*.lock")}
        assert store.left_behind() == ()
        (gone,) = own - {path.name for path in tmp_path.glob("*.lock")}
        assert gone.endswith(".recovery.lock")
        assert (tmp_path / "notes.lock").exists()
        # The one that lives has its lock still: no other window gets it.
        other = RecoveryStore(tmp_path)
        assert other.left_behind() == ()
        other.close()
        assert len(list(tmp_path.glob("*.recovery.lock"))) == 2
        store.close()
        assert len(list(tmp_path.glob("*.recovery.lock"))) == 1
    finally:
        for child in (dead, living):
            child.kill()
            child.communicate()


def test_a_closed_window_leaves_nothing(tmp_path: Path) -> None:
    store = RecoveryStore(tmp_path)
    store.keep(Snapshot(RUN, tmp_path, None))
    store.keep(None)
    store.close()
    assert RecoveryStore(tmp_path).left_behind() == ()


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": "clepsydra-recovery", "format_version": 1}', "[" * 100_000]
)
def test_a_file_that_is_not_whole_is_passed_over(tmp_path: Path, text: str) -> None:
    (tmp_path / "0.recovery.json").write_text(text)
    first = RecoveryStore(tmp_path)
    first.keep(Snapshot(RUN, tmp_path, tmp_path / "a.run.json"))
    first.close()
    (found,) = RecoveryStore(tmp_path).left_behind()
    assert (found.run, found.folder, found.path) == (RUN, tmp_path, tmp_path / "a.run.json")


@pytest.mark.parametrize(
    "written", ["1" + "0" * 400, "-" + "9" * 400, "NaN", "Infinity", '"now"', "null", "1e300"]
)
def test_a_time_that_there_is_not_hides_no_other_window_s_work(tmp_path: Path, written: str) -> None:
    for name, second in (("sound", 5.0), ("foreign", 6.0)):
        store = RecoveryStore(tmp_path)
        store.keep(Snapshot(RUN, tmp_path, tmp_path / f"{name}.run.json"))
        store.close()
        text = store._file.read_text(encoding="utf-8")
        stamp = text.partition('"written":')[2].partition(",")[0]
        told = written if name == "foreign" else str(second)
        store._file.write_text(text.replace(f'"written":{stamp}', f'"written":{told}'), encoding="utf-8")
    (found,) = RecoveryStore(tmp_path).left_behind()
    assert found.path == tmp_path / "sound.run.json"
    assert found.written == 5.0


def test_a_clock_that_was_put_back_or_forward_hides_nothing_that_was_left_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every time that a clock can show is taken, and what is left behind is all offered, whatever their order."""
    for name, second in (("first", 4.1e9), ("second", -1e9), ("third", 0.0)):
        monkeypatch.setattr("measure_app.gui.recovery.time.time", lambda second=second: second)
        store = RecoveryStore(tmp_path)
        store.keep(Snapshot(RUN, tmp_path, tmp_path / f"{name}.run.json"))
        store.close()
    found = RecoveryStore(tmp_path).left_behind()
    assert [each.path.name for each in found if each.path] == [
        f"{n}.run.json" for n in ("first", "third", "second")
    ]
