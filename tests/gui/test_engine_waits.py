"""The engine is loaded once the first frame stands, however long that takes."""

from __future__ import annotations

import pytest
from pytestqt.qtbot import QtBot

from measure_app.gui import deriver as deriver_module
from measure_app.gui.deriver import Deriver
from measure_app.gui.recompute import Question
from tests.gui.conftest import Driver


def test_what_loads_the_engine_waits_for_the_first_frame_painted(
    driver: Driver, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    driver.open_bench()
    window = driver.window
    # What the window itself still has to paint would tell the new one that a frame stands.
    qtbot.waitUntil(lambda: window.bench.document.outcome is not None, timeout=60_000)
    qtbot.waitUntil(lambda: window.bench.at_rest, timeout=60_000)
    asked: list[Question] = []
    monkeypatch.setattr(deriver_module, "ENGINE", "an.engine.not.loaded.yet")
    later = Deriver(window.bench.document, window)
    monkeypatch.setattr(later.lane, "ask", asked.append)
    # Only for a while: the window closes the threads of the one that it has when it is closed itself.
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(window.bench, "_deriver", later)
        later.ask()
        qtbot.wait(300)
        assert asked == []
        window.stage.view.painted.emit(0)
        assert len(asked) == 1
        window.stage.view.painted.emit(1)
        assert len(asked) == 1
        later.ask()  # from now on nothing waits
        assert len(asked) == 2
    later.lane.close()
    later.checking.close()
