"""Frames on demand: the newest wish wins, neighbours are decoded in idle moments, in another process."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QThread, Signal, Slot

from measure_app.decoder import Decoder, open_film
from measure_app.errors import AppError, ClipError, Stopped

if TYPE_CHECKING:
    from measure_app.decoder import DecodedFilm


@dataclass(frozen=True, slots=True)
class _Wish:
    """A film to open (path given), a frame to show (index given), or that no film is wanted any more."""

    ticket: int
    film: int
    """Which film the wish belongs to; counts up with every film opened."""
    path: Path | None = None
    index: int = 0
    idle: bool = True
    """Whether neighbours shall be decoded afterwards."""
    aside: bool = False
    """Whether it is for a look beside the current frame, which every other wish comes before."""
    ends: bool = False
    """Whether the film that is open shall be let go of."""


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
    clip: DecodedFilm | None
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
            if wish.path is not None or wish.ends:
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

    def put_around(self, index: int) -> None:
        """Say where the person is now, without asking for anything."""
        with self._lock:
            self._around = index

    def take_around(self) -> int | None:
        """Where the person is now, if nothing else is to be done."""
        with self._lock:
            if self._open or self._frame or self._aside:
                return None
            around, self._around = self._around, None
            return around

    def overtaken(self, path: Path | None) -> bool:
        """Whether nobody waits any more for a film or its frames: the window closes, or opens another one."""
        coming = self._open
        return self.ending or (coming is not None and coming.path != path)


class _Fetcher(QObject):
    """The half that lives in the thread, waits for the decoder and owns the film."""

    film_opened = Signal(object)
    frame_ready = Signal(object)
    stopped = Signal(str)
    near_ready = Signal(object)
    """`FrameReply` with the frame after the current one, in the way of the steps, where it is at hand."""

    def __init__(self, desk: _Desk, decoder: Decoder) -> None:
        super().__init__()
        self._desk = desk
        self._decoder = decoder
        self._clip: DecodedFilm | None = None
        self._film = 0
        self._path: Path | None = None
        self._ahead = False
        self._before = 0

    @Slot()
    def work(self) -> None:
        """Fulfil wishes until none is left, then look around the last frame."""
        while not self._desk.ending:
            wish = self._desk.take()
            if wish is not None and wish.path is not None:
                self._open(wish, wish.path)
            elif wish is not None and wish.ends:
                self.let_go()
            elif wish is not None:
                self._show(wish)
            elif (around := self._desk.take_around()) is not None:
                self._look_around(around)
            else:
                return

    @Slot()
    def let_go(self) -> None:
        """Close the film."""
        if self._clip is not None:
            self._clip.close()
            self._clip = None

    def _open(self, wish: _Wish, path: Path) -> None:
        if self._clip is not None and self._ahead and self._path == path:
            self._film, self._ahead = wish.film, False
            self.film_opened.emit(FilmReply(wish.film, path, self._clip))
            return
        self.let_go()
        self._film, self._path, self._ahead = wish.film, path, wish.film < 0
        error = None
        try:
            self._clip = open_film(
                self._decoder, path, told=self.stopped.emit, stop_requested=self._overtaken
            )
        except Stopped:
            return
        except AppError as fault:
            error = fault
        self.film_opened.emit(FilmReply(wish.film, path, self._clip, error))

    def _overtaken(self) -> bool:
        return self._desk.overtaken(self._path)

    def _show(self, wish: _Wish) -> None:
        if self._clip is None or wish.film != self._film:
            return
        begun = time.perf_counter()
        pixels, suspect, error = None, None, None
        try:
            frame = self._clip.frame(wish.index)
            pixels, suspect = frame.bgra(), frame.suspect
        except Stopped:
            return
        except ClipError as fault:
            error = fault
        took = time.perf_counter() - begun
        self.frame_ready.emit(
            FrameReply(wish.ticket, wish.film, wish.index, pixels, suspect, error, took, wish.aside)
        )
        if wish.idle and not wish.aside and error is None:
            self._desk.put_around(wish.index)

    def _look_around(self, index: int) -> None:
        """Have neighbours decoded; give those beside to the window: a step onto one waits for nobody."""
        if self._clip is None:
            return
        next_one = index - 1 if index < self._before else index + 1
        self._before = index
        try:
            self._clip.look_around(index)
            frame = self._clip.at_hand(next_one)
        except (Stopped, ClipError):
            return
        if frame is not None:
            self.near_ready.emit(FrameReply(0, self._film, next_one, frame.bgra(), frame.suspect))


class FrameService(QObject):
    """Opens films and gives frames; decoded in another process, waited for in a thread.

    Parameters
    ----------
    decoder : Decoder, optional
        The process, begun already; its owner ends it. By default one of this service's own.
    """

    film_opened = Signal(object)
    """`FilmReply`; of a film that a newer one replaced in the meantime, nothing is heard."""
    frame_ready = Signal(object)
    """`FrameReply` of the film that is open now, in the order of the wishes."""
    peeked = Signal(object)
    """`FrameReply` to a `peek`."""
    stopped = Signal(str)
    """A sentence: the decoder ended and was begun anew."""
    _called = Signal()
    _ended = Signal()

    def __init__(self, decoder: Decoder | None = None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.decoder = decoder or Decoder()
        """Where else films are to be opened."""
        self._owned = decoder is None
        self._desk = _Desk()
        self._film = 0
        self._ticket = 0
        self._served = 0
        self._near: FrameReply | None = None
        self._thread = QThread(self)
        self._thread.setObjectName("frames")
        self._fetcher = _Fetcher(self._desk, self.decoder)
        self._fetcher.moveToThread(self._thread)
        self._called.connect(self._fetcher.work)
        self._ended.connect(self._fetcher.let_go)
        self._fetcher.film_opened.connect(self._on_film)
        self._fetcher.frame_ready.connect(self._on_frame)
        self._fetcher.stopped.connect(self.stopped)
        self._fetcher.near_ready.connect(self._on_near)

    @property
    def newest(self) -> int:
        """Ticket of the newest wish."""
        return self._ticket

    def open(self, path: Path) -> int:
        """Open a film in place of the one that is open; return its number."""
        self._film += 1
        self._near = None
        self._send(_Wish(self._next(), self._film, path=path))
        return self._film

    def let_go(self) -> None:
        """Close the film that is open, and give back the memory its frames take."""
        self._film += 1
        self._near = None
        self._send(_Wish(self._next(), self._film, ends=True))

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
        A frame beside the current one that is at hand already is shown before this returns.
        """
        near = self._near
        if near is not None and near.index == index:
            ticket = self._served = self._next()
            self.frame_ready.emit(replace(near, ticket=ticket))
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
        """Close the film, end the thread, and the decoder if it is this service's own."""
        self._desk.ending = True
        self._near = None
        if self._thread.isRunning():
            self._ended.emit()
            self._thread.quit()
            self._thread.wait()
        self._fetcher.let_go()
        if self._owned:
            self.decoder.close()

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
    def _on_near(self, reply: FrameReply) -> None:
        if reply.film == self._film:
            self._near = reply
