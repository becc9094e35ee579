"""Questions that the window puts to a person; tests answer in its stead."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:  # dialogs are loaded when one is asked for: the first frame does not wait for them
    from PySide6.QtWidgets import QWidget

FILMS = "Films (*.mp4 *.mov *.m4v *.mkv *.webm *.avi);;All files (*)"
RUNS = "Runs (*.run.json);;All files (*)"


class Choice(Enum):
    """What shall become of changes that were not saved."""

    SAVE = "save"
    DROP = "drop"
    STAY = "stay"


class Asks(Protocol):
    """What can be asked."""

    def film(self, folder: Path) -> Path | None:
        """Ask for a film; None: no answer."""

    def pictures(self, folder: Path) -> Path | None:
        """Ask for a folder of still pictures; None: no answer."""

    def run(self, folder: Path) -> Path | None:
        """Ask for a run file; None: no answer."""

    def place(self, offered: Path) -> Path | None:
        """Ask where to save; None: no answer."""

    def unsaved(self, title: str) -> Choice:
        """Ask what shall become of changes."""


class Dialogs:
    """Asks with the system's dialogs."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def film(self, folder: Path) -> Path | None:
        """Ask for a film; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name, _ = QFileDialog.getOpenFileName(self._parent, "Open a film", str(folder), FILMS)
        return Path(name) if name else None

    def pictures(self, folder: Path) -> Path | None:
        """Ask for a folder of still pictures; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name = QFileDialog.getExistingDirectory(self._parent, "Open a folder of still pictures", str(folder))
        return Path(name) if name else None

    def run(self, folder: Path) -> Path | None:
        """Ask for a run file; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name, _ = QFileDialog.getOpenFileName(self._parent, "Open a run", str(folder), RUNS)
        return Path(name) if name else None

    def place(self, offered: Path) -> Path | None:
        """Ask where to save; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name, _ = QFileDialog.getSaveFileName(self._parent, "Save the run", str(offered), RUNS)
        return with_suffix(Path(name)) if name else None

    def unsaved(self, title: str) -> Choice:
        """Ask what shall become of changes."""
        from PySide6.QtWidgets import QMessageBox

        button = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self._parent,
            "Changes that are not saved",
            f"Save the changes to {title}?",
            button.Save | button.Discard | button.Cancel,
            button.Save,
        )
        return {button.Save: Choice.SAVE, button.Discard: Choice.DROP}.get(answer, Choice.STAY)


def with_suffix(path: Path) -> Path:
    """Return a run's path with its usual ending."""
    if path.name.endswith(".json"):
        return path
    return path.with_name(f"{path.name}.run.json")
