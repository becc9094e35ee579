"""The jet is traced up to the orifice: its places are those that were drawn, whatever angle it leaves at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import expit

from calibration import FloatArray, Pixel, Segment
from measure_app.finders import find_landing, jet_lines, trace_jet
from measure_app.finders.marked import Hints
from measure_app.strips import Strip, StripLine
from tests.measure_app.finders.drawn import coded

LINE = Segment(Pixel(100.0, 600.0), Pixel(700.0, 600.0))
ORIFICE = Pixel(60.0, 300.0)
DROP = 300.0


def across(throw: FloatArray, depth: float, tangent: float) -> FloatArray:
    """Where a jet that lands at `throw` is at a depth below the orifice: y = κ x² - x tan θ, px."""
    bend = (DROP + throw * tangent) / throw**2
    return np.asarray((tangent + np.sqrt(tangent**2 + 4 * bend * depth)) / (2 * bend))


def drawn(line: StripLine, middle: FloatArray, rng: np.random.Generator) -> Strip:
    """A strip on which a jet of seven px sparkles about places of the frame."""
    along = np.arange(len(line.along_px))
    wall = 0.12 + 0.02 * gaussian_filter1d(rng.normal(size=len(along)), 20.0)
    inside = expit((3.5 - np.abs(along - (middle[:, None] - line.segment.start.x))) / 0.5)
    sparkle = np.abs(gaussian_filter1d(rng.normal(0.25, 0.35, inside.shape), 1.0, axis=1)) + 0.04
    levels = coded(wall + inside * sparkle) + rng.normal(0, 0.8, inside.shape)
    return Strip(line, np.arange(len(middle)), np.clip(np.rint(levels), 0, 255).astype(np.uint8))


@pytest.mark.parametrize("angle_deg", [-4.0, 0.0, 3.0])
def test_the_traced_places_lie_on_the_jet(angle_deg: float) -> None:
    rng = np.random.default_rng(8)
    lines = jet_lines(LINE, ORIFICE, None)
    throw, tangent = np.linspace(560.0, 290.0, 120), np.tan(np.radians(angle_deg))

    def strips(which: tuple[StripLine, ...], above: tuple[float, ...]) -> list[Strip]:
        return [
            drawn(line, ORIFICE.x + across(throw, DROP * (1 - part), tangent), rng)
            for line, part in zip(which, above, strict=True)
        ]

    close, upper = strips(lines.lines, lines.above), strips(lines.upper, lines.upper_above)
    trace = trace_jet(close, upper, lines, find_landing(close, lines))
    assert trace is not None
    assert np.isfinite(trace.u_px).mean() > 0.95
    depth = trace.px[..., 1] - ORIFICE.y
    truth = ORIFICE.x + np.stack(
        [
            across(throw[[frame]], y, tangent)[0]
            for frame, row in zip(trace.frames, depth, strict=True)
            for y in row
        ]
    ).reshape(depth.shape)
    seen = np.isfinite(trace.u_px)
    gap = (trace.px[..., 0] - truth)[seen]
    assert np.sqrt(np.mean(gap**2)) < 0.45
    assert 3.0 < trace.width_px < 12.0


def test_a_line_in_the_splash_is_left_out_of_the_trace() -> None:
    """Livelier than the jet, from three widths beyond it to ten: the place would follow it by pixels."""
    rng = np.random.default_rng(18)
    lines = jet_lines(LINE, ORIFICE, None)
    throw = np.linspace(560.0, 290.0, 120)
    close, upper = (
        [
            drawn(line, ORIFICE.x + throw * np.sqrt(1 - part), rng)
            for line, part in zip(which, above, strict=True)
        ]
        for which, above in ((lines.lines, lines.above), (lines.upper, lines.upper_above))
    )
    landing = find_landing(close, lines)
    strip = close[1]
    beyond = np.arange(strip.levels.shape[1]) - lines.place_on(1, landing.along_px)[:, None]
    levels = np.where((beyond > 2.0) & (beyond < 40.0), 210, strip.levels).astype(np.uint8)
    splashed = [replace(each, levels=levels) if each is strip else each for each in close]
    clean, trace = (trace_jet(each, upper, lines, landing) for each in (close, splashed))
    assert clean is not None
    assert trace is not None
    assert np.isfinite(clean.u_px[:, 0]).mean() > 0.9
    assert not np.isfinite(trace.u_px[:, 0]).any()
    assert np.array_equal(clean.px[:, 1:], trace.px[:, 1:], equal_nan=True)


def test_without_a_jet_there_is_no_trace() -> None:
    rng = np.random.default_rng(9)
    lines = jet_lines(LINE, ORIFICE, None)
    empty = [
        Strip(line, np.arange(90), rng.integers(60, 64, (90, len(line.along_px))).astype(np.uint8))
        for line in (*lines.lines, *lines.upper)
    ]
    close, upper = empty[: len(lines.lines)], empty[len(lines.lines) :]
    assert trace_jet(close, upper, lines, find_landing(close, lines)) is None


def test_a_mark_elsewhere_than_the_landing_found_is_said() -> None:
    rng = np.random.default_rng(10)
    lines = jet_lines(LINE, ORIFICE, None)
    throw = np.linspace(560.0, 290.0, 90)
    close = [
        drawn(line, ORIFICE.x + across(throw, DROP * (1 - part), 0.0), rng)
        for line, part in zip(lines.lines, lines.above, strict=True)
    ]
    place = throw + ORIFICE.x - LINE.start.x
    right = find_landing(close, lines, hints=Hints(np.array([30, 60]), place[[30, 60]]))
    assert right.remarks == ()
    wrong = find_landing(close, lines, hints=Hints(np.array([30, 60]), place[[30, 60]] + [0.0, 6.0]))
    assert len(wrong.remarks) == 1
    assert "60" in wrong.remarks[0]
    assert not wrong.found[60]
    assert wrong.found[25:35].all()
