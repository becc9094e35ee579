"""How the finding holds when a sound film is spoiled: by hazard, what is found, what is wrong without a flag.

    python -m tests.benchmarks.overlays [RUN ...] [--hazard NAME] [--table FILE]

RUN: run files with truth files beside them (default: the bench clip). Each hazard is laid over each film, the real
`measure` runs on it, and the table says: rms and 95th percentile of the error, the share of the frames found in which
the part can be seen, the share of found readings that are wrong without a flag (off by more than 5 u and 1 px for the
surface, 5 u and 3 px for the landing, or found where it cannot be seen), and the share beyond 2 u.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration import Segment
from measure_app.clip import Clip, open_clip
from measure_app.finders import Track
from measure_app.outcome import measure
from measure_app.run import Run
from measure_app.runfile import load_run
from tests import spoiled
from tests.benchmarks.finding import truths
from tests.spoiled import Hazard, Spoiled

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench" / "bench.run.json"


def hazards(run: Run, clip: Clip, places: dict[str, NDArray[np.float64]]) -> dict[str, Callable[[], Hazard]]:
    assert run.gauge_line
    assert run.landing_line
    gauge = Segment(run.gauge_line.from_px, run.gauge_line.to_px)
    landing = Segment(run.landing_line.from_px, run.landing_line.to_px)
    n, shape = clip.info.n_frames, (clip.info.height, clip.info.width)
    middle = n // 2

    def at(line: Segment, part: str, index: int) -> tuple[float, float]:
        x, y = line.at(places[part][index : index + 1])[0]
        return float(x), float(y)

    surface, throw = at(gauge, "surface", middle), at(landing, "landing", middle)
    column = gauge.at(places["surface"])
    box = (surface[0] - 18, float(column[0, 1]), surface[0] + 18, float(gauge.end.y))
    below = float(column[middle, 1])
    return {
        "none": lambda: Hazard("none", lambda _, frame: frame),
        "hand on the container": lambda: spoiled.hand(
            n, shape, surface, middle - 20, middle + 20, 1, ("surface",)
        ),
        "hand on the landing": lambda: spoiled.hand(
            n, shape, (throw[0], throw[1] - 25), middle - 20, middle + 20, 2, ("landing",)
        ),
        "bump 1 px": lambda: spoiled.bump(middle, 0.8, -0.7),
        "bump 5 px": lambda: spoiled.bump(middle, -4.0, 3.0),
        "camera sinks 4 px": lambda: spoiled.sinking(n, 4.0),
        "glare": lambda: spoiled.glare(shape, (surface[0] - 4, surface[1]), 3),
        "exposure drift": lambda: spoiled.exposure(n, 4),
        "low light": lambda: spoiled.noise(9.0, 5),
        "droplets": lambda: spoiled.droplets(n, box, column[:, 1], float(clip.stamps.seconds()[-1]), 6),
        "label": lambda: spoiled.label((box[0] - 10, below - 12, box[2] + 10, below + 12)),
    }


def figures(
    track: Track, truth: NDArray[np.float64], hidden: NDArray[np.bool_], least_px: float
) -> dict[str, float]:
    error = np.abs(track.along_px - truth)
    found, u = track.found, np.hypot(track.own_u_px, track.shared_u_px)
    seen = found & ~hidden
    wrong = found & (np.where(found, error, 0) > np.maximum(5 * u, least_px)) | (
        found & hidden & (np.where(found, error, 0) > least_px)
    )
    return {
        "found": float(seen.sum() / max((~hidden).sum(), 1)),
        "rms": float(np.sqrt(np.mean(error[seen] ** 2))) if seen.any() else float("nan"),
        "p95": float(np.percentile(error[seen], 95)) if seen.any() else float("nan"),
        "worst": float(np.max(error[seen])) if seen.any() else float("nan"),
        "wrong": float(wrong.sum() / max(found.sum(), 1)),
        "beyond": float(np.mean(error[seen] > 2 * u[seen])) if seen.any() else float("nan"),
    }


def rows(paths: list[Path], chosen: str | None) -> Iterator[str]:
    yield "| film | hazard | surface: found | rms px | 95 % px | wrong, no flag | beyond 2 u | landing: found | rms px | 95 % px | wrong, no flag | beyond 2 u | z Cv |"
    yield "| --- | --- |" + " ---: |" * 11
    for path in paths:
        run = load_run(path)
        truth = json.loads(path.with_name(path.name.replace(".run.", ".truth.")).read_text(encoding="utf-8"))
        places = truths(run, truth["frames"])
        with open_clip(path.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
            for name, make in hazards(run, clip, places).items():
                if chosen and chosen not in name:
                    continue
                hazard = make()
                outcome = measure(run, Spoiled(clip, hazard))
                assert outcome.search
                nothing = np.zeros(clip.info.n_frames, dtype=bool)
                cells = [path.name.split(".")[0], name]
                for part, track, key, least in (
                    ("surface", outcome.search.surface, "surface", 1.0),
                    ("landing", outcome.search.landing, "landing_seen", 3.0),
                ):
                    assert track
                    got = figures(track, places[key], hazard.hidden.get(part, nothing), least)
                    cells += [
                        f"{got['found']:.2f}",
                        f"{got['rms']:.2f}",
                        f"{got['p95']:.2f}",
                        f"{got['wrong']:.3f}",
                        f"{got['beyond']:.2f}",
                    ]
                cv = outcome.findings.finding("speed_coefficient")
                cells.append("–" if cv is None else f"{(cv.value - truth['physics']['Cv']) / cv.u:+.1f}")
                yield "| " + " | ".join(cells) + " |"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("runs", nargs="*", type=Path)
    parser.add_argument("--hazard", help="only hazards with this in their name")
    parser.add_argument("--table", type=Path, help="write the table to this file too")
    chosen = parser.parse_args()
    lines = []
    for line in rows(chosen.runs or [BENCH], chosen.hazard):
        print(line, flush=True)
        lines.append(line)
    if chosen.table:
        command = "python -m tests.benchmarks.overlays " + " ".join(p.name for p in chosen.runs)
        chosen.table.write_text("\n".join([f"`{command.strip()}`", "", *lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
