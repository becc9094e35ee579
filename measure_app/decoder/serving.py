"""The decoder's side: a process that opens one film at a time and puts its pixels where it is told to.

It ends when nobody is left who could wish for anything, and without a word if a film brings it down. One
thread listens, one works; only a frame that needs no decoding is handed out by the one that listens.
"""

from __future__ import annotations

import contextlib
import mmap
import os
import queue
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import numpy as np

from measure_app.clip import LumaPlane, Picture
from measure_app.decoder.memory import found
from measure_app.decoder.wire import (
    BrokenWire,
    Close,
    Ended,
    Failed,
    Free,
    Leave,
    LookAround,
    Open,
    Opened,
    Pass,
    Room,
    Row,
    Show,
    Shown,
    Wire,
    Wish,
    Word,
    plain,
    wishes,
)
from measure_app.errors import AppError, ClipClosed, ClipError, Stopped
from measure_app.giving_back import give_back, keep_one_store
from measure_app.words import ENGLISH, language, languages, said, use_language

if TYPE_CHECKING:
    from measure_app.clip import Clip, Stills

_AHEAD = 16
"""Frames decoded ahead of the current one in idle moments."""
_BEHIND = 48
"""Frames decoded before the current one: stepping back would else cost a whole group of pictures."""

Opener = Callable[[Path], "Clip | Stills"]


def serve(opener: Opener | None = None) -> NoReturn:
    """Decode for the process at the other end of standard input and output until that has gone.

    Parameters
    ----------
    opener : callable, optional
        Opens a film; that of `measure_app.clip` by default.
    """
    keep_one_store()  # before the decoder's threads: each would keep what it freed
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in a terminal is for the window to hear
    ear, mouth = os.dup(0), os.dup(1)
    _leave_standard_streams()
    wire = Wire(os.fdopen(ear, "rb"), os.fdopen(mouth, "wb", buffering=0), wishes())
    _Server(wire, opener or _own_opener()).work()


def _own_opener() -> Opener:
    """Load all that decodes, before the first wish comes."""
    from measure_app.clip import open_source

    return open_source


def _leave_standard_streams() -> None:
    """Keep what libraries print or read away from the pipes: those speak to the window only."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 0)
    try:
        os.dup2(2, 1)
    except OSError:  # a program without a terminal may have no standard error
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
    os.close(nowhere)


class _Server:
    """Fulfils wishes one after the other."""

    def __init__(self, wire: Wire[Wish], opener: Opener) -> None:
        self._wire = wire
        self._opener = opener
        self._clip: Clip | Stills | None = None
        self._wishes: queue.SimpleQueue[Wish] = queue.SimpleQueue()
        self._block: tuple[int, mmap.mmap] | None = None
        self._free = threading.Semaphore(0)
        self._left = threading.Event()
        threading.Thread(target=self._listen, name="listening", daemon=True).start()

    def work(self) -> NoReturn:
        """Do what is wished for, for ever: whoever listens ends the process."""
        while True:
            wish = self._wishes.get()
            try:
                self._do(wish)
            except Exception as error:  # noqa: BLE001 - whatever fails is told, and the process lives on
                self._fail(error)

    def _listen(self) -> None:
        """Hear wishes until there can be none; a decoder that is stuck must not hold up the end."""
        try:
            while True:
                wish = self._wire.heard()
                if isinstance(wish, Free):
                    self._free.release(wish.count)
                elif isinstance(wish, Leave):
                    self._left.set()
                    self._free.release()
                elif not (isinstance(wish, Show) and self._shown_at_once(wish)):
                    if isinstance(wish, Pass):  # here, not where it begins: `Leave` may come before that
                        self._free = threading.Semaphore(wish.room.nbytes // wish.slot)
                        self._left.clear()
                    self._wishes.put(wish)
        except BrokenWire:
            pass
        finally:
            os._exit(0)

    def _do(self, wish: Wish) -> None:
        match wish:
            case Open():
                self._open(wish)
            case Show():
                self._put(wish, self._film().frame(wish.index))
            case LookAround():
                self._look_around(wish.index)
            case Pass():
                self._pass(wish)
            case Close():
                self._close()

    def _say(self, word: Word) -> None:
        try:
            self._wire.say(word)
        except BrokenWire:
            os._exit(0)

    def _fail(self, error: Exception) -> None:
        if not isinstance(error, AppError):
            words = said("the decoder failed in a way it should not ({name})", name=type(error).__name__)
            error = ClipError(words)
        self._say(Failed(isinstance(error, ClipClosed), plain(error.words), plain(error.where)))

    def _film(self) -> Clip | Stills:
        if self._clip is None:
            raise ClipClosed(said("the film is not open"))
        return self._clip

    def _open(self, wish: Open) -> None:
        self._close()
        if wish.language != language():
            use_language(wish.language if wish.language in languages() else ENGLISH)
        clip = self._opener(Path(os.fsdecode(wish.path)))
        self._clip = clip
        stamps = clip.stamps
        starts = clip.starts.astype("<i8").tobytes()
        self._say(Opened(clip.info, stamps.ticks.astype("<i8").tobytes(), stamps.base, stamps.ratio, starts))

    def _close(self) -> None:
        clip, self._clip = self._clip, None
        if clip is not None:
            clip.close()
            clip = None
            give_back()  # hundreds of megabytes of frames, freed in many threads
        self._block = None

    def _memory(self, room: Room) -> mmap.mmap:
        if self._block is None or self._block[0] != room.block:
            self._block = room.block, found(room)
        return self._block[1]

    def _shown_at_once(self, wish: Show) -> bool:
        """Show a frame that needs no decoding, whatever is being decoded now."""
        clip = self._clip
        held = clip.at_hand(wish.index) if clip is not None else None
        if held is None:
            if wish.at_hand:
                self._say(Ended())
            return wish.at_hand
        try:
            self._put(wish, held)
        except Exception as error:  # noqa: BLE001 - as in `work`
            self._fail(error)
        return True

    def _put(self, wish: Show, frame: Picture) -> None:
        pixels = getattr(frame, wish.layout)()
        suspect = None if frame.suspect is None else plain(frame.suspect)
        needed = pixels.nbytes if pixels.nbytes > wish.room.nbytes else 0
        if not needed:
            self._lay(wish.room, 0, pixels)
        self._say(Shown(pixels.shape, pixels.itemsize == 2, suspect, needed))

    def _lay(self, room: Room, offset: int, pixels: np.ndarray) -> None:
        there = np.frombuffer(self._memory(room), pixels.dtype, pixels.size, room.offset + offset)
        there.reshape(pixels.shape)[...] = pixels

    def _look_around(self, index: int) -> None:
        """Decode the neighbours, for as long as nothing else is wished for."""
        clip = self._film()
        last = clip.info.n_frames - 1

        def interrupted() -> bool:
            return not self._wishes.empty()

        # Half a neighbourhood at hand is enough: otherwise each step back would decode from the key frame on.
        near_ahead = range(index + 1, min(index + _AHEAD // 2, last) + 1)
        near_behind = range(max(index - _BEHIND // 2, 0), index)
        try:
            done = all(map(clip.is_cached, near_ahead))
            done = done or clip.prefetch(index + 1, index + _AHEAD, interrupted)
            if done and not all(map(clip.is_cached, near_behind)):
                clip.prefetch(index - _BEHIND, index - 1, interrupted)
        except AppError:
            pass  # who wishes for such a frame is told then

    def _pass(self, wish: Pass) -> None:
        self._film().rest()  # a process that reads in a row is hardly ever asked for single frames
        with contextlib.suppress(Stopped):
            self._rows(wish)
        self._say(Ended())
        give_back()  # it may have nothing to do for hours

    def _rows(self, wish: Pass) -> None:
        count = wish.room.nbytes // wish.slot
        planes = self._film().luma_planes(wish.start, wish.stop, wish.step, stop_requested=self._left.is_set)
        for turn, luma in enumerate(planes):
            self._free.acquire()
            if self._left.is_set():
                break
            self._row(wish, turn % count, luma)

    def _row(self, wish: Pass, slot: int, luma: LumaPlane) -> None:
        planes = [] if luma.plane is None else [luma.plane, *(luma.chroma or ())]
        if sum(plane.nbytes for plane in planes) > wish.slot:
            raise ClipError(said("the picture is larger than the film says"))
        at = slot * wish.slot
        for plane in planes:
            self._lay(wish.room, at, plane)
            at += plane.nbytes
        suspect = None if luma.suspect is None else plain(luma.suspect)
        chroma = planes[1].shape if len(planes) > 1 else None
        self._say(Row(luma.index, bool(planes), suspect, chroma))


if __name__ == "__main__":
    serve()
