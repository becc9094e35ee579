"""Gives freed memory back to the system whenever the window has come to rest."""

from __future__ import annotations

from collections.abc import Iterable

from PySide6.QtCore import QObject, QTimer, Slot

from measure_app.giving_back import give_back
from measure_app.gui.lane import Job, Lane

_REST_MS = 1500
"""After this long without work; while someone works on, memory is wanted again at once."""


class Tidying(QObject):
    """Waits for all lanes to rest for a moment, then gives back what their work has freed.

    Parameters
    ----------
    lanes : iterable of Lane
        Those whose work frees memory, be it much at once (a search) or little again and again (an edit).
    """

    def __init__(self, lanes: Iterable[Lane], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._lanes = tuple(lanes)
        self.lane = Lane(_tidy, "tidying", self)  # the window's own thread has no time for it
        self._rest = QTimer(self, singleShot=True, interval=_REST_MS)
        self._rest.timeout.connect(self._on_rest)
        for lane in self._lanes:
            lane.busy_changed.connect(self._wait)

    @property
    def done(self) -> bool:
        """Whether all rest and nothing is to be given back."""
        return not (self._rest.isActive() or self.lane.busy or any(lane.busy for lane in self._lanes))

    def close(self) -> None:
        """End the thread."""
        self._rest.stop()
        self.lane.close()

    @Slot()
    def _wait(self) -> None:
        self._rest.start()

    @Slot()
    def _on_rest(self) -> None:
        if not any(lane.busy for lane in self._lanes):  # else its end is told
            self.lane.ask(None)


def _tidy(_: object, __: Job) -> None:
    give_back()
