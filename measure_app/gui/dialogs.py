"""Questions that the window puts to a person; tests answer in its stead."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from measure_app.words import marked, said

if TYPE_CHECKING:  # dialogs are loaded when one is asked for: the first frame does not wait for them
    from PySide6.QtWidgets import QWidget

FILMS = marked("Films (*.mp4 *.mov *.m4v *.mkv *.webm *.avi);;All files (*)")
RUNS = marked("Runs and packs (*.run.json *.clepsydra);;All files (*)")
SAVED = marked("Runs (*.run.json);;All files (*)")


class Choice(Enum):
    """What shall become of changes that were not saved."""

    SAVE = "save"
    DROP = "drop"
    STAY = "stay"


class Clash(Enum):
    """What shall become of a file that another program changed."""

    OVER = "over"
    ELSEWHERE = "elsewhere"
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

    def clash(self, path: Path) -> Clash:
        """Ask whether to write over a file that was changed since it was read."""

    def share(self, shares: int) -> int | None:
        """Ask which share of a pack is the reader's, from 1; None: no answer."""


class Dialogs:
    """Asks with the system's dialogs."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def film(self, folder: Path) -> Path | None:
        """Ask for a film; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name, _ = QFileDialog.getOpenFileName(self._parent, said("Open a film"), str(folder), said(FILMS))
        return Path(name) if name else None

    def pictures(self, folder: Path) -> Path | None:
        """Ask for a folder of still pictures; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name = QFileDialog.getExistingDirectory(
            self._parent, said("Open a folder of still pictures"), str(folder)
        )
        return Path(name) if name else None

    def run(self, folder: Path) -> Path | None:
        """Ask for a run file; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name, _ = QFileDialog.getOpenFileName(
            self._parent, said("Open a run or a pack"), str(folder), said(RUNS)
        )
        return Path(name) if name else None

    def place(self, offered: Path) -> Path | None:
        """Ask where to save; None: no answer."""
        from PySide6.QtWidgets import QFileDialog

        name, _ = QFileDialog.getSaveFileName(self._parent, said("Save the run"), str(offered), said(SAVED))
        return with_suffix(Path(name)) if name else None

    def unsaved(self, title: str) -> Choice:
        """Ask what shall become of changes."""
        from PySide6.QtWidgets import QMessageBox

        button = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self._parent,
            said("Save the run"),
            said("Save the changes to {title}?", title=title),
            button.Save | button.Discard | button.Cancel,
            button.Save,
        )
        return {button.Save: Choice.SAVE, button.Discard: Choice.DROP}.get(answer, Choice.STAY)

    def clash(self, path: Path) -> Clash:
        """Ask whether to write over a file that was changed since it was read."""
        from PySide6.QtWidgets import QMessageBox

        box = QMessageBox(self._parent)
        box.setIcon(QMessageBox.Icon.Warning)
        box.setWindowTitle(said("Changed by somebody else"))
        box.setText(
            said("{name} was changed after it was opened here, by another window or program.", name=path.name)
        )
        box.setInformativeText(said("Saved over, what is new in it would be lost."))
        elsewhere = box.addButton(said("Save elsewhere …"), QMessageBox.ButtonRole.AcceptRole)
        over = box.addButton(said("Save over it"), QMessageBox.ButtonRole.DestructiveRole)
        box.addButton(QMessageBox.StandardButton.Cancel)
        box.setDefaultButton(elsewhere)
        box.exec()
        chosen = box.clickedButton()
        return Clash.OVER if chosen is over else Clash.ELSEWHERE if chosen is elsewhere else Clash.STAY

    def share(self, shares: int) -> int | None:
        """Ask which share of a pack is the reader's, from 1; None: no answer."""
        from PySide6.QtWidgets import QInputDialog

        number, given = QInputDialog.getInt(
            self._parent,
            said("A pack for a class"),
            said("The number of your share, 1 to {shares}:", shares=shares),
            1,
            1,
            shares,
        )
        return number if given else None


def with_suffix(path: Path) -> Path:
    """Return a run's path with its usual ending."""
    if path.name.endswith(".json"):
        return path
    return path.with_name(said("{name}.run.json", name=path.name))
