"""The one pipeline: a run and the times of its film in, all that can be said about it out.

Window, command line and tests use the same function, so that they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import msgspec
import numpy as np

from analysis import (
    Falls,
    Findings,
    JetShape,
    Remark,
    accepted_gravity,
    findings_of,
    findings_with_jet,
    jet_shape_of,
    with_traced_angle,
)
from calibration import Calibration, CalibrationError, FloatArray, Setup, calibrate
from measure_app.clip import ClipInfo, FrameSource
from measure_app.cross_checks import drop_remark, without_length
from measure_app.errors import SetupIncomplete
from measure_app.falls import falls_of
from measure_app.finders import PART_WHY, Part, RefusedSpan
from measure_app.jet_path import AdoptSearch, traced_of
from measure_app.measuring import Search, part_measured, search
from measure_app.run import By, Reading, Run, Spot
from measure_app.series import (
    Lengths,
    SharedReading,
    conditions_of,
    corrections_of,
    series_of,
    setup_of,
)
from measure_app.shared_errors import shared_of
from measure_app.strips import Progress
from measure_app.words import language, said


class ReadingRow(msgspec.Struct, frozen=True):
    """One frame of the result table; None where the frame does not have it."""

    frame: int
    time_s: float | None = None
    surface: Spot | None = None
    landing: Spot | None = None
    surface_u_px: float | None = None
    """Standard uncertainty of the surface's place, own and common to all found readings combined, px."""
    landing_u_px: float | None = None
    head_m: float | None = None
    head_u_m: float | None = None
    """Standard uncertainty, own and shared combined, m."""
    throw_m: float | None = None
    throw_u_m: float | None = None
    speed_m_s: float | None = None
    """From throw and drop with the accepted g."""
    speed_u_m_s: float | None = None
    kept: bool = False
    """Whether the row took part in the fits with all that the run measures."""
    reason: str = ""
    """Why it did not, "" where it did."""


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """All that a run yields."""

    run: Run
    """With the found readings in it."""
    info: ClipInfo | None
    calibration: Calibration
    lengths: Lengths
    rows: tuple[ReadingRow, ...]
    findings: Findings
    remarks: tuple[Remark, ...]
    """Doubts about the run as a whole: of the film, the calibration, the finding and the fits."""
    refused: tuple[RefusedSpan, ...]
    """Spans without a reading, and why."""
    search: Search | None
    """The strips and what was found on them; None where only hand readings were derived."""
    falls: Falls
    """Falls that a person marked, in lengths and times."""
    jet: JetShape
    """The jet's own path: launch angle and curvature, against time and for the run."""

    @property
    def found_anything(self) -> bool:
        """Whether there is any length to show, or a fall that tells something."""
        seen = any(row.head_m is not None or row.throw_m is not None for row in self.rows)
        return seen or bool(self.falls.falls and self.findings.findings)


def measure(
    run: Run,
    source: FrameSource,
    *,
    progress: Progress | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> Outcome:
    """Find the surface and the landing in every frame of the part measured, and derive.

    Hand readings are kept and win over found ones.

    Raises
    ------
    SetupIncomplete
        If the run lacks what finding or deriving cannot do without.
    Stopped
        If `stop_requested` said so; nothing is left half done.
    ClipError
        If the film cannot be read at all.
    """
    # First, so that a set-up that cannot be used is said before the long pass.
    calibration = calibration_of(run, (source.info.width, source.info.height))
    found = None
    if run.gauge_line is not None or run.landing_line is not None or not run.falls:
        found = search(run, source, progress=progress, stop_requested=stop_requested)
    if found is not None:
        run = AdoptSearch(found.readings, found.jet, found.shared).apply(run)
    return outcome_of(
        run,
        source.stamps.seconds() if source.info.file_rate else None,  # still pictures have no clock
        source.info,
        found=found,
        calibration=calibration,
    )


@lru_cache(maxsize=4)
def _calibrated(setup: Setup, _language: str) -> Calibration:
    """Calibrate; most edits leave the set-up as it was, and the same one gives the same calibration.

    A calibration has its remarks in words, so one is kept for each language.
    """
    return calibrate(setup)


def calibration_of(run: Run, frame_size: tuple[int, int]) -> Calibration:
    """Calibrate a run's set-up.

    Raises
    ------
    SetupIncomplete
        If the marks are missing or contradict each other.
    """
    try:
        return _calibrated(setup_of(run, frame_size), language())
    except CalibrationError as error:
        raise SetupIncomplete(error.words, where=error.where) from None


def outcome_of(
    run: Run,
    seconds: FloatArray | None,
    info: ClipInfo,
    *,
    found: Search | None = None,
    calibration: Calibration | None = None,
) -> Outcome:
    """Derive everything from a run and the times of its film; pure.

    Parameters
    ----------
    run : with all its readings
    seconds : (n_frames,) s, time of every frame of the film; None for stills without a clock
    info : what is known of the film
    found : the pass over the film that the found readings came from, if it was made now
    calibration : of the same set-up, where it was made already

    Raises
    ------
    SetupIncomplete
        If the orifice or the rules are missing or contradict each other.
    """
    calibration = calibration or calibration_of(run, (info.width, info.height))
    start, stop = part_measured(run, info)
    readings = [
        reading
        for reading in run.readings
        if start <= reading.frame < stop and (reading.surface is not None or reading.landing is not None)
    ]
    shared = shared_of(run)
    lengths = series_of(readings, run, calibration, seconds, shared)
    falls = falls_of(run, calibration, seconds, info)
    conditions = conditions_of(run)
    traced, why = traced_of(run, calibration, seconds)
    jet = jet_shape_of(traced, lengths.series, accepted_gravity(conditions), why)
    findings = findings_of(
        lengths.series, with_traced_angle(conditions, jet), falls, corrections=corrections_of(run)
    )
    findings = findings_with_jet(findings, jet)
    refused = found.refused if found is not None else ()
    rows = _rows(
        run, lengths, findings, seconds, shared, refused, range(start, stop) if found is not None else None
    )
    return Outcome(
        run=run,
        info=info,
        calibration=calibration,
        lengths=lengths,
        rows=rows,
        findings=findings,
        remarks=_remarks(run, calibration, findings, info, refused, lengths, found),
        refused=refused,
        search=found,
        falls=falls,
        jet=jet,
    )


def _rows(
    run: Run,
    lengths: Lengths,
    findings: Findings,
    seconds: FloatArray | None,
    shared: SharedReading,
    refused: Sequence[RefusedSpan],
    frames: range | None,
) -> tuple[ReadingRow, ...]:
    """One row for each frame with a reading, and for each frame searched."""
    index = {reading.frame: i for i, reading in enumerate(lengths.readings)}
    numbers = frames if frames is not None else [reading.frame for reading in lengths.readings]
    why = {(span.part, frame): span.words for span in refused for frame in range(span.first, span.last + 1)}
    surfaces = any(reading.surface is not None for reading in lengths.readings)
    landings = any(reading.landing is not None for reading in lengths.readings)
    surfaces |= run.gauge_line is not None
    landings |= run.landing_line is not None
    expects = {Part.SURFACE: surfaces, Part.LANDING: landings}
    heads, heads_u = _where_known(lengths.heads.values, lengths.heads.u)
    throws, throws_u = _where_known(lengths.throws.values, lengths.throws.u)
    speeds, speeds_u = _where_known(findings.speed_m_s, findings.speed_u)
    surfaces_u = _totals([reading.surface for reading in lengths.readings], shared.surface_u_px)
    landings_u = _totals([reading.landing for reading in lengths.readings], shared.landing_u_px)
    all_kept = findings.kept.tolist()
    times = None if seconds is None else seconds.tolist()
    rows = []
    for frame in numbers:
        time_s = None if times is None else times[frame]
        i = index.get(frame)
        if i is None:
            reasons = _reasons(Reading(frame=frame), None, lengths, (None, None), why, expects)
            rows.append(
                ReadingRow(frame, time_s, reason="; ".join(reasons or [said("left out of the fits")]))
            )
            continue
        reading, head, throw = lengths.readings[i], heads[i], throws[i]
        # Most readings lack nothing, and there may be thousands of them at every edit.
        whole = (not surfaces or (reading.surface is not None and head is not None)) and (
            not landings or (reading.landing is not None and throw is not None)
        )
        reasons = [] if whole else _reasons(reading, i, lengths, (head, throw), why, expects)
        if findings.reasons[i]:
            reasons.append(findings.reasons[i])
        kept = not reasons and all_kept[i]
        if not kept and not reasons:
            reasons.append(reading.note or said("left out of the fits"))
        rows.append(
            ReadingRow(
                frame,
                time_s,
                reading.surface,
                reading.landing,
                surfaces_u[i],
                landings_u[i],
                head,
                heads_u[i],
                throw,
                throws_u[i],
                speeds[i],
                speeds_u[i],
                kept,
                "; ".join(reasons),
            )
        )
    return tuple(rows)


def _reasons(
    reading: Reading,
    i: int | None,
    lengths: Lengths,
    got: tuple[float | None, float | None],
    why: dict[tuple[Part, int], str],
    expects: dict[Part, bool],
) -> list[str]:
    """Why parts of a frame have no length, as far as that is to do with finding and calibration."""
    reasons = []
    for part, spot, length, all_reasons in (
        (Part.SURFACE, reading.surface, got[0], lengths.heads.reasons),
        (Part.LANDING, reading.landing, got[1], lengths.throws.reasons),
    ):
        if not expects[part]:
            continue
        if spot is None:
            reasons.append(why.get((part, reading.frame), said(PART_WHY[part], why=said("not read"))))
        elif length is None and i is not None:
            words = all_reasons[i] if all_reasons else said("cannot be turned into a length")
            reasons.append(said(PART_WHY[part], why=words))
    return reasons


def _where_known(values: FloatArray, u: FloatArray) -> tuple[list[float | None], list[float | None]]:
    """Give values and their uncertainties, None where there is no value."""
    listed: list[float | None] = values.tolist()
    listed_u: list[float | None] = u.tolist()
    for i in np.nonzero(~np.isfinite(values))[0].tolist():
        listed[i] = listed_u[i] = None
    return listed, listed_u


def _totals(spots: Sequence[Spot | None], common_u_px: float) -> list[float | None]:
    """Give the uncertainty of each place, what found ones have in common counted in."""
    own = np.array([0.0 if spot is None else spot.px_u for spot in spots])
    common = np.array([common_u_px if spot is not None and spot.by is By.FOUND else 0.0 for spot in spots])
    totals = np.hypot(own, common).tolist()
    return [None if spot is None else total for spot, total in zip(spots, totals, strict=True)]


def _remarks(
    run: Run,
    calibration: Calibration,
    findings: Findings,
    info: ClipInfo,
    refused: Sequence[RefusedSpan],
    lengths: Lengths,
    found: Search | None,
) -> tuple[Remark, ...]:
    remarks = [Remark("film", words) for words in info.remarks]
    remarks += [Remark("calibration", words) for words in calibration.gaps]
    remarks += [Remark(each.about, each.says) for each in calibration.remarks]
    drop = drop_remark(run, calibration)
    remarks += [drop] if drop is not None else []
    remarks += without_length(lengths.readings, lengths.heads, lengths.throws)
    if found is not None:
        for track in (found.surface, found.landing):
            if track is None:
                continue
            lost = len(track.frames) - int(track.found.sum())
            if lost:
                remarks.append(_refusal(track.part, lost, len(track.frames), refused))
            remarks += [Remark(track.part.value, words) for words in track.remarks]
    numbers = [reading.frame for reading in lengths.readings]
    for each in findings.remarks:
        remarks.append(_in_frames(each, numbers))
    return tuple(remarks)


def _refusal(part: Part, lost: int, count: int, refused: Sequence[RefusedSpan]) -> Remark:
    spans = [span for span in refused if span.part is part]
    longest = max(spans, key=lambda span: span.last - span.first)
    if lost == 1:
        words = said(
            "not found in frame {frame}, one of {count}: {why}",
            frame=longest.first,
            count=count,
            why=said(longest.why.value),
        )
        return Remark(part.value, words, (longest.first, longest.last))
    words = said(
        "not found in {lost} of {count} frames; longest span: frames {first} to {last}, {why}",
        lost=lost,
        count=count,
        first=longest.first,
        last=longest.last,
        why=said(longest.why.value),
    )
    return Remark(part.value, words, (longest.first, longest.last))


def _in_frames(remark: Remark, frames: Sequence[int]) -> Remark:
    """The engine counts rows of the series; a person counts frames."""
    if remark.frames is None or not frames:
        return remark
    first, last = (frames[min(max(row, 0), len(frames) - 1)] for row in remark.frames)
    return Remark(remark.about, remark.says, (first, last))
