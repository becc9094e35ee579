"""Places that a person marked: they steer the finding, and what is found must agree with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.track import Part, Why
from measure_app.words import marked, said

_AGREED_PX = 3.0
"""A hand mark nearer than this agrees: a steady hand hits an edge to about a pixel (common practice, no
source)."""
_NAMED = 3
"""So many frames are named in a remark."""


@dataclass(frozen=True, slots=True, eq=False)
class Hints:
    """Places that a person marked; they steer the finding."""

    rows: NDArray[np.int64]
    along_px: FloatArray

    def after(self, row: int) -> Hints:
        """The same, with rows counted from another one on."""
        return Hints(self.rows - row, self.along_px) if row else self


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
    nearer to that mark than to one that agrees: there, too, the finding may have followed something else.
    """
    if marks is None or not len(marks.rows):
        return why, ()
    order = np.argsort(marks.rows, kind="stable")
    rows, along = marks.rows[order], marks.along_px[order]
    found = np.array([each is None for each in why])
    gap = np.abs(place[rows] - along)
    off = found[rows] & (gap > np.maximum(_AGREED_PX, 5.0 * own_u[rows]))
    if not off.any():
        return why, ()
    nearest = np.argmin(np.abs(np.arange(len(why))[:, None] - rows[None, :]), axis=1)
    doubtful = off[nearest] & found
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
