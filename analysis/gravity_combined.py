"""Independent values of g brought together, if they agree."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from analysis.answer import Answer, Derived
from analysis.estimate import OWN, Estimate, covariance
from analysis.gravity import AcceptedGravity
from analysis.notation import plain, with_uncertainty
from analysis.series import FloatArray
from analysis.words import marked, said

_RARE = 0.05
"""Chance below which routes count as not agreeing: sound ones are refused once in twenty."""
_ROUTES = {
    "gravity_from_clock": marked("the drain's clock"),
    "gravity_from_fall_time": marked("the time of a fall"),
    "gravity_from_parabola": marked("the parabola of a fall"),
    "gravity_from_track": marked("the speed and shape of a path"),
}


def gravity_combined(routes: Mapping[str, Estimate], gravity: AcceptedGravity) -> Answer:
    """
    Combine all independent values of g, with their covariances.

    Parameters
    ----------
    routes : mapping
        Estimates by name of finding; none rests on an assumed g.
    gravity : AcceptedGravity
        For comparison in words.

    Returns
    -------
    Derived or str
        The best linear unbiased mean of ln g (Aitken 1935): relative errors are what the routes have, and a
        mean of logarithms is not drawn to the smaller value. Undetermined with fewer than two routes, or
        where χ² about the mean says that they do not agree.
    """
    sound = {
        name: each
        for name, each in routes.items()
        if each.value > 0.0 and math.isfinite(each.value) and 0.0 < each.u < math.inf
    }
    if len(sound) < 2:
        have = "".join(
            said("; there is one, from {get}", get=said(_ROUTES.get(name, name))) for name in sound
        )
        return said("two independent values of g{have}", have=have)
    names, estimates = list(sound), list(sound.values())
    logs = np.log([each.value for each in estimates])
    matrix = np.array([[covariance(a, b) / (a.value * b.value) for b in estimates] for a in estimates])
    weights = _weights(matrix)
    if weights is None:
        return said("values of g that do not stand on the very same errors")
    mean = float(weights @ logs)
    off = logs - mean
    dof = len(sound) - 1
    best = _best(matrix)
    chi_squared = math.nan if best is None else float(off @ np.linalg.solve(matrix, off))
    if best is not None:
        # The test asks about the mean of least χ²; the weights differ from it where one would be negative.
        least = logs - float(best @ logs)
        chi_squared = float(least @ np.linalg.solve(matrix, least))
    chance = _chance(chi_squared, dof)
    figures = said(
        "χ² = {chi_squared} for {dof} degree{words} of freedom",
        chi_squared=plain(chi_squared, 2),
        dof=dof,
        words="s" if dof > 1 else "",
    )
    if not chance >= _RARE:
        return said(
            "values of g that agree: {listed} differ by more than their uncertainties "
            "({figures}, which sound values exceed in {chance} % of runs). The frame rate tilts "
            "those of a fall together; a hole's contraction or a jet's diameter tilts the "
            "drain's clock",
            listed=_listed(names, estimates),
            figures=figures,
            chance=plain(100.0 * chance, 2),
        )
    value = math.exp(mean)
    slopes = [float(w) * value / each.value for w, each in zip(weights, estimates, strict=True)]
    combined = _joined(value, estimates, slopes)
    shares = ", ".join(
        f"{said(_ROUTES.get(name, name))} {100.0 * float(w):.0f} %"
        for name, w in zip(names, weights, strict=True)
    )
    return Derived(
        combined,
        "g",
        "m/s²",
        said(
            "mean of ln g over {count} routes, weighted with their covariances: {shares}",
            count=len(sound),
            shares=shares,
        ),
        depends_on_assumed_g=False,
        remarks=(
            against_accepted(combined, gravity),
            said("the routes agree: {figures}", figures=figures),
        ),
    )


def against_accepted(estimate: Estimate, gravity: AcceptedGravity) -> str:
    """Compare a measured g with the accepted one in words."""
    off = estimate.value - gravity.value
    u = math.hypot(estimate.u, gravity.u)
    # A g that was given says of itself that it is taken as exact.
    bare = f"{plain(gravity.value)} m/s²"
    shown = with_uncertainty(gravity.value, gravity.u, "m/s²") if gravity.u else bare
    accepted = said("the accepted g, {shown} ({source})", shown=shown, source=gravity.source)
    if not u > 0.0:
        return said("differs by {off} m/s² from {accepted}", off=plain(off, 2), accepted=accepted)
    by = abs(off) / u
    size = f"{plain(abs(off), 2)} m/s² ({plain(100.0 * abs(off) / gravity.value, 2)} %)"
    way = "above" if off > 0.0 else "below"
    if by <= 1.0:
        verdict = said("they agree")
    elif by <= 2.0:
        verdict = said("they agree within what chance does")
    elif by <= 3.0:
        verdict = said("chance seldom does that: look at the frame rate, the rule and the marks")
    else:
        verdict = said("they do not agree: the frame rate, the rule's plane or the marks are likely wrong")
    return said(
        "lies {size} {way} {accepted}; that is {by:.1f} standard uncertainties, {verdict}",
        size=size,
        way=way,
        accepted=accepted,
        by=by,
        verdict=verdict,
    )


def _weights(matrix: FloatArray) -> FloatArray | None:
    """
    Weights, adding to 1 and none below nought, of the best mean.

    A route that is strongly correlated with a better one would get a negative weight, which throws the mean
    out of the range of the values as soon as a covariance is a little off; such a route is left out.
    """
    inside = list(range(len(matrix)))
    while inside:
        best = _best(matrix[np.ix_(inside, inside)])
        if best is None:
            return None
        if np.all(best >= 0.0):
            weights = np.zeros(len(matrix))
            weights[inside] = best
            return weights
        inside.pop(int(np.argmin(best)))
    return None


def _best(matrix: FloatArray) -> FloatArray | None:
    """Weights of least variance; None where the covariance matrix is singular."""
    size = np.sqrt(np.diag(matrix))
    if np.linalg.cond(matrix / np.outer(size, size)) > 1e10:
        return None
    solved = np.linalg.solve(matrix, np.ones(len(matrix)))
    return np.asarray(solved / solved.sum(), dtype=np.float64)


def _chance(chi_squared: float, dof: int) -> float:
    if not math.isfinite(chi_squared):
        return math.nan
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi_squared))


def _listed(names: Sequence[str], estimates: Sequence[Estimate]) -> str:
    return said(" and ").join(
        said(
            "{value} from {get}",
            value=with_uncertainty(each.value, each.u, "m/s²"),
            get=said(_ROUTES.get(name, name)),
        )
        for name, each in zip(names, estimates, strict=True)
    )


def _joined(value: float, estimates: Sequence[Estimate], slopes: Sequence[float]) -> Estimate:
    """Add up what moves the parts: sources by name, own errors of the same readings with their signs."""
    shared: dict[str, float] = {}
    blocks: dict[tuple[tuple[int, ...], tuple[str, ...]], FloatArray] = {}
    dof = math.inf
    for each, slope in zip(estimates, slopes, strict=True):
        for name, change in each.shared.items():
            shared[name] = shared.get(name, 0.0) + slope * change
        key = (each.own.shape, each.own_names)
        blocks[key] = blocks.get(key, np.zeros(each.own.shape)) + slope * each.own
        if slope:
            dof = min(dof, each.own_dof)
    width = sum(shape[1] for shape, _ in blocks)
    rows: list[FloatArray] = []
    names: list[str] = []
    start = 0
    for (shape, own_names), block in blocks.items():
        wide = np.zeros((shape[0], width))
        wide[:, start : start + shape[1]] = block
        start += shape[1]
        rows.append(wide)
        names += own_names or (OWN,) * shape[0]
    return Estimate(value, np.concatenate(rows), MappingProxyType(shared), dof, tuple(names))
