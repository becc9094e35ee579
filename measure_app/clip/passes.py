"""One pass over a film: the luma of every frame, in order, as fast as decoding goes."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from measure_app.clip.index import FrameTable
from measure_app.clip.opening import OpenFilm
from measure_app.clip.picture import chroma_planes, depth_of, luma_plane
from measure_app.clip.roller import Rolled, Roller
from measure_app.clip.source import ClipInfo, LumaPlane
from measure_app.clip.trust import LOST, RESIZED, DamageBook


def planes(
    opened: Callable[[], OpenFilm],
    info: ClipInfo,
    table: FrameTable,
    damage: DamageBook,
    *,
    wanted: range,
    pause: Callable[[], None],
) -> Iterator[LumaPlane]:
    """Yield the luma planes of the frames wanted, in a container of their own.

    Parameters
    ----------
    opened : callable
        Opens the film anew.
    info, table : ClipInfo, FrameTable
        What is known of it.
    damage : DamageBook
        Lost and spoilt frames are entered here.
    wanted : range
        Rising frame numbers; each is yielded exactly once.
    pause : callable
        Called before every frame is decoded; raises to end the pass.
    """
    if not wanted:
        return
    roller = Roller(opened(), table, wary=True)
    try:
        roller.wanted = _wanted_ticks(table, wanted)
        roller.begin(wanted.start, upto=wanted[-1])
        due = wanted.start
        for rolled in _taken(roller, wanted, pause):
            yield from _lost(range(due, rolled.index, wanted.step), damage)
            yield _luma(rolled, info, damage)
            due = rolled.index + wanted.step
        yield from _lost(range(due, wanted.stop, wanted.step), damage)
    finally:
        roller.close()


def fits(rolled: Rolled, info: ClipInfo) -> bool:
    """Tell whether a frame has the size and depth of the film; some films change on the way."""
    video, geometry = rolled.video, info.geometry
    return bool(
        video.width == geometry.coded_width
        and video.height == geometry.coded_height
        and depth_of(video.format.name) == info.bit_depth
    )


def _wanted_ticks(table: FrameTable, wanted: range) -> Callable[[int], bool]:
    """Tell by its tick whether a frame must come out of the decoder."""
    if wanted.step == 1:
        low = int(table.ticks[wanted.start])
        return lambda tick: tick >= low
    return {int(tick) for tick in table.ticks[wanted.start : wanted.stop : wanted.step]}.__contains__


def _taken(roller: Roller, wanted: range, pause: Callable[[], None]) -> Iterator[Rolled]:
    """Yield the frames wanted that come out."""
    while (rolled := roller.next(pause)) is not None and rolled.index <= wanted[-1]:
        if rolled.index in wanted:
            yield rolled
        if rolled.index == wanted[-1]:
            return


def _lost(missing: range, damage: DamageBook) -> Iterator[LumaPlane]:
    for index in missing:
        damage.note(index, LOST)
        yield LumaPlane(index, None, LOST)


def _luma(rolled: Rolled, info: ClipInfo, damage: DamageBook) -> LumaPlane:
    if not fits(rolled, info):
        damage.note(rolled.index, RESIZED)
        return LumaPlane(rolled.index, None, RESIZED)
    if rolled.suspect is not None:
        damage.note(rolled.index, rolled.suspect)
    return LumaPlane(rolled.index, luma_plane(rolled.video), rolled.suspect, chroma_planes(rolled.video))
