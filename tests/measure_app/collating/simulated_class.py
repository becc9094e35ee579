"""A class of students who read the bench film as people do, made from its known truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from msgspec.structs import replace

from calibration import Pixel, Segment
from measure_app.finders import Part
from measure_app.packs import shares_of
from measure_app.run import By, Reading, Run, Spot
from measure_app.runfile import encode_run, load_run

ROOT = Path(__file__).parents[3]
BENCH = ROOT / "sample_clips" / "bench"
WIDTH = 1280
# How careful hands differ on a 720p film: own bias, then scatter of one mark, px along the line; common
# practice, no source.
SURFACE = (0.6, 0.7)
LANDING = (1.0, 1.5)
Places = dict[Part, np.ndarray[Any, np.dtype[np.float64]]]
Change = Callable[[Places], Places]


@lru_cache(maxsize=1)
def truth() -> Places:
    """(300, 2) px of the surface as it is read and of the landing, from the film's truth."""
    frames = json.loads((BENCH / "bench.truth.json").read_text(encoding="utf-8"))["frames"]
    return {
        Part.SURFACE: np.array([f["px"]["contact_line_near"]["image_px"] for f in frames]),
        Part.LANDING: np.array([f["px"]["landing"]["image_px"] for f in frames]),
    }


@lru_cache(maxsize=1)
def bench_run() -> Run:
    """Return the bench run, its film by absolute path."""
    run = load_run(BENCH / "bench.run.json")
    return replace(run, clip=replace(run.clip, path=str(BENCH / "bench.mp4")))


def lines() -> dict[Part, Segment]:
    run = bench_run()
    assert run.gauge_line is not None
    assert run.landing_line is not None
    return {
        Part.SURFACE: Segment(run.gauge_line.from_px, run.gauge_line.to_px),
        Part.LANDING: Segment(run.landing_line.from_px, run.landing_line.to_px),
    }


def read_by_a_student(rng: np.random.Generator, frames: np.ndarray[Any, Any]) -> Places:
    """Marks of one student: a bias of their own, scatter along the line, any place across it."""
    made: Places = {}
    for part, (bias, scatter) in ((Part.SURFACE, SURFACE), (Part.LANDING, LANDING)):
        direction = lines()[part].direction
        along = rng.normal(0, bias) + rng.normal(0, scatter, len(frames))
        across = rng.normal(0, 4.0, len(frames))
        normal = np.array([-direction[1], direction[0]])
        made[part] = truth()[part][frames] + along[:, None] * direction + across[:, None] * normal
    return made


def key_run(rng: np.random.Generator | None = None) -> Run:
    """Return the teacher's run: every frame read carefully."""
    rng = rng or np.random.default_rng(99)
    places = {}
    for part, scatter in ((Part.SURFACE, 0.1), (Part.LANDING, 0.5)):
        along = lines()[part].along(truth()[part]) + rng.normal(0, scatter, 300)
        places[part] = lines()[part].at(along)
    return replace(bench_run(), readings=readings(np.arange(300), places))


def readings(frames: np.ndarray[Any, Any], places: Mapping[Part, Any]) -> tuple[Reading, ...]:
    def spot(part: Part, i: int, u: float) -> Spot | None:
        xy = places[part][i]
        return Spot(px=Pixel(*(float(v) for v in xy)), px_u=u, by=By.HAND) if np.isfinite(xy).all() else None

    return tuple(
        Reading(frame=int(f), surface=spot(Part.SURFACE, i, 1.0), landing=spot(Part.LANDING, i, 1.5))
        for i, f in enumerate(frames)
    )


def answer_run(
    rng: np.random.Generator,
    frames: np.ndarray[Any, Any],
    observer: str,
    *,
    change: Change | None = None,
    run: Run | None = None,
) -> Run:
    """Return what a student hands in; `change` is the fault that they make in reading."""
    places = read_by_a_student(rng, frames)
    return replace(
        run or bench_run(),
        observer=observer,
        readings=readings(frames, change(places) if change is not None else places),
    )


def write_class(
    folder: Path,
    students: int,
    faults: Mapping[int, Callable[[np.random.Generator, np.ndarray[Any, Any], str], Run]] | None = None,
    *,
    seed: int = 1,
    each: int = 12,
) -> None:
    """Write a class's answers; student s reads the share s, those in `faults` by what stands there."""
    rng = np.random.default_rng(seed)
    folder.mkdir(exist_ok=True)
    for s, share in enumerate(shares_of(0, 300, students, each).frames):
        make = (faults or {}).get(s, answer_run)
        run = make(rng, np.array(share), f"Student {s:02d}")
        (folder / f"s{s:02d}.run.json").write_bytes(encode_run(run))


# --- faults of reading, by the words of the brief that a class is given ------------------------------------------------


def swapped(places: Places) -> Places:
    return {Part.SURFACE: places[Part.LANDING], Part.LANDING: places[Part.SURFACE]}


def mirrored(places: Places) -> Places:
    return {part: np.stack([WIDTH - 1 - xy[:, 0], xy[:, 1]], axis=1) for part, xy in places.items()}


def halved(places: Places) -> Places:
    return {part: (xy + 0.5) * 0.5 - 0.5 for part, xy in places.items()}


def other_edge(px: float) -> Change:
    """The surface read so many px lower."""

    def change(places: Places) -> Places:
        return {**places, Part.SURFACE: places[Part.SURFACE] + px * lines()[Part.SURFACE].direction}

    return change


def reading(change: Change) -> Callable[[np.random.Generator, np.ndarray[Any, Any], str], Run]:
    return lambda rng, frames, name: answer_run(rng, frames, name, change=change)


def shifted(by: int) -> Callable[[np.random.Generator, np.ndarray[Any, Any], str], Run]:
    """Frames noted that are `by` earlier than those read."""

    def make(rng: np.random.Generator, frames: np.ndarray[Any, Any], name: str) -> Run:
        places = read_by_a_student(rng, np.clip(frames + by, 0, 299))
        return replace(bench_run(), observer=name, readings=readings(frames, places))

    return make


def set_up(change: Callable[[Run], Run]) -> Callable[[np.random.Generator, np.ndarray[Any, Any], str], Run]:
    """A fault of the set-up, the readings sound."""
    return lambda rng, frames, name: answer_run(rng, frames, name, run=change(bench_run()))


def in_inches(run: Run) -> Run:
    """Every value of the upright rule an inch where a millimetre was meant."""
    rule = run.rules[0]
    graduations = tuple(replace(g, value_m=g.value_m * 25.4) for g in rule.graduations)
    return replace(run, rules=(replace(rule, graduations=graduations), *run.rules[1:]))


def wrong_graduation(run: Run) -> Run:
    """The second engraved line of the upright rule taken for the next one, a centimetre on."""
    rule = run.rules[0]
    second = replace(rule.graduations[1], value_m=rule.graduations[1].value_m + 0.01)
    graduations = (rule.graduations[0], second, *rule.graduations[2:])
    return replace(run, rules=(replace(rule, graduations=graduations), *run.rules[1:]))
