"""All keys of the window, in one table: the list that a person can see."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QTextBrowser, QVBoxLayout, QWidget

from measure_app.words import marked, said


@dataclass(frozen=True, slots=True)
class Key:
    """What a key does, and where."""

    where: str
    keys: str
    does: str


KEYS = (
    Key(
        marked("Everywhere"),
        "Alt+1 … Alt+6",
        marked("go to the step Film, Rules, Datum, Readings, Findings, Hand-in"),
    ),
    Key(marked("Everywhere"), marked("[ and ]"), marked("one frame back, one frame on")),
    Key(marked("Everywhere"), marked("{ and }"), marked("ten frames back, ten frames on")),
    Key(
        marked("Everywhere"),
        marked("Ctrl+Home, Ctrl+End"),
        marked("first and last frame of the part measured"),
    ),
    Key(marked("Everywhere"), marked("Ctrl+Space"), marked("play, stop")),
    Key(marked("Everywhere"), marked("Ctrl+Z, Ctrl+Shift+Z or Ctrl+Y"), marked("undo, redo")),
    Key(marked("Everywhere"), marked("Ctrl+O, Ctrl+N"), marked("open a run, begin one on a film")),
    Key(marked("Everywhere"), marked("Ctrl+S, Ctrl+Shift+S"), marked("save, save under another name")),
    Key(marked("Everywhere"), marked("Ctrl+F"), marked("find the rest; again: stop")),
    Key(
        marked("Everywhere"),
        marked("Ctrl++, Ctrl+−, Ctrl+0"),
        marked("magnify, make smaller, show the whole frame"),
    ),
    Key(marked("Everywhere"), marked("Ctrl+L"), marked("loupe on, off")),
    Key(marked("Everywhere"), marked("Ctrl+B"), marked("read blind, on and off")),
    Key(
        marked("Everywhere"),
        marked("F6, Shift+F6"),
        marked("to the frame, the strips, the panel, the steps, and round again; the other way round"),
    ),
    Key(marked("Everywhere"), "F1", marked("this list")),
    Key(marked("Everywhere"), marked("Ctrl+W, Ctrl+Q"), marked("close the run, end the program")),
    Key(marked("On the frame"), marked("Wheel"), marked("magnify under the pointer")),
    Key(marked("On the frame"), marked("Space or middle button, and drag"), marked("move the picture")),
    Key(
        marked("On the frame"),
        marked("Arrows"),
        marked("move the selected mark by 0.1 px, with Shift by 1 px"),
    ),
    Key(
        marked("On the frame"),
        marked("Arrows, with a tool in hand"),
        marked("move the cross by 1 px, with Shift 10, with Ctrl 0.1"),
    ),
    Key(marked("On the frame"), marked("Arrows, otherwise"), marked("one frame back or on, with Shift ten")),
    Key(marked("On the frame"), marked("Enter"), marked("mark at the cross; a line: once for each end")),
    Key(marked("On the frame"), marked("N, Shift+N"), marked("select the next mark, the one before")),
    Key(marked("On the frame"), marked("Del"), marked("remove the selected mark")),
    Key(
        marked("On the frame"),
        marked("Escape"),
        marked("drop what is being marked; let go of the mark; put the tool away"),
    ),
    Key(marked("On a strip"), marked("Left, Right"), marked("one frame back or on, with Shift ten")),
    Key(marked("On a strip"), marked("Home, End"), marked("first and last frame of the part measured")),
    Key(marked("On a strip"), "S, E", marked("the part measured starts, ends at the current frame")),
    Key(
        marked("On a strip"),
        marked("Wheel, double press or Ctrl+Shift+0"),
        marked("stretch the time axis, show the whole film"),
    ),
    Key(
        marked("On a strip"),
        marked("Drag"),
        marked("a hand reading along the line; a bracket in time; elsewhere: go to the frame"),
    ),
    Key(marked("On a graph"), marked("Arrows"), marked("walk along the points")),
    Key(marked("On a graph"), marked("Enter"), marked("go to the frame of the point")),
    Key(marked("On a graph"), marked("Ctrl+C"), marked("copy it as a picture")),
    Key(marked("On a table"), marked("Enter"), marked("go to the frame of the row")),
    Key(marked("On a table"), marked("Del"), marked("remove what is chosen, where that can be")),
    Key(marked("On a table"), marked("Ctrl+C"), marked("copy the chosen rows, for a spreadsheet")),
)


def keys_html() -> str:
    """Return the list as a table."""
    rows, where = [], ""
    for key in KEYS:
        if key.where != where:
            where = key.where
            rows.append(f"<tr><td colspan='2'><h3>{said(where)}</h3></td></tr>")
        rows.append(f"<tr><td><b>{said(key.keys)}</b>&nbsp;&nbsp;&nbsp;</td><td>{said(key.does)}</td></tr>")
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
        super().__init__(said("Keys"), keys_html(), parent)
