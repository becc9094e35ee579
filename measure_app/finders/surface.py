"""The water surface on the gauge line: one falling edge in the head strip."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.course import Course, beside_still, coarse_course
from measure_app.finders.edge import EdgeFit, blur_of, fit_edges
from measure_app.finders.judging import judge, less_sure_beside
from measure_app.finders.known_sides import with_known_sides
from measure_app.finders.lid import lid_of, without_lid
from measure_app.finders.marked import Hints, agreed, beside_marks
from measure_app.finders.medians import median
from measure_app.finders.meniscus import (
    Band,
    Line,
    band_along,
    beside_itself,
    find_lines,
    hides_behind,
    left_over,
    line_at_times,
    parted_from_half,
    untold,
)
from measure_app.finders.mixing import unmixed
from measure_app.finders.path import clock_of, half_window
from measure_app.finders.planes import Seen, joined
from measure_app.finders.sight import LightArray, Sight, colour_of, gradient, light_of
from measure_app.finders.steadiness import Drift, along_line, with_shared_drift
from measure_app.finders.track import (
    Part,
    Track,
    Why,
    nothing_found,
    unless_it_parts,
    unless_it_stands,
    unless_mostly_hidden,
)
from measure_app.strips import Strip, spread_rows, steadied

_CHUNK = 2000
"""Frames refined at once; bounds memory."""
_OF_CORRECTION = 0.75
"""How much of what is told of the camera's correction errs along the gauge line, by measurement on films of
knocked and sinking cameras; across it, along the landing line, it is all of it."""


def find_surface(
    strip: Strip,
    *,
    falls_forward: bool = True,
    hints: Hints | None = None,
    drift: Drift | None = None,
    seconds: FloatArray | None = None,
) -> Track:
    """Find the water surface in every frame of a head strip.

    Of dyed water the upper edge is read, where the colour begins; of clear water the lower edge of the thin
    line that its meniscus makes on the near wall. The track's remarks say so.

    Parameters
    ----------
    strip : the pixels of the gauge line through time
    falls_forward : True if the water lies towards the end of the line, False if towards its start
    hints : places marked by hand, which the path must pass
    drift : how the camera moved; None: not at all
    seconds : (n,) s, when each frame was taken; None: evenly spaced

    Returns
    -------
    A place, in the reference frame, or a reason for every frame.

    Notes
    -----
    1. Edges that stand still are removed with the median over time; the strongest path through the rest,
       which may only fall, is found for the whole run at once, in light and, where a dye shows in it, colour.
    2. The profile across the edge is fitted by least squares in every frame, in either.
    3. Frames whose edge is faint, covered or off the smooth course of its neighbours are refused, and those
       in which light and colour part. What light hardly shows is read in colour.
    """
    if drift is not None and drift.moved:
        strip = steadied(strip, along_line(strip, drift))
    length = strip.levels.shape[1]
    frames = strip.frames
    if length < 16 or len(frames) < 3:
        return nothing_found(Part.SURFACE, frames, Why.MOTIONLESS)
    light = light_of(strip, falls_forward=falls_forward)
    colour = colour_of(strip, falls_forward=falls_forward)
    marks = hints
    if hints is not None and not falls_forward:
        marks = replace(hints, along_px=(length - 1) - hints.along_px)
    clock = clock_of(seconds, len(frames))
    damaged = np.zeros(len(frames), dtype=bool)
    damaged[[row for row, _ in strip.unseen]] = True
    course = coarse_course(light, colour, damaged, marks)
    if course is None:
        return nothing_found(Part.SURFACE, frames, Why.MOTIONLESS)
    if colour is None or not course.coloured:
        got = bright = _read(light, course, damaged, marks, clock)
    else:
        tinted = _read(colour, course, damaged, marks, clock, of_colour=True)
        tinted = unmixed(tinted, strip, falls_forward=falls_forward, of_colour=True)
        bright = _read(light, course, damaged, marks, clock, dyed=_shows_dye(tinted))
        bright = unmixed(bright, strip, falls_forward=falls_forward, of_colour=False)
        got = joined(bright, tinted, clock, strip.colour_u_px)
    told = (each for each in bright.remarks if bright.either_u and each not in got.remarks)
    got = replace(got, shared_u=float(np.hypot(got.shared_u, bright.either_u)), remarks=(*got.remarks, *told))
    why, remarks = agreed(Part.SURFACE, frames, got.place, got.own_u, got.why, marks)
    got = replace(got, shared_u=float(np.hypot(got.shared_u, beside_marks(got.place, why, marks))))
    along, middle = strip.line.segment.direction, strip.line.segment.at(np.array([0.5 * (length - 1)]))[0]
    own_u, shared_u, why = with_shared_drift(
        got.own_u, got.shared_u, why, drift, along, middle, _OF_CORRECTION
    )
    places = got.place if falls_forward else (length - 1) - got.place
    if drift is not None and drift.moved:
        # Where on the line the surface is, a turning camera moved it by a little more or less.
        places = places + along_line(strip, drift) - drift.along(along, strip.line.segment.at(places).T)
    if hints is None:
        why = unless_it_parts(got.place, unless_it_stands(got.place, unless_mostly_hidden(why)), clock)
    refused = np.array([w is not None for w in why])
    own_u = own_u * less_sure_beside(refused)
    return Track(
        Part.SURFACE,
        frames,
        np.where(refused, np.nan, places),
        np.where(refused, np.nan, own_u),
        shared_u,
        why,
        (*remarks, *got.remarks),
    )


_DYED = 12.0
"""Change of colour, in codes of 8 bits, from which the water is dyed."""
_ALIKE = 0.25
"""By how much of itself a dye's change of colour varies; that of what clear water shows varies more."""
_SEEN_PX = 1.5
"""How far from where a steady hand marks it an edge lies (common practice, no source)."""
_STANDS_OUT, _STANDS_OUT_DYED = 0.35, 1.5
"""How far a line must be darker or brighter than either side, against their difference, to be clear water's;
of water that shows a dye, for its colour to be that of something seen through it."""


def _shows_dye(tinted: Seen) -> bool:
    """Whether colour changes at the surface by about the same all through the run."""
    change = tinted.contrast
    usual = median(change)
    return bool(abs(usual) > _DYED and 1.4826 * median(np.abs(change - usual)) < _ALIKE * abs(usual))


_KEPT, _KEPT_OF_LINE = 0.33, 0.5
"""What makes neighbours scatter (coding, what shows behind) is not all new in every frame: how much of it, by
measurement on films of all kinds, stays in the mean of a run."""
_STAYS = 0.25
"""Light, of 255, or colour, by which one side of an edge differs all through from what is fitted (rounding,
shade, what coding leaves): over the edge's slope, how far it moves the place; by measurement as well."""


def _read(
    sight: Sight,
    course: Course,
    damaged: NDArray[np.bool_],
    marks: Hints | None,
    clock: FloatArray,
    *,
    of_colour: bool = False,
    dyed: bool = False,
) -> Seen:
    """Read the edge in every frame of one sight: a step, or in light the thin line of clear water."""
    stands_out = _STANDS_OUT_DYED if dyed else _STANDS_OUT
    refined = _refine(
        sight, course.places, None if of_colour else stands_out, clock, coloured=course.coloured
    )
    fit, blur_px, line = refined.fit, refined.blur_px, refined.line
    lid_u, whole = 0.0, sight
    if line is None:
        sight, fit, lid_u = _beside_lid(sight, fit, blur_px)
    # Who marks an edge says which of the two it is, and so does a dye that shows in colour.
    either = refined.either if marks is None and not dyed else None
    still = course.still_colour if of_colour else course.still
    masked = beside_still(still, fit.place, np.abs(fit.contrast) / (blur_px * np.sqrt(2 * np.pi)))
    strange = beside_itself(fit, course.places, line) if line is not None else None
    if line is None:
        fit = with_known_sides(sight, fit, ~(damaged | masked), blur_px)
    # Where a person saw it about there, it need not follow its neighbours.
    seen = None
    if marks is not None:
        seen = marks.rows[np.abs(fit.place[marks.rows] - marks.along_px) <= _SEEN_PX]
    own_u, wander_u, why = judge(sight, fit, blur_px, damaged, seen, masked, clock, strange=strange)
    # How far another sensible reading of the same blurred profile would lie: the convention's own error.
    convention_u = _BLURRED * blur_px
    if line is not None:
        convention_u = line.shared_u_px
    elif not of_colour:
        convention_u = float(np.hypot(convention_u, rising_u(blur_px, median(np.abs(fit.contrast)))))
    held = np.array([each is None for each in why])
    if line is not None:
        doubtful = held & untold(sight.codes, sight.table, fit, line, held)
        why = tuple(Why.FAINT if doubt else each for each, doubt in zip(why, doubtful.tolist(), strict=True))
        held &= ~doubtful
        rows = spread_rows(len(held), _SEEN_THROUGH)
        some = EdgeFit(*(getattr(fit, name)[rows] for name in EdgeFit.__dataclass_fields__))
        parted = parted_from_half(sight.rows(rows), some, held[rows])
        convention_u = float(np.sqrt(convention_u**2 + parted**2 + (_LEFT_OVER_PX * left_over(some)) ** 2))
    either_u = 0.0 if either is None else 0.5 * either.thick_px
    if line is None and either is None and marks is None and not of_colour and held.any():
        rows = np.flatnonzero(held)[spread_rows(int(held.sum()), _SEEN_THROUGH)]
        either_u = 0.5 * line_at_times(whole.rows(rows), fit.place[rows], _STANDS_OUT)
    kept_u = (_KEPT if line is None else _KEPT_OF_LINE) * median(own_u[held]) if held.any() else 0.0
    slope = median(np.abs(fit.contrast[held])) / (np.sqrt(2.0 * np.pi) * blur_px) if held.any() else np.inf
    stays_u = _STAYS / slope if line is None else 0.0
    shared_u = float(np.sqrt(convention_u**2 + wander_u**2 + kept_u**2 + stays_u**2 + lid_u**2))
    told = line if line is not None else either
    remarks = () if told is None else (told.words,)
    return Seen(
        fit.place, own_u, shared_u, why, fit.contrast, blur_px, remarks, line is not None, either_u=either_u
    )


def rising_u(blur_px: float, step: float) -> float:
    """How far another sensible reading of a step of light lies, px: half way up, or where it begins.

    A step that is small and rises over many pixels is not blurred so by the lens alone: the water shades from
    its edge on, and where that begins is hardly seen. By measurement on films of all kinds.

    Parameters
    ----------
    blur_px : standard deviation of the blur with which it was fitted
    step : of light, of 255
    """
    slow, shaded = max(blur_px - _SHARP_PX, 0.0), max(blur_px - _LENS_PX, 0.0)
    usual = (0.4 * slow + 0.25 * slow**2) / (1.0 + (step / _SMALL_STEP) ** 2)
    return usual + 3.0 * shaded / (1.0 + (step / _FAINT_STEP) ** 2)


_BLURRED = 0.044
"""Part of the blur by which sensible readings of the same blurred profile differ."""
_SHARP_PX, _SMALL_STEP = 1.0, 25.0
"""Blur that a lens makes, and steps of light, of 255, that shading can make up."""
_LENS_PX, _FAINT_STEP = 1.4, 12.0
"""Blur beyond all that films of all kinds show; a faint step that rises more slowly is the shade alone, which
begins where the water does and of which the middle is read."""


def _beside_lid(sight: Sight, fit: EdgeFit, blur_px: float) -> tuple[Sight, EdgeFit, float]:
    """Take away what the water's free surface, seen from above, shows beside the edge, and fit again.

    Gives what is left to be seen, the edge in it, and how unsure that makes all places, px.
    """
    lid = lid_of(sight, fit, blur_px)
    if lid is None:
        return sight, fit, 0.0
    step, bare, before = median(fit.contrast), sight, fit.place
    # What is taken away ends at the edge, and draws it there by the band's share of the step.
    for _ in range(_LID_PASSES):
        bare = without_lid(sight, fit.place, lid, step, blur_px)
        fit = _fit_all(bare, fit.place, blur_px)
    moved = fit.place - before
    return bare, fit, _LID_UNSURE * float(np.sqrt(np.mean(np.minimum(moved**2, blur_px**2))))


_LID_PASSES = 3
_LID_UNSURE = 0.3
"""How much of what the band moves the edge is unsure: how it fades where it is narrow is not seen."""


def _fit_all(sight: Sight, start: FloatArray, blur_px: float) -> EdgeFit:
    """Fit a step in every frame, from about where it is."""
    parts = []
    for first in range(0, len(start), _CHUNK):
        light = sight.rows(slice(first, first + _CHUNK))
        parts.append(fit_edges(light, _steepest(light, start[first : first + _CHUNK]), blur_px))
    joined = (np.concatenate([getattr(p, name) for p in parts]) for name in EdgeFit.__dataclass_fields__)
    return EdgeFit(*joined)


@dataclass(frozen=True, slots=True, eq=False)
class _Refined:
    """The edge in every frame, and what it was fitted as."""

    fit: EdgeFit
    blur_px: float
    line: Line | None = None
    either: Band | None = None
    """A band beside a step that may be clear water's line as well."""


def _refine(
    sight: Sight, course: FloatArray, stands_out: float | None, clock: FloatArray, *, coloured: bool
) -> _Refined:
    """Fit the profile in every frame: a step, or a line if the run shows one that stands out so far."""
    n = len(sight.codes)
    sample = spread_rows(n, 40)
    light = sight.rows(sample)
    start, either = _steepest(light, course[sample]), None
    if stands_out is not None:
        band, several = band_along(light, start), spread_rows(n, _SEEN_THROUGH)
        is_line, is_either = band.is_line(stands_out), band.is_either(stands_out)
        # Asked only where it matters, as few films have such a band.
        clear = (is_line or is_either) and not hides_behind(sight.rows(several), course[several])
        either = band if clear and is_either else None
        if clear and is_line:
            lines, line = find_lines(sight.codes, sight.table, course, sample, half_window(n), clock)
            left = left_over(lines)
            if line.plausible and left < (_NO_LINE_OF_DYED if coloured else _NO_LINE):
                return _Refined(lines, line.blur_px, line)
            # What looks like a line in all but what it leaves over may be one all the same.
            either = band if line.plausible else None
    blur_px = _rough_blur(light, start)
    # Colour's blur is mostly that of its own wide pixels, and need not be known well.
    if stands_out is not None:
        blur_px = blur_of(light[::2], start[::2], blur_px)
    return _Refined(_fit_all(sight, course, blur_px), blur_px, None, either)


_NO_LINE, _NO_LINE_OF_DYED, _LEFT_OVER_PX = 0.2, 0.08, 10.0
"""What lines leave of the profiles, over their contrast, from which they are none; the same where colour
shows the surface; and how far such a part moves the place of another sensible reading, px, by measurement on
films of all kinds."""
_SEEN_THROUGH = 160
"""Frames that tell what air and water show of what is behind."""


def _steepest(light: LightArray, course: FloatArray) -> FloatArray:
    """Move each guess to the steepest place within two pixels, to a fraction of one."""
    steep = np.abs(gradient(light, 1.0))
    length = light.shape[1]
    reach = np.arange(-2, 3)
    index = np.clip(np.rint(course).astype(np.intp)[:, None] + reach, 1, length - 2)
    values = np.take_along_axis(steep, index, axis=1)
    best = index[np.arange(len(course)), np.argmax(values, axis=1)]
    row = np.arange(len(course))
    left, mid, right = steep[row, best - 1], steep[row, best], steep[row, best + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.asarray(best + np.clip(shift, -0.5, 0.5), dtype=np.float64)


def _rough_blur(light: LightArray, start: FloatArray) -> float:
    """Blur from the height of the steepest slope against the step, px."""
    steep = np.abs(gradient(light, 0.7))
    reach = np.arange(-4, 5)
    index = np.clip(np.rint(start).astype(np.intp)[:, None] + reach, 0, light.shape[1] - 1)
    values = np.take_along_axis(light, index, axis=1)
    span = median(values.max(axis=1) - values.min(axis=1))
    top = median(np.take_along_axis(steep, index, axis=1).max(axis=1))
    seen = span / max(float(top) * np.sqrt(2 * np.pi), 1e-6)
    return float(np.clip(np.sqrt(max(seen**2 - 0.49, 0.25)), 0.5, 6.0))
