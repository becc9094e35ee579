"""The thin line that the meniscus of clear water makes: whether a run shows one, and its lower edge.

Without dye, air and water look much alike, each showing the room behind. What is seen of the surface is the
meniscus: a line from the flat level up to where the water ends on the wall, dark before bright things and
bright before dark ones. Its lower edge is the flat level on the near wall; that is read all through.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.edge import EdgeFit, fit_edges
from measure_app.finders.medians import median, row_medians
from measure_app.finders.path import smooth_in_time, stretches_of
from measure_app.finders.sight import LightArray, gradient
from measure_app.words import said

THICKEST_PX = 8.0
"""A meniscus thicker than this is no thin line but a band with two edges."""
_WINDOW_PX = (8, 4)
"""How far above and below the lower edge a line's shape is compared."""
_CHUNK = 2000
"""Frames fitted at once; bounds memory."""
_AT_ONCE = 48
"""Lines fitted at once while their shape is looked for; bounds memory."""
_TWO_SIDES = 0.5
"""A line's two edges are about equally steep; beside a step's edge nothing half as steep turns back."""
_THIN_PX = 5.0
"""Edges farther apart, of which one is hardly steep, are not taken for those of one band."""
_HARDLY_TURNS = 0.2
"""What is less steep beside a step is no edge of a band."""
_NEAR = 4
"""Frames on either side of a change of light that tell where the line was."""
_FAINT = 6.0
"""Light, of 255, by which a line must stand out to be told from what a film's coding makes."""
_AT_TIMES, _OFTEN = 0.08, 0.14
"""Share of a run in which a dyed water's meniscus, or a glint, looks like a line at most, and from which a
line is there; on films seen up to 0.09, and 0.11 or more."""
_CLEAR_OF_IT, _FEWEST, _ENOUGH = 8.0, 4, 20
"""Pixels from the line at which air and water are seen by themselves; frames and places that tell of them."""
_NOT_PLAIN, _SHOWN = 3.0, 0.25
"""Light, of 255, by which what is behind varies (standard deviation), and the part of that by which what
clear water shows varies at least: on films seen it was 0.7 to 1.0, of dyed water up to 0.1."""
_TRIED = (-1.0, 0.0, 1.0)
"""Where fits begin, in thicknesses from the course: either edge of the line can have been followed."""
_TELLING = 8.0
"""Pixels of a fitted window that tell something of their own."""
_OTHER = 4.0
"""How much less likely, as an exponent of e, a line is that is bright where it is mostly dark."""
_TOLD = 1.25
"""By what factor the opposite kind of line, a thickness away, must fit worse than one told from it."""
_JUMP_PX = 0.3
"""A step between neighbours, beyond the course's own, that makes a path less likely by a factor of e."""
_WORST = 24.0
"""What a jump costs at most, so that the path can cross frames in which something hides the line."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of even thickness, the same in all frames of a run."""

    blur_px: float
    thick_px: float

    @property
    def plausible(self) -> bool:
        """Whether a meniscus can look so: a line finer than the search's end, coarser than nothing."""
        return bool(self.thick_px < min(0.9 * THICKEST_PX, 5.0 * self.blur_px))

    @property
    def words(self) -> str:
        """What was read, as a remark."""
        return said(
            "the water looks clear: read is the lower edge of the thin line that its meniscus "
            "makes on the near wall (about {thick:.1f} px thick), which is the flat level; "
            "let the gauge line's height above the level be 0",
            thick=self.thick_px,
        )

    @property
    def shared_u_px(self) -> float:
        """Standard uncertainty that all frames share: where in the blurred foot of the line the level lies.

        The curved foot fades into the water over a part of the thickness, which the eye and the fit see
        alike.
        """
        return 0.02 + 0.03 * self.blur_px + 0.05 * self.thick_px


@dataclass(frozen=True, slots=True)
class Band:
    """What lies along the surface, typically over some frames."""

    turns_back: float
    """Steepness of its other edge over that of the edge itself."""
    against_sides: float
    """By how much it is darker or brighter than air and water, over their difference."""
    light: float
    """The same, of 255."""
    thick_px: float
    """From one edge to the other."""

    def is_line(self, stands_out: float) -> bool:
        """Whether it is a thin line, rather than a step with a band beside it.

        A line's two edges are nearly as steep as one another, and it is darker or brighter than air and water
        on either side by no less than a part of their difference; a dyed water's meniscus is not both.
        """
        return self.turns_back > _TWO_SIDES and self._stands_out(stands_out)

    def is_either(self, stands_out: float) -> bool:
        """Whether it may be clear water's line as well as a dyed one's meniscus: something of both."""
        thin = self.thick_px <= _THIN_PX
        return thin and _HARDLY_TURNS < self.turns_back <= _TWO_SIDES and self._stands_out(stands_out)

    def _stands_out(self, stands_out: float) -> bool:
        return self.against_sides > stands_out and self.light > _FAINT

    @property
    def words(self) -> str:
        """That it is not told what it is, as a remark."""
        return said(
            "along the water's edge lies a band about {thick:.0f} px thick; whether it is the meniscus of "
            "clear or of dyed water is not told, so the heads' uncertainty spans it: a little dye in the "
            "water, or marks by hand, would settle it",
            thick=self.thick_px,
        )


def band_along(light: LightArray, course: FloatArray) -> Band:
    """Measure the band that lies along the surface.

    Parameters
    ----------
    light : (n, L) levels along the strip
    course : (n,) px
    """
    back, beyond, apart, thick = _bands(light, course)
    return Band(median(back), median(beyond / apart), median(beyond), median(thick))


def line_at_times(light: LightArray, course: FloatArray, stands_out: float) -> float:
    """How far the other edge of a line lies that shows in some frames only, px; nought where none does.

    Clear water's line may be as bright, or as dark, as the water below it in most of a run, and its upper
    edge is a step then as a dyed water's is. Before something else it stands out against both sides.

    Parameters
    ----------
    light : (n, L) levels along the strip
    course : (n,) px
    stands_out : as for a line that always shows
    """
    back, beyond, apart, thick = _bands(light, course)
    shows = (back > _TWO_SIDES) & (beyond > stands_out * apart) & (beyond > _FAINT) & (thick <= _THIN_PX)
    told = float(np.clip((shows.mean() - _AT_TIMES) / (_OFTEN - _AT_TIMES), 0.0, 1.0))
    return told * median(thick[shows]) if told > 0.0 else 0.0


def _bands(light: LightArray, course: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What lies along the surface in each frame, (n,) each.

    Steepness of its other edge over that of the edge itself, by how much it stands out against both sides,
    how far these differ (at least 1), and px from edge to edge.
    """
    steep = gradient(light, 1.0)
    near = _beside(steep, course, -9, 10)
    own = near[:, 7:12]
    edge = np.argmax(np.abs(own), axis=1)
    peak = np.take_along_axis(own, edge[:, None], axis=1)
    turned = -np.sign(peak) * near
    back = np.max(turned, axis=1) / np.maximum(np.abs(peak[:, 0]), 1e-6)
    above = row_medians(_beside(light, course, -12, -6))
    below = row_medians(_beside(light, course, 9, 15))
    line = _beside(light, course, -6, 7)
    beyond = np.maximum(
        line.max(axis=1) - np.maximum(above, below), np.minimum(above, below) - line.min(axis=1)
    )
    thick = np.abs(np.argmax(turned, axis=1) - (edge + 7)).astype(np.float64)
    return back, beyond, np.maximum(np.abs(above - below), 1.0), thick


def parted_from_half(light: LightArray, fit: EdgeFit, held: NDArray[np.bool_]) -> float:
    """How far a line's lower edge at half its height lies from the place that was fitted, px; the median.

    Thickness and blur of a thin line are hard to tell apart, and its foot fades: where the line is half as
    dark, or as bright, is another sensible reading of the same profile, and rests on neither.

    Parameters
    ----------
    light : (m, L) levels along the strip
    fit : of the same frames
    held : (m,) frames that hold
    """
    profile = np.sign(fit.contrast)[:, None] * -_beside(light, fit.place, -5, 8)
    first = np.rint(fit.place) - 5
    parted = []
    for row in np.flatnonzero(held):
        seen = profile[row]
        top = int(np.argmax(seen[:7]))
        foot = top
        while foot < len(seen) - 1 and seen[foot + 1] < seen[foot]:
            foot += 1
        if foot == top:
            continue
        half = 0.5 * (seen[top] + seen[foot])
        at = top + int(np.argmax(seen[top : foot + 1] < half))
        crossing = at - 1 + (seen[at - 1] - half) / (seen[at - 1] - seen[at])
        parted.append(first[row] + crossing - fit.place[row])
    return abs(median(np.array(parted))) if parted else 0.0


def hides_behind(light: LightArray, course: FloatArray) -> bool:
    """Whether water hides what air shows: then it is dyed, however thin its edge looks.

    Clear water shows something of the room, if not just what air shows there: it is a lens. Asked of places
    that are seen through either, and only where what is behind them is not plain.

    Parameters
    ----------
    light : (n, L) levels along the strip
    course : (n,) px
    """
    along = np.arange(light.shape[1])
    off = along[None, :] - course[:, None]
    air, water = (np.where(side, light, np.nan) for side in (off < -_CLEAR_OF_IT, off > _CLEAR_OF_IT))
    both = (np.isfinite(air).sum(axis=0) >= _FEWEST) & (np.isfinite(water).sum(axis=0) >= _FEWEST)
    if both.sum() < _ENOUGH:
        return False
    behind, through = (np.nanmedian(seen[:, both], axis=0) for seen in (air, water))
    # A lamp's falling off along the strip shows on dyed water too.
    trend = np.polynomial.chebyshev.chebvander(np.linspace(-1.0, 1.0, int(both.sum())), 1)
    behind, through = (
        seen - trend @ np.linalg.lstsq(trend, seen, rcond=None)[0] for seen in (behind, through)
    )
    shown, plain = float(np.std(behind)), float(np.std(through))
    return shown > _NOT_PLAIN and plain < _SHOWN * shown


def _beside(values: LightArray, course: FloatArray, first: int, stop: int) -> LightArray:
    index = np.clip(np.rint(course).astype(np.intp)[:, None] + np.arange(first, stop), 0, values.shape[1] - 1)
    return np.take_along_axis(values, index, axis=1)


def find_lines(
    levels: Plane,
    table: LightArray,
    course: FloatArray,
    sample: NDArray[np.intp],
    half: int,
    clock: FloatArray,
) -> tuple[EdgeFit, Line]:
    """Find the line's shape, the same in all frames, and its lower edge in every frame.

    Parameters
    ----------
    levels : (n, L) luma as coded, water towards larger positions
    table : light of every luma code
    course : (n,) px, the upper or the lower edge of the line
    sample : (m,) rows, a few dozen, from which the shape is learnt
    half : half width, in frames, of the window in which neighbours are asked
    clock : (n,) when each frame was taken, −1 to 1
    """
    few = table[levels[sample]]
    trials = [Line(b, t) for b in (0.7, 1.2) for t in (1.9, 2.8, 4.2)]
    line = min(trials, key=lambda trial: _loss(few, (course[sample], course[sample] + trial.thick_px), trial))
    lower = fit_lines(levels, table, course, line, half, clock).place
    smooth, _ = smooth_in_time(lower, np.ones(len(lower)), half, clock)
    lower = np.where(np.isfinite(smooth), smooth, lower)
    line = _shape(few, lower[sample])
    return fit_lines(levels, table, course, line, half, clock, lower=lower), line


def left_over(fit: EdgeFit) -> float:
    """What lines leave of the profiles, over how much the lines stand out: 0.005 to 0.03 of lines alone."""
    return median(fit.misfit) / max(median(np.abs(fit.contrast)), 1e-6)


def _shape(light: LightArray, lower: FloatArray) -> Line:
    """Find blur and thickness of the least loss: a grid first, as the two look much alike, then downhill."""
    from scipy.optimize import minimize

    blurs, thicks = 0.45 * 1.15 ** np.arange(11), 1.0 * 1.14 ** np.arange(16)
    trials = [Line(float(b), float(t)) for b in blurs for t in thicks if t >= 1.1 * b]
    rough = trials[int(np.argmin(_losses(light[::2], (lower[::2],), trials)))]
    first = np.log([rough.blur_px, rough.thick_px])

    def loss(x: NDArray[np.float64]) -> float:
        return _loss(light, (lower,), Line(*np.exp(x).tolist()))

    found = minimize(
        loss,
        first,
        method="Nelder-Mead",
        bounds=[(math.log(0.4), math.log(3.0)), (math.log(0.8), math.log(THICKEST_PX))],
        options={
            "initial_simplex": first + np.array([[0.0, 0.0], [0.07, -0.07], [0.0, 0.05]]),
            "xatol": 0.01,
            "fatol": 1e-5,
            "maxfev": 40,
        },
    )
    return Line(*np.exp(found.x).tolist())


def _loss(light: LightArray, starts: tuple[FloatArray, ...], line: Line) -> float:
    """Mean square of what a line leaves, over the better half of the frames.

    Frames in which something behind shows beside the line tell nothing of its shape. The window must not
    change with the trial, or small windows would always seem to fit best.
    """
    return float(_losses(light, starts, [line])[0])


def _losses(light: LightArray, starts: tuple[FloatArray, ...], trials: Sequence[Line]) -> FloatArray:
    """What `_loss` gives for each of many lines, (k,), all fitted at once."""
    m = len(light)
    losses = []
    for first in range(0, len(trials), _AT_ONCE):
        some = trials[first : first + _AT_ONCE]
        blur = np.repeat([each.blur_px for each in some], m)[:, None]
        thick = np.repeat([each.thick_px for each in some], m)[:, None]
        alike = np.tile(light, (len(some), 1))
        fits = [
            fit_edges(alike, np.tile(start, len(some)), blur, 4, thick_px=thick, window=_WINDOW_PX)
            for start in starts
        ]
        misfit = np.sort(better(*fits).misfit.reshape(len(some), m), axis=1)
        losses.append(np.mean(misfit[:, : max(1, m // 2)] ** 2, axis=1))
    return np.concatenate(losses)


def better(*fits: EdgeFit) -> EdgeFit:
    """Of several fits to the same frames, keep the one with the least misfit in each."""
    return _picked(fits, np.argmin(np.stack([fit.misfit for fit in fits]), axis=0))


def _picked(fits: Sequence[EdgeFit], pick: NDArray[np.intp]) -> EdgeFit:
    """Fit number `pick` (n,) of each frame."""

    def kept(name: str) -> FloatArray:
        return np.asarray(np.stack([getattr(f, name) for f in fits])[pick, np.arange(len(pick))])

    return EdgeFit(kept("place"), kept("information"), kept("contrast"), kept("misfit"))


def fit_lines(
    levels: Plane,
    table: LightArray,
    course: FloatArray,
    line: Line,
    half: int,
    clock: FloatArray,
    *,
    lower: FloatArray | None = None,
) -> EdgeFit:
    """Fit the lower edge in every frame; the upper one, which looks alike, is left as the neighbours tell.

    Parameters
    ----------
    levels, table, course, clock : as in `find_lines`
    half : half width, in frames, of the window in which the neighbours are asked
    lower : (n,) px, where the lower edge is, roughly; with it the line's shape is taken to be that of this
        run, not a first guess
    """
    tried = [_fitted(levels, table, course + shift * line.thick_px, line, 4) for shift in _TRIED]
    # As long as its shape is not known, fits to single frames fail too often for their path to help.
    if lower is None:
        first = better(*tried)
    else:
        # A shape somewhat too thin does not reach from one edge to the other.
        first = _continuous([*tried, _fitted(levels, table, lower, line, 4)], course)
    weights = first.information / np.maximum(first.misfit, 0.1) ** 2
    smooth, _ = smooth_in_time(first.place, np.minimum(weights, 50.0 * median(weights)), half, clock)
    start = np.where(np.isfinite(smooth), smooth, first.place)
    return _fitted(levels, table, start, line, 5)


def _fitted(levels: Plane, table: LightArray, start: FloatArray, line: Line, passes: int) -> EdgeFit:
    """Fit a line of known shape in every frame, some frames at a time."""
    parts = [
        fit_edges(
            table[levels[i : i + _CHUNK]], start[i : i + _CHUNK], line.blur_px, passes, thick_px=line.thick_px
        )
        for i in range(0, len(levels), _CHUNK)
    ]
    return EdgeFit(
        *(np.concatenate([getattr(p, name) for p in parts]) for name in EdgeFit.__dataclass_fields__)
    )


def _continuous(fits: list[EdgeFit], course: FloatArray) -> EdgeFit:
    """Of several fits to each frame, take those that fit well and join without jumps (Viterbi, 1967).

    The gap between the line and its reflection on the far wall, or between a line and the edge of something
    behind, can fit as well as the line itself for a while; but it begins and ends with a jump.
    """
    places = np.stack([fit.place for fit in fits], axis=1) - course[:, None]
    misfit = np.stack([fit.misfit for fit in fits], axis=1)
    usual = max(median(misfit.min(axis=1)), 0.2)
    # Where there is no line at all everything fits well.
    contrast = np.abs(np.stack([fit.contrast for fit in fits], axis=1))
    shown = contrast / max(median(contrast.max(axis=1)), 1e-6)
    # Likelihood of normal errors whose size is not known, of as many pixels as tell something of their own.
    cost = _TELLING * np.log(np.maximum(misfit, usual)) + _WORST * np.clip(1.0 - 2.0 * shown, 0.0, 1.0)
    # A line is mostly dark or mostly bright; what lies between it and something else is the other way round.
    signs = np.sign(np.stack([fit.contrast for fit in fits], axis=1))
    best = np.argmin(misfit, axis=1)[:, None]
    usual_sign = np.sign(np.sum(np.take_along_axis(signs * contrast, best, axis=1)))
    cost = cost + _OTHER * (signs != usual_sign)
    n, m = cost.shape
    total = cost[0]
    came = np.zeros((n, m), dtype=np.intp)
    for i in range(1, n):
        jump = np.minimum(np.abs(places[i][:, None] - places[i - 1][None, :]) / _JUMP_PX, _WORST)
        whole = total[None, :] + jump
        came[i] = np.argmin(whole, axis=1)
        total = whole[np.arange(m), came[i]] + cost[i]
    pick = np.zeros(n, dtype=np.intp)
    pick[-1] = int(np.argmin(total))
    for i in range(n - 1, 0, -1):
        pick[i - 1] = came[i, pick[i]]
    return _picked(fits, pick)


def beside_itself(fit: EdgeFit, course: FloatArray, line: Line) -> NDArray[np.bool_]:
    """Frames, (n,), in which what is fitted is bright where the line is dark, and began or ends with a jump.

    Where the line meets its reflection on the far wall, or an edge behind, the gap between the two is fitted
    for the line: a line's thickness off. A line that turns bright because what is behind it is dark does so
    in its place.
    """
    usual = np.sign(np.sum(fit.contrast))
    turned = np.sign(fit.contrast) != usual
    ends = np.flatnonzero(np.diff(turned.astype(np.int8), prepend=0, append=0))
    off = np.zeros(len(turned), dtype=bool)
    away = fit.place - course
    for first, stop in zip(ends[::2], ends[1::2], strict=True):
        before = median(away[max(0, first - _NEAR) : first]) if first else np.nan
        after = median(away[stop : stop + _NEAR]) if stop < len(turned) else np.nan
        jumps = [abs(away[first] - before), abs(away[stop - 1] - after)]
        off[first:stop] = bool(np.nanmax([0.0, *jumps]) > 0.5 * line.thick_px)
    return off


def untold(
    levels: Plane, table: LightArray, fit: EdgeFit, line: Line, held: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Frames, (n,), of stretches in which a dark line is not told from a bright one beside it.

    Between a bright line and its reflection, or the edge of something behind, the dark can be as thin as the
    line: which of the two is the line is told by how well either fits. Within a stretch the frames speak for
    one another; across a gap what was seen before says nothing: the line may have turned from dark to bright.

    Parameters
    ----------
    levels, table : as in `find_lines`
    fit : the line in every frame
    line : its shape
    held : (n,) frames that hold so far
    """
    out = np.zeros(len(held), dtype=bool)
    rows = np.flatnonzero(held)
    if not len(rows):
        return out
    place, sign = fit.place[rows], np.sign(fit.contrast[rows])
    misfit = np.maximum(fit.misfit[rows], _LEAST_MISFIT)
    worse = np.full(len(held), np.inf)
    for side in (-line.thick_px, line.thick_px):
        other = _fitted(levels[rows], table, place + side, line, 6)
        near = np.abs(np.abs(other.place - place) - line.thick_px) < 0.6 * line.thick_px
        rival = near & (np.sign(other.contrast) != sign)
        worse[rows] = np.minimum(worse[rows], np.where(rival, other.misfit / misfit, np.inf))
    for stretch in stretches_of(rows):
        out[stretch] = np.median(worse[stretch]) < _TOLD
    return out


_LEAST_MISFIT = 0.3
"""Levels below which a misfit is rounding."""
