"""The thin line that the meniscus of clear water makes: whether a run shows one, and its lower edge.

Without dye, air and water look much alike, each showing the room behind. What is seen of the surface is the
meniscus: a line from the flat level up to where the water ends on the wall, dark before bright things and
bright before dark ones. Its lower edge is the flat level on the near wall; that is read all through.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.clip import Plane
from measure_app.finders.edge import EdgeFit, fit_edges
from measure_app.finders.path import smooth_course
from measure_app.words import said

LightArray = NDArray[np.float32]

THICKEST_PX = 8.0
"""A meniscus thicker than this is no thin line but a band with two edges."""
_WINDOW_PX = (8, 4)
"""How far above and below the lower edge a line's shape is compared."""
_CHUNK = 2000
"""Frames fitted at once; bounds memory."""
_TWO_SIDES = 0.8
"""A line's two edges are about equally steep; beside a step's edge nothing as steep turns back."""


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
        return 0.03 + 0.05 * self.blur_px + 0.06 * self.thick_px


def two_sided(steep: LightArray, course: FloatArray) -> bool:
    """Whether the light turns back within a few pixels of the course, as at a thin line but not at a step.

    Parameters
    ----------
    steep : (n, L) slope of the light along the strip
    course : (n,) px
    """
    reach = np.arange(-9, 10)
    index = np.clip(np.rint(course).astype(np.intp)[:, None] + reach, 0, steep.shape[1] - 1)
    near = np.take_along_axis(steep, index, axis=1)
    own = near[:, 7:12]
    peak = np.take_along_axis(own, np.argmax(np.abs(own), axis=1)[:, None], axis=1)
    back = np.max(-np.sign(peak) * near, axis=1) / np.maximum(np.abs(peak[:, 0]), 1e-6)
    return bool(np.median(back) > _TWO_SIDES)


def find_lines(
    levels: Plane, table: LightArray, course: FloatArray, sample: NDArray[np.intp], half: int
) -> tuple[EdgeFit, Line]:
    """Find the line's shape, the same in all frames, and its lower edge in every frame.

    Parameters
    ----------
    levels : (n, L) luma as coded, water towards larger positions
    table : light of every luma code
    course : (n,) px, the upper or the lower edge of the line
    sample : (m,) rows, a few dozen, from which the shape is learnt
    half : half width, in frames, of the window in which neighbours are asked
    """
    few = table[levels[sample]]
    trials = [Line(b, t) for b in (0.7, 1.2) for t in (1.9, 2.8, 4.2)]
    line = min(trials, key=lambda trial: _loss(few, (course[sample], course[sample] + trial.thick_px), trial))
    lower = fit_lines(levels, table, course, line, half).place
    smooth, _ = smooth_course(lower, np.ones(len(lower)), half)
    line = _shape(few, np.where(np.isfinite(smooth), smooth, lower)[sample])
    return fit_lines(levels, table, course, line, half), line


def _shape(light: LightArray, lower: FloatArray) -> Line:
    """Find blur and thickness of the least loss: a grid first, as the two look much alike, then downhill."""
    from scipy.optimize import minimize

    blurs, thicks = 0.45 * 1.15 ** np.arange(11), 1.0 * 1.14 ** np.arange(16)
    trials = [Line(float(b), float(t)) for b in blurs for t in thicks if t >= 1.1 * b]
    rough = min(trials, key=lambda trial: _loss(light[::2], (lower[::2],), trial))
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
    fits = [
        fit_edges(light, start, line.blur_px, 4, thick_px=line.thick_px, window=_WINDOW_PX)
        for start in starts
    ]
    misfit = np.sort(better(*fits).misfit)
    return float(np.mean(misfit[: max(1, len(misfit) // 2)] ** 2))


def better(*fits: EdgeFit) -> EdgeFit:
    """Of several fits to the same frames, keep the one with the least misfit in each."""
    pick = np.argmin(np.stack([fit.misfit for fit in fits]), axis=0)[None]

    def kept(name: str) -> FloatArray:
        return np.asarray(np.take_along_axis(np.stack([getattr(f, name) for f in fits]), pick, axis=0)[0])

    return EdgeFit(kept("place"), kept("information"), kept("contrast"), kept("misfit"))


def fit_lines(levels: Plane, table: LightArray, course: FloatArray, line: Line, half: int) -> EdgeFit:
    """Fit the lower edge in every frame; the upper one, which looks alike, is left as the neighbours tell.

    Parameters
    ----------
    levels, table, course : as in `find_lines`
    half : half width, in frames, of the window in which the neighbours are asked
    """

    def fitted(start: FloatArray, passes: int) -> EdgeFit:
        parts = [
            fit_edges(
                table[levels[i : i + _CHUNK]],
                start[i : i + _CHUNK],
                line.blur_px,
                passes,
                thick_px=line.thick_px,
            )
            for i in range(0, len(levels), _CHUNK)
        ]
        return EdgeFit(
            *(np.concatenate([getattr(p, name) for p in parts]) for name in EdgeFit.__dataclass_fields__)
        )

    first = better(*(fitted(course + shift * line.thick_px, 4) for shift in (-1.0, 0.0, 1.0)))
    weights = first.information / np.maximum(first.misfit, 0.1) ** 2
    smooth, _ = smooth_course(first.place, np.minimum(weights, 50.0 * float(np.median(weights))), half)
    return fitted(np.where(np.isfinite(smooth), smooth, first.place), 5)
