"""What a strip holds, against the plain definition: bilinear between four pixels, averaged across the line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from calibration import Pixel, Segment
from measure_app.clip import FrameSource, LumaPlane
from measure_app.clip.geometry import PlaneGeometry
from measure_app.strips import StripLine, sweep

WIDTH, HEIGHT, PADDING = 41, 30, 7


class Painted:
    """A film of random pixels, padded as decoders pad them."""

    def __init__(self, turns: int = 0, aspect: Fraction = Fraction(1), frames: int = 3) -> None:
        rng = np.random.default_rng(4)
        self.padded = rng.integers(0, 256, (frames, HEIGHT, WIDTH + PADDING)).astype(np.uint8)
        self.lost: set[int] = set()
        self.geometry = PlaneGeometry(WIDTH, HEIGHT, aspect, turns)
        self.info: Any = SimpleNamespace(
            geometry=self.geometry, bit_depth=8, full_range=False, path=Path("painted.mp4")
        )

    def luma_planes(self, start: int, stop: int, **_: Any) -> Iterator[LumaPlane]:
        for index in range(start, stop):
            yield LumaPlane(index, None if index in self.lost else self.padded[index, :, :WIDTH])


def read(film: Painted, *lines: StripLine) -> list[NDArray[np.uint8]]:
    strips = sweep(cast("FrameSource", film), lines, 0, len(film.padded))
    return [cast("NDArray[np.uint8]", strip.levels) for strip in strips]


def by_hand(film: Painted, line: StripLine, frame: int) -> NDArray[np.float64]:
    """Each place by its four neighbours; places outside the picture are held at its rim."""
    plane = film.padded[frame, :, :WIDTH].astype(np.float64)
    out = []
    for across in film.geometry.to_coded(line.points.reshape(-1, 2)).reshape(line.points.shape):
        levels = []
        for right, down in across:
            x, y = min(max(right, 0.0), WIDTH - 1.000001), min(max(down, 0.0), HEIGHT - 1.000001)
            i, j = int(x), int(y)
            fx, fy = x - i, y - j
            levels.append(
                (1 - fy) * ((1 - fx) * plane[j, i] + fx * plane[j, i + 1])
                + fy * ((1 - fx) * plane[j + 1, i] + fx * plane[j + 1, i + 1])
            )
        out.append(float(np.mean(levels)))
    return np.array(out)


def line_of(ends: tuple[float, float, float, float], across: float = 1.0) -> StripLine:
    return StripLine("line", Segment(Pixel(*ends[:2]), Pixel(*ends[2:])), across)


WHOLE = ((2.0, 7.0, 38.0, 7.0), (38.0, 7.0, 2.0, 7.0), (5.0, 1.0, 5.0, 27.0), (5.0, 27.0, 5.0, 1.0))


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
@pytest.mark.parametrize("ends", WHOLE)
def test_a_line_of_whole_pixels_holds_those_pixels(ends: tuple[float, ...], turns: int) -> None:
    film = Painted(turns)
    ends = ends if turns % 2 == 0 else (ends[1], ends[0], ends[3], ends[2])
    line = line_of(cast("tuple[float, float, float, float]", ends))
    (levels,) = read(film, line)
    for frame, row in enumerate(levels):
        shown = film.geometry.shown(film.padded[frame, :, :WIDTH])
        places = line.points[:, 0].astype(int)
        np.testing.assert_array_equal(row, shown[places[:, 1], places[:, 0]])


@given(
    ends=st.tuples(*[st.floats(-6.0, 46.0)] * 4),
    across=st.sampled_from([1.0, 2.0, 5.0]),
    turns=st.integers(0, 3),
    aspect=st.sampled_from([Fraction(1), Fraction(4, 3)]),
)
def test_any_line_holds_what_four_neighbours_make(
    ends: tuple[float, float, float, float], across: float, turns: int, aspect: Fraction
) -> None:
    if np.hypot(ends[2] - ends[0], ends[3] - ends[1]) < 1.0:
        ends = (*ends[:2], ends[0] + 3.0, ends[1] + 2.0)
    film = Painted(turns, aspect, frames=1)
    line = line_of(ends, across)
    (levels,) = read(film, line)
    # Rounded to whole levels, and where two are as near either may be taken.
    assert np.max(np.abs(levels[0] - by_hand(film, line, 0))) <= 0.5 + 1e-4


def test_a_line_read_in_some_frames_holds_those_of_one_read_in_all() -> None:
    film = Painted(frames=11)
    film.lost = {2, 3}
    lines = [
        replace(line_of((3.3, 4.1, 30.2, 20.7)), name="few", most_frames=6),
        line_of((3.3, 8.1, 30.2, 24.7)),
        replace(line_of((2.0, 7.0, 38.0, 7.0)), name="as few", most_frames=6),
        replace(line_of((2.0, 9.0, 38.0, 9.0)), name="more than there are", most_frames=60),
    ]
    strips = sweep(cast("FrameSource", film), lines, 0, 11)
    whole = sweep(cast("FrameSource", film), [replace(line, most_frames=None) for line in lines], 0, 11)
    assert [strip.line for strip in strips] == lines
    few, every = [0, 2, 4, 6, 8, 10], [*range(11)]
    assert [strip.frames.tolist() for strip in strips] == [few, every, few, every]
    for strip, all_frames in zip(strips, whole, strict=True):
        np.testing.assert_array_equal(strip.levels, all_frames.levels[strip.frames])
        assert {int(strip.frames[row]) for row, _ in strip.unseen} == film.lost & set(strip.frames.tolist())


def test_lines_read_together_are_those_read_alone() -> None:
    film = Painted()
    lines = [
        line_of((2.0, 7.0, 38.0, 7.0)),
        line_of((2.0, 7.0, 38.0, 7.0)),
        line_of((3.3, 4.1, 30.2, 20.7)),
        line_of((3.3, 8.1, 30.2, 24.7)),
        line_of((20.5, 2.0, 20.5, 27.0), 5.0),
        line_of((5.0, 27.0, 5.0, 1.0)),
    ]
    for line, together in zip(lines, read(film, *lines), strict=True):
        (alone,) = read(film, line)
        np.testing.assert_array_equal(together, alone)
        assert np.ptp(alone) > 50
