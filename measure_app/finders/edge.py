"""The profile across the water surface, and its place to a fraction of a pixel.

Dyed water: a step from air to water, with light that may change evenly on either side of it, blurred by the
camera. Clear water: the line that the meniscus makes, of even thickness, between air and water that may look
alike; its lower edge is the place. The window is kept short, so that the fading of the meniscus band further
down, or the far wall's line, does not pull at the edge. The blur acts on light, not on the coded levels, so
levels are made linear in light first (inverse of the transfer characteristic of ITU-R BT.709).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.medians import median


def light_table(bit_depth: int = 8, *, full_range: bool = False) -> NDArray[np.float32]:
    """Relative luminance × 255 of every luma code, (2**bit_depth,): ITU-R BT.709-6, item 1.2, inverted."""
    codes = np.arange(2**bit_depth) / 2.0 ** (bit_depth - 8)
    signal = codes / 255.0 if full_range else (codes - 16.0) / 219.0
    return np.asarray(255.0 * linear(signal), dtype=np.float32)


def linear(signal: FloatArray) -> FloatArray:
    """Light of a signal, 0 to 1 (Rec. ITU-R BT.709-6, item 1.2, inverted)."""
    signal = np.clip(signal, 0.0, 1.2)
    light = np.where(signal < 0.081, signal / 4.5, ((signal + 0.099) / 1.099) ** (1 / 0.45))
    return np.asarray(light, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class EdgeFit:
    """Edges fitted in many frames at once."""

    place: FloatArray
    """(n,) px along the strip."""
    information: FloatArray
    """(n,) 1/(px² × level²): inverse variance of the place for unit noise, all levels and slopes left
    free."""
    contrast: FloatArray
    """(n,) levels, signed change of light at the edge itself."""
    misfit: FloatArray
    """(n,) levels, rms of what the profile leaves."""


def _columns(
    x: FloatArray, blur_px: float | FloatArray, thick_px: float | FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Parts (4, n, m) of the profile at x (n, m) px below the edge, and derivatives (2, n, m) by its place.

    The first two parts do not change with the place.
    """
    from scipy.special import ndtr

    z = x / blur_px
    density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    step = ndtr(z)
    if np.any(thick_px):
        upper = (x + thick_px) / blur_px
        fourth = ndtr(upper) - step
        by_fourth = (density - np.exp(-0.5 * upper**2) / np.sqrt(2 * np.pi)) / blur_px
    else:
        # A blurred ramp below the edge: the convolution of x·[x > 0] with the Gaussian.
        fourth, by_fourth = 0.1 * (x * step + blur_px * density), -0.1 * step
    # A tenth of a pixel as the unit of slope keeps the normal equations well scaled.
    return np.stack([np.ones_like(x), 0.1 * x, step, fourth]), np.stack([-density / blur_px, by_fourth])


def window_of(blur_px: float, thick_px: float = 0.0) -> tuple[int, int]:
    """How far the fitted window reaches above and below the edge, px."""
    if thick_px:
        return round(thick_px + max(4.0, 4.0 * blur_px)), max(4, round(4.0 * blur_px))
    return max(5, round(8.0 * blur_px)), max(4, round(4.5 * blur_px))


def fit_edges(
    light: NDArray[np.float32],
    start: FloatArray,
    blur_px: float | FloatArray,
    passes: int = 5,
    *,
    thick_px: float | FloatArray = 0.0,
    window: tuple[int, int] | None = None,
) -> EdgeFit:
    """Least squares for the edge's place and the light on both sides, frame by frame but all frames at once.

    Parameters
    ----------
    light : (n, L) levels of light along the strip, water towards larger positions
    start : (n,) px, first guess of the place, within two px or so
    blur_px : standard deviation of the camera's blur, shared by all frames or (n, 1)
    passes : Gauss–Newton passes, with the levels projected out (variable projection)
    thick_px : thickness of the line whose lower edge is the place, for all frames or (n, 1); 0 for a step
    window : how far the fitted window reaches above and below the edge, px; None: as `window_of` has it
    """
    before, after = window or window_of(float(np.max(blur_px)), float(np.max(thick_px)))
    length = light.shape[1]
    reach = np.arange(-before, after + 1)
    centre = np.clip(np.rint(start).astype(np.intp), before, max(before, length - 1 - after))
    index = np.clip(centre[:, None] + reach, 0, length - 1)
    y = np.take_along_axis(light, index, axis=1).astype(np.float64)
    place = np.clip(start, centre - 2.0, centre + 2.0)
    for _ in range(passes):
        columns, by_place = _columns(index - place[:, None], blur_px, thick_px)
        normal = normal_of(columns)
        amplitudes = amplitudes_of(normal, columns, y)
        residual = y - np.einsum("knm,nk->nm", columns, amplitudes)
        slope = np.einsum("knm,nk->nm", by_place, amplitudes[:, 2:])
        # The part of the slope that the amplitudes cannot imitate.
        free = slope - np.einsum("knm,nk->nm", columns, amplitudes_of(normal, columns, slope))
        information = np.einsum("nm,nm->n", free, free)
        move = np.einsum("nm,nm->n", free, residual) / np.maximum(information, 1e-12)
        place = np.clip(place + np.clip(move, -0.8, 0.8), centre - 3.0, centre + 3.0)
    misfit = np.sqrt(np.mean(residual**2, axis=1))
    contrast = amplitudes[:, 2] - amplitudes[:, 3] if np.any(thick_px) else amplitudes[:, 2]
    return EdgeFit(place, information, contrast, misfit)


def normal_of(columns: FloatArray, ridge: float = 1e-9) -> FloatArray:
    """Normal equations (n, k, k) of the columns (k, n, m) of every frame, kept from being singular."""
    return np.asarray(np.einsum("inm,jnm->nij", columns, columns) + ridge * np.eye(len(columns)))


def amplitudes_of(normal: FloatArray, columns: FloatArray, y: FloatArray) -> FloatArray:
    """Amplitudes (n, k) of the columns (k, n, m) that come closest to y (n, m)."""
    right = np.einsum("knm,nm->nk", columns, y)
    return np.asarray(np.linalg.solve(normal, right[..., None])[..., 0], dtype=np.float64)


def blur_of(light: NDArray[np.float32], start: FloatArray, rough_px: float) -> float:
    """Find the blur that fits a sample of frames best, px (a coarse search, then a finer one)."""
    best, least = rough_px, np.inf
    trials = rough_px * np.array([0.6, 0.75, 1.0, 1.3, 1.6])
    for factor in (None, 1.13, 1.06):
        if factor is not None:
            trials = best * np.array([1 / factor, factor])
        for blur in np.maximum(trials, 0.35):
            # The window must not change with the trial, or small windows would always seem to fit best.
            loss = median(_misfit(light, start, float(blur), rough_px))
            if loss < least:
                best, least = float(blur), loss
    return best


def _misfit(light: NDArray[np.float32], start: FloatArray, blur_px: float, rough_px: float) -> FloatArray:
    before, after = window_of(rough_px)
    centre = np.rint(start).astype(np.intp)
    index = np.clip(centre[:, None] + np.arange(-before, after + 1), 0, light.shape[1] - 1)
    y = np.take_along_axis(light, index, axis=1).astype(np.float64)
    place = fit_edges(light, start, blur_px, passes=3).place
    columns, _ = _columns(index - place[:, None], blur_px, 0.0)
    residual = y - np.einsum("knm,nk->nm", columns, amplitudes_of(normal_of(columns), columns, y))
    return np.asarray(np.sqrt(np.mean(residual**2, axis=1)), dtype=np.float64)
