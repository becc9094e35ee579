"""Scenes drawn from a seed, all different, for benchmarks and property tests."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from sample_clips.drain import Drain
from sample_clips.hazard_kinds import strengths_of, with_hazards
from sample_clips.looks import varied_look
from sample_clips.placing import bench_for, camera_for, sway_from
from sample_clips.scene import Colour, Film, Look, Notebook, Scene, Timing

DIFFICULTIES = ("clean", "hard")
_RATES_HZ = (10, 12, 15, 20, 24, 25, 30)
_WALLS: tuple[Colour, ...] = (
    (0.66, 0.68, 0.69),
    (0.72, 0.69, 0.64),
    (0.60, 0.66, 0.68),
    (0.70, 0.70, 0.66),
    (0.63, 0.61, 0.64),
)
_BENCHES: tuple[Colour, ...] = (
    (0.46, 0.32, 0.22),
    (0.56, 0.43, 0.31),
    (0.36, 0.27, 0.21),
    (0.50, 0.45, 0.40),
)
_STANDS: tuple[tuple[str, Colour], ...] = (
    ("bricks", (0.64, 0.36, 0.27)),
    ("timber", (0.66, 0.51, 0.35)),
    ("steel", (0.40, 0.46, 0.50)),
    ("bricks", (0.55, 0.42, 0.36)),
    ("timber", (0.52, 0.36, 0.24)),
)
_BOARDS: tuple[Colour, ...] = ((0.24, 0.26, 0.28), (0.30, 0.28, 0.26), (0.22, 0.28, 0.27))
_TRAYS: tuple[Colour, ...] = ((0.82, 0.84, 0.84), (0.84, 0.82, 0.77), (0.74, 0.80, 0.83))


@dataclass(frozen=True, slots=True)
class _Dye:
    """Absorption of a full-strength dye in red, green, blue, 1/m, and the colour that it sends back."""

    per_m: Colour
    tint: Colour


_DYES = (
    _Dye((30.0, 8.0, 6.0), (0.10, 0.55, 0.62)),
    _Dye((26.0, 16.0, 4.0), (0.14, 0.30, 0.66)),
    _Dye((3.0, 24.0, 18.0), (0.72, 0.22, 0.24)),
    _Dye((24.0, 6.0, 20.0), (0.16, 0.55, 0.26)),
    _Dye((6.0, 30.0, 10.0), (0.62, 0.16, 0.44)),
)


def random_scene(
    seed: int,
    difficulty: str = "clean",
    *,
    hazards: Iterable[str] | Mapping[str, float] = (),
    varied: bool | None = None,
) -> Scene:
    """Draw a scene.

    Parameters
    ----------
    seed : the same seed gives the same scene, frame for frame
    difficulty : `clean` (a careful film in good light) or `hard` (weak dye, more noise and blur, camera
    tilted and rolled, a lens that bends)
    hazards : names out of `HAZARDS`, each of strength 1 or written `NAME:STRENGTH`; or names with strengths.
        Each draws from the seed by itself: a hand comes from the same side with and without a bump.
    varied : whether background, rule, dye and light differ widely from scene to scene; left out: where there
        are hazards

    Raises
    ------
    ValueError
        If the difficulty or a hazard is not one of these.
    """
    strengths = strengths_of(hazards)
    scene = _plain(seed, difficulty)
    if varied or (varied is None and strengths):
        scene = replace(scene, look=varied_look(scene), name=f"varied-{seed}")
    if not strengths:
        return scene
    words = "+".join(name if s == 1.0 else f"{name}-{s:g}" for name, s in strengths.items())
    names = words if difficulty == "clean" else f"{difficulty}+{words}"
    scene = replace(
        with_hazards(scene, strengths),
        name=f"{names}-{seed}",
        notebook=replace(scene.notebook, title=f"Workshop bench, scene {seed} ({names})"),
    )
    return scene


def _plain(seed: int, difficulty: str) -> Scene:
    if difficulty not in DIFFICULTIES:
        raise ValueError(f"difficulty is one of {', '.join(DIFFICULTIES)}, got {difficulty!r}")
    rng = np.random.default_rng([seed, DIFFICULTIES.index(difficulty)])
    hard = difficulty == "hard"
    drain, timing = _drain_and_timing(rng)
    bench = bench_for(rng, drain)
    tilt = 2.0 if hard else 0.7
    camera = camera_for(
        drain,
        bench,
        (1280, 720),
        float(rng.uniform(0.95, 1.6)),
        squeeze=float(rng.uniform(0.88, 0.95)),
        nudge_m=(float(rng.uniform(-0.02, 0.02)), float(rng.uniform(-0.02, 0.01))),
        angles_deg=(
            float(np.clip(rng.normal(0, tilt), -2 * tilt, 2 * tilt)),
            float(np.clip(rng.normal(0, tilt), -2 * tilt, 2 * tilt)),
            float(rng.uniform(-1, 1)) * (2.5 if hard else 0.8),
        ),
        k1=float(rng.uniform(-0.10, 0.06)) if hard else float(rng.uniform(-0.03, 0.02)),
    )
    look = _look(rng, hard=hard)
    film = Film(
        blur_px=float(rng.uniform(0.9, 1.6) if hard else rng.uniform(0.50, 0.85)),
        read_noise=float(rng.uniform(2.5, 5.0) if hard else rng.uniform(0.5, 1.4)),
        shot_gain=float(rng.uniform(0.03, 0.08) if hard else rng.uniform(0.004, 0.02)),
        vignette=float(rng.uniform(0.04, 0.16)),
        sharpen=0.0 if hard else float(rng.uniform(0, 0.25)),
        crf=24 if hard else 20,
        preset="veryfast",
    )
    notebook = Notebook(title=f"Workshop bench, scene {seed} ({difficulty})", facing_known=hard)
    return Scene(
        f"{difficulty}-{seed}",
        seed,
        camera,
        drain,
        sway_from(rng, float(rng.uniform(0.0003, 0.0006))),
        timing,
        bench,
        look,
        film,
        notebook,
    )


def _drain_and_timing(rng: np.random.Generator) -> tuple[Drain, Timing]:
    """Draw container, hole and film so that the head falls far but stays where the law holds."""
    while True:
        gravity, cv, cc = 9.81, float(rng.uniform(0.955, 0.985)), float(rng.uniform(0.62, 0.67))
        bore, head0, drop = (
            float(rng.uniform(0.018, 0.036)),
            float(rng.uniform(0.13, 0.23)),
            float(rng.uniform(0.18, 0.31)),
        )
        frames, rate = int(rng.integers(100, 151)), int(rng.choice(_RATES_HZ))
        last = (frames - 1) / rate
        rate_root = math.sqrt(head0) * (1 - math.sqrt(float(rng.uniform(0.18, 0.34)))) / last
        area = rate_root * math.pi * bore**2 / (cv * cc * math.sqrt(gravity / 2))
        hole = math.sqrt(4 * area / math.pi)
        drain = Drain(
            gravity,
            cv,
            cc,
            hole,
            bore,
            float(rng.uniform(0.002, 0.004)),
            head0,
            drop,
            float(np.clip(rng.normal(0.0010, 0.0002), 0.0004, 0.0016)),
        )
        # Below twice the hole, or 60 mm²/d, surface tension rules and the law ends: do not film that.
        lowest = max(2.2 * hole, 66e-6 / hole)
        if 0.0035 <= hole <= 0.0085 and float(drain.head(last)) > lowest:
            break
    exposure = float(np.exp(rng.uniform(math.log(1 / 240), math.log(1 / 60))))
    return drain, Timing(tuple(range(frames)), Fraction(1, rate), exposure, float(rate))


def _look(rng: np.random.Generator, *, hard: bool) -> Look:
    dye = _DYES[int(rng.integers(len(_DYES)))]
    strength = float(rng.uniform(0.12, 0.35) if hard else rng.uniform(0.75, 1.3))
    stand, colour = _STANDS[int(rng.integers(len(_STANDS)))]
    light = float(rng.uniform(0.90, 1.08))
    wall = _WALLS[int(rng.integers(len(_WALLS)))]
    red, green, blue = dye.per_m
    return Look(
        wall=(wall[0] * light, wall[1] * light, wall[2] * light),
        bench=_BENCHES[int(rng.integers(len(_BENCHES)))],
        stand=stand,
        stand_colour=colour,
        board=_BOARDS[int(rng.integers(len(_BOARDS)))],
        tray=_TRAYS[int(rng.integers(len(_TRAYS)))],
        dye_per_m=(red * strength, green * strength, blue * strength),
        tint=dye.tint,
        light_from=-1.0 if rng.random() < 0.5 else 1.0,
        meniscus_dark=float(rng.uniform(0.03, 0.08)),
        underside_dark=float(rng.uniform(0.015, 0.035)),
        splash=float(rng.uniform(0.6, 1.4)),
    )
