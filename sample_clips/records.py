"""What goes beside a clip: the run file of a careful person, and the truth."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np

from sample_clips.camera import upright
from sample_clips.hazards import Hazards
from sample_clips.let_go import Let
from sample_clips.rig import plumb_bob_top_m
from sample_clips.rules import BOARD_START_M, rule_edge_m, tape_mark_z_m
from sample_clips.scene import FloatArray, Scene
from sample_clips.shaking import moved
from sample_clips.visibility import landing_line_m, landing_seen, surface_seen

_IN_VIEW_PX = 14.0
_CONVENTIONS = (
    "SI units. World: x along the jet (right), y away from the camera, z up; x = 0 exit plane of the hole, "
    "y = 0 jet's plane, z = 0 landing level. Pixels of the displayed frame; centre of the top-left pixel = "
    "(0, 0). time_s = mid exposure, frame 0 at 0 s. px.surface: upper edge of the coloured water on the near "
    "wall at the container's middle, one meniscus above the flat level head_m, as seen through the wall. "
    "px.landing: throw_m at the landing level; px.landing_seen: throw_seen_m, the same with the jet's sway."
)


def graduations(scene: Scene, which: str) -> tuple[FloatArray, FloatArray]:
    """Engraved values (n,) m and world points (n, 3) m of every tenth millimetre of a rule in view.

    Parameters
    ----------
    which : `upright` (the ends of its graduations, on its edge) or `tape` (on its upper edge)
    """
    bench = scene.bench
    if which == "upright":
        values = np.arange(0, round(bench.rule_length_m * 100) + 1) / 100
        points = upright(bench.rule_y_m).at(
            np.full(values.shape, rule_edge_m(scene)), bench.rule_zero_z_m + values
        )
    else:
        first = math.ceil((BOARD_START_M + 0.006 - bench.tape_zero_x_m) * 100)
        last = math.floor((bench.board_end_m - 0.006 - bench.tape_zero_x_m) * 100)
        values = np.arange(first, last + 1) / 100
        points = upright(bench.tape_y_m).at(
            bench.tape_zero_x_m + values, np.full(values.shape, tape_mark_z_m())
        )
    seen = _in_view(scene, points)
    return values[seen], points[seen]


def _in_view(scene: Scene, points_m: FloatArray) -> np.ndarray[Any, np.dtype[np.bool_]]:
    px = scene.camera.project(points_m)
    size = np.array([scene.camera.width, scene.camera.height]) - 1
    return np.asarray(np.all((px > _IN_VIEW_PX) & (px < size - _IN_VIEW_PX), axis=-1))


def facing(scene: Scene) -> FloatArray:
    """Give the point (2,) px that the camera faces squarely: the perpendicular's foot on the jet's plane."""
    x, _, z = scene.camera.centre_m
    return scene.camera.project(np.array([x, 0.0, z]))


class _Person:
    """Writes down what a careful person would read: the true value and an error of its stated size."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._rng = np.random.default_rng([scene.seed, 3])

    def click(self, point_m: FloatArray | tuple[float, float, float]) -> list[float]:
        """Click on a world point, to a tenth of a pixel."""
        seen = self._scene.camera.project(np.asarray(point_m)) + self._rng.normal(
            0, self._scene.notebook.click_px, 2
        )
        return [round(float(c), 1) for c in seen]

    def reading(self, value: float, u: float, digits: int) -> float:
        """Read a value with a standard uncertainty."""
        return round(value + float(self._rng.normal(0, u)), digits)


def run_record(scene: Scene, clip_name: str, sha256: str | None) -> dict[str, Any]:
    """Give the run file's content for a scene: set up by a careful person, nothing read yet.

    Clicks scatter and measured lengths err by the standard uncertainties that the record itself states.
    """
    person, note, drain, bench, cam = _Person(scene), scene.notebook, scene.drain, scene.bench, scene.camera
    jet_plane = upright(0.0)
    ends = drain.drop_m + drain.meniscus_m + drain.head(scene.timing.times_s[[0, -1]])
    below = min(0.020, 0.45 * float(ends[1] - drain.drop_m))
    gauge = scene.near_edge(np.array([ends[0] + 0.018, ends[1] - below]))
    landing = jet_plane.at(landing_line_m(scene), [0.0, 0.0])
    over = np.linspace(float(ends[1]), float(ends[0]), 200) - drain.drop_m - drain.meniscus_m
    bores = drain.bore(over)
    bore, swing = float(bores.mean()), float(np.ptp(bores)) / math.sqrt(12)
    area = math.pi * bore**2
    # One number for a container that is not prismatic is no better than how far its bore strays from it.
    area_u = 2 * math.hypot(note.bore_u_m / 2, swing) / bore * area
    lens = {
        "model": "radial",
        "k1": round(cam.k1, 5),
        "k2": round(cam.k2, 5),
        "focal_px": round(cam.focal_px, 1),
        "centre_px": None,
    }
    return {
        "format": "clepsydra-run",
        "format_version": 1,
        "title": note.title,
        "observer": "",
        "clip": {
            "path": clip_name,
            "sha256": sha256,
            "capture_rate_hz": scene.timing.capture_rate_hz,
            "start_frame": 0,
            "stop_frame": None,
        },
        "rules": [
            _rule(
                scene, person, "upright", name="upright steel rule", measures="head", behind_m=bench.rule_y_m
            ),
            _rule(
                scene,
                person,
                "tape",
                name="tape on the landing board",
                measures="throw",
                behind_m=bench.tape_y_m,
            ),
        ],
        "camera": {
            "distance_m": person.reading(cam.distance_m, note.distance_u_m, 3),
            "distance_u_m": note.distance_u_m,
            "facing_px": _noted_facing(scene) if note.facing_known else None,
            "facing_u_deg": note.facing_u_deg,
            "lens": lens if note.lens_known and (cam.k1 or cam.k2) else None,
        },
        "plumb": _plumb(scene, person),
        "orifice": {
            "px": person.click((0.0, 0.0, drain.drop_m)),
            "px_u": note.click_px,
            "diameter_m": person.reading(drain.hole_m, note.hole_u_m, 5),
            "diameter_u_m": note.hole_u_m,
        },
        "drop": {"value_m": person.reading(drain.drop_m, note.drop_u_m, 4), "u_m": note.drop_u_m},
        "throw_zero": {"px": person.click((0.0, 0.0, 0.0)), "px_u": note.click_px},
        "gauge_line": {
            "from_px": person.click(gauge[0]),
            "to_px": person.click(gauge[1]),
            "behind_m": person.reading(-bore, note.depth_u_m / 2, 4),
            "behind_u_m": round(math.hypot(note.depth_u_m, swing), 5),
            "above_level_m": max(0.0, person.reading(scene.edge_rise_m, note.meniscus_u_m, 4)),
            "above_level_u_m": note.meniscus_u_m,
        },
        "landing_line": {"from_px": person.click(landing[0]), "to_px": person.click(landing[1])},
        "conditions": {
            "gravity_m_s2": drain.gravity_m_s2,
            "latitude_deg": None,
            "elevation_m": None,
            "water_temperature_c": 20.0,
            "container_area_m2": person.reading(area, area_u, 8),
            "container_area_u_m2": float(f"{area_u:.2g}"),
        },
        "readings": [],
        "extra": _profile(scene),
    }


def _profile(scene: Scene) -> dict[str, Any]:
    """Give the container's inner cross-section over the height, where it is not the same everywhere."""
    drain = scene.drain
    if not drain.profile:
        return {}
    over = np.linspace(0.0, drain.profile[-1][0], 24)
    areas = math.pi * drain.bore(over) ** 2
    return {
        "container_profile": [
            {"over_hole_m": round(float(h), 5), "area_m2": round(float(a), 8)}
            for h, a in zip(over, areas, strict=True)
        ]
    }


def _rule(
    scene: Scene, person: _Person, which: str, *, name: str, measures: str, behind_m: float
) -> dict[str, Any]:
    note = scene.notebook
    values, points = graduations(scene, which)
    step = max(1, round(len(values) / 11))
    return {
        "name": name,
        "measures": measures,
        "graduations": [
            {"px": person.click(p), "value_m": round(float(v), 3)}
            for v, p in zip(values[::step], points[::step], strict=True)
        ],
        "graduation_u_m": 0.0001,
        "px_u": note.click_px,
        "behind_m": person.reading(behind_m, note.depth_u_m / 2, 4),
        "behind_u_m": note.depth_u_m,
    }


def _plumb(scene: Scene, person: _Person) -> dict[str, Any]:
    heights = np.linspace(
        plumb_bob_top_m(scene) + 0.01, scene.camera.centre_m[2] + scene.camera.distance_m, 400
    )
    cord = upright(0.0).at(np.full(heights.shape, scene.bench.plumb_x_m), heights)
    cord = cord[_in_view(scene, cord)]
    return {"top_px": person.click(cord[-1]), "bottom_px": person.click(cord[0])}


def _noted_facing(scene: Scene) -> list[float]:
    rng = np.random.default_rng([scene.seed, 4])
    error = scene.camera.focal_px * np.tan(np.radians(rng.normal(0, scene.notebook.facing_u_deg, 2)))
    return [round(float(c), 1) for c in facing(scene) + error]


def _px(scene: Scene, point_m: FloatArray) -> dict[str, list[float]]:
    """Give a world point (3,) in the picture and without distortion, to a thousandth of a pixel."""
    return {
        "image_px": np.round(scene.camera.project(point_m), 3).tolist(),
        "undistorted_px": np.round(scene.camera.project_straight(point_m), 3).tolist(),
    }


def truth_record(scene: Scene) -> dict[str, Any]:
    """Give the truth file's content: camera, physics, rules, and every frame's head, throw and pixels."""
    cam, drain, bench = scene.camera, scene.drain, scene.bench
    rules = {}
    for which in ("upright", "tape"):
        values, points = graduations(scene, which)
        rules[which] = {
            "plane_y_m": bench.rule_y_m if which == "upright" else bench.tape_y_m,
            "graduations": [
                {
                    "reading_mm": round(float(v) * 1000),
                    "world_m": np.round(p, 6).tolist(),
                    "mark": _px(scene, p),
                }
                for v, p in zip(values, points, strict=True)
            ],
        }
    times = scene.timing.times_s
    return {
        "clip": scene.name,
        "conventions": _CONVENTIONS,
        "n_frames": len(times),
        "displayed_size": [cam.width, cam.height],
        "rotation_metadata_deg": scene.film.rotation,
        "file_rate_hz": scene.timing.file_rate_hz,
        "capture_rate_hz": scene.timing.capture_rate_hz,
        "exposure_s": scene.timing.exposure_s,
        "camera": {
            "K": cam.matrix.tolist(),
            "R_world_to_cam": cam.rotation.tolist(),
            "t_world_to_cam": cam.translation.tolist(),
            "centre_m": list(cam.centre_m),
            "distortion_opencv_k1k2p1p2k3": [cam.k1, cam.k2, 0.0, 0.0, 0.0],
            "roll_deg": cam.roll_deg,
            "azimuth_deg": cam.azimuth_deg,
            "elevation_deg": cam.elevation_deg,
            "distance_to_jet_plane_m": cam.distance_m,
            "facing_px": np.round(facing(scene), 3).tolist(),
        },
        "physics": {
            "g": drain.gravity_m_s2,
            "Cv": drain.speed_coefficient,
            "Cc": drain.contraction_coefficient,
            "Cd": drain.discharge_coefficient,
            "k_sqrt_m_per_s": drain.root_rate if drain.plain else None,
            "approach_factor": drain.approach,
            "orifice_diameter_m": drain.hole_m,
            "orifice_area_m2": drain.hole_area_m2,
            "container_inner_radius_m": drain.bore_radius_m,
            "container_wall_m": drain.wall_m,
            "container_inner_area_m2": drain.bore_area_m2,
            "container_axis_xy_m": [scene.axis_x_m, 0.0],
            "drop_y0_m": drain.drop_m,
            "h0_m": drain.head0_m,
            "flight_time_s": drain.flight_time_s,
            **_profile(scene),
            **({"held_head_m": drain.held_head_m} if drain.held_head_m else {}),
            "meniscus_rise_at_wall_m": drain.meniscus_m,
            "sway_rms_m": scene.sway.amplitude_m,
            "orifice_world_m": [0.0, 0.0, drain.drop_m],
        },
        **({} if scene.hazards == Hazards() else {"hazards": dict(scene.hazards.names)}),
        "rules": rules,
        "depth": {
            "surface_seen_before_axis_m": float(scene.seen_near(drain.drop_m)),
            "upright_rule_y_m": bench.rule_y_m,
            "tape_y_m": bench.tape_y_m,
            "jet_plane_y_m": 0.0,
        },
        **({"drops": [_drop(scene, drop) for drop in scene.drops]} if scene.drops else {}),
        "orifice": _px(scene, np.array([0.0, 0.0, drain.drop_m])),
        "throw_zero": _px(scene, np.zeros(3)),
        "frames": [_frame(scene, number, float(time)) for number, time in enumerate(times)],
    }


def _drop(scene: Scene, drop: Let) -> dict[str, Any]:
    """Give when and where a drop is let go, and where it is in each frame until it lands."""
    times, g = scene.timing.times_s, scene.drain.gravity_m_s2
    places = drop.places(times, g)
    falling = np.flatnonzero((times > drop.at_s) & (places[:, 2] > 0.0)).tolist()
    return {
        "let_go_s": drop.at_s,
        "world_m": [drop.x_m, drop.y_m, drop.z_m],
        "diameter_m": drop.diameter_m,
        "frames": falling,
        "height_m": np.round(places[falling, 2], 6).tolist(),
        "px": [_px(scene, places[i])["image_px"] for i in falling],
    }


def _frame(scene: Scene, number: int, time_s: float) -> dict[str, Any]:
    drain = scene.drain
    head, throw = float(drain.head(time_s)), float(drain.throw(time_s))
    seen = throw + float(scene.sway.landing(drain, time_s))
    record = {
        "frame": number,
        "time_s": round(time_s, 9),
        "head_m": round(head, 8),
        "throw_m": round(throw, 8),
        "throw_seen_m": round(seen, 8),
        "px": {
            "surface": _px(scene, scene.surface_edge(time_s)),
            "level_near_wall": _px(scene, scene.near_edge(drain.drop_m + head)),
            "landing": _px(scene, np.array([throw, 0.0, 0.0])),
            "landing_seen": _px(scene, np.array([seen, 0.0, 0.0])),
        },
    }
    if scene.hazards != Hazards():
        record |= _disturbed(scene, time_s, seen)
    return record


def _disturbed(scene: Scene, time_s: float, landing_m: float) -> dict[str, Any]:
    """Give what a frame of a scene with hazards lets one see, and how the camera moved since frame 0."""
    surface = float(surface_seen(scene, time_s))
    landing = float(landing_seen(scene, time_s))
    cam = scene.camera
    places = {
        "surface": cam.project(scene.surface_edge(time_s)),
        "landing_seen": cam.project(np.array([landing_m, 0.0, 0.0])),
    }
    middle = np.asarray(cam.principal_px)
    return {
        "surface_visible": surface >= 0.5,
        "landing_visible": landing >= 0.5,
        "surface_share_seen": round(surface, 3),
        "landing_share_seen": round(landing, 3),
        "shift_px": np.round(moved(scene, middle, time_s) - middle, 3).tolist(),
        "moved_px": {k: np.round(moved(scene, p, time_s), 3).tolist() for k, p in places.items()},
    }


def as_text(record: dict[str, Any]) -> str:
    """Lay a record out as JSON: indented, but each frame and each graduation on one line."""
    frames = record.get("frames")
    if frames is None:
        return json.dumps(record, indent=1, ensure_ascii=False) + "\n"
    head = json.dumps({k: v for k, v in record.items() if k != "frames"}, indent=1, ensure_ascii=False)
    rows = ",\n  ".join(json.dumps(frame, separators=(",", ":")) for frame in frames)
    return f'{head[:-2]},\n "frames": [\n  {rows}\n ]\n}}\n'
