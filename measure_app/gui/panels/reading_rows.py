"""Rows of the readings table: what was read in each frame and what became of it. No Qt here."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from msgspec.structs import replace

from analysis import with_uncertainty
from calibration import FloatArray
from measure_app.extras import SetAsideReading, set_aside_of
from measure_app.finders import Part
from measure_app.gui.panels.steps import readings_counted
from measure_app.run import By, Reading, Run, Spot
from measure_app.words import counted, decimal_mark, marked, said

if TYPE_CHECKING:
    from measure_app.outcome import Outcome, ReadingRow

_BY = {By.HAND: marked("hand"), By.FOUND: marked("found")}
Shows = Callable[[int, Spot | None], bool]
"""Tells whether a position read in a frame may be seen, as `Document.shows` does."""


@dataclass(frozen=True, slots=True)
class ShownReading:
    """One frame as the table shows it."""

    frame: int
    time_s: float | None
    surface: Spot | None
    landing: Spot | None
    head_m: float | None = None
    head_u_m: float | None = None
    throw_m: float | None = None
    throw_u_m: float | None = None
    kept: bool = False
    reason: str = ""
    aside: bool = False
    """Whether a person took it out."""

    @property
    def by(self) -> str:
        """Who read it: ``hand``, ``found``, or both."""
        kinds = {spot.by for spot in (self.surface, self.landing) if spot is not None}
        return " + ".join(said(_BY[kind]) for kind in By if kind in kinds)

    @property
    def head_words(self) -> str:
        """Head with its uncertainty, mm; "" without one."""
        return _mm(self.head_m, self.head_u_m)

    @property
    def throw_words(self) -> str:
        """Throw with its uncertainty, mm; "" without one."""
        return _mm(self.throw_m, self.throw_u_m)


def _mm(value: float | None, u: float | None) -> str:
    if value is None or u is None:
        return ""
    return concise(1e3 * value, 1e3 * u)


def concise(value: float, u: float) -> str:
    """Write a value with its standard uncertainty in brackets, in units of the last digits: ``199.66(61)``.

    The short form of JCGM 100:2008, 7.2.2; where it cannot be had, the long one.
    """
    words = with_uncertainty(value, u)
    number, plus_minus, spread = words.partition(" ± ")
    if not plus_minus or "(" in words:
        return words
    digits = spread.replace(decimal_mark(), "").lstrip("0")
    return f"{number}({digits})"


def said_of(shown: ShownReading) -> str:
    """Say of one frame who read it and what became of it."""
    if shown.aside:
        return said("Frame {frame}, {by}: {reason}.", frame=shown.frame, by=shown.by, reason=shown.reason)
    fate = said("took part in the fits") if shown.kept else said("took no part in the fits")
    reason = f": {shown.reason}" if shown.reason else ""
    return (
        said("Frame {frame}, {by}: {fate}{reason}.", frame=shown.frame, by=shown.by, fate=fate, reason=reason)
        if shown.by
        else said("Frame {frame}{reason}.", frame=shown.frame, reason=reason)
    )


def shown_readings(
    run: Run,
    outcome: Outcome | None,
    seconds: FloatArray | None,
    *,
    shows: Shows | None = None,
    veiled_aside: Collection[SetAsideReading] = (),
) -> tuple[ShownReading, ...]:
    """Join the run's readings with what the newest outcome says of them.

    Parameters
    ----------
    run : Run
    outcome : Outcome or None
        The newest one; rows of an older state of the run are taken only where the reading is the same still.
    seconds : (n_frames,) s, or None
        Times of all frames.
    shows : callable, optional
        Blind mode: what of a reading may be seen. The rest of it is left out, and so are lengths and reasons
        that might lead the reader.
    veiled_aside : collection of SetAsideReading
        What had been set aside before blind mode began: left out altogether.
    """
    if shows is not None:
        visible = (_unveiled(reading, shows) for reading in run.readings)
        rows = [_row(reading, None, seconds) for reading in visible if reading is not None]
    else:
        derived = {row.frame: row for row in outcome.rows} if outcome is not None else {}
        rows = [_row(reading, derived.get(reading.frame), seconds) for reading in run.readings]
    for each in set_aside_of(run):
        reading = _unveiled(each.reading, shows) if shows is not None else each.reading
        if reading is None or each in veiled_aside:
            continue
        rows.append(
            ShownReading(
                reading.frame,
                _time(seconds, reading.frame),
                reading.surface,
                reading.landing,
                reason=said("set aside: {reason}", reason=each.reason),
                aside=True,
            )
        )
    return tuple(sorted(rows, key=lambda row: (row.frame, row.aside)))


def _unveiled(reading: Reading, shows: Shows) -> Reading | None:
    """Leave out what may not be seen; a note may tell of it and goes with it. None: nothing is left."""
    frame, surface, landing = reading.frame, reading.surface, reading.landing
    sees_surface, sees_landing = shows(frame, surface), shows(frame, landing)
    seen = replace(
        reading,
        surface=surface if sees_surface else None,
        landing=landing if sees_landing else None,
        note=reading.note if sees_surface and sees_landing else "",
    )
    return seen if seen.surface is not None or seen.landing is not None else None


def _row(reading: Reading, row: ReadingRow | None, seconds: FloatArray | None) -> ShownReading:
    time_s = _time(seconds, reading.frame)
    if row is None or row.surface != reading.surface or row.landing != reading.landing:
        return ShownReading(reading.frame, time_s, reading.surface, reading.landing, reason=reading.note)
    return ShownReading(
        reading.frame,
        time_s,
        reading.surface,
        reading.landing,
        row.head_m,
        row.head_u_m,
        row.throw_m,
        row.throw_u_m,
        row.kept,
        row.reason,
    )


def _time(seconds: FloatArray | None, frame: int) -> float | None:
    return float(seconds[frame]) if seconds is not None and frame < len(seconds) else None


def evenly_spread(frames: Sequence[int], count: int) -> tuple[int, ...]:
    """Pick so many of the frames, evenly through the run."""
    if count >= len(frames):
        return tuple(frames)
    return tuple(frames[round((i + 0.5) * len(frames) / count - 0.5)] for i in range(count))


def read_by_hand(reading: Reading, part: Part) -> bool:
    """Tell whether one part of a reading was made by hand."""
    spot = reading.surface if part is Part.SURFACE else reading.landing
    return spot is not None and spot.by is By.HAND


def count_words(run: Run, *, shows: Shows | None = None) -> str:
    """Say how much is read; with `shows`: how much of it a reader in blind mode made since."""
    if shows is not None:
        own = [_unveiled(reading, shows) for reading in run.readings]
        return said(
            "{counted} read by hand.",
            counted=counted("{count} frame", "{count} frames", sum(each is not None for each in own)),
        )
    if not run.readings:
        return said("Nothing is read yet.")
    surfaces, landings, both = readings_counted(run)
    hand = sum(any(read_by_hand(reading, part) for part in Part) for reading in run.readings)
    return said(
        "{counted}, {counted2}, {counted3} with both; {counted4} by hand.",
        counted=counted("{count} surface", "{count} surfaces", surfaces),
        counted2=counted("{count} landing", "{count} landings", landings),
        counted3=counted("{count} frame", "{count} frames", both),
        counted4=counted("{count} frame", "{count} frames", hand),
    )


def missing_for_finding(run: Run) -> str:
    """Say what finding cannot do without; "" where it can begin."""
    if run.gauge_line is None and (run.landing_line is None or run.orifice is None):
        return said("To find them, draw the gauge line, or the landing line and the orifice (step Datum).")
    return ""
