"""One least-squares fit of all that the graduations say: the facing and the scale of every rule."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calibration.errors import CalibrationError
from calibration.facing import slopes
from calibration.pixels import FloatArray
from calibration.rules import Marks, table_of
from calibration.words import marked, said

P_LIMIT = 0.01
"""A scatter that chance brings less often than this is called larger than stated."""
_PX_FLOOR = 0.02  # nobody reads a frame better than this, whatever a run file says
_NEWTON = 12
SHARED = 4
"""Parameters that all rules share: two tangents, the inverse distance, the bend of the lens."""
_EQUAL_Z = 3.0
_DENIED, _TOLD, _FREED = 3.0, 0.95, 3
"""A stated facing is denied by rules that lie so many standard uncertainties off it, where they narrow it at
all; how often the statement is loosened at most."""


_IMPOSSIBLE = marked(
    "no camera can have seen the graduations where they are marked; check their places and values, how far "
    "behind the jet each rule lies, and the camera's distance and lens"
)


@dataclass(frozen=True, slots=True, eq=False)
class JointFit:
    """Facing, camera distance, depths and scales of the rules, from all graduations and all priors at once.

    The parameters are ordered ``[tangent x, tangent y, 1/distance, depth of each rule, scale of each rule,
    zero of each rule]``; a rule's scale is metres along it for each unit of slope, its zero the value at
    slope 0.
    """

    parameters: FloatArray
    """(SHARED + 3 R,)."""
    gain: FloatArray
    """(p, N + SHARED + R + E): change of the parameters for each unit-variance input: graduations, facing,
    inverse distance, depths, scale equalities."""
    equalities: tuple[tuple[int, int, float], ...]
    """Pairs of rules whose engraved scales were taken to agree, with the relative uncertainty of that."""
    residuals: FloatArray
    """(N,) engraved value less fitted value, m."""
    units: FloatArray
    """(N,) standard uncertainty of each graduation as used, m."""
    stated: FloatArray
    """(N,) the same as stated, before any widening for scatter, m."""
    m_per_px: FloatArray
    """(N,) m of rule for each px along it, at each graduation."""
    leverage: FloatArray
    """(N,) share of its own reading in each fitted value."""
    prior_pull: FloatArray
    """(2,) how far the facing lies from the stated one, in stated uncertainties."""


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """What is known of the camera before the graduations speak."""

    tangents: FloatArray
    """(2,) stated facing."""
    tangents_u: float
    inverse_distance: float
    """1/m; 0 when no distance is known, which leaves everything in one plane."""
    inverse_distance_u: float
    bend_u: float
    """How far a lens that was not given may bend; 0 when it was given."""


def fit_together(
    marks: Marks,
    centre: FloatArray,
    focal_px: float,
    priors: Priors,
    *,
    widen: FloatArray,
    equal_scales: tuple[tuple[int, int, float], ...],
) -> JointFit:
    """Weighted Gauss–Newton over every graduation and prior.

    Parameters
    ----------
    marks : Marks
    centre : ndarray, shape (2,)
        Principal point, px.
    focal_px : float
    priors : Priors
    widen : ndarray, shape (R,)
        Factor on the stated reading errors of each rule.
    equal_scales : tuple of (int, int, float)
        Pairs of rules whose scales, carried to the jet's plane, agree to the given relative uncertainty.

    Returns
    -------
    JointFit

    Notes
    -----
    A graduation seen at slope t along its rule has the value zero + scale * t, once the view is parallel to
    the jet's plane; that line is the cross-ratio (projective) map of pixels to values with its projective
    term shared by all rules through the two angles of the facing. At the solution the estimate is linear in
    its inputs, so the columns of ``gain`` are the sensitivity to each (JCGM 100, 5.1.3).
    """
    R, N = len(marks.rules), len(marks.values)
    # The stated u_px of a point along the rule, from half a pixel either side of it.
    half = 0.5 * marks.along[marks.rule_of]
    u_engraved = np.array([r.graduation_u_m for r in marks.rules])[marks.rule_of]
    u_px = np.maximum([r.px_u for r in marks.rules], _PX_FLOOR)[marks.rule_of]
    points = np.concatenate([marks.pixels, marks.pixels + half, marks.pixels - half])
    tiny = 1e-4
    nudges = tiny * np.concatenate([np.zeros((1, 3)), np.kron(np.eye(3), [[1.0], [-1.0]])])
    depth = np.array([r.behind_m for r in marks.rules], dtype=np.float64)
    depth_u = np.array([r.behind_u_m for r in marks.rules], dtype=np.float64)
    theta = np.concatenate([priors.tangents, [priors.inverse_distance, 0.0], depth, np.zeros(2 * R)])
    D, S, Z = SHARED, SHARED + R, SHARED + 2 * R  # where depths, scales and zeros begin
    member = marks.rule_of[:, None] == np.arange(R)
    prior_u = np.concatenate(
        [
            [max(priors.tangents_u, 1e-6)] * 2,
            [max(priors.inverse_distance_u, 1e-9), max(priors.bend_u, 1e-9)],
            np.maximum(depth_u, 1e-9),
        ]
    )
    prior = np.concatenate([priors.tangents, [priors.inverse_distance, 0.0], depth])
    for turn in range(_NEWTON):
        rho = slopes(points, centre, focal_px, theta[:2] + nudges[:, :2], theta[3] + nudges[:, 2])
        lines = _directions(rho[0, :N], marks)
        t = np.sum(rho * np.tile(lines[marks.rule_of], (3, 1)), axis=-1)
        t0 = t[0, :N]
        dt = (t[1::2, :N] - t[2::2, :N]).T / (2.0 * tiny)
        if turn == 0:
            for r in range(R):
                theta[S + r], theta[Z + r] = np.polyfit(t0[marks.of(r)], marks.values[marks.of(r)], 1)
        scale = theta[S:Z][marks.rule_of]
        m_per_px = np.abs(scale * (t[0, N : 2 * N] - t[0, 2 * N :]))
        stated = np.hypot(u_engraved, u_px * m_per_px)
        units = stated * widen[marks.rule_of]
        resid = marks.values - theta[Z:][marks.rule_of] - scale * t0
        J = np.zeros((N + D + R + len(equal_scales), len(theta)))
        J[:N, [0, 1, 3]] = scale[:, None] * dt / units[:, None]
        J[:N, S:Z] = member * (t0 / units)[:, None]
        J[:N, Z:] = member / units[:, None]
        J[N : N + D + R, :S] = np.diag(1.0 / prior_u)
        carry = 1.0 + theta[2] * theta[D:S]
        logs = np.log(np.abs(theta[S:Z]) / carry)
        errors = np.concatenate([resid / units, (prior - theta[:S]) / prior_u, np.zeros(len(equal_scales))])
        for row, (a, b, u) in enumerate(equal_scales, start=N + D + R):
            for which, sign in ((a, 1.0), (b, -1.0)):
                J[row, S + which] = sign / theta[S + which] / u
                J[row, D + which] = -sign * theta[2] / carry[which] / u
                J[row, 2] -= sign * theta[D + which] / carry[which] / u
            errors[row] = -(logs[a] - logs[b]) / u
        column = np.sqrt(np.sum(J * J, axis=0))
        gain = np.linalg.pinv(J / column, rcond=1e-13) / column[:, None]
        move = gain @ errors
        theta = theta + move
        if not np.all(np.isfinite(theta)) or np.any(theta[S:Z] * (1.0 + theta[2] * theta[D:S]) <= 0.0):
            raise CalibrationError("rules", said(_IMPOSSIBLE))
        if np.max(np.abs(move * column)) < 1e-6:
            break
    return JointFit(
        parameters=theta,
        gain=gain,
        equalities=equal_scales,
        residuals=resid,
        units=units,
        stated=stated,
        m_per_px=m_per_px,
        leverage=np.sum(J[:N] * gain.T[:N], axis=1),
        prior_pull=(theta[:2] - priors.tangents) / max(priors.tangents_u, 1e-6),
    )


def _directions(rho: FloatArray, marks: Marks) -> FloatArray:
    """(R, 2) unit vector of each rule in the view parallel to the plane, by total least squares."""
    lines = np.empty((len(marks.rules), 2))
    for r in range(len(marks.rules)):
        mine = rho[marks.of(r)] - np.mean(rho[marks.of(r)], axis=0)
        if not np.all(np.isfinite(mine)):
            raise CalibrationError("rules", said(_IMPOSSIBLE))
        lines[r] = np.linalg.svd(mine, full_matrices=False)[2][0]
        values = marks.values[marks.of(r)]
        if (mine @ lines[r]) @ (values - values.mean()) < 0:
            lines[r] = -lines[r]
    return lines


def perspective_seen(
    marks: Marks, fit: JointFit, centre: FloatArray, focal_px: float
) -> tuple[FloatArray, FloatArray]:
    """Give what each rule by itself says of the facing along itself.

    Parameters
    ----------
    marks : Marks
    fit : JointFit
    centre : ndarray, shape (2,)
    focal_px : float

    Returns
    -------
    tangent : ndarray, shape (R,)
        Tangent of the angle along the rule by which the camera fails to face it; NaN with two graduations.
    u : ndarray, shape (R,)
    """
    tiny = 1e-4
    R = len(marks.rules)
    found, u = np.full(R, np.nan), np.full(R, np.nan)
    tangents = fit.parameters[:2]
    for r in range(R):
        mine = marks.of(r)
        if np.sum(mine) < 3:
            continue
        nudge = np.array([0.0, tiny, -tiny])[:, None] * marks.along[r]
        rho = slopes(marks.pixels[mine], centre, focal_px, tangents + nudge, np.full(3, fit.parameters[3]))
        line = _directions(rho[0], table_of((marks.rules[r],), ("",), marks.pixels[mine]))[0]
        t = rho @ line
        scale = fit.parameters[SHARED + R + r]
        basis = np.stack([np.ones(t.shape[1]), t[0], scale * (t[1] - t[2]) / (2 * tiny)], axis=1)
        weighted = basis / fit.units[mine][:, None]
        covariance = np.linalg.pinv(weighted.T @ weighted)
        step = covariance @ weighted.T @ (fit.residuals[mine] / fit.units[mine])
        found[r] = tangents @ marks.along[r] + step[2]
        u[r] = np.sqrt(covariance[2, 2])
    return found, u


def chi_squared(marks: Marks, fit: JointFit, rule: int) -> tuple[float, float, float | None]:
    """Scatter of one rule's graduations against the stated reading errors.

    Parameters
    ----------
    marks : Marks
    fit : JointFit
        A fit that used the stated errors.
    rule : int

    Returns
    -------
    chi2, freedom : float
    p_value : float or None
        None with less than half a degree of freedom.
    """
    mine = marks.of(rule)
    chi2 = float(np.sum((fit.residuals[mine] / fit.stated[mine]) ** 2))
    freedom = float(np.sum(mine) - np.sum(fit.leverage[mine]))
    if freedom < 0.5:
        return chi2, max(freedom, 0.0), None
    from scipy.special import gammaincc

    return chi2, freedom, float(gammaincc(freedom / 2.0, chi2 / 2.0))


Scatter = tuple[float, float, float | None]


def fit_all(
    marks: Marks, centre: FloatArray, focal: float, priors: Priors, distance_known: bool
) -> tuple[JointFit, tuple[Scatter, ...]]:
    """Fit, free a facing that is denied, widen what scatters, let rules of one scale steady each other."""
    R = len(marks.rules)
    given, stated = priors, priors.tangents_u
    widen = np.ones(R)
    fit, priors = _freed(marks, centre, focal, given, widen=widen, equal_scales=())
    scatter = [chi_squared(marks, fit, r) for r in range(R)]
    # One at a time, the worst first: a graduation at a wrong place bends the camera, and with it all rules.
    while (worst := _worst(scatter, widen)) is not None:
        chi2, freedom, _ = scatter[worst]
        widen[worst] = math.sqrt(chi2 / freedom)  # the Birge ratio: R. T. Birge, Phys. Rev. 40 (1932) 207
        # What scatters more than it should denied nothing: begin from what was stated.
        fit, priors = _freed(marks, centre, focal, given, widen=widen, equal_scales=())
        scatter = [one if widen[r] > 1.0 else chi_squared(marks, fit, r) for r, one in enumerate(scatter)]
    if not distance_known or R < 2:
        return _against(fit, priors, stated), tuple(scatter)
    # Scales of two rules, carried to one plane, differ only by their engraving: a difference that is seen
    # tells how the camera stood and how deep the rules lie, and the better read scale steadies the other.
    # A rule that disagrees by more than all that can explain is left to itself and remarked on.
    equal = []
    for r in range(1, R):
        u = max(math.hypot(marks.rules[0].scale_u, marks.rules[r].scale_u), 1e-5)
        if abs(scale_difference(fit, 0, r)[0]) <= _EQUAL_Z * math.hypot(scale_difference(fit, 0, r)[1], u):
            equal.append((0, r, u))
    if equal:
        fit, priors = _freed(marks, centre, focal, priors, widen=widen, equal_scales=tuple(equal))
    return _against(fit, priors, stated), tuple(scatter)


def _worst(scatter: list[Scatter], widen: FloatArray) -> int | None:
    """Rule, not widened yet, that scatters most of those that scatter more than was stated."""
    ratios = [
        chi2 / freedom if p is not None and p < P_LIMIT and done == 1.0 else 0.0
        for (chi2, freedom, p), done in zip(scatter, widen, strict=True)
    ]
    return int(np.argmax(ratios)) if max(ratios) > 1.0 else None


def _freed(
    marks: Marks,
    centre: FloatArray,
    focal: float,
    priors: Priors,
    *,
    widen: FloatArray,
    equal_scales: tuple[tuple[int, int, float], ...],
) -> tuple[JointFit, Priors]:
    """Fit; where the rules deny the stated facing, believe it only to within what it is off.

    A statement that is off by many of its uncertainties would else draw the facing half-way to itself and
    leave it called sure. Of statement s ± a and what the rules say by themselves, r ± b, the fit gives the
    weighted mean with 1/c² = 1/a² + 1/b²; from it r - s = (mean - s) a²/(a² - c²), with the standard
    uncertainty a²/√(a² - c²).
    """
    fit = fit_together(marks, centre, focal, priors, widen=widen, equal_scales=equal_scales)
    for _ in range(_FREED):
        a = max(priors.tangents_u, 1e-6)
        c2, directions = np.linalg.eigh(fit.gain[:2] @ fit.gain[:2].T)  # however the camera is rolled
        off = directions.T @ (fit.parameters[:2] - priors.tangents)
        told = c2 < (_TOLD * a) ** 2
        off, left = off[told], a**2 - c2[told]
        if np.sum(off**2 / left) <= _DENIED**2:
            break
        freed = replace(priors, tangents_u=float(np.linalg.norm(off * a**2 / left)))
        try:
            fit = fit_together(marks, centre, focal, freed, widen=widen, equal_scales=equal_scales)
        except CalibrationError:
            break  # one graduation at a wrong place denies any facing, and leads to none
        priors = freed
    return fit, priors


def _against(fit: JointFit, priors: Priors, stated: float) -> JointFit:
    """Tell how far the facing lies from the stated one in the uncertainties that were stated."""
    return replace(fit, prior_pull=fit.prior_pull * max(priors.tangents_u, 1e-6) / max(stated, 1e-6))


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
    R = (len(theta) - SHARED) // 3
    row = np.zeros(len(theta))
    logs = []
    for which, sign in ((a, 1.0), (b, -1.0)):
        carry = 1.0 + theta[2] * theta[SHARED + which]
        logs.append(math.log(theta[SHARED + R + which] / carry))
        row[SHARED + R + which] += sign / theta[SHARED + R + which]
        row[SHARED + which] -= sign * theta[2] / carry
        row[2] -= sign * theta[SHARED + which] / carry
    return logs[0] - logs[1], float(np.linalg.norm(row @ fit.gain))
