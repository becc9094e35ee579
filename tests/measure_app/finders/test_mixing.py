"""An edge between two colours is found where it is in the light, not where the film's coding moves it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from calibration import FloatArray
from measure_app.finders import find_surface, mixing
from measure_app.finders.mixing import mixing_shift, unmixed
from measure_app.finders.planes import Seen
from measure_app.strips import COLOUR_STEPS, Strip
from tests.measure_app.finders.drawn import falling, line

FINE = 8
"""Samples of light to a pixel."""


def filmed(places: FloatArray, air: FloatArray, water: FloatArray, rng: np.random.Generator) -> Strip:
    """Mix light by the lens, code it (Rec. ITU-R BT.709-6: 0.2126, 0.7152, 0.0722), keep colour two px wide."""
    along = (np.arange(240 * FINE) + 0.5) / FINE - 0.5
    levels, colour = [], []
    for place in places:
        share = gaussian_filter1d((along >= place).astype(np.float64), 0.9 * FINE)
        share = share.reshape(240, FINE).mean(axis=1)[:, None]
        light = air * (1.0 - share) + water * share
        red, green, blue = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099).T
        bright = 0.2126 * red + 0.7152 * green + 0.0722 * blue
        parts = [(blue - bright) / 1.8556, (red - bright) / 1.5748]
        wide = [224.0 * each.reshape(120, 2).mean(axis=1) + rng.normal(0.0, 0.3, 120) for each in parts]
        levels.append(16.0 + 219.0 * bright + rng.normal(0.0, 0.8, 240))
        read = [np.interp(np.arange(240), 2.0 * np.arange(120) + 0.5, 128.0 + np.rint(each)) for each in wide]
        colour.append(read)
    codes = np.rint(COLOUR_STEPS * np.array(colour)).astype(np.uint16)
    strip = Strip(line("head", 240), np.arange(len(places)), np.rint(levels).astype(np.uint8))
    return replace(strip, colour=codes)


def test_colour_is_read_where_the_edge_is_in_the_light() -> None:
    """Of two colours as bright as each other, so that only colour shows the surface: red water before green."""
    rng = np.random.default_rng(31)
    places = falling(120, 30.0, 190.0)
    air, water = np.array([0.06, 0.20, 0.10]), np.array([0.52, 0.065, 0.065])
    track = find_surface(filmed(places, air, water, rng))
    assert any("colours" in words for words in track.remarks)
    assert track.found.mean() > 0.9
    error = np.median((track.along_px - places)[track.found])
    blur = np.sqrt(0.9**2 + 1.6)
    grey, unit = np.array([0.2126, 0.7152, 0.0722]), np.array([1.8556, 1.5748])
    signals = [1.099 * each**0.45 - 0.099 for each in (air, water)]
    sides = [np.array([s @ grey, *((s[[2, 0]] - s @ grey) / unit)]) for s in signals]
    shift = mixing_shift(sides[0][None], sides[1][None], float(blur), of_colour=True)
    assert abs(shift[0]) > 0.2
    assert abs(error) < 0.08  # without the correction it would lie off by the shift


side = st.tuples(*(st.floats(0.05, 0.9) for _ in range(3))).map(np.array)


def kept(light: FloatArray) -> FloatArray:
    signal = 1.099 * light**0.45 - 0.099
    bright = signal @ np.array([0.2126, 0.7152, 0.0722])
    return np.array([bright, (signal[2] - bright) / 1.8556, (signal[0] - bright) / 1.5748])


@given(side, side, st.floats(1.2, 2.5))
def test_no_edge_is_moved_by_more_than_half_its_blur(air: FloatArray, water: FloatArray, blur: float) -> None:
    for of_colour in (True, False):
        shift = mixing_shift(kept(air)[None], kept(water)[None], blur, of_colour=of_colour)
        assert abs(shift[0]) <= 0.5 * blur


@given(side, st.floats(1.2, 2.5))
def test_colours_that_hardly_differ_mix_evenly(light: FloatArray, blur: float) -> None:
    other = light * np.array([1.02, 1.0, 0.99])
    assert abs(mixing_shift(kept(light)[None], kept(other)[None], blur, of_colour=True)[0]) < 0.02


def test_what_coding_blurs_moves_the_edge_of_grey_to_the_brighter_side() -> None:
    """Bent light is blurred about half its signal, which is darker than half its light."""
    dark, bright = (kept(np.full(3, each))[None] for each in (0.1, 0.6))
    down = mixing_shift(dark, bright, 0.9, of_colour=False)[0]
    assert 0.01 < down < 0.2
    assert mixing_shift(bright, dark, 0.9, of_colour=False)[0] == pytest.approx(-down, abs=0.02)


def test_frames_that_are_moved_further_than_most_are_less_sure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Colour was moved by 0.4 px in most of a run, and by 0.85 px, wrongly, at its end."""
    n = 100
    colour = np.zeros((n, 2, 240), dtype=np.uint16)
    strip = replace(Strip(line("head", 240), np.arange(n), np.zeros((n, 240), dtype=np.uint8)), colour=colour)
    seen = Seen(falling(n, 30.0, 190.0), np.full(n, 0.1), 0.1, (None,) * n, np.full(n, 20.0), 1.7)
    shifts = np.array([0.4] * 7 + [0.9] * 3)
    monkeypatch.setattr(mixing, "mixing_shift", lambda *_, **__: shifts)
    moved = unmixed(seen, strip, falls_forward=True, of_colour=True)
    assert seen.place - moved.place == pytest.approx(np.interp(np.arange(n), np.arange(4.5, n, 10), shifts))
    assert moved.own_u[:60] == pytest.approx(0.1)
    assert moved.own_u[95:] == pytest.approx(np.hypot(0.1, 0.25))  # half of what is beyond the usual 0.4 px
