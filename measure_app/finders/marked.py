"""Places that a person marked: they steer the finding, and what is found must agree with them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.path import stretches_of
from measure_app.finders.track import Part, Why
from measure_app.words import marked, said

_HAND_PX, _AT_MOST_PX = 1.0, 3.0
"""A steady hand hits an edge to about so much, and one that is less sure a splashing landing (common
practice, no source)."""
_AGREED = 3.0
"""So many of its standard uncertainties off, or nearer, a mark by hand agrees."""
_NAMED = 3
"""So many frames are named in a remark."""


@dataclass(frozen=True, slots=True, eq=False)
class Hints:
    """Places that a person marked; they steer the finding."""

    rows: NDArray[np.int64]
    along_px: FloatArray
    u_px: FloatArray | None = None
    """Standard uncertainty of each, px; None: a steady hand's."""

    @property
    def hand_px(self) -> FloatArray:
        """How far each usually lies from where it should, px; no hand is better than a steady one."""
        u = np.zeros(len(self.rows)) if self.u_px is None else self.u_px
        return np.clip(u, _HAND_PX, _AT_MOST_PX)

    def after(self, row: int) -> Hints:
        """The same, with rows counted from another one on."""
        return replace(self, rows=self.rows - row) if row else self


def _about(place: FloatArray, own_u: FloatArray, found: NDArray[np.bool_], row: int) -> tuple[float, float]:
    """Where a row's place lies and its uncertainty, px; of one that was not found by those around, or NaN."""
    if found[row]:
        return float(place[row]), float(own_u[row])
    first = max(row - _AROUND, 0)
    near = first + np.flatnonzero(found[first : row + _AROUND + 1])
    if len(near) < _FEWEST_AROUND:
        return float("nan"), float("nan")
    lever = np.column_stack([np.ones(len(near)), near - row])
    weights = np.linalg.pinv(lever) @ place[near]
    scatter = float(np.std(place[near] - lever @ weights))
    # Beyond the last of them the path may bend.
    beyond = max(int(near[0]) - row, row - int(near[-1]), 0)
    own = np.hypot(scatter, np.median(own_u[near]))
    return float(weights[0]), float(np.hypot(own, 0.1 * weights[1] * beyond))


_AROUND, _FEWEST_AROUND = 10, 5
"""Frames on either side that tell of one that was not found, and how many of them that takes."""


def beside_marks(place: FloatArray, why: tuple[Why | None, ...], marks: Hints | None) -> float:
    """How far what was found lies beside the marks, rms px, beyond what a hand errs by; 0 without marks."""
    if marks is None:
        return 0.0
    found = np.array([each is None for each in why])[marks.rows]
    if not found.any():
        return 0.0
    gap = place[marks.rows[found]] - marks.along_px[found]
    return float(np.sqrt(max(float(np.mean(gap**2 - marks.hand_px[found] ** 2)), 0.0)))


def agreed(
    part: Part,
    frames: NDArray[np.int64],
    place: FloatArray,
    own_u: FloatArray,
    why: tuple[Why | None, ...],
    marks: Hints | None,
) -> tuple[tuple[Why | None, ...], tuple[str, ...]]:
    """Refuse what lies elsewhere than the marks by hand, and say where.

    Parameters
    ----------
    part : what was found
    frames : (n,) frame indices
    place, own_u : (n,) px, as found
    why : (n,) refusals so far
    marks : in the same rows, along the same line

    Returns
    -------
    The refusals, and remarks. A frame whose mark disagrees is refused, and with it every frame that lies
    nearer to that mark than to one that agrees: there, too, the finding may have followed something else. A
    mark in a frame that was not found is held against the path around it.
    """
    if marks is None or not len(marks.rows):
        return why, ()
    order = np.argsort(marks.rows, kind="stable")
    rows, along, agreed_px = marks.rows[order], marks.along_px[order], _AGREED * marks.hand_px[order]
    found = np.array([each is None for each in why])
    seen = np.array([_about(place, own_u, found, row) for row in rows.tolist()])
    gap = np.abs(seen[:, 0] - along)
    off = gap > np.maximum(agreed_px, 5.0 * seen[:, 1])  # False where nothing was found about there
    if not off.any():
        return why, ()
    nearest = np.argmin(np.abs(np.arange(len(why))[:, None] - rows[None, :]), axis=1)
    doubtful = off[nearest]
    # A stretch with such a mark and none that agrees follows something else as a whole.
    for stretch in stretches_of(np.flatnonzero(found)):
        within = (rows >= stretch[0] - _AROUND) & (rows <= stretch[-1] + _AROUND) & np.isfinite(gap)
        doubtful[stretch] |= bool(within.any()) and bool(off[within].all())
    doubtful &= found
    refused = tuple(Why.MARKED if doubt else each for each, doubt in zip(why, doubtful.tolist(), strict=True))
    named = [
        said("{frame} ({far:.1f} px)", frame=int(frames[row]), far=float(px))
        for row, px in zip(rows[off][:_NAMED], gap[off], strict=False)
    ]
    listed = ", ".join(named)
    if off.sum() > _NAMED:
        listed = said("{listed} and {more} more", listed=listed, more=int(off.sum()) - _NAMED)
    template = marked(
        "the surface found lies elsewhere than your marks by hand in frame {listed}; the {refused} found "
        "readings around were refused. Look at these frames: the mark or the edge that was followed is "
        "wrong; "
        "more marks steer the finding"
    )
    if part is Part.LANDING:
        template = marked(
            "the landing found lies elsewhere than your marks by hand in frame {listed}; the {refused} found "
            "readings around were refused. Look at these frames: the mark or the edge that was followed is "
            "wrong; more marks steer the finding"
        )
    words = said(template, listed=listed, refused=int(doubtful.sum()))
    return refused, (words,)
