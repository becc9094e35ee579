"""Films that are there already, measured once more in other ways: lines drawn elsewhere, another part of the run.

    python -m tests.benchmarks.redrawn FOLDER... [--only HAZARD]... [--processes 2]

FOLDER holds films that `tests.benchmarks.hazards --keep FOLDER` rendered. A film takes half a minute to render and a
second to measure: what holds by luck is found sooner in films that are there, with the lines a pixel or two aside and
the run's beginning or end left out, than in new ones. Prints for each way the films, the readings found of each part,
those that are wrong without a flag and those beyond 2 u, as `tests.benchmarks.hazards` counts them, and then the films
with wrong ones.

The truth is known wherever a line is drawn: the landing's is led along the jet's slope, and the gauge line stays within
a pixel of where it was. Where the camera moves, a part that begins later has another reference frame: such films are
measured whole. Films that were looked at prove nothing of new ones: see `hazards.md` for those.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from msgspec.structs import replace

from calibration import Pixel
from measure_app.clip import open_clip
from measure_app.errors import SetupIncomplete
from measure_app.outcome import measure
from measure_app.run import Run
from measure_app.runfile import load_run
from tests.benchmarks.hazards import LEAST_PX, Seen, parts_of, wrong_readings

CAMERA_MOVES = ("bump", "sinking")


@dataclass(frozen=True)
class Way:
    """How a film is measured."""

    name: str
    gauge_aside_px: float
    landing_aside_px: tuple[float, float]
    """Along and down the picture."""
    part: tuple[float, float]
    """Where in the film the part measured begins and ends, 0 to 1."""


WAYS = (
    Way("a pixel aside", 1.0, (-7.0, -0.7), (0.0, 1.0)),
    Way("without either end", -1.0, (4.0, 0.6), (0.02, 0.95)),
    Way("without the first third", -1.0, (0.0, 1.0), (0.3, 1.0)),
    Way("the first half", 1.0, (5.0, 0.5), (0.0, 0.55)),
    Way("the middle", 0.0, (-3.0, -2.0), (0.2, 0.8)),
)


def redrawn(run: Run, way: Way, n_frames: int) -> Run:
    """Change the lines of a run, and the part measured."""
    assert run.gauge_line
    assert run.landing_line

    def moved(px: Pixel, right: float, down: float) -> Pixel:
        return Pixel(px.x + right, px.y + down)

    gauge, landing, aside = run.gauge_line, run.landing_line, way.landing_aside_px
    first, last = way.part
    return replace(
        run,
        gauge_line=replace(
            gauge,
            from_px=moved(gauge.from_px, way.gauge_aside_px, 0.0),
            to_px=moved(gauge.to_px, way.gauge_aside_px, 0.0),
        ),
        landing_line=replace(
            landing, from_px=moved(landing.from_px, *aside), to_px=moved(landing.to_px, *aside)
        ),
        clip=replace(
            run.clip,
            start_frame=int(first * n_frames),
            stop_frame=int(last * n_frames) if last < 1.0 else None,
        ),
    )


def measured(path: Path, way: Way) -> dict[str, Seen]:
    """Both parts of a film as measured in one way; empty where it is refused whole."""
    record = json.loads(path.with_name(path.name.replace(".run.", ".truth.")).read_text(encoding="utf-8"))
    frames = record["frames"]
    run = redrawn(load_run(path), way, len(frames))
    with open_clip(path.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        try:
            outcome = measure(run, clip)
        except SetupIncomplete:
            return {}
    assert outcome.search is not None
    return parts_of(outcome.search, run, frames)


def work(path: Path, way: Way) -> tuple[str, Counter[str], list[str]]:
    """Counts of one film in one way, and a line for each part with wrong readings."""
    name, counts, lines = path.name.removesuffix(".run.json"), Counter({"films": 1}), []
    for part, seen in measured(path, way).items():
        found = np.isfinite(seen.error_px)
        wrong = wrong_readings(seen, part)
        counts[f"{part} found"] += int(found.sum())
        counts[f"{part} wrong"] += int(wrong.sum())
        counts[f"{part} beyond"] += int((np.abs(seen.error_px[found]) > 2.0 * seen.u_px[found]).sum())
        if wrong.any():
            worst = float(np.abs(seen.error_px[wrong]).max())
            lines.append(f"  {name}, {way.name}: {part} wrong in {wrong.sum()} frames, up to {worst:.1f} px")
    return way.name, counts, lines


def jobs_in(folders: list[Path], only: list[str]) -> Iterator[tuple[Path, Way]]:
    for way in WAYS:
        for path in (each for folder in folders for each in sorted(folder.glob("*.run.json"))):
            if only and not path.name.startswith(tuple(only)):
                continue
            if way.part[0] == 0.0 or not path.name.startswith(CAMERA_MOVES):
                yield path, way


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="+", type=Path, help="folders with kept films")
    parser.add_argument("--only", action="append", default=[], help="only films of this hazard")
    parser.add_argument("--processes", type=int, default=2, help="films at a time (default 2)")
    chosen = parser.parse_args()
    totals: dict[str, Counter[str]] = {way.name: Counter() for way in WAYS}
    told: list[str] = []
    with ProcessPoolExecutor(chosen.processes) as pool:
        jobs = [pool.submit(work, *each) for each in jobs_in(chosen.folders, chosen.only)]
        for job in jobs:
            way, counts, lines = job.result()
            totals[way] += counts
            told += lines
    print(f"{'':26}{'films':>6}" + "".join(f"  {part}: found  wrong  beyond 2 u" for part in LEAST_PX))
    for way, counts in totals.items():
        row = f"{way:26}{counts['films']:6d}"
        for part in LEAST_PX:
            share = counts[f"{part} beyond"] / max(counts[f"{part} found"], 1)
            row += f"{counts[f'{part} found']:16d}{counts[f'{part} wrong']:7d}{share:12.3f}"
        print(row)
    print("\n".join(told))


if __name__ == "__main__":
    main()
