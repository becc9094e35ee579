"""What comes before and after the draining is left out, and nothing else is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration import FloatArray
from measure_app.finders import Drift, Hints, Why, find_surface, part_of, running, whole_again
from measure_app.finders.steadiness import still
from measure_app.strips import Strip
from tests.measure_app.finders.drawn import falling, head_light, strip_of


def rested(before: int, n: int, after: int) -> FloatArray:
    """Places of a surface at rest, falling for n frames, and at rest again."""
    return np.concatenate([np.full(before, 40.0), falling(n, 40.0, 200.0), np.full(after, 200.0)])


def strip_at(places: FloatArray, noise: float = 0.8) -> Strip:
    return strip_of(head_light(places, 260), noise, np.random.default_rng(7))


@given(
    before=st.integers(0, 120), n=st.integers(80, 160), after=st.integers(0, 260), noise=st.floats(0.2, 2.5)
)
@settings(max_examples=30, deadline=None)
def test_rest_at_either_end_is_left_out_and_the_draining_is_not(
    before: int, n: int, after: int, noise: float
) -> None:
    rows = running([strip_at(rested(before, n, after), noise)])
    whole = before + n + after
    # Of the draining next to nothing is lost, however slowly it ends.
    assert rows.start <= before + 0.02 * whole
    assert rows.stop >= before + n - 0.02 * whole
    # What is left of a rest is short.
    assert rows.start >= before - 0.16 * whole
    assert rows.stop <= before + n + 0.16 * whole
    if before > 0.2 * whole:
        assert rows.start >= before - 0.06 * whole
    if after > 0.2 * whole:
        assert rows.stop <= before + n + 0.06 * whole


@pytest.mark.parametrize("after", [0, 300])
def test_a_surface_that_rests_in_most_of_the_film_is_found_where_it_falls(after: int) -> None:
    """The median over time of such a strip is the resting water, and nothing was found before."""
    places = rested(60, 120, after)
    strip = strip_at(places)
    rows = running([strip])
    track = whole_again(find_surface(part_of(strip, rows)), rows, strip.frames)
    assert track.found[65:175].mean() > 0.95
    assert np.abs((track.along_px - places)[track.found]).max() < 0.5
    resting = np.r_[0:45, 195 : 180 + after]
    assert {track.why[row] for row in resting.tolist()} == {Why.AT_REST}
    assert len(track.why) == len(track.along_px) == len(track.own_u_px) == len(places)


def test_what_moves_on_one_line_counts_for_all() -> None:
    """A label may hide the surface for the end of the run, while the jet goes on."""
    hidden, seen = strip_at(rested(0, 100, 100)), strip_at(falling(200, 30.0, 220.0))
    assert running([hidden]).stop < 120
    assert running([hidden, seen]) == slice(0, 200)


def test_a_hand_that_stops_the_camera_is_no_draining() -> None:
    light = head_light(rested(0, 120, 120), 260)
    light[230:] = 0.3
    assert running([strip_of(light, 0.8, np.random.default_rng(1))]).stop < 140


@pytest.mark.parametrize("covered", [slice(18, 23), slice(0, 40), slice(20, 70), slice(110, 160)])
def test_what_comes_to_stand_before_the_line_is_no_rest(covered: slice) -> None:
    """Before it stands still it moves, and what is behind it goes on."""
    light = head_light(falling(160, 40.0, 200.0), 260)
    light[covered] = 0.3 + 0.1 * np.sin(np.arange(260) / 9.0)
    assert running([strip_of(light, 0.8, np.random.default_rng(3))]) == slice(0, 160)


def test_a_camera_that_changes_its_mind_about_the_light_is_no_draining() -> None:
    strip = strip_at(rested(0, 120, 120))
    brighter = np.rint(12.0 * np.sin(np.arange(240) / 9.0))[:, None]
    assert running([replace(strip, levels=(strip.levels + brighter).astype(np.uint8))]).stop < 140


def test_where_nothing_moves_all_is_kept_and_so_is_a_short_run() -> None:
    assert running([strip_at(np.full(150, 90.0))]) == slice(0, 150)
    assert running([strip_at(rested(0, 5, 2))]) == slice(0, 7)


def test_what_a_person_marked_is_looked_at() -> None:
    strip = strip_at(rested(60, 120, 120))
    marks = Hints(np.array([5, 290]), np.array([40.0, 200.0]))
    assert running([strip], None, [marks]) == slice(5, 291)
    assert marks.after(5).rows.tolist() == [0, 285]


def test_frames_that_cannot_be_read_move_nothing() -> None:
    strip = strip_at(rested(0, 120, 120))
    lost = [row for row in range(150, 240) if row % 3]
    levels = np.array(strip.levels)
    levels[lost] = np.random.default_rng(4).integers(16, 236, (len(lost), 260))
    spoilt = replace(strip, levels=levels, unseen=tuple((row, "damaged") for row in lost))
    assert running([spoilt]).stop < 140
    assert part_of(spoilt, slice(150, 156)).unseen == tuple((row, "damaged") for row in (1, 2, 4, 5))


def test_part_of_a_drift_is_that_of_the_frames() -> None:
    ramp = np.arange(10.0)
    drift = Drift(ramp, -ramp, 0.1 * ramp, ramp > 7, 0.01 * ramp, (3.0, 4.0), np.eye(3)[None].repeat(10, 0))
    cut, at = drift.during(slice(4, 9)), np.array([50.0, 20.0])
    along = np.array([0.6, 0.8])
    assert cut.along(along, at) == pytest.approx(drift.along(along, at)[4:9])
    assert cut.u_along(along, at) == pytest.approx(drift.u_along(along, at)[4:9])
    assert cut.lost.tolist() == drift.lost[4:9].tolist()
    assert not still(6).during(slice(1, 4)).moved
