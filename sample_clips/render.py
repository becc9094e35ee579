"""From a scene to its four files: clip, run file, truth, picture."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from sample_clips.film import Grain, Picture
from sample_clips.moving import Stage
from sample_clips.records import as_text, run_record, truth_record
from sample_clips.scene import Scene

_KEEP_DETAIL = {"x264-params": "no-dct-decimate=1:deblock=-1,-1:mbtree=0:aq-mode=0"}
"""Left to itself, the encoder drops a slowly moving edge's small changes and lets the edge lag by 0.06 px."""
Progress = Callable[[int, int], None]
"""Called with the number of frames made and the number of all."""


@dataclass(frozen=True, slots=True)
class Rendered:
    """The files of a rendered scene."""

    clip: Path
    run: Path
    truth: Path
    picture: Path | None


def frames_of(scene: Scene, progress: Progress | None = None) -> Iterator[Picture]:
    """Make the frames of a scene one by one, as displayed: red, green, blue bytes (h, w, 3), with noise."""
    yield from _frames(scene, Stage(scene), progress)


def _frames(scene: Scene, stage: Stage, progress: Progress | None) -> Iterator[Picture]:
    grain, times = Grain(scene), scene.timing.times_s
    for number, time in enumerate(times):
        yield grain.picture(stage.frame(float(time)))
        if progress is not None:
            progress(number + 1, len(times))


def render_scene(
    scene: Scene, folder: Path, *, picture: bool = True, progress: Progress | None = None
) -> Rendered:
    """Render a scene into a folder, which is made if it is not there.

    Writes NAME.mp4, NAME.run.json, NAME.truth.json and, if wanted, NAME.png (one frame a third of the way
    through, before noise and compression).

    Raises
    ------
    ValueError
        The scene's jet or surface leaves the picture, or the container runs empty.
    measure_app.errors.ClipError
        The clip could not be written.
    """
    import cv2

    from measure_app.clip import write_clip

    folder.mkdir(parents=True, exist_ok=True)
    stage, timing, film = Stage(scene), scene.timing, scene.film
    turned = (np.rot90(frame[..., ::-1], -film.rotation // 90) for frame in _frames(scene, stage, progress))
    metadata = (
        {} if timing.capture_rate_hz is None else {"com.android.capture.fps": f"{timing.capture_rate_hz:.6f}"}
    )
    clip = write_clip(
        folder / f"{scene.name}.mp4",
        turned,
        ticks=timing.ticks,
        base=timing.base,
        crf=film.crf,
        rotation=film.rotation,
        rate=Fraction(timing.file_rate_hz).limit_denominator(1001),
        gop=round(2 * timing.file_rate_hz),
        metadata=metadata,
        options={"preset": film.preset, **(_KEEP_DETAIL if film.keep_detail else {})},
    )
    digest = hashlib.sha256(clip.read_bytes()).hexdigest()
    run, truth = folder / f"{scene.name}.run.json", folder / f"{scene.name}.truth.json"
    run.write_text(as_text(run_record(scene, clip.name, digest)), encoding="utf-8")
    truth.write_text(as_text(truth_record(scene)), encoding="utf-8")
    still: Path | None = None
    if picture:
        times = timing.times_s
        still = folder / f"{scene.name}.png"
        clean = np.clip(stage.frame(float(times[len(times) // 3])) * 255 + 0.5, 0, 255).astype(np.uint8)
        cv2.imwrite(str(still), clean[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 9])
    return Rendered(clip, run, truth, still)
