"""What a film's coding makes of an edge between two colours.

A camera's blur mixes light. A film keeps the mixture's red, green and blue each bent by the transfer
characteristic, and of these brightness and two differences, which coding blurs once more. Of two colours
mixed half and half these do not lie half way between those of either side, and an edge that is fitted as if
they did is found beside its place, all through the film alike: by some tenths of a pixel in colour, by some
hundredths in light. Both sides are seen in the film, so what lies between them can be told.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.edge import fit_edges, linear
from measure_app.finders.medians import median
from measure_app.finders.planes import Seen
from measure_app.strips import COLOUR_STEPS, Strip

_BRIGHTNESS = np.array([0.2126, 0.7152, 0.0722])
_BLUE, _RED = 1.8556, 1.5748
"""Brightness of red, green and blue, and what blue and red less brightness are divided by to be kept
(Rec. ITU-R BT.709-6, items 3.2 and 3.3)."""
_RED_GREEN_BLUE = np.linalg.inv(
    np.stack(
        [
            _BRIGHTNESS,
            (np.array([0.0, 0.0, 1.0]) - _BRIGHTNESS) / _BLUE,
            (np.array([1.0, 0.0, 0.0]) - _BRIGHTNESS) / _RED,
        ]
    )
)
"""Red, green and blue of brightness and both differences."""
_NEAR, _FAR = 6, 12
"""Between how many px beyond the edge either side is looked at."""
_STRETCHES, _FEWEST = 10, 6
"""Into how many stretches a run is cut at most, and frames that each has at least."""
_WIDE_PIXELS = 1.6
"""Square px that what makes colour's pixels, two wide, and what is read between them add to the blur of the
light: by measurement on films of all kinds; 4/12 and 4/6 of bare means and straight lines between them."""
_CODING = 0.3
"""Square px by which coding blurs brightness, by measurement on films of all kinds."""
_STEP_PX, _REACH_PX = 0.5, 24
"""Spacing and reach of the drawn edge that is fitted."""
_MOST = 0.5
"""Part of the blur up to which a place is mended; an edge that mixing moves further is hardly one."""
_OF_LIGHT = 0.7
"""How much of what is told of light it is moved by: known sides (`known_sides.py`) take up a part."""
_UNSURE = 0.2
"""How much of the shift is unsure: cameras bend light only about as the standard says, and how much of the
blur comes before that is not known well."""
_UNSURE_BEYOND = 0.5
"""And of what frames are shifted by more than most: what either side shows there differs from the rest."""


def unmixed(seen: Seen, strip: Strip, *, falls_forward: bool, of_colour: bool) -> Seen:
    """Move places to where the edge is in the light that came to the camera.

    Parameters
    ----------
    seen : the surface as read, water towards larger positions
    strip : the gauge line through time, with its colours
    falls_forward : whether the water lies towards the end of the line
    of_colour : whether it was read in colour, rather than in light

    Returns
    -------
    The same where too few frames hold, and of the thin line of clear water
    """
    rows = np.flatnonzero(seen.holds)
    if strip.colour is None or len(rows) < _FEWEST or seen.line:
        return seen
    middles, sides = [], []
    for stretch in np.array_split(rows, min(_STRETCHES, len(rows) // _FEWEST)):
        both = _both_sides(strip, strip.colour, seen.place, stretch, falls_forward=falls_forward)
        if both is not None:
            middles.append(float(np.mean(stretch)))
            sides.append(both)
    if not middles:
        return seen
    air, water = (np.array(each) for each in zip(*sides, strict=True))
    shifts = mixing_shift(air, water, seen.blur_px, of_colour=of_colour)
    shift = np.interp(np.arange(len(seen.place)), middles, shifts)
    unsure = _UNSURE * float(np.sqrt(np.mean(shift[rows] ** 2)))
    moved = shift if of_colour else _OF_LIGHT * shift
    beyond = np.maximum(np.abs(moved) - median(np.abs(moved[rows])), 0.0)
    return replace(
        seen,
        place=seen.place - moved,
        own_u=np.hypot(seen.own_u, _UNSURE_BEYOND * beyond),
        shared_u=float(np.hypot(seen.shared_u, unsure)),
    )


def mixing_shift(air: FloatArray, water: FloatArray, blur_px: float, *, of_colour: bool) -> FloatArray:
    """How far beyond its place an edge between two colours is found, (k,) px.

    Parameters
    ----------
    air, water : (k, 3) brightness, 0 to 1, and blue and red difference, −0.5 to 0.5, of either side
    blur_px : standard deviation of the blur with which the edge is fitted
    of_colour : whether it is found in colour, or else in light
    """
    from scipy.special import ndtr

    later = _WIDE_PIXELS if of_colour else _CODING
    light_blur = float(np.sqrt(max(blur_px**2 - later, 0.25 * blur_px**2)))
    x = np.arange(-_REACH_PX, _REACH_PX + _STEP_PX, _STEP_PX)
    share = ndtr(x / light_blur)
    above, below = (linear(side @ _RED_GREEN_BLUE.T) for side in (air, water))
    mixed = coded(above[..., None] + (below - above)[..., None] * share)
    bright = np.tensordot(_BRIGHTNESS, mixed, axes=(0, 1))
    if of_colour:
        blue, red = (mixed[:, 2] - bright) / _BLUE, (mixed[:, 0] - bright) / _RED
        change = (water - air)[:, 1:]
        kept = change[:, :1] * blue + change[:, 1:] * red
    else:
        kept = linear(_softened(bright))
    whole = kept[:, -1] - kept[:, 0]
    alike = np.abs(whole) < 1e-9
    kept = 255.0 * (kept - kept[:, :1]) / np.where(alike, 1.0, whole)[:, None]
    start = np.full(len(kept), _REACH_PX / _STEP_PX)
    fit = fit_edges(kept.astype(np.float32), start, (light_blur if of_colour else blur_px) / _STEP_PX)
    shift = np.clip(fit.place * _STEP_PX - _REACH_PX, -_MOST * blur_px, _MOST * blur_px)
    return np.asarray(np.where(alike, 0.0, shift), dtype=np.float64)


def _softened(bright: FloatArray) -> FloatArray:
    """Brightness (k, m) blurred as coding does, after light was bent."""
    reach = np.arange(-6, 7) * _STEP_PX
    kernel = np.exp(-0.5 * reach**2 / _CODING)
    padded = np.pad(bright, ((0, 0), (6, 6)), mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 13, axis=1) @ (kernel / kernel.sum()))


def _both_sides(
    strip: Strip,
    colour: NDArray[np.uint16],
    place: FloatArray,
    rows: NDArray[np.intp],
    *,
    falls_forward: bool,
) -> tuple[FloatArray, FloatArray] | None:
    """Brightness and both differences, (3,) each, of air and of water beside the edge; None: not seen."""
    length = strip.levels.shape[1]
    beyond = np.arange(_NEAR, _FAR + 1)
    sides = []
    for away in (-beyond, beyond):
        index = np.rint(place[rows])[:, None].astype(np.intp) + away
        there = ((index >= 0) & (index < length)).all(axis=1)
        if there.sum() < min(_FEWEST, len(rows)):
            return None
        at, index = rows[there, None], index[there]
        if not falls_forward:
            index = length - 1 - index
        kept = (strip.levels[at, index], colour[at, 0, index], colour[at, 1, index])
        sides.append(_scaled(np.array([median(each.astype(np.float64)) for each in kept]), strip))
    return sides[0], sides[1]


def _scaled(kept: FloatArray, strip: Strip) -> FloatArray:
    """Brightness and differences of codes."""
    unit = 2.0 ** (strip.bit_depth - 8)
    bright, blue, red = kept / np.array([unit, COLOUR_STEPS * unit, COLOUR_STEPS * unit])
    if strip.full_range:
        return np.array([bright / 255.0, (blue - 128.0) / 255.0, (red - 128.0) / 255.0])
    return np.array([(bright - 16.0) / 219.0, (blue - 128.0) / 224.0, (red - 128.0) / 224.0])


def coded(light: FloatArray) -> FloatArray:
    """Signal of light, 0 to 1 (Rec. ITU-R BT.709-6, item 1.2)."""
    light = np.clip(light, 0.0, None)
    signal = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    return np.asarray(signal, dtype=np.float64)
