"""Rolling a decoder from a key frame to the frames wanted, each known by its exact time."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import av

from measure_app.clip.index import FrameTable
from measure_app.clip.opening import OpenFilm
from measure_app.clip.trust import DENSE, Trust, has_hole

_STEPS_BACK = (0, 1, 3, 10)
"""Key frames to go back in turn when a start turns out too late (leading pictures, gradual refresh)."""

_SKIPPERS = {"h264", "hevc", "mpeg4"}
"""Codecs whose decoders heed a change of skipping between packets; that of AV1 reads it once."""


@dataclass(frozen=True, slots=True, eq=False)
class Rolled:
    """One frame as it came out of the decoder."""

    index: int
    video: Any
    suspect: str | None


class Roller:
    """One decoder on one container: begins before a frame, then gives frames in presentation order.

    Parameters
    ----------
    film : OpenFilm
        Owned from now on; closed by `close`.
    table : FrameTable
        Times of the frames.
    """

    def __init__(self, film: OpenFilm, table: FrameTable) -> None:
        self._film = film
        self._table = table
        self._coming: Iterator[Rolled] | None = None
        self._queue: deque[Rolled] = deque()
        self._skipping = ""
        self._may_skip = not table.counted and film.stream.codec_context.codec.canonical_name in _SKIPPERS
        self._zeros_tell = film.stream.codec_context.codec.canonical_name in DENSE
        self._fell = False
        self._asked = 0
        self.trust = Trust()
        self.position: int | None = None
        """Last frame given; None before the first."""
        self.wanted: Callable[[int], bool] | None = None
        """Tells by its tick whether a frame must come out; others may be left out where nothing depends on
        them."""

    @property
    def live(self) -> bool:
        """Whether `next` can go on."""
        return self._coming is not None

    @property
    def film(self) -> OpenFilm:
        """The film as it is open now; another one after the file had to be opened again."""
        return self._film

    @property
    def table(self) -> FrameTable:
        """Times of the frames."""
        return self._table

    def relent(self) -> None:
        """Open the film again with a decoder that papers over faults, from now on."""
        self._change(strict=False)

    def opened_anew(self, *, watched: bool = False) -> OpenFilm:
        """Open the same film once more, for a decoder of its own; `watched` as `open_film` says."""
        return self._film.anew(watched=watched)

    @property
    def reorder_depth(self) -> int:
        """How many frames later than its packet a picture may come out."""
        return int(self._film.stream.codec_context.reorder_depth)

    def begin(self, frame: int, attempt: int = 0) -> int | None:
        """Make ready so that the next frame out is `frame` or an earlier one.

        Parameters
        ----------
        frame : int
            Frame to reach.
        attempt : int
            0 starts at the nearest key frame, each further one earlier; the last reopens the file.

        Returns
        -------
        int or None
            The attempt that served; None if there is none left.
        """
        self._asked = frame
        keys = self._table.keys_before(frame)
        starts: list[int | None] = [keys[back] for back in _STEPS_BACK if back < len(keys)]
        starts = [None] if self._table.counted else [*starts, None]
        for number in range(attempt, len(starts)):
            tick = starts[number]
            if not (self._reopen() if tick is None else self._seek(tick)):
                continue
            first = self._pull()
            if first is not None:
                self._queue.append(first)
                if first.index <= frame and self._sound_start(first, tick, keys):
                    return number
        return None  # what came out last is still there for whoever takes later frames as well

    def _sound_start(self, first: Rolled, tick: int | None, keys: list[int]) -> bool:
        """Tell whether decoding really began whole.

        Where the key frame itself came out, it did. Where it did not, the picture is refreshed bit by bit,
        and encoders have been seen to promise a whole picture too early: one more round is waited for.
        """
        own = self._table.index_at(tick)
        return own is None or first.index == own or int(self._table.ticks[first.index]) < keys[0]

    def next(self) -> Rolled | None:
        """Return the next frame in presentation order; None at the end."""
        found = self._queue.popleft() if self._queue else self._pull()
        if found is None:
            self._coming = None
        else:
            self.position = found.index
        return found

    def close(self) -> None:
        """Close the container."""
        self._coming = None
        self._queue.clear()
        self._film.close()

    def _pull(self) -> Rolled | None:
        found = next(self._coming, None) if self._coming is not None else None
        return self._read_again() if found is None and self._fell else found

    def _read_again(self) -> Rolled | None:
        """Go on after a fault that a watched decoder fell over, by one that makes the best of it.

        It takes the pictures in turn, so that all its marks count. A watched decoder falls as well where it
        begins in the middle of pictures that need earlier ones; that is no damage, and none is slowed by it.
        """
        given, known = self.position, self.trust.errors
        in_turn = given is not None or self._asked == 0
        self._change(in_turn=in_turn)
        self.begin(self._asked if given is None else given + 1)
        self.trust.errors += known
        self.position = given
        while (found := self._queue.popleft() if self._queue else self._pull()) is not None:
            if given is None or found.index > given:
                break
        return found

    def _seek(self, tick: int) -> bool:
        self._reset()
        try:
            self._film.container.seek(tick, stream=self._film.stream)
        except (av.FFmpegError, OSError):
            return False  # some containers refuse a time before their first index entry
        self._coming = self._frames()
        return True

    def _reopen(self) -> bool:
        self._change(watched=self._film.watched, in_turn=self._film.in_turn)
        self._coming = self._frames()
        return True

    def _change(self, **how: bool) -> None:
        """Put the film, opened anew, in place of the one that is open; `how` as `OpenFilm.anew` says."""
        self._reset()  # first: what is being read must be let go of while its container is open
        self._film.close()
        self._film = self._film.anew(**how)

    def _reset(self) -> None:
        self._coming = None
        self._fell = False
        self._queue.clear()
        self.trust = Trust()
        self.position = None
        self._skipping = ""

    def _frames(self) -> Iterator[Rolled]:
        """Decode from where the container stands."""
        count = 0
        before = -1
        trust = self.trust
        for packet, lost in _packets(self._film, trust):
            self._skip_what_may_be(packet)
            trust.before(packet)
            try:
                frames = packet.decode()
            except (av.FFmpegError, OSError):
                if self._film.watched:
                    self._fell = True
                    return
                trust.failed()
                continue
            if lost or packet.is_corrupt or (self._zeros_tell and has_hole(packet)):
                trust.failed()
            for video in frames:
                if video.is_corrupt:
                    trust.failed()
                index = count if self._table.counted else self._table.index_at(video.pts, before + 1)
                count += 1
                if index is None or index <= before or index >= len(self._table):
                    continue  # trimmed off, or a repeat that a damaged stretch brought up
                before = index
                yield Rolled(index, video, trust.judge(video.pts, bool(video.key_frame)))

    def _skip_what_may_be(self, packet: Any) -> None:
        wanted = self.wanted
        if not self._may_skip or wanted is None or packet.pts is None:
            mode = "DEFAULT"
        else:
            mode = "DEFAULT" if wanted(packet.pts) else "NONREF"
        if mode != self._skipping:
            self._film.stream.codec_context.skip_frame = mode
            self._skipping = mode


def _packets(film: OpenFilm, trust: Trust) -> Iterator[tuple[Any, bool]]:
    """Yield the packets of a film; one that breaks off ends there."""
    try:
        yield from film.packets()
    except (av.FFmpegError, OSError):
        trust.failed()
