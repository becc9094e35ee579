"""Scenes for these tests: plain to measure, and small to make."""

from __future__ import annotations

from dataclasses import replace

from sample_clips import Scene, random_scene


def still_water(seed: int) -> Scene:
    """Give a random scene without the surface's shading, sharpening, splash or sway: only geometry is left."""
    scene = random_scene(seed)
    return replace(
        scene,
        look=replace(scene.look, meniscus_dark=0.0, underside_dark=0.0, splash=0.0),
        film=replace(scene.film, sharpen=0.0),
    )


def small(scene: Scene, frames: int, *, rotation: int = 0) -> Scene:
    """Shrink a scene to half its width and height and to its first frames."""
    cam = scene.camera
    return replace(
        scene,
        camera=replace(cam, width=cam.width // 2, height=cam.height // 2, focal_px=cam.focal_px / 2),
        timing=replace(scene.timing, ticks=scene.timing.ticks[:frames]),
        film=replace(scene.film, rotation=rotation),
    )
