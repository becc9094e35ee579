"""The surface is found to a few hundredths of a pixel, with true errors, or refused with a reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtr

from measure_app.finders import Hints, Part, Track, Why, find_surface, refused_spans
from measure_app.finders.course import beside_still
from measure_app.finders.edge import EdgeFit, fit_edges, light_table
from measure_app.finders.judging import _holds_by_chance, less_sure_beside
from measure_app.finders.meniscus import (
    Line,
    band_along,
    fit_lines,
    hides_behind,
    left_over,
    line_at_times,
    parted_from_half,
    untold,
)
from measure_app.finders.path import clock_of, cut_off, fallen_since, loose_ends, smooth_in_time, strayed
from measure_app.finders.sight import light_of
from measure_app.finders.surface import rising_u
from measure_app.strips import Strip
from tests.measure_app.finders.drawn import clear_light, coded, falling, head_light, strip_of


def test_light_table_undoes_the_transfer_characteristic() -> None:
    light = np.array([0.001, 0.01, 0.018, 0.1, 0.5, 1.0])
    codes = coded(light)
    table = light_table(8)
    got = np.interp(codes, np.arange(256), table) / 255.0
    assert got == pytest.approx(light, abs=2e-3)
    assert light_table(10)[4 * 200] == pytest.approx(table[200], rel=1e-6)


def test_every_edge_within_a_few_hundredths() -> None:
    rng = np.random.default_rng(1)
    places = falling(200, 40.0, 260.0)
    track = find_surface(strip_of(head_light(places, 320), 0.9, rng))
    assert track.found.all()
    error = track.along_px - places
    assert np.sqrt(np.mean(error**2)) < 0.09
    assert error.std() < 0.06


def test_scatter_is_near_the_cramer_rao_bound() -> None:
    """Rms about its mean within 1.5 times the bound for this contrast, blur and noise, levels and slopes unknown."""
    rng = np.random.default_rng(2)
    places = falling(400, 40.0, 260.0)
    noise = 1.5
    light = head_light(places, 320)
    track = find_surface(strip_of(light, noise, rng))
    error = track.along_px - places
    # The bound: the same free levels and slopes, noise turned into light by the local slope of the coding, rounding
    # to whole levels counted as noise of its own.
    fit = fit_edges((255 * light).astype(np.float32), places, 1.1)
    slope = np.gradient(light_table(8), np.arange(256))[np.rint(coded(np.array([0.28]))).astype(int)[0]]
    bound = np.sqrt(noise**2 + 1 / 12) * slope / np.sqrt(np.median(fit.information))
    assert error.std() < 1.5 * bound
    assert error.std() > 0.5 * bound


def test_stated_errors_are_true() -> None:
    rng = np.random.default_rng(3)
    inside = []
    for seed in range(12):
        places = falling(150, 30.0 + seed, 200.0)
        blur = 0.8 + 0.1 * seed
        track = find_surface(strip_of(head_light(places, 260, blur=blur), 0.6 + 0.2 * seed, rng))
        error = np.abs(track.along_px - places)[track.found]
        inside.append(error < 2.0 * np.hypot(track.own_u_px[track.found], track.shared_u_px))
    share = np.concatenate(inside).mean()
    assert 0.92 < share <= 1.0


def test_line_drawn_from_below_gives_the_same_places() -> None:
    rng = np.random.default_rng(4)
    places = falling(120, 30.0, 200.0)
    light = head_light(places, 260)
    strip = strip_of(light, 0.8, rng)
    turned = Strip(strip.line, strip.frames, strip.levels[:, ::-1])
    there = find_surface(strip, falls_forward=True)
    back = find_surface(turned, falls_forward=False)
    assert (259 - back.along_px) == pytest.approx(there.along_px, abs=1e-9)


def test_a_hand_before_the_line_is_refused_and_costs_no_other_frame() -> None:
    rng = np.random.default_rng(5)
    places = falling(240, 40.0, 220.0)
    light = head_light(places, 300)
    light[100:130, 20:280] = 0.3 + 0.05 * np.sin(np.arange(260) / 9.0)
    track = find_surface(strip_of(light, 0.8, rng))
    assert not track.found[100:130].any()
    others = np.r_[0:98, 132:240]
    assert track.found[others].mean() > 0.97
    error = (track.along_px - places)[track.found]
    assert np.abs(error).max() < 0.6
    spans = refused_spans(track)
    assert any(
        (s.first <= 104 and s.last >= 125) or s.why in {Why.COVERED, Why.FAINT, Why.ASTRAY} for s in spans
    )
    assert all(s.part is Part.SURFACE and s.words for s in spans)


def test_nothing_that_moves_is_nothing_found() -> None:
    rng = np.random.default_rng(6)
    light = head_light(np.full(80, 120.0), 260)
    track = find_surface(strip_of(light, 0.8, rng))
    assert not track.found.any()
    assert set(track.why) == {Why.MOTIONLESS}


def test_pure_noise_is_nothing_found() -> None:
    rng = np.random.default_rng(7)
    track = find_surface(strip_of(np.full((100, 200), 0.3), 4.0, rng))
    assert not track.found.any()


def test_damaged_frames_are_refused_by_name() -> None:
    rng = np.random.default_rng(8)
    places = falling(100, 30.0, 150.0)
    strip = strip_of(head_light(places, 220), 0.8, rng)
    levels = strip.levels.copy()
    levels[40:44] = 0
    hurt = Strip(strip.line, strip.frames, levels, unseen=tuple((row, "damaged") for row in range(40, 44)))
    track = find_surface(hurt)
    assert list(track.why[40:44]) == [Why.DAMAGED] * 4
    assert track.found.sum() >= 94


def test_a_mark_by_hand_steers_to_another_edge() -> None:
    """Two edges fall together, the stronger one below; three marks on the upper one set the path there."""
    rng = np.random.default_rng(9)
    upper = falling(150, 30.0, 150.0)
    lower = upper + 45.0
    light = head_light(lower, 300, air=0.5, water=0.1) + 0.06 * (np.arange(300) < upper[:, None])
    strip = strip_of(light, 0.6, rng)
    free = find_surface(strip)
    assert np.nanmedian(np.abs(free.along_px - lower)) < 0.5
    rows = np.array([10, 70, 140])
    led = find_surface(strip, hints=Hints(rows, upper[rows]))
    assert np.abs(led.along_px - upper)[rows].max() < 3.0


@pytest.mark.parametrize(("thick", "blur"), [(1.8, 0.7), (2.6, 0.9), (3.4, 1.1)])
def test_clear_water_is_read_at_the_lower_edge_of_its_line(thick: float, blur: float) -> None:
    rng = np.random.default_rng(10)
    places = falling(150, 40.0, 180.0)
    room = 0.4 + 0.03 * np.sin(np.arange(240) / 17.0)
    seen = room[::-1].copy()
    light = clear_light(places, 240, thick=thick, blur=blur, air=room, water=seen)
    track = find_surface(strip_of(light, 1.0, rng))
    assert track.found.mean() > 0.95
    error = (track.along_px - places)[track.found]
    assert np.sqrt(np.mean(error**2)) < 0.2
    # Half the line's thickness off would be the line's middle, the whole thickness its upper edge.
    assert np.abs(error).max() < 0.5 * thick - 0.3
    assert abs(error.mean()) < 2.0 * track.shared_u_px
    assert any("lower edge" in words for words in track.remarks)


def test_dyed_water_is_not_taken_for_clear() -> None:
    rng = np.random.default_rng(11)
    places = falling(120, 40.0, 180.0)
    for band in (0.0, 0.05, 0.1):
        track = find_surface(strip_of(head_light(places, 240, band=band), 1.0, rng))
        assert not track.remarks


def test_droplets_that_stay_behind_do_not_hold_the_finding_back() -> None:
    """Strong level edges that appear above a faint surface once it has passed, and stand still from then on."""
    rng = np.random.default_rng(14)
    places = falling(160, 30.0, 210.0)
    light = head_light(places, 260, air=0.30, water=0.275, band=0.0)
    for row, at in ((40, 50), (70, 80), (110, 130), (130, 165)):
        light[row:, at : at + 5] *= 0.6
    track = find_surface(strip_of(light, 0.5, rng))
    # The frames in which the surface passes such an edge, and the next to them, may be refused, no others.
    assert track.found.mean() > 0.5
    error = (track.along_px - places)[track.found]
    assert np.abs(error).max() < 1.5
    u = np.hypot(track.own_u_px, track.shared_u_px)[track.found]
    assert np.abs(error).max() < 2.0
    assert np.mean(np.abs(error) < 2.0 * u) > 0.88


def test_three_marks_put_the_finding_right_and_agree() -> None:
    """A brighter false edge falls above the surface: marks on the surface lead past it."""
    rng = np.random.default_rng(12)
    places = falling(160, 80.0, 220.0)
    light = head_light(places, 300, air=0.45, water=0.3)
    false = places - 40.0
    light += 0.4 * (np.arange(300)[None, :] < false[:, None])
    strip = strip_of(light, 0.8, rng)
    free = find_surface(strip)
    assert np.nanmedian(np.abs(free.along_px - false)) < 2.0
    rows = np.array([8, 80, 150])
    led = find_surface(strip, hints=Hints(rows, places[rows] + np.array([0.8, -0.7, 0.5])))
    assert led.found.mean() > 0.9
    assert np.abs(led.along_px - places)[led.found].max() < 0.7
    assert not led.remarks


def test_a_mark_that_disagrees_is_told_and_its_stretch_refused() -> None:
    rng = np.random.default_rng(13)
    places = falling(160, 40.0, 200.0)
    strip = strip_of(head_light(places, 280), 0.8, rng)
    rows = np.array([10, 80, 150])
    marks = places[rows].copy()
    marks[1] += 5.5
    track = find_surface(strip, hints=Hints(rows, marks))
    assert track.why[80] is Why.MARKED
    assert track.found[20]
    assert track.found[140]
    assert len(track.remarks) == 1
    assert "frame 80" in track.remarks[0]
    # Whatever is still given is the surface, not the slip.
    assert np.abs(track.along_px - places)[track.found].max() < 0.6


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    blur=st.floats(0.7, 2.5),
    water=st.floats(0.05, 0.3),
    n=st.integers(40, 160),
)
def test_no_unflagged_wrong_reading_on_clean_strips(seed: int, blur: float, water: float, n: int) -> None:
    rng = np.random.default_rng(seed)
    places = falling(n, 40.0 + rng.random(), 180.0 + 20 * rng.random())
    track = find_surface(strip_of(head_light(places, 280, blur=blur, water=water), 1.0, rng))
    assert track.found.mean() > 0.9
    error = np.abs(track.along_px - places)[track.found]
    assert error.max() < 0.5


def test_an_edge_of_the_room_behind_does_not_pull_at_the_surface_that_passes_it() -> None:
    """Soft edges behind the container, dimmed by the dye: known from when they lay in air and in water."""
    rng = np.random.default_rng(15)
    places = falling(200, 30.0, 200.0)
    along = np.arange(260.0)
    room = 1.0 + 0.12 * np.tanh((along - 80.0) / 2.0) - 0.15 * np.tanh((along - 130.0) / 1.5)
    room = room + 0.1 * np.tanh((along - 170.0) / 3.0)
    light = head_light(places, 260, air=0.32, water=0.2, band=0.03) * room
    track = find_surface(strip_of(light, 0.8, rng))
    assert track.found.mean() > 0.9
    error = (track.along_px - places)[track.found]
    passing = np.min(np.abs(places[:, None] - np.array([80.0, 130.0, 170.0])), axis=1)[track.found] < 6.0
    # Fitted to each frame alone they err by a quarter of a pixel where they pass an edge.
    assert np.sqrt(np.mean(error[passing] ** 2)) < 0.17
    assert np.sqrt(np.mean(error**2)) < 0.12


def test_a_path_that_wanders_is_unsure_as_a_whole() -> None:
    rng = np.random.default_rng(16)
    places = falling(200, 40.0, 220.0)
    steady = find_surface(strip_of(head_light(places, 280), 0.8, rng))
    swaying = places + 0.4 * np.sin(np.arange(200) / 9.0)
    unsteady = find_surface(strip_of(head_light(swaying, 280), 0.8, rng))
    assert unsteady.found.mean() > 0.9
    assert unsteady.shared_u_px > steady.shared_u_px + 0.1
    assert unsteady.own_u_px[unsteady.found].mean() < 2.0 * steady.own_u_px[steady.found].mean() + 0.05


def test_a_stretch_after_a_gap_that_lies_elsewhere_is_refused() -> None:
    places = falling(150, 30.0, 160.0)
    usable = np.ones(150, dtype=bool)
    usable[100:112] = False
    clock = clock_of(None, 150)
    assert not strayed(places, usable, clock).any()
    slipped = places.copy()
    slipped[112:130] += 3.0
    usable[130:138] = False
    assert np.array_equal(np.flatnonzero(strayed(slipped, usable, clock)), np.arange(112, 130))


def test_a_long_stretch_between_others_that_agree_is_refused_if_it_lies_elsewhere() -> None:
    """A reflection of clear water's line was followed through a third of a run, 7 px off."""
    places = falling(120, 30.0, 160.0)
    usable = np.ones(120, dtype=bool)
    usable[40:44] = usable[84:88] = False
    clock = clock_of(None, 120)
    assert not strayed(places, usable, clock).any()
    off = places.copy()
    off[44:84] -= 7.0
    assert np.array_equal(np.flatnonzero(strayed(off, usable, clock)), np.arange(44, 84))
    # Carried on from one side only, the rest does not tell so much of the other.
    last = np.where(np.arange(120) >= 84, False, usable)
    assert not strayed(off, last, clock).any()


def test_an_end_that_leaves_little_by_little_is_refused_as_a_whole() -> None:
    """The last frames before a standing edge stay behind more and more; the very last alone do not tell."""
    rng = np.random.default_rng(21)
    places = falling(120, 30.0, 160.0) + rng.normal(0.0, 0.04, 120)
    own_u, usable, clock = np.full(120, 0.06), np.ones(120, dtype=bool), clock_of(None, 120)
    behind = np.array([0.1, 0.2, 0.7, 1.2, 1.8, 2.5, 3.2, 4.0])
    places[112:] -= behind
    loose = loose_ends(places, own_u, usable, clock, 12, 0.4)[0]
    assert loose[115:].all()
    assert not loose[:112].any()
    held = np.maximum(behind[:3], 0.0)[~loose[112:115]]
    assert (held < 1.0).all()


def test_what_stands_still_in_a_short_run_is_no_surface_where_the_surface_hardly_ever_is() -> None:
    still = np.zeros((1, 200), dtype=np.float32)
    still[0, 103] = 8.0
    place = np.concatenate([np.linspace(20.0, 100.0, 55), np.full(20, 103.2)])
    slope = np.full(75, 5.0)
    masked = beside_still(still, place, slope)
    assert masked[55:].all()
    assert not masked[:50].any()
    # A surface that is there most of the time makes that edge itself.
    slow = np.linspace(101.0, 105.0, 75)
    assert not beside_still(still, slow, slope).any()


def test_clear_water_whose_line_shows_at_times_only_is_unsure_by_it() -> None:
    """As bright as the water below, its upper edge is a step: 2 px above the level, and sure to 0.08 px."""
    places = falling(100, 40.0, 150.0)
    merged = clear_light(places, 200, thick=2.6, blur=0.8, air=0.38, water=0.45, depth=-0.07)
    shown = clear_light(places, 200, thick=2.6, blur=0.8, air=0.40, water=0.41, depth=-0.07)
    for rows, told in ((0, 0.0), (4, 0.0), (30, 2.6)):
        light = np.where((np.arange(100) < rows)[:, None], shown, merged)
        thick = line_at_times((255.0 * light).astype(np.float32), places - 2.6, 0.35)
        assert thick == pytest.approx(told, abs=0.7)
    light = np.where((np.arange(100) < 25)[:, None], shown, merged)
    track = find_surface(strip_of(light, 0.5, np.random.default_rng(22)))
    error = (track.along_px - places)[track.found]
    assert np.abs(error).max() < 3.0 * track.shared_u_px


@pytest.mark.parametrize(("gone", "trusted"), [(18, True), (25, False)])
def test_what_is_left_of_an_edge_that_mostly_does_not_hold_is_not_trusted(gone: int, trusted: bool) -> None:
    """Of each four dozen frames some show no edge: where more than half do not, the others hold by chance."""
    rng = np.random.default_rng(26)
    places = falling(144, 30.0, 160.0)
    light = head_light(places, 200, air=0.3, water=0.2)
    light[np.arange(144) % 48 < gone] = 0.3
    track = find_surface(strip_of(light, 1.0, rng))
    assert track.found.any() == trusted
    assert np.abs((track.along_px - places)[track.found]).max(initial=0.0) < 1.0


def test_frames_that_hold_here_and_there_hold_by_chance_and_half_a_run_does_not() -> None:
    seen = np.ones(100, dtype=bool)
    scattered = np.arange(100) % 2 == 0
    assert _holds_by_chance(seen, scattered)
    # The surface leaves the line half-way: what was read before is no worse for it.
    assert not _holds_by_chance(seen, np.arange(100) >= 50)
    assert _holds_by_chance(seen, np.arange(100) >= 35)
    assert not _holds_by_chance(seen, np.arange(100) % 5 < 2)
    assert not _holds_by_chance(~seen, ~seen)


def test_an_uneven_clock_makes_no_errors_of_its_own() -> None:
    rng = np.random.default_rng(17)
    # Frames lost here and there, then a stretch at half the rate.
    steps = np.where(rng.random(159) < 0.15, 2.0, 1.0) + rng.normal(0.0, 0.08, 159)
    steps[60:100] *= 2.0
    seconds = np.concatenate([[0.0], np.cumsum(steps)]) / 30.0
    share = seconds / seconds[-1]
    places = np.interp(share, np.linspace(0.0, 1.0, 2001), falling(2001, 40.0, 260.0))
    strip = strip_of(head_light(places, 320), 0.9, rng)
    known, unknown = find_surface(strip, seconds=seconds), find_surface(strip)
    assert known.found.mean() > 0.9
    seen = known.found
    assert known.shared_u_px < 0.1
    assert unknown.shared_u_px > 0.3
    assert np.median(known.own_u_px[seen]) < 0.06
    assert np.median(unknown.own_u_px[unknown.found]) > 0.15
    assert np.sqrt(np.mean((known.along_px - places)[seen] ** 2)) < 0.09


def test_a_fall_at_uneven_times_is_smooth() -> None:
    rng = np.random.default_rng(18)
    clock = clock_of(np.cumsum(rng.uniform(0.5, 1.5, 120)), 120)
    assert (clock[0], clock[-1]) == (-1.0, 1.0)
    places = 100.0 + 80.0 * clock - 15.0 * clock**2
    places[40] += 5.0
    course, scatter = smooth_in_time(places, np.ones(120), 8, clock)
    assert course == pytest.approx(100.0 + 80.0 * clock - 15.0 * clock**2, abs=0.02)
    assert np.max(scatter) < 0.05


def test_a_stretch_that_stands_still_is_refused_however_unsure_its_place() -> None:
    rng = np.random.default_rng(19)
    places = falling(150, 30.0, 190.0) + rng.normal(0.0, 0.2, 150)
    usable = np.ones(150, dtype=bool)
    usable[60:100] = usable[106:] = False
    clock = clock_of(None, 150)
    assert not strayed(places, usable, clock).any()
    stuck = places.copy()
    stuck[100:106] = places[100:106].mean()
    assert np.array_equal(np.flatnonzero(strayed(stuck, usable, clock)), np.arange(100, 106))


def test_a_longer_stretch_that_stands_still_far_beyond_the_others_is_refused() -> None:
    """On a label's lower edge for the last 14 frames, 50 after the label began: where it should be is unsure."""
    rng = np.random.default_rng(27)
    places = falling(142, 20.0, 144.0) + rng.normal(0.0, 0.1, 142)
    usable = np.ones(142, dtype=bool)
    usable[77:127] = usable[141:] = False
    clock = clock_of(None, 142)
    assert not strayed(places, usable, clock).any()
    stuck = places.copy()
    stuck[127:141] = 131.3
    assert np.array_equal(np.flatnonzero(strayed(stuck, usable, clock)), np.arange(127, 141))


def test_ends_that_leave_the_way_that_leads_there_are_refused() -> None:
    rng = np.random.default_rng(20)
    places = falling(120, 30.0, 190.0) + rng.normal(0.0, 0.05, 120)
    own_u, usable, clock = np.full(120, 0.06), np.ones(120, dtype=bool), clock_of(None, 120)
    usable[50:60] = False
    assert not loose_ends(places, own_u, usable, clock, 8, 0.4)[0].any()
    places[[49, 118, 119]] += np.array([0.9, 0.6, 1.2])
    assert np.array_equal(np.flatnonzero(loose_ends(places, own_u, usable, clock, 8, 0.4)[0]), [49, 118, 119])
    loose, away = loose_ends(places, 8.0 * own_u, usable, clock, 8, 0.4)
    assert not loose.any()
    # What is not told from chance is not told at all; what is, is kept for the frame's own uncertainty.
    assert not away.any()
    loose, away = loose_ends(places, own_u, usable, clock, 8, 5.0)
    assert not loose.any()
    assert away[[49, 118]] == pytest.approx([0.9, 0.6], abs=0.25)
    assert away[119] == pytest.approx(1.2, abs=0.25)
    # The last frame is no surer than those within that lie off.
    places[[118, 119]] += [0.6, -1.1]
    assert loose_ends(places, own_u, usable, clock, 8, 5.0)[1][119] > 0.9


def test_a_line_that_the_other_kind_beside_it_fits_as_well_is_not_told() -> None:
    places = falling(60, 40.0, 90.0)
    line, held, table = Line(0.8, 2.6), np.ones(60, dtype=bool), light_table(8)
    light = clear_light(places, 140, thick=2.6, blur=0.8, depth=-0.25, air=0.05, water=0.05)
    levels = np.rint(coded(light) + np.random.default_rng(21).normal(0.0, 4.0, light.shape)).astype(np.uint8)
    bright = fit_edges(table[levels], places, 0.8, thick_px=2.6)
    assert not untold(levels, table, bright, line, held).any()
    # The dark above the line, held for the line although the bright one fits no worse, and after a gap.
    held[25:35] = False
    misfit = np.where(np.arange(60) < 30, 0.5, 1.0) * bright.misfit
    dark = EdgeFit(places - 2.6, bright.information, -bright.contrast, misfit)
    doubtful = untold(levels, table, dark, line, held)
    assert np.array_equal(np.flatnonzero(doubtful), np.arange(35, 60))
    # What fits as well but is of the same kind is no rival.
    alike = EdgeFit(dark.place, dark.information, bright.contrast, misfit)
    assert not untold(levels, table, alike, line, held).any()


def test_an_edge_that_coding_moves_about_in_steps_is_read_and_as_unsure_as_it_steps() -> None:
    rng = np.random.default_rng(22)
    places = falling(140, 40.0, 300.0)
    # A film of little light: no noise is left, and what the edge moves by is left out until it is much.
    stepping = places + rng.normal(0.0, 0.75, 140)
    track = find_surface(strip_of(head_light(stepping, 360), 0.0, rng))
    assert track.found.mean() > 0.85
    error = (track.along_px - places)[track.found]
    u = np.hypot(track.own_u_px[track.found], track.shared_u_px)
    assert 0.75 < np.sqrt(np.mean((error / u) ** 2)) < 1.25
    # Scattered so far, and not plain in its frames either, it is none.
    faint = find_surface(strip_of(head_light(stepping, 360, water=0.40, band=0.0), 7.0, rng))
    assert faint.found.mean() < 0.2


def test_frames_that_repeat_those_before_are_as_unsure_as_the_surface_has_fallen_meanwhile() -> None:
    places = falling(120, 40.0, 160.0)
    strip = strip_of(head_light(places, 220), 0.8, np.random.default_rng(24))
    levels = strip.levels.copy()
    levels[61:65] = levels[60]  # coding leaves them as they were
    track = find_surface(replace(strip, levels=levels))
    for row in range(61, 65):
        fallen = places[row] - places[60]
        assert not track.found[row] or track.own_u_px[row] >= 0.5 * fallen
    assert np.median(track.own_u_px[track.found]) < 0.1
    clock, held = clock_of(None, 120), np.ones(120, dtype=bool)
    stays = places.copy()
    stays[61:65] = stays[60]
    assert fallen_since(places, held, clock) == pytest.approx(0.0)
    expected = np.where((places >= places[61]) & (places <= places[64]), places - places[60], 0.0)
    assert fallen_since(stays, held, clock) == pytest.approx(expected, abs=0.1)


def test_a_place_off_its_neighbours_is_as_unsure_as_it_is_off() -> None:
    rng = np.random.default_rng(23)
    places = falling(150, 40.0, 200.0)
    off = places.copy()
    off[[50, 90]] += [0.45, 0.9]
    track = find_surface(strip_of(head_light(off, 260, blur=1.6), 0.9, rng))
    usual = np.median(track.own_u_px[track.found])
    assert usual < 0.1
    for row, by in ((50, 0.45), (90, 0.9)):
        assert not track.found[row] or track.own_u_px[row] == pytest.approx(by / 2.5, rel=0.3)


def test_what_all_frames_share_grows_as_the_edge_gets_flat() -> None:
    """What stays on one side of an edge moves it by itself over the edge's slope."""
    rng = np.random.default_rng(24)
    places = falling(150, 40.0, 200.0)
    tracks = [
        find_surface(strip_of(head_light(places, 260, water=w, band=0.0), 0.3, rng)) for w in (0.1, 0.4)
    ]
    slopes = [255 * (0.45 - w) / (np.sqrt(2 * np.pi) * 1.1) for w in (0.1, 0.4)]
    steep, flat = (track.shared_u_px for track in tracks)
    assert flat > steep
    # Blur, 0.044 of it, is the same in both; the rest of the steep one's is next to nothing.
    assert steep == pytest.approx(np.hypot(0.044 * 1.1, 0.53 / slopes[0]), rel=0.35)
    assert flat == pytest.approx(np.hypot(0.044 * 1.1, 0.53 / slopes[1]), rel=0.35)


def covered_by_hand(
    places: NDArray[np.float64], rows: slice, first: float, stop: float
) -> NDArray[np.float64]:
    """Light of a surface with something of its own light over part of the line in some frames."""
    light = head_light(places, 300)
    light[rows, int(first) : int(stop)] = 0.62
    return light


def test_a_hand_elsewhere_on_the_line_leaves_the_surface_in_sight() -> None:
    rng = np.random.default_rng(25)
    places = falling(160, 40.0, 220.0)
    middle = places[60:80].mean()
    away = find_surface(
        strip_of(covered_by_hand(places, slice(60, 80), middle + 55.0, middle + 90.0), 0.8, rng)
    )
    assert away.found[60:80].all()
    assert np.abs(away.along_px - places)[60:80].max() < 0.3
    # Nearer than its own profile and a little more, it may hide what moves the edge.
    near = find_surface(
        strip_of(covered_by_hand(places, slice(60, 80), middle + 22.0, middle + 90.0), 0.8, rng)
    )
    assert not near.found[62:78].any()
    assert set(near.why[62:78]) == {Why.COVERED}
    over = find_surface(
        strip_of(covered_by_hand(places, slice(60, 80), middle - 30.0, middle + 90.0), 0.8, rng)
    )
    assert not over.found[60:80].any()


def test_a_few_frames_beyond_a_gap_that_the_others_do_not_lead_to_are_refused() -> None:
    rng = np.random.default_rng(8)
    places, own_u, clock = falling(120, 30.0, 150.0), np.full(120, 0.08), np.linspace(-1.0, 1.0, 120)
    seen = places + 0.08 * rng.standard_normal(120)
    usable = np.ones(120, dtype=bool)
    usable[96:114] = False
    usable[5:12] = False
    assert not cut_off(seen, own_u, usable, clock, 8)[0].any()
    stuck = seen.copy()
    stuck[114:] = places[112]  # an edge behind that stands still
    assert np.array_equal(np.flatnonzero(cut_off(stuck, own_u, usable, clock, 8)[0]), np.arange(114, 120))
    stuck[:5] = places[6]
    assert np.array_equal(
        np.flatnonzero(cut_off(stuck, own_u, usable, clock, 8)[0]), [0, 1, 2, 3, 4, *range(114, 120)]
    )
    # More frames than neighbours share speak for one another.
    usable[104:114] = True
    assert not cut_off(stuck, own_u, usable, clock, 8)[0][100:].any()
    # What they lie off it by more than chance is told all the same.
    usable[104:106] = False
    aside = seen.copy()
    aside[106:] += 0.5
    refused, away, together = cut_off(aside, own_u, usable, clock, 8)
    assert not refused[106:].any()
    assert np.median(away[106:]) == pytest.approx(0.5, abs=0.3)
    assert together[106:] == pytest.approx(0.5, abs=0.3)
    assert np.ptp(together[106:]) == 0.0
    assert not together[12:106].any()


def test_what_a_short_last_stretch_lies_off_by_chance_makes_it_no_less_sure() -> None:
    clock, own_u, usable = np.linspace(-1.0, 1.0, 120), np.full(120, 0.08), np.ones(120, dtype=bool)
    usable[98:108] = False
    told = [
        np.median(cut_off(falling(120, 30.0, 150.0) + 0.08 * noise, own_u, usable, clock, 8)[2][108:])
        for noise in np.random.default_rng(11).standard_normal((60, 120))
    ]
    assert np.median(told) < 0.08


def test_a_small_step_that_rises_slowly_is_unsure_and_a_large_or_sharp_one_is_not() -> None:
    assert rising_u(2.5, 6.0) > 1.0
    assert rising_u(1.0, 6.0) == 0.0
    assert rising_u(2.5, 150.0) < 0.06
    assert rising_u(2.5, 20.0) < rising_u(2.5, 10.0)
    # No lens blurs like that: the middle of a faint shade was read 4.7 px beyond where the water begins.
    assert rising_u(1.8, 6.5) > 1.2
    assert rising_u(1.4, 6.5) < 0.25


def test_water_that_hides_what_air_shows_is_dyed_however_thin_its_edge() -> None:
    places = falling(100, 40.0, 150.0)
    along = np.arange(200)
    behind = 120.0 + 40.0 * np.sin(along / 7.0)
    below = along[None, :] > places[:, None]
    line = np.abs(along[None, :] - places[:, None]) < 1.5
    clear, dyed = (
        np.where(line, 60.0, np.where(below, water, behind)).astype(np.float32)
        for water in (0.8 * behind, np.full(200, 118.0))
    )
    assert not hides_behind(clear, places)
    assert hides_behind(dyed, places)
    # Before an even wall, or one that only grows darker along the strip, nothing can be told.
    plain = np.where(below, 118.0, 120.0 + 0.2 * along).astype(np.float32)
    assert not hides_behind(plain, places)


def test_a_band_that_is_half_a_line_and_half_a_step_is_either_and_the_uncertainty_spans_it() -> None:
    rng = np.random.default_rng(9)
    places = falling(100, 40.0, 150.0)
    # A step of 0.08 with a dip of 0.05 below the water: its other edge is less than half as steep.
    light = clear_light(places, 200, thick=2.6, blur=0.9, air=0.40, water=0.32, depth=0.13)
    band = band_along((255.0 * light).astype(np.float32), places - 2.6)
    assert not band.is_line(0.35)
    assert band.is_either(0.35)
    assert band.thick_px == pytest.approx(2.6, abs=0.7)
    # Nor is it either where a dye shows in it.
    assert not band.is_either(1.5)
    track = find_surface(strip_of(light, 0.6, rng))
    error = (track.along_px - places)[track.found]
    assert track.found.mean() > 0.9
    assert np.abs(error).max() < 2.5 * track.shared_u_px
    assert any("clear or of dyed" in words for words in track.remarks)
    # Someone who marks an edge has settled it.
    rows = np.array([10, 50, 90])
    marked = find_surface(strip_of(light, 0.6, rng), hints=Hints(rows, (places - 2.6)[rows]))
    assert not any("clear or of dyed" in words for words in marked.remarks)
    assert marked.shared_u_px < 0.3 * track.shared_u_px


def test_a_lower_edge_that_is_not_at_half_the_lines_height_is_told_by_how_far() -> None:
    places = falling(40, 60.0, 90.0)
    light = (255.0 * clear_light(places, 160, thick=2.6, blur=0.7)).astype(np.float32)
    held, ones = np.ones(40, dtype=bool), np.ones(40)
    for off in (0.0, 0.8, -0.8):
        fit = EdgeFit(places + off, ones, ones, ones)
        assert parted_from_half(light, fit, held) == pytest.approx(abs(off), abs=0.12)
    assert parted_from_half(light, fit, ~held) == 0.0


def test_a_line_whose_course_runs_on_its_upper_edge_is_read_at_its_lower_one() -> None:
    """A shape found too thin does not reach from there; where the lower edge was seen before it does."""
    rng = np.random.default_rng(33)
    places = falling(120, 30.0, 170.0)
    light = clear_light(places, 220, thick=2.6, blur=0.7, depth=-0.25, air=0.08, water=0.08)
    sight = light_of(strip_of(light, 0.6, rng), falls_forward=True)
    thin, clock = Line(0.9, 1.0), clock_of(None, 120)
    alone = fit_lines(sight.codes, sight.table, places - 3.5, thin, 8, clock)
    led = fit_lines(sight.codes, sight.table, places - 3.5, thin, 8, clock, lower=places - 0.5)
    assert np.median(np.abs(alone.place - places)) > 2.0
    assert np.median(np.abs(led.place - places)) < 1.0
    assert left_over(led) < 0.5 * left_over(alone)


def test_frames_near_refused_ones_are_less_sure_and_others_are_not() -> None:
    refused = np.zeros(40, dtype=bool)
    refused[18:21] = True
    factor = less_sure_beside(refused)
    assert factor[[17, 21]] == pytest.approx([1.7, 1.7])
    assert factor[:18] == pytest.approx(factor[21:39][::-1])
    assert np.all(np.diff(factor[:18]) > 0)
    assert factor[0] < 1.01
    assert less_sure_beside(np.zeros(5, dtype=bool)) == pytest.approx(np.ones(5))


def test_a_line_beside_its_own_reflection_is_read_and_less_sure_for_it() -> None:
    """The far side's line lies close below the near one, and is left over when that is fitted."""
    places = falling(140, 30.0, 180.0)
    x = np.arange(230) - places[:, None]

    def read(depth: float) -> Track:
        apart = np.linspace(7.0, 2.0, 140)[:, None]
        far = ndtr(x - apart) - ndtr(x - apart - 4.0)
        light = clear_light(places, 230, thick=2.6, blur=0.6, depth=0.2, air=0.3, water=0.31) - depth * far
        return find_surface(strip_of(light, 0.7, np.random.default_rng(35)))

    alone, beside = read(0.0), read(0.17)
    assert beside.found.mean() > 0.9
    assert np.median(np.abs(beside.along_px - places)[beside.found]) < 0.2
    assert alone.shared_u_px < 0.3
    assert beside.shared_u_px > alone.shared_u_px + 0.15
