"""Keeps the document's outcome that of its run, and at rest its intervals checked."""

from __future__ import annotations

import sys

from PySide6.QtCore import QObject, QTimer, Slot

from measure_app.gui.document import Document
from measure_app.gui.lane import Answer, Lane
from measure_app.gui.recompute import Derived, Question, check_intervals, derive

ENGINE = "measure_app.outcome"
_LATEST_MS = 10_000
"""Longest that the engine's loading waits for a film's first frame, never painted by a hidden window."""
_REST_MS = 900
"""How long nothing must change before the intervals are held against trials: someone who drags a mark or
types pauses for less, and what is worked out then would only be thrown away."""


class Deriver(QObject):
    """Works the outcome out in a thread; only the answer to the newest question is taken.

    The first answer holds intervals by first order. Once nothing has changed for a while they are held
    against Monte Carlo trials, as they are before anything is written, and the outcome is given once more,
    so that window and report say the same.
    """

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._asked: Question | None = None
        self.lane = Lane(derive, "recompute", self)
        self.lane.answered.connect(self._on_derived)
        self.checking = Lane(check_intervals, "intervals", self)
        self.checking.answered.connect(self._on_checked)
        self._rest = QTimer(self, singleShot=True, interval=_REST_MS)
        self._rest.timeout.connect(self._check)
        self._frame_stands = False
        self._patience = QTimer(self, singleShot=True, interval=_LATEST_MS)
        self._patience.timeout.connect(self._send)
        document.run_changed.connect(self.ask)
        document.clip_changed.connect(self.ask)
        document.search_changed.connect(self.ask)

    def go_on(self) -> None:
        """A frame stands, or none will: loading the engine holds up no first frame any more."""
        if not self._frame_stands:
            self._frame_stands = True
            if self._patience.isActive():
                self._patience.stop()
                self._send()

    def ask(self, *_: object) -> None:
        """Ask for the outcome of the run as it is now."""
        self._rest.stop()
        self.checking.stop()
        run, info = self._document.run, self._document.info
        if run is None or info is None:
            self._asked = None
            return
        self._asked = Question(run, self._document.seconds, info, self._document.current_search)
        if self._frame_stands or ENGINE in sys.modules:
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
            self._rest.start()
        else:
            self._document.set_outcome(None, answer.error)

    @Slot()
    def _check(self) -> None:
        outcome = self._document.outcome
        if outcome is not None and not outcome.findings.checked:
            self.checking.ask(outcome)

    @Slot(object)
    def _on_checked(self, answer: Answer) -> None:
        if answer.error is None and answer.request is self._document.outcome:
            self._document.set_outcome(answer.value)
