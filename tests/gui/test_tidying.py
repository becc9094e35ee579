"""Memory goes back once everything rests, not while someone works."""

from __future__ import annotations

import threading

import pytest
from pytestqt.qtbot import QtBot

from measure_app.gui import tidying
from measure_app.gui.lane import Job, Lane
from measure_app.gui.main_window import MainWindow


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the threads that gave back."""
    names: list[str] = []
    monkeypatch.setattr(tidying, "_REST_MS", 60)
    monkeypatch.setattr(tidying, "give_back", lambda: names.append(threading.current_thread().name))
    return names


def test_it_waits_for_the_end_of_all_work_and_then_tidies_once(qtbot: QtBot, given: list[str]) -> None:
    gate = threading.Event()

    def long(_request: object, _job: Job) -> None:
        gate.wait(20)

    slow, quick = Lane(long, "slow"), Lane(lambda _request, _job: None, "quick")
    tidy = tidying.Tidying((slow, quick))
    slow.ask(None)
    with qtbot.waitSignal(quick.answered, timeout=60_000):
        quick.ask(None)
    qtbot.wait(200)
    assert not tidy.done
    assert given == []  # the quick one rests, the slow one does not
    gate.set()
    qtbot.waitUntil(lambda: bool(given), timeout=60_000)
    qtbot.wait(200)
    assert len(given) == 1
    assert given != [threading.main_thread().name]
    qtbot.waitUntil(lambda: tidy.done, timeout=60_000)
    tidy.close()
    slow.close()
    quick.close()


def test_work_that_goes_on_in_small_pieces_is_not_held_up(qtbot: QtBot, given: list[str]) -> None:
    lane = Lane(lambda _request, _job: None, "edits")
    tidy = tidying.Tidying((lane,))
    tidy._rest.setInterval(60_000)
    for _ in range(5):
        with qtbot.waitSignal(lane.answered, timeout=60_000):
            lane.ask(None)
    assert tidy._rest.remainingTime() > 50_000  # begun anew by each
    assert given == []
    assert not tidy.done
    tidy.close()
    assert not tidy._rest.isActive()
    lane.close()


def test_the_window_gives_back_what_opening_a_run_has_freed(
    qtbot: QtBot, given: list[str], window: MainWindow
) -> None:
    window.files.open_sample()
    qtbot.waitUntil(lambda: window.bench.document.outcome is not None, timeout=60_000)
    qtbot.waitUntil(lambda: bool(given), timeout=60_000)
