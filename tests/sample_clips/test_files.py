"""The four files of a scene, and the shipped ones."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import sample_clips
from measure_app.clip import open_clip
from measure_app.runfile import decode_run, load_run
from sample_clips import SHIPPED, Rendered, Scene, frames_of, random_scene, render_scene, shipped_scene
from sample_clips.__main__ import main
from sample_clips.film import Grain
from sample_clips.records import as_text, run_record, truth_record
from tests.sample_clips.scenes import small

HERE = Path(sample_clips.__file__).parent


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Rendered]:
    """Four frames of the phone's scene at half size."""
    scene = small(shipped_scene("phone"), 4, rotation=90)
    return scene, render_scene(scene, tmp_path_factory.mktemp("phone"))


def test_a_turned_clip_is_shown_upright(turned: tuple[Scene, Rendered]) -> None:
    scene, files = turned
    with open_clip(files.clip) as clip:
        shown = clip.frame(2).bgr()
    made = list(frames_of(scene))[2][..., ::-1]
    assert shown.shape == made.shape == (960, 540, 3)
    assert np.mean(np.abs(shown.astype(float) - made)) < 4


def test_times_in_the_file_are_the_truth_s(turned: tuple[Scene, Rendered]) -> None:
    _, files = turned
    truth = json.loads(files.truth.read_text(encoding="utf-8"))
    with open_clip(files.clip) as clip:
        ticks = [stamp.ticks * stamp.base for stamp in clip.stamps]
    np.testing.assert_allclose(
        [float(t - ticks[0]) for t in ticks], [f["time_s"] for f in truth["frames"]], atol=1e-9
    )


def test_the_same_scene_gives_the_same_frames() -> None:
    scene = small(random_scene(5), 2)
    first, second = list(frames_of(scene)), list(frames_of(scene))
    assert all(np.array_equal(a, b) for a, b in zip(first, second, strict=True))
    assert not np.array_equal(first[0], first[1])


@pytest.mark.parametrize("difficulty", ["clean", "hard"])
def test_run_files_hold_to_the_contract(difficulty: str) -> None:
    for seed in range(20):
        scene = random_scene(seed, difficulty)
        run = decode_run(as_text(run_record(scene, f"{scene.name}.mp4", "0" * 64)).encode())
        assert run.gauge_line is not None
        assert run.landing_line is not None
        assert run.readings == ()
        lowest = float(scene.camera.project(scene.surface_edge(scene.timing.times_s[-1]))[1])
        assert run.gauge_line.to_px.y > lowest + 3
        assert all(len(rule.graduations) >= 6 for rule in run.rules)


def test_clicks_and_notes_err_by_what_they_state() -> None:
    clicks, notes = [], []
    for seed in range(25):
        scene = random_scene(seed)
        run = decode_run(as_text(run_record(scene, "a.mp4", None)).encode())
        truth = truth_record(scene)
        assert run.orifice is not None
        assert run.drop is not None
        clicks.extend(np.subtract(run.orifice.px, truth["orifice"]["image_px"]) / run.orifice.px_u)
        marks = {m["reading_mm"]: m["mark"]["image_px"] for m in truth["rules"]["upright"]["graduations"]}
        for graduation in run.rules[0].graduations:
            clicks.extend(
                np.subtract(graduation.px, marks[round(graduation.value_m * 1000)]) / run.rules[0].px_u
            )
        notes.append((run.drop.value_m - scene.drain.drop_m) / run.drop.u_m)
    assert np.std(clicks) == pytest.approx(1.0, abs=0.09)
    assert abs(np.mean(clicks)) < 0.1
    assert 0.6 < np.std(notes) < 1.4


def test_noise_is_as_strong_as_the_film_says() -> None:
    scene = small(random_scene(2), 1)
    scene = replace(scene, film=replace(scene.film, read_noise=2.0, shot_gain=0.02))
    grain = Grain(scene)
    for tone in (0.2, 0.5, 0.8):
        flat = np.full((scene.camera.height, scene.camera.width, 3), tone, dtype=np.float32)
        seen = grain.picture(flat).astype(float) @ [0.2126, 0.7152, 0.0722]
        # Rounding to whole levels adds a twelfth to the variance of each channel.
        expected = np.sqrt(4.0 + 0.02 * 255 * tone + 0.5622 / 12)
        assert np.std(seen) == pytest.approx(expected, rel=0.03)
        assert np.mean(seen) == pytest.approx(255 * tone, abs=0.05)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_shipped_files_belong_together(name: str) -> None:
    folder, scene = HERE / name, shipped_scene(name)
    clip, run = folder / f"{name}.mp4", load_run(folder / f"{name}.run.json")
    assert clip.stat().st_size < 4_000_000
    assert run.clip.path == clip.name
    assert run.clip.sha256 == hashlib.sha256(clip.read_bytes()).hexdigest()
    # The truth beside the clip is that of the scene as the code now has it.
    assert (folder / f"{name}.truth.json").read_text(encoding="utf-8") == as_text(truth_record(scene))
    with open_clip(clip) as opened:
        assert len(opened.stamps) == len(scene.timing.ticks)
        assert (opened.info.width, opened.info.height) == (scene.camera.width, scene.camera.height)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["render"], "name a scene"),
        (["render", "nowhere"], "no scene 'nowhere'"),
        (["render", "--seed", "3"], "needs --out"),
        (["render", "phone", "--seed", "3", "--out", "x"], "or give --seed"),
    ],
)
def test_the_command_says_what_it_wants(words: list[str], says: str) -> None:
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 2
    assert says in result.output


def test_the_command_lists_the_scenes() -> None:
    result = CliRunner().invoke(main, ["list"])
    assert result.exit_code == 0
    assert all(name in result.output for name in SHIPPED)
