"""Playing the film at its own pace or another: frames are skipped, time is not."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QElapsedTimer, QObject, QTimer, Signal

from measure_app.gui.document import Document

_TICK_MS = 10


class Playback(QObject):
    """Moves the current frame on with the clock."""

    playing_changed = Signal(bool)

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._clock = QElapsedTimer()
        self._from_s = 0.0
        self._waiting = False
        self.speed = 1.0
        self._timer = QTimer(self)
        self._timer.setInterval(_TICK_MS)
        self._timer.timeout.connect(self._on_tick)
        document.clip_changed.connect(self.stop)

    @property
    def playing(self) -> bool:
        """Whether the film plays."""
        return self._timer.isActive()

    def toggle(self) -> None:
        """Play, or stop."""
        if self.playing:
            self.stop()
        else:
            self.play()

    def play(self) -> None:
        """Play on from the current frame; from the start where it stands at the end."""
        seconds = self._document.seconds
        if seconds is None or len(seconds) < 2:
            return
        if self._document.frame >= len(seconds) - 1:
            self._document.go_to(0)
        self._from_s = float(seconds[self._document.frame])
        self._waiting = False
        self._clock.start()
        self._timer.start()
        self.playing_changed.emit(True)

    def stop(self, *_: object) -> None:
        """Stand still."""
        if self.playing:
            self._timer.stop()
            self.playing_changed.emit(False)

    def set_speed(self, speed: float) -> None:
        """Play so many times as fast as it happened."""
        seconds = self._document.seconds
        if self.playing and seconds is not None:
            self._from_s = float(seconds[self._document.frame])
            self._clock.restart()
        self.speed = speed

    def shown(self) -> None:
        """Hear that the frame asked for was shown; the next one may be asked for."""
        self._waiting = False

    def _on_tick(self) -> None:
        seconds = self._document.seconds
        if seconds is None:
            self.stop()
            return
        if self._waiting:
            return
        now = self._from_s + self.speed * self._clock.elapsed() / 1000.0
        frame = int(np.searchsorted(seconds, now + 1e-9, side="right")) - 1
        if frame != self._document.frame:
            self._waiting = True
            self._document.go_to(frame)
        if frame >= len(seconds) - 1:
            self.stop()
