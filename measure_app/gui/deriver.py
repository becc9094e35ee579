"""Keeps the document's outcome that of its run: asks for a new one whenever anything changes."""

from __future__ import annotations

import sys

from PySide6.QtCore import QObject, QTimer, Slot

from measure_app.gui.document import Document
from measure_app.gui.lane import Answer, Lane
from measure_app.gui.recompute import Derived, Question, derive

ENGINE = "measure_app.outcome"
_LATER_MS = 120
"""How long the engine's first loading waits, so that it does not hold up a film's first frame."""


class Deriver(QObject):
    """Works the outcome out in a thread; only the answer to the newest question is taken."""

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._asked: Question | None = None
        self.lane = Lane(derive, "recompute", self)
        self.lane.answered.connect(self._on_derived)
        self._patience = QTimer(self, singleShot=True, interval=_LATER_MS)
        self._patience.timeout.connect(self._send)
        document.run_changed.connect(self.ask)
        document.clip_changed.connect(self.ask)
        document.search_changed.connect(self.ask)

    def ask(self, *_: object) -> None:
        """Ask for the outcome of the run as it is now."""
        run, info = self._document.run, self._document.info
        if run is None or info is None:
            self._asked = None
            return
        self._asked = Question(run, self._document.seconds, info, self._document.current_search)
        if ENGINE in sys.modules:
            self._send()
        elif not self._patience.isActive():
            self._patience.start()

    @Slot()
    def _send(self) -> None:
        if self._asked is not None:
            self.lane.ask(self._asked)

    @Slot(object)
    def _on_derived(self, answer: Answer) -> None:
        if answer.request is not self._asked:
            return
        if isinstance(answer.value, Derived):
            derived = answer.value
            self._document.set_outcome(derived.outcome, derived.lack, derived.rule_fits)
        else:
            self._document.set_outcome(None, answer.error)
