"""A film as it is open in one decoding process: single frames, and passes through a ring of shared memory."""

from __future__ import annotations

import contextlib
import math
import mmap
import os
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from measure_app.clip import ClipInfo, LumaPlane, Plane, Stamps
from measure_app.decoder.memory import Block, Pixels, Slots
from measure_app.decoder.process import Child, DecoderGone
from measure_app.decoder.wire import (
    Close,
    Ended,
    Failed,
    Free,
    Layout,
    Leave,
    LookAround,
    Open,
    Opened,
    Pass,
    Row,
    Show,
    Shown,
    Wish,
)
from measure_app.errors import ClipClosed, ClipError
from measure_app.words import language

_FRAME_S = 0.05
"""Time that every frame of a film may cost on the way to one, where all before it must be decoded, s."""
_BYTES_PER_S = 2 * 2**20
"""Slowest reading of a film that is still believed in, bytes/s."""
_LEAVING_S = 10.0
_RING_BYTES = 48 * 2**20
"""Mostly but half of it is ever written to."""
_FEWEST, _MOST = 3, 64
"""Slots of a ring."""
_LONGEST_SIDE = 2**16
_MOST_PIXELS = 2**28
"""More than any picture that is opened has: bounds for what is believed, not for films."""

Pause = Callable[[], None]
"""Called now and then while something is waited for; raises to wait no longer."""


class Reader:
    """Opens a film in a process and reads it there; for one thread at a time.

    Parameters
    ----------
    child : Child
        Has nothing else to do from now on.
    path : Path
    patience_s : float
        Longest silence in quick work, s.
    pause : callable

    Raises
    ------
    DecoderGone
        If the process ended, here as in all that follows.
    ClipError
        If the film cannot be opened.
    """

    def __init__(self, child: Child, path: Path, patience_s: float, pause: Pause) -> None:
        self.child = child
        self._busy = False
        self._limit_s = patience_s + _reading_s(path)
        opened = self._asked(Open(os.fsencode(path.absolute()), language()), Opened, pause)
        self._limit_s = patience_s + _FRAME_S * opened.info.n_frames
        try:
            self.info, self.stamps, self.starts = _film_of(opened)
        except (ValueError, ArithmeticError):
            self._disbelieve()
        self._slots: Slots | None = None
        self._ring: _Ring | None = None

    def at_hand(self, index: int, pause: Pause) -> tuple[Pixels, str | None] | None:
        """Fetch one frame in colour if it needs no decoding."""
        if self._slots is None:
            return None
        return self._put(self._slots, index, "bgra", pause, at_hand=True)[1]

    def show(self, index: int, layout: Layout, pause: Pause) -> tuple[Pixels, str | None]:
        """Fetch one frame: its pixels, and why it must not be measured.

        Raises
        ------
        ClipError
            If the frame cannot be had.
        """
        if self._slots is None:
            self._slots = Slots(4 * self.info.width * self.info.height)
        needed, found = self._put(self._slots, index, layout, pause)
        return found if found is not None else self._show_large(index, layout, needed, pause)

    def _put(
        self, slots: Slots, index: int, layout: Layout, pause: Pause, *, at_hand: bool = False
    ) -> tuple[int, tuple[Pixels, str | None] | None]:
        """Have a frame put into a slot: the bytes it needs where it is too large, or else what is there."""
        needed = 0
        slot, room = slots.take()
        try:
            kind = Shown | Ended if at_hand else Shown
            shown = self._asked(Show(index, layout, room, at_hand=at_hand), kind, pause)
            slots.block.hide()  # the process has found it
            if isinstance(shown, Shown):
                needed = shown.needed
                if not needed:
                    _check_shape(shown)
                    return 0, (slots.pixels(slot, shown.shape, deep=shown.deep), shown.suspect)
        except ValueError:
            self._disbelieve()
        except BaseException:
            slots.give_back(slot)
            raise
        slots.give_back(slot)
        return needed, None

    def look_around(self, index: int) -> None:
        """Have the neighbours of a frame decoded in idle moments."""
        self.child.say(LookAround(index))

    def planes(self, wanted: range, pause: Pause) -> Generator[LumaPlane]:
        """Yield the luma planes of the frames wanted, each good until the next one is asked for.

        Raises
        ------
        ClipError
            If the film cannot be read any further.
        """
        if self._ring is None:
            self._ring = _Ring(self.info)
        ring, taken = self._ring, 0
        self._tell(Pass(wanted.start, wanted[-1] + 1, wanted.step, ring.block.room(), ring.slot))
        try:
            for turn, index in enumerate(wanted):
                pause()
                row = self._heard(Row, pause)
                ring.block.hide()  # the process has found it
                if row.index != index:
                    self._disbelieve()
                yield self._luma(ring, turn, row)
                taken += 1
                if taken >= max(1, ring.count // 4):
                    with contextlib.suppress(DecoderGone):  # what it told before its end is heard first
                        self.child.say(Free(taken))
                    taken = 0
            self._heard(Ended, pause)
        finally:
            self._leave()

    def close(self) -> None:
        """Let go of the film and its memory; pixels handed out stay good."""
        for each in (self._slots, self._ring):
            if each is not None:
                each.block.hide()
        if self._busy:
            self.child.kill()
        elif not self.child.gone:
            self.child.say(Close())

    def _show_large(self, index: int, layout: Layout, nbytes: int, pause: Pause) -> tuple[Pixels, str | None]:
        """Fetch a frame that is larger than the film says, as a still picture may be."""
        if nbytes > 4 * _MOST_PIXELS:
            self._disbelieve()
        block = Block(nbytes)
        try:
            shown = self._asked(Show(index, layout, block.room()), Shown, pause)
            _check_shape(shown)
            return block.pixels(0, shown.shape, deep=shown.deep), shown.suspect
        except ValueError:
            self._disbelieve()
        finally:
            block.hide()

    def _luma(self, ring: _Ring, turn: int, row: Row) -> LumaPlane:
        if not row.seen:
            return LumaPlane(row.index, None, row.suspect)
        try:
            plane, chroma = ring.planes(turn, row.chroma)
        except ValueError:
            self._disbelieve()
        return LumaPlane(row.index, plane, row.suspect, chroma)

    # What is said.

    def _asked(self, wish: Wish, kind: Any, pause: Pause) -> Any:
        self._tell(wish)
        return self._heard(kind, pause)

    def _tell(self, wish: Wish) -> None:
        """Wish for something that is answered."""
        self.child.say(wish)
        self._busy = True

    def _heard(self, kind: Any, pause: Pause) -> Any:
        """The answer hoped for; what hinders it is raised."""
        try:
            word = self.child.hear(self._limit_s, pause)
        except BaseException:
            if kind is not Row and kind is not Ended:  # a pass can be left; nothing else can
                self.child.kill()
            raise
        self._busy = isinstance(word, Row)
        if isinstance(word, Failed):
            raise (ClipClosed if word.closed else ClipError)(word.words, where=word.where)
        if not isinstance(word, kind):
            self._disbelieve()
        return word

    def _leave(self) -> None:
        """End a pass that is under way, so that the process can do something else."""
        if not self._busy or self.child.gone:
            return
        try:
            self.child.say(Leave())
            while self._busy:
                self._busy = isinstance(self.child.hear(_LEAVING_S, _nothing), Row)
        except DecoderGone:
            pass

    def _disbelieve(self) -> NoReturn:
        """End a process that says what cannot be: it is no longer the one that was begun."""
        self.child.kill()
        raise DecoderGone


class _Ring:
    """Slots for planes, filled round and round; each has room for a luma and two colours as large."""

    def __init__(self, info: ClipInfo) -> None:
        self._deep = info.bit_depth > 8
        self._shape = (info.geometry.coded_height, info.geometry.coded_width)
        self._luma = self._shape[0] * self._shape[1] * (2 if self._deep else 1)
        self.slot = -(-3 * self._luma // mmap.PAGESIZE) * mmap.PAGESIZE
        self.count = max(_FEWEST, min(_MOST, _RING_BYTES // self.slot, info.n_frames + 1))
        self.block = Block(self.count * self.slot)

    def planes(self, turn: int, chroma: tuple[int, int] | None) -> tuple[Plane, tuple[Plane, Plane] | None]:
        """Luma and, where there is any, the colour that were put in so many turns after the first.

        Raises
        ------
        ValueError
            If the colour is larger than the luma.
        """
        at = turn % self.count * self.slot
        luma = self._seen(at, self._shape)
        if chroma is None:
            return luma, None
        if not (0 < chroma[0] <= self._shape[0] and 0 < chroma[1] <= self._shape[1]):
            raise ValueError("colour that cannot be")
        first = self._seen(at + self._luma, chroma)
        return luma, (first, self._seen(at + self._luma + first.nbytes, chroma))

    def _seen(self, offset: int, shape: tuple[int, int]) -> Plane:
        plane = self.block.pixels(offset, shape, deep=self._deep)
        plane.setflags(write=False)
        return plane


def _film_of(opened: Opened) -> tuple[ClipInfo, Stamps, NDArray[np.int64]]:
    """What is known of a film, and the frames where decoding can begin.

    Raises
    ------
    ValueError
        If the values cannot be, or do not belong together.
    """
    info, geometry = opened.info, opened.info.geometry
    ticks, starts = (np.frombuffer(each, "<i8").astype(np.int64) for each in (opened.ticks, opened.starts))
    size = (geometry.coded_width, geometry.coded_height, info.width, info.height)
    believable = (
        info.n_frames == len(ticks) > 0
        and bool((np.diff(ticks) > 0).all())
        and len(starts) > 0
        and starts[0] == 0
        and bool((np.diff(starts) > 0).all())
        and 0 < geometry.sample_aspect < _LONGEST_SIDE
        and 0 < min(size) <= max(size) <= _LONGEST_SIDE
        and max(size[0] * size[1], size[2] * size[3]) <= _MOST_PIXELS
        and geometry.quarter_turns in range(4)
        and 1 <= info.bit_depth <= 16
        and min(info.file_rate, info.average_rate) >= 0
        and 0 <= info.duration_s < math.inf
        and opened.ratio > 0
    )
    if not believable:
        raise ValueError("a film that cannot be")
    return info, Stamps(ticks, opened.base, opened.ratio), starts


def _check_shape(shown: Shown) -> None:
    if len(shown.shape) not in (2, 3) or math.prod(shown.shape) <= 0:
        raise ValueError("a picture that cannot be")


def _reading_s(path: Path) -> float:
    """Time that reading the whole file may take, s."""
    try:
        return path.stat().st_size / _BYTES_PER_S
    except OSError:
        return 0.0


def _nothing() -> None:
    return
