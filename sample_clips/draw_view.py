"""Hazards that stand between the camera and the water, drawn into a scene."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from sample_clips.hazards import (
    CameraMotion,
    ClearWater,
    Exposure,
    Glare,
    Gleam,
    Knock,
    Label,
    Streak,
    Visit,
    Visits,
    Wetting,
)
from sample_clips.scene import Colour, Scene

_SKINS: tuple[Colour, ...] = ((0.86, 0.66, 0.55), (0.72, 0.52, 0.40), (0.52, 0.36, 0.27), (0.36, 0.25, 0.20))
_CLOTHS: tuple[Colour, ...] = ((0.22, 0.27, 0.38), (0.75, 0.74, 0.70), (0.50, 0.22, 0.22), (0.25, 0.33, 0.27))
_HAIRS: tuple[Colour, ...] = ((0.17, 0.13, 0.11), (0.42, 0.30, 0.19), (0.62, 0.52, 0.38), (0.55, 0.54, 0.54))


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw a number between two others."""
    return float(rng.uniform(low, high))


def having(scene: Scene, **changes: object) -> Scene:
    """Give a scene with hazards added."""
    return replace(scene, hazards=replace(scene.hazards, **changes))  # type: ignore[arg-type]


def span_of(scene: Scene) -> tuple[float, float]:
    """First time and length of the film, s."""
    times = scene.timing.times_s
    return float(times[0]), float(times[-1] - times[0])


def _pick(rng: np.random.Generator, colours: tuple[Colour, ...]) -> Colour:
    colour = colours[int(rng.integers(len(colours)))]
    gain = between(rng, 0.85, 1.12)
    return colour[0] * gain, colour[1] * gain, colour[2] * gain


def hand(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Add a hand over the container, the landing, or first one and then the other."""
    start, length = span_of(scene)
    visits = list(scene.hazards.visits.visits)
    number = 1 if strength < 0.75 else 2
    targets = rng.permutation(["tube", "landing"])
    for turn in range(number):
        stay = length * between(rng, 0.10, 0.24) * min(1.0, 0.5 + 0.5 * strength)
        slot = length * (0.88 / number)
        begins = start + 0.05 * length + turn * slot + between(rng, 0.0, 1.0) * max(0.0, slot - stay)
        middle = begins + stay / 2
        if targets[turn] == "tube":
            at = (scene.axis_x_m, scene.drain.drop_m + float(scene.drain.head(middle)))
            away = between(rng, -60, 60) + (180.0 if rng.random() < 0.3 else 0.0)
        else:
            at = (float(scene.drain.throw(middle)), between(rng, 0.026, 0.040))
            away = between(rng, -35, 60)
        size = between(rng, 0.85, 1.1) if targets[turn] == "tube" else between(rng, 1.0, 1.25)
        # The palm's middle does not hit the mark: a little off, but over it.
        off = (between(rng, -0.012, 0.012), between(rng, -0.012, 0.012))
        visits.append(
            Visit(
                "hand",
                begins,
                begins + stay,
                min(between(rng, 0.25, 0.7), 0.12 * length),
                (at[0] + off[0], at[1] + off[1]),
                away,
                size,
                _pick(rng, _SKINS),
                _pick(rng, _CLOTHS),
                int(rng.integers(1 << 20)),
            )
        )
    return having(scene, visits=Visits(strength, tuple(visits)))


def head(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Add a head and shoulders."""
    start, length = span_of(scene)
    stay = length * between(rng, 0.12, 0.28) * min(1.0, 0.5 + 0.5 * strength)
    begins = start + 0.06 * length + between(rng, 0, 1) * (0.85 * length - stay)
    throw, level = float(scene.drain.throw(begins)), scene.drain.drop_m + float(scene.drain.head(begins))
    if rng.random() < 0.5:  # the head before the container, or the shoulders before both
        at = (scene.axis_x_m + between(rng, -0.05, 0.12), level + between(rng, -0.06, 0.04))
    else:
        at = (between(rng, 0.25, 0.55) * throw, level + between(rng, 0.26, 0.34))
    visit = Visit(
        "head",
        begins,
        begins + stay,
        min(between(rng, 0.4, 1.0), 0.15 * length),
        at,
        float(rng.choice([0.0, 180.0, -90.0])) + between(rng, -15, 15),
        between(rng, 0.9, 1.1) * (0.85 + 0.15 * min(1.0, strength)),
        _pick(rng, _HAIRS),
        _pick(rng, _CLOTHS),
        int(rng.integers(1 << 20)),
    )
    return having(scene, visits=Visits(strength, (*scene.hazards.visits.visits, visit)))


def clear(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Take the dye out of the water."""
    drain = replace(scene.drain, meniscus_m=between(rng, 0.0014, 0.0026))
    clear = ClearWater(strength, between(rng, 0.55, 0.95), between(rng, 0.1, 0.4))
    red, green, blue = (a * max(0.0, 1 - strength) for a in scene.look.dye_per_m)
    look = replace(
        scene.look,
        meniscus_dark=scene.look.meniscus_dark * (1 - strength),
        underside_dark=0.6 * scene.look.underside_dark,
        # In the jet and the tray there is no dye either.
        dye_per_m=(red, green, blue),
    )
    return replace(having(scene, clear=clear), drain=drain, look=look)


def droplets(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Wet the wall above the surface."""
    number = int(between(rng, 50, 110) * strength)
    wetting = Wetting(strength, number, between(rng, 0.15, 0.45), between(rng, 0.08, 0.30) * strength)
    return having(scene, wetting=wetting)


def glare(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Add reflections on the container."""
    drain = scene.drain
    start, length = span_of(scene)
    low = drain.drop_m + float(drain.head(start + length))
    high = drain.drop_m + float(drain.head(start))
    streaks = []
    for _ in range(int(rng.integers(1, 4))):
        bottom = between(rng, low - 0.03, high - 0.01)
        streaks.append(
            Streak(
                between(rng, -0.7, 0.7) * (0.35 if rng.random() < 0.5 else 1.0),
                between(rng, 0.04, 0.22),
                bottom,
                bottom + between(rng, 0.02, 0.10),
                between(rng, 0.35, 0.9) * min(1.0, strength),
            )
        )
    gleams = [
        Gleam(
            between(rng, -0.4, 0.4),
            between(rng, low, high),
            between(rng, 0.2, 0.6) * (high - low),
            length * between(rng, 0.35, 1.2),
            between(rng, 0, 2 * math.pi),
            length * between(rng, 0.15, 0.5),
            (between(rng, 0.004, 0.012), between(rng, 0.006, 0.025)),
            between(rng, 0.5, 1.0) * min(1.0, strength),
        )
        for _ in range(int(rng.integers(1, 3)))
    ]
    return having(scene, glare=Glare(strength, tuple(streaks), tuple(gleams)))


def label(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Stick a label on the container, or mould seams into it."""
    drain = scene.drain
    start, length = span_of(scene)
    low = drain.drop_m + float(drain.head(start + length))
    high = drain.drop_m + float(drain.head(start))
    tall = (high - low) * between(rng, 0.10, 0.28)
    foot = between(rng, low + 0.1 * tall, high - 1.3 * tall)
    seams = tuple(between(rng, low, high) for _ in range(int(rng.integers(1, 4))))
    kind = rng.random()
    label = Label(
        strength=min(1.0, strength),
        low_m=foot if kind < 0.75 else 0.0,
        high_m=foot + tall if kind < 0.75 else 0.0,
        across=(-between(rng, 0.3, 1.0), between(rng, 0.3, 1.0)),
        seams_m=seams if kind > 0.4 else (),
        paper=((0.90, 0.90, 0.87), (0.88, 0.80, 0.45), (0.55, 0.66, 0.78))[int(rng.integers(3))],
    )
    return having(scene, label=label)


def _aside(rng: np.random.Generator, size: float) -> tuple[float, float, float]:
    angle = between(rng, 0, 2 * math.pi)
    return size * math.cos(angle), size * math.sin(angle), 0.25 * size * between(rng, -1, 1)


def bump(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Knock the camera."""
    start, length = span_of(scene)
    number = 1 if rng.random() < 0.7 else 2
    rate = scene.timing.times_s.size / max(length, 1e-9)
    knocks = tuple(
        Knock(
            start + length * between(rng, 0.15 + 0.4 * i, 0.45 + 0.4 * i),
            _aside(rng, strength * between(rng, 1.0, 7.0)),
            _aside(rng, strength * between(rng, 1.0, 7.0)),
            min(between(rng, 3.0, 9.0), 0.4 * rate),
            between(rng, 0.02, 0.06) * length,
        )
        for i in range(number)
    )
    return having(scene, motion=replace(scene.hazards.motion, strength=strength, knocks=knocks))


def sinking(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Let the camera sink and tilt."""
    right, down, turn = _aside(rng, strength * between(rng, 1.5, 7.0))
    down = math.copysign(max(abs(down), abs(right)), down)
    motion: CameraMotion = replace(
        scene.hazards.motion,
        strength=strength,
        creep_px=(0.4 * right, down, turn),
        creep_power=between(rng, 0.7, 1.6),
    )
    return having(scene, motion=motion)


def low_light(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Take light away: noise, darkness, and an encoder that smears both."""
    film, dim = scene.film, between(rng, 0.30, 0.65) ** min(1.0, strength)
    red, green, blue = scene.look.light
    return replace(
        scene,
        film=replace(
            film,
            blur_px=film.blur_px + 0.25 * strength,
            read_noise=film.read_noise + strength * between(rng, 3.0, 7.0),
            shot_gain=film.shot_gain + strength * between(rng, 0.04, 0.12),
            crf=int(rng.integers(28, 35)),
            sharpen=0.0,
            keep_detail=False,
        ),
        look=replace(scene.look, light=(red * dim, green * dim, blue * dim * 0.95)),
    )


def exposure(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Let brightness and white balance drift and step."""
    start, length = span_of(scene)
    steps = tuple(
        (start + length * between(rng, 0.1, 0.9), float(np.exp(strength * rng.normal(0, 0.25))))
        for _ in range(int(rng.integers(1, 4)))
    )
    drift = Exposure(
        strength,
        swing=strength * between(rng, 0.10, 0.40),
        period_s=length * between(rng, 0.4, 1.8),
        phase=between(rng, 0, 2 * math.pi),
        steps=steps,
        white=(strength * between(rng, -0.25, 0.25), 0.0, strength * between(rng, -0.25, 0.25)),
    )
    return having(scene, exposure=drift)
