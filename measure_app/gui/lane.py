"""One kind of long work in a thread of its own: the newest request wins, errors come back as values."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, QThread, Signal, Slot

from measure_app.errors import AppError, Stopped
from measure_app.words import said

_BETWEEN_REPORTS_S = 0.04  # more often than the eye can follow would only fill the window's queue


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What came of one request."""

    ticket: int
    request: Any
    value: Any = None
    error: AppError | None = None
    """Why there is no value; `Stopped` where it was stopped."""
    seconds: float = 0.0
    """How long the work took."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the work is."""

    ticket: int
    done: int
    total: int
    news: Any = None
    """What the work gives away before it is done."""


class Job:
    """What a piece of work may ask and tell while it runs; lives in the worker's thread."""

    def __init__(self, ticket: int, stop: threading.Event, report: Callable[[Progress], None]) -> None:
        self.ticket = ticket
        self._stop = stop
        self._report = report
        self._next = 0.0
        self._news: Any = None

    def stop_requested(self) -> bool:
        """Whether the work shall end without a result."""
        return self._stop.is_set()

    def tell(self, news: Any) -> None:
        """Give something away before the work is done; it goes out with the next progress."""
        self._news = news

    def say(self, done: int, total: int, news: Any) -> None:
        """Say how far the work is and what comes now; never held back, so for steps that are few."""
        self._report(Progress(self.ticket, done, total, news))

    def progress(self, done: int, total: int) -> None:
        """Say how far the work is."""
        now = time.monotonic()
        if now >= self._next or done >= total:
            self._next = now + _BETWEEN_REPORTS_S
            self._report(Progress(self.ticket, done, total, self._news))


class _Hand(QObject):
    """The half of a lane that lives in the worker's thread."""

    answered = Signal(object)
    progressed = Signal(object)

    def __init__(self, work: Callable[[Any, Job], Any]) -> None:
        super().__init__()
        self._work = work
        self.done = 0
        """Ticket of the newest request that was done."""

    @Slot(object)
    def do(self, order: tuple[int, Any, threading.Event]) -> None:
        """Do one piece of work and send its answer, whatever comes of it."""
        ticket, request, stop = order
        begun = time.perf_counter()
        value, fault = None, None
        self.done = ticket
        try:
            value = self._work(request, Job(ticket, stop, self.progressed.emit))
        except AppError as error:
            fault = error
        except Exception as error:
            words = said(
                "something went wrong that should not ({name}); the run is safe, save it",
                name=type(error).__name__,
            )
            self.answered.emit(Answer(ticket, request, None, AppError(words)))
            raise
        self.answered.emit(Answer(ticket, request, value, fault, time.perf_counter() - begun))


class Lane(QObject):
    """Runs `work(request, job)` in its own thread, one at a time.

    While one runs, only the newest further request waits; those between are dropped without an answer.

    Parameters
    ----------
    work : callable
        Takes a request and a `Job`, returns the value; an `AppError` becomes the answer's error.
    name : str
        Of the thread.
    eager : bool
        Whether a new request stops the one that runs, rather than waiting for its end.
    """

    answered = Signal(object)
    """`Answer`"""
    progressed = Signal(object)
    """`Progress`"""
    busy_changed = Signal(bool)
    _ordered = Signal(object)

    def __init__(
        self,
        work: Callable[[Any, Job], Any],
        name: str,
        parent: QObject | None = None,
        *,
        eager: bool = False,
    ) -> None:
        super().__init__(parent)
        self._eager = eager
        self._ticket = 0
        self._waiting: tuple[int, Any] | None = None
        self._ordered_last: tuple[int, Any] | None = None
        self._running: threading.Event | None = None
        self._ended = False
        self._thread = QThread(self)
        self._thread.setObjectName(name)
        self._hand = _Hand(work)
        self._hand.moveToThread(self._thread)
        self._hand.answered.connect(self._on_answer)
        self._hand.progressed.connect(self._on_progress)
        self._ordered.connect(self._hand.do)

    @property
    def busy(self) -> bool:
        """Whether work is running or waiting."""
        return self._running is not None

    @property
    def newest(self) -> int:
        """Ticket of the newest request."""
        return self._ticket

    def ask(self, request: Any) -> int:
        """Put in a request and return its ticket; once the lane has ended, nothing is done."""
        self._ticket += 1
        if self._ended:
            return self._ticket
        if not self._thread.isRunning():
            self._thread.start()
        if self._running is None:
            self._start(self._ticket, request)
            self.busy_changed.emit(True)
        else:
            self._waiting = (self._ticket, request)
            if self._eager:
                self._running.set()
        return self._ticket

    def stop(self) -> None:
        """Ask the work that runs to end, and forget what waits."""
        self._waiting = None
        if self._running is not None:
            self._running.set()

    def close(self) -> None:
        """Stop everything and wait for the thread to end."""
        self.stop()
        self._end()

    def finish(self) -> None:
        """Do the work in hand and the newest request, then end the thread; for writes not to be lost."""
        newest = self._waiting or self._ordered_last
        self._end()
        if newest is not None and newest[0] > self._hand.done:
            # The thread had not come to it, and nobody answers any more who would have ordered it.
            self._waiting = None
            self._hand.do((*newest, threading.Event()))

    def _end(self) -> None:
        self._ended = True
        self._thread.quit()
        self._thread.wait()

    def _start(self, ticket: int, request: Any) -> None:
        self._running = threading.Event()
        self._ordered_last = (ticket, request)
        self._ordered.emit((ticket, request, self._running))

    @Slot(object)
    def _on_answer(self, answer: Answer) -> None:
        self._running = None
        if self._waiting is not None:
            waiting, self._waiting = self._waiting, None
            self._start(*waiting)
            if isinstance(answer.error, Stopped):
                return  # nobody waits for work that a newer request stopped
        self.answered.emit(answer)
        if self._running is None:
            self.busy_changed.emit(False)

    @Slot(object)
    def _on_progress(self, progress: Progress) -> None:
        if self._running is not None:
            self.progressed.emit(progress)
