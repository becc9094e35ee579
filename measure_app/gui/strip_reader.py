"""Reads the strips of the whole film in the background, whenever there are lines that have none yet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Signal, Slot

from measure_app.errors import Stopped
from measure_app.gui.document import Document
from measure_app.gui.lane import Answer, Lane, Progress
from measure_app.gui.sweeping import Sweep, lines_of, read
from measure_app.run import Run

if TYPE_CHECKING:  # the thread that opens the film loads all this; the window need not wait for it
    from measure_app.clip import FrameSource
    from measure_app.strips import Strip

_SETTLE_MS = 250  # a line that is being nudged is not followed anew at every key


class StripReader(QObject):
    """Keeps the strips in step with the run's lines."""

    strips_changed = Signal(object, int)
    """(strips, rows filled): strips of the whole film, as far as they are read; () where there are none."""
    failed = Signal(object)
    """`AppError`"""

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._clip: FrameSource | None = None
        self._strips: tuple[Strip, ...] = ()
        self._rows = 0
        self.lane = Lane(read, "strips", self, eager=True)
        self.lane.answered.connect(self._on_answer)
        self.lane.progressed.connect(self._on_progress)
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self._read)
        document.run_changed.connect(self._on_run_changed)

    @property
    def busy(self) -> bool:
        """Whether strips are being read, or are about to be."""
        return self._settle.isActive() or self.lane.busy

    def use(self, clip: FrameSource | None) -> None:
        """Read the strips of a film from now on; None: of none."""
        self._clip = clip
        self._forget()
        if clip is not None:
            self._settle.start()

    def pause(self) -> None:
        """Stop reading, as long as the film is searched."""
        self._settle.stop()
        self.lane.stop()

    def go_on(self) -> None:
        """Read what is still lacking."""
        self._settle.start()

    def close(self) -> None:
        """End the thread."""
        self._settle.stop()
        self.lane.close()

    def _on_run_changed(self, before: Run | None, after: Run | None) -> None:
        if before is not None and after is not None and lines_of(before) != lines_of(after):
            self._settle.start()

    def _forget(self) -> None:
        self.lane.stop()
        self._strips, self._rows = (), 0
        self.strips_changed.emit((), 0)

    def _read(self) -> None:
        run = self._document.run
        if run is None or self._clip is None:
            return
        wanted = lines_of(run)
        whole = self._rows >= self._clip.info.n_frames
        if whole and tuple(strip.line for strip in self._strips) == wanted:
            return
        self._forget()
        if wanted:
            self.lane.ask(Sweep(self._clip, wanted))

    @Slot(object)
    def _on_progress(self, progress: Progress) -> None:
        if progress.ticket == self.lane.newest and progress.news is not None:
            self._strips, self._rows = progress.news, progress.done
            self.strips_changed.emit(self._strips, self._rows)

    @Slot(object)
    def _on_answer(self, answer: Answer) -> None:
        if answer.ticket != self.lane.newest:
            return
        if answer.error is None:
            self._strips, self._rows = answer.value, answer.request.source.info.n_frames
            self.strips_changed.emit(self._strips, self._rows)
        elif not isinstance(answer.error, Stopped):
            self.failed.emit(answer.error)
