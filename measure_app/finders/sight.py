"""What the surface is looked for in: the light along the gauge line, or the colour that a dye gives it.

A dye that is hardly darker or brighter than what is behind it can still be of another colour. A film keeps
colour as two differences, blue and red against brightness. The mixture of the two that changes most where
something moves shows the dye best, whatever its hue.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure_app.clip import Plane
from measure_app.finders.edge import light_table
from measure_app.strips import COLOUR_STEPS, Strip, spread_rows

LightArray = NDArray[np.float32]

_MIDDLE = 1 << 15
"""Code of no change in a mixture of colours."""


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """One thing seen along the line through time, water towards larger positions."""

    codes: Plane
    """(n, L) as kept."""
    table: LightArray
    """Level of every code: of light, or of colour, in the film's codes scaled to 8 bits."""

    def rows(self, rows: slice | NDArray[np.intp]) -> LightArray:
        """Levels (m, L) of some frames."""
        return self.table[self.codes[rows]]


def light_of(strip: Strip, *, falls_forward: bool) -> Sight:
    """Give the light of a strip."""
    codes = strip.levels if falls_forward else strip.levels[:, ::-1]
    return Sight(codes, light_table(strip.bit_depth, full_range=strip.full_range))


def colour_of(strip: Strip, *, falls_forward: bool) -> Sight | None:
    """Give the mixture of both colour differences that shows best what moves; None without colour."""
    if strip.colour is None or len(strip.colour) < 3:
        return None
    n = len(strip.colour)
    lag = max(1, n // 8)
    rows = spread_rows(n - lag, 64)
    change = strip.colour[rows + lag].astype(np.float32) - strip.colour[rows].astype(np.float32)
    # What changes along all of the line (white balance, a lamp) is not the surface.
    change -= np.median(change, axis=2, keepdims=True)
    spread = np.einsum("nix,njx->ij", change, change, dtype=np.float64)
    weights = np.linalg.eigh(spread)[1][:, -1].astype(np.float32)
    whole = float(COLOUR_STEPS * 2.0 ** (strip.bit_depth - 8))
    centre = np.float32(COLOUR_STEPS << (strip.bit_depth - 1))
    codes = np.empty((n, strip.colour.shape[2]), dtype=np.uint16)
    for first in range(0, n, 2000):
        part = strip.colour[first : first + 2000].astype(np.float32) - centre
        mixed = weights[0] * part[:, 0] + weights[1] * part[:, 1]
        codes[first : first + 2000] = np.clip(np.rint(mixed) + _MIDDLE, 0, 2 * _MIDDLE - 1)
    table = ((np.arange(2 * _MIDDLE) - _MIDDLE) / whole).astype(np.float32)
    return Sight(codes if falls_forward else codes[:, ::-1], table)


def gradient(light: LightArray, sigma: float = 1.5) -> LightArray:
    """Derivative along the line of (n, L) light, smoothed with a Gaussian of `sigma` px; same shape."""
    reach = int(np.ceil(3 * sigma))
    x = np.arange(-reach, reach + 1)
    kernel = (x * np.exp(-0.5 * (x / sigma) ** 2)).astype(np.float32)
    kernel /= np.sum(x * kernel)
    padded = np.pad(light, ((0, 0), (reach, reach)), mode="edge")
    out, part = np.zeros_like(light), np.empty_like(light)
    for shift, weight in enumerate(kernel):
        if weight:
            out += np.multiply(padded[:, shift : shift + light.shape[1]], weight, out=part)
    return out
