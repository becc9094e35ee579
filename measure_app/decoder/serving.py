"""The decoder's side: a process that opens films and puts their pixels where it is told to.

It ends when nobody is left who could wish for anything, and without a word if a film brings it down.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from measure_app.clip import LumaPlane, Picture
from measure_app.decoder.shared import Block
from measure_app.decoder.wire import (
    BrokenWire,
    Close,
    Ended,
    Failed,
    Leave,
    LookAround,
    Open,
    Opened,
    Pass,
    Room,
    Row,
    Rows,
    Show,
    Shown,
    Taken,
    Wire,
    Word,
    facts_of,
    plain,
)
from measure_app.errors import AppError, ClipClosed, ClipError, Stopped
from measure_app.words import ENGLISH, language, languages, said, use_language

if TYPE_CHECKING:
    from measure_app.clip import Clip, Stills

_AHEAD = 16
"""Frames decoded ahead of the current one in idle moments."""
_BEHIND = 48
"""Frames decoded before the current one: stepping back would else cost a whole group of pictures."""
_LONGEST_WAIT_S = 0.015
"""Planes are told of in batches, but none is kept back longer than this."""

Opener = Callable[[Path], "Clip | Stills"]


def serve(opener: Opener | None = None) -> NoReturn:
    """Decode for the process at the other end of standard input and output until that has gone.

    Parameters
    ----------
    opener : callable, optional
        Opens a film; that of `measure_app.clip` by default.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in a terminal is for the window to hear
    mouth = os.dup(1)
    _silence_output()
    wire = Wire(os.fdopen(0, "rb"), os.fdopen(mouth, "wb", buffering=0))
    office = _Office(wire, opener or _own_opener())
    try:
        while True:
            office.take(wire.wish())
    except BrokenWire:
        pass
    os._exit(0)  # a decoder that is stuck must not hold up the end


def _own_opener() -> Opener:
    """Load all that decodes, before the first wish comes."""
    from measure_app.clip import open_source

    return open_source


def _silence_output() -> None:
    """Send what libraries print to standard error: standard output speaks to the window only."""
    try:
        os.dup2(2, 1)
    except OSError:  # a program without a terminal may have no standard error
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)


class _Office:
    """Hands each wish to the film that it is about."""

    def __init__(self, wire: Wire, opener: Opener) -> None:
        self._wire = wire
        self._opener = opener
        self._films: dict[int, _Film] = {}
        self._passes: dict[int, _Passing] = {}

    def take(self, wish: object) -> None:
        """Take one wish; nothing here waits for a decoder."""
        match wish:
            case Open():
                _speak(wish.language)
                self._films[wish.number] = _Film(self, wish)
            case Show() if wish.film in self._films:
                self._films[wish.film].show(wish)
            case LookAround() if wish.film in self._films:
                self._films[wish.film].look_around(wish)
            case Pass() if wish.film in self._films:
                self._passes[wish.number] = _Passing(self, self._films[wish.film], wish)
            case Taken() if wish.number in self._passes:
                self._passes[wish.number].free(wish.count)
            case Leave() if wish.number in self._passes:
                self._passes[wish.number].leave()
            case Close() if wish.film in self._films:
                self._films.pop(wish.film).close()
            case Show() | LookAround() | Pass():
                self.say(Failed(wish.number, closed=True, words=said("the film is not open"), where=""))
            case _:
                pass  # of work that has ended meanwhile

    def open(self, path: Path) -> Clip | Stills:
        """Open a film."""
        return self._opener(path)

    def say(self, word: Word, attached: bytes = b"") -> None:
        """Tell the window; where it has gone, this process has nothing left to do."""
        try:
            self._wire.say(word, attached)
        except BrokenWire:
            os._exit(0)

    def fail(self, number: int, error: Exception) -> None:
        """Tell why a piece of work cannot be done."""
        if not isinstance(error, AppError):
            words = said("the decoder failed in a way it should not ({name})", name=type(error).__name__)
            error = ClipError(words)
        self.say(Failed(number, isinstance(error, ClipClosed), plain(error.words), plain(error.where)))

    def forget(self, number: int) -> None:
        """Drop a pass that has ended."""
        self._passes.pop(number, None)

    def drop(self, number: int) -> None:
        """Drop a film that could not be opened."""
        self._films.pop(number, None)


class _Film:
    """One film: a thread opens it and decodes its frames in the order wished for."""

    def __init__(self, office: _Office, wish: Open) -> None:
        self._office = office
        self._wish = wish
        self._clip: Clip | Stills | None = None
        self._shows: deque[Show] = deque()
        self._around: LookAround | None = None
        self._closing = False
        self._news = threading.Condition()
        self._rooms: dict[bytes, Block] = {}
        threading.Thread(target=self._run, name="film", daemon=True).start()

    @property
    def clip(self) -> Clip | Stills | None:
        """The film, once it is open."""
        return self._clip

    def show(self, wish: Show) -> None:
        """Show a frame: at once where it needs no decoding, else after those wished for before."""
        held = self._clip.at_hand(wish.index) if self._clip is not None else None
        if held is not None:
            self._put(wish, held)
            return
        with self._news:
            self._shows.append(wish)
            self._news.notify()

    def look_around(self, wish: LookAround) -> None:
        """Decode around a frame in idle moments, no longer around the one before."""
        with self._news:
            before, self._around = self._around, wish
            self._news.notify()
        if before is not None:
            self._office.say(Ended(before.number))

    def close(self) -> None:
        """Close the film after what it does now."""
        with self._news:
            self._closing = True
            self._news.notify()

    def _run(self) -> None:
        if not self._opened():
            return
        while True:
            with self._news:
                self._news.wait_for(lambda: self._shows or self._around or self._closing)
                wish = self._shows.popleft() if self._shows else None
                around = self._around
                if self._closing:
                    break
            if wish is not None:
                self._decode(wish)
            elif around is not None and self._looked_around(around.index):
                self._rest(around)
        if self._clip is not None:
            self._clip.close()
        self._rooms.clear()

    def _opened(self) -> bool:
        try:
            clip = self._office.open(Path(os.fsdecode(self._wish.path)))
            numbers = np.concatenate([clip.stamps.ticks, clip.starts]).astype("<i8")
            facts = facts_of(clip.info, clip.stamps)
        except Exception as error:  # noqa: BLE001 - whatever fails is told, and the process lives on
            self._office.drop(self._wish.number)
            self._office.fail(self._wish.number, error)
            return False
        self._clip = clip
        self._office.say(Opened(self._wish.number, facts), numbers.tobytes())
        return True

    def _decode(self, wish: Show) -> None:
        assert self._clip is not None  # noqa: S101 - the thread goes on only once it is open
        try:
            frame = self._clip.frame(wish.index)
        except Exception as error:  # noqa: BLE001 - the same
            self._office.fail(wish.number, error)
            return
        self._put(wish, frame)

    def _put(self, wish: Show, frame: Picture) -> None:
        """Put a frame where it is wanted and tell."""
        try:
            pixels: np.ndarray[Any, Any] = getattr(frame, wish.layout)()
            needed = pixels.nbytes if pixels.nbytes > wish.room.nbytes else 0
            if not needed:
                there = np.frombuffer(
                    self._block(wish.room).memory, pixels.dtype, pixels.size, wish.room.offset
                )
                there.reshape(pixels.shape)[...] = pixels
        except Exception as error:  # noqa: BLE001 - the same
            self._office.fail(wish.number, error)
            return
        suspect = None if frame.suspect is None else plain(frame.suspect)
        self._office.say(Shown(wish.number, pixels.shape, pixels.itemsize == 2, suspect, needed))

    def _block(self, room: Room) -> Block:
        if room.once:
            return Block.found(room.name, room.size)
        if room.name not in self._rooms:
            self._rooms[room.name] = Block.found(room.name, room.size)
        return self._rooms[room.name]

    def _looked_around(self, index: int) -> bool:
        """Decode the neighbours; False where something came in between."""
        clip = self._clip
        assert clip is not None  # noqa: S101 - the same

        def interrupted() -> bool:
            return bool(self._shows) or self._closing

        last = clip.info.n_frames - 1
        # Half a neighbourhood at hand is enough: otherwise each step back would decode from the key frame on.
        near_ahead = range(index + 1, min(index + _AHEAD // 2, last) + 1)
        near_behind = range(max(index - _BEHIND // 2, 0), index)
        try:
            if not all(map(clip.is_cached, near_ahead)) and not clip.prefetch(
                index + 1, index + _AHEAD, interrupted
            ):
                return False
            return all(map(clip.is_cached, near_behind)) or clip.prefetch(
                index - _BEHIND, index - 1, interrupted
            )
        except Exception:  # noqa: BLE001 - who wishes for such a frame is told then
            return True

    def _rest(self, done: LookAround) -> None:
        with self._news:
            if self._around is not done:
                return  # a newer one was told that this one is over
            self._around = None
        self._office.say(Ended(done.number))


class _Passing:
    """One pass over a film, in a thread and a container of its own."""

    def __init__(self, office: _Office, film: _Film, wish: Pass) -> None:
        self._office = office
        self._film = film
        self._wish = wish
        self._free = threading.Semaphore(wish.slots)
        self._left = threading.Event()
        self._batch: list[Row] = []
        self._since = 0.0
        threading.Thread(target=self._run, name="pass", daemon=True).start()

    def free(self, count: int) -> None:
        """Hear that slots are free again."""
        self._free.release(max(1, count))

    def leave(self) -> None:
        """End before the end."""
        self._left.set()
        self._free.release()

    def _run(self) -> None:
        wish, clip = self._wish, self._film.clip
        if clip is None:
            self._office.forget(wish.number)
            self._office.fail(wish.number, ClipClosed(said("the film is not open")))
            return
        try:
            block = Block.found(wish.room.name, wish.room.size)
            planes = clip.luma_planes(wish.start, wish.stop, wish.step, stop_requested=self._left.is_set)
            for turn, luma in enumerate(planes):
                self._wait_for_room()
                self._put(block, turn % wish.slots, luma)
            self._flush()
        except Stopped:
            pass
        except Exception as error:  # noqa: BLE001 - whatever fails is told, and the process lives on
            self._flush()
            self._office.fail(wish.number, error)
            self._office.forget(wish.number)
            return
        self._office.forget(wish.number)
        self._office.say(Ended(wish.number))

    def _wait_for_room(self) -> None:
        if not self._free.acquire(blocking=False):
            self._flush()
            self._free.acquire()
        if self._left.is_set():
            raise Stopped(said("the reading of the film was stopped"))

    def _put(self, block: Block, slot: int, luma: LumaPlane) -> None:
        plane = luma.plane
        if plane is not None:
            if plane.nbytes > self._wish.slot:
                raise ClipError(said("the picture is larger than the film says"))
            there = np.frombuffer(block.memory, plane.dtype, plane.size, slot * self._wish.slot)
            there.reshape(plane.shape)[...] = plane
        now = time.monotonic()
        if not self._batch:
            self._since = now
        suspect = None if luma.suspect is None else plain(luma.suspect)
        self._batch.append(Row(luma.index, plane is not None, suspect))
        many = len(self._batch) >= max(1, self._wish.slots // 3)
        if self._wish.careful or many or now - self._since >= _LONGEST_WAIT_S:
            self._flush()

    def _flush(self) -> None:
        if self._batch:
            self._office.say(Rows(self._wish.number, tuple(self._batch)))
            self._batch = []


def _speak(code: str) -> None:
    """Speak the window's language, for what is said of films."""
    if code != language():
        use_language(code if code in languages() else ENGLISH)


if __name__ == "__main__":
    sys.exit(serve())
