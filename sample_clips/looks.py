"""How scenes differ in background, rule, container, dye and light."""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np

from sample_clips.rules import MATERIALS
from sample_clips.scene import Colour, Look, Scene
from sample_clips.walls import WALLS

_WALL_COLOURS: tuple[Colour, ...] = (
    (0.78, 0.77, 0.74),
    (0.55, 0.62, 0.66),
    (0.72, 0.66, 0.52),
    (0.60, 0.68, 0.58),
    (0.66, 0.52, 0.48),
    (0.48, 0.48, 0.52),
    (0.86, 0.85, 0.83),
)
_GLASSES: tuple[Colour, ...] = ((0.985, 1.0, 1.0), (0.93, 0.99, 0.96), (0.97, 0.98, 1.0), (1.0, 0.985, 0.95))
_DYES: tuple[tuple[Colour, Colour], ...] = (
    ((30.0, 8.0, 6.0), (0.10, 0.55, 0.62)),
    ((26.0, 16.0, 4.0), (0.14, 0.30, 0.66)),
    ((3.0, 24.0, 18.0), (0.72, 0.22, 0.24)),
    ((24.0, 6.0, 20.0), (0.16, 0.55, 0.26)),
    ((6.0, 30.0, 10.0), (0.62, 0.16, 0.44)),
    ((2.0, 8.0, 26.0), (0.80, 0.55, 0.16)),
    ((22.0, 22.0, 20.0), (0.10, 0.10, 0.11)),
)
"""Absorption of full-strength dyes in red, green and blue, 1/m, and the colours that they send back."""


def varied_look(scene: Scene) -> Look:
    """Draw another look for a scene from its seed; shapes and light's side stay."""
    rng = np.random.default_rng([scene.seed, zlib.crc32(b"look")])
    backdrops = ("plaster", *WALLS)
    dye, tint = _DYES[int(rng.integers(len(_DYES)))]
    strength = float(np.exp(rng.uniform(np.log(0.35), np.log(1.4))))
    wall = _WALL_COLOURS[int(rng.integers(len(_WALL_COLOURS)))]
    bright, warm = float(rng.uniform(0.75, 1.12)), float(rng.normal(0, 0.07))
    return replace(
        scene.look,
        backdrop=backdrops[int(rng.integers(len(backdrops)))],
        defocus=float(rng.uniform(0.35, 1.5)),
        wall=wall,
        rule=sorted(MATERIALS)[int(rng.integers(len(MATERIALS)))],
        glass=_GLASSES[int(rng.integers(len(_GLASSES)))],
        dye_per_m=(dye[0] * strength, dye[1] * strength, dye[2] * strength),
        tint=tint,
        light=(bright * (1 + warm), bright, bright * (1 - warm)),
        meniscus_dark=float(rng.uniform(0.02, 0.10)),
        underside_dark=float(rng.uniform(0.01, 0.05)),
    )
