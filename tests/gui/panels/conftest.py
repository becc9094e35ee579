"""Fixtures for panels."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))  # for stand.py, which is no test itself


@pytest.fixture(autouse=True)
def _no_widget_is_left_behind(request: pytest.FixtureRequest, qapp: QApplication) -> Iterator[None]:
    """As for whole windows, but only where a test can have made a widget, and collecting once.

    Each such test frees its own panel: many left to be freed together have crashed Qt's bindings.
    """
    before = {id(widget) for widget in qapp.topLevelWidgets()}
    yield
    if "qtbot" not in request.fixturenames:
        return
    qapp.processEvents()
    gc.collect()
    qapp.processEvents()
    assert [w for w in qapp.topLevelWidgets() if id(w) not in before and w.isVisible()] == []


@pytest.fixture
def show(qtbot: QtBot) -> Callable[..., Any]:
    """Make a panel on the stand and show it; returns panel, document, services."""
    import stand

    def make(kind: type, **options: Any) -> Any:
        document, services = stand.stand(**options)
        panel = kind(document, services)
        document.setParent(panel)
        stand.hold(qtbot, panel, 340, 900)
        return panel, document, services

    return make
