"""Small clips with known truth, their run files, and the code that renders them."""

from sample_clips.hazard_kinds import HAZARDS, HazardKind
from sample_clips.hazards import Hazards
from sample_clips.moving import Stage
from sample_clips.pipette import with_pipette
from sample_clips.random_scenes import random_scene
from sample_clips.render import Rendered, frames_of, render_scene
from sample_clips.scene import Scene
from sample_clips.shipped import SHIPPED, shipped_scene

__all__ = [
    "HAZARDS",
    "HazardKind",
    "Hazards",
    "SHIPPED",
    "Rendered",
    "Scene",
    "Stage",
    "frames_of",
    "random_scene",
    "render_scene",
    "shipped_scene",
    "with_pipette",
]
