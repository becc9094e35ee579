"""The landing is carried down from the clean jet, with true errors, or refused with a reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration import FloatArray, Pixel, Segment
from measure_app.finders import Drift, Hints, JetLines, Why, find_landing, jet_lines
from measure_app.finders import landing as finder
from measure_app.finders.jet_flight import not_lagging
from measure_app.finders.jet_joining import OnLines, _worth, carried_down, frames_late, rests_on_one
from measure_app.finders.jet_judging import Seen, judge_landing
from measure_app.finders.jet_look import background_of, coded_over, hollow_of
from measure_app.finders.track import unless_it_stands, unless_mostly_hidden
from measure_app.strips import Strip
from tests.measure_app.finders.drawn import jet_strips, shrinking

LINE = Segment(Pixel(100.0, 600.0), Pixel(700.0, 600.0))
ORIFICE = Pixel(60.0, 300.0)


def lines() -> JetLines:
    return jet_lines(LINE, ORIFICE, None)


def test_tracing_lines_lie_between_orifice_and_landing_line() -> None:
    tracing = lines()
    assert tracing.zero_px == pytest.approx(-40.0)
    for part, line in zip(tracing.above, tracing.lines, strict=True):
        assert line.segment.start.y == pytest.approx(600.0 - 300.0 * part)
        assert line.segment.start.x == pytest.approx(100.0)


@given(place=st.floats(50.0, 550.0), line=st.integers(0, 9))
def test_carrying_down_undoes_carrying_up(place: float, line: int) -> None:
    tracing = lines()
    up = tracing.place_on(line, np.array([place]))
    assert tracing.landing_of(line, up)[0] == pytest.approx(place)
    # A horizontal jet that leaves above the throw zero is a parabola: at a part q of the drop left, x = X √q.
    assert up[0] == pytest.approx(-40.0 + (place + 40.0) * np.sqrt(1 - tracing.above[line]))


def test_landing_within_a_pixel_and_errors_true() -> None:
    rng = np.random.default_rng(1)
    truth = shrinking(200)
    track = find_landing(jet_strips(truth, lines(), rng), lines())
    assert track.found.mean() > 0.97
    error = (track.along_px - truth)[track.found]
    assert np.sqrt(np.mean(error**2)) < 0.6
    u = np.hypot(track.own_u_px, track.shared_u_px)[track.found]
    assert 0.90 < np.mean(np.abs(error) < 2 * u) <= 1.0


def test_a_jet_off_the_plain_parabola_is_carried_down_by_its_own_trend() -> None:
    """A launch angle bends the jet away by 12 px over the drop: without the trend the landing would be 1 px off."""
    rng = np.random.default_rng(2)
    truth = shrinking(200)
    track = find_landing(jet_strips(truth, lines(), rng, tilt=12.0), lines())
    error = (track.along_px - truth)[track.found]
    assert abs(np.mean(error)) < 0.35


def test_frames_without_a_jet_are_refused() -> None:
    rng = np.random.default_rng(3)
    truth = shrinking(160)
    strips = jet_strips(truth, lines(), rng)
    hidden = []
    for strip in strips:
        levels = strip.levels.copy()
        levels[60:80] = np.median(levels, axis=0)
        hidden.append(Strip(strip.line, strip.frames, levels))
    track = find_landing(hidden, lines())
    assert not track.found[60:80].any()
    assert track.why[70] is Why.FAINT
    assert track.found[np.r_[0:58, 82:160]].mean() > 0.95


def test_rows_that_only_repeat_the_frame_before_are_refused() -> None:
    """Coding left the jet where it was for ten frames: it seems to stand still, and is not believed."""
    rng = np.random.default_rng(7)
    truth = shrinking(160)
    left = []
    for strip in jet_strips(truth, lines(), rng):
        levels = strip.levels.copy()
        levels[60:70] = levels[59]
        left.append(Strip(strip.line, strip.frames, levels))
    track = find_landing(left, lines())
    assert not track.found[60:70].any()
    assert {track.why[row] for row in range(60, 70)} == {Why.REPEATED}
    assert track.found[np.r_[0:60, 70:160]].mean() > 0.95


def test_drops_that_jump_aside_do_not_pull_the_landing() -> None:
    rng = np.random.default_rng(4)
    truth = shrinking(160)
    strips = jet_strips(truth, lines(), rng)
    spotted = []
    for strip in strips:
        levels = strip.levels.copy()
        for row in range(0, 160, 3):
            at = int(rng.integers(5, 590))
            levels[row, at : at + 4] = 220
        spotted.append(Strip(strip.line, strip.frames, levels))
    track = find_landing(spotted, lines())
    error = np.abs(track.along_px - truth)[track.found]
    assert np.median(error) < 0.5
    assert error.max() < 3.0


def with_drops(strips: list[Strip], truth: FloatArray, rows: range, which: range) -> list[Strip]:
    """In some frames, on some of the lines, a drop of five px that touches the jet's far side."""
    out = list(strips)
    for index in which:
        levels = strips[index].levels.copy()
        at = lines().place_on(index, truth)
        for row in rows:
            first = round(float(at[row])) + 4
            levels[row, first : first + 5] = 220
        out[index] = replace(strips[index], levels=levels)
    return out


def test_a_drop_that_flies_beside_the_jet_on_most_lines_does_not_draw_the_landing_along() -> None:
    truth = shrinking(160)
    strips = jet_strips(truth, lines(), np.random.default_rng(34))
    clean = find_landing(strips, lines())
    some = find_landing(with_drops(strips, truth, range(8, 150, 12), range(6)), lines())
    rows = np.arange(8, 150, 12)
    assert some.found[rows].all()
    assert np.max(np.abs(some.along_px - truth)[rows]) < 1.2
    # Where every line shows one the landing lies beyond, and its uncertainty says so or it is refused.
    every = find_landing(with_drops(strips, truth, range(8, 150, 12), range(10)), lines())
    seen = rows[every.found[rows]]
    assert np.all(every.own_u_px[seen] > 2.0 * np.median(clean.own_u_px))
    assert np.all(np.abs(every.along_px - truth)[seen] < 2.5 * every.own_u_px[seen])


def test_a_first_frame_after_a_gap_that_lies_elsewhere_is_refused() -> None:
    n = 120
    rng = np.random.default_rng(35)
    landing = np.linspace(300.0, 100.0, n) + rng.normal(0.0, 0.1, n)
    covered = np.zeros(n, dtype=bool)
    covered[30:40] = True
    landing[40] += 4.0
    seen = Seen(landing, np.zeros(n), np.full(n, 0.3), np.full(n, 10.0), 7.0, 400)
    _, why = judge_landing(
        seen, covered=covered, repeated=~covered & covered, damaged=~covered & covered, marked=None
    )
    assert why[40] is Why.ASTRAY
    assert {why[row] for row in (29, 42, 0, n - 1)} == {None}


def flanks_only(truth: FloatArray, apart: FloatArray, rng: np.random.Generator) -> list[Strip]:
    """A jet lit as the wall behind it: two dark flanks three px wide are all that shows, one darker."""
    tracing, x, strips = lines(), np.arange(601), []
    for index, line in enumerate(tracing.lines):
        aside = x - tracing.place_on(index, truth)[:, None]
        levels = 190.0 + rng.normal(0.0, 0.8, aside.shape)
        for at, depth in ((-apart / 2, 46.0), (apart / 2, 34.0)):
            levels -= depth * np.exp(-(((aside - at[:, None]) / 1.5) ** 2))
        strips.append(Strip(line, np.arange(len(truth)), np.rint(levels).astype(np.uint8)))
    return strips


def test_a_jet_of_which_only_the_flanks_show_is_not_read_at_one_of_them() -> None:
    """A window of the width that shows would hold one flank: three to four px off, and all lines alike."""
    rng = np.random.default_rng(23)
    truth = shrinking(160)
    apart = np.linspace(9.0, 6.0, 160)
    strips = flanks_only(truth, apart, rng)
    still = np.zeros(160, dtype=bool)
    grounds = [background_of(strip, still, None, 16.0) for strip in strips]
    on = [lines().place_on(index, truth - apart / 2) for index in range(len(strips))]
    assert 5.0 <= hollow_of(strips, grounds, on, 5.8) <= 9.0
    track = find_landing(strips, lines())
    assert track.found.mean() > 0.97
    assert np.abs(track.along_px - truth)[track.found].max() < 0.6


@pytest.mark.parametrize("width", [5.0, 7.0, 12.0])
def test_a_jet_that_sparkles_is_whole(width: float) -> None:
    rng = np.random.default_rng(24)
    truth = shrinking(160)
    strips = jet_strips(truth, lines(), rng, width=width)
    still = np.zeros(160, dtype=bool)
    grounds = [background_of(strip, still, None, 16.0) for strip in strips]
    on = [lines().place_on(index, truth) for index in range(len(strips))]
    assert hollow_of(strips, grounds, on, width) == 0.0


def test_no_jet_at_all_is_nothing_found() -> None:
    rng = np.random.default_rng(5)
    strips = [
        Strip(line, np.arange(90), rng.integers(60, 64, (90, 601)).astype(np.uint8)) for line in lines().lines
    ]
    track = find_landing(strips, lines())
    assert not track.found.any()
    assert set(track.why) == {Why.MOTIONLESS}


def misled(kind: str, truth: FloatArray, rng: np.random.Generator) -> list[Strip]:
    """Strips on which something else than the jet stands out more than the jet does."""
    tracing = lines()
    strips = []
    along = np.arange(601)
    for index, strip in enumerate(jet_strips(truth, tracing, rng)):
        levels = strip.levels.astype(np.float64)
        at = tracing.place_on(index, truth)[:, None]
        # The jet itself is dull: half of its light is lost before a bright wall.
        ground = np.median(levels, axis=0)
        levels = ground + 0.18 * (levels - ground)
        if kind == "edge of the splash":
            edge = at + 46.0 + 3.0 * np.sin(np.arange(len(truth)) / 5.0)[:, None]
            levels += 70.0 * (np.abs(along - edge) < 5.0)
        elif kind == "drops that jump past":
            for shift in rng.uniform(36.0, 52.0, 4):
                there = rng.random(len(truth))[:, None] < 0.8
                levels += 60.0 * (there & (np.abs(along - at - shift) < 4.0))
        else:  # the film's edge creeps inward along the tray, slower than the jet
            film = tracing.place_on(index, np.linspace(truth[0] + 40.0, truth[-1] + 130.0, len(truth)))
            levels += 60.0 * (np.abs(along - film[:, None]) < 5.0)
        levels = np.clip(np.rint(levels), 16, 235).astype(np.uint8)
        strips.append(Strip(strip.line, strip.frames, levels))
    return strips


@pytest.mark.parametrize("kind", ["edge of the splash", "drops that jump past", "film on the tray"])
def test_three_marks_set_the_landing_right(kind: str) -> None:
    rng = np.random.default_rng(21)
    truth = shrinking(160)
    strips = misled(kind, truth, rng)
    free = find_landing(strips, lines())
    assert np.nanmedian(np.abs(free.along_px - truth)) > 20.0  # else nothing is shown
    rows = np.array([8, 80, 150])
    led = find_landing(strips, lines(), hints=Hints(rows, truth[rows] + np.array([1.2, -0.8, 0.6])))
    assert led.remarks == ()
    assert led.found.mean() > 0.8
    assert np.abs(led.along_px - truth)[led.found].max() < 3.0
    assert np.sqrt(np.mean((led.along_px - truth)[led.found] ** 2)) < 0.9


def test_a_mark_on_something_else_is_told() -> None:
    rng = np.random.default_rng(22)
    truth = shrinking(160)
    strips = jet_strips(truth, lines(), rng)
    rows = np.array([8, 80, 150])
    track = find_landing(strips, lines(), hints=Hints(rows, truth[rows] + np.array([0.5, 7.0, -0.5])))
    assert track.why[80] is Why.MARKED
    assert len(track.remarks) == 1
    assert "frame 80" in track.remarks[0]
    assert track.found[20]
    assert track.found[140]
    assert np.abs(track.along_px - truth)[track.found].max() < 2.0


def test_a_camera_that_turns_is_followed_to_where_the_jet_is() -> None:
    """Turned by 2 mrad about a place above, as well as shifted: neither may be left in the landing."""
    rng = np.random.default_rng(23)
    truth, tracing, n = shrinking(120), lines(), 120
    pivot, turn = (200.0, 200.0), np.where(np.arange(n) >= 60, 0.002, 0.0)
    right, down = np.where(turn > 0, 3.0, 0.0), np.where(turn > 0, -2.0, 0.0)
    drift = Drift(right, down, np.where(turn > 0, 0.03, 0.0), np.zeros(n, dtype=bool), turn, pivot)
    along, strips = np.arange(601), []
    for index, line in enumerate(tracing.lines):
        # On the displaced picture the line lies over water that is higher or lower on the jet.
        height, at = line.segment.start.y, tracing.place_on(index, truth)
        for _ in range(3):
            x = LINE.start.x + at
            lifted = down + turn * (x - pivot[0])
            moved = right - turn * (height - pivot[1])
            at = tracing.place_on(index, truth, lifted / 300.0) + moved
        inside = np.clip(4.0 - np.abs(along - at[:, None]), 0.0, 1.0)
        sparkle = 60.0 + 40.0 * rng.random(inside.shape)
        levels = 70.0 + inside * sparkle + rng.normal(0, 0.8, inside.shape)
        strips.append(Strip(line, np.arange(n), np.rint(levels).astype(np.uint8)))
    track = find_landing(strips, tracing, drift=drift)
    after = np.median((track.along_px - truth)[61:])
    assert abs(np.median((track.along_px - truth)[:60])) < 0.15
    assert abs(after) < 0.15
    unturned = find_landing(strips, tracing, drift=replace(drift, turn_rad=None))
    assert abs(np.median((unturned.along_px - truth)[61:])) > 0.5


def test_the_jets_flutter_between_frames_is_seen_in_how_it_leans() -> None:
    rng = np.random.default_rng(31)
    n, above = 160, np.linspace(0.03, 0.25, 10)
    truth, early = np.linspace(300.0, 100.0, n), 1.0 - np.sqrt(1.0 - above)
    carried = truth[:, None] + rng.normal(0.0, 6.0, n)[:, None] * early + rng.normal(0.0, 0.05, (n, 10))
    landed = not_lagging(carried.mean(axis=1), carried, np.ones((n, 10)), above, np.ones(n, dtype=bool), 12.0)
    left, uncorrected = (np.std((each - truth)[10:-10]) for each in (landed.landing, landed.joined))
    assert uncorrected > 0.3
    assert left < 0.06
    assert np.median(landed.unsure_px) > 0.5 * left


def test_a_landing_that_jumps_from_frame_to_frame_is_less_sure() -> None:
    rng = np.random.default_rng(32)
    n, never = 200, np.zeros(200, dtype=bool)
    even = np.linspace(300.0, 100.0, n)

    def variance(landing: FloatArray, apart_px: float) -> float:
        seen = Seen(landing, np.zeros(n), np.full(n, apart_px), np.full(n, 10.0), 10.0, 400)
        own_u, why = judge_landing(seen, covered=never, repeated=never, damaged=never, marked=None)
        assert why == (None,) * n
        return float(np.median(own_u**2))

    def by_jumps(apart_px: float) -> float:
        return variance(even + rng.normal(0.0, 1.0, n), apart_px) - variance(even, apart_px)

    # A jump of one pixel a frame counts by a tenth of its variance, and no more than the lines disagree.
    assert by_jumps(2.0) == pytest.approx(0.11, abs=0.04)
    assert by_jumps(0.3) < 0.04


def test_a_line_in_the_splash_counts_less() -> None:
    residual = np.random.default_rng(33).normal(0.0, 1.0, (500, 5)) * np.array([1.0, 1.0, 4.0, 1.0, 1.0])
    told = np.ones(residual.shape, dtype=bool)
    told[:, 4] = False
    worth = _worth(residual, told)
    assert worth[[0, 1, 3, 4]] == pytest.approx(1.0, abs=0.1)
    assert worth[2] == pytest.approx(0.25, abs=0.04)


def test_noise_that_stands_still_tells_of_coding_that_leaves_the_jet_behind() -> None:
    rng = np.random.default_rng(36)
    truth = shrinking(160)
    strips = jet_strips(truth, lines(), rng)

    def with_noise(each_frame_anew: bool) -> list[Strip]:
        out = []
        for strip in strips:
            noise = rng.normal(0.0, 1.6, strip.levels.shape)
            if not each_frame_anew:
                noise = noise[np.arange(160) // 20 * 20]
            still = np.median(strip.levels.astype(float), axis=0)
            levels = np.where(np.abs(strip.levels - still) < 5.0, still, strip.levels) + noise
            out.append(Strip(strip.line, strip.frames, np.clip(np.rint(levels), 0, 255).astype(np.uint8)))
        return out

    clean, anew, frozen = strips, with_noise(True), with_noise(False)
    assert coded_over(clean, None, 16.0) == 0.0
    assert coded_over(anew, None, 16.0) == 0.0
    assert coded_over(frozen, None, 16.0) > 0.8
    told, untold = find_landing(frozen, lines()), find_landing(anew, lines())
    # What such a film shows is behind by a seventh of a step of the landing from frame to frame, give or take a tenth.
    step = float(truth[-1] - truth[0]) / 159
    assert told.shared_u_px > 0.08 * abs(step)
    assert told.shared_u_px > untold.shared_u_px
    ahead = np.nanmedian(told.along_px - truth) - np.nanmedian(untold.along_px - truth)
    assert ahead == pytest.approx(0.14 * step, abs=0.05 * abs(step))


def test_the_flanks_lead_no_further_aside_than_glints_within_the_jet_can(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    strips = jet_strips(shrinking(120), lines(), np.random.default_rng(44), width=7.0)

    def landing(beyond_px: float) -> FloatArray:
        monkeypatch.setattr(finder, "at_the_landing", lambda *_: (beyond_px, 0.02, 0.02))
        return find_landing(strips, lines()).along_px

    none = landing(0.0)
    assert np.nanmedian(landing(0.1) - none) == pytest.approx(0.1)
    assert 0.1 < np.nanmedian(landing(5.0) - none) < 0.04 * 7.0
    assert np.nanmedian(landing(-5.0) - none) == pytest.approx(-np.nanmedian(landing(5.0) - none))


def test_where_few_lines_show_the_jet_what_one_of_them_does_is_unsure() -> None:
    """Two lines close together are right, a third is 1.5 px off: together they lead past the landing."""
    rng = np.random.default_rng(41)
    tracing, truth = lines(), shrinking(100)
    above = np.asarray(tracing.above)
    places = truth[:, None] + rng.normal(0.0, 0.2, (100, len(above)))
    weights = np.zeros(places.shape)
    weights[:, [3, 4]] = 1.0
    weights[:, 0] = 1.0
    places[:, 0] += 1.5
    few = OnLines(places, weights, np.zeros(places.shape), 6.0)
    landed = carried_down(few, above, tracing.zero_px, None)[0].landing
    off = np.nanmedian(np.abs(landed - truth))
    assert off > 1.0
    assert rests_on_one(few, above, tracing.zero_px, None, landed) > 0.5 * off
    many = OnLines(places, np.ones(places.shape), np.zeros(places.shape), 6.0)
    assert rests_on_one(many, above, tracing.zero_px, None, landed) == 0.0


def test_where_fewer_lines_than_usual_show_the_jet_a_landing_is_less_sure() -> None:
    n = 60
    landing = np.linspace(400.0, 300.0, n)
    support = np.full(n, 9.0)
    support[30:34] = 4.5
    seen = Seen(landing, np.zeros(n), np.full(n, 0.5), support, 7.0, 500)
    none = np.zeros(n, dtype=bool)
    own_u, _ = judge_landing(seen, covered=none, repeated=none, damaged=none, marked=None)
    assert np.median(own_u[30:34]) > 1.25 * np.median(own_u[:30])


def test_lines_that_repeat_frames_at_random_are_as_old_as_what_repeats_them() -> None:
    rng = np.random.default_rng(5)
    above, n = np.array([0.03, 0.05, 0.1, 0.2]), 40_000
    stale = rng.random((n, 4)) < 0.4
    age, old = np.zeros(4), np.zeros((n, 4))
    for row in range(1, n):  # what a line shows grows older by a frame where it is repeated
        age = np.where(stale[row], age + 1.0, 0.0)
        old[row] = age
    weights = np.where(stale, 0.0, 1.0)
    assert frames_late(stale, weights, above) == pytest.approx(float(old.mean()), rel=0.03)
    assert frames_late(np.zeros((n, 4), dtype=bool), np.ones((n, 4)), above) == 0.0
    assert frames_late(stale, np.zeros((n, 4)), above) == 0.0
    # A line that leads to the landing from further up tells less of it.
    low, high = np.zeros((100, 4), dtype=bool), np.zeros((100, 4), dtype=bool)
    low[::2, 0] = high[::2, 3] = True
    seen = np.ones((100, 4))
    assert frames_late(low, seen * ~low, above) > 1.5 * frames_late(high, seen * ~high, above)


def test_where_something_hides_the_line_in_most_of_a_run_nothing_of_it_is_trusted() -> None:
    """What hides it in most frames is taken for the background: an arm's edge was followed, 48 px off."""
    hidden: list[Why | None] = [Why.COVERED] * 44 + [Why.ASTRAY] * 12
    assert unless_mostly_hidden((None,) * 43 + tuple(hidden)) == (Why.HIDDEN,) * 43 + tuple(hidden)
    enough = (None,) * 50 + tuple(hidden)
    assert unless_mostly_hidden(enough) == enough
    # What ran dry, or was too faint, says nothing of what is behind; nor do frames that are not in the film.
    dry = (None,) * 30 + (Why.FAINT,) * 70
    assert unless_mostly_hidden(dry) == dry
    broken = (None,) * 50 + (Why.DAMAGED,) * 200 + tuple(hidden)
    assert unless_mostly_hidden(broken) == broken


def test_something_that_stands_still_before_a_gap_is_not_the_landing() -> None:
    """An arm's edge beside the line for a dozen frames before it covered it was read 9 px off."""
    rng = np.random.default_rng(25)
    n = 130
    landing = np.linspace(440.0, 250.0, n) + rng.normal(0.0, 0.2, n)
    landing[:12] = 431.0
    none, flat = np.zeros(n, dtype=bool), np.full(n, 0.3)
    seen = Seen(landing, np.full(n, 0.1), flat, np.full(n, 9.0), 7.0, 600)
    covered = (np.arange(n) >= 12) & (np.arange(n) < 40)
    _, why = judge_landing(seen, covered=covered, repeated=none, damaged=none, marked=None)
    assert {why[row] for row in range(12)} == {Why.ASTRAY}
    assert all(each is None for each in why[45:])


def test_a_path_that_only_jumps_is_no_jet() -> None:
    """A head before half of a run: what stood out beside it, and after it, was read 170 px off."""
    none: tuple[Why | None, ...] = (None,) * 65
    covered = tuple(Why.COVERED if 30 <= row < 35 else None for row in range(65))
    jumps = np.where(np.arange(65) < 32, 446.5, 426.8)
    assert {each for each in unless_it_stands(jumps, covered) if each is not Why.COVERED} == {Why.MOTIONLESS}
    falls = np.linspace(446.5, 426.8, 65)
    assert unless_it_stands(falls, covered) == covered
    assert unless_it_stands(0.1 * falls, none) == none  # slow as it may be
    # A few frames here and there tell nothing of how they run.
    few = tuple(None if row % 6 < 3 else Why.FAINT for row in range(65))
    assert unless_it_stands(jumps, few) == few


def test_an_end_that_is_off_by_less_than_is_refused_is_as_unsure() -> None:
    """Where the jet reaches the line's end its window is cut: the last frame lay 2.6 px, 11 u, off."""
    rng = np.random.default_rng(28)
    n = 120
    landing = np.linspace(400.0, 160.0, n) + rng.normal(0.0, 0.1, n)
    none, flat = np.zeros(n, dtype=bool), np.full(n, 0.3)
    own = {}
    for off in (0.0, 2.2):
        seen = Seen(
            np.where(np.arange(n) == n - 1, landing + off, landing), 0.2 * flat, flat, 30.0 * flat, 8.0, 600
        )
        own_u, why = judge_landing(seen, covered=none, repeated=none, damaged=none, marked=None)
        assert why[-1] is None
        own[off] = own_u
    assert own[2.2][-1] > 0.7
    assert own[0.0][-1] < 0.3
    assert own[2.2][:-10] == pytest.approx(own[0.0][:-10], rel=0.2)
