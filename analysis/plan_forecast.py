"""From a plan to a forecast: closed forms for the drain, the engine itself for the uncertainty."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis.derive import Findings, findings_of
from analysis.findings import Finding
from analysis.gravity import STANDARD_GRAVITY
from analysis.plan import DIAGONAL_35_MM, Forecast, GravityRoute, Moment, Plan, Sight
from analysis.plan_advice import advice_on
from analysis.published import expected_bands
from analysis.rows import law_limit_m
from analysis.series import Column, FloatArray, Series
from analysis.wander import LANDING_WANDER, SURFACE_WANDER, numbered, wandering
from analysis.water import capillary_loss_m, reynolds_number, water_at, weber_number
from analysis.words import marked, said

G = STANDARD_GRAVITY
MARGIN_M = 0.03
"""Room about container and jet in the picture, and beyond the landing in the tray; common practice."""
_TOGETHER_S = 0.3
"""Readings within this time err together: the jet sways and the surface rocks; common practice, no source."""
_DROP_U_M = 2e-3
"""A flying drop marked by hand; common practice, no source."""
_ROWS = 40
"""Rows that stand for all readings; their own errors are made smaller in turn."""
_MOMENTS = 8


def forecast_of(plan: Plan, *, surface_tension: bool = True) -> Forecast:
    """
    Say what is to be expected of a plan.

    Parameters
    ----------
    plan : Plan
        The set-up.
    surface_tension : bool
        Whether the jet loses the head that surface tension is thought to take (`capillary_loss_m`).

    Returns
    -------
    Forecast
        Throws by x = 2 Cv √(h y₀) (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 18), the surface's
        own speed counted in; times by t = 2A(√H - √h)/(Cd a √(2g)) (s. 53); the uncertainty of Cv from a
        simulated run with the stated errors, through `findings_of`.
    """
    conditions = plan.conditions
    limit = law_limit_m(conditions) or 0.0
    end = _lowest(plan, limit)
    bands = expected_bands(
        conditions, (end, plan.head_m), edge=plan.edge, wall_thickness_m=plan.wall_thickness_m
    )
    cv, cd = plan.cv or bands.cv.reckoned, plan.cd or bands.cd.reckoned
    time = drain_time(plan, cd, end)
    sight = sight_of(plan)
    frames = max(2, int(time * plan.frame_rate_hz) + 1)
    read = min(frames, plan.readings or frames)
    independent = max(2, min(read, int(time / _TOGETHER_S) + 1))
    loss = capillary_loss_m(water_at(plan.temperature_c), plan.hole_diameter_m, G)
    # A real jet loses that head, and the engine answers by leaving the zero free, which costs precision.
    lost = 0.5 * (loss[0] + loss[1]) if surface_tension else 0.0
    findings = findings_of(simulated(plan, cv, cd, independent, lost_m=lost), conditions)
    found = findings.finding("speed_coefficient")
    start_throw = _throw(plan, cv, cd, plan.head_m)
    forecast = Forecast(
        plan=plan,
        expected=bands,
        cv=cv,
        cd=cd,
        moments=_moments(plan, cv, cd, end),
        law_limit_m=limit,
        drain_time_s=time,
        drain_time_range_s=(
            drain_time(plan, bands.cd.high, end) if plan.cd is None else time,
            drain_time(plan, bands.cd.low, end) if plan.cd is None else time,
        ),
        empty_time_s=drain_time(plan, cd, 0.0),
        least_tray_m=start_throw + MARGIN_M,
        head_on_tray_m=_head_on_tray(plan, start_throw),
        sight=sight,
        jet_diameter_m=plan.hole_diameter_m * math.sqrt(min(1.0, cd / cv)),
        frames=frames,
        independent=independent,
        cv_u=None if found is None else found.u,
        cd_u=_u(findings, "discharge_coefficient"),
        budget=() if found is None else found.budget,
        more_frames_gain=_gain_of_more(found),
        capillary_loss_m=loss,
        capillary_shift=None if found is None else found.value - cv,
        gravity=_gravity_routes(plan, findings, sight, cd / cv),
        advice=(),
    )
    return replace(forecast, advice=advice_on(forecast))


def drain_time(plan: Plan, cd: float, to_head_m: float) -> float:
    """
    Time in which the level falls from the start to a head.

    Parameters
    ----------
    plan : Plan
    cd : float
        Discharge coefficient.
    to_head_m : float
        m, not below nought.

    Returns
    -------
    float
        s; t = 2A(√H - √h)/(Cd a √(2g)) (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 53).
    """
    fallen = math.sqrt(plan.head_m) - math.sqrt(min(to_head_m, plan.head_m))
    return 2.0 * plan.container_area_m2 * fallen / (cd * plan.hole_area_m2 * math.sqrt(2.0 * G))


def simulated(
    plan: Plan,
    cv: float,
    cd: float,
    independent: int,
    *,
    lost_m: float = 0.0,
    rng: np.random.Generator | None = None,
) -> Series:
    """
    Lay out the run that a plan would give.

    Parameters
    ----------
    plan : Plan
    cv, cd : float
        Coefficients that are true of it.
    independent : int
        Readings that err independently; if there are more than the rows laid out, each row stands for
        several and its own error is smaller.
    lost_m : float
        Head that the jet loses to surface tension, m.
    rng : Generator, optional
        Draws the errors; None: own errors in a fixed pattern of the size that is stated, no shared ones.

    Returns
    -------
    Series
        Heads and throws from the start down to the law's limit, with own and shared uncertainties.
    """
    limit = law_limit_m(plan.conditions) or 0.0
    end = _lowest(plan, limit)
    n = min(_ROWS, independent)
    time = np.linspace(0.0, drain_time(plan, cd, end), n)
    k = cd * plan.hole_area_m2 / plan.container_area_m2 * math.sqrt(G / 2.0)
    root = math.sqrt(plan.head_m) - k * time
    flight = math.sqrt(2.0 * plan.drop_m / G)
    head = root**2
    launched = (root + k * flight) ** 2
    throw = _law(plan, cv, cd) * np.sqrt(plan.drop_m * np.maximum(launched - lost_m, 1e-9))
    names, by_head, by_throw, by_drop = _shared(plan, head, throw)
    per_row = math.sqrt(n / max(n, independent))
    at, s = plan.instruments, sight_of(plan).metres_per_px
    own_h = per_row * at.surface_u_px * s
    own_x = per_row * math.hypot(at.landing_u_px * s, at.sway_u_m)
    drop = np.full(n, plan.drop_m)
    if rng is None:
        # Without any scatter the engine would judge rounding noise: readings err by what is stated, now up,
        # now down, so that no error is like its neighbour's and their sums vanish.
        size = math.sqrt(max(1.0, n - 3.0) / n)
        head = head + size * own_h * np.resize([1.0, 1.0, -1.0, -1.0], n)
        throw = throw + size * own_x * np.resize([1.0, -1.0], n)
    else:
        z = rng.standard_normal(len(names))
        head = head + by_head @ z + own_h * rng.standard_normal(n)
        throw = throw + by_throw @ z + own_x * rng.standard_normal(n)
        drop = drop + by_drop @ z
    return Series(
        sources=names,
        time_s=time,
        head=Column(head, np.full(n, own_h), by_head),
        throw=Column(throw, np.full(n, own_x), by_throw),
        drop=Column(drop, np.zeros(n), by_drop),
        kept=np.ones(n, dtype=bool),
    )


def _shared(
    plan: Plan, head: FloatArray, throw: FloatArray
) -> tuple[tuple[str, ...], FloatArray, FloatArray, FloatArray]:
    """List what all readings have in common: names, and the change of heads, throws and drops with each."""
    at = plan.instruments
    s = sight_of(plan).metres_per_px
    one, none = np.ones_like(head), np.zeros_like(head)
    as_read, engraved = plan.scale_gain * at.mark_u_px * s, plan.scale_gain * at.rule_u_m
    # A landing read too high meets the jet too early: dx/dy = x/(2 y₀).
    too_high = -at.line_u_px * s / (2.0 * plan.drop_m)
    depth = at.rule_depth_u_m / plan.camera_distance_m
    edge = wandering(at.surface_shared_u_px * s * one, head, SURFACE_WANDER)
    centre = wandering(at.landing_shared_u_px * s * one, throw, LANDING_WANDER)
    edge_ways = numbered(marked("surface: how its edge wanders"), SURFACE_WANDER)
    centre_ways = numbered(marked("landing: how its centre wanders"), LANDING_WANDER)
    sources: tuple[tuple[str, FloatArray, FloatArray, FloatArray], ...] = (
        (marked("orifice, up and down"), at.mark_u_px * s * one, none, none),
        (marked("upright rule: scale as read"), as_read * head, none, none),
        (marked("upright rule: engraved scale"), engraved * head, none, none),
        (marked("upright rule: depth"), depth * head, none, none),
        (marked("meniscus allowance"), at.meniscus_u_m * one, none, none),
        (marked("surface: which place of the blurred edge"), edge[0], none, none),
        (marked("rule along the throw: scale as read"), none, as_read * throw, none),
        (marked("rule along the throw: engraved scale"), none, engraved * throw, none),
        (marked("rule along the throw: depth"), none, depth * throw, none),
        (marked("throw zero"), none, at.zero_u_m * one, none),
        (marked("landing: which place of the jet is its centre"), none, centre[0], none),
        (marked("landing line: height as drawn"), none, too_high * throw, none),
        ("drop", none, none, at.drop_u_m * one),
        *((name, column, none, none) for name, column in zip(edge_ways, edge[1:], strict=True)),
        *((name, none, column, none) for name, column in zip(centre_ways, centre[1:], strict=True)),
    )
    used = [each for each in sources if any(np.any(column) for column in each[1:])]
    stack = [
        np.stack([each[i] for each in used], axis=1) if used else np.zeros((head.shape[0], 0))
        for i in (1, 2, 3)
    ]
    return tuple(each[0] for each in used), stack[0], stack[1], stack[2]


def sight_of(plan: Plan) -> Sight:
    """
    Say what the camera of a plan sees, and what it needs to see.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Sight
        Room is kept for a throw without any loss, 2√(y₀ h). A lens's field is its distance times the
        diagonal of 36 × 24 mm over the equivalent focal length, along the picture's own diagonal.
    """
    throw = 2.0 * math.sqrt(plan.drop_m * plan.head_m)
    needed_width = throw + plan.container_depth_m + 2.0 * MARGIN_M
    needed_height = plan.head_m + plan.drop_m + 2.0 * MARGIN_M
    shape = plan.image_width_px / plan.image_height_px
    if plan.field_width_m is not None:
        width = plan.field_width_m
    elif plan.focal_equivalent_mm is not None:
        diagonal = plan.camera_distance_m * DIAGONAL_35_MM / plan.focal_equivalent_mm
        width = diagonal * shape / math.hypot(shape, 1.0)
    else:
        width = max(needed_width, needed_height * shape)
    return Sight(width, width / shape, needed_width, needed_height, width / plan.image_width_px)


def _lowest(plan: Plan, limit: float) -> float:
    """Head at which the run ends: the law's limit, or a little below the start if that is higher."""
    return min(limit, 0.9 * plan.head_m)


def _law(plan: Plan, cv: float, cd: float) -> float:
    """Throw over √(y₀ h): 2 Cv, and the surface's own speed by continuity."""
    r = cd / cv * plan.hole_area_m2 / plan.container_area_m2
    return 2.0 * cv / math.sqrt(1.0 - min(r, 0.9) ** 2)


def _throw(plan: Plan, cv: float, cd: float, head_m: float) -> float:
    return _law(plan, cv, cd) * math.sqrt(plan.drop_m * head_m)


def _head_on_tray(plan: Plan, start_throw_m: float) -> float | None:
    """Head from which on the jet lands before the tray's far end; None: from the start."""
    if plan.tray_length_m is None or plan.tray_length_m >= start_throw_m:
        return None
    return plan.head_m * (plan.tray_length_m / start_throw_m) ** 2


def _moments(plan: Plan, cv: float, cd: float, end: float) -> tuple[Moment, ...]:
    water = water_at(plan.temperature_c)
    jet = plan.hole_diameter_m * math.sqrt(min(1.0, cd / cv))
    flight = math.sqrt(2.0 * plan.drop_m / G)
    made = []
    for head in _round_heads(plan.head_m, end):
        throw = _throw(plan, cv, cd, head)
        speed = throw / flight
        made.append(
            Moment(
                head_m=head,
                time_s=drain_time(plan, cd, head),
                throw_m=throw,
                speed_m_s=speed,
                reynolds=reynolds_number(water, speed, jet),
                weber=weber_number(water, speed, jet),
                on_tray=plan.tray_length_m is None or throw <= plan.tray_length_m,
            )
        )
    return tuple(made)


def _round_heads(start_m: float, end_m: float) -> list[float]:
    """Both ends, and round values between them that are not too near to either."""
    step = next(
        m * 10.0**p
        for p in range(-5, 3)
        for m in (1.0, 2.0, 5.0)
        if (start_m - end_m) / (m * 10.0**p) <= _MOMENTS
    )
    inner = step * np.arange(math.floor(start_m / step), 0.0, -1.0)
    return [start_m, *inner[(inner < start_m - 0.3 * step) & (inner > end_m + 0.3 * step)].tolist(), end_m]


def _u(findings: Findings, name: str) -> float | None:
    found = findings.finding(name)
    return None if found is None else found.u


def _gain_of_more(found: Finding | None) -> float:
    """Part by which u falls when the own share of its variance is halved."""
    if found is None or not found.u > 0.0:
        return 0.0
    own = sum(share.u**2 for share in found.budget if not share.shared)
    return 1.0 - math.sqrt(max(0.0, 1.0 - 0.5 * own / found.u**2))


def _gravity_routes(
    plan: Plan, findings: Findings, sight: Sight, contraction: float
) -> tuple[GravityRoute, ...]:
    """Ways to a g that no accepted value went into, the best first."""
    flight = math.sqrt(2.0 * plan.drop_m / G)
    by_drop = plan.instruments.drop_u_m / plan.drop_m
    routes = [
        GravityRoute(
            said("time of a drop's fall, one drop"),
            # Both ends are known to one frame, evenly spread: √2 · frame/√12 (JCGM 100, 4.3.7).
            math.hypot(2.0 / (math.sqrt(6.0) * plan.frame_rate_hz * flight), by_drop),
            said(
                "the frames in which one drop leaves the hole and lands, a short shutter time, and a "
                "camera whose rolling shutter is known: it can be off by 10 to 30 ms; ten drops do "
                "three times better"
            ),
        )
    ]
    parabola = _parabola(plan, sight, flight)
    if parabola is not None:
        routes.append(
            GravityRoute(
                said("path of a drop in time"),
                parabola,
                said(
                    "a drop's height marked to 2 mm in every frame of its fall, which takes a shutter of "
                    "1/1000 s, and a parabola through it; the rolling shutter counts here too"
                ),
            )
        )
    clock = findings.finding("gravity_from_clock")
    if clock is not None and clock.value > 0.0:
        routes.append(
            GravityRoute(
                said("drain clock, contraction from a handbook"),
                clock.u / clock.value,
                said("container area and hole diameter; rests on a handbook's contraction"),
            )
        )
        assumed = (marked("orifice diameter"), marked("contraction coefficient (assumed)"))
        rest = sum(share.u**2 for share in clock.budget if share.source not in assumed) / clock.value**2
        jet = plan.hole_diameter_m * math.sqrt(min(1.0, contraction))
        routes.append(
            GravityRoute(
                said("drain clock and the jet's diameter"),
                math.sqrt(rest + (4.0 * plan.instruments.jet_diameter_u_m / jet) ** 2),
                said(
                    "container area and the jet's diameter to {jet_diameter_u_m:.2g} mm, half a hole's "
                    "width outside",
                    jet_diameter_u_m=1e3 * plan.instruments.jet_diameter_u_m,
                ),
            )
        )
    return tuple(sorted(routes, key=lambda route: route.relative_u))


def _parabola(plan: Plan, sight: Sight, flight: float) -> float | None:
    """u(g)/g of y = y₁ + v t + g t²/2 through a mark in every frame of a fall; None for too few frames."""
    n = int(flight * plan.frame_rate_hz) + 1
    if n < 5:
        return None
    n = min(n, 2000)
    t = np.linspace(0.0, flight, n)
    design = np.stack([np.ones(n), t, t**2 / 2.0], axis=1)
    gain = float(np.linalg.inv(design.T @ design)[2, 2])
    mark = max(_DROP_U_M, plan.instruments.mark_u_px * sight.metres_per_px)
    at = plan.instruments
    scale = math.hypot(
        plan.scale_gain * math.hypot(at.mark_u_px * sight.metres_per_px, at.rule_u_m),
        at.rule_depth_u_m / plan.camera_distance_m,
    )
    return math.hypot(mark * math.sqrt(gain) / G, scale)
