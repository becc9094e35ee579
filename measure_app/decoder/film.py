"""A film that is decoded in another process, with the face of one that is decoded in this."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from measure_app.clip import ClipInfo, FrameStamp, LumaPlane, Plane, Stamps
from measure_app.decoder.blame import ALONE, AMONG_OTHERS, BlameBook
from measure_app.decoder.passing import passed
from measure_app.decoder.process import Child, Decoder, DecoderGone
from measure_app.decoder.shared import Block
from measure_app.decoder.slots import Pixels, Slots, seen
from measure_app.decoder.wire import (
    BrokenWire,
    Close,
    Failed,
    Layout,
    LookAround,
    Open,
    Opened,
    Room,
    Show,
    Shown,
    Word,
    film_of,
)
from measure_app.errors import ClipClosed, ClipError, Stopped
from measure_app.words import language, marked, said

REFUSED = marked("the film's decoder stopped here twice; this frame cannot be read, go on to another one")
_FRAME_S = 0.05
"""Time that every frame of a film may cost on the way to one, where all before it must be decoded, s."""
_BYTES_PER_S = 2 * 2**20
"""Slowest reading of a film that is still believed in, bytes/s."""
_MOST_ENDS = 12
"""Ends of the decoder in one pass after which it is left alone."""

GiveUp = Callable[[], bool]
_Answer = TypeVar("_Answer")


@dataclass(slots=True)
class _Session:
    """The film as it is open in one life of the decoding process."""

    child: Child
    number: int
    slots: Slots
    around: tuple[int, int] | None = None
    """(number, frame) of the newest `LookAround`."""


@dataclass(frozen=True, slots=True, eq=False)
class DecodedFrame:
    """One frame; its colours are here, its brightness comes when it is asked for."""

    index: int
    """Place in presentation order, from 0."""
    stamp: FrameStamp
    """When it is shown."""
    suspect: str | None
    """Why this frame must not be measured, in words; None for a sound frame."""
    _pixels: Pixels
    _more: Callable[[Layout], Pixels]

    def bgra(self) -> NDArray[np.uint8]:
        """Blue, green, red and opaque alpha as displayed, (height, width, 4), C-contiguous."""
        return cast("NDArray[np.uint8]", self._pixels)

    def bgr(self) -> NDArray[np.uint8]:
        """Blue, green and red as displayed, (height, width, 3), C-contiguous."""
        return cast("NDArray[np.uint8]", self._more("bgr"))

    def luma(self) -> Plane:
        """Brightness as displayed, (height, width), uint8, or uint16 above 8 bits; values as coded."""
        return self._more("luma")


def open_film(
    decoder: Decoder, path: Path, *, told: Callable[[str], None] | None = None, given_up: GiveUp | None = None
) -> DecodedFilm:
    """Open a film, or a folder of still pictures, in the decoding process.

    Parameters
    ----------
    decoder : Decoder
    path : Path
    told : callable, optional
        Takes a sentence for a person where the decoder ended and was begun anew; called in any thread.
    given_up : callable, optional
        Asked now and then whether the film is still wanted.

    Returns
    -------
    DecodedFilm
        To be closed by the caller, best by ``with``.

    Raises
    ------
    ClipError
        One line that names the file, says what is wrong and what to do.
    GivenUp
        If `given_up` said so.
    """
    return DecodedFilm(decoder, path, told, given_up)


class DecodedFilm:
    """A film with exact frames and times; made by `open_film`.

    `frame` and `luma_planes` may be used in several threads.
    """

    def __init__(
        self, decoder: Decoder, path: Path, told: Callable[[str], None] | None, given_up: GiveUp | None
    ) -> None:
        self._decoder = decoder
        self._path = path
        self._told = told
        self._lock = threading.Lock()
        self._closed = False
        self._session: _Session | None = None
        self._open(given_up)

    @property
    def info(self) -> ClipInfo:
        """What is known of the film."""
        return self._info

    @property
    def stamps(self) -> Stamps:
        """Times of all frames; good after the film is closed."""
        return self._stamps

    def frame(self, index: int, given_up: GiveUp | None = None) -> DecodedFrame:
        """Return one frame by its place in presentation order.

        Parameters
        ----------
        index : int
        given_up : callable, optional
            Asked now and then whether the frame is still wanted.

        Raises
        ------
        ClipError
            If there is no such frame, it cannot be decoded, or the decoder ended twice on the way to it;
            names the frame and the reason.
        ClipClosed
            If the film is closed.
        GivenUp
            If `given_up` said so.
        """
        pixels, suspect = self._fetched(index, "bgra", given_up)
        return DecodedFrame(
            index, self._stamps[index], suspect, pixels, lambda layout: self._fetched(index, layout, None)[0]
        )

    def look_around(self, index: int) -> None:
        """Have the neighbours of a frame decoded in idle moments, so that steps onto them are quick."""
        session = self._session
        if session is None or session.child.gone or self._closed or self._book.restless:
            return
        number = session.child.number()
        session.around = (number, index)
        session.child.mention(LookAround(number, session.number, index))

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        """Yield the brightness of frames start, start + step … below stop, as coded; see `Clip.luma_planes`.

        Where the decoder ends on the way it is begun anew and goes on; frames behind which it ended twice are
        given without a plane, with a reason, up to where decoding can begin again.

        Raises
        ------
        ClipError
            If start or stop is not a frame of the film, or it cannot be opened again.
        Stopped
            If `stop_requested` said so.
        """
        self._check_open()
        count = self._info.n_frames
        end = count if stop is None else stop
        if step < 1 or not 0 <= start <= end <= count:
            words = said(
                "frames {start} to {end} by {step} are not in the film, which has {count}",
                start=start,
                end=end,
                step=step,
                count=count,
            )
            raise ClipError(words, where=self._info.path.name)

        def pause() -> None:
            self._check_open()
            if stop_requested is not None and stop_requested():
                raise Stopped(said("the reading of the film was stopped"))

        return self._planes(range(start, end, step), pause)

    def close(self) -> None:
        """Let go of the film; frames handed out stay good."""
        if self._closed:
            return
        self._closed = True
        session, self._session = self._session, None
        if session is None:
            return
        session.slots.close()
        session.child.mention(Close(session.number))

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the film."""
        self.close()

    # One frame.

    def _fetched(self, index: int, layout: Layout, given_up: GiveUp | None) -> tuple[Pixels, str | None]:
        """Pixels of a frame and what is doubtful about it, whatever happens to the decoder meanwhile."""
        self._check_open()
        while True:
            if self._book.refuses(index):
                raise ClipError(said(REFUSED), where=self._where(index))
            session = self._living(index, given_up)
            number = session.child.number()
            try:
                return self._asked(session, number, index, layout, given_up)
            except DecoderGone:
                self._check_open()
                self._book.blame(index, _points(session.child, number))

    def _asked(
        self, session: _Session, number: int, index: int, layout: Layout, given_up: GiveUp | None
    ) -> tuple[Pixels, str | None]:
        """Ask for a frame once; twice where it is larger than the film says, as a still picture may be."""
        slots = session.slots
        slot, room = slots.room()
        try:
            shown = self._answered(
                session, number, slot, Show(number, session.number, index, layout, room), given_up
            )
            if not shown.needed:
                return slots.pixels(slot, shown.shape, shown.deep), shown.suspect
        except (ClipError, DecoderGone):
            slots.give_back(slot)
            raise
        slots.give_back(slot)
        block = Block.made(shown.needed)
        try:
            number = session.child.number()
            room = Room(block.name, block.size, 0, block.size, once=True)
            wish = Show(number, session.number, index, layout, room)
            shown = self._answered(session, number, None, wish, given_up)
            return seen(block, 0, shown.shape, deep=shown.deep), shown.suspect
        finally:
            block.hide()

    def _answered(
        self, session: _Session, number: int, slot: int | None, wish: Show, given_up: GiveUp | None
    ) -> Shown:
        child = session.child
        box = child.begin(wish)
        try:
            word, _ = child.wait(box, self._limit_s, given_up)
        except BaseException:
            # An answer that comes too late may still write into the slot: it is free only then.
            child.leave(number, partial(session.slots.give_back, slot) if slot is not None else _nothing)
            raise
        child.done(number)
        return _believed(word, Shown)

    # Passes.

    def _planes(self, wanted: range, pause: Callable[[], None]) -> Iterator[LumaPlane]:
        """Yield plane after plane, over every end of the decoder."""
        at, ends, points, careful = 0, 0, 0, False
        while at < len(wanted):
            frame = wanted[at]
            refused = self._book.refused_end(frame)
            if refused > frame:
                for index in wanted[at:]:
                    if index >= refused:
                        break
                    at += 1
                    yield LumaPlane(index, None, REFUSED)
                continue
            sound = range(frame, min(wanted.stop, self._book.sound_end(frame)), wanted.step)
            part = sound[:_CAREFUL] if careful else sound
            pause()
            session = self._living(frame, None)
            number = session.child.number()
            before = at
            try:
                for luma in passed(
                    session.child,
                    number,
                    session.number,
                    self._info,
                    part,
                    pause,
                    self._limit_s,
                    careful=careful,
                ):
                    yield luma
                    at += 1
                careful = False
            except DecoderGone:
                self._check_open()
                ends += 1
                if ends > _MOST_ENDS:
                    words = said("the film's decoder stops again and again from here on; convert the film")
                    raise ClipError(words, where=self._where(wanted[at])) from None
                points = _points(session.child, number) + (points if at == before else 0)
                careful = True
                if points >= 2 * ALONE and at < len(wanted):
                    self._book.give_up(wanted[at])
                    points = 0

    # The decoder's lives.

    @property
    def _limit_s(self) -> float:
        return self._decoder.patience_s + _FRAME_S * self._info.n_frames

    def _living(self, frame: int, given_up: GiveUp | None) -> _Session:
        """The film as it is open now; opened again where the decoder ended."""
        with self._lock:
            self._check_open()
            session = self._session
            if session is not None and not session.child.gone:
                return session
            if session is not None:
                around = session.around
                if around is not None and around[0] in session.child.fallen:
                    self._book.blame_idle(_points(session.child, around[0]))
            fresh = self._open(given_up)
            if self._closed:
                fresh.child.mention(Close(fresh.number))
                self._check_open()
            if session is not None and not session.child.told:
                session.child.told = True
                self._tell(frame)
            return fresh

    def _open(self, given_up: GiveUp | None) -> _Session:
        """Open the film in the living process; a second time where that ends it."""
        for last in (False, True):
            child = self._decoder.child()
            wish = Open(child.number(), os.fsencode(self._path.absolute()), language())
            try:
                return self._opened(child, wish, given_up)
            except DecoderGone:
                self._check_open()
                if last:
                    break
        raise ClipError(
            said("the film's decoder stopped twice while it opened the file; convert the film"),
            where=self._path.name,
        )

    def _opened(self, child: Child, wish: Open, given_up: GiveUp | None) -> _Session:
        box = child.begin(wish)
        try:
            word, attached = child.wait(box, self._decoder.patience_s + self._reading_s(), given_up)
        except BaseException:
            child.leave(wish.number, partial(child.mention, Close(wish.number)))
            raise
        child.done(wish.number)
        opened = _believed(word, Opened)
        try:
            info, stamps, starts = film_of(opened.facts, attached)
        except BrokenWire:
            raise ClipError(said("the decoder says what cannot be"), where=self._path.name) from None
        before = self._session
        if before is None:
            self._info, self._stamps = info, stamps
            self._book = BlameBook(starts, info.n_frames)
        elif (info.n_frames, info.geometry, info.bit_depth) != (
            self._info.n_frames,
            self._info.geometry,
            self._info.bit_depth,
        ):
            child.mention(Close(wish.number))
            words = said("the file has changed since it was opened; save the run and open it again")
            raise ClipError(words, where=self._path.name)
        else:
            before.slots.close()
        self._session = _Session(child, wish.number, Slots(4 * info.width * info.height))
        return self._session

    def _reading_s(self) -> float:
        """Time that reading the whole file may take, s."""
        try:
            return self._path.stat().st_size / _BYTES_PER_S
        except OSError:
            return 0.0

    def _tell(self, frame: int) -> None:
        if self._told is not None:
            self._told(
                said(
                    "The film's decoder stopped at frame {frame} and was started again: nothing is lost, "
                    "go on; a frame that stops it twice will be passed over.",
                    frame=frame,
                )
            )

    def _check_open(self) -> None:
        if self._closed:
            raise ClipClosed(said("the clip was closed; open it again"), where=self._path.name)

    def _where(self, index: int) -> str:
        return said("{path}, frame {index}", path=self._info.path.name, index=index)


_CAREFUL = 64
"""Frames read with care after the decoder ended."""


def _points(child: Child, number: int) -> int:
    return ALONE if child.fallen <= {number} else AMONG_OTHERS


def _believed(word: Word, kind: type[_Answer]) -> _Answer:
    """The answer hoped for; what hinders it is raised."""
    if isinstance(word, Failed):
        raise (ClipClosed if word.closed else ClipError)(word.words, where=word.where)
    if not isinstance(word, kind):
        raise ClipError(said("the decoder says what cannot be"))
    return word


def _nothing() -> None:
    return
