"""Every marked position, checked, with the lens taken out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationError
from calibration.lens import optical_centre, straighten
from calibration.pixels import FloatArray, Pixel
from calibration.rules import check_rule
from calibration.setup import Gauge, Mark, Setup
from calibration.words import marked, said


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """Every marked position, with the lens taken out."""

    centre: FloatArray
    graduations: FloatArray
    orifice: FloatArray
    zero: FloatArray | None
    plumb: FloatArray | None
    landing: FloatArray | None
    facing: FloatArray | None


def check(setup: Setup) -> None:
    """Refuse what cannot be, before anything is computed."""
    for i, rule in enumerate(setup.rules):
        check_rule(rule, f"rules[{i}]")
    _check_camera(setup)
    if setup.plumb is not None and not setup.plumb.length_px >= 2.0:
        raise CalibrationError("plumb", said("its two ends lie on one spot; mark them far apart"))
    lines: tuple[tuple[str, Gauge | None], ...] = (
        ("gauge_line", setup.gauge_line),
        ("landing_line", setup.landing_line),
    )
    for where, gauge in lines:
        if gauge is not None and not gauge.line.length_px >= 2.0:
            raise CalibrationError(
                where, said("its two ends lie on one spot; draw it through every place that is read")
            )
    points: tuple[tuple[str, Mark | None], ...] = (
        ("orifice", setup.orifice),
        ("throw_zero", setup.throw_zero),
    )
    for where, mark in points:
        if mark is not None and (mark.px_u < 0 or mark.behind_u_m < 0):
            raise CalibrationError(where, said("an uncertainty must not be negative"))


def _check_camera(setup: Setup) -> None:
    camera = setup.camera
    if min(setup.frame_size) < 2:
        raise CalibrationError(
            "clip",
            said(
                "a frame of {width} × {height} px cannot be measured",
                width=setup.frame_size[0],
                height=setup.frame_size[1],
            ),
        )
    if camera.distance_m is not None:
        if not (math.isfinite(camera.distance_m) and camera.distance_m > 0):
            raise CalibrationError(
                "camera.distance_m",
                said("{distance:g} m is no distance; give it in metres", distance=camera.distance_m),
            )
        depths = [*setup.rules, setup.orifice, setup.throw_zero, setup.gauge_line, setup.landing_line]
        nearest = min((d.behind_m for d in depths if d is not None), default=0.0)
        if camera.distance_m + nearest <= 0:
            raise CalibrationError(
                "camera.distance_m",
                said(
                    "{distance:g} m puts the camera behind something that lies {nearest:g} m before the "
                    "jet's plane; check the unit of both",
                    distance=camera.distance_m,
                    nearest=-nearest,
                ),
            )
    if camera.lens is not None and not camera.lens.focal_px > 0:
        raise CalibrationError(
            "camera.lens.focal_px", said("{focal:g} px must be above 0", focal=camera.lens.focal_px)
        )
    if not 0 <= camera.facing_u_deg < 45:
        raise CalibrationError(
            "camera.facing_u_deg",
            said("{angle:g}° must lie from 0 to below 45", angle=camera.facing_u_deg),
        )


def straightened(setup: Setup) -> Marked:
    """Take the lens out of all marks in one pass."""
    centre = optical_centre(setup.camera.lens, setup.frame_size)
    where: list[str] = []
    px: list[Pixel] = []

    def put(key: str, *positions: Pixel) -> slice:
        px.extend(positions)
        where.extend([key] * len(positions))
        return slice(len(px) - len(positions), len(px))

    for i, rule in enumerate(setup.rules):
        put(f"rules[{i}].graduations", *(g.px for g in rule.graduations))
    graduations = slice(0, len(px))
    orifice = put("orifice", setup.orifice.px)
    zero = put("throw_zero", setup.throw_zero.px) if setup.throw_zero else None
    plumb = put("plumb", setup.plumb.start, setup.plumb.end) if setup.plumb else None
    line = setup.landing_line.line if setup.landing_line else None
    landing = put("landing_line", line.start, line.end) if line else None
    facing = put("camera.facing_px", setup.camera.facing) if setup.camera.facing else None
    seen = np.array(px, dtype=np.float64)
    straight = straighten(seen, setup.camera.lens, centre)
    bad = np.flatnonzero(~np.all(np.isfinite(straight), axis=1))
    if bad.size:
        at = seen[bad[0]]
        words = marked("({x:.1f}, {y:.1f}) lies outside what camera.lens can show; check k1, k2 and focal_px")
        if not np.all(np.isfinite(at)):
            words = marked("({x:.1f}, {y:.1f}) is not a finite position")
        raise CalibrationError(where[int(bad[0])], said(words, x=float(at[0]), y=float(at[1])))
    return Marked(
        centre=centre,
        graduations=straight[graduations],
        orifice=straight[orifice][0],
        zero=None if zero is None else straight[zero][0],
        plumb=None if plumb is None else straight[plumb],
        landing=None if landing is None else straight[landing],
        facing=None if facing is None else straight[facing][0],
    )


def distinct_names(names: tuple[str, ...]) -> tuple[str, ...]:
    """Names as given, with a number where one is empty or comes twice.

    Parameters
    ----------
    names : tuple of str

    Returns
    -------
    tuple of str
    """
    filled = [n.strip() or said("rule {number}", number=i) for i, n in enumerate(names, start=1)]
    return tuple(n if filled.count(n) == 1 else f"{n} ({i})" for i, n in enumerate(filled, start=1))
