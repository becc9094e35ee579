"""A pinhole camera in metres, with radial lens distortion.

World axes: x along the jet to the right, y away from the camera, z up; y = 0 is the jet's plane, z = 0 the
landing level. Camera axes are x right, y down, z forward. Pixels: ``(0.0, 0.0)`` is the centre of the top-
left pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plane:
    """A flat sheet in the world, with its own two coordinates u and v in metres."""

    origin: tuple[float, float, float]
    u_axis: tuple[float, float, float]
    v_axis: tuple[float, float, float]

    def at(self, u: ArrayLike, v: ArrayLike) -> FloatArray:
        """World points (..., 3), m, of the sheet's coordinates u and v, m."""
        u_m, v_m = np.asarray(u, dtype=np.float64)[..., None], np.asarray(v, dtype=np.float64)[..., None]
        return np.asarray(
            np.asarray(self.origin) + u_m * np.asarray(self.u_axis) + v_m * np.asarray(self.v_axis)
        )


def upright(y_m: float) -> Plane:
    """Give the sheet parallel to the jet's plane at depth `y_m`; u is world x, v is world z."""
    return Plane((0.0, y_m, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))


def level(z_m: float) -> Plane:
    """Give the horizontal sheet at height `z_m`; u is world x, v is world y."""
    return Plane((0.0, 0.0, z_m), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera stands, how it is turned, and its lens.

    Distortion moves a ray of normalised radius r to r (1 + k1 r² + k2 r⁴).
    """

    width: int
    height: int
    focal_px: float
    centre_m: tuple[float, float, float]
    """The lens's place in the world, m; its y is minus the distance to the jet's plane."""
    azimuth_deg: float = 0.0
    """Turned to the right (positive) of facing the jet's plane squarely."""
    elevation_deg: float = 0.0
    """Turned upward (positive) from level."""
    roll_deg: float = 0.0
    """Turned clockwise as seen from behind the camera; the picture leans the other way."""
    k1: float = 0.0
    k2: float = 0.0

    @property
    def distance_m(self) -> float:
        """Distance of the lens from the jet's plane, m."""
        return -self.centre_m[1]

    @property
    def principal_px(self) -> tuple[float, float]:
        """Where the optical axis meets the picture: its middle, px."""
        return (self.width - 1) / 2, (self.height - 1) / 2

    @property
    def matrix(self) -> FloatArray:
        """Intrinsic matrix, (3, 3), px."""
        cx, cy = self.principal_px
        return np.array([[self.focal_px, 0.0, cx], [0.0, self.focal_px, cy], [0.0, 0.0, 1.0]])

    @property
    def rotation(self) -> FloatArray:
        """Rotation from world to camera axes, (3, 3)."""
        az, el, roll = (math.radians(a) for a in (self.azimuth_deg, self.elevation_deg, self.roll_deg))
        forward = np.array([math.sin(az) * math.cos(el), math.cos(az) * math.cos(el), math.sin(el)])
        right = np.array([math.cos(az), -math.sin(az), 0.0])
        down = np.cross(forward, right)
        turned_right = math.cos(roll) * right + math.sin(roll) * down
        return np.stack([turned_right, np.cross(forward, turned_right), forward])

    @property
    def translation(self) -> FloatArray:
        """Translation from world to camera axes, (3,), m."""
        return np.asarray(-self.rotation @ np.asarray(self.centre_m))

    def project_straight(self, points_m: ArrayLike) -> FloatArray:
        """Undistorted pixels (..., 2) of world points (..., 3), m."""
        cam = np.asarray(points_m, dtype=np.float64) @ self.rotation.T + self.translation
        return np.asarray(self.focal_px * cam[..., :2] / cam[..., 2:] + np.asarray(self.principal_px))

    def project(self, points_m: ArrayLike) -> FloatArray:
        """Pixels (..., 2) in the picture, lens distortion included, of world points (..., 3), m."""
        return self.distort(self.project_straight(points_m))

    def distort(self, straight_px: ArrayLike) -> FloatArray:
        """Move undistorted pixels (..., 2) to where the lens puts them."""
        centre = np.asarray(self.principal_px)
        ray = (np.asarray(straight_px, dtype=np.float64) - centre) / self.focal_px
        r2 = np.sum(ray * ray, axis=-1, keepdims=True)
        return np.asarray(ray * (1.0 + self.k1 * r2 + self.k2 * r2 * r2) * self.focal_px + centre)

    def straighten(self, image_px: ArrayLike) -> FloatArray:
        """Undistorted pixels (..., 2) of pixels (..., 2) in the picture; inverse of `distort` to 1e-9 px."""
        centre = np.asarray(self.principal_px)
        seen = (np.asarray(image_px, dtype=np.float64) - centre) / self.focal_px
        if self.k1 == 0.0 and self.k2 == 0.0:
            return np.asarray(seen * self.focal_px + centre)
        r_seen = np.sqrt(np.sum(seen * seen, axis=-1, keepdims=True))
        r = r_seen.copy()
        for _ in range(6):  # Newton; distortion is a few per cent, so it converges to rounding in four
            r2 = r * r
            slope = 1.0 + 3.0 * self.k1 * r2 + 5.0 * self.k2 * r2 * r2
            r = r - (r * (1.0 + self.k1 * r2 + self.k2 * r2 * r2) - r_seen) / slope
        factor = np.divide(r, r_seen, out=np.ones_like(r), where=r_seen > 0)
        return np.asarray(seen * factor * self.focal_px + centre)

    def sheet_matrix(self, plane: Plane) -> FloatArray:
        """Homography (3, 3) from a sheet's (u, v, 1), m, to homogeneous undistorted pixels."""
        columns = np.stack(
            [
                np.asarray(plane.u_axis),
                np.asarray(plane.v_axis),
                np.asarray(plane.origin) - np.asarray(self.centre_m),
            ],
            axis=1,
        )
        return np.asarray(self.matrix @ self.rotation @ columns)
