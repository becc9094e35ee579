"""From what was marked to a calibration: checks, the joint fit, the sources of error, the remarks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.calibrated import CROSSWISE_REACH, REACH, Calibration, Reach, displayed_pixel
from calibration.errors import CalibrationError, CalibrationRemark
from calibration.facing import Facing
from calibration.lens import optical_centre, straighten
from calibration.pixels import FloatArray, Pixel
from calibration.plane import Plane, Slot
from calibration.remarks import (
    depth_remarks,
    facing_remarks,
    focal_remarks,
    plumb_remarks,
    scale_remarks,
)
from calibration.rulefit import P_LIMIT, RuleFit, chi_squared, perspective_words, scatter_remarks
from calibration.rules import (
    JointFit,
    Marks,
    Priors,
    check_rule,
    fit_together,
    linear_scale,
    perspective_seen,
    table_of,
)
from calibration.setup import Gauge, Mark, Measures, Setup
from calibration.sources import columns_of

ROLL_U_DEG = 1.0
"""How well a camera is levelled by eye (common practice, no source); used where no plumb is marked."""
DISTANCE_U = 0.02
"""Relative uncertainty of a distance given without one (common practice, no source)."""
_EQUAL_Z = 3.0


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
        A mark that cannot be what it says: a rule with fewer than two graduations, with two on one pixel or of one
        value, or whose values do not run one way; a plumb without length; a distance that is not positive; a position
        outside what the lens model can show.

    Notes
    -----
    In order: the lens is straightened; the facing is found from the stated one and the perspective of the rules,
    together with the scale of every rule, in one least-squares fit; the view is turned parallel to the jet's plane;
    what lies at another depth is carried to that plane about the point faced squarely; plumb gives the vertical.
    """
    _check(setup)
    marked = _straightened(setup)
    names = distinct_names(tuple(r.name for r in setup.rules))
    R = len(setup.rules)
    remarks: list[CalibrationRemark] = []
    marks = table_of(setup.rules, names, marked.graduations)
    focal, focal_known = _focal(setup, marks)
    priors = _priors(setup, marked, focal)
    if R:
        fit, scatter = _fit(marks, marked.centre, focal, priors, setup.camera.distance_m is not None)
    else:
        start = np.concatenate([priors.tangents, [priors.inverse_distance]])
        fit, scatter = None, ()
    plumb, roll_u = _plumb(setup, marked, marks)
    base = np.zeros(Slot.RULES + 3 * R)
    base[:3] = fit.parameters[:3] if fit is not None else start
    if fit is not None:
        base[Slot.RULES : Slot.RULES + 2 * R] = fit.parameters[3 : 3 + 2 * R]
    gauge, landing = setup.gauge_line, setup.landing_line
    base[Slot.GAUGE_DEPTH] = gauge.behind_m if gauge else 0.0
    base[Slot.LANDING_DEPTH] = landing.behind_m if landing else 0.0
    base[Slot.ORIFICE_DEPTH] = setup.orifice.behind_m
    base[Slot.ZERO_DEPTH] = setup.throw_zero.behind_m if setup.throw_zero else 0.0
    base[Slot.ABOVE_LEVEL] = gauge.above_level_m if gauge else 0.0
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
    typical = _typical_distance(plane, focal, setup)
    sources, columns = columns_of(setup, plane, marks, fit, roll_u, typical)
    table = np.concatenate([base[None], base + columns.T, base - columns.T])
    rule_fits = _rule_fits(setup, plane, marks, fit, scatter, table)
    facing = _facing(setup, plane, columns, focal)
    if fit is not None:
        for r in range(R):
            remarks += scatter_remarks(marks, fit, r, scatter[r][2])
        remarks += scale_remarks(plane, names, table, fit)
        remarks += focal_remarks(setup, plane, focal_known)
    remarks += depth_remarks(setup, typical, focal_known)
    remarks += facing_remarks(setup, fit, facing)
    remarks += plumb_remarks(setup, plumb, marks, roll_u)
    gaps = _gaps(setup, plane)
    return Calibration(
        setup=setup,
        sources=sources,
        rule_fits=rule_fits,
        facing=facing,
        gaps=tuple(g for g in gaps if g),
        remarks=tuple(remarks),
        _plane=plane,
        _table=table,
        _head_reach=_reach(setup, plane, marks, names, heads=True),
        _throw_reach=_reach(setup, plane, marks, names, heads=False),
        _head_gap=gaps[0],
        _throw_gap=gaps[1],
        _drop_gap=gaps[0] or gaps[2],
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
    filled = [n.strip() or f"rule {i}" for i, n in enumerate(names, start=1)]
    return tuple(n if filled.count(n) == 1 else f"{n} ({i})" for i, n in enumerate(filled, start=1))


@dataclass(frozen=True, slots=True, eq=False)
class _Marked:
    """Every marked position, with the lens taken out."""

    centre: FloatArray
    graduations: FloatArray
    orifice: FloatArray
    zero: FloatArray | None
    plumb: FloatArray | None
    landing: FloatArray | None
    facing: FloatArray | None


def _check(setup: Setup) -> None:
    """Refuse what cannot be, before anything is computed."""
    for i, rule in enumerate(setup.rules):
        check_rule(rule, f"rules[{i}]")
    camera = setup.camera
    if min(setup.frame_size) < 2:
        raise CalibrationError("clip", f"a frame of {setup.frame_size[0]} × {setup.frame_size[1]} px cannot be measured")
    if camera.distance_m is not None:
        if not (math.isfinite(camera.distance_m) and camera.distance_m > 0):
            raise CalibrationError("camera.distance_m", f"{camera.distance_m:g} m is no distance; give it in metres")
        depths = [*setup.rules, setup.orifice, setup.throw_zero, setup.gauge_line, setup.landing_line]
        nearest = min((d.behind_m for d in depths if d is not None), default=0.0)
        if camera.distance_m + nearest <= 0:
            raise CalibrationError(
                "camera.distance_m",
                f"{camera.distance_m:g} m puts the camera behind something that lies {-nearest:g} m before the jet's "
                "plane; check the unit of both",
            )
    if camera.lens is not None and not camera.lens.focal_px > 0:
        raise CalibrationError("camera.lens.focal_px", f"{camera.lens.focal_px:g} px must be above 0")
    if not 0 <= camera.facing_u_deg < 45:
        raise CalibrationError("camera.facing_u_deg", f"{camera.facing_u_deg:g}° must lie from 0 to below 45")
    if setup.plumb is not None and not setup.plumb.length_px >= 2.0:
        raise CalibrationError("plumb", "its two ends lie on one spot; mark them far apart")
    lines: tuple[tuple[str, Gauge | None], ...] = (
        ("gauge_line", setup.gauge_line),
        ("landing_line", setup.landing_line),
    )
    for where, gauge in lines:
        if gauge is not None and not gauge.line.length_px >= 2.0:
            raise CalibrationError(where, "its two ends lie on one spot; draw it through every place that is read")
    points: tuple[tuple[str, Mark | None], ...] = (("orifice", setup.orifice), ("throw_zero", setup.throw_zero))
    for where, mark in points:
        if mark is not None and (mark.px_u < 0 or mark.behind_u_m < 0):
            raise CalibrationError(where, "an uncertainty must not be negative")


def _straightened(setup: Setup) -> _Marked:
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
        why = "lies outside what camera.lens can show; check k1, k2 and focal_px"
        if not np.all(np.isfinite(at)):
            why = "is not a finite position"
        raise CalibrationError(where[int(bad[0])], f"({at[0]:.1f}, {at[1]:.1f}) {why}")
    return _Marked(
        centre=centre,
        graduations=straight[graduations],
        orifice=straight[orifice][0],
        zero=None if zero is None else straight[zero][0],
        plumb=None if plumb is None else straight[plumb],
        landing=None if landing is None else straight[landing],
        facing=None if facing is None else straight[facing][0],
    )


def _focal(setup: Setup, marks: Marks) -> tuple[float, str]:
    """Focal length in px and how it is known: "lens", "distance" or "assumed"."""
    camera = setup.camera
    if camera.lens is not None:
        return camera.lens.focal_px, "lens"
    if camera.distance_m is not None and len(marks.rules):
        depth = np.array([r.behind_m for r in marks.rules])
        return float(np.median((camera.distance_m + depth) / linear_scale(marks))), "distance"
    return float(max(setup.frame_size)), "assumed"


def _priors(setup: Setup, marked: _Marked, focal: float) -> Priors:
    camera = setup.camera
    tangents = np.zeros(2) if marked.facing is None else (marked.facing - marked.centre) / focal
    u = math.tan(math.radians(camera.facing_u_deg))
    if camera.distance_m is None:
        return Priors(tangents, u, 0.0, 0.0)
    distance_u = DISTANCE_U * camera.distance_m if camera.distance_u_m is None else camera.distance_u_m
    return Priors(tangents, u, 1.0 / camera.distance_m, distance_u / camera.distance_m**2)


Scatter = tuple[float, float, float | None]


def _fit(
    marks: Marks, centre: FloatArray, focal: float, priors: Priors, distance_known: bool
) -> tuple[JointFit, tuple[Scatter, ...]]:
    """Fit, widen what scatters, then let rules of agreeing scale lean on one another for the facing."""
    R = len(marks.rules)
    fit = fit_together(marks, centre, focal, priors, np.ones(R), ())
    scatter = tuple(chi_squared(marks, fit, r) for r in range(R))
    widen = np.ones(R)
    for r, (chi2, freedom, p) in enumerate(scatter):
        if p is not None and p < P_LIMIT:  # the Birge ratio: R. T. Birge, Phys. Rev. 40 (1932) 207
            widen[r] = math.sqrt(chi2 / freedom)
    if np.any(widen > 1.0):
        fit = fit_together(marks, centre, focal, priors, widen, ())
    if not distance_known or R < 2:
        return fit, scatter
    # Scales of two rules, carried to one plane, differ only by their engraving: a difference that is seen tells how
    # the camera stood. A rule that disagrees by more than its facing can explain is left out of this and remarked on.
    equal = []
    for r in range(1, R):
        u = max(math.hypot(marks.rules[0].scale_u, marks.rules[r].scale_u), 1e-5)
        if abs(scale_difference(fit, 0, r)[0]) <= _EQUAL_Z * math.hypot(scale_difference(fit, 0, r)[1], u):
            equal.append((0, r, u))
    if equal:
        fit = fit_together(marks, centre, focal, priors, widen, tuple(equal))
    return fit, scatter


def scale_difference(fit: JointFit, a: int, b: int) -> tuple[float, float]:
    """Relative difference of two rules' scales at the jet's plane.

    Parameters
    ----------
    fit : JointFit
    a, b : int
        Indices of the rules.

    Returns
    -------
    difference, u : float
        ln(scale a / scale b) and its standard uncertainty.
    """
    theta = fit.parameters
    R = (len(theta) - 3) // 3
    row = np.zeros(len(theta))
    logs = []
    for which, sign in ((a, 1.0), (b, -1.0)):
        carry = 1.0 + theta[2] * theta[3 + which]
        logs.append(math.log(theta[3 + R + which] / carry))
        row[3 + R + which] += sign / theta[3 + R + which]
        row[3 + which] -= sign * theta[2] / carry
        row[2] -= sign * theta[3 + which] / carry
    return logs[0] - logs[1], float(np.linalg.norm(row @ fit.gain))


def _weights(setup: Setup, fit: JointFit | None, kinds: tuple[Measures, ...]) -> FloatArray:
    """Weights, adding to 1, of the rules that serve a direction: by the variance of their scales."""
    R = len(setup.rules)
    if fit is None:
        return np.zeros(R)
    scale = slice(3 + R, 3 + 2 * R)
    variance = np.sum((fit.gain[scale] / fit.parameters[scale, None]) ** 2, axis=1)
    variance += np.array([r.scale_u for r in setup.rules]) ** 2
    serves = np.array([r.measures in kinds for r in setup.rules])
    weights = np.where(serves, 1.0 / variance, 0.0)
    return weights / weights.sum() if np.any(serves) else weights


def _plumb(setup: Setup, marked: _Marked, marks: Marks) -> tuple[FloatArray, float]:
    """Ends of the plumb (2, 2), and the standard uncertainty of its direction, rad."""
    if marked.plumb is not None:
        step = marked.plumb[1] - marked.plumb[0]
        return marked.plumb, math.sqrt(2.0) * setup.plumb_px_u / float(np.hypot(*step))
    half = np.array([0.0, 0.1 * max(setup.frame_size)])
    lean = [abs(head_rule_lean(marks, r)) for r in range(len(marks.rules))]
    upright = [x for x, r in zip(lean, setup.rules, strict=True) if r.measures is Measures.HEAD]
    u = max(math.radians(ROLL_U_DEG), min(upright, default=0.0))
    return np.stack([marked.orifice - half, marked.orifice + half]), u


def head_rule_lean(marks: Marks, rule: int) -> float:
    """Angle of a rule against the image's vertical.

    Parameters
    ----------
    marks : Marks
    rule : int

    Returns
    -------
    float
        rad, from -pi/2 to pi/2.
    """
    x, y = marks.along[rule]
    return math.atan2(x, y) if y >= 0 else math.atan2(-x, -y)


def _outward(setup: Setup, marked: _Marked, marks: Marks, plumb: FloatArray) -> float:
    """Side of the plumb to which throws grow."""
    down = plumb[1] - plumb[0]
    right = np.array([down[1], -down[0]])
    if marked.landing is not None:
        along = float((marked.landing[1] - marked.landing[0]) @ right)
    else:
        along = sum(
            float(marks.along[r] @ right) for r, rule in enumerate(setup.rules) if rule.measures is Measures.THROW
        )
    return -1.0 if along < 0 else 1.0


def _typical_distance(plane: Plane, focal: float, setup: Setup) -> float:
    """Distance at which the focal length would make the rules as large as they are seen, m."""
    if setup.camera.distance_m is not None:
        return setup.camera.distance_m
    scales = plane.rule_scales(plane.base[None])[0]
    return float(np.median(scales)) if len(scales) else math.nan


def _reach(setup: Setup, plane: Plane, marks: Marks, names: tuple[str, ...], *, heads: bool) -> tuple[Reach, ...]:
    """How far each rule is trusted, in the direction of heads (up) or of throws (outward)."""
    base = plane.base[None]
    down, across = plane.axes(base)
    unit, origin, weights = (
        (-down[0], plane.orifice_at(base)[0], plane.head_rules)
        if heads
        else (across[0], plane.zero_at(base)[0], plane.throw_rules)
    )
    if not np.any(weights):
        return ()
    scale = float(plane.scale(base, weights)[0])
    out = []
    for r in np.flatnonzero(weights):
        rule = setup.rules[r]
        rho = plane.slopes(base, marks.pixels[marks.of(r)])[0] * (1.0 + base[0, Slot.INVERSE_DISTANCE] * rule.behind_m)
        at = scale * ((rho - origin) @ unit)
        values = marks.values[marks.of(r)]
        length = float(values.max() - values.min())
        along = float(at.max() - at.min()) > 0.5 * length
        slack = (REACH if along else CROSSWISE_REACH) * length
        out.append(Reach(names[r], float(at.min()), float(at.max()), slack))
    return tuple(out)


def _gaps(setup: Setup, plane: Plane) -> tuple[str, str, str]:
    """What is missing for heads, for throws, and for reading the drop."""
    head = throw = drop = ""
    if not np.any(plane.head_rules):
        head = "no rule measures heads: add one to rules with “measures” head or both"
    if not np.any(plane.throw_rules):
        throw = "no rule measures throws: add one to rules with “measures” throw or both"
    if setup.landing_line is None:
        drop = "no landing_line: draw it to read the drop from the frame, or give drop.value_m"
    return head, throw, drop


def _rule_fits(
    setup: Setup, plane: Plane, marks: Marks, fit: JointFit | None, scatter: tuple[Scatter, ...], table: FloatArray
) -> tuple[RuleFit, ...]:
    if fit is None:
        return ()
    tangents, tangent_u = perspective_seen(marks, fit, plane.centre, plane.focal_px)
    R, k = len(marks.rules), (len(table) - 1) // 2
    out = []
    for r, rule in enumerate(setup.rules):
        mine = marks.of(r)
        px = marks.pixels[mine]
        middle = 0.5 * (px[np.argmin(marks.values[mine])] + px[np.argmax(marks.values[mine])])
        rho = plane.slopes(table, np.stack([middle - 0.5 * marks.along[r], middle + 0.5 * marks.along[r]]))
        step = np.hypot(*(rho[:, 1] - rho[:, 0]).T)
        local = step * table[:, Slot.RULES + R + r] * (1.0 + table[:, Slot.RULES + 2 * R + r])
        known = bool(np.isfinite(tangents[r]))
        out.append(
            RuleFit(
                name=marks.names[r],
                measures=rule.measures,
                m_per_px=float(local[0]),
                m_per_px_u=float(np.linalg.norm(local[1 : k + 1] - local[k + 1 :]) / 2.0),
                values_m=marks.values[mine],
                residuals_px=-fit.residuals[mine] / fit.m_per_px[mine],
                u_px=fit.stated[mine] / fit.m_per_px[mine],
                chi_squared=scatter[r][0],
                freedom=scatter[r][1],
                p_value=scatter[r][2],
                facing_deg=math.degrees(math.atan(tangents[r])) if known else None,
                facing_u_deg=math.degrees(tangent_u[r]) if known else None,
                perspective=perspective_words(float(tangents[r]), float(tangent_u[r])),
            )
        )
    return tuple(out)


def _facing(setup: Setup, plane: Plane, columns: FloatArray, focal: float) -> Facing:
    tangents = plane.base[:2]
    u = np.linalg.norm(columns[:2], axis=1) if columns.size else np.full(2, math.nan)
    stated = math.tan(math.radians(setup.camera.facing_u_deg))
    known = "camera.facing_px" if setup.camera.facing is not None else "taken to be the image centre"
    if columns.size and float(np.min(u)) < 0.8 * stated:
        known += ", bettered by the perspective of the rules"
    return Facing(
        px=displayed_pixel(plane.centre + focal * tangents, setup, plane.centre),
        u_px=(float(focal * u[0]), float(focal * u[1])),
        sideways_deg=math.degrees(math.atan(tangents[0])),
        up_down_deg=math.degrees(math.atan(tangents[1])),
        u_deg=(math.degrees(u[0]), math.degrees(u[1])),
        focal_px=focal,
        known_by=known,
    )
