"""A window at rest shows the intervals that the report would: those held against trials."""

from __future__ import annotations

import threading
from types import SimpleNamespace
from typing import Any

import pytest
from pytestqt.qtbot import QtBot

from measure_app.edits import SetTitle
from measure_app.gui import recompute
from measure_app.gui.lane import Job
from measure_app.gui.panels.steps import Step
from measure_app.outcome import Outcome
from measure_app.report import checked, results_of
from tests.gui.conftest import Driver

NOTHING = SimpleNamespace(value=None, from_trials=False)


def from_clock(outcome: Outcome | None) -> Any:
    found = None if outcome is None else outcome.findings.finding("gravity_from_clock")
    return found or NOTHING


def test_at_rest_the_window_shows_the_interval_of_the_report(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    bench, outcomes = driver.window.bench, []
    driver.window.go_to_step(Step.FINDINGS)
    bench.document.outcome_changed.connect(outcomes.append)
    bench.find_the_rest()
    qtbot.waitUntil(lambda: bool(outcomes) and from_clock(outcomes[-1]).from_trials, timeout=60_000)
    first = next(each for each in outcomes if from_clock(each).value == from_clock(outcomes[-1]).value)
    told = from_clock(outcomes[-1])
    assert told.interval_95 != from_clock(first).interval_95
    in_report = checked(results_of(first)).findings.finding("gravity_from_clock")
    assert in_report is not None
    assert told == in_report
    shown = driver.window.panels[Step.FINDINGS].list.rows_model.rows  # type: ignore[attr-defined]
    assert told in shown


def test_a_check_of_what_has_changed_since_is_dropped(
    driver: Driver, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Event(), threading.Event()
    asked: list[tuple[Outcome, bool]] = []

    def slow(outcome: Outcome, job: Job) -> Outcome:
        begun.set()
        go_on.wait(60)
        asked.append((outcome, job.stop_requested()))
        return outcome if len(asked) == 1 else recompute.check_intervals(outcome, job)

    driver.open_bench()
    deriver = driver.window.bench._deriver
    monkeypatch.setattr(deriver.checking._hand, "_work", slow)
    document = driver.window.bench.document
    qtbot.waitUntil(begun.is_set, timeout=60_000)
    old = document.outcome
    document.perform(SetTitle("another name"))
    qtbot.waitUntil(lambda: document.outcome not in (None, old), timeout=60_000)
    go_on.set()
    qtbot.waitUntil(
        lambda: document.outcome is not None and document.outcome.findings.checked, timeout=60_000
    )
    assert [(outcome is old, stopped) for outcome, stopped in asked] == [(True, True), (False, False)]
    assert document.outcome is not None
    assert document.outcome.run.title == "another name"
