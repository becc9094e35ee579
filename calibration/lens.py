"""Radial lens distortion, taken out of a pixel position and put back in."""

from __future__ import annotations

import math

import numpy as np

from calibration.pixels import FloatArray
from calibration.setup import Lens

_STEPS = 12


def optical_centre(lens: Lens | None, frame_size: tuple[int, int]) -> FloatArray:
    """Principal point of the frame.

    Parameters
    ----------
    lens : Lens or None
    frame_size : tuple of int
        Width and height, px.

    Returns
    -------
    ndarray, shape (2,)
        The lens's stated centre, else the centre of the image, px.
    """
    if lens is not None and lens.centre is not None:
        return np.asarray(lens.centre, dtype=np.float64)
    return (np.asarray(frame_size, dtype=np.float64) - 1.0) / 2.0


def straighten(pixels: FloatArray, lens: Lens | None, centre: FloatArray) -> FloatArray:
    """Where the positions would be seen through a lens without distortion.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
        Positions in the frame as displayed, px.
    lens : Lens or None
        None leaves the positions as they are.
    centre : ndarray, shape (2,)
        Principal point, px.

    Returns
    -------
    ndarray, shape (n, 2)
        Straightened positions, px; NaN where the lens model has no ray for the position (beyond its fold).

    Notes
    -----
    The model is the radial part of D. C. Brown, "Decentering distortion of lenses", Photogrammetric
    Engineering 32 (1966); r_d = r (1 + k1 r^2 + k2 r^4) is solved for r by Newton's method from r = r_d.
    """
    positions = np.asarray(pixels, dtype=np.float64)
    if lens is None or (lens.k1 == 0.0 and lens.k2 == 0.0):
        return positions
    offset = (positions - centre) / lens.focal_px
    seen = np.hypot(offset[..., 0], offset[..., 1])
    r = seen.copy()
    with np.errstate(
        all="ignore"
    ):  # a position beyond the fold may run off; it is told by its residual below
        for _ in range(_STEPS):
            r2 = r * r
            slope = 1.0 + r2 * (3.0 * lens.k1 + 5.0 * lens.k2 * r2)
            step = (r * (1.0 + r2 * (lens.k1 + lens.k2 * r2)) - seen) / slope
            r = r - step
            if np.all(np.abs(step) <= 1e-13):
                break
        r2 = r * r
        factor = 1.0 + r2 * (lens.k1 + lens.k2 * r2)
        # Past the fold the picture runs back, and may run out again: such a ray is none of this lens.
        found = (np.abs(r * factor - seen) < 1e-9) & (r >= 0.0) & (r < _fold(lens))
        ratio = np.where(found, 1.0 / factor, np.nan)
    return np.asarray(centre + offset * lens.focal_px * ratio[..., None], dtype=np.float64)


def _fold(lens: Lens) -> float:
    """Give the least r at which r_d stops growing, 1 + 3 k1 r² + 5 k2 r⁴ = 0, or infinity."""
    if lens.k2 == 0.0:
        return math.sqrt(-1.0 / (3.0 * lens.k1)) if lens.k1 < 0.0 else math.inf
    below = 9.0 * lens.k1**2 - 20.0 * lens.k2
    if below < 0.0:
        return math.inf
    # Of the two roots in r², by the form of the quadratic that does not cancel.
    half = -0.5 * (3.0 * lens.k1 + math.copysign(math.sqrt(below), lens.k1))
    roots = [half / (5.0 * lens.k2), 1.0 / half if half else math.inf]
    return math.sqrt(min((each for each in roots if each > 0.0), default=math.inf))


def distort(pixels: FloatArray, lens: Lens | None, centre: FloatArray) -> FloatArray:
    """Where straightened positions are seen in the frame as displayed: the inverse of `straighten`.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
        Straightened positions, px.
    lens : Lens or None
    centre : ndarray, shape (2,)
        Principal point, px.

    Returns
    -------
    ndarray, shape (n, 2)
        Positions in the frame as displayed, px.
    """
    positions = np.asarray(pixels, dtype=np.float64)
    if lens is None:
        return positions
    offset = (positions - centre) / lens.focal_px
    r2 = np.sum(offset * offset, axis=-1)
    factor = 1.0 + r2 * (lens.k1 + lens.k2 * r2)
    return np.asarray(centre + offset * lens.focal_px * factor[..., None], dtype=np.float64)
