"""A folder of still pictures as a film without a clock: frames in the order of their names, no times."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measure_app.clip.cache import FrameCache
from measure_app.clip.film import CACHE_BYTES, Clip, open_clip
from measure_app.clip.geometry import PlaneGeometry
from measure_app.clip.opened import OpenedSource
from measure_app.clip.opening import MAX_AREA, MAX_SIDE
from measure_app.clip.source import ClipInfo, LumaPlane
from measure_app.clip.stamps import FrameStamp, Stamps
from measure_app.errors import ClipClosed, ClipError, Stopped
from measure_app.words import marked, said

PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".webp")
"""Endings of the pictures that are taken from the folder."""
MOST_PICTURES = 10_000
_LARGEST_FILE = 256 * 2**20
_RESIZED = marked("the picture has another size than the first one")
_NO_CLOCK = marked(
    "still pictures have no clock: head, throw and the straight lines between them can be had, "
    "whatever needs a time cannot"
)


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """One picture."""

    index: int
    """Place in the order of names, from 0."""
    stamp: FrameStamp
    """Its place as a tick of no length in time."""
    pixels: NDArray[np.uint8]
    """(height, width, 3) blue, green, red, turned as the camera says."""
    suspect: str | None = None
    """Why it must not be measured; None for a sound picture."""

    @property
    def nbytes(self) -> int:
        """Memory held, bytes."""
        return int(self.pixels.nbytes)

    def luma(self) -> NDArray[np.uint8]:
        """Brightness, (height, width), full range."""
        import cv2

        return np.asarray(cv2.cvtColor(self.pixels, cv2.COLOR_BGR2GRAY), dtype=np.uint8)

    def bgr(self) -> NDArray[np.uint8]:
        """Blue, green and red, (height, width, 3)."""
        return self.pixels

    def bgra(self) -> NDArray[np.uint8]:
        """Blue, green, red and opaque alpha, (height, width, 4), C-contiguous."""
        import cv2

        return np.asarray(cv2.cvtColor(self.pixels, cv2.COLOR_BGR2BGRA), dtype=np.uint8)


def open_source(path: str | Path, *, capture_rate_hz: float | None = None) -> Clip | Stills:
    """Open a film, or a folder of still pictures as a film without a clock.

    Raises
    ------
    ClipError
        As `open_clip`; or the folder holds no picture that can be read.
    """
    if Path(path).is_dir():
        return Stills(Path(path))
    return open_clip(path, capture_rate_hz=capture_rate_hz)


class Stills(OpenedSource):
    """Still pictures behind the face of a film; `info.file_rate` is 0, for there is no clock.

    Parameters
    ----------
    folder : Path
        Its pictures are taken in the order of their names, numbers by their value; what is no picture by its
        ending is passed over.

    Raises
    ------
    ClipError
        If there is no picture, too many, or the first cannot be read.
    """

    def __init__(self, folder: Path) -> None:
        self._name = folder.name or str(folder)
        try:
            inside = [each for each in folder.iterdir() if each.suffix.lower() in PICTURES and each.is_file()]
        except OSError as error:
            raise ClipError(
                said("the folder cannot be read ({reason})", reason=error.strerror), where=self._name
            ) from None
        self._files = sorted(inside, key=lambda each: _natural(each.name))
        if not self._files:
            words = said(
                "the folder holds no still picture ({listed}); convert other kinds first",
                listed=", ".join(PICTURES),
            )
            raise ClipError(words, where=self._name)
        if len(self._files) > MOST_PICTURES:
            words = said(
                "holds {files} pictures, at most {most} are taken; move some away",
                files=len(self._files),
                most=MOST_PICTURES,
            )
            raise ClipError(words, where=self._name)
        self._stamps = Stamps(np.arange(len(self._files)), Fraction(1))
        self._cache: FrameCache[Still] = FrameCache(CACHE_BYTES)
        height, width = self._read(0).shape[:2]
        self._info = ClipInfo(
            path=folder.resolve(),
            container=marked("still pictures"),
            codec=self._files[0].suffix.lower().lstrip("."),
            geometry=PlaneGeometry(width, height),
            n_frames=len(self._files),
            bit_depth=8,
            duration_s=0.0,
            file_rate=Fraction(0),
            average_rate=Fraction(0),
            full_range=True,
            size_bytes=sum(each.stat().st_size for each in self._files),
            remarks=(said(_NO_CLOCK),),
        )

    def is_cached(self, index: int) -> bool:
        """Whether a picture is at hand without decoding."""
        return index in self._cache

    def at_hand(self, index: int) -> Still | None:
        """Return a picture that needs no decoding, else None; any thread may ask."""
        return None if self._closed else self._cache.get(index)

    @property
    def starts(self) -> NDArray[np.int64]:
        """Pictures at which reading can begin anew: every one."""
        return np.arange(len(self._files))

    def frame(self, index: int) -> Still:
        """Return one picture.

        Raises
        ------
        ClipError
            If there is no such picture, or it cannot be read; names it.
        ClipClosed
            If this was closed.
        """
        if self._closed:
            raise ClipClosed(said("the pictures were closed; open them again"), where=self._name)
        if not 0 <= index < len(self._files):
            words = said(
                "there is no such picture; there are pictures 0 to {files}", files=len(self._files) - 1
            )
            raise ClipError(words, where=said("{name}, frame {index}", name=self._name, index=index))
        held = self._cache.get(index)
        if held is None:
            pixels = self._read(index)
            sound = pixels.shape[:2] == (self._info.height, self._info.width)
            held = Still(index, self._stamps[index], pixels, None if sound else _RESIZED)
            self._cache.put(index, held)
        return held

    def prefetch(self, first: int, last: int, stop_requested: Callable[[], bool] | None = None) -> bool:
        """Read pictures first to last (included) into memory; False where it was stopped on the way."""
        for index in range(max(0, first), min(last, len(self._files) - 1) + 1):
            if stop_requested is not None and stop_requested():
                return False
            try:
                self.frame(index)
            except ClipClosed:
                return False
            except ClipError:
                continue
        return True

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        """Yield the brightness of pictures start, start + step … below stop; see `Clip.luma_planes`.

        Raises
        ------
        Stopped
            If `stop_requested` said so.
        """
        for index in range(start, len(self._files) if stop is None else stop, step):
            if stop_requested is not None and stop_requested():
                raise Stopped(said("the reading of the pictures was stopped"))
            try:
                pixels = self._read(index)
            except ClipError as error:
                yield LumaPlane(index, None, error.words)
                continue
            if pixels.shape[:2] != (self._info.height, self._info.width):
                yield LumaPlane(index, None, _RESIZED)
            else:
                yield LumaPlane(index, Still(index, self._stamps[index], pixels).luma())

    def close(self) -> None:
        """Let go of all pictures; those handed out stay good."""
        self._closed = True
        self._cache.clear()

    def _read(self, index: int) -> NDArray[np.uint8]:
        import cv2

        file = self._files[index]
        where = f"{self._name}/{file.name}"
        try:
            if file.stat().st_size > _LARGEST_FILE:
                raise ClipError(said("is larger than a still picture may be; save it smaller"), where=where)
            # Decoded from memory: cv2 cannot open every name on every system.
            pixels: Any = cv2.imdecode(np.frombuffer(file.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
        except OSError as error:
            raise ClipError(said("cannot be read ({reason})", reason=error.strerror), where=where) from None
        except cv2.error:
            pixels = None
        if pixels is None:
            raise ClipError(said("is no picture that can be read; save it as JPEG or PNG"), where=where)
        height, width = pixels.shape[:2]
        if max(height, width) > MAX_SIDE or height * width > MAX_AREA:
            raise ClipError(
                said(
                    "is absurdly large ({width} × {height} px); save it smaller", width=width, height=height
                ),
                where=where,
            )
        return np.asarray(pixels, dtype=np.uint8)


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sort key in which 10 comes after 9."""
    parts = re.findall(r"\d+|\D+", name.lower())
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts]
