"""The window's side of the decoding processes: begun early, lent out, begun anew where a film ended one."""

from __future__ import annotations

import contextlib
import io
import queue
import subprocess
import threading
import time
from collections.abc import Callable, Sequence

from measure_app.decoder.starting import command_of_decoder, started
from measure_app.decoder.wire import BrokenWire, Wire, Wish, Word, words
from measure_app.errors import ClipClosed, ClipError
from measure_app.words import said

PATIENCE_S = 60.0
"""Longest silence in a piece of work that is quick by its nature; what may take longer adds its own time."""
_GLANCE_S = 0.1
_IDLE = 2
"""Processes kept for what comes next."""


class DecoderGone(Exception):
    """The decoding process ended while it worked on something, or said what cannot be."""


class Child:
    """One decoding process."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process
        if self._process.stdin is None or self._process.stdout is None:  # never so: both were asked for
            raise OSError("no pipes")
        self._mouth = self._process.stdin
        self._ear = io.BufferedReader(self._process.stdout)  # type: ignore[type-var]
        self._wire: Wire[Word] = Wire(self._ear, self._mouth, words())
        self._box: queue.SimpleQueue[Word | None] = queue.SimpleQueue()
        self.gone = False
        """Whether it has ended, or is about to."""
        self._listener = threading.Thread(target=self._listen, name="decoder", daemon=True)
        self._listener.start()

    @property
    def pid(self) -> int:
        """Its number in the system."""
        return self._process.pid

    def say(self, wish: Wish) -> None:
        """Tell the process something.

        Raises
        ------
        DecoderGone
            If it has ended.
        """
        try:
            self._wire.say(wish)
        except BrokenWire:
            self.kill()
            raise DecoderGone from None

    def hear(self, limit_s: float, pause: Callable[[], None]) -> Word:
        """Wait for the next word.

        Parameters
        ----------
        limit_s : float
            After so long a silence the process is taken for stuck, and ended.
        pause : callable
            Called ten times a second; raises to wait no longer.

        Raises
        ------
        DecoderGone
            If the process ended, or was stuck.
        """
        end = time.monotonic() + limit_s
        while True:
            try:
                word = self._box.get(timeout=_GLANCE_S)
            except queue.Empty:
                pause()
                if time.monotonic() > end:
                    self.kill()
                continue
            if word is None:
                self._box.put(None)
                raise DecoderGone
            return word

    def kill(self) -> None:
        """End the process at once: it holds nothing that could be lost."""
        self.gone = True
        with contextlib.suppress(OSError):
            self._process.kill()

    def join(self) -> None:
        """Wait until it has ended."""
        self._listener.join()

    def _listen(self) -> None:
        with contextlib.suppress(BrokenWire):
            while True:
                self._box.put(self._wire.heard())
        self.kill()
        self._process.wait()
        self._box.put(None)
        for file in (self._ear, self._mouth):
            with contextlib.suppress(OSError):
                file.close()


class Decoder:
    """Lends decoding processes, keeps those that come back, and ends all of them.

    Parameters
    ----------
    command : sequence of str, optional
        What starts a process; by default this program itself.
    patience_s : float
        Longest silence before a process is taken for stuck, s.
    begun : Popen, optional
        A process `started` already.
    """

    def __init__(
        self,
        command: Sequence[str] | None = None,
        patience_s: float = PATIENCE_S,
        begun: subprocess.Popen[bytes] | None = None,
    ) -> None:
        self._command = tuple(command) if command is not None else command_of_decoder()
        self.patience_s = patience_s
        self._lock = threading.Lock()
        self._children: list[Child] = []
        self._idle: list[Child] = []
        self._closed = False
        if begun is not None:
            self._children.append(Child(begun))
            self._idle.append(self._children[0])

    @property
    def pids(self) -> tuple[int, ...]:
        """Numbers of the processes that live now, the oldest first."""
        return tuple(child.pid for child in self._children if not child.gone)

    def start(self) -> None:
        """Begin a process before anything is wished for; what hinders it is told at the first wish."""
        with contextlib.suppress(ClipError):
            self.take_back(self.lend())

    def lend(self) -> Child:
        """A process for one reader.

        Raises
        ------
        ClipClosed
            If this was closed.
        ClipError
            If no process can be begun.
        """
        with self._lock:
            if self._closed:
                raise ClipClosed(said("the clip was closed; open it again"))
            self._children = [child for child in self._children if not child.gone]
            while self._idle:
                child = self._idle.pop()
                if not child.gone:
                    return child
            try:
                child = Child(started(self._command))
            except (OSError, ValueError, RuntimeError) as error:
                words = said(
                    "the film's decoder cannot be started ({error}); save the run, close other "
                    "programs and open it again",
                    error=error,
                )
                raise ClipError(words) from error
            self._children.append(child)
            return child

    def take_back(self, child: Child) -> None:
        """Keep a process that has nothing to do for the next reader, or end it."""
        with self._lock:
            if not self._closed and not child.gone and len(self._idle) < _IDLE:
                self._idle.append(child)
                return
        child.kill()

    def close(self) -> None:
        """End all processes; films opened by them are closed."""
        with self._lock:
            self._closed = True
            children, self._children, self._idle = self._children, [], []
        for child in children:
            child.kill()
        for child in children:
            child.join()
