"""How the landing is read best: on one line, in a band above it, or from the traced jet; and the jet's launch angle.

    python -m tests.benchmarks.landing FOLDER [--scenes-each 2 --first-seed 50000] [--hazard NAME]... [--table FILE]

Takes the films of FOLDER (as `tests.benchmarks.hazards --keep FOLDER` leaves them), or renders some into it. One line:
the middle of what departs from the background on the landing line itself, looked for where the traced jet says. Band:
the median over three lines within 5 % of the drop above it, each carried down the plain parabola. Traced jet: what the
finder gives. For each: root mean square error in px, share off by more than 3 px, and the worst median over half a
second, all against where the jet crosses the line, in the frames in which it can be seen and the finder trusts it.
Then, for the traced jet, the share beyond 2 u, and its bias: the median error of each film, root mean square over the
films, beside the shared uncertainty that is stated for it. Two ratios, rms over the films and 1 where the uncertainty
is right: bias over u shared, and the scatter about the bias over the frames' own u. Last, how far the launch angle and
the bending of the jet's path lie from the truth in their stated uncertainties: rms over the films, and the share
beyond 2 u. After the hazards come all films together, and those with no, one and several hazards.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Segment
from measure_app.clip import Clip, open_clip
from measure_app.finders import JetLines, jet_lines
from measure_app.finders.jet_look import background_of, centred, gains_of
from measure_app.outcome import Outcome, measure
from measure_app.run import Run
from measure_app.runfile import load_run
from measure_app.strips import Strip, StripLine, steadied, sweep
from sample_clips import HAZARDS
from tests.benchmarks.finding import truths
from tests.benchmarks.hazards import (
    FEWEST,
    as_markdown,
    bias_and_scatter,
    film_of,
    first_seed,
    pools,
    seen_of,
    wrong_readings,
)

WAYS = ("one line", "band", "traced jet")
BAND = 3
OFF_PX = 3.0


@dataclass(frozen=True)
class Film:
    """What one film gave: errors (n,) px of each way, NaN where not compared, and the rest of the traced jet."""

    hazard: str
    errors: dict[str, FloatArray]
    window: int
    u_px: FloatArray
    own_u_px: FloatArray
    shared_u_px: float
    wrong: int
    jet_in_u: tuple[float, ...]


def middles(strip: Strip, at: FloatArray, half: int, damaged: NDArray[np.bool_], black: float) -> FloatArray:
    gain = gains_of([strip], damaged, black)
    ground = background_of(strip, damaged, gain, black)
    return centred(ground.activity(strip.levels, slice(0, len(at))), at, half)[0]


def strips_of(run: Run, clip: Clip) -> tuple[JetLines, list[Strip]]:
    """The jet's lines; the landing line's strip, and theirs."""
    assert run.landing_line
    assert run.orifice
    landing = Segment(run.landing_line.from_px, run.landing_line.to_px)
    zero = run.throw_zero.px if run.throw_zero is not None else None
    tracing = jet_lines(landing, run.orifice.px, zero)
    lines = [StripLine("throw", landing, across_px=1.0), *tracing.lines[:BAND]]
    return tracing, list(sweep(clip, lines, 0, clip.info.n_frames))


def compared(hazard: str, path: Path) -> Film | None:
    """What a film gave; None where the landing was not found at all."""
    run = load_run(path)
    record = json.loads(path.with_name(path.name.replace(".run.", ".truth.")).read_text(encoding="utf-8"))
    with open_clip(path.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        tracing, strips = strips_of(run, clip)
        seconds = float(clip.stamps.seconds()[-1])
        outcome = measure(run, clip)
    if outcome.search is None or outcome.search.landing is None or not outcome.search.landing.found.any():
        return None
    track, drift = outcome.search.landing, outcome.search.drift
    if drift.moved:
        along = drift.along(strips[0].line.segment.direction)
        strips = [steadied(strip, along) for strip in strips]
    truth = truths(run, record["frames"])["landing_seen"]
    shown = np.array([frame.get("landing_share_seen", 1.0) for frame in record["frames"]]) >= 0.5
    n = len(truth)
    use = shown & track.found
    place = np.interp(np.arange(n), np.flatnonzero(track.found), track.along_px[track.found])
    damaged = np.zeros(n, dtype=bool)
    damaged[[row for row, _ in strips[0].unseen]] = True
    black = 0.0 if strips[0].full_range else 16.0 * 2.0 ** (strips[0].bit_depth - 8)
    band = [
        tracing.landing_of(i, middles(strips[1 + i], tracing.place_on(i, place), 8, damaged, black))
        for i in range(BAND)
    ]
    found = dict(
        zip(
            WAYS,
            (middles(strips[0], place, 8, damaged, black), np.median(band, axis=0), track.along_px),
            strict=True,
        )
    )
    return Film(
        hazard,
        {way: np.where(use, places - truth, np.nan) for way, places in found.items()},
        max(3, round(0.5 * n / seconds)),
        np.hypot(track.own_u_px, track.shared_u_px),
        track.own_u_px,
        track.shared_u_px,
        int(
            wrong_readings(
                seen_of(track, "landing", truths(run, record["frames"]), record["frames"]), "landing"
            ).sum()
        ),
        jet_errors(outcome, record),
    )


def jet_errors(outcome: Outcome, record: dict[str, dict[str, float]]) -> tuple[float, ...]:
    """Errors of launch angle and of Cv by the path's bending, in their stated uncertainties; NaN where not given."""
    if outcome.jet is None:
        return (float("nan"), float("nan"))
    pairs = ((outcome.jet.angle, 0.0), (outcome.jet.speed_coefficient, record["physics"]["Cv"]))
    return tuple(float("nan") if got is None else (got.value - true) / got.u for got, true in pairs)


def worst_median(error: FloatArray, window: int) -> float:
    medians = [
        abs(float(np.nanmedian(error[i : i + window])))
        for i in range(len(error) - window + 1)
        if np.isfinite(error[i : i + window]).sum() > window // 2
    ]
    return max(medians, default=float("nan"))


def rms(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(known**2))) if len(known) else float("nan")


def kinds_of(film: Film) -> tuple[float, float] | None:
    """Bias over what frames share, and scatter over what they do not; None of too few readings."""
    error = film.errors[WAYS[-1]]
    good = np.isfinite(error)
    if good.sum() < FEWEST:
        return None
    return bias_and_scatter(error[good], film.own_u_px[good], film.shared_u_px)


HEAD = (
    "scenes", "films", *WAYS, "wrong, no flag", "beyond 2 u", "bias px", "its u px", "bias / u shared",
    "scatter / u own", "angle / u", "angle beyond", "bending / u",
    "bending beyond",
)  # fmt: skip


def row(hazard: str, films: list[Film]) -> tuple[str, ...]:
    ways = []
    for way in WAYS:
        error = np.concatenate([film.errors[way] for film in films])
        off = float(np.mean(np.abs(error[np.isfinite(error)]) > OFF_PX))
        worst = max(worst_median(film.errors[way], film.window) for film in films)
        ways.append(f"{rms(error):.2f}, {off:.3f}, {worst:.2f}")
    error = np.concatenate([film.errors[WAYS[-1]] for film in films])
    u = np.concatenate([film.u_px for film in films])
    known = np.isfinite(error) & np.isfinite(u)
    bias = np.array([np.nanmedian(film.errors[WAYS[-1]]) for film in films])
    kinds = [each for each in map(kinds_of, films) if each is not None]
    jets = []
    for part in range(2):
        each = np.array([film.jet_in_u[part] for film in films])
        given = each[np.isfinite(each)]
        jets += [f"{rms(each):.2f}", f"{int((np.abs(given) > 2).sum())} of {len(given)}"]
    return (
        "no hazard" if hazard == "none" else hazard,
        str(len(films)),
        *ways,
        str(sum(film.wrong for film in films)),
        f"{np.mean(np.abs(error[known]) > 2 * u[known]):.3f}",
        f"{rms(bias):.2f}",
        f"{rms(np.array([film.shared_u_px for film in films])):.2f}",
        f"{rms(np.array([each[0] for each in kinds])):.2f}",
        f"{rms(np.array([each[1] for each in kinds])):.2f}",
        *jets,
    )


def hazard_of(path: Path) -> str:
    name = path.name.removesuffix(".run.json").rpartition("-")[0]
    return "none" if name == "varied" else name


def films_in(folder: Path, hazards: list[str], each: int, first: int) -> list[Path]:
    if not each:
        found = sorted(folder.glob("*.run.json"))
        return [path for path in found if not hazards or hazard_of(path) in hazards]
    folder.mkdir(parents=True, exist_ok=True)
    return [
        film_of(hazard, first_seed(hazard, first) + k, "clean", folder)
        for hazard in hazards or ["none", *HAZARDS]
        for k in range(each)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path, help="films with run and truth files beside them")
    parser.add_argument(
        "--scenes-each", type=int, default=0, help="render so many of each hazard into FOLDER"
    )
    parser.add_argument("--first-seed", type=int, default=50000, help="as for tests.benchmarks.hazards")
    parser.add_argument("--hazard", action="append", default=[], help="only this hazard")
    parser.add_argument("--table", type=Path, help="write the table to this file as Markdown")
    chosen = parser.parse_args()
    films: dict[str, list[Film]] = {}
    for path in films_in(chosen.folder, chosen.hazard, chosen.scenes_each, chosen.first_seed):
        film = compared(hazard_of(path), path)
        if film is not None:
            films.setdefault(film.hazard, []).append(film)
        print(path.name if film is not None else f"{path.name}: no landing found", flush=True)
    table = [row(hazard, each) for hazard, each in sorted(films.items())]
    if len(films) > 1:
        table += [row(kind, some) for kind, some in pools(films)]
    text = as_markdown(HEAD, table)
    print(text)
    if chosen.table:
        chosen.table.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
