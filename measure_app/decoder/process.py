"""The window's side: the decoding process, begun early, begun anew where a film brought it down."""

from __future__ import annotations

import contextlib
import io
import itertools
import json
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from measure_app.decoder.wire import (
    BrokenWire,
    Ended,
    Failed,
    LookAround,
    Opened,
    Shown,
    Wire,
    Wish,
    Word,
    Work,
)
from measure_app.errors import ClipClosed, ClipError
from measure_app.words import said

SERVE = "decode-for-window"
"""First argument that turns the program into a decoder where there is no Python to be called."""
PATIENCE_S = 60.0
"""Longest silence in a piece of work that is quick by its nature; what may take longer adds its own time."""
_BOOT = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from measure_app.decoder.serving import serve; serve()"
)
_GLANCE_S = 0.1
_FAREWELL_S = 2.0


class DecoderGone(Exception):
    """The decoding process ended while it worked on something."""


class GivenUp(Exception):
    """Whoever waited for an answer needs it no more."""


class Child:
    """One life of the decoding process."""

    def __init__(self, command: Sequence[str]) -> None:
        quiet = None if sys.stderr is not None else subprocess.DEVNULL
        self._process = subprocess.Popen(
            list(command),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=quiet,
            bufsize=0,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # Windows: no terminal flashes up
        )
        assert self._process.stdin is not None and self._process.stdout is not None  # noqa: S101, PT018
        self._mouth = self._process.stdin
        self._ear = io.BufferedReader(self._process.stdout)  # type: ignore[type-var]
        self._wire = Wire(self._ear, self._mouth)
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()
        self._boxes: dict[int, queue.SimpleQueue[Heard]] = {}
        self._after: dict[int, Callable[[], None]] = {}
        self._working: set[int] = set()
        self._gone = False
        self.fallen: frozenset[int] = frozenset()
        """Numbers of the work in hand when the process ended."""
        self.told = False
        """Whether a person was told of its end."""
        self._reader = threading.Thread(target=self._listen, name="decoder", daemon=True)
        self._reader.start()

    @property
    def pid(self) -> int:
        """Its number in the system."""
        return self._process.pid

    @property
    def gone(self) -> bool:
        """Whether it has ended."""
        return self._gone

    def number(self) -> int:
        """A number for a piece of work."""
        return next(self._numbers)

    def begin(self, wish: Work) -> queue.SimpleQueue[Heard]:
        """Put in a piece of work; what is said about it comes into the box returned.

        Raises
        ------
        DecoderGone
            If the process has ended.
        """
        box: queue.SimpleQueue[Heard] = queue.SimpleQueue()
        with self._lock:
            if self._gone:
                raise DecoderGone
            self._working.add(wish.number)
            self._boxes[wish.number] = box
        self.say(wish)
        return box

    def say(self, wish: Wish) -> None:
        """Tell the process something that needs no answer.

        Raises
        ------
        DecoderGone
            If it has ended.
        """
        if isinstance(wish, LookAround):
            with self._lock:
                self._working.add(wish.number)
        try:
            self._wire.say(wish)
        except BrokenWire:
            self.kill()
            raise DecoderGone from None

    def mention(self, wish: Wish) -> None:
        """Tell the process something that is of no account if it has ended."""
        if not self._gone:
            with contextlib.suppress(DecoderGone):
                self.say(wish)

    def wait(
        self, box: queue.SimpleQueue[Heard], limit_s: float, given_up: Callable[[], bool] | None = None
    ) -> tuple[Word, bytes]:
        """Wait for the next word.

        Parameters
        ----------
        box : SimpleQueue
            From `begin`.
        limit_s : float
            After so long a silence the process is taken for stuck, and ended.
        given_up : callable, optional
            Asked ten times a second whether it is worth waiting on.

        Raises
        ------
        DecoderGone
            If the process ended, or was stuck.
        GivenUp
            If `given_up` said so.
        """
        end = time.monotonic() + limit_s
        while True:
            try:
                heard = box.get(timeout=_GLANCE_S)
            except queue.Empty:
                if given_up is not None and given_up():
                    raise GivenUp from None
                if time.monotonic() > end:
                    self.kill()
                    end += _FAREWELL_S
                continue
            if heard is None:
                raise DecoderGone
            return heard

    def done(self, number: int) -> None:
        """Expect nothing more of a piece of work."""
        with self._lock:
            self._boxes.pop(number, None)

    def leave(self, number: int, after: Callable[[], None]) -> None:
        """Expect nothing more, but do something once it has come to its end after all."""
        with self._lock:
            self._boxes.pop(number, None)
            if not self._gone:
                self._after[number] = after

    def kill(self) -> None:
        """End the process at once."""
        with contextlib.suppress(OSError):
            self._process.kill()

    def close(self) -> None:
        """End the process and wait for it; it ends by itself when nothing more can be wished for."""
        with contextlib.suppress(OSError):
            self._mouth.close()
        try:
            self._process.wait(_FAREWELL_S)
        except subprocess.TimeoutExpired:
            self.kill()
            self._process.wait()
        self._reader.join()

    def _listen(self) -> None:
        """Hand out what is said, until the end."""
        with contextlib.suppress(BrokenWire):
            while True:
                word, attached = self._wire.word()
                self._hand_out(word, attached)
        self.kill()
        self._process.wait()
        self._ear.close()
        with contextlib.suppress(OSError):
            self._mouth.close()
        with self._lock:
            self._gone = True
            self.fallen = frozenset(self._working)
            boxes, self._boxes = list(self._boxes.values()), {}
            self._after.clear()
        for box in boxes:
            box.put(None)

    def _hand_out(self, word: Word, attached: bytes) -> None:
        with self._lock:
            if isinstance(word, Opened | Shown | Ended | Failed):
                self._working.discard(word.number)
                after = self._after.pop(word.number, None)
            else:
                after = None
            box = self._boxes.get(word.number)
        if box is not None:
            box.put((word, attached))
        elif after is not None:
            after()


class Decoder:
    """Keeps a decoding process at hand and begins another where one ended.

    Parameters
    ----------
    command : sequence of str, optional
        What starts the process; by default this program itself.
    patience_s : float
        Longest silence before the process is taken for stuck, s.
    """

    def __init__(self, command: Sequence[str] | None = None, patience_s: float = PATIENCE_S) -> None:
        self._command = tuple(command) if command is not None else command_of_decoder()
        self.patience_s = patience_s
        self._lock = threading.Lock()
        self._child: Child | None = None
        self._closed = False

    @property
    def pid(self) -> int | None:
        """Number of the process that decodes now; None while there is none."""
        child = self._child
        return None if child is None or child.gone else child.pid

    def start(self) -> None:
        """Begin the process before anything is wished for; what hinders it is told at the first wish."""
        with contextlib.suppress(ClipError):
            self.child()

    def child(self) -> Child:
        """The living process, begun if there is none.

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
            if self._child is None or self._child.gone:
                try:
                    self._child = Child(self._command)
                except (OSError, ValueError, RuntimeError) as error:
                    words = said(
                        "the film's decoder cannot be started ({error}); save the run, close other "
                        "programs and open it again",
                        error=error,
                    )
                    raise ClipError(words) from error
            return self._child

    def close(self) -> None:
        """End the process; films that it opened are closed."""
        with self._lock:
            self._closed = True
            child, self._child = self._child, None
        if child is not None:
            child.close()


def command_of_decoder() -> tuple[str, ...]:
    """How this very program is started as a decoder."""
    if getattr(sys, "frozen", False):  # a bundle has no Python to be called
        return (sys.executable, SERVE)
    return (sys.executable, "-c", _BOOT, json.dumps([str(Path(each or ".").absolute()) for each in sys.path]))


Heard = tuple[Word, bytes] | None
"""A word and what was attached; None at the end of the process."""
