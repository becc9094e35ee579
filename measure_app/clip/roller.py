"""Rolling a decoder from a key frame to the frames wanted, each known by its exact time."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import av

from measure_app.clip.dispensable import dispensable_in
from measure_app.clip.index import FrameTable
from measure_app.clip.opening import OpenFilm
from measure_app.clip.trust import DENSE, SPOILT, Trust, has_hole

GRACE = 2
"""Packets read on before a picture counts as sound: what spoilt its end may show in the next one only."""
_STEPS_BACK = (0, 1, 3, 10)
"""Key frames to go back in turn when a start turns out too late (leading pictures, gradual refresh)."""

_ALONE = {"mjpeg"}
"""Codecs of pictures that need no other: a fault in one shows in that one."""


@dataclass(frozen=True, slots=True, eq=False)
class Rolled:
    """One frame as it came out of the decoder."""

    index: int
    video: Any
    suspect: str | None


class Roller:
    """One decoder on one container: begins before a frame, then gives frames in presentation order.

    A picture is given out once so much more has been decoded that a fault in it would have shown. A watched
    decoder falls over a fault; what it has not given out by then is read again by one that makes the best of
    it, picture after picture. Where that had to be, later readings are careful from the beginning.

    Parameters
    ----------
    film : OpenFilm
        Owned from now on; closed by `close`.
    table : FrameTable
        Times of the frames.
    wary : bool
        Whether to read on as far as marks of faults could come late in the worst of decoders.
    """

    def __init__(self, film: OpenFilm, table: FrameTable, *, wary: bool = False) -> None:
        self._film = film
        self._table = table
        self._wary = wary
        self._watches = film.watched
        self._coming: Iterator[Rolled] | None = None
        self._queue: deque[tuple[int, Rolled]] = deque()
        """Frames that came out and were not given yet, each with the packets that had been read by then."""
        self._skipping = ""
        context = film.stream.codec_context
        codec = context.codec.canonical_name
        self._dispensable = None if table.counted else dispensable_in(codec, context.extradata)
        self._zeros_tell = codec in DENSE
        self._alone = codec in _ALONE
        self._packets_read = 0
        self._fell = False
        self._whole_from: int | None = None
        """Time before which pictures are only promised to be whole."""
        self._asked = self._upto = 0
        self._began: int | None = None
        self._careful = False
        self._withholds = False
        """Whether pictures are decoded but come out from when they are whole only: marks on them are lost."""
        self._fell_amid: int | None = None
        """Key frame from which a watched decoder fell before anything came out, since last begun."""
        self._needless: set[int] = set()
        """Such key frames after which nothing was wrong: more than one, and groups of pictures are open."""
        self._last_keys: deque[int] = deque(maxlen=2)
        self._troubled: set[int | None] = set()
        """Times of key frames beyond which a watched decoder fell; None is the beginning of the file."""
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
        self._change(strict=False, watched=self._film.watched, in_turn=self._film.in_turn)

    def opened_anew(self, *, watched: bool = False) -> OpenFilm:
        """Open the same film once more, for a decoder of its own; `watched` as `open_film` says."""
        return self._film.anew(watched=watched)

    def begin(self, frame: int, attempt: int = 0, upto: int | None = None) -> int | None:
        """Make ready so that the next frame out is `frame` or an earlier one.

        Parameters
        ----------
        frame : int
            Frame to reach.
        attempt : int
            0 starts at the nearest key frame, each further one earlier; the last reopens the file.
        upto : int, optional
            Last frame that is to be taken in a row; the film's last one by default.

        Returns
        -------
        int or None
            The attempt that served; None if there is none left.
        """
        if self._fell_amid is not None and self.position is not None and not self.trust.errors:
            self._needless.add(self._fell_amid)
        self._careful, self._fell_amid = False, None
        self._asked, self._upto = frame, len(self._table) - 1 if upto is None else upto
        return self._begin(frame, attempt)

    def _begin(self, frame: int, attempt: int = 0) -> int | None:
        keys = self._table.keys_before(frame)
        starts: list[int | None] = [keys[back] for back in _STEPS_BACK if back < len(keys)]
        starts = [None] if self._table.counted else [*starts, None]
        for number in range(attempt, len(starts)):
            tick = starts[number]
            if self._start(tick) and self._first_out(frame, tick, keys):
                return number
        return None  # what came out last is still there for whoever takes later frames as well

    def _first_out(self, frame: int, tick: int | None, keys: list[int]) -> bool:
        """Tell whether the first picture after a start is the one wanted, or an earlier one that is whole."""
        first = self._pull()
        own = self._table.index_at(tick)
        if first is not None and own is not None and first.index > own and not self._withholds:
            self._withholds = True
            if self._watches and not self._film.watched:
                first = self._pull() if self._start(tick) else None
        if first is None:
            return False
        self._queue.append((self._packets_read, first))
        if own is not None and first.index > own and not self.trust.errors:
            later = [key for key in keys if key > (tick or 0)]
            self._whole_from = later[-1] if later else None
        return first.index <= frame and self._sound_start(first, tick, keys)

    def _sound_start(self, first: Rolled, tick: int | None, keys: list[int]) -> bool:
        """Tell whether decoding really began whole.

        Where the key frame itself came out, it did. Where it did not, the picture is refreshed bit by bit,
        and encoders have been seen to promise a whole picture too early: one more round is waited for.
        """
        own = self._table.index_at(tick)
        return own is None or first.index == own or int(self._table.ticks[first.index]) < keys[0]

    def next(self, pause: Callable[[], None] | None = None) -> Rolled | None:
        """Return the next frame in presentation order; None at the end.

        Parameters
        ----------
        pause : callable, optional
            Called before every frame is decoded; raises to decode no more.
        """
        while True:
            while not self._queue or self._packets_read - self._queue[0][0] < self._grace():
                if pause is not None:
                    pause()
                found = self._pull()
                if found is None:
                    break
                self._queue.append((self._packets_read, found))
            if not self._queue:
                self._coming = None
                return None
            _, given = self._queue.popleft()
            self.position = given.index
            if self._whole_from is None or self._table.ticks[given.index] >= self._whole_from:
                return given

    def close(self) -> None:
        """Close the container."""
        self._coming = None
        self._queue.clear()
        self._film.close()

    def rest(self) -> None:
        """Let go of the decoder until `begin` opens the film again."""
        self._reset()
        self._film.close()

    def _grace(self) -> int:
        """How many packets are read on before a picture that came out is given."""
        if self._wary or self._watches:  # a mark may lie on a picture that is shown after those built on it
            return GRACE + int(self._film.stream.codec_context.reorder_depth)
        return 0 if self._alone else GRACE

    def _pull(self) -> Rolled | None:
        errors = self.trust.errors
        found = next(self._coming, None) if self._coming is not None else None
        if self.trust.errors != errors:
            doubted = (replace(one, suspect=one.suspect or SPOILT) for _, one in self._queue)
            self._queue = deque(zip((read for read, _ in self._queue), doubted, strict=True))
        return self._read_again() if found is None and self._fell else found

    def _read_again(self) -> Rolled | None:
        """Go on after a fault that a watched decoder fell over, by one that makes the best of it.

        A watched decoder falls as well where it begins in the middle of pictures that need earlier ones. That
        is no damage: where many frames are wanted, it begins at the film's own beginning instead.
        """
        given, known, began = self.position, self.trust.errors, self._began
        self._troubled.update(self._last_keys if began is not None else [None, *self._last_keys])
        if given is None and began is not None:
            self._fell_amid = began
        if given is not None or not self._begun_before(began):
            self._careful = True
            self._begin(self._asked if given is None else given + 1)
            self.trust.errors += known
        self.position = given
        while (found := self._queue.popleft()[1] if self._queue else self._pull()) is not None:
            if given is None or found.index > given:
                break
        return found

    def _begun_before(self, began: int | None) -> bool:
        """Begin at the film's beginning, watched, if that is less work than to decode picture by picture."""
        first = self._table.index_at(began) or 0
        return None not in self._troubled and 0 < first <= self._upto - first and self._start(None)

    def _start(self, tick: int | None) -> bool:
        """Put the decoder before the packet of that time, or the file's first, and tell whether it could."""
        careful = self._careful or tick in self._troubled
        careful |= len(self._needless) > 1 and tick not in {None, int(self._table.key_ticks[0])}
        how = {"watched": self._watches and (self._withholds or not careful)}
        how["in_turn"] = self._watches and careful
        if (
            tick is None
            or self._film.container is None
            or how != {"watched": self._film.watched, "in_turn": self._film.in_turn}
        ):
            self._change(**how)
        else:
            self._reset()
        self._began = tick
        if tick is not None:
            try:
                self._film.container.seek(tick, stream=self._film.stream)
            except (av.FFmpegError, OSError):
                return False  # some containers refuse a time before their first index entry
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
        self._whole_from = None
        self._queue.clear()
        self._last_keys.clear()
        self.trust = Trust()
        self.position = None
        self._skipping = ""

    def _frames(self) -> Iterator[Rolled]:
        """Decode from where the container stands."""
        count = 0
        before = -1
        trust = self.trust
        for packet, lost in _packets(self._film, trust):
            self._packets_read += 1
            self._skip_what_may_be(packet)
            trust.before(packet)
            if packet.is_keyframe and packet.pts is not None:
                self._last_keys.append(packet.pts)
            try:
                frames = packet.decode()
            except (av.FFmpegError, OSError):
                if self._film.watched and not self._film.in_turn:
                    self._fell = True
                    return
                if not self._is_leading(packet):
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

    def _is_leading(self, packet: Any) -> bool:
        """Tell whether a watched decoder, in turn, failed at what needs pictures from before it began."""
        began, time = self._began, packet.pts
        return self._film.watched and began is not None and time is not None and time < began

    def _skip_what_may_be(self, packet: Any) -> None:
        wanted, dispensable = self.wanted, self._dispensable
        if dispensable is None or wanted is None:
            return
        unwanted = packet.pts is not None and not wanted(packet.pts)
        mode = "NONREF" if unwanted and dispensable(bytes(packet)) else "DEFAULT"
        if mode != self._skipping:
            self._film.stream.codec_context.skip_frame = mode
            self._skipping = mode


def _packets(film: OpenFilm, trust: Trust) -> Iterator[tuple[Any, bool]]:
    """Yield the packets of a film; one that breaks off ends there."""
    try:
        yield from film.packets()
    except (av.FFmpegError, OSError):
        trust.failed()
