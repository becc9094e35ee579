"""How the camera faces the jet's plane: from straightened pixels to a view that is parallel to the plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.pixels import FloatArray, Pixel


@dataclass(frozen=True, slots=True)
class Facing:
    """The point that the camera faces squarely, and how it is known."""

    px: Pixel
    """Foot of the perpendicular from the lens on the jet's plane, px in the frame as displayed."""
    u_px: tuple[float, float]
    """Standard uncertainty along x and y, px."""
    sideways_deg: float
    """Angle between the optical axis and the perpendicular, seen from above; + when the foot lies to the
    right."""
    up_down_deg: float
    """The same, seen from the side; + when the foot lies below the centre of the image."""
    u_deg: tuple[float, float]
    """Standard uncertainties of the two angles, degrees."""
    focal_px: float
    """Focal length used, px."""
    known_by: str
    """How it is known, in words."""


def rotation_to_plane(tangents: FloatArray) -> FloatArray:
    """Rotation that turns the perpendicular of the jet's plane into the optical axis, without a roll.

    Parameters
    ----------
    tangents : ndarray, shape (m, 2)
        Place of the foot of the perpendicular, from the principal point, over the focal length: the tangents
        of the two angles by which the camera fails to face the plane.

    Returns
    -------
    ndarray, shape (m, 3, 3)
        Rotations of a ray (x right, y down, z away from the camera).
    """
    a, b = tangents[..., 0], tangents[..., 1]
    norm = np.sqrt(1.0 + a * a + b * b)
    a, b, c = a / norm, b / norm, 1.0 / norm
    d = 1.0 / (1.0 + c)
    rows = [1.0 - a * a * d, -a * b * d, -a, -a * b * d, 1.0 - b * b * d, -b, a, b, c]
    return np.stack(rows, axis=-1).reshape(*a.shape, 3, 3)


def slopes(
    pixels: FloatArray, centre: FloatArray, focal_px: float, tangents: FloatArray, bend: FloatArray
) -> FloatArray:
    """Slopes of the rays against the perpendicular of the jet's plane.

    A point at depth d beyond the plane, seen by a camera at distance D, lies (D + d) times its slopes from
    the foot of the perpendicular: this is the view parallel to the plane, in which lengths scale alike
    everywhere.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2) or (m, n, 2)
        Straightened positions, px.
    centre : ndarray, shape (2,)
        Principal point, px.
    focal_px : float
        Focal length, px.
    tangents : ndarray, shape (m, 2)
        See `rotation_to_plane`.
    bend : ndarray, shape (m,)
        Distortion that is left in the pixels: r = r_d / (1 + bend r_d^2), r in units of the focal length. To
        first order it is the k1 of a lens that was not given.

    Returns
    -------
    ndarray, shape (m, n, 2)
        Slopes to the right and down; NaN where the ray does not meet the plane.

    Notes
    -----
    The homography of a rotating camera: R. Hartley and A. Zisserman, "Multiple View Geometry in Computer
    Vision", 2nd ed. (2004), section 8.4. The one-term division model: A. W. Fitzgibbon, "Simultaneous linear
    estimation of multiple view geometry and lens distortion", CVPR 2001.
    """
    # All x side by side, then all y: passes over pairs cost several times as much.
    offset = np.swapaxes((np.asarray(pixels, dtype=np.float64) - centre) / focal_px, -1, -2).copy()
    if np.any(bend):
        r2 = np.sum(offset * offset, axis=-2, keepdims=True)
        offset = offset / (1.0 + bend[:, None, None] * r2)
    R = rotation_to_plane(tangents)
    turned = R[..., :2] @ offset + R[..., 2:]
    depth = turned[..., 2:, :]
    seen = turned[..., :2, :] / np.where(depth > 1e-6, depth, np.nan)
    return np.asarray(np.swapaxes(seen, -1, -2), dtype=np.float64)


def bent(straight: FloatArray, centre: FloatArray, focal_px: float, bend: float) -> FloatArray:
    """Put the bend of `slopes` back into positions.

    Parameters
    ----------
    straight : ndarray, shape (n, 2)
        Positions as a lens without distortion shows them, px.
    centre : ndarray, shape (2,)
        Principal point, px.
    focal_px : float
        Focal length, px.
    bend : float
        See `slopes`.

    Returns
    -------
    ndarray, shape (n, 2)
        Positions with the bend, px; NaN where there is none.
    """
    if bend == 0.0:
        return straight
    offset = (straight - centre) / focal_px
    r2 = np.sum(offset * offset, axis=-1, keepdims=True)
    with np.errstate(invalid="ignore"):  # past the fold of the model nothing is seen
        factor = 2.0 / (1.0 + np.sqrt(1.0 - 4.0 * bend * r2))
    return np.asarray(centre + focal_px * offset * factor, dtype=np.float64)
