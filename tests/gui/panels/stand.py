"""A stand for panels: a document with a run on it, and services made by hand."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from measure_app.clip import ClipInfo, Stamps, open_clip
from measure_app.gui.document import Document
from measure_app.gui.tools import Tool, ToolOptions
from measure_app.outcome import Outcome, measure
from measure_app.run import Run
from measure_app.runfile import load_run

BENCH = Path(__file__).parents[3] / "sample_clips" / "bench" / "bench.run.json"


class HandMade(QObject):
    """Services that note what was asked of them."""

    tool_changed = Signal(object)
    finding_progress = Signal(int, int)
    finding_running = Signal(bool)
    results_written = Signal(object)
    writing_progress = Signal(int, int, str)

    def __init__(self, document: Document) -> None:
        super().__init__(document)
        self.document = document
        self.tool = Tool.LOOK
        self.options = ToolOptions()
        self.asked: list[tuple[Any, ...]] = []

    def use_tool(self, tool: Tool, **options: Any) -> None:
        self.tool, self.options = tool, ToolOptions(**options)
        self.asked.append(("tool", tool, options))
        self.tool_changed.emit(tool)

    def find_the_rest(self) -> None:
        self.asked.append(("find",))

    def stop_finding(self) -> None:
        self.asked.append(("stop",))

    def write_results(self, folder: Path) -> None:
        self.asked.append(("write", folder))

    def stop_writing(self) -> None:
        self.asked.append(("stop writing",))

    def set_blind(self, on: bool) -> None:
        self.document.set_blind(on)

    def open_film(self) -> None:
        self.asked.append(("open film",))

    def open_help(self, page: str) -> None:
        self.asked.append(("help", page))

    def frame_crop(self, frame: int, width: int, height: int) -> None:
        self.asked.append(("crop", frame, width, height))


@cache
def bench() -> tuple[Run, ClipInfo, Stamps, Outcome]:
    """The bench run, its film's facts, and its whole outcome; measured once for all tests."""
    run = load_run(BENCH)
    with open_clip(BENCH.parent / run.clip.path) as clip:
        return run, clip.info, clip.stamps, measure(run, clip)


def stand(*, measured: bool = True, run: Run | None = None) -> tuple[Document, HandMade]:
    """A document that holds the bench run, with its found readings if `measured`."""
    document = Document()
    services = HandMade(document)
    plain, info, stamps, outcome = bench()
    document.open(run if run is not None else outcome.run if measured else plain, BENCH)
    document.set_clip(info, stamps)
    if measured and run is None:
        document.set_search(outcome.search)
        document.set_outcome(outcome)
    return document, services


def hold(qtbot: QtBot, widget: QWidget, width: int, height: int) -> None:
    """Show a widget inside a plain one, as it stands in the window.

    On its own it would tell the screen its least size, which Qt's screenless platform answers with a warning.
    """
    host = QWidget()
    host.resize(width, height)
    widget.setParent(host)
    widget.resize(width, height)
    qtbot.addWidget(host)
    widget.host = host  # type: ignore[attr-defined]  # lives as long as what it holds
    host.show()
