"""The frame table: every frame's time and every key frame, from the packets alone."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import av
import numpy as np
from numpy.typing import NDArray

from measure_app.clip.opening import OpenFilm
from measure_app.errors import ClipError
from measure_app.words import said

MAX_FRAMES = 2**22
"""Most frames accepted: 19 hours at 60 frames per second."""


@dataclass(frozen=True, slots=True, eq=False)
class FrameTable:
    """Where the frames of a film are in time."""

    ticks: NDArray[np.int64]
    """(n,) presentation times of the frames, strictly increasing."""
    base: Fraction
    """Seconds per tick."""
    key_ticks: NDArray[np.int64]
    """(k,) presentation times of the packets at which decoding can begin, increasing, trimmed ones too."""
    counted: bool = False
    """Whether frames are counted from the start, because the file's times contradict its pictures."""
    trimmed: int = 0
    """Frames that an edit list takes out of the film."""
    ended_early: bool = False
    """Whether the file broke off while its packets were read."""

    def __len__(self) -> int:
        """Count of frames."""
        return int(self.ticks.size)

    def index_at(self, tick: int | None, likely: int = 0) -> int | None:
        """Return the frame shown at exactly that tick, None if there is none; the `likely` is tried first."""
        if tick is None:
            return None
        if likely < self.ticks.size and int(self.ticks[likely]) == tick:
            return likely
        at = int(np.searchsorted(self.ticks, tick))
        return at if at < self.ticks.size and int(self.ticks[at]) == tick else None

    def keys_before(self, frame: int) -> list[int]:
        """Return the ticks of all key frames not after a frame, nearest first."""
        upto = int(np.searchsorted(self.key_ticks, self.ticks[frame], side="right"))
        return [int(t) for t in self.key_ticks[:upto][::-1]]

    def first_from_key(self, frame: int) -> int:
        """Return the first frame not before the key frame from which a frame is decoded."""
        upto = int(np.searchsorted(self.key_ticks, self.ticks[frame], side="right"))
        if upto == 0:
            return 0
        return int(np.searchsorted(self.ticks, self.key_ticks[upto - 1]))


def table_of(film: OpenFilm) -> FrameTable:
    """Read all packets of a film into a frame table.

    The packets' own times are trusted where the container states presentation times. Where it does not (avi
    with reordered frames, old mov files), the whole film is decoded once and the pictures decide.

    Raises
    ------
    ClipError
        If there is not one frame, or more than `MAX_FRAMES`.
    """
    name = film.path.name
    shown: list[int] = []
    keys: list[int] = []
    trimmed = 0
    offsets: set[int] = set()
    unknown = False
    ended_early = False
    try:
        for packet, _ in film.packets():
            if packet.size == 0:
                continue
            pts = packet.pts if packet.pts is not None else packet.dts
            unknown |= packet.pts is None
            if pts is None:
                continue
            if packet.dts is not None and len(offsets) < 2:
                offsets.add(pts - packet.dts)
            if packet.is_keyframe:
                keys.append(pts)
            if packet.is_discard:
                trimmed += 1
            else:
                shown.append(pts)
            if len(shown) > MAX_FRAMES:
                raise ClipError(
                    said("the film has more than {most} frames; cut it shorter", most=MAX_FRAMES),
                    where=name,
                )
    except (av.FFmpegError, OSError):
        ended_early = True
    if not shown:
        raise ClipError(said("the file holds no frames; the recording was cut off or is damaged"), where=name)
    ticks = np.sort(np.array(shown, dtype=np.int64))
    table = FrameTable(
        ticks,
        film.stream.time_base,
        np.unique(np.array(keys or [int(ticks[0])], dtype=np.int64)),
        trimmed=trimmed,
        ended_early=ended_early,
    )
    reorders = film.stream.codec_context.reorder_depth > 0
    doubtful = unknown or bool((np.diff(ticks) <= 0).any())
    doubtful |= reorders and (len(offsets) < 2 or film.container.format.name == "avi")
    return _settled(film, table) if doubtful and ticks.size > 1 else table


def _settled(film: OpenFilm, table: FrameTable) -> FrameTable:
    """Decode the whole film and let the pictures decide what the frames and their times are."""
    out: list[int | None] = []
    errors = 0
    for pts, error in _decoded_times(film):
        if error:
            errors += 1
        else:
            out.append(pts)
    if not out:
        raise ClipError(said("no frame of the film can be decoded; it is damaged"), where=film.path.name)
    times = [t for t in out if t is not None]
    rising = len(times) == len(out) and all(a < b for a, b in itertools.pairwise(times))
    if rising:
        known = {int(t) for t in table.ticks}
        strict = bool((np.diff(table.ticks) > 0).all())
        if strict and errors and known.issuperset(times):
            return table
        return replace(table, ticks=np.array(times, dtype=np.int64))
    packets = np.unique(table.ticks)
    if packets.size != len(out):
        step = int(np.median(np.diff(packets))) if packets.size > 1 else 1
        packets = packets[0] + max(step, 1) * np.arange(len(out), dtype=np.int64)
    return replace(table, ticks=packets, counted=True)


def _decoded_times(film: OpenFilm) -> Iterator[tuple[int | None, bool]]:
    """Yield (pts, failed) for everything that comes out of the decoder from the start."""
    anew = film.anew()  # some containers cannot be wound back without an index
    try:
        for packet, _ in anew.packets():
            try:
                frames = packet.decode()
            except (av.FFmpegError, OSError):
                yield None, True
                continue
            for frame in frames:
                yield frame.pts, False
    except (av.FFmpegError, OSError):
        yield None, True
    finally:
        anew.close()
