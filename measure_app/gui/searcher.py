"""Searches the film of the run in hand and has the readings found adopted in one step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal, Slot

from measure_app.errors import Stopped
from measure_app.gui.document import Document
from measure_app.gui.finding import Hunt, find, key_of
from measure_app.gui.lane import Answer, Lane, Progress

if TYPE_CHECKING:  # the thread that opens the film loads all this; the window need not wait for it
    from measure_app.clip import FrameSource


class Searcher(QObject):
    """One search at a time, in a thread; its answer counts only while the run's lines are still the same."""

    progressed = Signal(int, int)
    ended = Signal()
    """Whether it found, failed or was stopped."""
    troubled = Signal(object)
    """`AppError`"""

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._source: FrameSource | None = None
        self.lane = Lane(find, "finding", self)
        self.lane.answered.connect(self._on_found)
        self.lane.progressed.connect(self._on_progress)

    def use(self, source: FrameSource | None) -> None:
        """Take another film; a search of the one before ends."""
        if source is None:
            self.lane.stop()
        self._source = source

    def start(self) -> bool:
        """Search the part measured; False where there is nothing to search, or a search runs already."""
        run = self._document.run
        if run is None or self._source is None or self.lane.busy:
            return False
        self.lane.ask(Hunt(run, self._source))
        return True

    @Slot(object)
    def _on_found(self, answer: Answer) -> None:
        run = self._document.run
        hunt: Hunt = answer.request
        if answer.error is not None:
            if not isinstance(answer.error, Stopped):
                self.troubled.emit(answer.error)
        elif run is not None and hunt.source is self._source and key_of(run) == key_of(hunt.run):
            from measure_app.jet_path import AdoptSearch

            self._document.set_search(answer.value, key_of(run))
            self._document.perform(AdoptSearch(answer.value.readings, answer.value.jet, answer.value.shared))
        self.ended.emit()

    @Slot(object)
    def _on_progress(self, progress: Progress) -> None:
        self.progressed.emit(progress.done, progress.total)
