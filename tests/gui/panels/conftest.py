"""Fixtures for panels."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))  # for stand.py, which is no test itself


@pytest.fixture(autouse=True)
def _no_widget_is_left_behind(qapp: QApplication) -> Iterator[None]:
    """As for whole windows, but collect only where something is in sight still: that took most of the time."""
    before = {id(widget) for widget in qapp.topLevelWidgets()}

    def left() -> list[QWidget]:
        return [w for w in qapp.topLevelWidgets() if id(w) not in before and w.isVisible()]

    yield
    for _ in range(3):
        qapp.processEvents()
        if not left():
            break
        gc.collect()
    assert left() == []


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
