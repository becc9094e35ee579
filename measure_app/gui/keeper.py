"""Writes every change to the recovery file, in a thread."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal, Slot

from measure_app.errors import OutputError
from measure_app.gui.lane import Answer, Lane
from measure_app.gui.recovery import RecoveryStore, Snapshot
from measure_app.words import said


class Keeper(QObject):
    """The way to a recovery store; without one nothing is kept."""

    troubled = Signal(object)
    """`OutputError`: a change could not be kept."""
    kept = Signal(object)
    """`Snapshot` that is on the disk now, or None where the file was removed."""

    def __init__(self, store: RecoveryStore | None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._store = store
        self._lane: Lane | None = None
        self._taken: list[tuple[int, Snapshot]] = []
        if store is not None:
            self._lane = Lane(store.keep, "recovery", self)
            self._lane.answered.connect(self._on_kept)

    @property
    def busy(self) -> bool:
        """Whether a change is still on its way to the disk."""
        return self._lane is not None and self._lane.busy

    def keep(self, snapshot: Snapshot | None) -> None:
        """Keep what is not saved; None: everything is, and the file goes."""
        if self._lane is not None:
            self._lane.ask(snapshot)

    def take_over(self, dead: Snapshot, snapshot: Snapshot) -> None:
        """Keep what a dead window left as this one's own; its file goes once that is on the disk."""
        if self._lane is not None:
            self._taken.append((self._lane.ask(snapshot), dead))

    def close(self) -> None:
        """Write what must be written, then give the store back."""
        if self._lane is not None:
            self._lane.finish()
        if self._store is not None:
            self._store.close()

    @Slot(object)
    def _on_kept(self, answer: Answer) -> None:
        if answer.error is not None:
            words = said("changes cannot be kept for a crash ({error}); save often", error=answer.error)
            self.troubled.emit(OutputError(words))
            return
        if self._store is not None:
            for ticket, dead in self._taken:
                if ticket <= answer.ticket:
                    self._store.discard(dead)
            self._taken = [each for each in self._taken if each[0] > answer.ticket]
        self.kept.emit(answer.request)
