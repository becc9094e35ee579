"""A smaller film with the same frames at the same times."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from measure_app.errors import ClipError, Stopped
from measure_app.packs.errors import PackError
from measure_app.packs.rescaling import Rescaling
from measure_app.words import said

if TYPE_CHECKING:
    from measure_app.clip import FrameSource

MIN_HEIGHT = 120
"""Lowest film that is made, rows; below, nothing can be read in it."""
_DENOMINATORS = 18
"""Scales are fractions with a denominator up to this, so that both sides are scaled by exactly the same."""
_TRIES = 4
_GREY = 128


def rescaling_for(width: int, height: int, rows: int) -> Rescaling:
    """Choose the scale for a film of about so many rows, never more.

    The scale is the same along both sides, to the last digit, because head and throw are measured along
    different ones: the picture is widened by a few columns and rows (its own edge, repeated) until both sides
    are whole multiples. As much is added on either side, so that the middle stays the middle.

    Parameters
    ----------
    width, height : int
        Of the film as displayed, px.
    rows : int
        Wanted, px; a film that is no higher is left as it is.

    Raises
    ------
    ValueError
        Fewer rows than can be read.
    """
    if rows < MIN_HEIGHT:
        raise ValueError(
            said("at least {least} rows are needed to read anything, got {rows}", least=MIN_HEIGHT, rows=rows)
        )
    if rows >= height:
        return Rescaling()
    wanted = Fraction(rows, height)
    fits = [
        Fraction(top, bottom)
        for bottom in range(2, _DENOMINATORS + 1)
        for top in (int(wanted * bottom),)
        if top >= 1
    ]
    # Of scales within 2 % of the largest, the one that needs the smallest margin.
    largest = max(fits)
    near = [scale for scale in fits if scale >= largest * Fraction(49, 50)]
    scale = min(near, key=lambda s: (_margin(width, s) + _margin(height, s), -s))
    return Rescaling(float(scale), _margin(width, scale) // 2, _margin(height, scale) // 2)


def _margin(side: int, scale: Fraction) -> int:
    """Columns to add so that the scaled side is a whole, even number."""
    return -side % (2 * scale.denominator)


def _sizes(source: FrameSource, how: Rescaling) -> tuple[tuple[int, int, int, int], tuple[int, int]]:
    """Margins (top, bottom, left, right) of the old picture, and width and height of the new one."""
    info = source.info
    scale = Fraction(how.scale).limit_denominator(_DENOMINATORS)
    across, down = _margin(info.width, scale), _margin(info.height, scale)
    size = int((info.width + across) * scale), int((info.height + down) * scale)
    return (how.top_px, down - how.top_px, how.left_px, across - how.left_px), size


def shrink(
    source: FrameSource,
    path: Path,
    how: Rescaling,
    *,
    most_bytes: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> tuple[int, ...]:
    """Write a smaller film: every frame, at exactly the old one's ticks, upright, square pixels, no sound.

    Nothing of what the camera wrote beside the pictures (place, device) goes along. A frame that cannot be
    decoded, or only from damaged data, becomes plain grey: nobody shall measure what was never filmed.

    Parameters
    ----------
    source : FrameSource
        The film.
    path : Path
        Where the new one shall be, mp4.
    how : Rescaling
        From `rescaling_for`, for this film.
    most_bytes : int, optional
        The new film is to be no larger; it is encoded again with fewer bits until it fits. None: at good
        quality, as large as it gets.
    progress : callable, optional
        Given (frames done, frames in all).
    stop_requested : callable, optional
        Asked before every frame.

    Returns
    -------
    tuple of int
        The frames that became grey.

    Raises
    ------
    PackError
        It cannot be made that small.
    ClipError
        The film cannot be written.
    Stopped
        If `stop_requested` said so.
    """
    from measure_app.clip import write_clip

    lost: set[int] = set()
    info, stamps = source.info, source.stamps
    bits = None if most_bytes is None else _bit_rate(source, most_bytes)
    for _ in range(_TRIES):
        options: dict[str, str] = {} if bits is None else _options(bits)
        write_clip(
            path,
            _pictures(source, how, lost, progress, stop_requested),
            ticks=(int(t) for t in stamps.ticks),
            base=stamps.base,
            crf=20 if bits is None else None,
            gop=30,
            rate=info.file_rate or None,
            options=options,
        )
        size = path.stat().st_size
        if most_bytes is None or bits is None or size <= most_bytes:
            return tuple(sorted(lost))
        bits = int(bits * 0.92 * most_bytes / size)
    raise PackError(
        said(
            "cannot be made smaller than {size:.1f} MB at this height; ask for a lower height",
            size=size / 2**20,
        ),
        where=info.path.name,
    )


def _bit_rate(source: FrameSource, most_bytes: int) -> int:
    """Bits a second with which the film comes to about that size, room for the container's tables left."""
    tables = 4096 + 24 * source.info.n_frames
    seconds = max(source.info.duration_s, 0.1)
    return max(10_000, int(8 * 0.95 * max(most_bytes - tables, most_bytes // 4) / seconds))


def _options(bits: int) -> dict[str, str]:
    return {"b": str(bits), "maxrate": str(2 * bits), "bufsize": str(4 * bits)}


def _pictures(
    source: FrameSource,
    how: Rescaling,
    lost: set[int],
    progress: Callable[[int, int], None] | None,
    stop_requested: Callable[[], bool] | None,
) -> Iterator[NDArray[np.uint8]]:
    import cv2

    (top, bottom, left, right), size = _sizes(source, how)
    count = source.info.n_frames
    for index in range(count):
        if stop_requested is not None and stop_requested():
            raise Stopped(said("stopped; nothing was written"))
        picture = _decoded(source, index)
        if picture is None:
            lost.add(index)
            yield np.full((size[1], size[0], 3), _GREY, dtype=np.uint8)
        else:
            if top or bottom or left or right:
                picture = cv2.copyMakeBorder(picture, top, bottom, left, right, cv2.BORDER_REPLICATE)
            if (picture.shape[1], picture.shape[0]) != size:
                picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
            yield np.ascontiguousarray(picture, dtype=np.uint8)
        if progress is not None:
            progress(index + 1, count)


def _decoded(source: FrameSource, index: int) -> Any:
    try:
        frame = source.frame(index)
        return None if frame.suspect else frame.bgr()
    except ClipError:
        return None
