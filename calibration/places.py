"""Where a thing that moves in the frame is: how far below the orifice, and how far out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens import straighten
from calibration.metres import Metres
from calibration.pixels import FloatArray
from calibration.plane import Plane, Slot
from calibration.reach import Reach, past, with_between
from calibration.setup import Setup
from calibration.words import marked, said

DEPTH = marked("depth of what falls")
"""Source of error: how far behind the jet's plane the thing is."""
DEPTH_UNCORRECTED = marked("depth of what falls, left uncorrected")
"""The same, for the part that no camera distance corrects."""
UNCORRECTED = "depth left uncorrected (no camera distance)"


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places (n,) of a thing, in the plane of the plumb."""

    down: Metres
    """m below the orifice's centre, along the plumb."""
    across: Metres
    """m outward from the throw zero, square to the plumb."""


def places_of(
    setup: Setup,
    plane: Plane,
    table: FloatArray,
    sources: tuple[str, ...],
    pixels: FloatArray,
    u_px: FloatArray,
    *,
    behind_m: float,
    behind_u_m: float,
    reach: tuple[Reach, ...],
    gaps: tuple[str, str],
) -> Places:
    """Measure places at one depth.

    Parameters
    ----------
    setup, plane, table, sources
        The calibration's.
    pixels : ndarray, shape (n, 2)
        Positions, px in the frame as displayed.
    u_px : ndarray, shape (n,)
        Standard uncertainty of each coordinate, px.
    behind_m, behind_u_m : float
        How far the thing is behind the jet's plane, m.
    reach : tuple of Reach
        How far the rules for heads are trusted; between two rules nothing is carried further.
    gaps : (str, str)
        Why there are no heads, and no throws; "" where there are.

    Returns
    -------
    Places
        With two more sources than the calibration, one of them of no effect where a camera distance was
        given.
    """
    px = np.asarray(pixels, dtype=np.float64).reshape(-1, 2)
    u = np.asarray(u_px, dtype=np.float64)
    half = 0.5 * np.array([[0.0, 0.0], [1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    straight = straighten((px[None] + half[:, None]).reshape(-1, 2), setup.camera.lens, plane.centre)
    n = len(px)

    base = table[:1]
    steps = plane.places(base, straight, behind_m)[0].reshape(5, n, 2)
    own = u[:, None] * np.hypot(steps[1] - steps[2], steps[3] - steps[4])
    seen = straight[:n]
    values = plane.places(table, seen, behind_m)
    k = (len(table) - 1) // 2
    deeper, nearer = (plane.places(base, seen, behind_m + step)[0] for step in (behind_u_m, -behind_u_m))
    far = np.zeros((n, 2))
    if setup.camera.distance_m is None and behind_m and setup.rules and UNCORRECTED not in sources:
        carried = base.copy()
        carried[0, Slot.INVERSE_DISTANCE] = 1.0 / float(np.median(plane.rule_scales(base)[0]))
        far = plane.places(carried, seen, behind_m)[0] - values[0]
    names = (*sources, DEPTH, DEPTH_UNCORRECTED)
    down_reasons = _reasons(values[0, :, 0], seen, with_between(setup, plane, base, reach), gaps[0])
    across_reasons = _reasons(values[0, :, 1], seen, (), gaps[1])

    def metres(j: int, reasons: tuple[str, ...]) -> Metres:
        moved = (values[1 : k + 1, :, j] - values[k + 1 :, :, j]) / 2.0
        shared = np.concatenate([moved, (deeper - nearer)[None, :, j] / 2.0, far[None, :, j]]).T
        value, refused = values[0, :, j].copy(), np.array([bool(words) for words in reasons], dtype=bool)
        scatter, shared = own[:, j].copy(), np.ascontiguousarray(shared)
        value[refused], scatter[refused], shared[refused] = np.nan, np.nan, 0.0
        return Metres(value, scatter, shared, names, reasons if np.any(refused) else ())

    return Places(metres(0, down_reasons), metres(1, across_reasons))


def _reasons(values: FloatArray, straight: FloatArray, reach: tuple[Reach, ...], gap: str) -> tuple[str, ...]:
    """Why each value must not be used, "" where it may."""
    reasons = []
    for value, ray in zip(values.tolist(), straight, strict=True):
        if gap:
            reasons.append(gap)
        elif not (np.isfinite(value) and np.all(np.isfinite(ray))):
            reasons.append(said("the position lies outside what the lens model can show"))
        else:
            reasons.append(past(reach, -value) if reach else "")
    return tuple(reasons)
