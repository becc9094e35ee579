"""Marks by hand: they lead, they are held against what is found, and where the two part it is said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure_app.finders import Hints, Part, Why, find_surface
from measure_app.finders.course import _worth
from measure_app.finders.marked import agreed, beside_marks
from measure_app.finders.track import unless_it_parts
from tests.measure_app.finders.drawn import falling, head_light, strip_of

FRAMES = np.arange(160)
PLACES = falling(160, 40.0, 200.0)
OWN = np.full(160, 0.1)


def held(*gaps: slice) -> tuple[Why | None, ...]:
    why: list[Why | None] = [None] * 160
    for gap in gaps:
        for row in range(*gap.indices(160)):
            why[row] = Why.COVERED
    return tuple(why)


def test_a_mark_in_a_frame_that_was_not_found_is_held_against_the_frames_around_it() -> None:
    rows = np.array([20, 120])
    marks = Hints(rows, PLACES[rows] + np.array([0.5, -8.0]))
    refused, remarks = agreed(Part.SURFACE, FRAMES, PLACES, OWN, held(slice(117, 124)), marks)
    assert "frame 120 (7.8 px)" in remarks[0]  # what lies around bends a little
    assert {refused[row] for row in [*range(71, 117), *range(124, 160)]} == {Why.MARKED}
    assert refused[:70] == (None,) * 70
    # Where nothing is found for far around there is nothing to compare.
    assert agreed(Part.SURFACE, FRAMES, PLACES, OWN, held(slice(95, 145)), marks)[1] == ()


def test_a_stretch_whose_only_mark_disagrees_goes_as_a_whole() -> None:
    rows = np.array([60, 150])
    marks = Hints(rows, PLACES[rows] + np.array([0.5, -8.0]))
    refused, _ = agreed(Part.SURFACE, FRAMES, PLACES, OWN, held(slice(75, 85)), marks)
    assert set(refused[85:]) == {Why.MARKED}
    assert set(refused[:75]) == {None}


@pytest.mark.parametrize(("u_px", "agrees"), [(0.5, False), (1.5, True), (50.0, True)])
def test_a_mark_counts_by_what_its_hand_says_it_may_be_off(u_px: float, agrees: bool) -> None:
    rows = np.array([80])
    marks = Hints(rows, PLACES[rows] + 4.0, np.array([u_px]))
    assert (agreed(Part.LANDING, FRAMES, PLACES, OWN, held(), marks)[1] == ()) == agrees
    # However unsure, a mark ten pixels off is another thing.
    far = Hints(rows, PLACES[rows] + 10.0, np.array([u_px]))
    assert agreed(Part.LANDING, FRAMES, PLACES, OWN, held(), far)[1] != ()


def test_what_lies_beside_all_marks_is_unsure_by_it_and_a_hand_is_not_held_against_it() -> None:
    rows = np.arange(5, 155, 10)
    shaken = np.random.default_rng(3).normal(0.0, 0.6, len(rows))
    assert beside_marks(PLACES, held(), Hints(rows, PLACES[rows] + shaken)) == 0.0
    beside = beside_marks(PLACES, held(), Hints(rows, PLACES[rows] + 2.2 + shaken))
    assert beside == pytest.approx(np.sqrt(2.2**2 + 0.6**2 - 1.0), abs=0.3)
    assert beside_marks(PLACES, held(), None) == 0.0
    assert beside_marks(PLACES, (Why.FAINT,) * 160, Hints(rows, PLACES[rows] + 5.0)) == 0.0


def test_three_marks_lead_between_an_edge_and_a_stronger_one_close_below() -> None:
    """From the middle of the run on a plainer edge falls nine pixels below: within the fall between two marks."""
    rng = np.random.default_rng(5)
    places = falling(160, 50.0, 230.0)
    light = head_light(places, 300, air=0.42, water=0.34)
    along = np.arange(300)[None, :]
    light[80:] -= 0.2 * (along > places[80:, None] + 9.0)
    strip = strip_of(light, 0.8, rng)
    free = find_surface(strip)
    second = np.arange(160) >= 84
    right = np.abs(np.nan_to_num(free.along_px) - places) < 1.0
    assert (right & second).sum() < 0.2 * second.sum()
    rows = np.array([10, 90, 150])
    led = find_surface(strip, hints=Hints(rows, places[rows] + np.array([0.4, -0.5, 0.6])))
    assert (led.found & second).sum() > 0.8 * second.sum()
    assert np.abs(led.along_px - places)[led.found].max() < 1.0


@pytest.mark.parametrize("after", [60, 130])
def test_two_parts_that_do_not_lie_on_one_curve_are_not_both_believed(after: int) -> None:
    rng = np.random.default_rng(6)
    clock = np.linspace(-1.0, 1.0, 160)
    gone = slice(after, after + 8)
    places = PLACES + rng.normal(0.0, 0.2, 160)
    places[after:] += 7.0
    why = unless_it_parts(places, held(gone), clock)
    assert set(why[after + 8 :]) == {Why.PARTED}
    # The larger part is believed where it is most of what was found.
    assert set(why[:after]) == ({None} if after > 107 else {Why.PARTED})
    assert set(why[gone]) == {Why.COVERED}


@given(
    seed=st.integers(0, 9999),
    gap=st.integers(20, 130),
    missing=st.integers(3, 30),
    bend=st.floats(-25.0, 25.0),
    noise=st.floats(0.02, 0.8),
)
@settings(max_examples=60, deadline=None)
def test_a_path_on_one_curve_is_believed_whatever_is_missing(
    seed: int, gap: int, missing: int, bend: float, noise: float
) -> None:
    """A container that widens and narrows bends the fall once more (third degree, up to 25 px)."""
    rng = np.random.default_rng(seed)
    clock = np.linspace(-1.0, 1.0, 160)
    places = PLACES + bend * (clock**3 - clock) + rng.normal(0.0, noise, 160)
    why = held(slice(gap, gap + missing))
    assert unless_it_parts(places, why, clock) == why


def test_marks_close_together_lead_nowhere_wrong() -> None:
    """A hand's pixel over single frames bends a curve by hundreds of pixels a hundred frames on."""
    rng = np.random.default_rng(8)
    strip = strip_of(head_light(PLACES, 280), 0.8, rng)
    close = np.array([10, 11, 12, 150, 151])
    assert _worth(Hints(close, PLACES[close]), 1, 160, 280) is None
    for rows in (np.array([10, 11, 12]), np.array([10, 11, 12, 13, 30, 31]), np.array([3, 80, 81, 156])):
        led = find_surface(strip, hints=Hints(rows, PLACES[rows] + rng.normal(0.0, 0.8, len(rows))))
        assert led.found.mean() > 0.95
        assert np.abs(led.along_px - PLACES)[led.found].max() < 0.6
