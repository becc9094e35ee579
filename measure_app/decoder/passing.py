"""One pass of the decoder over frames, as long as it lives: planes come through a ring of shared memory."""

from __future__ import annotations

import mmap
from collections.abc import Callable, Iterator

from measure_app.clip import ClipInfo, LumaPlane, Plane
from measure_app.decoder.process import Child
from measure_app.decoder.shared import Block
from measure_app.decoder.slots import seen
from measure_app.decoder.wire import Ended, Failed, Leave, Pass, Room, Row, Rows, Taken, Word
from measure_app.errors import ClipClosed, ClipError, Stopped
from measure_app.words import said

RING_BYTES = 24 * 2**20
FEWEST, MOST = 3, 64
"""Slots of a ring."""


def passed(
    child: Child,
    number: int,
    film: int,
    info: ClipInfo,
    wanted: range,
    pause: Callable[[], None],
    limit_s: float,
    *,
    careful: bool,
) -> Iterator[LumaPlane]:
    """Yield the luma planes of the frames wanted.

    Parameters
    ----------
    child : Child
        The process, in which the film is open.
    number, film : int
        Numbers of this piece of work and of the open film.
    info : ClipInfo
    wanted : range
        Rising frame numbers.
    pause : callable
        Called before every frame; raises to end the pass.
    limit_s : float
        Longest wait for a frame, s.
    careful : bool
        Whether every plane is to be told of at once.

    Raises
    ------
    DecoderGone
        If the process ended.
    ClipError
        If the film cannot be read any further.
    """
    if not wanted:
        return
    ring = _Ring(info, len(wanted))
    taken, turn = 0, 0

    def impatient() -> bool:
        pause()
        return False

    try:
        ends = (wanted.start, wanted[-1] + 1, wanted.step)
        box = child.begin(Pass(number, film, *ends, ring.room, ring.slot, ring.slots, careful))
        while turn < len(wanted):
            if box.empty() and taken:
                child.say(Taken(number, taken))
                taken = 0
            word, _ = child.wait(box, limit_s, impatient)
            for row in _rows(word, wanted[turn:]):
                pause()
                yield LumaPlane(row.index, ring.plane(turn) if row.seen else None, row.suspect)
                turn, taken = turn + 1, taken + 1
                if taken >= max(1, ring.slots // 4):
                    child.say(Taken(number, taken))
                    taken = 0
    finally:
        ring.block.hide()
        child.done(number)
        if turn < len(wanted):
            child.mention(Leave(number))


class _Ring:
    """Slots for planes, filled round and round."""

    def __init__(self, info: ClipInfo, count: int) -> None:
        self._deep = info.bit_depth > 8
        self._shape = (info.geometry.coded_height, info.geometry.coded_width)
        nbytes = self._shape[0] * self._shape[1] * (2 if self._deep else 1)
        self.slot = -(-nbytes // mmap.PAGESIZE) * mmap.PAGESIZE
        self.slots = max(FEWEST, min(MOST, RING_BYTES // self.slot, count + 1))
        self.block = Block.made(self.slots * self.slot)
        self.room = Room(self.block.name, self.block.size, 0, self.block.size)

    def plane(self, turn: int) -> Plane:
        """The plane that was put in so many turns after the first."""
        self.block.hide()  # the decoder has found it
        plane = seen(self.block, turn % self.slots * self.slot, self._shape, deep=self._deep)
        plane.setflags(write=False)
        return plane


def _rows(word: Word, wanted: range) -> tuple[Row, ...]:
    """The rows that are told, if they are those that come next; what hinders them is raised."""
    if isinstance(word, Failed):
        raise (ClipClosed if word.closed else ClipError)(word.words, where=word.where)
    if isinstance(word, Ended):
        raise Stopped(said("the reading of the film was stopped"))
    if not isinstance(word, Rows) or [row.index for row in word.rows] != list(wanted[: len(word.rows)]):
        raise ClipError(said("the decoder says what cannot be"))
    return word.rows
