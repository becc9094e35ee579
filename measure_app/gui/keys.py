"""All keys of the window, in one table: the list that a person can see."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QTextBrowser, QVBoxLayout, QWidget


@dataclass(frozen=True, slots=True)
class Key:
    """What a key does, and where."""

    where: str
    keys: str
    does: str


KEYS = (
    Key("Everywhere", "Alt+1 … Alt+6", "go to the step Film, Rules, Datum, Readings, Findings, Hand-in"),
    Key("Everywhere", "[ and ]", "one frame back, one frame on"),
    Key("Everywhere", "{ and }", "ten frames back, ten frames on"),
    Key("Everywhere", "Ctrl+Home, Ctrl+End", "first and last frame of the part measured"),
    Key("Everywhere", "Ctrl+Space", "play, stop"),
    Key("Everywhere", "Ctrl+Z, Ctrl+Shift+Z", "undo, redo"),
    Key("Everywhere", "Ctrl+O, Ctrl+N", "open a run, begin one on a film"),
    Key("Everywhere", "Ctrl+S, Ctrl+Shift+S", "save, save under another name"),
    Key("Everywhere", "Ctrl+F", "find the rest; again: stop"),
    Key("Everywhere", "Ctrl++, Ctrl+−, Ctrl+0", "magnify, make smaller, show the whole frame"),
    Key("Everywhere", "Ctrl+L", "loupe on, off"),
    Key("Everywhere", "Ctrl+B", "read blind, on and off"),
    Key("Everywhere", "F6", "to the frame, the strips, the panel, the steps, and round again"),
    Key("Everywhere", "F1", "this list"),
    Key("On the frame", "Wheel", "magnify under the pointer"),
    Key("On the frame", "Space or middle button, and drag", "move the picture"),
    Key("On the frame", "Arrows", "move the selected mark by 0.1 px, with Shift by 1 px"),
    Key(
        "On the frame", "Arrows, with a tool in hand", "move the cross by 1 px, with Shift 10, with Ctrl 0.1"
    ),
    Key("On the frame", "Arrows, otherwise", "one frame back or on, with Shift ten"),
    Key("On the frame", "Enter", "mark at the cross; a line: once for each end"),
    Key("On the frame", "N, Shift+N", "select the next mark, the one before"),
    Key("On the frame", "Delete", "remove the selected mark"),
    Key("On the frame", "Escape", "drop what is being marked; let go of the mark; put the tool away"),
    Key("On a strip", "Left, Right", "one frame back or on, with Shift ten"),
    Key("On a strip", "Home, End", "first and last frame of the part measured"),
    Key("On a strip", "S, E", "the part measured starts, ends at the current frame"),
    Key("On a strip", "Wheel, double press", "stretch the time axis, show the whole film"),
    Key("On a strip", "Drag", "a hand reading along the line; a bracket in time; elsewhere: go to the frame"),
)


def keys_html() -> str:
    """Return the list as a table."""
    rows, where = [], ""
    for key in KEYS:
        if key.where != where:
            where = key.where
            rows.append(f"<tr><td colspan='2'><h4>{where}</h4></td></tr>")
        rows.append(f"<tr><td><b>{key.keys}</b>&nbsp;&nbsp;&nbsp;</td><td>{key.does}</td></tr>")
    return f"<table cellpadding='2'>{''.join(rows)}</table>"


class PageDialog(QDialog):
    """Shows a page beside the work; its text can be selected."""

    def __init__(self, title: str, html: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle(title)
        self.resize(640, 600)
        text = QTextBrowser()
        text.setAccessibleName(title)
        text.setHtml(html)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(text)
        layout.addWidget(buttons)


class KeysDialog(PageDialog):
    """Shows the list of keys."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("Keys", keys_html(), parent)
