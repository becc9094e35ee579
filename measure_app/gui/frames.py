"""Frames on demand: one thread owns the clip, the newest wish wins, neighbours come in idle moments."""

from __future__ import annotations

import contextlib
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QThread, Signal, Slot

from measure_app.errors import AppError, ClipError

if TYPE_CHECKING:
    from measure_app.clip import Clip, Frame, Still, Stills

_AHEAD = 16
"""Frames decoded ahead of the current one in idle moments."""
_BEHIND = 48
"""Frames decoded before the current one: stepping back would else cost a whole group of pictures."""


@dataclass(frozen=True, slots=True)
class _Wish:
    """A film to open (path given) or a frame to show (index given)."""

    ticket: int
    film: int
    """Which film the wish belongs to; counts up with every film opened."""
    path: Path | None = None
    index: int = 0
    idle: bool = True
    """Whether neighbours shall be decoded afterwards."""
    aside: bool = False
    """Whether it is for a look beside the current frame, which every other wish comes before."""


@dataclass(frozen=True, slots=True, eq=False)
class FrameReply:
    """One frame, ready to be painted, or why it cannot be had."""

    ticket: int
    film: int
    index: int
    pixels: NDArray[np.uint8] | None
    """(height, width, 4) blue, green, red, opaque, as displayed; None where the frame cannot be had."""
    suspect: str | None = None
    """Why this frame must not be measured, in words."""
    error: AppError | None = None
    decoded_s: float = 0.0
    """How long getting it took."""
    aside: bool = False
    """Whether it answers a `peek`."""


@dataclass(frozen=True, slots=True, eq=False)
class FilmReply:
    """A film that was opened, or why it could not be."""

    film: int
    path: Path
    clip: Clip | Stills | None
    error: AppError | None = None


class _Desk:
    """Where wishes wait; shared by both threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: _Wish | None = None
        self._frame: _Wish | None = None
        self._aside: _Wish | None = None
        self._around: int | None = None
        self.ending = False

    def put(self, wish: _Wish) -> None:
        with self._lock:
            if wish.path is not None:
                self._open, self._frame, self._aside, self._around = wish, None, None, None
            elif wish.aside:
                self._aside = wish
            else:
                self._frame = wish

    def take(self) -> _Wish | None:
        with self._lock:
            if self._open is not None:
                film, self._open = self._open, None
                return film
            if self._frame is not None:
                frame, self._frame = self._frame, None
                return frame
            aside, self._aside = self._aside, None
            return aside

    def peek(self) -> _Wish | None:
        with self._lock:
            return self._open or self._frame or self._aside

    def put_around(self, index: int) -> None:
        """Say where the person is now, without asking for anything."""
        with self._lock:
            self._around = index

    def take_around(self) -> int | None:
        with self._lock:
            around, self._around = self._around, None
            return around


class _Decoder(QObject):
    """The half that lives in the thread and owns the clip."""

    film_opened = Signal(object)
    frame_ready = Signal(object)
    near_ready = Signal(object)
    """(film, frames by index): decoded frames around the current one."""

    def __init__(self, desk: _Desk) -> None:
        super().__init__()
        self._desk = desk
        self._clip: Clip | Stills | None = None
        self._film = 0
        self._ahead: Path | None = None

    @Slot()
    def work(self) -> None:
        """Fulfil wishes until none is left, then look around the last frame."""
        around: int | None = None
        while not self._desk.ending:
            wish = self._desk.take()
            if wish is not None and wish.path is not None:
                self._open(wish, wish.path)
                around = None
            elif wish is not None:
                self._show(wish)
                around = around if wish.aside else wish.index if wish.idle else None
            elif (moved := self._desk.take_around()) is not None:
                around = moved
            elif around is not None and self._clip is not None:
                if self._look_around(self._clip, around):
                    self._hand_out(self._clip, around)
                    around = None
            else:
                return

    @Slot()
    def let_go(self) -> None:
        """Close the film."""
        if self._clip is not None:
            self._clip.close()
            self._clip = None

    def _open(self, wish: _Wish, path: Path) -> None:
        from measure_app.clip import open_source

        if self._clip is not None and wish.film >= 0 and self._ahead == path:
            self._film, self._ahead = wish.film, None
            self.film_opened.emit(FilmReply(wish.film, path, self._clip))
            return
        self.let_go()
        self._film, self._ahead = wish.film, path if wish.film < 0 else None
        try:
            self._clip = open_source(path)
        except AppError as error:
            self.film_opened.emit(FilmReply(wish.film, path, None, error))
            return
        self.film_opened.emit(FilmReply(wish.film, path, self._clip))

    def _show(self, wish: _Wish) -> None:
        if self._clip is None or wish.film != self._film:
            return
        begun = time.perf_counter()
        try:
            frame = self._clip.frame(wish.index)
        except ClipError as error:
            failed = FrameReply(wish.ticket, wish.film, wish.index, None, error=error, aside=wish.aside)
            self.frame_ready.emit(failed)
            return
        pixels = frame.bgra()
        took = time.perf_counter() - begun
        self.frame_ready.emit(
            FrameReply(
                wish.ticket, wish.film, wish.index, pixels, frame.suspect, decoded_s=took, aside=wish.aside
            )
        )

    def _look_around(self, clip: Clip | Stills, index: int) -> bool:
        """Decode the neighbours; False where a wish that needs the decoder came in between."""

        def interrupted() -> bool:
            wish = self._desk.peek()
            if (
                wish is not None
                and wish.path is None
                and wish.film == self._film
                and clip.is_cached(wish.index)
            ):
                # A frame at hand is shown at once, and what is half decoded is not thrown away for it.
                taken = self._desk.take()
                if taken is not None:
                    self._show(taken)
                return self._desk.ending
            return wish is not None or self._desk.ending

        last = clip.info.n_frames - 1
        # Half a neighbourhood at hand is enough: otherwise each step back would decode from the key frame on.
        near_ahead = range(index + 1, min(index + _AHEAD // 2, last) + 1)
        near_behind = range(max(index - _BEHIND // 2, 0), index)
        if not all(map(clip.is_cached, near_ahead)) and not clip.prefetch(
            index + 1, index + _AHEAD, interrupted
        ):
            return False
        return all(map(clip.is_cached, near_behind)) or clip.prefetch(index - _BEHIND, index - 1, interrupted)

    def _hand_out(self, clip: Clip | Stills, index: int) -> None:
        """Give the neighbours to the window: a step onto one of them must not wait for this thread."""
        span = range(max(0, index - _BEHIND), min(index + _AHEAD, clip.info.n_frames - 1) + 1)
        near: dict[int, Frame | Still] = {}
        for i in span:
            if clip.is_cached(i):
                with contextlib.suppress(ClipError):
                    near[i] = clip.frame(i)
        self.near_ready.emit((self._film, near))


class FrameService(QObject):
    """Opens films and gives frames, all in a thread of its own."""

    film_opened = Signal(object)
    """`FilmReply`; of a film that a newer one replaced in the meantime, nothing is heard."""
    frame_ready = Signal(object)
    """`FrameReply` of the film that is open now, in the order of the wishes."""
    peeked = Signal(object)
    """`FrameReply` to a `peek`."""
    _called = Signal()
    _ended = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._desk = _Desk()
        self._film = 0
        self._ticket = 0
        self._served = 0
        self._near: dict[int, Frame | Still] = {}
        self._thread = QThread(self)
        self._thread.setObjectName("frames")
        self._decoder = _Decoder(self._desk)
        self._decoder.moveToThread(self._thread)
        self._called.connect(self._decoder.work)
        self._ended.connect(self._decoder.let_go)
        self._decoder.film_opened.connect(self._on_film)
        self._decoder.frame_ready.connect(self._on_frame)
        self._decoder.near_ready.connect(self._on_near)

    @property
    def newest(self) -> int:
        """Ticket of the newest wish."""
        return self._ticket

    def open(self, path: Path) -> int:
        """Open a film in place of the one that is open; return its number."""
        self._film += 1
        self._near = {}
        self._send(_Wish(self._next(), self._film, path=path))
        return self._film

    def open_ahead(self, path: Path) -> None:
        """Open a film that will be asked for in a moment, while the window is still being built."""
        self._send(_Wish(self._next(), -1, path=path))

    def show(self, index: int, *, idle: bool = True) -> int:
        """Wish for a frame; a wish that still waits is dropped for it.

        Parameters
        ----------
        index : int
            Frame in presentation order.
        idle : bool
            Whether its neighbours shall be decoded in advance; not while a film plays.

        Notes
        -----
        A neighbour that is decoded already is shown before this returns.
        """
        frame = self._near.get(index)
        if frame is not None:
            ticket = self._served = self._next()
            begun = time.perf_counter()
            pixels = frame.bgra()
            took = time.perf_counter() - begun
            self.frame_ready.emit(
                FrameReply(ticket, self._film, index, pixels, frame.suspect, decoded_s=took)
            )
            if idle:
                self._desk.put_around(index)
                self._called.emit()
            return ticket
        self._send(_Wish(self._next(), self._film, index=index, idle=idle))
        return self._ticket

    def peek(self, index: int) -> None:
        """Wish for a frame beside the current one; `peeked` answers, when there is time."""
        self._send(_Wish(self._next(), self._film, index=index, aside=True))

    def close(self) -> None:
        """Close the film and end the thread."""
        self._desk.ending = True
        self._near = {}
        if self._thread.isRunning():
            self._ended.emit()
            self._thread.quit()
            self._thread.wait()
        self._decoder.let_go()

    def _next(self) -> int:
        self._ticket += 1
        return self._ticket

    def _send(self, wish: _Wish) -> None:
        if self._desk.ending:
            return  # an answer that was still under way when the window closed asks for nothing more
        if not self._thread.isRunning():
            self._thread.start()
        self._desk.put(wish)
        self._called.emit()

    @Slot(object)
    def _on_film(self, reply: FilmReply) -> None:
        if reply.film == self._film:
            self.film_opened.emit(reply)

    @Slot(object)
    def _on_frame(self, reply: FrameReply) -> None:
        if reply.film != self._film:
            return
        if reply.aside:
            self.peeked.emit(reply)
        elif reply.ticket > self._served:
            self._served = reply.ticket
            self.frame_ready.emit(reply)

    @Slot(object)
    def _on_near(self, news: tuple[int, dict[int, Frame | Still]]) -> None:
        film, near = news
        if film == self._film:
            self._near = near
