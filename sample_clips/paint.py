"""Anti-aliased painting of sheets in the world, seen through the camera.

A canvas holds several samples per pixel. An edge is never decided sample by sample: every shape is covered
by its signed distance to the sample, so that an edge lies where the projection puts it, to thousandths of a
pixel, whatever its slope.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sample_clips.camera import Camera, Plane

FloatArray = NDArray[np.float64]
Samples = NDArray[np.float32]
Values = NDArray[np.floating[Any]]
Shader = Callable[[Samples, Samples], Samples]
"""From a sheet's coordinates u and v, m, (…) each, to encoded colours (…, 3)."""
Paint = tuple[float, float, float] | Shader

OVERSAMPLING = 2
"""Samples per pixel along each side."""
_MARGIN_PX = 2.0
_NEAREST_M = 0.05


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of samples of a canvas."""

    top: int
    bottom: int
    left: int
    right: int

    @property
    def slices(self) -> tuple[slice, slice]:
        """Rows and columns."""
        return slice(self.top, self.bottom), slice(self.left, self.right)

    @property
    def empty(self) -> bool:
        """Whether no sample lies inside."""
        return self.bottom <= self.top or self.right <= self.left

    def inside(self, height: int, width: int) -> Window:
        """Cut to a canvas of `height` by `width` samples."""
        return Window(max(self.top, 0), min(self.bottom, height), max(self.left, 0), min(self.right, width))


class Canvas:
    """The picture before the lens's blur: encoded colours of samples, and where each looks."""

    def __init__(self, camera: Camera) -> None:
        self.camera = camera
        self.height, self.width = camera.height * OVERSAMPLING, camera.width * OVERSAMPLING
        self.rgb: Samples = np.zeros((self.height, self.width, 3), dtype=np.float32)
        columns = (np.arange(self.width) + 0.5) / OVERSAMPLING - 0.5
        rows = (np.arange(self.height) + 0.5) / OVERSAMPLING - 0.5
        straight = camera.straighten(np.stack(np.meshgrid(columns, rows), axis=-1))
        self.x: Samples = straight[..., 0].astype(np.float32)
        """Undistorted column of each sample, px."""
        self.y: Samples = straight[..., 1].astype(np.float32)
        """Undistorted row of each sample, px."""

    def copy(self) -> Canvas:
        """Make a canvas with the same grid and its own colours."""
        twin = object.__new__(Canvas)
        twin.camera, twin.height, twin.width = self.camera, self.height, self.width
        twin.x, twin.y, twin.rgb = self.x, self.y, self.rgb.copy()
        return twin

    def whole(self) -> Window:
        """Give the window of all samples."""
        return Window(0, self.height, 0, self.width)

    def around(self, straight_px: FloatArray, margin_px: float = _MARGIN_PX) -> Window:
        """Give the window that holds the undistorted pixels (n, 2) and the straight lines between them."""
        walked = np.concatenate(
            [
                straight_px + (np.roll(straight_px, -1, axis=0) - straight_px) * f
                for f in (0.0, 0.25, 0.5, 0.75)
            ]
        )
        seen = self.camera.distort(walked)
        low, high = seen.min(axis=0) - margin_px, seen.max(axis=0) + margin_px
        to_sample = np.floor((np.stack([low, high]) + 0.5) * OVERSAMPLING).astype(int)
        window = Window(
            int(to_sample[0, 1]), int(to_sample[1, 1]) + 1, int(to_sample[0, 0]), int(to_sample[1, 0]) + 1
        )
        return window.inside(self.height, self.width)

    def on(self, plane: Plane, window: Window) -> tuple[Samples, Samples]:
        """Coordinates u and v, m, at which the samples of a window look at a sheet."""
        back = np.linalg.inv(self.camera.sheet_matrix(plane)).astype(np.float64)
        x, y = self.x[window.slices].astype(np.float64), self.y[window.slices].astype(np.float64)
        w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
        u = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w
        v = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w
        return u.astype(np.float32), v.astype(np.float32)

    def blend(self, window: Window, cover: Samples, colour: ArrayLike) -> None:
        """Lay colours (3,) or (h, w, 3) over a window with the cover (h, w), 0 to 1."""
        under = self.rgb[window.slices]
        under += cover[..., None] * (np.asarray(colour, dtype=np.float32) - under)

    def scale(self, window: Window, cover: Samples, factor: ArrayLike) -> None:
        """Multiply the colours of a window by a factor, (3,) or a number, where the cover (h, w) is 1."""
        self.rgb[window.slices] *= 1.0 + cover[..., None] * (np.asarray(factor, dtype=np.float32) - 1.0)


def ramp(distance_px: Values, soft_px: float = 0.0) -> Samples:
    """Cover of a half plane at signed distances (…) px, positive inside.

    With `soft_px` 0 the edge is averaged with a tent that reaches to the neighbouring samples: then even a
    line finer than the samples' spacing keeps both its darkness and its place, which with the bare share of a
    sample's width it does not (up to 0.1 px off). Otherwise the edge is blurred by about that standard
    deviation (a logistic curve, within 0.01 of the normal distribution's).
    """
    if soft_px > 0:
        return np.asarray(
            1.0 / (1.0 + np.exp(np.clip(-1.702 / soft_px * distance_px, -30, 30))), dtype=np.float32
        )
    t = np.clip(distance_px * OVERSAMPLING, -1.0, 1.0)
    return np.asarray(0.5 + t - 0.5 * t * np.abs(t), dtype=np.float32)


def band(distance_px: Values, half_px: float | Values) -> Samples:
    """Cover of a strip of half width `half_px` about a line at signed distances (…) px, hair lines too."""
    return np.asarray(ramp(distance_px + half_px) - ramp(distance_px - half_px), dtype=np.float32)


def fill(
    canvas: Canvas,
    corners_m: ArrayLike,
    paint: Paint,
    *,
    plane: Plane | None = None,
    soft_px: float = 0.0,
    alpha: float = 1.0,
    multiply: bool = False,
) -> None:
    """Paint a convex polygon that stands in the world.

    Parameters
    ----------
    corners_m : (n, 3) m, in order around the polygon
    paint : an encoded colour, or a shader of the sheet's coordinates (then `plane` is needed)
    soft_px : standard deviation of a soft edge, px; 0: sharp
    alpha : opacity
    multiply : darken what is there by the colour instead of replacing it

    Raises
    ------
    ValueError
        A shader without its plane.
    """
    before = _before(canvas.camera, np.asarray(corners_m, dtype=np.float64))
    if len(before) < 3:
        return
    corners = canvas.camera.project_straight(before)
    window = canvas.around(corners, _MARGIN_PX + 4 * soft_px)
    if window.empty:
        return
    cover = alpha * inside(canvas, window, corners, soft_px)
    if callable(paint):
        if plane is None:
            raise ValueError("a shader needs the plane whose coordinates it reads")
        colour: ArrayLike = paint(*canvas.on(plane, window))
    else:
        colour = paint
    if multiply:
        canvas.scale(window, cover, colour)
    else:
        canvas.blend(window, cover, colour)


def _before(camera: Camera, corners_m: FloatArray) -> FloatArray:
    """Cut away what of a convex polygon (n, 3) m lies behind the camera or too near to it."""
    depth = corners_m @ camera.rotation[2] + camera.translation[2] - _NEAREST_M
    if np.all(depth > 0):
        return corners_m
    kept: list[FloatArray] = []
    for i, (corner, d) in enumerate(zip(corners_m, depth, strict=True)):
        following, e = corners_m[(i + 1) % len(depth)], depth[(i + 1) % len(depth)]
        if d > 0:
            kept.append(corner)
        if (d > 0) != (e > 0):
            kept.append(corner + (following - corner) * (d / (d - e)))
    return np.array(kept).reshape(-1, 3)


def inside(canvas: Canvas, window: Window, corners_px: FloatArray, soft_px: float = 0.0) -> Samples:
    """Cover (h, w) of a convex polygon given by undistorted pixels (n, 2) in order."""
    x, y = canvas.x[window.slices], canvas.y[window.slices]
    following = np.roll(corners_px, -1, axis=0)
    area2 = float(np.sum(corners_px[:, 0] * following[:, 1] - following[:, 0] * corners_px[:, 1]))
    distance = np.full(x.shape, np.inf, dtype=np.float32)
    for (x0, y0), (x1, y1) in zip(corners_px, following, strict=True):
        length = float(np.hypot(x1 - x0, y1 - y0))
        if length < 1e-9:
            continue
        nx, ny = -(y1 - y0) / length * np.sign(area2), (x1 - x0) / length * np.sign(area2)
        np.minimum(
            distance,
            np.float32(nx) * (x - np.float32(x0)) + np.float32(ny) * (y - np.float32(y0)),
            out=distance,
        )
    return ramp(distance, soft_px)


def rectangle(plane: Plane, u: tuple[float, float], v: tuple[float, float]) -> FloatArray:
    """Corners (4, 3), m, of a rectangle on a sheet."""
    return plane.at([u[0], u[1], u[1], u[0]], [v[0], v[0], v[1], v[1]])


def spot(
    canvas: Canvas,
    plane: Plane,
    centre_m: tuple[float, float],
    radii_m: tuple[float, float],
    paint: Paint,
    *,
    soft_px: float = 0.0,
    alpha: float = 1.0,
    multiply: bool = False,
) -> None:
    """Paint an ellipse lying on a sheet, its axes along u and v."""
    around = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    rim = plane.at(
        centre_m[0] + 1.02 * radii_m[0] * np.cos(around), centre_m[1] + 1.02 * radii_m[1] * np.sin(around)
    )
    straight = canvas.camera.project_straight(rim)
    window = canvas.around(straight, _MARGIN_PX + 4 * soft_px)
    if window.empty:
        return
    u, v = canvas.on(plane, window)
    p, q = (u - centre_m[0]) / radii_m[0], (v - centre_m[1]) / radii_m[1]
    across_px, upright_px = np.ptp(straight[:, 0]) / 2, np.ptp(straight[:, 1]) / 2
    radius = np.sqrt(p * p + q * q)
    # Distance to an ellipse, to first order: (1 - r) over the length of r's gradient in pixels.
    slope = np.sqrt((p / across_px) ** 2 + (q / upright_px) ** 2) / np.maximum(radius, 1e-6)
    cover = alpha * ramp(np.asarray((1 - radius) / np.maximum(slope, 1e-6), dtype=np.float32), soft_px)
    colour: ArrayLike = paint(u, v) if callable(paint) else paint
    if multiply:
        canvas.scale(window, cover, colour)
    else:
        canvas.blend(window, cover, colour)


def line(
    canvas: Canvas,
    ends_m: ArrayLike,
    width_m: float,
    colour: tuple[float, float, float],
    *,
    soft_px: float = 0.0,
    alpha: float = 1.0,
) -> None:
    """Paint a straight line of a given width between two world points (2, 3) at about the same depth."""
    ends = canvas.camera.project_straight(ends_m)
    span = float(np.linalg.norm(np.subtract(*np.asarray(ends_m, dtype=np.float64))))
    half = width_m / span * float(np.hypot(*(ends[1] - ends[0]))) / 2
    window = canvas.around(ends, _MARGIN_PX + half + 4 * soft_px)
    if window.empty:
        return
    step = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    x, y = canvas.x[window.slices] - np.float32(ends[0, 0]), canvas.y[window.slices] - np.float32(ends[0, 1])
    along, off = step[0] * x + step[1] * y, step[0] * y - step[1] * x
    length = float(np.hypot(*(ends[1] - ends[0])))
    cover = band(off, half) if soft_px == 0 else ramp(half - np.abs(off), soft_px)
    cover = cover * ramp(along + half) * ramp(length + half - along)
    canvas.blend(window, np.asarray(alpha * cover, dtype=np.float32), colour)


_ROWS = 16
"""Rows painted at once: so few that they stay in the processor's own memory."""


def mottle(u: Samples, v: Samples, cell_m: float | tuple[float, float], seed: int) -> Samples:
    """Smooth random unevenness, about −1 to 1, over sheet coordinates (…) m, with patches of `cell_m`."""
    cell_u, cell_v = (cell_m, cell_m) if isinstance(cell_m, float) else cell_m
    table = np.random.default_rng(seed).uniform(-1, 1, (64, 64)).astype(np.float32)
    u, v = np.broadcast_arrays(u, v)
    if u.ndim < 2:
        return _mottled(u, v, cell_u, cell_v, table)
    out = np.empty(u.shape, dtype=np.float32)
    for first in range(0, len(u), _ROWS):
        rows = slice(first, first + _ROWS)
        out[rows] = _mottled(u[rows], v[rows], cell_u, cell_v, table)
    return out


def _mottled(u: Samples, v: Samples, cell_u: float, cell_v: float, table: Samples) -> Samples:
    p, q = u / np.float32(cell_u), v / np.float32(cell_v)
    i, j = np.floor(p).astype(np.int64), np.floor(q).astype(np.int64)
    a, b = p - i, q - j
    a, b = a * a * (3 - 2 * a), b * b * (3 - 2 * b)
    i0, i1, j0, j1 = 64 * (i & 63), 64 * ((i + 1) & 63), j & 63, (j + 1) & 63
    low = np.take(table, i0 + j0) * (1 - a) + np.take(table, i1 + j0) * a
    high = np.take(table, i0 + j1) * (1 - a) + np.take(table, i1 + j1) * a
    return np.asarray(low * (1 - b) + high * b, dtype=np.float32)


def grain(u: Samples, v: Samples, seed: int) -> Samples:
    """Wood grain along u, about −1 to 1, over sheet coordinates (…) m."""
    warp = mottle(u, v, (0.30, 0.05), seed)
    rings = np.sin((v + 0.006 * warp) * 2 * np.pi / 0.011 + 3 * mottle(u, v, (0.5, 0.02), seed + 1))
    fibres = mottle(u, v, (0.06, 0.0012), seed + 2)
    return np.asarray(0.35 * rings * (0.6 + 0.4 * warp) + 0.35 * fibres + 0.3 * warp, dtype=np.float32)


def tinted(colour: Sequence[float], lightness: Values) -> Samples:
    """Colours (…, 3): a base colour times a lightness (…)."""
    return np.asarray(lightness[..., None] * np.asarray(colour, dtype=np.float32), dtype=np.float32)
