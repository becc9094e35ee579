"""Findings that come from the joint fits: both coefficients, drain rate, time to empty, g by the clock."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from analysis.answer import Answer, Derived
from analysis.basis import Basis
from analysis.estimate import Estimate, in_mm, propagated
from analysis.from_lines import speed_coefficient_of_line
from analysis.models import GRAVITY
from analysis.notation import plain, with_uncertainty
from analysis.penalised import JointFit
from analysis.words import marked, said

WIDTH = marked("container's width along the run (not given)")
AREA, DIAMETER, JET, CONTRACTION = (
    marked("container area"),
    marked("orifice diameter"),
    marked("jet diameter"),
    marked("contraction coefficient (assumed)"),
)
ASSUMED_CONTRACTION, ASSUMED_CONTRACTION_U = 0.64, 0.03
"""Cc of a sharp edge in a thin plane wall: 0.64 (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 17);
worked examples in textbooks lie between 0.61 and 0.67."""
_FALLING = marked("a head that falls")


def speed_coefficient(basis: Basis) -> Answer:
    """Give Cv from all throws and heads, both zeros free within their uncertainties: lengths only."""
    if basis.throws is None:
        return basis.missing_pairs
    remarks = [basis.pairing_words]
    if not basis.throws.own_known:
        remarks.append(
            said("one reading without a stated error: u holds only what is shared, so it is too small")
        )
    if basis.throws.has("head_zero"):
        zero = basis.throws.estimate("head_zero", basis.n)
        remarks.append(
            said(
                "the head's zero was left free ({throws_zero_why}) and came out {mm} below the marked one",
                throws_zero_why=basis.throws_zero_why,
                mm=in_mm(zero),
            )
        )
    line = speed_coefficient_of_line(basis, free_intercept=True)
    if line is not None and line.u > 0.0:
        remarks.append(
            said(
                "from the line x² against h, free intercept: {value}",
                value=with_uncertainty(line.value, line.u),
            )
        )
    at_angle = basis.corrected.angle_rad
    law = (
        said("x = 2 Cv √(y₀ h)")
        if at_angle == 0.0
        else said("the whole parabola of a jet at the stated angle")
    )
    return Derived(
        basis.throws.estimate("cv", basis.n),
        "Cv",
        "1",
        said(
            "joint fit of {law} to all throws and heads with the shared sources, the zeros of "
            "head and throw free within their stated uncertainties; lengths only",
            law=law,
        ),
        depends_on_assumed_g=False,
        remarks=tuple(words for words in remarks if words),
    )


def speed_coefficient_zero_intercept(basis: Basis) -> Answer:
    """Give Cv from the straight line of x² against h that is held to the origin."""
    line = speed_coefficient_of_line(basis, free_intercept=False)
    if line is None:
        return basis.missing_pairs or said("throws that grow with the head")
    return Derived(
        line,
        "Cv₀",
        "1",
        said("slope of x² against h held to the origin, √(slope/4y₀); lengths only"),
        depends_on_assumed_g=False,
        remarks=_beside_joint(
            basis,
            line,
            said(
                "a line held to the origin takes both marked zeros for exact: a wrong zero, or head "
                "lost to surface tension, tilts it"
            ),
        ),
    )


def speed_coefficient_mean_of_ratios(basis: Basis) -> Answer:
    """Give Cv as the mean of x/(2√(y₀h)) of single readings."""
    if basis.mean_of_ratios is None:
        return basis.missing_pairs or said("a launch angle at which the throws are possible")
    return Derived(
        basis.mean_of_ratios,
        said("mean Cv"),
        "1",
        said("mean of the single ratios x/(2√(y₀ h)); lengths only"),
        depends_on_assumed_g=False,
        remarks=_beside_joint(
            basis,
            basis.mean_of_ratios,
            said(
                "a wrong zero of the head by δ changes a single ratio by δ/2h, most at low heads, "
                "where the mean takes it in whole"
            ),
        ),
    )


def _beside_joint(basis: Basis, other: Estimate, means: str) -> tuple[str, ...]:
    """Compare another way to Cv with the joint estimate, errors in common counted once."""
    if basis.throws is None:
        return (means,)
    joint = basis.throws.estimate("cv", basis.n)
    gap = propagated(other.value - joint.value, [(other, 1.0), (joint, -1.0)])
    if not (0.0 < gap.u < math.inf and math.isfinite(gap.value)):
        return (means,)
    by = abs(gap.value) / gap.u
    verdict = (
        said("more than chance allows") if by > gap.coverage_factor else said("no more than chance allows")
    )
    return (
        said(
            "differs from the joint estimate by {value}, {verdict}; {means}",
            value=with_uncertainty(gap.value, gap.u),
            verdict=verdict,
            means=means,
        ),
    )


def _rate(basis: Basis, drain: JointFit) -> Estimate:
    """
    Give k of the drain curve; where √head bends with the container's width, with what that leaves open.

    The bend q (t - t₀)(t - t₁) makes the rate run from k - q T to k + q T within the run of length T. A
    single area, the mean of who knows what, belongs to a rate somewhere between: a rectangular distribution
    of that half-width (JCGM 100, 4.3.7).
    """
    k = drain.estimate("k", basis.n)
    if not basis.uneven_why or basis.series.time_s is None:
        return k
    time = basis.series.time_s[drain.rows]
    half = abs(drain.value("bend")) * float(np.ptp(time))
    return replace(k, shared=MappingProxyType({**k.shared, WIDTH: half / math.sqrt(3.0)}))


def drain_rate(basis: Basis) -> Answer:
    """Give the k of √h = √h₀ − k t."""
    if basis.drain is None:
        return basis.no_drain
    remarks: tuple[str, ...] = ()
    law = "√h = √h₀ − k t"
    if basis.clock.profile is not None:
        law = said("∫A/(2√h) dh, which falls evenly in time in a container of any shape,")
        remarks = (
            (
                said(
                    "the container is not equally wide at all heights: k is the rate of √h where its "
                    "surface is {reference_m2} cm², at the middle of the heads",
                    reference_m2=plain(1e4 * basis.clock.reference_m2, 4),
                )
            ),
        )
    if basis.drain.has("head_zero"):
        zero = basis.drain.estimate("head_zero", basis.n)
        remarks = (
            *remarks,
            (
                said(
                    "the head's zero was left free ({drain_zero_why}) and came out {mm} below the marked one",
                    drain_zero_why=basis.drain_zero_why,
                    mm=in_mm(zero),
                )
            ),
        )
    if basis.uneven_why:
        remarks = (*remarks, said("√head does not fall evenly: k is that between the ends of the run"))
    return Derived(
        _rate(basis, basis.drain),
        "k",
        "m^0.5/s",
        said("joint fit of {law} to all heads with the shared sources", law=law),
        depends_on_assumed_g=False,
        remarks=remarks,
    )


def time_to_empty(basis: Basis) -> Answer:
    """Give √h₀/k, the time from the first reading used to a head of zero if the law held to the end."""
    if basis.drain is None or basis.series.time_s is None:
        return basis.no_drain
    k, root = _rate(basis, basis.drain), basis.drain.estimate("root_h0", basis.n)
    if k.value <= 0.0:
        return said(_FALLING)
    value = root.value / k.value
    start = float(basis.series.time_s[basis.drain.first_row])
    return Derived(
        propagated(value, [(root, 1.0 / k.value), (k, -value / k.value)]),
        "tₑ",
        "s",
        said("√h₀/k of the drain curve"),
        depends_on_assumed_g=False,
        remarks=(
            (
                said(
                    "counted from the first reading used, at {start:.3f} s; it is where √h would reach "
                    "zero if the law held to the end, which it does not at the lowest heads",
                    start=start,
                )
            ),
        ),
    )


def _known(value: float | None) -> bool:
    return value is not None and math.isfinite(value) and value > 0.0


def _taken_as_exact(*named: tuple[str, float | None]) -> tuple[str, ...]:
    silent = [name for name, u in named if not u]
    if not silent:
        return ()
    words = said(" and the ").join(silent)
    return (
        said("no uncertainty was stated for the {words}: taken as exact, so u is too small", words=words),
    )


@dataclass(frozen=True, slots=True)
class _Width:
    """The container's area where its drain rate holds."""

    area_m2: float
    relative_u: float
    words: str


def _width(basis: Basis) -> _Width | None:
    """Give the area that belongs to the drain rate; a profile goes before the one area."""
    at = basis.conditions
    if basis.clock.profile is not None:
        shape = said("the container's profile by the exact integral")
        return _Width(basis.clock.reference_m2, at.profile_relative_u or 0.0, shape)
    if at.container_area_m2 is None or not _known(at.container_area_m2):
        return None
    u = (at.container_area_u_m2 or 0.0) / at.container_area_m2
    return _Width(at.container_area_m2, u, said("container area, prismatic container"))


def discharge_coefficient(basis: Basis) -> Answer:
    """Give Cd from the drain rate, the container's area and the hole's."""
    at, g, width = basis.conditions, basis.gravity, _width(basis)
    lacking = [basis.no_drain] if basis.drain is None else []
    lacking += [AREA] if width is None else []
    lacking += [] if _known(at.orifice_diameter_m) else [DIAMETER]
    if lacking or basis.drain is None or width is None or at.orifice_diameter_m is None:
        return "; ".join(lacking)
    k = _rate(basis, basis.drain)
    # By its definition Cd is about the head alone: the surface's own speed is not taken out of it.
    hole = math.pi * at.orifice_diameter_m**2 / 4.0
    per_k = width.area_m2 / (hole * math.sqrt(g.value / 2.0))
    value = k.value * per_k
    extra = {
        AREA: value * width.relative_u,
        DIAMETER: -2.0 * value * (at.orifice_diameter_u_m or 0.0) / at.orifice_diameter_m,
        GRAVITY: -0.5 * value * g.u / g.value,
    }
    return Derived(
        propagated(value, [(k, per_k)], extra),
        "Cd",
        "1",
        said("k A / (a √(g/2)) from the drain curve, {words}, and orifice area", words=width.words),
        depends_on_assumed_g=True,
        remarks=(
            said("with g = {value} m/s² ({source})", value=plain(g.value, 6), source=g.source),
            *_taken_as_exact((AREA, width.relative_u), (DIAMETER, at.orifice_diameter_u_m)),
        ),
    )


def gravity_from_clock(basis: Basis) -> Answer:
    """Give g from the drain rate and the jet's speed, which the clock and lengths alone determine."""
    at, width = basis.conditions, _width(basis)
    lacking = [basis.missing_pairs] if basis.throws is None else []
    lacking += [basis.no_drain] if basis.drain is None else []
    lacking += [AREA] if width is None else []
    lacking += [] if _known(at.orifice_diameter_m) or _known(at.jet_diameter_m) else [f"{DIAMETER} or {JET}"]
    if lacking or basis.drain is None or basis.throws is None or width is None:
        return "; ".join(dict.fromkeys(lacking))
    k, cv = _rate(basis, basis.drain), basis.throws.estimate("cv", basis.n)
    if k.value <= 0.0:
        return said(_FALLING)
    relative = {AREA: 2.0 * width.relative_u}
    remarks: list[str] = []
    if at.jet_diameter_m is not None and _known(at.jet_diameter_m):
        jet_area = math.pi * at.jet_diameter_m**2 / 4.0
        relative[JET] = -4.0 * (at.jet_diameter_u_m or 0.0) / at.jet_diameter_m
        how = said("with the jet's measured diameter")
        named = (JET, at.jet_diameter_u_m)
    else:
        d = at.orifice_diameter_m or math.nan
        jet_area = ASSUMED_CONTRACTION * math.pi * d**2 / 4.0
        relative[DIAMETER] = -4.0 * (at.orifice_diameter_u_m or 0.0) / d
        relative[CONTRACTION] = -2.0 * ASSUMED_CONTRACTION_U / ASSUMED_CONTRACTION
        how = said(
            "with an assumed contraction of the jet, Cc = {assumed_contraction} ± {assumed_contraction_u}",
            assumed_contraction=ASSUMED_CONTRACTION,
            assumed_contraction_u=ASSUMED_CONTRACTION_U,
        )
        named = (DIAMETER, at.orifice_diameter_u_m)
        remarks.append(
            said(
                "rests on a handbook's contraction coefficient of a sharp edge, "
                "{assumed_contraction} ± {assumed_contraction_u}, not measured here; a drilled or "
                "thick-walled hole has another. Measure the jet's diameter half a hole's width "
                "outside to be rid of it",
                assumed_contraction=ASSUMED_CONTRACTION,
                assumed_contraction_u=ASSUMED_CONTRACTION_U,
            )
        )
    near = 1.0 - basis.approach**2
    value = 2.0 * near * (k.value * width.area_m2 / (jet_area * cv.value)) ** 2
    parts = [(k, 2.0 * value / k.value), (cv, -2.0 * value / cv.value)]
    return Derived(
        propagated(value, parts, {name: value * change for name, change in relative.items()}),
        "g",
        "m/s²",
        said("2 (k A / (a Cv))², a the area of the jet: clock and lengths, {how}", how=how),
        depends_on_assumed_g=False,
        remarks=(*remarks, *_taken_as_exact((AREA, width.relative_u), named)),
        in_logarithm=True,
    )
