"""What makes a run look off, each as a test that a sound run seldom fails."""

from __future__ import annotations

import math
from collections.abc import Mapping

from analysis.basis import Basis
from analysis.estimate import NORMAL_95, Estimate, in_mm, propagated
from analysis.expected import expected_of
from analysis.notation import plain, with_uncertainty
from analysis.penalised import JointFit
from analysis.words import said

RARE = 3.6
"""Standard uncertainties beyond which something is off: one test in 3,000 by chance. With about eight tests
and uncertainties that are themselves estimated, about one sound run in a hundred fails any."""
_ONE_SIDED = 2.9
"""The same for a coefficient beyond the nearer end of its band, which a sound one hardly reaches."""


def triggers_of(basis: Basis, estimates: Mapping[str, Estimate]) -> tuple[str, ...]:
    """
    List what is off in a run, in words with figures.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.
    estimates : mapping
        The findings' estimates by name.

    Returns
    -------
    tuple of str
        Empty for a run with which nothing is wrong.
    """
    found = [
        *_bands(basis, estimates),
        *_lines(estimates),
        *_zeros(basis),
        *_angle(basis),
        *_bend(basis),
        *_jet(basis, estimates),
        *_pulls(basis),
    ]
    return tuple(found)


def _bands(basis: Basis, estimates: Mapping[str, Estimate]) -> list[str]:
    bands = expected_of(basis)
    found = []
    for name, symbol in (("speed_coefficient", "Cv"), ("discharge_coefficient", "Cd")):
        estimate, band = estimates.get(name), bands[name]
        if estimate is None or band.holds(estimate.value):
            continue
        end = band.low if estimate.value < band.low else band.high
        if standard_by(estimate.value - end, estimate) > _ONE_SIDED:
            words = (
                said("above 1, which is impossible")
                if estimate.value > 1.0
                else (
                    said("outside the published band {low:.2f} to {high:.2f}", low=band.low, high=band.high)
                )
            )
            found.append(f"{symbol} = {with_uncertainty(estimate.value, estimate.u)} is {words}")
    return found


def linearisations(estimates: Mapping[str, Estimate]) -> Estimate | None:
    """Give the relative difference of Cv from v on √h and from v² on h, as an estimate; None without both."""
    root, squared = estimates.get("gravity_from_slope_root"), estimates.get("gravity_from_slope_squared")
    if root is None or squared is None or root.value <= 0.0 or squared.value <= 0.0:
        return None
    ratio = math.sqrt(root.value / squared.value)
    parts = [(root, ratio / (2.0 * root.value)), (squared, -ratio / (2.0 * squared.value))]
    return propagated(ratio - 1.0, parts)


def _lines(estimates: Mapping[str, Estimate]) -> list[str]:
    found = []
    difference = linearisations(estimates)
    if difference is not None and (by := standard_by(difference.value, difference)) > RARE:
        found.append(
            said(
                "Cv from v against √h and from v² against h differ by {value} %, {by:.1f} standard "
                "uncertainties of that difference",
                value=plain(100.0 * difference.value, 2),
                by=by,
            )
        )
    offset = estimates.get("head_zero_offset_m")
    if offset is not None and (by := standard_by(offset.value, offset)) > RARE:
        found.append(
            said(
                "the line x² against h misses the origin by {mm} of head, {by:.1f} standard "
                "uncertainties with all sources counted",
                mm=in_mm(offset),
                by=by,
            )
        )
    return found


def intercept_of(estimates: Mapping[str, Estimate]) -> tuple[float, str] | None:
    """
    Ask whether the line x² against h misses the origin, its whole uncertainty counted.

    Parameters
    ----------
    estimates : mapping
        The findings' estimates by name.

    Returns
    -------
    tuple of float and str, or None
        Standard uncertainties, own and shared sources combined, and the answer in words; None without that
        line.
    """
    offset = estimates.get("head_zero_offset_m")
    if offset is None or not offset.u > 0.0:
        return None
    by = standard_by(offset.value, offset)
    verdict = said("it goes through the origin as well as the zeros are known")
    if by > offset.coverage_factor:
        verdict = said("chance seldom does that") if by <= RARE else said("it misses the origin")
    return by, (
        said(
            "x² against h meets zero throw at {mm} of head from the marked zero, {by:.1f} "
            "standard uncertainties with all sources counted: {verdict}",
            mm=in_mm(offset),
            by=by,
            verdict=verdict,
        )
    )


def _zeros(basis: Basis) -> list[str]:
    found = []
    free = basis.both_zeros.free
    in_throws = _own_zero(free, basis.n)
    if in_throws is not None and (by := standard_by(in_throws.value, in_throws)) > RARE:
        found.append(
            said(
                "the throws want the head's zero {mm} lower, {by:.1f} standard uncertainties",
                mm=in_mm(in_throws),
                by=by,
            )
        )
    in_drain = _own_zero(basis.drain, basis.n)
    if in_drain is None:
        return found
    if (by := standard_by(in_drain.value, in_drain)) > RARE:
        found.append(
            said(
                "the drain curve wants the head's zero {mm} lower, {by:.1f} standard uncertainties",
                mm=in_mm(in_drain),
                by=by,
            )
        )
    if in_throws is not None:
        difference = propagated(in_throws.value - in_drain.value, [(in_throws, 1.0), (in_drain, -1.0)])
        if (by := standard_by(difference.value, difference)) > RARE:
            found.append(
                said(
                    "the zero of the head that the throws want and that of the drain curve differ by "
                    "{mm}, {by:.1f} standard uncertainties",
                    mm=in_mm(difference),
                    by=by,
                )
            )
    return found


def _own_zero(fit: JointFit | None, n: int) -> Estimate | None:
    return None if fit is None or not fit.has("head_zero") else fit.estimate("head_zero", n)


def _angle(basis: Basis) -> list[str]:
    if basis.angled is None:
        return []
    angle = basis.angled.estimate("launch_angle", basis.n)
    off = angle.value - basis.corrected.angle_rad
    if (by := standard_by(off, angle)) <= RARE:
        return []
    size = with_uncertainty(math.degrees(off), math.degrees(angle.u), "°")
    return [
        said(
            "x² bends against h as if the jet left {size} off, {by:.1f} standard uncertainties",
            size=size,
            by=by,
        )
    ]


def bend_by(basis: Basis) -> float:
    """Give by how many standard uncertainties √head bends in time; 0 where that cannot be asked."""
    if basis.bend is None or basis.drain is None:
        return 0.0
    bend = basis.bend.estimate("bend", basis.n)
    return standard_by(bend.value, bend) if 0.0 < bend.u < math.inf else 0.0


def _bend(basis: Basis) -> list[str]:
    by = bend_by(basis)
    return [said("√head bends in time, {by:.1f} standard uncertainties", by=by)] if by > RARE else []


def _jet(basis: Basis, estimates: Mapping[str, Estimate]) -> list[str]:
    """Whether the clock agrees with the throws, where the jet's own diameter makes that sharp."""
    g = estimates.get("gravity_from_clock")
    if g is None or basis.conditions.jet_diameter_m is None or not g.value > 0.0:
        return []
    off = math.log(g.value / basis.gravity.value)
    u = math.hypot(g.u / g.value, basis.gravity.u / basis.gravity.value)
    if not u > 0.0 or abs(off) / u <= RARE:
        return []
    size = plain(100.0 * math.expm1(off), 2)
    by = said("{u:.1f} standard uncertainties", u=abs(off) / u)
    return [said("g from the drain's clock is {size} % off the accepted one, {by}", size=size, by=by)]


def _pulls(basis: Basis) -> list[str]:
    if basis.throws is None:
        return []
    pulls = [(basis.throws.pull(source), source) for source in basis.throws.sources]
    return [
        said(
            "the throws pull “{source}” by {pull:.1f} of its stated standard uncertainties",
            source=source,
            pull=abs(pull),
        )
        for pull, source in pulls
        if abs(pull) > RARE
    ]


def standard_by(off: float, estimate: Estimate) -> float:
    """
    Give standard uncertainties, brought to those of a normal distribution where few readings set them.

    Parameters
    ----------
    off : float
        What should be nought.
    estimate : Estimate
        Whose uncertainty counts.
    """
    if not estimate.u > 0.0:
        return math.inf if off else 0.0
    return abs(off) / estimate.u * (NORMAL_95 / estimate.coverage_factor)
