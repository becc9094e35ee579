"""From what was marked to a calibration: checks, the joint fit, the sources of error, the remarks."""

from __future__ import annotations

import math

import numpy as np

from calibration.calibrated import Calibration
from calibration.errors import CalibrationRemark
from calibration.facing import Facing, bent
from calibration.joint import SHARED, JointFit, Priors, Scatter, fit_all
from calibration.lens import distort
from calibration.marked import Marked, check, distinct_names, straightened
from calibration.pixels import FloatArray, Pixel
from calibration.plane import Plane, Slot
from calibration.reach import drop_reach_of, reach_of
from calibration.remarks import (
    depth_remarks,
    facing_remarks,
    focal_remarks,
    lens_remarks,
    plumb_remarks,
    scale_remarks,
)
from calibration.rulefit import rule_fits, scatter_remarks
from calibration.rules import Marks, lean_of, linear_scale, table_of
from calibration.setup import Measures, Setup
from calibration.sources import columns_of
from calibration.words import marked, said

ROLL_U_DEG = 1.0
"""How well a camera is levelled by eye (common practice, no source); used where no plumb is marked."""
BEND_U = 0.03
"""Radial distortion k1 that a lens may have which was not given: 1 % at the side of a phone's frame.

Common practice, no source. The graduations then tell, as far as they can, what it is.
"""
DISTANCE_U = 0.02
"""Relative uncertainty of a distance given without one (common practice, no source)."""


def calibrate(setup: Setup) -> Calibration:
    """Calibrate a frame.

    Parameters
    ----------
    setup : Setup
        What was marked on the reference frame and what is known of the camera.

    Returns
    -------
    Calibration
        What cannot be measured for want of a rule stands in its ``gaps``.

    Raises
    ------
    CalibrationError
        A mark that cannot be what it says: a rule with fewer than two graduations, with two on one pixel or
        of one value, or whose values do not run one way; a plumb without length; a distance that is not
        positive; a position outside what the lens model can show.

    Notes
    -----
    In order: the lens is straightened; the facing is found from the stated one and the perspective of the
    rules, together with the scale of every rule, in one least-squares fit; the view is turned parallel to the
    jet's plane; what lies at another depth is carried to that plane about the point faced squarely; plumb
    gives the vertical.
    """
    check(setup)
    marked = straightened(setup)
    names = distinct_names(tuple(r.name for r in setup.rules))
    R = len(setup.rules)
    remarks: list[CalibrationRemark] = []
    marks = table_of(setup.rules, names, marked.graduations)
    focal, focal_known = _focal(setup, marks)
    priors = _priors(setup, marked, focal)
    fit: JointFit | None = None
    scatter: tuple[Scatter, ...] = ()
    if R:
        fit, scatter = fit_all(marks, marked.centre, focal, priors, setup.camera.distance_m is not None)
    plumb, roll_u = _plumb(setup, marked, marks)
    base = _base(setup, fit, priors)
    plane = Plane(
        centre=marked.centre,
        focal_px=focal,
        base=base,
        orifice=marked.orifice,
        zero=marked.zero,
        plumb=plumb,
        landing=marked.landing,
        head_rules=_weights(setup, fit, (Measures.HEAD, Measures.BOTH)),
        throw_rules=_weights(setup, fit, (Measures.THROW, Measures.BOTH)),
        outward=_outward(setup, marked, marks, plumb),
    )
    typical = _typical_distance(plane, setup)
    sources, columns = columns_of(setup, plane, marks, fit, roll_u=roll_u, typical_m=typical)
    table = np.concatenate([base[None], base + columns.T, base - columns.T])
    fits = rule_fits(plane, marks, fit, scatter, table)
    facing = _facing(setup, plane, columns, focal)
    if fit is not None:
        for r in range(R):
            remarks += scatter_remarks(marks, fit, r, scatter[r][2])
        remarks += scale_remarks(plane, names, table, fit)
        remarks += focal_remarks(setup, plane, focal_known)
    remarks += depth_remarks(setup, typical, focal_known)
    remarks += facing_remarks(setup, fit, facing)
    remarks += lens_remarks(plane, priors.bend_u)
    remarks += plumb_remarks(setup, plumb, marks, roll_u)
    gaps = _gaps(setup, plane)
    head_reach = reach_of(setup, plane, marks, names, heads=True)
    return Calibration(
        setup=setup,
        sources=sources,
        rule_fits=fits,
        facing=facing,
        gaps=tuple(g for g in gaps[:2] if g),
        remarks=tuple(remarks),
        _plane=plane,
        _table=table,
        _head_reach=head_reach,
        _throw_reach=reach_of(setup, plane, marks, names, heads=False),
        _drop_reach=drop_reach_of(setup, plane, names, head_reach),
        _head_gap=gaps[0],
        _throw_gap=gaps[1],
        _drop_gap=gaps[2],
    )


def _base(setup: Setup, fit: JointFit | None, priors: Priors) -> FloatArray:
    """Fill the parameter vector with what was fitted and what was stated."""
    R = len(setup.rules)
    base = np.zeros(Slot.RULES + 3 * R)
    if fit is None:
        base[:3] = [*priors.tangents, priors.inverse_distance]
    else:
        base[:SHARED] = fit.parameters[:SHARED]
        if setup.camera.lens is not None:
            base[Slot.BEND] = 0.0  # held at zero by the fit, to its last digits only
        base[Slot.RULES : Slot.RULES + 2 * R] = fit.parameters[SHARED : SHARED + 2 * R]
    gauge, landing = setup.gauge_line, setup.landing_line
    base[Slot.GAUGE_DEPTH] = gauge.behind_m if gauge else 0.0
    base[Slot.LANDING_DEPTH] = landing.behind_m if landing else 0.0
    base[Slot.ORIFICE_DEPTH] = setup.orifice.behind_m
    base[Slot.ZERO_DEPTH] = setup.throw_zero.behind_m if setup.throw_zero else 0.0
    base[Slot.ABOVE_LEVEL] = gauge.above_level_m if gauge else 0.0
    return base


def _focal(setup: Setup, marks: Marks) -> tuple[float, str]:
    """Focal length in px and how it is known: "lens", "distance" or "assumed"."""
    camera = setup.camera
    if camera.lens is not None:
        return camera.lens.focal_px, "lens"
    if camera.distance_m is not None and len(marks.rules):
        depth = np.array([r.behind_m for r in marks.rules])
        return float(np.median((camera.distance_m + depth) / linear_scale(marks))), "distance"
    return float(max(setup.frame_size)), "assumed"


def _priors(setup: Setup, marked: Marked, focal: float) -> Priors:
    camera = setup.camera
    tangents = np.zeros(2) if marked.facing is None else (marked.facing - marked.centre) / focal
    u = math.tan(math.radians(camera.facing_u_deg))
    bend_u = BEND_U if camera.lens is None else 0.0
    if camera.distance_m is None:
        return Priors(tangents, u, 0.0, 0.0, bend_u)
    distance_u = DISTANCE_U * camera.distance_m if camera.distance_u_m is None else camera.distance_u_m
    return Priors(tangents, u, 1.0 / camera.distance_m, distance_u / camera.distance_m**2, bend_u)


def _weights(setup: Setup, fit: JointFit | None, kinds: tuple[Measures, ...]) -> FloatArray:
    """Weights, adding to 1, of the rules that serve a direction: by the variance of their scales."""
    R = len(setup.rules)
    if fit is None:
        return np.zeros(R)
    scale = slice(SHARED + R, SHARED + 2 * R)
    variance = np.sum((fit.gain[scale] / fit.parameters[scale, None]) ** 2, axis=1)
    variance += np.array([r.scale_u for r in setup.rules]) ** 2
    serves = np.array([r.measures in kinds for r in setup.rules])
    weights = np.where(serves, 1.0 / variance, 0.0)
    return weights / weights.sum() if np.any(serves) else weights


def _plumb(setup: Setup, marked: Marked, marks: Marks) -> tuple[FloatArray, float]:
    """Give the ends of the plumb (2, 2), and the standard uncertainty of its direction, rad."""
    if marked.plumb is not None:
        step = marked.plumb[1] - marked.plumb[0]
        return marked.plumb, math.sqrt(2.0) * setup.plumb_px_u / float(np.hypot(*step))
    half = np.array([0.0, 0.1 * max(setup.frame_size)])
    lean = [abs(lean_of(marks, r)) for r in range(len(marks.rules))]
    upright = [x for x, r in zip(lean, setup.rules, strict=True) if r.measures is Measures.HEAD]
    u = max(math.radians(ROLL_U_DEG), min(upright, default=0.0))
    return np.stack([marked.orifice - half, marked.orifice + half]), u


def _outward(setup: Setup, marked: Marked, marks: Marks, plumb: FloatArray) -> float:
    """Side of the plumb to which throws grow."""
    down = plumb[1] - plumb[0]
    right = np.array([down[1], -down[0]])
    if marked.landing is not None:
        along = float((marked.landing[1] - marked.landing[0]) @ right)
    else:
        along = sum(
            float(marks.along[r] @ right)
            for r, rule in enumerate(setup.rules)
            if rule.measures is Measures.THROW
        )
    return -1.0 if along < 0 else 1.0


def _typical_distance(plane: Plane, setup: Setup) -> float:
    """Give the distance at which the focal length would make the rules as large as they are seen, m."""
    if setup.camera.distance_m is not None:
        return setup.camera.distance_m
    scales = plane.rule_scales(plane.base[None])[0]
    return float(np.median(scales)) if len(scales) else math.nan


_KNOWN_BY = {
    (True, False): "camera.facing_px",
    (True, True): marked("camera.facing_px, bettered by the perspective of the rules"),
    (False, False): marked("taken to be the image centre"),
    (False, True): marked("taken to be the image centre, bettered by the perspective of the rules"),
}
"""Where the facing is from: whether it was stated, and whether the rules know it better."""


def _gaps(setup: Setup, plane: Plane) -> tuple[str, str, str]:
    """Say what is missing for heads, for throws, and for reading the drop."""
    head = throw = drop = ""
    if not np.any(plane.head_rules):
        head = said("no rule measures heads: add one to rules with “measures” head or both")
    if not np.any(plane.throw_rules):
        throw = said("no rule measures throws: add one to rules with “measures” throw or both")
    if not np.any(plane.drop_rules):
        drop = head
    elif setup.landing_line is None:
        drop = head or said("no landing_line: draw it to read the drop from the frame, or give drop.value_m")
    return head, throw, drop


def _facing(setup: Setup, plane: Plane, columns: FloatArray, focal: float) -> Facing:
    tangents = plane.base[:2]
    u = np.linalg.norm(columns[:2], axis=1) if columns.size else np.full(2, math.nan)
    foot = plane.centre + focal * tangents[None]
    foot = bent(foot, plane.centre, focal, float(plane.base[Slot.BEND]))
    stated = math.tan(math.radians(setup.camera.facing_u_deg))
    by_rules = bool(columns.size) and float(np.min(u)) < 0.8 * stated
    known = said(_KNOWN_BY[setup.camera.facing is not None, by_rules])
    return Facing(
        px=Pixel(*distort(foot, setup.camera.lens, plane.centre)[0].tolist()),
        u_px=(float(focal * u[0]), float(focal * u[1])),
        sideways_deg=math.degrees(math.atan(tangents[0])),
        up_down_deg=math.degrees(math.atan(tangents[1])),
        u_deg=(math.degrees(u[0]), math.degrees(u[1])),
        focal_px=focal,
        known_by=known,
    )
