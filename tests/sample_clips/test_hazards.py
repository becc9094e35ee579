"""Hazards: seeded, composable, absent at strength 0, and told truly by the truth file."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray

from measure_app.runfile import decode_run
from sample_clips import HAZARDS, Hazards, Scene, Stage, random_scene
from sample_clips.__main__ import main
from sample_clips.film import exposed, gain_at, reach_px, to_code, to_light
from sample_clips.hazards import CameraMotion, Knock
from sample_clips.jet import Jet
from sample_clips.moving import _patch_of
from sample_clips.paint import Canvas
from sample_clips.records import as_text, graduations, run_record, truth_record
from sample_clips.shaking import moved, turn_px
from tests.sample_clips.scenes import small, still_water
from tests.sample_clips.test_edges import light, line_at, step_at

FloatArray = NDArray[np.float64]


@pytest.mark.parametrize("name", HAZARDS)
def test_every_hazard_is_seeded_and_can_be_filmed(name: str) -> None:
    scene = random_scene(4, hazards=[name])
    assert scene == random_scene(4, hazards={name: 1.0})
    assert scene != random_scene(5, hazards=[name])
    assert scene.hazards.names == ((name, 1.0),)
    bare = random_scene(4, varied=True)
    assert (
        replace(scene, name=bare.name, notebook=bare.notebook, hazards=replace(scene.hazards, names=()))
        != bare
    )
    picture = Stage(small(scene, 60)).frame(float(scene.timing.times_s[30]))
    assert np.isfinite(picture).all()


@pytest.mark.parametrize("name", HAZARDS)
def test_runs_with_hazards_hold_to_the_contract_and_truths_say_what_can_be_seen(name: str) -> None:
    scene = random_scene(1, hazards=[name])
    run = decode_run(as_text(run_record(scene, f"{scene.name}.mp4", "0" * 64)).encode())
    assert run.gauge_line is not None
    assert all(len(rule.graduations) >= 5 for rule in run.rules)
    truth = truth_record(scene)
    assert truth["hazards"] == {name: 1.0}
    for frame in truth["frames"]:
        assert frame["surface_visible"] == (frame["surface_share_seen"] >= 0.5)
        assert frame["landing_visible"] == (frame["landing_share_seen"] >= 0.5)
    assert truth["frames"][0]["shift_px"] == [0.0, 0.0]
    heads = [frame["head_m"] for frame in truth["frames"]]
    rests = name == "at-rest"
    assert all(a > b > 0 or (rests and a == b > 0) for a, b in itertools.pairwise(heads))


def test_strength_nought_is_absence() -> None:
    plain = random_scene(7)
    assert random_scene(7, hazards=["hand:0"]) == random_scene(7, hazards=()) == plain
    assert plain.hazards == Hazards()
    assert "surface_visible" not in truth_record(plain)["frames"][0]


def test_hazards_do_not_disturb_one_another() -> None:
    alone = random_scene(7, hazards=["hand"])
    both = random_scene(7, hazards=["bump", "hand"])
    assert both == random_scene(7, hazards=["hand", "bump"])
    assert both.hazards.visits == alone.hazards.visits
    assert both.hazards.motion == random_scene(7, hazards=["bump"]).hazards.motion
    assert both.name == "hand+bump-7"


def test_a_stronger_bump_moves_farther() -> None:
    def reach(strength: float) -> float:
        scene = random_scene(7, hazards={"bump": strength})
        return max(float(np.abs(turn_px(scene, float(t))).max()) for t in scene.timing.times_s)

    assert reach(0.25) == pytest.approx(reach(1.0) / 4)


def test_what_is_not_a_hazard_is_refused() -> None:
    with pytest.raises(ValueError, match="no hazard 'earthquake'"):
        random_scene(1, hazards=["earthquake"])
    with pytest.raises(ValueError, match="number from 0 to 2"):
        random_scene(1, hazards=["hand:much"])
    with pytest.raises(ValueError, match="number from 0 to 2"):
        random_scene(1, hazards={"hand": -1})


def test_the_command_knows_hazards() -> None:
    runner = CliRunner()
    listed = runner.invoke(main, ["hazards"])
    assert listed.exit_code == 0
    assert all(name in listed.output for name in HAZARDS)
    wrong = runner.invoke(main, ["render", "--seed", "1", "--hazard", "earthquake", "--out", "x"])
    assert wrong.exit_code == 2
    assert "no hazard 'earthquake'" in wrong.output
    assert "give --seed" in runner.invoke(main, ["render", "phone", "--hazard", "hand"]).output


def _knocked(k1: float) -> Scene:
    scene = still_water(3)
    knock = Knock(0.0, (3.37, -2.61, 1.9), (0.0, 0.0, 0.0), 5.0, 0.1)
    camera = replace(scene.camera, k1=k1)
    return replace(scene, camera=camera, hazards=replace(scene.hazards, motion=CameraMotion(1.0, (knock,))))


def test_a_knocked_camera_sees_things_where_the_truth_says() -> None:
    scene, time = _knocked(-0.12), 1.0
    grey = light(Stage(scene).frame(time))
    _, points = graduations(scene, "upright")
    misses = []
    for x, y in moved(scene, scene.camera.project(points - [0.0073, 0.0, 0.0]), time)[2:-1]:
        rows = np.arange(round(float(y)) - 3, round(float(y)) + 4)
        left = int(np.floor(x))
        dark = grey[rows][:, [left, left + 1]] @ [left + 1 - x, x - left]
        misses.append(line_at(rows.astype(float), dark) - y)
    # OpenCV 4 warps pictures in steps of 1/32 px, OpenCV 5 without steps.
    assert np.max(np.abs(misses)) < (0.05 if cv2.__version__ >= "5" else 0.05 + 1.0 / 64.0)
    frame = truth_record(scene)["frames"][round(time / float(scene.timing.times_s[1]))]
    x, y = frame["moved_px"]["surface"]
    assert np.hypot(*np.subtract((x, y), frame["px"]["surface"]["image_px"])) > 3
    grey = light(Stage(scene).frame(frame["time_s"]))
    rows = np.arange(round(y) - 6, round(y) + 7)
    assert step_at(rows.astype(float), grey[rows, round(x)]) == pytest.approx(y, abs=0.06)


def test_a_knock_is_no_shift_before_it_comes() -> None:
    scene = random_scene(8, hazards=["bump"])
    first = min(knock.at_s for knock in scene.hazards.motion.knocks)
    for frame in truth_record(scene)["frames"]:
        if frame["time_s"] < first:
            assert frame["shift_px"] == [0.0, 0.0]


@pytest.mark.parametrize(
    ("hazard", "part"),
    [("head", "surface"), ("label", "surface"), ("hand", "landing_seen")],
)
def test_what_the_truth_calls_hidden_leaves_no_trace_of_the_water(hazard: str, part: str) -> None:
    """Two scenes that differ in the water alone look alike where it is hidden, and differ where it is seen."""
    seed = 12
    scene = random_scene(seed, hazards=[hazard])
    other = replace(scene, look=replace(scene.look, dye_per_m=(60.0, 60.0, 60.0), tint=(0.02, 0.02, 0.02)))
    key = "surface_share_seen" if part == "surface" else "landing_share_seen"
    frames = truth_record(scene)["frames"]
    shares = np.array([f[key] for f in frames])
    assert shares.min() < 0.02
    stages = Stage(scene), Stage(other)
    for index, hidden in ((int(np.argmin(shares)), True), (int(np.argmax(shares)), False)):
        x, y = (round(c) for c in frames[index]["px"][part]["image_px"])
        y += 3 if part == "surface" and not hidden else 0
        y -= 4 if part == "landing_seen" else 0
        around = (slice(y - 1, y + 2), slice(x - 1, x + 2))
        a, b = (stage.frame(frames[index]["time_s"])[around] for stage in stages)
        difference = float(np.abs(a - b).max())
        assert (difference < 0.02) if hidden else (difference > 0.02)


def test_a_container_of_any_shape_loses_what_leaves_the_hole() -> None:
    for seed in range(5):
        drain = random_scene(seed, hazards=["container"]).drain
        assert drain.profile
        t, step = 1.1, 1e-3
        sinking = float(drain.head(t - step) - drain.head(t + step)) / (2 * step)
        area = math.pi * float(drain.bore(drain.head(t))) ** 2
        out = drain.contraction_coefficient * drain.hole_area_m2 * float(drain.speed(t))
        assert area * sinking == pytest.approx(out, rel=2e-3)


def test_the_table_of_a_prismatic_container_is_the_closed_form() -> None:
    plain = random_scene(3).drain
    tabled = replace(plain, profile=((0.0, 1.0), (0.3, 1.0)))
    times = np.linspace(-0.2, 4.0, 50)
    np.testing.assert_allclose(tabled.head(times), plain.head(times), rtol=1e-6)
    np.testing.assert_allclose(tabled.speed(times), plain.speed(times), rtol=1e-6)


def test_surface_tension_slows_the_jet_by_the_head_it_holds() -> None:
    scene = random_scene(6, hazards=["dribble"])
    drain, last = scene.drain, float(scene.timing.times_s[-1])
    # 2 σ/d over ρ g: the pressure inside a round jet, Laplace; σ and ρ of water at 20 °C from memory
    assert drain.held_head_m == pytest.approx(2 * 0.0728 / (998.2 * 9.81 * drain.hole_m), rel=1e-6)
    speed2 = float(drain.speed(1.0)) ** 2
    ratio = drain.contraction_coefficient * drain.hole_area_m2 / drain.bore_area_m2
    ideal = 2 * 9.81 * (float(drain.head(1.0)) - drain.held_head_m) / (1 - ratio**2)
    assert speed2 == pytest.approx(drain.speed_coefficient**2 * ideal, rel=1e-6)
    assert float(drain.jet_holds(0.0)) == 1.0
    assert float(drain.jet_holds(last)) == 0.0


def test_before_the_hole_is_opened_and_after_it_is_stopped_the_water_rests() -> None:
    scene, bare = random_scene(6, hazards=["at-rest"]), random_scene(6, varied=True)
    assert scene.drain.open_s is not None
    opened, stopped = scene.drain.open_s
    flight = scene.drain.flight_time_s
    frames = truth_record(scene)["frames"]
    assert len(frames) > len(bare.timing.ticks)
    heads = np.array([frame["head_m"] for frame in frames])
    times = scene.timing.times_s
    runs = (times >= opened) & (times <= stopped)
    # In between it drains as it would without, only later.
    assert heads[runs] == pytest.approx(bare.drain.head(bare.timing.times_s), abs=1e-7)
    assert np.ptp(heads[times <= opened]) == np.ptp(heads[times >= stopped]) == 0.0
    for frame, time in zip(frames, times.tolist(), strict=True):
        # Half of the last piece of the flight, from which a landing can be told.
        assert frame["landing_visible"] == (opened <= time - 0.925 * flight <= stopped)


def test_off_the_line_is_not_visible() -> None:
    for seed in range(6):
        scene = random_scene(seed, hazards=["line-end"])
        line = scene.hazards.line_end
        for frame in truth_record(scene)["frames"]:
            inside = line.from_m < frame["throw_seen_m"] < line.to_m
            assert frame["landing_visible"] == inside


def test_the_clear_surface_is_a_line_over_the_edge_that_is_to_be_read() -> None:
    scene = replace(random_scene(3, hazards=["clear-water"]))
    clear = scene.hazards.clear
    bare = replace(scene, hazards=replace(scene.hazards, clear=replace(clear, line=0.0)))
    time = float(scene.timing.times_s[20])
    with_line, without = Stage(scene).frame(time), Stage(bare).frame(time)
    x, low = scene.camera.project(scene.surface_edge(time))
    _, high = scene.camera.project(
        scene.near_edge(scene.drain.drop_m + scene.drain.head(time) + scene.drain.meniscus_m)
    )
    rows = np.arange(int(high) - 6, int(low) + 7)
    trace = np.abs(with_line - without)[rows, round(float(x))].sum(-1)
    middle = float((rows * trace).sum() / trace.sum())
    assert trace.max() > 0.05
    assert high < middle < low
    # What is below is the room seen through water, no longer dyed.
    assert all(a == 0.0 for a in scene.look.dye_per_m)


def test_exposure_multiplies_the_light() -> None:
    code = np.linspace(0.1, 0.9, 30, dtype=np.float32).reshape(5, 2, 3)
    gain = np.array([1.3, 0.7, 1.0])
    np.testing.assert_allclose(exposed(code, gain), to_code(to_light(code) * gain), atol=2e-6)
    scene = random_scene(5, hazards=["exposure"])
    assert gain_at(scene, 0.0) == pytest.approx(scene.look.light, rel=1e-9)
    gains = np.array([gain_at(scene, float(t)) for t in scene.timing.times_s])
    assert np.ptp(np.log(gains[:, 1])) > 0.1


def test_the_edge_in_a_shaped_container_lies_where_the_truth_says() -> None:
    scene = random_scene(7702, hazards=["container"], varied=False)
    scene = replace(
        scene,
        look=replace(scene.look, meniscus_dark=0.0, underside_dark=0.0, splash=0.0),
        film=replace(scene.film, sharpen=0.0),
    )
    stage = Stage(scene)
    for time in np.linspace(0, float(scene.timing.times_s[-1]), 4):
        x, y = scene.camera.project(scene.surface_edge(float(time)))
        grey, rows = light(stage.frame(float(time))), np.arange(round(float(y)) - 6, round(float(y)) + 7)
        places = [step_at(rows.astype(float), grey[rows, c]) for c in (int(x), int(x) + 1)]
        assert places[0] + (places[1] - places[0]) * (x - int(x)) == pytest.approx(y, abs=0.03)


@pytest.mark.parametrize("names", [("splash", "wet-tray"), ("gusts", "line-end"), ("dribble", "splash")])
def test_all_that_the_jet_touches_lies_within_the_samples_taken_for_it(names: tuple[str, ...]) -> None:
    for seed in (8100, 8101):
        scene = random_scene(seed, hazards=names)
        canvas, reach = Canvas(scene.camera), reach_px(scene.film)
        jet = Jet(scene, canvas)
        for time in scene.timing.times_s[::20]:
            whole = _patch_of(jet.extent(float(time)), canvas, 2 * reach).samples(canvas)
            for touched in jet.pieces(float(time)):
                part = _patch_of(touched, canvas, reach).samples(canvas)
                assert whole.top <= part.top
                assert whole.left <= part.left
                assert part.bottom <= whole.bottom
                assert part.right <= whole.right


def test_a_jet_in_a_gust_is_drawn_where_the_truth_says_it_lands() -> None:
    scene = random_scene(8109, hazards=["gusts"], varied=False)
    strong = tuple(replace(gust, reach_m=-0.02) for gust in scene.sway.gusts)
    scene = replace(scene, sway=replace(scene.sway, gusts=strong))
    drain, jet = scene.drain, Jet(scene, Canvas(scene.camera))
    off = []
    for time in np.linspace(*[scene.timing.times_s[i] for i in (0, -1)], 40):
        height = 0.002
        age = math.sqrt(2 * (drain.drop_m - height) / drain.gravity_m_s2)
        at = float(jet.centre(np.array([age]), float(time))[0, 0])
        x = np.linspace(at - 0.02, at + 0.02, 801)
        wet, cover, _ = jet._look(x, np.full_like(x, height), float(time))
        off.append(float(np.average(x[wet], weights=cover)) - at)
    # The cut is level and the jet is not quite upright: its middle lies a little beyond the centre line.
    assert np.max(np.abs(np.array(off) - np.median(off))) < 0.25e-3
    assert abs(np.median(off)) < 0.3e-3
