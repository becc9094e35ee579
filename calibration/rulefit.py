"""What the fit says of each rule: its scale, the reader's scatter, the perspective it shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationRemark
from calibration.pixels import FloatArray
from calibration.rules import JointFit, Marks
from calibration.setup import Measures

P_LIMIT = 0.01
"""A scatter that chance brings less often than this is called larger than stated."""


@dataclass(frozen=True, slots=True, eq=False)
class RuleFit:
    """One rule as fitted."""

    name: str
    measures: Measures
    m_per_px: float
    """Metres for each px along the rule, at its middle and its own depth."""
    m_per_px_u: float
    """Standard uncertainty of that, all sources combined."""
    values_m: FloatArray
    """(n,) engraved values, m."""
    residuals_px: FloatArray
    """(n,) px along the rule by which each graduation was read too far towards growing values."""
    u_px: FloatArray
    """(n,) stated standard uncertainty of each graduation along the rule, px: reading and engraving combined."""
    chi_squared: float
    """Sum of squared residuals over stated uncertainties."""
    freedom: float
    """Expected value of `chi_squared`: graduations less the share of the fit that leans on them."""
    p_value: float | None
    """How often chance alone scatters as much; None where too few graduations tell."""
    facing_deg: float | None
    """Angle along the rule by which the camera fails to face it, by this rule alone; None with two graduations."""
    facing_u_deg: float | None
    perspective: str
    """What it shows of the perspective, in words."""


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
        return "two graduations show no perspective"
    angle, angle_u = math.degrees(math.atan(tangent)), math.degrees(u)
    digits = max(0, 1 - math.floor(math.log10(max(angle_u, 1e-6))))
    figure = f"{abs(angle):.{digits}f}° ± {angle_u:.{digits}f}°"
    if abs(tangent) > 3.0 * u:
        end = "higher" if angle < 0 else "lower"
        return f"the camera looks {figure} towards its {end} values instead of squarely at it"
    return f"square to the camera along it within its reading error ({figure})"


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
        ratio = fit.residuals[mine] / (fit.stated[mine] * np.sqrt(np.clip(1.0 - fit.leverage[mine], 1e-3, None)))
        worst = int(np.argmax(np.abs(ratio)))
        rms = float(np.sqrt(np.mean((fit.residuals[mine] / fit.m_per_px[mine]) ** 2)))
        stated = float(np.sqrt(np.mean((fit.stated[mine] / fit.m_per_px[mine]) ** 2)))
        off = abs(fit.residuals[mine][worst] / fit.m_per_px[mine][worst])
        remarks.append(
            CalibrationRemark(
                name,
                f"the graduations of “{name}” scatter by {rms:.2f} px, {stated:.2f} px were stated (chance brings that "
                f"in {100 * p_value:.1g} % of cases); most of all {marks.values[mine][worst]:g} m, off by {off:.1f} px: "
                "look at it again. The uncertainty of the scale was widened to match.",
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
                    f"the graduations of “{name}” stray {spread:.1f} px from a straight line; mark all of them on the "
                    "same edge of the rule",
                )
            )
    return remarks
