"""The landing: where the jet's centre line meets the landing line.

At the landing line itself the jet drowns in its own splash. A short way above it the jet is clean, so it is
traced there on several lines parallel to the landing line, and carried down to the landing level: along its
parabola first, and then by a correction, common to the whole run and fitted to it, for what the parabola
leaves (launch angle, perspective).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.jet_joining import (
    SEEN,
    OnLines,
    carried_down,
    frames_late,
    rests_on_one,
    strange_share,
)
from measure_app.finders.jet_judging import Seen, judge_landing, repeated_rows, usual
from measure_app.finders.jet_lines import JetLines
from measure_app.finders.jet_look import (
    Background,
    background_of,
    centred,
    coded_over,
    gains_of,
    hollow_of,
    widths_of,
)
from measure_app.finders.jet_middle import at_the_landing, middles_of
from measure_app.finders.marked import Hints, agreed
from measure_app.finders.medians import known_median, median, quantile, row_medians
from measure_app.finders.path import best_path
from measure_app.finders.steadiness import Drift, along_line, with_shared_drift
from measure_app.finders.track import Part, Track, Why, nothing_found, unless_it_stands, unless_mostly_hidden
from measure_app.strips import Strip, steadied

_ROWS = 1200
"""Frames are averaged in groups down to about this many for the path search; bounds memory and time."""
_CENTRE_SHARE, _UNANCHORED_SHARE = 0.0055, 0.022
"""How far the middle between the jet's flanks may lie from the middle of the water, in widths of the jet:
light refracts unevenly in its two sides. And the same of the middle of what glitters, where no flanks are
seen."""
_ALIKE = 1.3
"""Neighbouring lines see the same drops and the same background: they err alike, and their scatter about
their common line tells less of where it leads than that of as many lines that err each by itself."""
_FLANKS_MOST, _LAGS_MOST = 0.03, 0.5
"""How far at most, in widths of the jet, the middle between its flanks is believed to lead elsewhere than
single frames do, as glints and drops lie within and beside it; and, in steps from frame to frame, how much
more where coding leaves the jet behind. What led further was, on films of all kinds, no flank of the jet."""
_LEVELS_DIFFER = 0.3
"""What part counts of how far the feet of the jet's flanks lead elsewhere than their tops."""
_TOLD_APART = 0.25
"""What part counts of how far the jet's mean looks lead elsewhere than single frames do."""
_SHARED_FLOOR_PX = 0.044
"""Least shared uncertainty: the lines are sampled once a pixel and followed down a fitted line."""
_LEFT_BEHIND, _LEFT_BEHIND_U = 0.14, 0.1
"""How far, in steps from frame to frame, a landing is seen behind where it is where coding leaves out what
changes a little, and how unsure that is; by measurement on films in low light (0.04 to 0.28)."""
_LATE = 1.5
"""How late a landing may be seen where lines often repeat the frame before, against how old what they show is
if which they repeat is chance: what repeats in part is late as well. By measurement on films in low light."""
_COMMON_SHARE = 0.42
"""How much of the disagreement of the lines all frames have in common, where no flanks are seen."""
_MARK_REACH_PX = 8.0
"""The jet crosses the lines within so far of where a person marked it."""
_BEND, _ASIDE_WORTH = 0.15, 0.2
"""Between two marks the landing strays from the straight line by no more than that part of their distance, or
what is seen there is worth so much less."""
_CHUNK = 2000
"""Frames refined at once; bounds memory."""


def find_landing(
    strips: Sequence[Strip],
    lines: JetLines,
    *,
    hints: Hints | None = None,
    drift: Drift | None = None,
    flight_frames: float | None = None,
) -> Track:
    """Find the landing in every frame from the strips of the tracing lines.

    Parameters
    ----------
    strips : one strip for each of `lines.lines`, in that order
    lines : where they lie and how they are carried to the landing line
    hints : places marked by hand, which the path must pass
    drift : how the camera moved; None: not at all
    flight_frames : the water's time of flight from orifice to landing, in frames; None: told by the lines

    Returns
    -------
    A place along the landing line, in the reference frame, or a reason for every frame.
    """
    frames = strips[0].frames
    n = len(frames)
    lift = np.zeros(n)
    if drift is not None and drift.moved:
        strips = [steadied(strip, along_line(strip, drift)) for strip in strips]
    damaged = np.zeros(n, dtype=bool)
    damaged[[row for row, _ in strips[0].unseen]] = True
    if n < 3 or (~damaged).sum() < 3 or strips[0].levels.shape[1] < 16:
        return nothing_found(Part.LANDING, frames, Why.MOTIONLESS)
    black = 0.0 if strips[0].full_range else 16.0 * 2.0 ** (strips[0].bit_depth - 8)
    gain = gains_of(strips, damaged, black)
    grounds = [background_of(strip, damaged, gain, black) for strip in strips]
    course = _coarse_course(strips, lines, grounds, hints)
    if course is None:
        return nothing_found(Part.LANDING, frames, Why.MOTIONLESS)
    if drift is not None and drift.moved:
        up = np.asarray(lines.up_px)
        # Where the camera turned, how far a line is lifted depends on where on it the jet is.
        lift = -drift.along(up, strips[0].line.segment.at(course).T) / float(up @ up)
    width = _jet_width(strips, lines, grounds, course)
    seen_on, covered, stale = _centres(strips, lines, grounds, course, width, lift)
    above = np.asarray(lines.above)
    landed, agreement, support, drawn = carried_down(seen_on, above, lines.zero_px, flight_frames)
    step = float(course[-1] - course[0]) / (n - 1)
    # Where the camera moved, what is behind the jet changes for that.
    part = coded_over(strips, gain, black) if drift is None or not drift.moved else 0.0
    landing, shared_u = _led_by_flanks(
        strips, lines, grounds, landed.landing, width, lift, usual(agreement), abs(step) * part
    )
    moved = rests_on_one(seen_on, above, lines.zero_px, flight_frames, landed.landing)
    shared_u = float(np.hypot(shared_u, moved))
    landing = landing + _LEFT_BEHIND * part * step
    left_behind = abs(step) * np.hypot(
        _LEFT_BEHIND_U * part, _LATE * frames_late(stale, seen_on.weights, above)
    )
    shared_u = float(np.hypot(max(shared_u, _SHARED_FLOOR_PX), left_behind))
    # What is left behind is neither the same in all frames nor another in each.
    unsure = np.sqrt(landed.unsure_px**2 + drawn**2 + left_behind**2)
    seen = Seen(landing, unsure, agreement, support, width, strips[0].levels.shape[1])
    own_u, why = judge_landing(
        seen,
        covered=covered,
        repeated=stale.mean(axis=1) > 0.5,
        damaged=damaged,
        marked=hints.rows if hints is not None else None,
    )
    why, remarks = agreed(Part.LANDING, frames, landing, own_u, why, hints)
    # How frames are brought back errs alike in most of them: that is in the shared part.
    segment, usual_landing = strips[0].line.segment, known_median(landing)
    if drift is not None and drift.moved:
        # Where on the line the jet lands, a turning camera moved it by a little more or less.
        there = segment.at(np.where(np.isfinite(landing), landing, usual_landing)).T
        landing = landing + along_line(strips[0], drift) - drift.along(segment.direction, there)
    # A jet that is thought too high is carried down too far, by its lean at the landing line.
    lean = 0.5 * (usual_landing - lines.zero_px) / float(np.dot(lines.up_px, lines.up_px))
    off = segment.direction + lean * np.asarray(lines.up_px)
    at = segment.at(np.array([usual_landing]))[0]
    own_u, shared_u, why = with_shared_drift(own_u, shared_u, why, drift, off, at)
    if hints is None:
        why = unless_it_stands(landing, unless_mostly_hidden(why))
    refused = np.array([w is not None for w in why])
    return Track(
        Part.LANDING,
        frames,
        np.where(refused, np.nan, landing),
        np.where(refused, np.nan, own_u),
        shared_u,
        why,
        remarks,
    )


def _coarse_course(
    strips: Sequence[Strip], lines: JetLines, grounds: Sequence[Background], marks: Hints | None
) -> FloatArray | None:
    """Follow the jet through the whole run on all lines together; (n,) px along the landing line."""
    n, length = strips[0].levels.shape
    size = max(1, -(-n // _ROWS))
    places = np.arange(length, dtype=np.float64)
    rows = -(-n // size)
    evidence = np.zeros((rows, length), dtype=np.float32)
    block = max(1, _CHUNK // (4 * size))
    # Memory asked for anew costs more than what is done in it here.
    room = np.empty((2, min(block, rows), length), dtype=np.float32)
    for index, (strip, ground) in enumerate(zip(strips, grounds, strict=True)):
        at = lines.place_on(index, places)
        inside = ((at >= 0) & (at <= length - 1)).astype(np.float32)
        low = np.clip(np.floor(at).astype(int), 0, length - 2)
        part = np.clip(at - low, 0.0, 1.0).astype(np.float32)
        for first in range(0, rows, block):
            last = min(first + block, rows)
            activity = ground.activity(
                strip.levels[first * size : last * size], slice(first * size, last * size)
            )
            if size > 1:
                activity = np.add.reduceat(activity, np.arange(0, len(activity), size), axis=0)
                activity /= np.float32(size)
            for side, share, on in ((low, (1 - part) * inside, room[0]), (low + 1, part * inside, room[1])):
                taken = on[: last - first]
                np.take(activity, side, axis=1, out=taken, mode="clip")
                taken *= share
            evidence[first:last] += np.add(room[0, : last - first], taken, out=taken)
    evidence = _smoothed(evidence)
    if marks is not None:
        evidence *= _favoured(marks, size, rows, length)
        for row, place in zip(marks.rows.tolist(), marks.along_px.tolist(), strict=True):
            evidence[min(row // size, rows - 1), np.abs(places - place) > _MARK_REACH_PX] = -1e4
    fastest = int(np.clip(np.ceil(6.0 * length / rows), 3, 40))
    inward, sway = (fastest, 3) if lines.zero_px < length / 2 else (3, fastest)
    path = best_path(evidence, back_px=inward, forth_px=sway, step_cost=0.05)
    strength = evidence[np.arange(rows), path]
    if median(strength) < 0.15 * len(strips) or np.ptp(path) < 3:
        return None
    centres = np.minimum((np.arange(rows) + 0.5) * size - 0.5, n - 1)
    return np.interp(np.arange(n), centres, path.astype(np.float64))


def _favoured(marks: Hints, size: int, rows: int, length: int) -> NDArray[np.float32]:
    """What evidence is worth, given the marks: little far from where they lead; (rows, length).

    The throw of a draining container shrinks almost evenly, so the jet runs near the straight lines from mark
    to mark. It sways, so nothing is forbidden: what stands out alone there is followed still.
    """
    order = np.argsort(marks.rows, kind="stable")
    at, first = np.unique(marks.rows[order] / size, return_index=True)
    place = marks.along_px[order][first]
    if len(at) < 2:
        return np.ones((rows, length), dtype=np.float32)
    row = np.arange(rows)
    leg = np.clip(np.searchsorted(at, row, side="right") - 1, 0, len(at) - 2)
    slope = np.diff(place) / np.diff(at)
    middle = place[leg] + slope[leg] * (row - at[leg])
    beyond = np.maximum(np.maximum(at[0] - row, row - at[-1]), 0.0)
    bend = _BEND * (np.abs(np.diff(place))[leg] + np.abs(slope[leg]) * beyond)
    far = np.abs(np.arange(length)[None, :] - middle[:, None]) > (_MARK_REACH_PX + bend)[:, None]
    return np.where(far, _ASIDE_WORTH, 1.0).astype(np.float32)


def _smoothed(evidence: NDArray[np.float32]) -> NDArray[np.float32]:
    """Triangle of seven pixels along the line: about the width of a jet."""
    kernel = (np.bartlett(9)[1:-1] / np.bartlett(9).sum()).astype(np.float32)
    padded = np.pad(evidence, ((0, 0), (3, 3)))
    out, part = np.zeros_like(evidence), np.empty_like(evidence)
    for shift, weight in enumerate(kernel):
        out += np.multiply(padded[:, shift : shift + evidence.shape[1]], weight, out=part)
    return out


def _jet_width(
    strips: Sequence[Strip], lines: JetLines, grounds: Sequence[Background], course: FloatArray
) -> float:
    """Typical width of the jet along the lines, px."""
    widths = widths_of(strips, grounds, [lines.place_on(i, course) for i in range(len(strips))])
    return float(np.clip(np.median(widths), 2.0, 30.0)) if widths else 6.0


def _centres(
    strips: Sequence[Strip],
    lines: JetLines,
    grounds: Sequence[Background],
    course: FloatArray,
    width: float,
    lift: FloatArray,
) -> tuple[OnLines, NDArray[np.bool_], NDArray[np.bool_]]:
    """Middle of the jet on every line.

    Second, (n,), the frames in which something larger than a jet lies over the lines; last, (n, m), where a
    line repeats the frame before.
    """
    n = len(course)
    on_lines = [lines.place_on(index, course) for index in range(len(strips))]
    # From one flank the window reaches the other.
    half = max(3, round(1.1 * width), round(hollow_of(strips, grounds, on_lines, width) + 0.5 * width))
    places = np.full((n, len(strips)), np.nan)
    masses = np.zeros((n, len(strips)))
    crowded = np.zeros((n, len(strips)), dtype=bool)
    alive = np.zeros((n, len(strips)))
    stale = np.zeros((n, len(strips)), dtype=bool)
    beyond = np.arange(max(round(1.4 * width), half) + 1, round(3.0 * width) + 2)
    around = np.concatenate([-beyond[::-1], beyond])
    for index, (strip, ground) in enumerate(zip(strips, grounds, strict=True)):
        length = strip.levels.shape[1]
        for first in range(0, n, _CHUNK):
            chunk = slice(first, first + _CHUNK)
            activity = ground.activity(strip.levels[chunk], chunk)
            raised = lift[chunk]
            at = lines.place_on(index, course[chunk], raised)
            rows = np.arange(len(at))[:, None]
            at, mass = centred(activity, at, half)
            inside = (at > half / 2) & (at < length - 1 - half / 2)
            places[chunk, index] = lines.landing_of(index, at, raised)
            # A jet stands alone; where its surroundings are as lively, something larger lies over the line.
            beside = np.rint(at).astype(int)[:, None] + around
            lively = activity[rows, np.clip(beside, 0, length - 1)]
            left_side, right_side = lively[:, : len(around) // 2], lively[:, len(around) // 2 :]
            alive[chunk, index] = activity.sum(axis=1) / width
            crowded[chunk, index] = np.maximum(left_side.mean(axis=1), right_side.mean(axis=1)) > 0.6
            stale[chunk, index] = (mass > 0.25 * width) & repeated_rows(strip.levels, first, at, half)
            masses[chunk, index] = np.where(inside & ~stale[chunk, index], mass / width, 0.0)
    weights = np.where(crowded, 0.0, np.minimum(masses, 1.0))
    # More of the lines departs from the background than a jet and its drops account for: a jet is one of its
    # widths, and a wild splash two or three. What covers the lines may do so in most of the frames.
    whole = row_medians(alive)
    crowd = whole > 2.0 * quantile(whole, 0.2) + 2.0
    # Where the camera was displaced, edges of the background stir as well.
    crowd &= (lift == 0.0) | (whole > 2.5 * median(whole) + 2.0)
    covered = crowd | (crowded.mean(axis=1) > 0.4)
    drawn = half / np.sqrt(3.0) * strange_share(masses, weights > SEEN)
    return OnLines(places, weights, drawn, width), covered, stale


def _led_by_flanks(
    strips: Sequence[Strip],
    lines: JetLines,
    grounds: Sequence[Background],
    landing: FloatArray,
    width: float,
    lift: FloatArray,
    disagreement_px: float,
    left_out_px: float,
) -> tuple[FloatArray, float]:
    """The landing, (n,), brought to the middle between the jet's flanks, and what all frames share in, px.

    `disagreement_px` is how far the lines lead apart; `left_out_px` how far the jet moves from frame to
    frame, as far as coding leaves that out.
    """
    at = [lines.place_on(index, landing, lift) for index in range(len(strips))]
    beyond = middles_of(strips, grounds, at, width) * [lines.carried(i, 1.0) for i in range(len(strips))]
    shift, anchored_u, levels_differ = at_the_landing(beyond, np.asarray(lines.above), width)
    if not np.isfinite(shift):
        # Where the jet swells and breaks up, what hides the parabola does so alike in all frames.
        return landing, float(np.hypot(_UNANCHORED_SHARE * width, _COMMON_SHARE * disagreement_px))
    most = _FLANKS_MOST * width + _LAGS_MOST * left_out_px
    parts = (_CENTRE_SHARE * width, _ALIKE * anchored_u, _LEVELS_DIFFER * levels_differ, _TOLD_APART * shift)
    return landing + np.clip(shift, -most, most), float(np.sqrt(np.sum(np.square(parts))))
