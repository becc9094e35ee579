"""Marks of falls on the slow sample clip, placed by its truth: lengths, times, sources, and the g that comes of them."""

from __future__ import annotations

from dataclasses import replace as having
from fractions import Fraction

import numpy as np
import pytest
from msgspec.structs import replace

from analysis import Falling
from calibration import Pixel
from measure_app.clip import PlaneGeometry, open_clip
from measure_app.errors import SetupIncomplete
from measure_app.falls import DROP_OF_JET, falls_of
from measure_app.outcome import calibration_of, measure, outcome_of
from measure_app.packs.content import PackPlan, run_for_students
from measure_app.run import FallMark, FallPart
from tests.measure_app.falling_marks import SCENE, SLOW, TRUE_G, let_go, marked, of_the_jet, slow_film, told


@pytest.fixture(scope="module")
def film():
    return slow_film()


def g_of(film, run):
    return outcome_of(run, film[1], film[2]).findings


def test_places_and_times_are_those_of_the_truth(film):
    run, seconds, info = film
    frames, places = of_the_jet(seconds, 40, 10)
    run = told(run, marked("jet front", frames, places))
    falls = falls_of(run, calibration_of(run, (info.width, info.height)), seconds, info)
    fall = falls.falls[0]
    assert fall.kind is Falling.JET_FRONT
    assert fall.time_s == pytest.approx(frames / 240.0)
    assert fall.step_s == pytest.approx(np.full(10, 1 / 240.0))
    u = np.maximum(fall.down.u, 2e-4)
    assert np.all(np.abs(fall.down.values - (SCENE.drain.drop_m - places[:, 2])) < 3 * u)
    assert np.all(np.abs(fall.across.values - places[:, 0]) < 3 * fall.across.u)
    # One pixel is 0.88 mm here.
    assert fall.down.own_u == pytest.approx(
        np.full(10, SCENE.camera.distance_m / SCENE.camera.focal_px), rel=0.05
    )
    assert fall.diameter_m is None
    assert set(falls.sources) <= set(calibration_of(run, (info.width, info.height)).sources)


@pytest.mark.parametrize("seed", range(3))
def test_g_comes_out_of_marks_with_a_pixel_of_noise(film, seed):
    run, seconds, _ = film
    parts = [
        marked(
            "jet front", *of_the_jet(seconds, first, 12), noise_px=1.0, seed=10 * seed + i, name=f"front {i}"
        )
        for i, first in enumerate((20, 150, 300))
    ]
    findings = g_of(film, told(run, *parts, launch_angle_deg=0.0, launch_angle_u_deg=0.2))
    for name in ("gravity_from_parabola", "gravity_from_track"):
        found = findings.finding(name)
        assert abs(found.value - TRUE_G) < 3 * found.u
        assert found.u < 0.025 * TRUE_G
        assert not found.depends_on_assumed_g
        assert sum(share.u**2 for share in found.budget) == pytest.approx(found.u**2)
        assert any("upright steel rule" in share.source for share in found.budget if share.shared)
    combined = findings.finding("gravity_combined")
    assert abs(combined.value - TRUE_G) < 3 * combined.u


def test_a_drop_let_go_behind_the_jet_is_measured_at_its_own_depth(film):
    run, seconds, _ = film
    frames = np.arange(60, 100, 3)
    places = let_go(seconds, frames, SCENE.drain.drop_m + 0.10, 0.1, y_m=0.12)
    part = marked("drop", frames, places, noise_px=0.2, px_u=0.2, behind_m=0.12, behind_u_m=0.002)
    findings = g_of(film, told(run, part))
    found = findings.finding("gravity_from_parabola")
    # The film has no air in it; the engine takes drag off, and counts what it does not know of it.
    drag = next(share.u for share in found.budget if share.source.startswith("drag"))
    assert abs(found.value - TRUE_G) < 3 * found.u
    assert found.u < 0.03 * TRUE_G
    assert drag < 0.01 * TRUE_G
    assert any(share.source == "fall “a fall”: depth of what falls" for share in found.budget)
    flat = g_of(film, told(run, replace(part, behind_m=0.0))).finding("gravity_from_parabola")
    # 120 mm behind, seen from 1.33 m: 9 % too small a scale, as the depth is not known.
    assert flat.value / found.value == pytest.approx(1 / (1 + 0.12 / 1.327), rel=0.01)
    assert next(w for w in findings.undetermined if w.name == "gravity_from_track").missing.startswith(
        "a drop of the jet"
    )


def test_two_events_of_a_drop_give_the_time_of_its_fall(film):
    run, seconds, _ = film
    frames = np.array([100, 148])  # 0.2 s
    parts = [marked("drop", frames, let_go(seconds, frames, 0.28, 0.1), name=f"drop {i}") for i in range(2)]
    found = g_of(film, told(run, *parts)).finding("gravity_from_fall_time")
    assert abs(found.value - TRUE_G) < 3 * found.u
    shares = {share.source: share.u / found.value for share in found.budget}
    # 2 √(1/6) frames of 1/240 s in 0.2 s, halved in variance by the second drop (derived).
    assert shares["when within a frame each end happens"] == pytest.approx(
        2 / np.sqrt(6) / 240 / 0.2 / np.sqrt(2), rel=0.02
    )


def test_the_rolling_shutter_gives_each_row_its_own_time(film):
    run, seconds, info = film
    frames = np.arange(60, 100, 3)
    readout = 0.004
    # Where the drop is when its own row is read; two rounds settle the row.
    age = seconds[frames] - seconds[60]
    late = np.zeros(len(frames))
    for _ in range(6):
        places = np.stack([0 * age + 0.1, 0 * age, 0.33 - TRUE_G * (age + late) ** 2 / 2], axis=-1)
        late = readout * (SCENE.camera.project(places)[:, 1] + 0.5) / info.height
    part = marked("drop", frames, places, px_u=0.2)
    known, ignored, nobody = (
        g_of(film, told(run, part, shutter=shutter)).finding("gravity_from_parabola")
        for shutter in (readout, 0.0, None)
    )
    assert abs(known.value - TRUE_G) < 3 * known.u
    assert ignored.value > known.value * 1.01
    size = next(share.u for share in nobody.budget if share.source == "rolling shutter")
    # Not told, it may be up to a frame: 1/240 s, whose size as a standard uncertainty is 1/√3 of that.
    assert size == pytest.approx((ignored.value - known.value) / np.sqrt(3) / 240 / readout, rel=0.1)
    assert any("nobody told the camera's rolling shutter" in words for words in nobody.remarks)
    assert any("each row's own time is used" in words for words in known.remarks)


def test_with_the_phone_upright_the_rows_are_read_sideways(film):
    run, seconds, info = film
    frames = np.arange(60, 100, 3)
    part = marked("drop", frames, let_go(seconds, frames, 0.33, 0.1))
    turned = having(info, geometry=PlaneGeometry(720, 1280, Fraction(1), 1))
    assert (turned.width, turned.height) == (info.width, info.height)
    run = told(run, part, shutter=0.004)
    calibration = calibration_of(run, (info.width, info.height))
    upright, level = (falls_of(run, calibration, seconds, each).falls[0].time_s for each in (turned, info))
    assert np.ptp(level - seconds[frames]) > 0.0007
    assert np.ptp(upright - seconds[frames]) < 2e-5


def test_marks_out_of_reach_are_left_out_and_told(film):
    run, seconds, _ = film
    frames, places = of_the_jet(seconds, 40, 10)
    good = marked("jet front", frames, places)
    late = replace(good, marks=(*good.marks, FallMark(5000, good.marks[-1].px, 1.0)))
    findings = g_of(film, told(run, late))
    said = findings.finding("gravity_from_parabola").remarks
    assert any("left out: “a fall”: marks past the film's 600 frames" in words for words in said)
    assert (
        findings.finding("gravity_from_parabola").value
        == g_of(film, told(run, good)).finding("gravity_from_parabola").value
    )
    far = replace(
        good, marks=tuple(replace(mark, px=Pixel(mark.px.x, 4000.0 + i)) for i, mark in enumerate(good.marks))
    )
    missing = {each.name: each.missing for each in g_of(film, told(run, far)).undetermined}
    assert (
        "marks that can be turned into lengths; “a fall”: in frame 40 it lies"
        in missing["gravity_from_parabola"]
    )
    slow = g_of(film, told(run, replace(good, marks=tuple(reversed_marks(good))), shutter=1.0))
    words = {each.name: each.missing for each in slow.undetermined}["gravity_from_parabola"]
    assert "longer than the frames are apart" in words


def reversed_marks(part: FallPart):
    """Give the same frames with the places in reverse, as of something that rises."""
    return (replace(mark, px=other.px) for mark, other in zip(part.marks, reversed(part.marks), strict=True))


def test_without_a_clock_nothing_falls_and_the_names_are_told(film):
    run, seconds, info = film
    part = marked("jet front", *of_the_jet(seconds, 40, 10))
    outcome = outcome_of(told(run, part), None, info)
    missing = {each.name: each.missing for each in outcome.findings.undetermined}
    assert "still pictures do not tell when" in missing["gravity_from_parabola"]
    assert outcome.falls.falls == ()


def test_the_size_of_a_drop_comes_from_the_hole(film):
    run, seconds, info = film
    part = marked("jet drop", *of_the_jet(seconds, 40, 10))
    run = told(run, part)
    falls = falls_of(run, calibration_of(run, (info.width, info.height)), seconds, info)
    assert falls.falls[0].diameter_m == pytest.approx(DROP_OF_JET * run.orifice.diameter_m)


@pytest.mark.parametrize(
    ("told_hz", "hint", "words"),
    [
        (240.0, 240.0, "caught at 240 frames a second, as told"),
        (None, 240.0, "g is 64 times as large"),
        (None, None, "the film's own"),
    ],
)
def test_how_far_the_clock_is_trusted_is_said(film, told_hz, hint, words):
    run, seconds, info = film
    part = marked("jet front", *of_the_jet(seconds, 40, 10))
    other = having(info, capture_rate_hz=told_hz, capture_rate_hint=hint, file_rate=Fraction(30))
    found = outcome_of(told(run, part), seconds, other).findings.finding("gravity_from_parabola")
    assert any(words in said for said in found.remarks)


def test_marks_of_falls_are_no_gift_to_students(film):
    run, seconds, _ = film
    run = told(run, marked("jet front", *of_the_jet(seconds, 40, 4)))
    assert run_for_students(run, PackPlan()).falls == ()
    assert run_for_students(run, PackPlan(give_readings=True)).falls == run.falls


def test_a_film_of_a_falling_drop_alone_is_measured_without_looking_for_water(film):
    run, seconds, _ = film
    frames = np.arange(60, 104, 4)
    run = told(run, marked("drop", frames, let_go(seconds, frames, 0.36, -0.122)))
    with open_clip(SLOW.with_name("slow.mp4"), capture_rate_hz=240.0) as clip:
        outcome = measure(replace(run, gauge_line=None, landing_line=None), clip)
        assert outcome.found_anything
        assert outcome.search is None
        assert outcome.findings.finding("gravity_from_parabola") is not None
        with pytest.raises(SetupIncomplete, match="no line to look along"):
            measure(replace(run, gauge_line=None, landing_line=None, falls=()), clip)
