"""The two scenes that are shipped beside the path-traced bench clip."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np

from sample_clips.drain import Drain, Sway
from sample_clips.placing import camera_for, sway_from
from sample_clips.scene import Bench, Film, Look, Notebook, Scene, Timing

_PHONE_BASE = Fraction(1, 90_000)
_PHONE_STEP = 3_000  # 30 frames a second


def _phone_ticks(rng: np.random.Generator, frames: int) -> tuple[int, ...]:
    """Draw a phone's uneven clock: each frame a little early or late, now and then one lost."""
    steps = np.full(frames - 1, _PHONE_STEP)
    lost = rng.choice(np.arange(20, frames - 21), size=6, replace=False)
    steps[lost] *= 2
    steps[int(lost[0])] += _PHONE_STEP  # two in a row
    nominal = np.concatenate([[0], np.cumsum(steps)])
    jitter = np.round(rng.normal(0, 60, frames)).astype(int)
    jitter[0] = 0
    return tuple(int(t) for t in nominal + np.clip(jitter, -250, 250))


def _phone() -> Scene:
    seed = 20_419
    rng = np.random.default_rng(seed)
    drain = Drain(9.81, 0.968, 0.645, 0.00465, 0.0245, 0.0030, 0.152, 0.318, 0.0011)
    bench = Bench(
        rule_y_m=0.0052,
        rule_zero_z_m=0.2791,
        rule_length_m=0.25,
        tape_y_m=-0.0137,
        tape_zero_x_m=0.0042,
        board_end_m=0.476,
        plumb_x_m=-0.1453,
        bench_z_m=-0.0521,
        floor_m=0.0262,
        rim_m=0.046,
        clutter=7,
    )
    camera = camera_for(
        drain,
        bench,
        (1080, 1920),
        1.184,
        squeeze=0.97,
        nudge_m=(0.004, -0.013),
        angles_deg=(0.6, -0.5, -0.7),
        k1=0.018,
    )
    look = Look(
        wall=(0.74, 0.72, 0.67),
        bench=(0.56, 0.43, 0.31),
        stand="bricks",
        stand_colour=(0.66, 0.38, 0.29),
        board=(0.25, 0.27, 0.29),
        tray=(0.83, 0.84, 0.83),
        dye_per_m=(3.4, 25.0, 19.0),
        tint=(0.72, 0.20, 0.24),
        light_from=1.0,
        meniscus_dark=0.07,
    )
    film = Film(
        blur_px=0.85, read_noise=0.5, shot_gain=0.006, vignette=0.09, sharpen=0.30, crf=19, rotation=90
    )
    timing = Timing(_phone_ticks(rng, 470), _PHONE_BASE, 1 / 120, 30.0)
    return Scene(
        "phone",
        seed,
        camera,
        drain,
        sway_from(rng, 0.00045),
        timing,
        bench,
        look,
        film,
        Notebook(title="Workshop bench: red water, filmed upright with a phone"),
    )


def _slow() -> Scene:
    seed = 30_114
    rng = np.random.default_rng(seed)
    drain = Drain(9.81, 0.972, 0.628, 0.0088, 0.0215, 0.0030, 0.226, 0.243, 0.0009)
    bench = Bench(
        rule_y_m=0.0034,
        rule_zero_z_m=0.2012,
        rule_length_m=0.30,
        tape_y_m=-0.0121,
        tape_zero_x_m=-0.0075,
        board_end_m=0.523,
        plumb_x_m=-0.1712,
        bench_z_m=-0.0543,
        floor_m=0.0258,
        rim_m=0.041,
        clutter=12,
    )
    camera = camera_for(
        drain,
        bench,
        (1280, 720),
        1.327,
        squeeze=0.95,
        nudge_m=(-0.009, -0.012),
        angles_deg=(-0.7, 0.4, 0.5),
        k1=-0.015,
    )
    look = Look(
        wall=(0.60, 0.66, 0.69),
        bench=(0.38, 0.28, 0.21),
        stand="timber",
        stand_colour=(0.66, 0.50, 0.33),
        board=(0.24, 0.26, 0.27),
        tray=(0.82, 0.84, 0.85),
        dye_per_m=(29.0, 8.0, 6.0),
        tint=(0.10, 0.54, 0.62),
        light_from=-1.0,
        meniscus_dark=0.06,
        splash=1.3,
    )
    film = Film(blur_px=0.70, read_noise=0.8, shot_gain=0.010, vignette=0.10, sharpen=0.15, crf=20)
    timing = Timing(tuple(range(600)), Fraction(1, 30), 1 / 480, 30.0, 240.0)
    return Scene(
        "slow",
        seed,
        camera,
        drain,
        Sway(0.0005, *_waves(rng)),
        timing,
        bench,
        look,
        film,
        Notebook(title="Workshop bench: slow motion, 9 mm hole in a slim cylinder"),
    )


def _waves(rng: np.random.Generator) -> tuple[tuple[float, ...], tuple[float, ...]]:
    sway = sway_from(rng, 1.0)
    return sway.frequencies_hz, sway.phases


SHIPPED: dict[str, Callable[[], Scene]] = {"phone": _phone, "slow": _slow}
"""Names of the shipped scenes that this renderer draws, and what makes them."""


def shipped_scene(name: str) -> Scene:
    """Give a shipped scene by name.

    Raises
    ------
    ValueError
        There is no scene of that name.
    """
    if name not in SHIPPED:
        raise ValueError(f"there is no scene {name!r}; choose one of {', '.join(sorted(SHIPPED))}")
    return SHIPPED[name]()
