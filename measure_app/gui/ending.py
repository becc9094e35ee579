"""The system's wish that the program end, brought into the window's own loop."""

from __future__ import annotations

import signal
import socket
from contextlib import suppress
from types import FrameType

from PySide6.QtCore import QObject, QSocketNotifier, Signal

_SIGNALS = ("SIGTERM", "SIGINT", "SIGHUP")


class Ending(QObject):
    """Says when the system wants the process to end; the second time the system has its own way.

    A handler of Python's runs only where Python runs, and Qt's loop may wait long for that. So the signal's
    number is written to a socket, by which the loop wakes.
    """

    wanted = Signal(int)
    """Number of the signal."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._here, self._there = socket.socketpair()
        for end in (self._here, self._there):
            end.setblocking(False)
        signal.set_wakeup_fd(self._there.fileno(), warn_on_full_buffer=False)
        for name in _SIGNALS:
            if hasattr(signal, name):  # there is no SIGHUP on Windows
                signal.signal(getattr(signal, name), _heard)
        self._notifier = QSocketNotifier(self._here.fileno(), QSocketNotifier.Type.Read, self)
        self._notifier.activated.connect(self._on_woken)

    def _on_woken(self) -> None:
        numbers = b""
        with suppress(BlockingIOError):
            numbers = self._here.recv(64)
        known = {int(getattr(signal, name)) for name in _SIGNALS if hasattr(signal, name)}
        number = next((each for each in numbers if each in known), None)
        if number is not None:
            self.wanted.emit(number)


def _heard(number: int, _frame: FrameType | None) -> None:
    signal.signal(number, signal.SIG_DFL)
