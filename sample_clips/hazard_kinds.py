"""The hazards by name: what each is, and how it is drawn into a scene from a seed."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from sample_clips import draw_landing, draw_setup, draw_view
from sample_clips.scene import Scene

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


HAZARDS: Mapping[str, HazardKind] = MappingProxyType(
    {
        # What changes the container, its drain or the clock comes first, then the camera, then the view.
        "container": HazardKind(
            "The container widens or narrows with height: a cone, a waist, a belly.", draw_setup.container
        ),
        "dribble": HazardKind(
            "The film goes on until the jet no longer holds: it falls short and at last runs down the wall.",
            draw_setup.dribble,
        ),
        "slow-motion": HazardKind(
            "Caught 120 or 240 times a second, played at 30, from a quick drain.", draw_setup.slow_motion
        ),
        "variable-rate": HazardKind(
            "A phone's uneven clock: jitter, lost frames, a stretch at half the rate.",
            draw_setup.variable_rate,
        ),
        "portrait": HazardKind(
            "Filmed upright, coded lying on its side, turned by the file.", draw_setup.portrait
        ),
        "oblique": HazardKind(
            "The camera looks from the side and from above or below, ten to twenty degrees off.",
            draw_setup.oblique,
        ),
        "perspective": HazardKind(
            "The camera stands so near that what is nearer looks much larger.", draw_setup.perspective
        ),
        "lens": HazardKind("A lens that bends straight lines; the run says how.", draw_setup.lens),
        "lens-unknown": HazardKind(
            "A lens that bends straight lines, and nobody wrote down how.", draw_setup.lens_unknown
        ),
        "gusts": HazardKind("Breaths of air swing the jet to and fro.", draw_landing.gusts),
        "splash": HazardKind(
            "A splash much wider than the jet, and drops that jump on past it.", draw_landing.splash
        ),
        "wet-tray": HazardKind(
            "Water stands on the landing board: puddles, a film, a ring around the landing.",
            draw_landing.wet_tray,
        ),
        "breakup": HazardKind("The jet falls apart into drops before it lands.", draw_landing.breakup),
        "line-end": HazardKind(
            "For part of the film the jet lands beyond an end of the landing line or of the board.",
            draw_landing.line_end,
        ),
        "clear-water": HazardKind(
            "Water without dye: the room is seen through it turned left to right, its surface is a thin line "
            "that is dark before bright things and bright before dark ones.",
            draw_view.clear,
        ),
        "droplets": HazardKind(
            "The falling surface leaves a draining film and droplets on the wall above it; some slide down.",
            draw_view.droplets,
        ),
        "glare": HazardKind(
            "Reflections on the container, some standing still, some wandering and flickering.",
            draw_view.glare,
        ),
        "label": HazardKind("A paper label, a seam or both lie across the gauge line.", draw_view.label),
        "hand": HazardKind(
            "A hand covers the container, the landing, or first one and then the other.", draw_view.hand
        ),
        "head": HazardKind(
            "Somebody's head and shoulders come between the camera and the experiment.", draw_view.head
        ),
        "bump": HazardKind("The camera is knocked: it jumps, swings and settles elsewhere.", draw_view.bump),
        "sinking": HazardKind("The camera sinks and tilts slowly all through the film.", draw_view.sinking),
        "low-light": HazardKind(
            "Too little light: noise, and an encoder that smears it.", draw_view.low_light
        ),
        "exposure": HazardKind(
            "Brightness and white balance drift and step, as automatic cameras do.", draw_view.exposure
        ),
        # Last, so that all that was drawn before happens while the water runs or before.
        "at-rest": HazardKind(
            "The film begins before the hole is opened and goes on long after it is stopped.",
            draw_setup.at_rest,
        ),
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
    return replace(scene, hazards=replace(scene.hazards, names=tuple(strengths.items())))
