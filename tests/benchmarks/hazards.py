"""How the finding holds in a real room: by hazard, on fresh random scenes whose truth is known.

    python -m tests.benchmarks.hazards [--scenes-each 4] [--hazard NAME[:STRENGTH][+NAME]]... [--together] [--keep DIR]

Renders the scenes, runs the real `measure` on each film, and prints for surface and landing, pooled over the scenes of
each hazard: the share found of the frames in which the part can be seen; rms and 95th percentile of the error there,
in px along the drawn line and in mm; the share of found readings that are wrong without a flag (off by more than 5 u
and 1 px for the surface, 5 u and 3 px for the landing, or found where the part is hidden); the share beyond 2 u; and
the time of `measure` over plain decoding of the same film. The landing is held against where the jet crosses the line
as it was drawn.

Three ratios say of what kind a wrong uncertainty is, as rms over films; each is 1 where it is right. Bias over u shared:
the median error of a film over the uncertainty that all its frames share (which holds slow wandering as well, so that
a little under 1 is right). Scatter over u own: how the errors scatter about that median, over the frames' own
uncertainty (wandering makes it a little more than 1). Error over u: all of the error over all of the uncertainty. One
film's error that all frames share is beyond 2 u in all of them or in none: the share of a class needs many films, the
ratios tell more. After the hazards come all films together, and those with no, one and several hazards.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import tempfile
import time
from collections.abc import Collection, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from measure_app.clip import open_clip, write_clip
from measure_app.errors import SetupIncomplete
from measure_app.finders import Track
from measure_app.measuring import Search
from measure_app.outcome import measure
from measure_app.run import Run
from measure_app.runfile import load_run
from sample_clips import HAZARDS, Scene, frames_of, random_scene, render_scene
from sample_clips.records import as_text, run_record, truth_record
from tests.benchmarks.finding import truths

LEAST_PX = {"surface": 1.0, "landing": 3.0}
"""Errors up to this are never called wrong."""
HIDDEN_BELOW, VISIBLE_FROM = 0.05, 0.5
"""Shares seen: between the two a frame may be found or refused."""


@dataclass(frozen=True)
class Seen:
    """One part in one film, frame by frame."""

    error_px: NDArray[np.float64]
    """(n,), NaN where not found."""
    u_px: NDArray[np.float64]
    share_seen: NDArray[np.float64]
    mm_per_px: float
    own_u_px: NDArray[np.float64]
    shared_u_px: float


@dataclass(frozen=True)
class Measured:
    """One film."""

    hazard: str
    name: str
    parts: dict[str, Seen]
    time_ratio: float
    trouble: str = ""


@dataclass(frozen=True)
class Figures:
    """Figures of one part, pooled over films."""

    found: float
    rms_px: float
    p95_px: float
    rms_mm: float
    p95_mm: float
    wrong: float
    beyond: float
    wrong_frames: int
    films_wrong: int
    bias_over_shared: float
    scatter_over_own: float
    error_over_u: float


def seen_of(
    track: Track, part: str, truth: dict[str, NDArray[np.float64]], frames: list[dict[str, object]]
) -> Seen:
    key, length = ("surface", "head_m") if part == "surface" else ("landing_seen", "throw_seen_m")
    places = truth[key]
    lengths = np.array([frame.get(length, frame["throw_m"]) for frame in frames], dtype=np.float64)
    slope = np.polyfit(places, lengths, 1)[0]
    shares = np.array([frame.get(f"{part}_share_seen", 1.0) for frame in frames], dtype=np.float64)
    return Seen(
        track.along_px - places,
        np.hypot(track.own_u_px, track.shared_u_px),
        shares,
        1000 * abs(slope),
        track.own_u_px,
        track.shared_u_px,
    )


def parts_of(search: Search, run: Run, frames: list[dict[str, object]]) -> dict[str, Seen]:
    """Both parts as found, in the frames that were measured, held against the truth of all of the film's."""
    places, parts = truths(run, frames), {}
    for part in LEAST_PX:
        track = getattr(search, part)
        if track is not None:
            there = {name: each[track.frames] for name, each in places.items()}
            parts[part] = seen_of(track, part, there, [frames[frame] for frame in track.frames])
    return parts


def first_seed(hazard: str, first: int) -> int:
    """Seed of a hazard's first scene: no two hazards are shown with the same looks."""
    names = [*HAZARDS, UHD]
    return first + 100 * sum(
        names.index(name.split(":")[0]) + 1 for name in hazard.split("+") if name != "none"
    )


UHD = "uhd-hevc"
"""Name among the hazards for three times the pixels either way, coded as HEVC, and nothing else wrong."""


def scene_of(hazard: str, seed: int, difficulty: str) -> Scene:
    """Scene of a hazard, or of several joined by `+`."""
    names = () if hazard in {"none", UHD} else tuple(hazard.split("+"))
    scene = random_scene(seed, difficulty, hazards=names, varied=True)
    if hazard != UHD:
        return scene
    cam = scene.camera
    wide = replace(cam, width=3 * cam.width, height=3 * cam.height, focal_px=3 * cam.focal_px)
    return replace(scene, camera=wide, name=f"{UHD}-{seed}")


def render_uhd(scene: Scene, folder: Path) -> None:
    """Render a scene's film as HEVC, with its run file and truth."""
    timing = scene.timing
    clip = write_clip(
        folder / f"{scene.name}.mp4",
        (frame[..., ::-1] for frame in frames_of(scene)),
        ticks=timing.ticks,
        base=timing.base,
        codec="libx265",
        crf=scene.film.crf,
        rate=Fraction(timing.file_rate_hz).limit_denominator(1001),
        gop=round(2 * timing.file_rate_hz),
        options={"preset": "ultrafast"},
    )
    digest = hashlib.sha256(clip.read_bytes()).hexdigest()
    (folder / f"{scene.name}.truth.json").write_text(as_text(truth_record(scene)), encoding="utf-8")
    run = as_text(run_record(scene, clip.name, digest))
    (folder / f"{scene.name}.run.json").write_text(run, encoding="utf-8")


def film_of(hazard: str, seed: int, difficulty: str, folder: Path) -> Path:
    """Run file of a scene, rendered if it is not there."""
    scene = scene_of(hazard, seed, difficulty)
    run = folder / f"{scene.name}.run.json"
    if not run.exists():
        if hazard == UHD:
            render_uhd(scene, folder)
        else:
            render_scene(scene, folder, picture=False)
    return run


def measured(hazard: str, path: Path, *, timed: bool = True) -> Measured:
    name = path.name.removesuffix(".run.json")
    run = load_run(path)
    record = json.loads(path.with_name(f"{name}.truth.json").read_text(encoding="utf-8"))
    with open_clip(path.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        decode, whole = [], []
        for _ in range(2 if timed else 1):
            start = time.perf_counter()
            for _ in clip.luma_planes(0, clip.info.n_frames) if timed else ():
                pass
            decode.append(time.perf_counter() - start)
            start = time.perf_counter()
            try:
                outcome = measure(run, clip)
            except SetupIncomplete as error:
                return Measured(hazard, name, {}, float("nan"), str(error))
            whole.append(time.perf_counter() - start)
    assert outcome.search is not None
    parts = parts_of(outcome.search, run, record["frames"])
    return Measured(hazard, name, parts, min(whole) / min(decode) if timed else float("nan"))


def work(hazard: str, seed: int, difficulty: str, folder: str | None, timed: bool) -> Measured:
    if folder is not None:
        return measured(hazard, film_of(hazard, seed, difficulty, Path(folder)), timed=timed)
    with tempfile.TemporaryDirectory() as temporary:
        return measured(hazard, film_of(hazard, seed, difficulty, Path(temporary)), timed=timed)


def wrong_readings(seen: Seen, part: str) -> NDArray[np.bool_]:
    """(n,) found readings that are wrong without a flag."""
    found = np.isfinite(seen.error_px)
    off = np.abs(np.where(found, seen.error_px, 0.0)) > np.maximum(
        5 * np.where(found, seen.u_px, 0.0), LEAST_PX[part]
    )
    return found & (off | (seen.share_seen < HIDDEN_BELOW))


_Film = TypeVar("_Film")
FEWEST = 10
"""Readings of a film from which its bias and scatter are told apart."""


def ratios(seen: Seen) -> tuple[float, float, float] | None:
    """Bias over what frames share, scatter over what they do not, all over all; None of too few readings."""
    good = np.isfinite(seen.error_px) & (seen.share_seen >= VISIBLE_FROM)
    if good.sum() < FEWEST:
        return None
    error, own_u = seen.error_px[good], seen.own_u_px[good]
    whole = float(np.sqrt(np.mean((error / seen.u_px[good]) ** 2)))
    return (*bias_and_scatter(error, own_u, seen.shared_u_px), whole)


def bias_and_scatter(
    error_px: NDArray[np.float64], own_u_px: NDArray[np.float64], shared_u_px: float
) -> tuple[float, float]:
    """Bias of a film over what its frames share, and the scatter about it over what they do not."""
    bias = float(np.median(error_px))
    scatter = float(np.sqrt(np.mean((error_px - bias) ** 2) / np.mean(own_u_px**2)))
    return bias / shared_u_px, scatter


def figures(films: list[Seen], part: str) -> Figures:
    error = np.concatenate([f.error_px for f in films])
    u = np.concatenate([f.u_px for f in films])
    visible = np.concatenate([f.share_seen for f in films]) >= VISIBLE_FROM
    mm = np.concatenate([np.full(f.error_px.shape, f.mm_per_px) for f in films])
    found = np.isfinite(error)
    good = found & visible
    wrong = [int(wrong_readings(f, part).sum()) for f in films]
    size, nothing = np.abs(error[good]), float("nan")
    any_ = bool(good.any())
    told = np.array([each for each in map(ratios, films) if each is not None])
    kinds = [float(v) for v in np.sqrt(np.mean(told**2, axis=0))] if len(told) else [nothing] * 3
    return Figures(
        float(good.sum() / max(visible.sum(), 1)),
        float(np.sqrt(np.mean(size**2))) if any_ else nothing,
        float(np.percentile(size, 95)) if any_ else nothing,
        float(np.sqrt(np.mean((size * mm[good]) ** 2))) if any_ else nothing,
        float(np.percentile(size * mm[good], 95)) if any_ else nothing,
        sum(wrong) / max(int(found.sum()), 1),
        float(np.mean(size > 2 * u[good])) if any_ else nothing,
        sum(wrong),
        sum(n > 0 for n in wrong),
        *kinds,
    )


HEAD = (
    "hazard", "films", "part", "found", "rms px", "95 % px", "rms mm", "95 % mm", "wrong, no flag", "films with wrong",
    "beyond 2 u", "bias / u shared", "scatter / u own", "error / u", "time / decoding",
)  # fmt: skip


def rows(hazard: str, films: list[Measured]) -> Iterator[tuple[str, ...]]:
    ratio = float(np.median([f.time_ratio for f in films])) if any(f.parts for f in films) else float("nan")
    for part in LEAST_PX:
        seen = [f.parts[part] for f in films if part in f.parts]
        if not seen:
            continue
        got = figures(seen, part)
        yield (
            hazard if part == "surface" else "",
            str(len(seen)) if part == "surface" else "",
            part,
            f"{got.found:.3f}",
            f"{got.rms_px:.2f}",
            f"{got.p95_px:.2f}",
            f"{got.rms_mm:.2f}",
            f"{got.p95_mm:.2f}",
            f"{got.wrong:.4f}",
            str(got.films_wrong),
            f"{got.beyond:.3f}",
            f"{got.bias_over_shared:.2f}",
            f"{got.scatter_over_own:.2f}",
            f"{got.error_over_u:.2f}",
            f"{ratio:.2f}" if part == "surface" else "",
        )


def pools(films: dict[str, list[_Film]]) -> Iterator[tuple[str, list[_Film]]]:
    """Films together, and by how much is wrong with them."""
    kinds = {
        "*without a hazard*": [name for name in films if name == "none"],
        "*one hazard*": [name for name in films if name != "none" and "+" not in name],
        "*several hazards*": [name for name in films if "+" in name],
    }
    yield "*all*", [film for some in films.values() for film in some]
    for kind, names in kinds.items():
        if names and len(names) < len(films):
            yield kind, [film for name in names for film in films[name]]


def as_markdown(
    head: Sequence[str], table: Iterable[Sequence[str]], words: Collection[int] = frozenset({0})
) -> str:
    """Write a table; columns of `words` are set to the left, those of figures to the right."""
    sides = ["---" if i in words else "---:" for i in range(len(head))]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in (head, sides, *table))


def as_columns(row: tuple[str, ...]) -> str:
    widths = (26, 5, 8, 6, 7, 7, 7, 7, 14, 16, 10, 15, 15, 9, 15)
    return " ".join(
        cell.ljust(width) if i in {0, 2} else cell.rjust(width)
        for i, (cell, width) in enumerate(zip(row, widths, strict=True))
    )


def shown(name: str, films: list[Measured]) -> list[tuple[str, ...]]:
    """Print the rows of some films, and give them."""
    made = list(rows(name, films))
    for row in made:
        print(as_columns(row), flush=True)
    return made


def trouble_in(film: Measured) -> Iterator[str]:
    if film.trouble:
        yield f"  {film.name}: not measured: {film.trouble}"
    for part, seen in film.parts.items():
        at = np.flatnonzero(wrong_readings(seen, part))
        if at.size:
            worst = float(np.max(np.abs(seen.error_px[at])))
            hidden = int((seen.share_seen[at] < HIDDEN_BELOW).sum())
            yield (
                f"  {film.name}: {part} wrong in {at.size} frames ({at[0]} to {at[-1]}), worst {worst:.1f} px, "
                f"{hidden} of them hidden"
            )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes-each", type=int, default=4, help="scenes of each hazard (default 4)")
    parser.add_argument(
        "--first-seed",
        type=int,
        action="append",
        default=[],
        help="seed of the first scene without a hazard; 100 more for each hazard in turn (default 1000); "
        "given again: more scenes from there",
    )
    parser.add_argument(
        "--difficulty", default="clean", help="difficulty of the scenes beneath (default clean)"
    )
    parser.add_argument(
        "--hazard",
        action="append",
        default=[],
        help="only this hazard, NAME or NAME:STRENGTH, or several joined by + (`none`: the same varied looks "
        f"without one; `{UHD}`: 3840 x 2160, HEVC)",
    )
    parser.add_argument("--together", action="store_true", help="all hazards named in every scene")
    parser.add_argument("--keep", type=Path, help="keep the films in this folder, or take them from it")
    parser.add_argument("--table", type=Path, help="write the table to this file as Markdown")
    parser.add_argument(
        "--only-kept", action="store_true", help="only films that --keep's folder holds already"
    )
    parser.add_argument("--untimed", action="store_true", help="leave the time out: one pass over each film")
    parser.add_argument("--processes", type=int, default=2, help="films at a time (default 2)")
    chosen = parser.parse_args()
    hazards = chosen.hazard or ["none", *HAZARDS]
    if chosen.together:
        hazards = ["+".join(hazards)]
    if chosen.keep:
        chosen.keep.mkdir(parents=True, exist_ok=True)
    folder = None if chosen.keep is None else str(chosen.keep)
    films: dict[str, list[Measured]] = {hazard: [] for hazard in hazards}
    due = dict.fromkeys(hazards, 0)
    table: list[tuple[str, ...]] = []
    print(as_columns(HEAD), flush=True)
    with ProcessPoolExecutor(chosen.processes) as pool:
        jobs = {}
        for hazard in hazards:
            starts = [first_seed(hazard, first) for first in chosen.first_seed or [1000]]
            for seed in (start + i for start in starts for i in range(chosen.scenes_each)):
                name = scene_of(hazard, seed, chosen.difficulty).name
                if chosen.only_kept and not (chosen.keep / f"{name}.run.json").exists():
                    continue
                job = pool.submit(work, hazard, seed, chosen.difficulty, folder, not chosen.untimed)
                jobs[job] = (hazard, seed)
                due[hazard] += 1
        for job in as_completed(jobs):
            # One film that breaks the program is a finding of this benchmark, not its end.
            error, (hazard, seed) = job.exception(), jobs[job]
            broken = Measured(hazard, f"{hazard}-{seed}", {}, float("nan"), repr(error))
            film = job.result() if error is None else broken
            films[film.hazard].append(film)
            if len(films[film.hazard]) == due[film.hazard]:
                table += shown(film.hazard, films[film.hazard])
                for done in sorted(films[film.hazard], key=lambda f: f.name):
                    for line in trouble_in(done):
                        print(line, flush=True)
    for name, together in pools(films):
        table += shown(name, together)
    if chosen.table:
        command = "python -m tests.benchmarks.hazards " + " ".join(sys.argv[1:])
        chosen.table.write_text(
            f"`{command.strip()}`\n\n{as_markdown(HEAD, table, {0, 2})}\n", encoding="utf-8"
        )


if __name__ == "__main__":
    main()
