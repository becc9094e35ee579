"""A film that is decoded in other processes, with the face of one that is decoded in this."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from measure_app.clip import FrameStamp, LumaPlane, OpenedSource, Plane
from measure_app.decoder.blame import BlameBook
from measure_app.decoder.memory import Pixels
from measure_app.decoder.process import Decoder, DecoderGone
from measure_app.decoder.reading import Pause, Reader
from measure_app.decoder.wire import Layout
from measure_app.errors import ClipError
from measure_app.words import marked, said

REFUSED = marked(
    "the film's decoder stopped here twice, so the frames up to the next key frame are passed over; go on "
    "to others, or open the film again to try anew"
)
_MOST_ENDS = 12
"""Ends of decoders in one pass after which it is given up."""


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
    decoder: Decoder,
    path: Path,
    *,
    told: Callable[[str], None] | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> DecodedFilm:
    """Open a film, or a folder of still pictures, in a process of its own.

    Parameters
    ----------
    decoder : Decoder
        Lends the processes.
    path : Path
    told : callable, optional
        Takes a sentence for a person where a decoder ended and another was begun; called in any thread.
    stop_requested : callable, optional
        Asked now and then, here and for every frame, whether nobody waits any more.

    Returns
    -------
    DecodedFilm
        To be closed by the caller, best by ``with``.

    Raises
    ------
    ClipError
        One line that names the file, says what is wrong and what to do.
    Stopped
        If `stop_requested` said so.
    """
    return DecodedFilm(decoder, path, told, stop_requested)


class DecodedFilm(OpenedSource):
    """A film with exact frames and times; made by `open_film`.

    One process reads single frames and keeps their neighbours at hand; each pass over the film has another.
    All may be asked for in several threads.
    """

    def __init__(
        self,
        decoder: Decoder,
        path: Path,
        told: Callable[[str], None] | None,
        stop_requested: Callable[[], bool] | None,
    ) -> None:
        self._decoder = decoder
        self._path = path
        self._told = told
        self._name = path.name
        self._stop_requested = stop_requested
        self._turn = threading.Lock()
        """For the stepper: one frame after the other."""
        self._lock = threading.Lock()
        """For the passers, and for the end."""
        self._known: tuple[object, ...] | None = None
        self._last = 0
        """The frame that was shown last."""
        self._around: int | None = None
        """The frame around which the stepper may be decoding."""
        self._passers: list[Reader] = []
        """Readers of passes that are over."""
        self._stepper: Reader | None = None
        stepper = self._opened(self._pause)
        self._stepper = stepper
        self._info, self._stamps = stepper.info, stepper.stamps
        self._book = BlameBook(stepper.starts, self._info.n_frames)
        self._known = _facts(stepper)

    def frame(self, index: int) -> DecodedFrame:
        """Return one frame by its place in presentation order.

        Raises
        ------
        ClipError
            If there is no such frame, it cannot be decoded, or a decoder ended twice on the way to it;
            names the frame and the reason.
        ClipClosed
            If the film is closed.
        Stopped
            If nobody waits any more.
        """
        return self._framed(index, *self._fetched(index, "bgra"))

    def _framed(self, index: int, pixels: Pixels, suspect: str | None) -> DecodedFrame:
        return DecodedFrame(
            index, self._stamps[index], suspect, pixels, lambda layout: self._fetched(index, layout)[0]
        )

    def at_hand(self, index: int) -> DecodedFrame | None:
        """Return a frame that needs no decoding, else None."""
        with self._turn:
            stepper = self._stepper
            if self._closed or stepper is None or stepper.child.gone or not 0 <= index < self._info.n_frames:
                return None
            try:
                found = stepper.at_hand(index, self._pause)
            except DecoderGone:  # who asks for the next frame learns it
                return None
        return None if found is None else self._framed(index, *found)

    def look_around(self, index: int) -> None:
        """Have the neighbours of a frame decoded in idle moments, so that steps onto them are quick."""
        with self._turn:
            if self._stepper is None or self._closed or not self._book.may_look_around(index):
                return
            self._around = index
            with contextlib.suppress(DecoderGone):  # who asks for the next frame learns it
                self._stepper.look_around(index)

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        """Yield the brightness of frames start, start + step … below stop, as coded; see `Clip.luma_planes`.

        Where a decoder ends on the way another goes on from there; frames behind which that happened twice
        are given without a plane, with the reason, up to where decoding can begin again.

        Raises
        ------
        ClipError
            If start or stop is not a frame of the film, or it cannot be opened again.
        Stopped
            If `stop_requested` said so.
        """
        self._check_open()
        return self._planes(self._asked(start, stop, step), partial(self._go_on, stop_requested))

    def close(self) -> None:
        """Let go of the film; frames handed out stay good."""
        with self._lock:
            self._closed = True
            passers, self._passers = self._passers, []
        with self._turn:  # who waits for a frame has learnt it within a tenth of a second
            stepper, self._stepper = self._stepper, None
        for reader in (stepper, *passers):
            if reader is not None:
                self._give_back(reader)

    # Frames and passes, whatever happens to decoders meanwhile.

    def _fetched(self, index: int, layout: Layout) -> tuple[Pixels, str | None]:
        self._check_index(index)
        with self._turn:
            while True:
                self._pause()
                if self._book.refused_end(index) > index:
                    raise ClipError(said(REFUSED), where=self._where(index))
                if self._stepper is not None and self._stepper.child.gone:
                    self._on_idle_end()
                if self._stepper is None:
                    self._stepper = self._opened(self._pause)
                stepper, self._stepper = self._stepper, None
                try:
                    found = stepper.show(index, layout, self._pause)
                except DecoderGone:
                    self._on_end(index, stepper)
                    continue
                except ClipError:
                    self._keep(stepper)
                    raise
                self._keep(stepper)
                self._book.absolve(index)
                self._last = index
                return found

    def _keep(self, stepper: Reader) -> None:
        """Go on with a reader, unless it was ended because nobody waited any more."""
        if stepper.child.gone:
            self._give_back(stepper)
        else:
            self._stepper = stepper

    def _planes(self, wanted: range, pause: Pause) -> Iterator[LumaPlane]:
        at, ends = 0, 0
        while at < len(wanted):
            frame = wanted[at]
            if self._book.refused_end(frame) > frame:
                yield LumaPlane(frame, None, REFUSED)
                at += 1
                continue
            part = range(frame, min(wanted.stop, self._book.sound_end(frame)), wanted.step)
            reader = self._passer(pause)
            try:
                with contextlib.closing(reader.planes(part, pause)) as planes:
                    for luma in planes:
                        self._book.absolve(luma.index)
                        at += 1
                        yield luma
            except DecoderGone:
                ends += 1
                due = wanted[min(at, len(wanted) - 1)]
                self._on_end(due, reader)
                if ends > _MOST_ENDS:
                    words = said("the film's decoder stops again and again from here on; convert the film")
                    raise ClipError(words, where=self._where(due)) from None
            finally:
                self._spare(reader)

    def _on_end(self, frame: int, reader: Reader) -> None:
        """Enter that a decoder ended on the way to a frame, and say so."""
        self._give_back(reader)
        self._check_open()
        refused = self._book.blame(frame)
        if refused is None:
            self._say_of(frame)
            return
        self._tell(
            said(
                "{film}: the decoder stopped twice at frame {first}; frames {first} to {last} are passed "
                "over. Nothing is lost.",
                film=self._name,
                first=refused.start,
                last=refused[-1],
            )
        )

    def _on_idle_end(self) -> None:
        """Enter that the decoder of single frames ended while nobody waited, and say so."""
        if self._stepper is not None:
            self._give_back(self._stepper)
        self._stepper = None
        around, self._around = self._around, None
        if around is not None:
            self._book.blame_idle(around)
        self._say_of(self._last)

    def _say_of(self, frame: int) -> None:
        self._tell(
            said(
                "{film}: the decoder stopped at frame {frame} and was started again. Nothing is lost; go on.",
                film=self._name,
                frame=frame,
            )
        )

    def _tell(self, words: str) -> None:
        if self._told is not None:
            self._told(words)

    # Readers.

    def _opened(self, pause: Pause) -> Reader:
        """Open the film in a process; in a second one where that ends the first."""
        for _ in range(2):
            child = self._decoder.lend()
            try:
                reader = Reader(child, self._path, self._decoder.patience_s, pause)
            except DecoderGone:
                pause()
                continue
            except ClipError:
                self._decoder.take_back(child)
                raise
            if self._known is not None and self._known != _facts(reader):
                self._give_back(reader)
                words = said("the file has changed since it was opened; save the run and open it again")
                raise ClipError(words, where=self._name)
            return reader
        raise ClipError(
            said("the film's decoder stopped twice while it opened the file; convert the film"),
            where=self._name,
        )

    def _passer(self, pause: Pause) -> Reader:
        pause()
        with self._lock:
            if self._passers:
                return self._passers.pop()
        return self._opened(pause)

    def _spare(self, reader: Reader) -> None:
        """Keep one reader for the next pass."""
        with self._lock:
            if not self._closed and not reader.child.gone and not self._passers:
                self._passers.append(reader)
                return
        self._give_back(reader)

    def _give_back(self, reader: Reader) -> None:
        with contextlib.suppress(DecoderGone):
            reader.close()
        self._decoder.take_back(reader.child)

    def _pause(self) -> None:
        self._go_on(self._stop_requested)


def _facts(reader: Reader) -> tuple[object, ...]:
    """By which it is seen whether the file is still the same film."""
    info = reader.info
    return info.n_frames, info.geometry, info.bit_depth, info.size_bytes
