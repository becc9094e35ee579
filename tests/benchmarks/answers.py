"""From film to answer: how true the findings are, over films with every hazard.

    python -m tests.benchmarks.answers FOLDER [--table TABLE.md] [--processes 2]

Measures every run in FOLDER as `clepsydra measure` does (films as `tests.benchmarks.hazards --keep FOLDER` leaves them,
each with its truth beside it), intervals held against trials, and compares what a teacher takes away with the truth: Cv,
Cd, the fall of √head per second and g by the clock. By hazard and for each finding: in how many films it is given;
how many of the 95 % intervals hold the truth; the error in its standard uncertainty, root mean square over the films;
the standard uncertainty over the value, median. Then the films whose interval misses, and the films without a Cv.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from measure_app.clip import open_clip
from measure_app.errors import SetupIncomplete
from measure_app.outcome import measure
from measure_app.report import checked, results_of
from measure_app.runfile import load_run
from tests.benchmarks.hazards import as_markdown, pools
from tests.benchmarks.landing import hazard_of

TRUTHS = {
    "speed_coefficient": ("Cv", "Cv"),
    "discharge_coefficient": ("Cd", "Cd"),
    "drain_rate_root_m_per_s": ("k", "k_sqrt_m_per_s"),
    "gravity_from_clock": ("g by the clock", "g"),
}
"""By finding: what it is called here, and its key among the truth's physics."""


@dataclass(frozen=True)
class Answer:
    """One finding of one film beside the truth."""

    z: float
    """Error over standard uncertainty."""
    holds: bool
    """Whether the 95 % interval holds the truth."""
    relative_u: float


@dataclass(frozen=True)
class Film:
    """What one film gave."""

    name: str
    hazard: str
    answers: dict[str, Answer]
    trouble: str = ""


def answered(path: Path) -> Film:
    """Measure one film and hold its findings against the truth."""
    name, run = path.name.removesuffix(".run.json"), load_run(path)
    physics = json.loads(path.with_name(f"{name}.truth.json").read_text(encoding="utf-8"))["physics"]
    with open_clip(path.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        try:
            outcome = measure(run, clip)
        except SetupIncomplete as error:
            return Film(name, hazard_of(path), {}, str(error))
    findings = checked(results_of(outcome)).findings
    answers = {}
    for key, (_, truth) in TRUTHS.items():
        finding = findings.finding(key)
        if finding is not None and physics[truth] is not None:
            low, high = finding.interval_95
            off = finding.value - physics[truth]
            answers[key] = Answer(
                off / finding.u, low <= physics[truth] <= high, finding.u / abs(finding.value)
            )
    missing = {each.name: each.missing for each in findings.undetermined}.get("speed_coefficient", "")
    return Film(name, hazard_of(path), answers, missing)


HEAD = ("hazard", "films", *(f"{name}: given, in 95 %, error/u, u" for name, _ in TRUTHS.values()))


def row(name: str, films: list[Film]) -> tuple[str, ...]:
    """Figures of some films."""
    cells = []
    for key in TRUTHS:
        got = [film.answers[key] for film in films if key in film.answers]
        if not got:
            cells.append("0")
            continue
        held = sum(each.holds for each in got)
        z = math.sqrt(statistics.fmean(each.z**2 for each in got))
        u = 100 * statistics.median(each.relative_u for each in got)
        cells.append(f"{len(got)}, {held}, {z:.2f}, {u:.2g} %")
    return (name, str(len(films)), *cells)


def misses(films: list[Film]) -> Iterator[str]:
    """Films whose interval does not hold the truth, and those that gave no Cv."""
    for film in films:
        for key, (name, _) in TRUTHS.items():
            answer = film.answers.get(key)
            if answer is not None and not answer.holds:
                yield f"{film.name}: {name} off by {answer.z:+.1f} u"
        if "speed_coefficient" not in film.answers:
            yield f"{film.name}: no Cv: {film.trouble}"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path, help="rendered films with their runs and truths")
    parser.add_argument("--table", type=Path, help="write the table to this file as Markdown")
    parser.add_argument("--processes", type=int, default=2, help="films at a time (default 2)")
    chosen = parser.parse_args()
    paths = sorted(chosen.folder.glob("*.run.json"))
    with ProcessPoolExecutor(chosen.processes) as pool:
        films = list(pool.map(answered, paths))
    by_hazard: dict[str, list[Film]] = defaultdict(list)
    for film in films:
        by_hazard[film.hazard].append(film)
    rows = [row(name, some) for name, some in by_hazard.items()]
    rows += [row(name, some) for name, some in pools(by_hazard)]
    text = as_markdown(HEAD, rows) + "\n"
    print(text)
    print("\n".join(misses(films)))
    if chosen.table is not None:
        chosen.table.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
