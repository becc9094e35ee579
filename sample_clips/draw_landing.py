"""Hazards of the jet and its landing, drawn into a scene."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_clips.drain import Gust
from sample_clips.draw_view import between, having, span_of
from sample_clips.hazards import Breakup, LineEnd, Splash, WetTray
from sample_clips.rules import BOARD_START_M
from sample_clips.scene import Scene


def gusts(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Let breaths of air swing the jet."""
    start, length = span_of(scene)
    drawn = tuple(
        Gust(
            between(rng, start, start + length),
            length * between(rng, 0.05, 0.18),
            strength * between(rng, 0.003, 0.012) * float(rng.choice([-1, 1])),
            between(rng, 1.0, 3.0),
        )
        for _ in range(int(rng.integers(2, 5)))
    )
    return replace(
        scene, sway=replace(scene.sway, amplitude_m=scene.sway.amplitude_m * (1 + strength), gusts=drawn)
    )


def splash(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Make the splash wide and its drops far-flying."""
    wild = Splash(strength, strength * between(rng, 0.008, 0.020), strength * between(rng, 0.15, 0.5))
    return having(scene, splash=wild)


def wet_tray(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Let water stand on the landing board."""
    return having(scene, wet_tray=WetTray(strength, between(rng, 0.012, 0.028)))


def breakup(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Let the jet fall apart into drops; the exposure is short enough to see them."""
    apart = Breakup(
        strength, between(rng, 0.35, 0.8) / max(strength, 0.5), strength * between(rng, 0.0004, 0.0014)
    )
    apart = replace(apart, from_share=min(apart.from_share, 0.95))
    exposure = min(scene.timing.exposure_s, between(rng, 1 / 1500, 1 / 400))
    return replace(having(scene, breakup=apart), timing=replace(scene.timing, exposure_s=exposure))


def line_end(scene: Scene, rng: np.random.Generator, strength: float) -> Scene:
    """Draw the landing line, or cut the board, too short for some of the throws."""
    start, length = span_of(scene)
    part = strength * between(rng, 0.12, 0.35)
    kind = str(rng.choice(["far", "near", "board"]))
    first, last = BOARD_START_M + 0.002, scene.bench.board_end_m - 0.003
    if kind == "far":
        last = float(scene.drain.throw(start + part * length))
    elif kind == "near":
        first = float(scene.drain.throw(start + (1 - part) * length))
    else:
        end = float(scene.drain.throw(start + part * length))
        scene = replace(scene, bench=replace(scene.bench, board_end_m=end))
        last = end - 0.003
    return having(scene, line_end=LineEnd(strength, first, last))
