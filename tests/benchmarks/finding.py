"""How well surface and landing are found on random clean scenes with known truth, and how fast.

    python -m tests.benchmarks.finding [--scenes 20] [--first-seed 100] [--keep FOLDER]

Renders the scenes (or takes them from FOLDER when they are there already), runs the real `measure` on each, and prints
errors in pixels, the share of readings within two standard uncertainties, how far Cv and k are from the truth in
standard uncertainties, and the time of `measure` over that of plainly decoding the same film in the same run.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration import Segment
from measure_app.clip import open_clip
from measure_app.finders import Track
from measure_app.finders.edge import fit_edges, light_table
from measure_app.outcome import Outcome, measure
from measure_app.run import Run
from measure_app.runfile import load_run
from measure_app.strips import Strip
from sample_clips import random_scene, render_scene


@dataclass(frozen=True)
class Errors:
    """Errors of one part in one film."""

    found: float
    rms_px: float
    scatter_px: float
    worst_px: float
    worst_median_px: float
    within_2u: float


def render(seed: int, folder: str) -> str:
    scene = random_scene(seed)
    run = Path(folder) / f"{scene.name}.run.json"
    if not run.exists():
        render_scene(scene, Path(folder))
    return str(run)


def errors_of(track: Track, truth: NDArray[np.float64], seconds: float) -> Errors:
    error = track.along_px - truth
    found = track.found
    u = np.hypot(track.own_u_px, track.shared_u_px)
    window = max(3, round(0.5 * len(error) / seconds))
    medians = [
        abs(np.nanmedian(error[i : i + window]))
        for i in range(len(error) - window + 1)
        if found[i : i + window].any()
    ]
    slow = np.polyval(np.polyfit(np.flatnonzero(found), error[found], 3), np.flatnonzero(found))
    return Errors(
        float(found.mean()),
        float(np.sqrt(np.nanmean(error**2))),
        float(np.std(error[found] - slow)),
        float(np.nanmax(np.abs(error))),
        float(max(medians)),
        float(np.mean(np.abs(error[found]) < 2 * u[found])),
    )


def truths(
    run: Run, frames: list[dict[str, dict[str, dict[str, list[float]]]]]
) -> dict[str, NDArray[np.float64]]:
    """Places along the drawn lines; the landing where the jet crosses the line as drawn, a click off its true level."""
    assert run.gauge_line
    assert run.landing_line
    assert run.orifice
    gauge = Segment(run.gauge_line.from_px, run.gauge_line.to_px)
    landing = Segment(run.landing_line.from_px, run.landing_line.to_px)
    normal = np.array([-landing.direction[1], landing.direction[0]])
    first = frames[0]["px"]
    surface_key = "surface" if "surface" in first else "contact_line_near"
    out = {"surface": gauge.along(np.array([f["px"][surface_key]["image_px"] for f in frames]))}
    drop = np.dot(np.subtract(run.orifice.px, landing.start), normal)
    zero = landing.along(np.array([run.orifice.px]))[0]
    for name in ("landing", "landing_seen"):
        key = name if name in first else "landing"
        px = np.array([f["px"][key]["image_px"] for f in frames])
        along = landing.along(px)
        off = (px - np.asarray(landing.start)) @ normal
        # Slope of a parabola at its end: dx/dy = x / (2 y0); a line above the true level is met earlier.
        out[name] = along + off * (along - zero) / (2.0 * drop)
    return out


def bound_px(strip: Strip, places: NDArray[np.float64], name: str, forward: bool) -> float:
    """Cramér–Rao bound of one frame's edge, px, for the scene's own blur and noise; NaN for a film from elsewhere.

    Levels and slopes on both sides are unknown, as to the finder. The strip averages its width, so the sensor's
    noise counts less by the root of that; what the encoder takes from the noise or adds to it is not counted.
    """
    kind, _, seed = name.partition("-")
    if kind != "clean" or not seed.isdigit():
        return float("nan")
    film = random_scene(int(seed)).film
    table = light_table(strip.bit_depth, full_range=strip.full_range)
    levels = strip.levels if forward else strip.levels[:, ::-1]
    edge = places if forward else levels.shape[1] - 1 - places
    fit = fit_edges(table[levels], edge, float(np.hypot(film.blur_px, 1 / np.sqrt(12))))
    row = np.arange(len(edge))
    code = levels[row, np.rint(edge).astype(int)].astype(float)
    slope = np.interp(code, np.arange(len(table)), np.gradient(table))
    noise = np.sqrt((film.read_noise**2 + film.shot_gain * code) / strip.line.across_px + 1 / 12) * slope
    return float(np.median(noise / np.sqrt(fit.information)))


def measured(path: Path) -> tuple[Run, Outcome, float, float, float]:
    """Run, outcome, seconds of film, and the times of decoding and of measuring, each the best of three."""
    run = load_run(path)
    decode, whole = [], []
    with open_clip(path.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        seconds = float(clip.stamps.seconds()[-1])
        for _ in range(3):
            start = time.perf_counter()
            for _ in clip.luma_planes(0, clip.info.n_frames):
                pass
            decode.append(time.perf_counter() - start)
            start = time.perf_counter()
            outcome = measure(run, clip)
            whole.append(time.perf_counter() - start)
    return run, outcome, seconds, min(decode), min(whole)


def z_of(outcome: Outcome, name: str, truth: float) -> float:
    finding = outcome.findings.finding(name)
    return float("nan") if finding is None else (finding.value - truth) / finding.u


def report(paths: list[Path]) -> None:
    print(
        f"{'scene':12s} {'surface: rms':>12s} {'scatter':>8s} {'/CRB':>5s} {'worst':>6s} {'in 2u':>6s} | "
        f"{'landing: rms':>12s} {'seen rms':>8s} {'½-s med':>7s} {'in 2u':>6s} | {'z Cv':>6s} {'z k':>6s} {'z Cd':>6s} | time"
    )
    rows = []
    for path in paths:
        run, outcome, seconds, decode, whole = measured(path)
        truth = json.loads(path.with_name(path.name.replace(".run.", ".truth.")).read_text())
        places = truths(run, truth["frames"])
        assert outcome.search
        assert outcome.search.surface
        assert outcome.search.landing
        assert outcome.search.head_strip
        assert run.gauge_line
        bound = bound_px(
            outcome.search.head_strip,
            places["surface"],
            path.name.split(".")[0],
            forward=run.gauge_line.to_px.y > run.gauge_line.from_px.y,
        )
        surface = errors_of(outcome.search.surface, places["surface"], seconds)
        landing = errors_of(outcome.search.landing, places["landing"], seconds)
        seen = errors_of(outcome.search.landing, places["landing_seen"], seconds)
        physics = truth["physics"]
        z = (
            z_of(outcome, "speed_coefficient", physics["Cv"]),
            z_of(outcome, "drain_rate_root_m_per_s", physics["k_sqrt_m_per_s"]),
            z_of(outcome, "discharge_coefficient", physics["Cd"]),
        )
        rows.append((surface, landing, seen, z, surface.scatter_px / bound, whole / decode))
        print(
            f"{path.name.split('.')[0]:12s} {surface.rms_px:12.3f} {surface.scatter_px:8.3f} {surface.scatter_px / bound:5.2f} {surface.worst_px:6.2f} "
            f"{surface.within_2u:6.2f} | {landing.rms_px:12.3f} {seen.rms_px:8.3f} {landing.worst_median_px:7.2f} "
            f"{seen.within_2u:6.2f} | {z[0]:6.2f} {z[1]:6.2f} {z[2]:6.2f} | {whole / decode:.2f}",
            flush=True,
        )
    found = [min(s.found, w.found) for s, w, *_ in rows]
    print(f"\nframes found, least of all scenes    {min(found):.3f}")
    print(f"surface rms, all scenes              {np.sqrt(np.mean([s.rms_px**2 for s, *_ in rows])):.3f} px")
    print(f"surface scatter over its bound       {np.nanmedian([row[4] for row in rows]):.2f} (median)")
    print(
        f"landing rms against the throw        {np.sqrt(np.mean([w.rms_px**2 for _, w, *_ in rows])):.3f} px (the jet's own sway in it)"
    )
    print(
        f"landing rms against the jet as seen  {np.sqrt(np.mean([e.rms_px**2 for _, _, e, *_ in rows])):.3f} px"
    )
    for against, column in (("the throw", 1), ("the jet as seen", 2)):
        medians = max(row[column].worst_median_px for row in rows)
        print(f"landing, half-second median          {medians:.2f} px at worst against {against}")
    print(f"share within 2 u: surface            {np.mean([s.within_2u for s, *_ in rows]):.3f}")
    print(
        f"share within 2 u: landing            {np.mean([e.within_2u for _, _, e, *_ in rows]):.3f} (of where the jet is seen)"
    )
    for i, name in enumerate(("Cv", "k", "Cd")):
        z_all = np.array([row[3][i] for row in rows])
        print(
            f"{name:3s}: |z| < 1.96 in {np.mean(np.abs(z_all) < 1.96):.2f} of scenes, rms z {np.sqrt(np.mean(z_all**2)):.2f}"
        )
    print(
        f"measure over plain decoding          {np.median([r[-1] for r in rows]):.2f} (median), {max(r[-1] for r in rows):.2f} (worst)"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--scenes", type=int, default=20, help="how many scenes (default 20)")
    parser.add_argument("--first-seed", type=int, default=100, help="seed of the first scene (default 100)")
    parser.add_argument(
        "--keep", type=Path, help="keep the rendered scenes in this folder, or take them from it"
    )
    parser.add_argument(
        "runs", nargs="*", type=Path, help="measure these run files instead (with truth files beside)"
    )
    chosen = parser.parse_args()
    if chosen.runs:
        report(chosen.runs)
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = chosen.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        seeds = range(chosen.first_seed, chosen.first_seed + chosen.scenes)
        with ProcessPoolExecutor(2) as pool:
            paths = list(pool.map(render, seeds, [str(folder)] * len(seeds)))
        report([Path(p) for p in paths])


if __name__ == "__main__":
    main()
