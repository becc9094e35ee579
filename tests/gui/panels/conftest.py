"""Fixtures for panels."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))  # for stand.py, which is no test itself


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
