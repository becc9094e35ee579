"""Work in a thread: the newest request wins, errors are values, stopping stops."""

from __future__ import annotations

import threading

import pytest
from pytestqt.exceptions import capture_exceptions
from pytestqt.qtbot import QtBot

from measure_app.errors import ClipError, Stopped
from measure_app.gui.lane import Answer, Job, Lane


def test_only_the_newest_of_many_requests_is_done(qtbot: QtBot) -> None:
    gate, done = threading.Event(), []

    def work(request: int, _job: Job) -> int:
        gate.wait(5)
        done.append(request)
        return request * 10

    lane = Lane(work, "test")
    answers: list[Answer] = []
    lane.answered.connect(answers.append)
    for number in range(50):
        lane.ask(number)
    gate.set()
    qtbot.waitUntil(lambda: not lane.busy, timeout=60_000)
    assert done == [0, 49]
    assert answers[-1].value == 490
    assert answers[-1].ticket == lane.newest
    lane.close()


def test_an_error_comes_back_with_its_request(qtbot: QtBot) -> None:
    def work(_request: str, _job: Job) -> None:
        raise ClipError("no such frame", where="film.mp4")

    lane = Lane(work, "test")
    with qtbot.waitSignal(lane.answered, timeout=60_000) as signal:
        lane.ask("this")
    answer: Answer = signal.args[0]
    assert answer.request == "this"
    assert str(answer.error) == "film.mp4: no such frame"
    lane.close()


def test_a_fault_of_our_own_is_told_in_words_and_still_raised(qtbot: QtBot) -> None:
    def work(_request: str, _job: Job) -> float:
        return 1 / 0

    lane = Lane(work, "test")
    with capture_exceptions() as raised, qtbot.waitSignal(lane.answered, timeout=60_000) as signal:
        lane.ask("this")
        qtbot.wait(20)
    assert "ZeroDivisionError" in str(signal.args[0].error)
    assert [kind for kind, *_ in raised] == [ZeroDivisionError]
    assert not lane.busy
    lane.close()


@pytest.mark.parametrize("eager", [True, False])
def test_a_new_request_stops_the_old_one_only_where_it_shall(qtbot: QtBot, eager: bool) -> None:
    begun, ended = threading.Event(), []

    def work(request: str, job: Job) -> str:
        begun.set()
        for _ in range(200):
            if job.stop_requested():
                raise Stopped("stopped")
            threading.Event().wait(0.002)
            if request == "second":
                break
        ended.append(request)
        return request

    lane = Lane(work, "test", eager=eager)
    lane.ask("first")
    begun.wait(5)
    lane.ask("second")
    qtbot.waitUntil(lambda: not lane.busy, timeout=60_000)
    assert ended == (["second"] if eager else ["first", "second"])
    lane.close()


def test_progress_is_told_and_closing_does_not_wait_for_the_end(qtbot: QtBot) -> None:
    def work(_request: str, job: Job) -> None:
        for done in range(10_000):
            job.progress(done, 10_000)
            if job.stop_requested():
                raise Stopped("stopped")
            threading.Event().wait(0.005)

    lane = Lane(work, "test")
    with qtbot.waitSignal(lane.progressed, timeout=60_000):
        lane.ask("long")
    lane.close()  # 50 s of work would hang here


@pytest.mark.parametrize("waits", [False, True])
def test_the_newest_write_is_done_before_the_lane_ends(qtbot: QtBot, waits: bool) -> None:
    """Closing right after a change, while an older one is being written or not even begun, loses neither."""
    gate, begun, done = threading.Event(), threading.Event(), []

    def work(request: int, _job: Job) -> None:
        begun.set()
        gate.wait(5)
        done.append(request)

    lane = Lane(work, "test")
    told: list[Answer] = []
    lane.answered.connect(told.append)
    lane.ask(1)
    if waits:
        assert begun.wait(5)
        lane.ask(2)
        lane.ask(3)
    threading.Timer(0.05, gate.set).start()
    lane.finish()
    assert done == ([1, 3] if waits else [1])
    qtbot.waitUntil(lambda: bool(told) and told[-1].ticket == lane.newest, timeout=60_000)
    lane.finish()
    assert done == ([1, 3] if waits else [1])


@pytest.mark.usefixtures("qtbot")
def test_a_lane_that_is_closed_does_nothing_more() -> None:
    gate, begun, done = threading.Event(), threading.Event(), []

    def work(request: int, _job: Job) -> None:
        begun.set()
        gate.wait(5)
        done.append(request)

    lane = Lane(work, "test")
    lane.ask(1)
    assert begun.wait(5)
    lane.ask(2)
    gate.set()
    lane.close()
    assert done == [1]
