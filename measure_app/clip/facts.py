"""What a film is, told from its table, its stream and its first frame, and what a person should know."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
from av.sidedata.sidedata import SideDataContainer

from measure_app.clip.geometry import PlaneGeometry
from measure_app.clip.index import FrameTable
from measure_app.clip.opening import MAX_AREA, MAX_SIDE, OpenFilm, family_words
from measure_app.clip.source import ClipInfo
from measure_app.clip.stamps import Pace, Stamps, pace_of
from measure_app.errors import ClipError
from measure_app.words import counted, said

_CAPTURE_KEY = "com.android.capture.fps"
_FULL_RANGE = 2
_TURNS = {
    # (a, b, c, d) of the display matrix, x' = a·x + c·y and y' = b·x + d·y, y down: (quarter turns, mirrored)
    (1, 0, 0, 1): (0, False),
    (0, -1, 1, 0): (1, False),
    (-1, 0, 0, -1): (2, False),
    (0, 1, -1, 0): (3, False),
    (-1, 0, 0, 1): (0, True),
    (0, -1, -1, 0): (1, True),
    (1, 0, 0, -1): (2, True),
    (0, 1, 1, 0): (3, True),
}


def facts_of(
    film: OpenFilm, table: FrameTable, first: Any, capture_rate_hz: float | None
) -> tuple[ClipInfo, Stamps]:
    """Gather what is known of a film.

    Parameters
    ----------
    film : OpenFilm
        Open container.
    table : FrameTable
        Its frames.
    first : av.VideoFrame
        First frame that decodes; it carries rotation, depth and interlacing.
    capture_rate_hz : float, optional
        Rate at which slow motion was captured, 1/s.

    Raises
    ------
    ClipError
        If the displayed picture would be absurdly large.
    """
    remarks: list[str] = []
    geometry = _geometry(film, first, remarks)
    stamps = Stamps(table.ticks, table.base)
    stated = film.stream.average_rate
    pace = pace_of(stamps, Fraction(stated) if stated else None)
    stamps = stamps.slowed(pace.file_rate, capture_rate_hz if pace.file_rate else None)
    hint = _capture_hint(film)
    interlaced = bool(first.interlaced_frame)
    _remark_times(remarks, film, table, pace)
    _remark_capture(remarks, pace, capture_rate_hz, hint)
    if interlaced:
        remarks.append(
            said(
                "the film is interlaced: each frame holds two half pictures taken at two instants, "
                "so moving edges are combed"
            )
        )
    last_step = float(1 / pace.file_rate) if pace.file_rate else 0.0
    info = ClipInfo(
        path=film.path,
        container=family_words(film.path),
        codec=film.stream.codec_context.codec.canonical_name,
        geometry=geometry,
        n_frames=len(table),
        bit_depth=int(first.format.components[0].bits),
        duration_s=float(int(table.ticks[-1] - table.ticks[0]) * table.base) + last_step,
        file_rate=pace.file_rate,
        average_rate=pace.average_rate,
        variable_rate=pace.variable,
        gaps=pace.gaps,
        capture_rate_hz=capture_rate_hz,
        capture_rate_hint=hint,
        interlaced=interlaced,
        full_range=first.color_range == _FULL_RANGE,
        size_bytes=film.path.stat().st_size,
        remarks=tuple(remarks),
    )
    return info, stamps


def _geometry(film: OpenFilm, first: Any, remarks: list[str]) -> PlaneGeometry:
    """Pixel aspect, turn and mirror."""
    turns, mirrored = _orientation(first, remarks)
    aspect = film.stream.sample_aspect_ratio
    sane = aspect is not None and Fraction(1, 8) <= aspect <= 8
    if aspect is not None and aspect > 0 and not sane:
        remarks.append(
            said(
                "the file states a pixel aspect of {aspect}, which cannot be; pixels are taken as square",
                aspect=aspect,
            )
        )
    geometry = PlaneGeometry(
        first.width, first.height, Fraction(aspect) if sane else Fraction(1), turns, mirrored
    )
    if geometry.stretched_width > MAX_SIDE or geometry.stretched_width * first.height > MAX_AREA:
        raise ClipError(
            said(
                "displayed pictures of {width} × {height} px are too large (at "
                "most {most} px a side); scale the film",
                width=geometry.displayed_width,
                height=geometry.displayed_height,
                most=MAX_SIDE,
            ),
            where=film.path.name,
        )
    if aspect is not None and geometry.sample_aspect != 1:
        remarks.append(
            said(
                "pixels are not square ({numerator}:{denominator}); frames are shown and measured as "
                "{width} × {height} px",
                numerator=aspect.numerator,
                denominator=aspect.denominator,
                width=geometry.displayed_width,
                height=geometry.displayed_height,
            )
        )
    return geometry


def _orientation(first: Any, remarks: list[str]) -> tuple[int, bool]:
    """Quarter turns and mirror from the display matrix."""
    # Made here rather than asked of the frame, which would keep it: the two would hold each other, and with
    # them the decoder's store of frames (4 MiB of 720p) until Python happens to look for such circles.
    beside: Any = SideDataContainer
    data = beside(first).get("DISPLAYMATRIX")
    if data is None or len(bytes(data)) < 36:
        return 0, False
    matrix = np.frombuffer(bytes(data), "<i4", count=9).astype(np.float64)
    a, b, c, d = matrix[[0, 1, 3, 4]]
    size = max(abs(a), abs(b), abs(c), abs(d), 1.0)
    signs = tuple(round(float(v) / size) for v in (a, b, c, d))
    exact = all(abs(float(v) / size - s) < 0.01 for v, s in zip((a, b, c, d), signs, strict=True))
    if not exact or signs not in _TURNS:
        remarks.append(said("the file asks for a turn that is not a quarter turn; frames are shown as coded"))
        return 0, False
    turns, mirrored = _TURNS[signs]
    if turns:
        remarks.append(
            said(
                "the camera was turned: frames are shown turned by {turns}° counter-clockwise",
                turns=90 * turns,
            )
        )
    if mirrored:
        remarks.append(said("the file asks for a mirrored picture: left and right are exchanged"))
    return turns, mirrored


def _capture_hint(film: OpenFilm) -> float | None:
    """Rate that the camera says it captured at."""
    for source in (film.container.metadata, film.stream.metadata):
        text = source.get(_CAPTURE_KEY)
        if text is None:
            continue
        try:
            rate = float(text)
        except ValueError:
            continue
        if 0 < rate < 1e6:
            return rate
    return None


def _remark_times(remarks: list[str], film: OpenFilm, table: FrameTable, pace: Pace) -> None:
    if len(table) == 1:
        remarks.append(said("the film is a single frame; no time can be told from it"))
    if table.counted:
        remarks.append(
            said(
                "the file's times contradict its pictures; frames are counted from the start, which "
                "makes jumps slow"
            )
        )
    stated = int(film.stream.frames)
    if table.ended_early or stated > len(table) + table.trimmed:
        words = said("the film was cut short: {frames} frames are there", frames=len(table))
        if stated > len(table) + table.trimmed:
            words = said(
                "the film was cut short: {frames} frames are there; the file promises {stated}",
                frames=len(table),
                stated=stated,
            )
        remarks.append(words)
    missing = sum(count for _, count in pace.gaps)
    if missing:
        if len(pace.gaps) == 1:
            words = counted(
                "1 frame is missing after frame {after} (dropped by the camera, or lost from the file); "
                "times "
                "follow the file's own stamps",
                "{count} frames are missing after frame {after} (dropped by the camera, or lost from the "
                "file); "
                "times follow the file's own stamps",
                missing,
                after=pace.gaps[0][0],
            )
        else:
            words = said(
                "{missing} frames are missing at {places} places, first after frame {after} (dropped by the "
                "camera, or lost from the file); times follow the file's own stamps",
                missing=missing,
                places=len(pace.gaps),
                after=pace.gaps[0][0],
            )
        remarks.append(words)
    if pace.uneven:
        remarks.append(
            said(
                "the frame rate varies: {shortest:.1f} to {longest:.1f} ms from one frame to the "
                "next; times follow the file's own stamps",
                shortest=1000 * pace.shortest_s,
                longest=1000 * pace.longest_s,
            )
        )
    if len([s for s in film.container.streams.video if s.index != film.stream.index]) > 0:
        remarks.append(said("the file holds more than one picture track; the first is used"))


def _remark_capture(remarks: list[str], pace: Pace, told: float | None, hint: float | None) -> None:
    rate = float(pace.file_rate)
    if hint is not None and told is None and rate and abs(hint / rate - 1) > 0.02:
        remarks.append(
            said(
                "the camera says that it captured {hint:g} frames per second, the film plays "
                "{rate:.4g}; if it is slow motion, set capture_rate_hz to {hint:g}",
                hint=hint,
                rate=rate,
            )
        )
    if hint is not None and told is not None and abs(told / hint - 1) > 0.02:
        remarks.append(
            said(
                "capture_rate_hz is {told:g}, but the camera says that it captured {hint:g} frames "
                "per second",
                told=told,
                hint=hint,
            )
        )
