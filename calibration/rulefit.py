"""What the fit says of each rule: its scale, the reader's scatter, the perspective it shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationRemark
from calibration.joint import P_LIMIT, JointFit, Scatter, perspective_seen
from calibration.pixels import FloatArray
from calibration.plane import Plane, Slot
from calibration.rule_names import rule_words
from calibration.rules import Marks
from calibration.setup import Measures
from calibration.words import said


@dataclass(frozen=True, slots=True, eq=False)
class RuleFit:
    """One rule as fitted."""

    name: str
    measures: Measures
    m_per_px: float
    """Metres for each px along the rule, at its middle and its own depth."""
    m_per_px_u: float
    """Standard uncertainty of that, all sources combined."""
    along: FloatArray
    """(2,) unit vector along the rule in the frame, towards growing values."""
    values_m: FloatArray
    """(n,) engraved values, m."""
    residuals_px: FloatArray
    """(n,) px along the rule by which each graduation was read too far towards growing values."""
    u_px: FloatArray
    """(n,) stated standard uncertainty of each graduation along the rule, px: reading and engraving
    combined."""
    chi_squared: float
    """Sum of squared residuals over stated uncertainties."""
    freedom: float
    """Expected value of `chi_squared`: graduations less the share of the fit that leans on them."""
    p_value: float | None
    """How often chance alone scatters as much; None where too few graduations tell."""
    facing_deg: float | None
    """Angle along the rule by which the camera fails to face it, by this rule alone; None with two
    graduations."""
    facing_u_deg: float | None
    perspective: str
    """What it shows of the perspective, in words."""


SEEN = 2.0
"""Standard uncertainties beyond which a rule is said not to face the camera."""
_VAGUE_DEG = 5.0
"""Standard uncertainty beyond which it says nothing of use that a rule faces the camera, degrees."""


def perspective_words(tangent: float, u: float) -> str:
    """Say what a rule shows of the perspective.

    Parameters
    ----------
    tangent, u : float
        From `calibration.rules.perspective_seen`.

    Returns
    -------
    str
    """
    if not math.isfinite(tangent):
        return said("two graduations show no perspective")
    angle, angle_u = math.degrees(math.atan(tangent)), math.degrees(u)
    digits = max(0, 1 - math.floor(math.log10(max(angle_u, 1e-6))))
    figure = said("{angle:.{digits}f}° ± {u:.{digits}f}°", angle=abs(angle), u=angle_u, digits=digits)
    if abs(tangent) <= SEEN * u:
        if angle_u > _VAGUE_DEG:
            return said(
                "its lines do not tell how it leans to the camera (only to ± {u:.{digits}f}°); lines farther "
                "apart would",
                u=angle_u,
                digits=digits,
            )
        return said("square to the camera along it, as far as its lines tell ({figure})", figure=figure)
    if angle < 0:
        return said(
            "the camera looks {figure} towards its higher values instead of squarely at it", figure=figure
        )
    return said("the camera looks {figure} towards its lower values instead of squarely at it", figure=figure)


def scatter_remarks(marks: Marks, fit: JointFit, rule: int, p_value: float | None) -> list[CalibrationRemark]:
    """Say where the graduations scatter more than stated, and where they do not lie on a line.

    Parameters
    ----------
    marks : Marks
    fit : JointFit
    rule : int
    p_value : float or None

    Returns
    -------
    list of CalibrationRemark
    """
    mine = marks.of(rule)
    name = marks.names[rule]
    remarks = []
    if p_value is not None and p_value < P_LIMIT:
        ratio = fit.residuals[mine] / (
            fit.stated[mine] * np.sqrt(np.clip(1.0 - fit.leverage[mine], 1e-3, None))
        )
        worst = int(np.argmax(np.abs(ratio)))
        rms = float(np.sqrt(np.mean((fit.residuals[mine] / fit.m_per_px[mine]) ** 2)))
        stated = float(np.sqrt(np.mean((fit.stated[mine] / fit.m_per_px[mine]) ** 2)))
        off = abs(fit.residuals[mine][worst] / fit.m_per_px[mine][worst])
        remarks.append(
            CalibrationRemark(
                name,
                said(
                    "the graduations of “{rule}” scatter by {rms:.2f} px, {stated:.2f} px were stated "
                    "(chance brings that in {chance:.1g} % of cases); most of all {worst:g} m, off by "
                    "{off:.1f} px: look at it again. The uncertainty of the scale was widened to match.",
                    rule=rule_words(name),
                    rms=rms,
                    stated=stated,
                    chance=100 * p_value,
                    worst=float(marks.values[mine][worst]),
                    off=float(off),
                ),
            )
        )
    pixels = marks.pixels[mine] - marks.pixels[mine].mean(axis=0)
    if len(pixels) > 2:
        spread = float(np.linalg.svd(pixels, compute_uv=False)[1] / np.sqrt(len(pixels) - 2))
        limit = max(5.0 * marks.rules[rule].px_u, 2.0)
        if spread > limit:
            remarks.append(
                CalibrationRemark(
                    name,
                    said(
                        "the graduations of “{rule}” stray {spread:.1f} px from a straight line; mark all of "
                        "them on the same edge of the rule",
                        rule=rule_words(name),
                        spread=spread,
                    ),
                )
            )
    return remarks


def rule_fits(
    plane: Plane, marks: Marks, fit: JointFit | None, scatter: tuple[Scatter, ...], table: FloatArray
) -> tuple[RuleFit, ...]:
    """Describe every rule as fitted.

    Parameters
    ----------
    plane : Plane
    marks : Marks
    fit : JointFit or None
    scatter : tuple of (float, float, float or None)
        From `calibration.joint.chi_squared`, for each rule.
    table : ndarray, shape (1 + 2 k, p)
        Parameters, and the parameters moved up and down by each source.

    Returns
    -------
    tuple of RuleFit
        Empty without a fit.
    """
    if fit is None:
        return ()
    tangents, tangent_u = perspective_seen(marks, fit, plane.centre, plane.focal_px)
    R, k = len(marks.rules), (len(table) - 1) // 2
    out = []
    for r, rule in enumerate(marks.rules):
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
                along=marks.along[r],
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
