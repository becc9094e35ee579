"""The middle of the jet is found between its flanks, and led down to the landing, whatever flies beside it."""

from __future__ import annotations

import numpy as np
import pytest

from calibration import FloatArray, Pixel, Segment
from measure_app.finders import find_landing, jet_lines
from measure_app.finders.jet_flight import not_lagging
from measure_app.finders.jet_joining import OnLines, carried_down
from measure_app.finders.jet_look import background_of
from measure_app.finders.jet_middle import at_the_landing, middles_of
from measure_app.strips import Strip, StripLine
from tests.measure_app.finders.drawn import jet_strips, shrinking

LINE = StripLine("jet 1", Segment(Pixel(0.0, 50.0), Pixel(400.0, 50.0)))


def seen(places: FloatArray, ahead: float, rng: np.random.Generator) -> Strip:
    """A grey jet of eight px before a wall, a share of the frames with a drop at each px beyond it."""
    x = np.arange(401) - places[:, None]
    levels = np.full(x.shape, 60.0) + 90.0 * np.clip(4.5 - np.abs(x), 0.0, 1.0)
    drops = (x > 3.0) & (x < 30.0) & (rng.random(x.shape) < ahead)
    levels = np.where(drops, 150.0, levels) + rng.normal(0.0, 0.6, x.shape)
    return Strip(LINE, np.arange(len(places)), np.rint(levels).astype(np.uint8))


@pytest.mark.parametrize("ahead", [0.0, 0.15, 0.4])
def test_the_middle_lies_between_the_flanks_whatever_flies_ahead(ahead: float) -> None:
    rng = np.random.default_rng(11)
    places = np.linspace(330.0, 90.0, 160)
    strip = seen(places, ahead, rng)
    ground = background_of(strip, np.zeros(160, dtype=bool), None, 16.0)
    levels = middles_of([strip], [ground], [places - 0.7], 8.0)[:, 0]
    assert np.mean(levels) == pytest.approx(0.7, abs=0.12)
    assert np.ptp(levels) < 0.4


@pytest.mark.parametrize("shown", [(0.54, 0.46), (0.46, 0.54)])
def test_a_shoulder_that_shows_in_half_the_frames_does_not_make_the_middle_jump(
    shown: tuple[float, float],
) -> None:
    """A rim of three px on either side, a little more often seen on one: half height alone jumps by 1.5 px."""
    rng = np.random.default_rng(16)
    places = np.linspace(330.0, 90.0, 400)
    x = np.arange(401) - places[:, None]
    rims = [
        (np.abs(x - at) <= 2.0) & (rng.random((400, 1)) < part)
        for at, part in zip((-6, 6), shown, strict=True)
    ]
    levels = np.where((np.abs(x) <= 4.0) | rims[0] | rims[1], 150.0, 60.0) + rng.normal(0.0, 0.6, x.shape)
    strip = Strip(LINE, np.arange(400), np.rint(levels).astype(np.uint8))
    ground = background_of(strip, np.zeros(400, dtype=bool), None, 16.0)
    told = middles_of([strip], [ground], [places], 8.0)[:, 0]
    assert abs(told[3]) > 1.0
    assert abs(np.mean(told)) < 0.45
    above = np.linspace(0.03, 0.22, 10)
    _, u, differ = at_the_landing(np.tile(told[:, None], (1, 10)), above, 8.0)
    assert u < 0.1
    assert differ < 0.5


def test_a_line_without_a_jet_has_no_middle() -> None:
    rng = np.random.default_rng(12)
    levels = rng.integers(58, 62, (60, 401)).astype(np.uint8)
    strip = Strip(LINE, np.arange(60), levels)
    ground = background_of(strip, np.zeros(60, dtype=bool), None, 16.0)
    at = np.linspace(300.0, 100.0, 60)
    assert np.isnan(middles_of([strip], [ground], [at], 8.0)).all()
    assert np.isnan(middles_of([strip], [ground], [np.full(60, np.nan)], 8.0)).all()


def test_middles_lead_to_the_landing_past_a_line_that_errs() -> None:
    above = np.linspace(0.03, 0.22, 10)
    beyond = 0.4 + 5.0 * above
    beyond[0] += 3.0  # the splash reaches up to it
    beyond[7] = np.nan
    shift, u, differ = at_the_landing(np.tile(beyond, (7, 1)), above, 8.0)
    assert shift == pytest.approx(0.4, abs=0.05)
    assert 0.0 < u < 0.1
    assert differ == pytest.approx(0.0, abs=1e-9)
    # Feet that lead a pixel further than tops: the mean of all is believed, and the difference told.
    leaning = beyond + np.linspace(0.5, -0.5, 7)[:, None]
    shift, _, differ = at_the_landing(leaning, above, 8.0)
    assert shift == pytest.approx(0.4, abs=0.05)
    assert differ == pytest.approx(2 / 3, abs=0.01)
    few = np.where(np.arange(10) < 3, beyond, np.nan)
    assert np.isnan(at_the_landing(np.tile(few, (7, 1)), above, 8.0)).all()


def test_lines_that_lie_close_together_hardly_tell_where_they_lead() -> None:
    """In poor light the jet is seen on the lowest lines alone: half a pixel there is many at the landing."""
    above = np.linspace(0.03, 0.22, 10)
    told = np.where(np.arange(10) < 4, np.resize([0.5, -0.5], 10) + 20.0 * (above - above[:4].mean()), np.nan)
    shift, u, _ = at_the_landing(np.tile(told, (7, 1)), above, 8.0)
    assert abs(shift) < 0.6
    assert 0.4 < u < 1.5
    rng = np.random.default_rng(15)
    above = np.array([0.03, 0.04, 0.05, 0.065, 0.08, 0.10, 0.125, 0.15, 0.18, 0.22])
    throw = np.linspace(360.0, 120.0, 130)
    apart = 100.0 * np.linspace(-0.5, 0.5, 130)[:, None] * (above - 0.04) + rng.normal(0.0, 0.7, (130, 10))
    on = OnLines(throw[:, None] + apart, (np.arange(10) < 3) * np.ones((130, 1)), np.zeros((130, 10)), 8.0)
    few, *_ = carried_down(on, above, 0.0, 5.0)
    assert abs((few.landing - throw)[:30].mean()) < 0.4
    assert abs((few.landing - throw)[-30:].mean()) < 0.4
    # On ten lines that agree a trend is seen for what it is.
    lean = (0.02 * throw[:, None]) * above
    whole, *_ = carried_down(
        OnLines(throw[:, None] + lean, np.ones((130, 10)), np.zeros((130, 10)), 8.0), above, 0.0, 5.0
    )
    assert whole.landing == pytest.approx(throw, abs=0.05)


@pytest.mark.parametrize("long", [0.12, 0.20])
def test_drops_that_lean_leave_the_landing_where_it_is(long: float) -> None:
    """A falling drop's lower part lies short of the path, its upper part beyond: each line counts for its height."""
    above = np.array([0.03, 0.04, 0.05, 0.065, 0.08, 0.10, 0.125, 0.15, 0.18, 0.22])
    throw = np.linspace(360.0, 120.0, 130)
    passed = np.random.default_rng(16).uniform(0.0, 1.0, (130, 1))  # drops are anywhere on the lines
    lean = 8.0 * ((above / long + passed) % 1.0 - 0.5)
    ones, none = np.ones((130, 10)), np.zeros((130, 10))
    landed, *_ = carried_down(OnLines(throw[:, None] + lean, ones, none, 8.0), above, 0.0, 5.0)
    level, *_ = carried_down(OnLines(throw[:, None] + lean, ones, none, 80.0), above, 0.0, 5.0)
    assert np.std(landed.landing - throw) < 0.75 * np.std(level.landing - throw)


def test_drops_that_all_fly_on_do_not_shift_the_landing() -> None:
    """Beyond the jet alone, thickest on the lowest lines: the middle of what moves would be drawn along by px."""
    rng = np.random.default_rng(13)
    lines = jet_lines(Segment(Pixel(100.0, 600.0), Pixel(700.0, 600.0)), Pixel(60.0, 300.0), None)
    truth = shrinking(160)
    strips = []
    for index, strip in enumerate(jet_strips(truth, lines, rng)):
        at = lines.place_on(index, truth)
        x = np.arange(601) - at[:, None]
        thick = 0.35 * np.exp(-((lines.above[index] / 0.045) ** 2))
        drops = (x > 4.0) & (x < 40.0) & (rng.random(x.shape) < thick)
        strips.append(Strip(strip.line, strip.frames, np.where(drops, 200, strip.levels).astype(np.uint8)))
    track = find_landing(strips, lines)
    error = (track.along_px - truth)[track.found]
    assert track.found.mean() > 0.9
    assert abs(np.median(error)) < 0.2
    assert track.shared_u_px < 0.3


def test_each_line_tells_of_water_that_lands_later() -> None:
    above = np.linspace(0.03, 0.22, 10)
    frames, flight = np.arange(200.0), 24.0
    early = flight * (1.0 - np.sqrt(1.0 - above))

    def landing(at: FloatArray) -> FloatArray:
        return np.asarray(400.0 - at + 25.0 * np.sin(at / 15.0))

    rng = np.random.default_rng(14)
    carried = landing(frames[:, None] + early) + rng.normal(0.0, 0.2, (200, 10))
    weights, usable = np.ones((200, 10)), np.ones(200, dtype=bool)
    joined = carried.mean(axis=1)
    landed = not_lagging(joined, carried, weights, above, usable)
    right, places = landed.landing, landed.carried
    before, after = joined - landing(frames), right - landing(frames)
    assert np.std(before) > 1.2
    assert np.std(after) < 0.25
    # What a line lies ahead all through is left to its height; the rest is gone.
    assert np.std(np.mean(places - right[:, None], axis=0)) > 0.3
    apart = places - right[:, None] - np.mean(places - right[:, None], axis=0)
    assert np.std(apart) < 0.3
    still = not_lagging(joined[:15], carried[:15], weights[:15], above, usable[:15])
    assert np.array_equal(still.landing, joined[:15])
    assert not still.unsure_px.any()


def test_a_flutter_between_frames_is_seen_in_how_the_jet_leans() -> None:
    """The landing's speed is another in every frame, as a quick flutter between slow frames makes it."""
    above = np.linspace(0.03, 0.22, 10)
    early = 1.0 - np.sqrt(1.0 - above)
    rng = np.random.default_rng(15)
    truth = 400.0 - np.arange(400.0) + rng.normal(0.0, 0.6, 400)
    pace = rng.normal(0.0, 5.0, (400, 1))  # px for the time of flight
    carried = truth[:, None] + pace * early + rng.normal(0.0, 0.15, (400, 10))
    joined = carried.mean(axis=1)
    usable = np.ones(400, dtype=bool)
    landed = not_lagging(joined, carried, np.ones((400, 10)), above, usable, flight_frames=3.0)
    error = landed.landing - truth
    assert np.std(joined - truth) > 0.29
    assert np.std(error) < 0.17
    assert 0.7 < np.std(error) / np.sqrt(np.mean(landed.unsure_px**2) + 0.15**2 / 10) < 1.4
    # Lines that err each by themselves lean by chance alone: next to nothing is taken from that.
    noise = truth[:, None] + rng.normal(0.0, 0.3, (400, 10))
    still = not_lagging(noise.mean(axis=1), noise, np.ones((400, 10)), above, usable, flight_frames=3.0)
    assert np.std(still.landing - truth) < 1.25 * 0.3 / np.sqrt(10)
