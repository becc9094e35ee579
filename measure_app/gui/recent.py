"""Runs and films that were opened lately."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QSettings

_KEY = "recent"
MOST = 8


def recent_files(settings: QSettings) -> tuple[Path, ...]:
    """Return those that are still there, the newest first."""
    kept = settings.value(_KEY, [])
    names = [kept] if isinstance(kept, str) else kept if isinstance(kept, list) else []
    return tuple(path for name in names if isinstance(name, str) and (path := Path(name)).exists())


def remember(settings: QSettings, path: Path) -> None:
    """Put a file at the head of the list."""
    rest = [str(each) for each in recent_files(settings) if each != path]
    settings.setValue(_KEY, [str(path), *rest][:MOST])
