"""An open clip: frames at random, planes in a row."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measure_app.clip.cache import FrameCache
from measure_app.clip.facts import facts_of
from measure_app.clip.index import FrameTable, table_of
from measure_app.clip.local_file import film_path
from measure_app.clip.opened import OpenedSource
from measure_app.clip.opening import OpenFilm, open_film
from measure_app.clip.passes import fits, planes
from measure_app.clip.picture import Frame
from measure_app.clip.roller import Rolled, Roller
from measure_app.clip.source import ClipInfo, LumaPlane
from measure_app.clip.stamps import Stamps
from measure_app.clip.trust import LOST, RESIZED, DamageBook
from measure_app.errors import ClipError
from measure_app.words import said

CACHE_BYTES = 512 * 2**20
"""Memory for decoded frames unless told otherwise: 170 frames of 1080p."""

_STEP_REACH = 64
"""A frame so little before the last one asked for is a step back: what lies before it is wanted next."""
_ROLL_ON = 8
"""So few frames ahead are decoded in passing rather than by a jump."""


def open_clip(
    path: str | Path, *, capture_rate_hz: float | None = None, cache_bytes: int = CACHE_BYTES
) -> Clip:
    """Open a film on this machine.

    Parameters
    ----------
    path : str or Path
        A regular file: mp4, mov, mkv, webm or avi. No other file or address is ever followed from it.
    capture_rate_hz : float, optional
        Rate at which slow motion was captured, 1/s; times are scaled by file rate over capture rate.
    cache_bytes : int
        Most memory for decoded frames, bytes.

    Returns
    -------
    Clip
        To be closed by the caller, best by ``with``.

    Raises
    ------
    ClipError
        One line that names the file, says what is wrong and what to do.
    """
    found = film_path(path)
    if capture_rate_hz is not None and not (math.isfinite(capture_rate_hz) and 0 < capture_rate_hz <= 1e6):
        words = said(
            "capture_rate_hz must be more than 0 and at most 1e6 per second, got {rate!r}",
            rate=capture_rate_hz,
        )
        raise ClipError(words, where=found.name)
    roller = Roller(*_tabled(found))
    try:
        roller.begin(0)
        if roller.trust.errors and roller.film.strict:
            # Some cameras' own data offend a strict decoder from the first frame on: then it must be lenient.
            roller.relent()
            roller.begin(0)
        first = _first_frame(roller, found.name)
        # The roller's film, not the one opened above: a damaged start may have made it open the file again.
        table = roller.table
        info, stamps = facts_of(roller.film, table, first.video, capture_rate_hz)
    except BaseException as error:
        roller.close()
        if isinstance(error, OSError | ValueError | MemoryError):
            raise ClipError(
                said("the file cannot be read as a film ({error})", error=error), where=found.name
            ) from error
        raise
    return Clip(info, stamps, table=table, roller=roller, first=first, cache_bytes=cache_bytes)


class Clip(OpenedSource):
    """A film with exact frames and times; made by `open_clip`.

    `frame`, `prefetch` and `is_cached` belong to one thread at a time. `luma_planes` decodes in a container
    of its own and may run in another thread meanwhile.
    """

    def __init__(
        self,
        info: ClipInfo,
        stamps: Stamps,
        *,
        table: FrameTable,
        roller: Roller,
        first: Rolled,
        cache_bytes: int,
    ) -> None:
        self._name = info.path.name
        self._info = info
        self._stamps = stamps
        self._table = table
        self._roller = roller
        self._opened = partial(roller.opened_anew, watched=True)
        self._damage = DamageBook()
        self._cache: FrameCache[Frame] = FrameCache(cache_bytes)
        self._last: int | None = None
        self._frame_bytes = 1
        self._keep(first)

    def times_s(self, capture_rate_hz: float | None = None) -> NDArray[np.float64]:
        """Time of each frame since frame 0, s, shape (n,).

        Parameters
        ----------
        capture_rate_hz : float, optional
            Another capture rate than the one the clip was opened with.
        """
        if capture_rate_hz is None:
            return self._stamps.seconds()
        return self._stamps.slowed(self._info.file_rate, capture_rate_hz).seconds()

    @property
    def damaged(self) -> tuple[tuple[int, int, str], ...]:
        """(first, last, reason) of the stretches known so far to be lost or spoilt, last included."""
        return self._damage.spans()

    @property
    def cached_bytes(self) -> int:
        """Memory that decoded frames take now."""
        return self._cache.used

    def is_cached(self, index: int) -> bool:
        """Whether a frame is at hand without decoding."""
        return index in self._cache

    def at_hand(self, index: int) -> Frame | None:
        """Return a frame that needs no decoding, else None; any thread may ask."""
        held = None if self._closed else self._cache.get(index)
        if held is None:
            return None
        self._last = index
        return self._with_doubts(held)

    @property
    def starts(self) -> NDArray[np.int64]:
        """Frames, rising, at which decoding can begin anew; frame 0 is always among them."""
        keys = np.searchsorted(self._table.ticks, self._table.key_ticks)
        return np.unique(np.append(keys, 0).clip(0, len(self._table) - 1))

    def frame(self, index: int) -> Frame:
        """Return one frame by its place in presentation order.

        Raises
        ------
        ClipError
            If there is no such frame, or it cannot be decoded; names the frame and the reason.
        ClipClosed
            If the clip is closed.
        """
        self._check_open()
        self._check_index(index)
        held = self._cache.get(index)
        if held is None:
            if self._damage.reason(index) == LOST:
                raise ClipError(said(LOST), where=self._where(index))
            stepping_back = self._last is not None and 0 < self._last - index <= _STEP_REACH
            held = self._reach(index, self._window_start(index) if stepping_back else index)
        self._last = index
        return self._with_doubts(held)

    def prefetch(self, first: int, last: int, stop_requested: Callable[[], bool] | None = None) -> bool:
        """Decode frames first to last (included) into the cache, as far as it has room; for idle moments.

        Returns
        -------
        bool
            False if it was stopped on the way.
        """
        self._check_open()
        first, last = max(first, 0), min(last, len(self._table) - 1)
        first = max(first, last - self._room() + 1)
        while (index := self._next_missing(first, last)) is not None:
            low = int(self._table.ticks[index])
            self._roller.wanted = lambda tick, low=low: tick >= low
            if self._ready(index, upto=last) is None:
                return True  # it cannot be had; `frame` says so when it is asked for
            while (rolled := self._roller.next()) is not None:
                self._keep(rolled)
                if stop_requested is not None and stop_requested():
                    return False
                if rolled.index >= index and self._next_missing(rolled.index + 1, last) != rolled.index + 1:
                    break
            first = last + 1 if rolled is None else max(index, rolled.index) + 1
        return True

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        """Yield the brightness of frames start, start + step … below stop, as coded.

        No colour is converted and nothing is copied. Every frame asked for appears once, in order: one that
        could not be decoded with `plane` None, one decoded from damaged data with `suspect` in words.

        Parameters
        ----------
        start, stop, step : int
            As in a slice of the frames; step at least 1. Stop None is the end.
        stop_requested : callable, optional
            Asked before each frame.

        Raises
        ------
        ClipError
            If start or stop is not a frame of the film, or the film cannot be opened again.
        Stopped
            If `stop_requested` said so.
        """
        self._check_open()
        wanted, pause = self._asked(start, stop, step), partial(self._go_on, stop_requested)
        return planes(self._opened, self._info, self._table, self._damage, wanted=wanted, pause=pause)

    def rest(self) -> None:
        """Let go of the decoder of single frames, until one is asked for that is not kept."""
        if not self._closed:
            self._roller.rest()

    def close(self) -> None:
        """Let go of the file and of all frames kept; frames handed out stay good."""
        if not self._closed:
            self._closed = True
            self._roller.close()
            self._cache.clear()

    def _with_doubts(self, frame: Frame) -> Frame:
        """The frame with what a pass over the film may have learnt against it since."""
        reason = self._damage.reason(frame.index)
        return frame if reason is None or frame.suspect is not None else frame.doubted(reason)

    def _next_missing(self, first: int, last: int) -> int | None:
        """First frame of a stretch (last included) that is neither cached nor known to be lost."""
        for index in range(first, last + 1):
            if index not in self._cache and self._damage.reason(index) != LOST:
                return index
        return None

    def _room(self) -> int:
        """How many frames a window may have."""
        return max(1, int(0.9 * self._cache.limit / self._frame_bytes))

    def _window_start(self, index: int) -> int:
        """First frame worth keeping on the way to a frame, when stepping back."""
        return max(self._table.first_from_key(index), index - self._room() + 1, 0)

    def _ready(self, index: int, upto: int) -> int | None:
        """Put the decoder before a frame, going on from where it stands if that is no detour."""
        at = self._roller.position
        if self._roller.live and at is not None and at < index:
            near = index - at <= _ROLL_ON or self._table.first_from_key(index) <= at + 1
            if near or self._table.counted:
                return 0
        return self._roller.begin(index, upto=upto)

    def _reach(self, index: int, keep_from: int) -> Frame:
        """Decode up to a frame; frames from `keep_from` on come out whole and are kept."""
        low = int(self._table.ticks[min(keep_from, index)])
        self._roller.wanted = lambda tick: tick >= low
        straight = keep_from == index
        attempt = self._ready(index, index) if straight else self._roller.begin(index, upto=index)
        while attempt is not None:
            while (rolled := self._roller.next()) is not None and rolled.index <= index:
                kept = self._keep(rolled)
                if rolled.index == index and kept is not None:
                    return kept
            attempt = self._roller.begin(index, attempt + 1, upto=index)
        reason = self._damage.reason(index) or LOST
        self._damage.note(index, reason)
        raise ClipError(reason, where=self._where(index))

    def _keep(self, rolled: Rolled) -> Frame | None:
        """Make a frame of what came out and cache it; None where it does not fit the film."""
        video = rolled.video
        if not fits(rolled, self._info):
            self._damage.note(rolled.index, RESIZED)
            return None
        if rolled.suspect is not None:
            self._damage.note(rolled.index, rolled.suspect)
        stamp = self._stamps[rolled.index]
        frame = Frame(rolled.index, stamp, self._info.geometry, video, rolled.suspect)
        self._frame_bytes = max(self._frame_bytes, frame.nbytes)
        self._cache.put(rolled.index, frame)
        return frame


def _tabled(path: Path) -> tuple[OpenFilm, FrameTable]:
    """Open a film and read its table."""
    film = open_film(path, watched=True)
    try:
        return film, table_of(film)
    except BaseException:
        film.close()
        raise


def _first_frame(roller: Roller, name: str) -> Rolled:
    """Return the first frame that comes out."""
    first = roller.next()
    if first is None:
        raise ClipError(
            said("no frame of the film can be decoded; it is damaged, or protected; copy it again"),
            where=name,
        )
    return first
