"""A line of the frame followed through time.

A strip holds the pixels under one straight line in every frame, laid side by side. Strips are read from the
planes as decoded while the clip is decoded once, without converting a frame to colour.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Segment
from measure_app.clip import FrameSource, Plane
from measure_app.errors import Stopped
from measure_app.words import said

Progress = Callable[[int, int], None]
_UNSURE_SITE_PX = 0.25
"""Half the distance between the places across a pair of columns where colour may have been taken."""
COLOUR_STEPS = 16
"""Steps to a code in which colour differences are kept: averages and interpolated values are finer."""


@dataclass(frozen=True, slots=True)
class StripLine:
    """Where a strip is read: a line of the displayed frame, sampled once per pixel along it."""

    name: str
    segment: Segment
    across_px: float = 5.0
    """Width over which the strip is averaged at right angles to the line, px."""
    coloured: bool = False
    """Whether the colour differences are read as well, where the film's planes offer them."""
    most_frames: int | None = None
    """Most frames in which it is read, evenly spread over the part; None: every frame."""

    @property
    def along_px(self) -> FloatArray:
        """(L,) px, places along the line that are sampled, from its start, one pixel apart."""
        return np.arange(int(np.floor(self.segment.length_px + 1e-9)) + 1, dtype=np.float64)

    def rows(self, n: int) -> NDArray[np.intp]:
        """Which frames of a part of n frames it is read in, (m,), rising from 0."""
        return spread_rows(n, n if self.most_frames is None else self.most_frames)

    @property
    def points(self) -> FloatArray:
        """(L, w, 2) px, the positions in the displayed frame that are averaged over w."""
        count = max(1, round(self.across_px))
        across = np.arange(count) - (count - 1) / 2
        step = self.segment.direction
        normal = np.array([-step[1], step[0]])
        return np.asarray(
            self.segment.at(self.along_px)[:, None, :] + across[None, :, None] * normal, dtype=np.float64
        )


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """One line of the frame in every frame of the part measured."""

    line: StripLine
    frames: NDArray[np.int64]
    """(n,) indices in presentation order; of a line that is not read in every frame, those it is read in."""
    levels: Plane
    """(n, L) luma as coded, one row a frame, one column a pixel along the line; rounded to whole levels."""
    bit_depth: int = 8
    """Bits per luma sample."""
    full_range: bool = False
    """Whether black and white are the ends of the code range, rather than 16 and 235 (scaled to the bit
    depth)."""
    unseen: tuple[tuple[int, str], ...] = ()
    """Rows whose frame could not be decoded or is damaged, with the reason; their levels mean nothing."""
    colour: NDArray[np.uint16] | None = None
    """(n, 2, L) blue and red difference (Cb, Cr), in `COLOUR_STEPS` of a code; None where they were not read.
    Their own pixels are mostly twice as wide as the luma's."""
    colour_u_px: float = 0.0
    """px along the line, standard uncertainty of where the film's colour was taken."""


def spread_rows(n: int, most: int) -> NDArray[np.intp]:
    """Up to `most` of the numbers 0 to n - 1, evenly spread, both ends among them; rising."""
    return np.unique(np.linspace(0, n - 1, min(n, most)).astype(np.intp))


class _Sampler:
    """Bilinear sampling of fixed positions of a plane, averaged over w."""

    def __init__(self, positions: FloatArray, width: int, height: int, pitch: int) -> None:
        x = np.clip(positions[..., 0], 0.0, width - 1.000001).T
        y = np.clip(positions[..., 1], 0.0, height - 1.000001).T
        x0, y0 = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
        # One index serves all four taps: what is read for every frame should be little, as decoding leaves
        # nothing of it in the cache.
        self._first = np.ravel(y0 * pitch + x0)
        self._right, self._below = (np.ravel(part).astype(np.float32) for part in (x - x0, y - y0))
        self._pitch, self._shape = pitch, x.shape

    def __call__(self, flat: Plane) -> NDArray[np.float32]:
        """Sample a plane given as its flat buffer; (L,) levels."""
        upper, lower = self._row(flat), self._row(flat[self._pitch :])
        lower -= upper
        lower *= self._below
        lower += upper
        across, length = self._shape
        if across == 1:
            return lower
        total: NDArray[np.float32] = np.add.reduce(lower.reshape(across, length), axis=0)
        total *= np.float32(1.0 / across)
        return total

    def _row(self, flat: Plane) -> NDArray[np.float32]:
        left = flat.take(self._first)
        between: NDArray[np.float32] = np.subtract(flat[1:].take(self._first), left, dtype=np.float32)
        between *= self._right
        between += left
        return between


def _even(positions: FloatArray, plane: Plane) -> slice | None:
    """Where in a plane's flat buffer positions (L, w, 2) lie if they are pixels in even steps, else None."""
    sound = (positions >= 0) & (positions <= np.array(plane.shape[::-1]) - 1) & (positions % 1.0 == 0.0)
    if positions.shape[1] != 1 or len(positions) < 2 or not sound.all():
        return None
    pitch = plane.strides[0] // plane.itemsize
    at = (positions[:, 0, 1] * pitch + positions[:, 0, 0]).astype(np.intp)
    step = int(at[1] - at[0])
    if step == 0 or np.any(np.diff(at) != step):
        return None
    stop = int(at[-1]) + step
    return slice(int(at[0]), stop if stop >= 0 else None, step)


def _flat(plane: Plane) -> Plane:
    """The plane's rows with their padding as one flat view, no copy."""
    height, width = plane.shape
    pitch = plane.strides[0] // plane.itemsize
    flat = np.lib.stride_tricks.as_strided(
        plane, shape=((height - 1) * pitch + width,), strides=(plane.itemsize,), writeable=False
    )
    return cast("Plane", flat)


def steadied(strip: Strip, offset_px: FloatArray) -> Strip:
    """Bring a strip back to the reference frame.

    Parameters
    ----------
    strip : as read
    offset_px : (n,) px by which each frame's content is displaced along the line

    Returns
    -------
    Strip
        Rows without displacement are untouched; the others are interpolated linearly, ends held.
    """
    moved = np.flatnonzero(offset_px)
    if not len(moved):
        return strip
    levels = cast("Plane", np.array(strip.levels))
    length = levels.shape[1]
    at = np.clip(np.arange(length) + offset_px[moved, None], 0.0, length - 1.000001)
    low = at.astype(np.intp)
    rows = moved[:, None]

    def between(values: NDArray[Any]) -> FloatArray:
        left, right = values[rows, low].astype(np.float32), values[rows, low + 1]
        return np.rint(left + (at - low) * (right - left))

    levels[moved] = between(strip.levels)
    colour = None
    if strip.colour is not None:
        colour = np.array(strip.colour)
        for part in range(2):
            colour[moved, part] = between(strip.colour[:, part])
    return replace(strip, levels=levels, colour=colour)


def sweep(
    source: FrameSource,
    lines: Sequence[StripLine],
    start: int,
    stop: int,
    *,
    progress: Progress | None = None,
    stop_requested: Callable[[], bool] | None = None,
    begun: Callable[[tuple[Strip, ...]], None] | None = None,
    more: Callable[[Plane], Sequence[StripLine]] | None = None,
) -> tuple[Strip, ...]:
    """Read the clip once, from frame `start` to before `stop`, and build a strip for each line.

    Memory is that of the strips, one byte per strip pixel and frame that is read (two above 8 bit), whatever
    the clip's length.

    Parameters
    ----------
    source : the clip
    lines : where the strips are read
    start, stop : first frame, and one past the last
    progress : called with (frames done, frames in all)
    stop_requested : asked before every frame; True stops the work
    begun : called once with the strips while they are still black; as many rows as `progress` has said are
        filled, so that they can be shown while they grow
    more : given the first frame as displayed, says which further lines to follow; their strips come last

    Raises
    ------
    Stopped
        If `stop_requested` said so.
    ClipError
        If the clip cannot be read at all.
    """
    frames = np.arange(start, stop, dtype=np.int64)
    kinds = list(dict.fromkeys(line.most_frames for line in lines))
    members = [[i for i, line in enumerate(lines) if line.most_frames == kind] for kind in kinds]
    order = np.argsort([i for each in members for i in each])
    sheets = [_Sheet(source, [lines[i] for i in each], frames) for each in members]

    def made(doubts: tuple[tuple[int, str], ...]) -> tuple[Strip, ...]:
        strips = [strip for sheet in sheets for strip in sheet.strips(doubts)]
        return (*(strips[i] for i in order), *strips[len(order) :])

    further = more
    seen = np.zeros(len(frames), dtype=bool)
    unseen: dict[int, str] = {}
    if begun is not None:
        begun(made(()))
    for done, luma in enumerate(source.luma_planes(start, stop, stop_requested=stop_requested)):
        row = luma.index - start
        if luma.plane is None or luma.suspect:
            unseen[row] = said(luma.suspect) if luma.suspect else said("this frame could not be decoded")
        if luma.plane is not None:
            if further is not None:
                shown = source.info.geometry.shown(luma.plane)
                sheets.append(_Sheet(source, further(shown), frames))
                further = None
            flat = _flat(luma.plane)
            for sheet in sheets:
                sheet.fill(row, luma.plane, flat, luma.chroma)
            seen[row] = True
        if progress is not None:
            progress(done + 1, len(frames))
    if stop_requested is not None and stop_requested():
        raise Stopped(said("stopped before the film was read to its end; nothing was kept"))
    for lost in np.flatnonzero(~seen):
        unseen.setdefault(int(lost), said("this frame could not be decoded"))
    return made(tuple(sorted(unseen.items())))


class _Sheet:
    """The strips of lines that are read in the same frames, while they are being read; side by side."""

    def __init__(self, source: FrameSource, lines: Sequence[StripLine], frames: NDArray[np.int64]) -> None:
        self._source = source
        self._lines = tuple(lines)
        read = lines[0].rows(len(frames)) if lines else np.zeros(0, dtype=np.intp)
        self._frames = frames[read]
        self._row_of = {int(row): place for place, row in enumerate(read)}
        self._points = [line.points for line in lines]
        self._ends = np.cumsum([0, *(len(p) for p in self._points)])
        kind = np.uint8 if source.info.bit_depth <= 8 else np.uint16
        self._levels = cast("Plane", np.zeros((len(read), int(self._ends[-1])), dtype=kind))
        self._samplers: list[tuple[_Sampler | slice, int, int]] = []
        self._shape: tuple[int, ...] = ()
        self._coloured = any(line.coloured for line in lines)
        self._colours: dict[int, NDArray[np.uint16]] = {}
        self._colour_samplers: list[tuple[int, _Sampler]] = []
        self._colour_shape: tuple[int, ...] = ()

    def fill(self, frame: int, plane: Plane, flat: Plane, chroma: tuple[Plane, Plane] | None = None) -> None:
        """Read all lines from one coded plane, and those to be read in colour from the planes of colour."""
        row = self._row_of.get(frame)
        if row is None:
            return
        if (*plane.shape, plane.strides[0]) != self._shape:
            self._shape = (*plane.shape, plane.strides[0])
            self._samplers = _samplers(self._source, self._points, plane)
        levels = self._levels[row]
        for sampler, first, last in self._samplers:
            if isinstance(sampler, slice):
                levels[first:last] = flat[sampler]
            else:
                np.rint(sampler(flat), out=levels[first:last], casting="unsafe")
        if chroma is not None and self._coloured:
            self._fill_colour(row, plane, chroma)

    def _fill_colour(self, row: int, plane: Plane, chroma: tuple[Plane, Plane]) -> None:
        if (*plane.shape, *(c.strides[0] for c in chroma)) != self._colour_shape:
            self._colour_shape = (*plane.shape, *(c.strides[0] for c in chroma))
            self._colour_samplers = [
                (number, _colour_sampler(self._source, self._points[number], plane, chroma[0]))
                for number, line in enumerate(self._lines)
                if line.coloured
            ]
        for number, sampler in self._colour_samplers:
            kept = self._colours.get(number)
            if kept is None:
                # Rows that are never filled, being unseen, say no colour rather than an extreme one.
                middle = COLOUR_STEPS << (self._source.info.bit_depth - 1)
                shape = (len(self._frames), 2, len(self._points[number]))
                kept = self._colours[number] = np.full(shape, middle, dtype=np.uint16)
            for part, each in enumerate(chroma):
                np.rint(COLOUR_STEPS * sampler(_flat(each)), out=kept[row, part], casting="unsafe")

    def _colour_u(self, line: StripLine) -> float:
        """How far the line runs along the coded columns, where the place of colour is not sure."""
        ends = self._source.info.geometry.to_coded(line.segment.at(np.array([0.0, 1.0])))
        return _UNSURE_SITE_PX * float(abs(ends[1, 0] - ends[0, 0]))

    def strips(self, unseen: tuple[tuple[int, str], ...]) -> tuple[Strip, ...]:
        """Cut the array into strips; they share its memory."""
        info = self._source.info
        unseen = tuple((self._row_of[row], why) for row, why in unseen if row in self._row_of)
        return tuple(
            Strip(
                line,
                self._frames,
                self._levels[:, first:last],
                info.bit_depth,
                info.full_range,
                unseen,
                self._colours.get(number),
                self._colour_u(line) if number in self._colours else 0.0,
            )
            for number, (line, first, last) in enumerate(
                zip(self._lines, self._ends[:-1], self._ends[1:], strict=True)
            )
        )


def _colour_sampler(source: FrameSource, points: FloatArray, plane: Plane, chroma: Plane) -> _Sampler:
    """Sampler of a plane of colour at the positions of a line.

    Of halved rows the middle is where the colour was taken; of halved columns the left one of a pair (chroma
    sample type 0 of ITU-T H.264 and H.265, what a film that says nothing has) or their middle (what many
    programs make all the same): the place between the two is assumed.
    """
    columns, rows = (
        round(whole / part) for whole, part in zip(plane.shape[::-1], chroma.shape[::-1], strict=True)
    )
    positions = source.info.geometry.to_coded(points.reshape(-1, 2)).reshape(points.shape)
    positions = np.stack(
        [
            (positions[..., 0] - _UNSURE_SITE_PX * (columns - 1)) / columns,
            (positions[..., 1] - 0.5 * (rows - 1)) / rows,
        ],
        axis=-1,
    )
    pitch = chroma.strides[0] // chroma.itemsize
    return _Sampler(positions, chroma.shape[1], chroma.shape[0], pitch)


def _samplers(
    source: FrameSource, points: Sequence[FloatArray], plane: Plane
) -> list[tuple[_Sampler | slice, int, int]]:
    """How lines are read, with the columns that they fill: one sampler for neighbours that are equally wide.

    A line of whole pixels in even steps is a slice of the plane.
    """
    samplers: list[tuple[_Sampler | slice, int, int]] = []
    height, width = plane.shape
    pitch = plane.strides[0] // plane.itemsize
    coded: list[FloatArray] = [
        source.info.geometry.to_coded(each.reshape(-1, 2)).reshape(each.shape) for each in points
    ]
    first = 0
    for (even, _), group in groupby(coded, key=lambda each: (_even(each, plane) is not None, each.shape[1])):
        lines = list(group)
        for together in lines if even else [np.concatenate(lines)]:
            last = first + len(together)
            sampler = _even(together, plane) or _Sampler(together, width, height, pitch)
            samplers.append((sampler, first, last))
            first = last
    return samplers
