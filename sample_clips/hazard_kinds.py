"""The hazards by name: what each is, and how it is drawn into a scene from a seed."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from sample_clips.hazards import (
    CameraMotion,
    ClearWater,
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

Draw = Callable[[Scene, np.random.Generator, float], Scene]
"""Gives the scene with a hazard of some strength added."""


@dataclass(frozen=True, slots=True)
class HazardKind:
    """One thing that goes wrong in a real room."""

    sentence: str
    draw: Draw

    def __str__(self) -> str:
        """Give the sentence."""
        return self.sentence


_SKINS: tuple[Colour, ...] = ((0.86, 0.66, 0.55), (0.72, 0.52, 0.40), (0.52, 0.36, 0.27), (0.36, 0.25, 0.20))
_CLOTHS: tuple[Colour, ...] = ((0.22, 0.27, 0.38), (0.75, 0.74, 0.70), (0.50, 0.22, 0.22), (0.25, 0.33, 0.27))
_HAIRS: tuple[Colour, ...] = ((0.17, 0.13, 0.11), (0.42, 0.30, 0.19), (0.62, 0.52, 0.38), (0.55, 0.54, 0.54))


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def _with(scene: Scene, **changes: object) -> Scene:
    return replace(scene, hazards=replace(scene.hazards, **changes))  # type: ignore[arg-type]


def _span(scene: Scene) -> tuple[float, float]:
    """First time and length of the film, s."""
    times = scene.timing.times_s
    return float(times[0]), float(times[-1] - times[0])


def _pick(rng: np.random.Generator, colours: tuple[Colour, ...]) -> Colour:
    colour = colours[int(rng.integers(len(colours)))]
    gain = _between(rng, 0.85, 1.12)
    return colour[0] * gain, colour[1] * gain, colour[2] * gain


def _hand(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    start, length = _span(scene)
    visits = list(scene.hazards.visits.visits)
    number = 1 if strength < 0.75 else 2
    targets = rng.permutation(["tube", "landing"])
    for turn in range(number):
        stay = length * _between(rng, 0.10, 0.24) * min(1.0, 0.5 + 0.5 * strength)
        slot = length * (0.88 / number)
        begins = start + 0.05 * length + turn * slot + _between(rng, 0.0, 1.0) * max(0.0, slot - stay)
        middle = begins + stay / 2
        if targets[turn] == "tube":
            at = (scene.axis_x_m, scene.drain.drop_m + float(scene.drain.head(middle)))
            away = _between(rng, -60, 60) + (180.0 if rng.random() < 0.3 else 0.0)
        else:
            at = (float(scene.drain.throw(middle)), 0.022)
            away = _between(rng, -35, 60)
        size = _between(rng, 0.85, 1.1)
        # The palm's middle does not hit the mark: a little off, but over it.
        off = (_between(rng, -0.012, 0.012), _between(rng, -0.012, 0.012))
        visits.append(
            Visit(
                "hand",
                begins,
                begins + stay,
                min(_between(rng, 0.25, 0.7), 0.12 * length),
                (at[0] + off[0], at[1] + off[1]),
                away,
                size,
                _pick(rng, _SKINS),
                _pick(rng, _CLOTHS),
                int(rng.integers(1 << 20)),
            )
        )
    return _with(scene, visits=Visits(strength, tuple(visits)))


def _head(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    start, length = _span(scene)
    stay = length * _between(rng, 0.12, 0.28) * min(1.0, 0.5 + 0.5 * strength)
    begins = start + 0.06 * length + _between(rng, 0, 1) * (0.85 * length - stay)
    throw = float(scene.drain.throw(begins))
    at = (
        scene.axis_x_m + _between(rng, 0.15, 0.45) * throw,
        scene.drain.drop_m + float(scene.drain.head(begins)) * _between(rng, 0.4, 1.0),
    )
    visit = Visit(
        "head",
        begins,
        begins + stay,
        min(_between(rng, 0.4, 1.0), 0.15 * length),
        at,
        float(rng.choice([0.0, 180.0, -90.0])) + _between(rng, -15, 15),
        _between(rng, 0.9, 1.1) * (0.85 + 0.15 * min(1.0, strength)),
        _pick(rng, _HAIRS),
        _pick(rng, _CLOTHS),
        int(rng.integers(1 << 20)),
    )
    return _with(scene, visits=Visits(strength, (*scene.hazards.visits.visits, visit)))


def _clear(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    drain = replace(scene.drain, meniscus_m=_between(rng, 0.0014, 0.0026))
    clear = ClearWater(strength, _between(rng, 0.55, 0.95), _between(rng, 0.1, 0.4))
    red, green, blue = (a * max(0.0, 1 - strength) for a in scene.look.dye_per_m)
    look = replace(
        scene.look,
        meniscus_dark=scene.look.meniscus_dark * (1 - strength),
        underside_dark=0.6 * scene.look.underside_dark,
        # In the jet and the tray there is no dye either.
        dye_per_m=(red, green, blue),
    )
    return replace(_with(scene, clear=clear), drain=drain, look=look)


def _droplets(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    number = int(_between(rng, 50, 110) * strength)
    wetting = Wetting(strength, number, _between(rng, 0.15, 0.45), _between(rng, 0.08, 0.30) * strength)
    return _with(scene, wetting=wetting)


def _glare(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    drain = scene.drain
    start, length = _span(scene)
    low = drain.drop_m + float(drain.head(start + length))
    high = drain.drop_m + float(drain.head(start))
    streaks = []
    for _ in range(int(rng.integers(1, 4))):
        bottom = _between(rng, low - 0.03, high - 0.01)
        streaks.append(
            Streak(
                _between(rng, -0.7, 0.7) * (0.35 if rng.random() < 0.5 else 1.0),
                _between(rng, 0.04, 0.22),
                bottom,
                bottom + _between(rng, 0.02, 0.10),
                _between(rng, 0.35, 0.9) * min(1.0, strength),
            )
        )
    gleams = [
        Gleam(
            _between(rng, -0.4, 0.4),
            _between(rng, low, high),
            _between(rng, 0.2, 0.6) * (high - low),
            length * _between(rng, 0.35, 1.2),
            _between(rng, 0, 2 * math.pi),
            length * _between(rng, 0.15, 0.5),
            (_between(rng, 0.004, 0.012), _between(rng, 0.006, 0.025)),
            _between(rng, 0.5, 1.0) * min(1.0, strength),
        )
        for _ in range(int(rng.integers(1, 3)))
    ]
    return _with(scene, glare=Glare(strength, tuple(streaks), tuple(gleams)))


def _label(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    drain = scene.drain
    start, length = _span(scene)
    low = drain.drop_m + float(drain.head(start + length))
    high = drain.drop_m + float(drain.head(start))
    tall = (high - low) * _between(rng, 0.10, 0.28)
    foot = _between(rng, low + 0.1 * tall, high - 1.3 * tall)
    seams = tuple(_between(rng, low, high) for _ in range(int(rng.integers(1, 4))))
    kind = rng.random()
    label = Label(
        strength=min(1.0, strength),
        low_m=foot if kind < 0.75 else 0.0,
        high_m=foot + tall if kind < 0.75 else 0.0,
        across=(-_between(rng, 0.3, 1.0), _between(rng, 0.3, 1.0)),
        seams_m=seams if kind > 0.4 else (),
        paper=((0.90, 0.90, 0.87), (0.88, 0.80, 0.45), (0.55, 0.66, 0.78))[int(rng.integers(3))],
    )
    return _with(scene, label=label)


def _aside(rng: np.random.Generator, size: float) -> tuple[float, float, float]:
    angle = _between(rng, 0, 2 * math.pi)
    return size * math.cos(angle), size * math.sin(angle), 0.25 * size * _between(rng, -1, 1)


def _bump(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    start, length = _span(scene)
    number = 1 if rng.random() < 0.7 else 2
    rate = scene.timing.times_s.size / max(length, 1e-9)
    knocks = tuple(
        Knock(
            start + length * _between(rng, 0.15 + 0.4 * i, 0.45 + 0.4 * i),
            _aside(rng, strength * _between(rng, 1.0, 7.0)),
            _aside(rng, strength * _between(rng, 1.0, 7.0)),
            min(_between(rng, 3.0, 9.0), 0.4 * rate),
            _between(rng, 0.02, 0.06) * length,
        )
        for i in range(number)
    )
    return _with(scene, motion=replace(scene.hazards.motion, strength=strength, knocks=knocks))


def _sinking(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    right, down, turn = _aside(rng, strength * _between(rng, 1.5, 7.0))
    down = math.copysign(max(abs(down), abs(right)), down)
    motion: CameraMotion = replace(
        scene.hazards.motion,
        strength=strength,
        creep_px=(0.4 * right, down, turn),
        creep_power=_between(rng, 0.7, 1.6),
    )
    return _with(scene, motion=motion)


HAZARDS: Mapping[str, HazardKind] = MappingProxyType(
    {
        "clear-water": HazardKind(
            "Water without dye: the room is seen through it turned left to right, its surface is a thin line "
            "that is dark before bright things and bright before dark ones.",
            _clear,
        ),
        "droplets": HazardKind(
            "The falling surface leaves a draining film and droplets on the wall above it; some slide down.",
            _droplets,
        ),
        "glare": HazardKind(
            "Reflections on the container, some standing still, some wandering and flickering.", _glare
        ),
        "label": HazardKind("A paper label, a seam or both lie across the gauge line.", _label),
        "hand": HazardKind(
            "A hand covers the container, the landing or first one and then the other.", _hand
        ),
        "head": HazardKind(
            "Somebody's head and shoulders come between the camera and the experiment.", _head
        ),
        "bump": HazardKind("The camera is knocked: it jumps, swings and settles elsewhere.", _bump),
        "sinking": HazardKind("The camera sinks and tilts slowly all through the film.", _sinking),
    }
)
"""The hazards that `random_scene` knows; added in this order, whatever order they are asked for in."""


def strengths_of(hazards: Iterable[str] | Mapping[str, float]) -> dict[str, float]:
    """Names and strengths of hazards, in the order in which they are added.

    Parameters
    ----------
    hazards : names (each of strength 1, or `NAME:STRENGTH`), or a mapping from names to strengths

    Raises
    ------
    ValueError
        A name that is not in `HAZARDS`, or a strength that is not a number from 0 to 2.
    """
    asked: dict[str, float] = {}
    pairs = hazards.items() if isinstance(hazards, Mapping) else (_named(text) for text in hazards)
    for name, strength in pairs:
        if name not in HAZARDS:
            raise ValueError(f"there is no hazard {name!r}; choose from {', '.join(HAZARDS)}")
        if not 0.0 <= strength <= 2.0:
            raise ValueError(f"the strength of {name} is a number from 0 to 2, got {strength}")
        asked[name] = float(strength)
    return {name: asked[name] for name in HAZARDS if asked.get(name)}


def _named(text: str) -> tuple[str, float]:
    name, colon, strength = text.partition(":")
    if not colon:
        return name, 1.0
    try:
        return name, float(strength)
    except ValueError:
        raise ValueError(f"the strength of {name} is a number from 0 to 2, got {strength!r}") from None


def with_hazards(scene: Scene, strengths: Mapping[str, float]) -> Scene:
    """Give a scene with hazards added; each draws from the scene's seed alone, whatever else is added."""
    for name, strength in strengths.items():
        rng = np.random.default_rng([scene.seed, zlib.crc32(name.encode())])
        scene = HAZARDS[name].draw(scene, rng, strength)
    return scene
