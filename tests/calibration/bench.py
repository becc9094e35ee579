"""The shipped bench clip's run file as a set-up, read as plain JSON, and its truth."""

from __future__ import annotations

import json
from pathlib import Path

from calibration import Camera, Gauge, Graduation, Lens, Mark, Measures, Pixel, Rule, Segment, Setup

FOLDER = Path(__file__).parents[2] / "sample_clips" / "bench"


def truth():
    return json.loads((FOLDER / "bench.truth.json").read_text(encoding="utf-8"))


def setup():
    run = json.loads((FOLDER / "bench.run.json").read_text(encoding="utf-8"))
    rules = tuple(
        Rule(
            name=r["name"],
            measures=Measures(r["measures"]),
            graduations=tuple(Graduation(Pixel(*g["px"]), g["value_m"]) for g in r["graduations"]),
            graduation_u_m=r["graduation_u_m"],
            px_u=r["px_u"],
            behind_m=r["behind_m"],
            behind_u_m=r["behind_u_m"],
        )
        for r in run["rules"]
    )
    camera, gauge, plumb = run["camera"], run["gauge_line"], run["plumb"]
    lens = camera["lens"]
    return Setup(
        frame_size=(1280, 720),
        orifice=Mark(Pixel(*run["orifice"]["px"]), run["orifice"]["px_u"]),
        rules=rules,
        camera=Camera(
            camera["distance_m"],
            camera["distance_u_m"],
            facing_u_deg=camera["facing_u_deg"],
            lens=Lens(lens["k1"], lens["k2"], lens["focal_px"]),
        ),
        plumb=Segment(Pixel(*plumb["top_px"]), Pixel(*plumb["bottom_px"])),
        gauge_line=Gauge(
            _line(gauge),
            gauge["behind_m"],
            gauge["behind_u_m"],
            gauge["above_level_m"],
            gauge["above_level_u_m"],
        ),
        landing_line=Gauge(_line(run["landing_line"])),
        throw_zero=Mark(Pixel(*run["throw_zero"]["px"]), run["throw_zero"]["px_u"]),
    )


def _line(value):
    return Segment(Pixel(*value["from_px"]), Pixel(*value["to_px"]))
