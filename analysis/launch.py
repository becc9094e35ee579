"""The jet's angle where it leaves: as the readings pull the stated one, or from how x² bends against h."""

from __future__ import annotations

import math
from enum import Enum
from types import MappingProxyType

import numpy as np

from analysis.answer import Answer, Derived
from analysis.basis import Basis
from analysis.estimate import Estimate, covariance, propagated
from analysis.notation import plain, with_uncertainty
from analysis.series import Conditions
from analysis.shifts import LAUNCH_ANGLE
from analysis.words import marked, said

MOST_U_DEG = 1.5
"""Standard uncertainty beyond which the readings are said not to tell the angle: a hole drilled with care is
within that anyway (common practice, no source)."""


def launch_angle(basis: Basis) -> Answer:
    """Give the jet's angle above the horizontal where it leaves."""
    if basis.throws is None:
        return basis.missing_pairs
    if LAUNCH_ANGLE in basis.throws.sources:
        return _as_pulled(basis)
    if basis.angled is None:
        return said(
            "8 readings or more, the highest head 1.5 times the lowest, or an angle measured at the hole"
        )
    free = basis.angled.estimate("launch_angle", basis.n)
    angle = propagated(math.degrees(free.value), [(free, math.degrees(1.0))])
    if not angle.u <= MOST_U_DEG:
        return said(
            "throws over a wider range of heads, or surer zeros: how x² bends against h tells "
            "the jet's angle only to ± {u}°; or measure it at the hole",
            u=plain(angle.u, 2),
        )
    cv = basis.angled.estimate("cv", basis.n)
    both = free.u * cv.u
    if not 0.0 < both < math.inf:
        return said("throws whose errors are stated, or that scatter")
    correlation = covariance(free, cv) / both
    return Derived(
        angle,
        "θ",
        "°",
        said(
            "joint fit of the whole parabola to all throws and heads with the angle free: how x² "
            "bends against h"
        ),
        depends_on_assumed_g=False,
        remarks=(
            (
                said(
                    "with the angle free Cv would be {value} (correlation of the two {correlation:.2f}); "
                    "the speed coefficient above takes the jet ",
                    value=with_uncertainty(cv.value, cv.u),
                    correlation=correlation,
                )
                + (said("at its stated angle") if basis.corrected.angle_rad else said("as level"))
            ),
            said(
                "whatever else bends x² against h, such as lost head or a wrong zero, looks like an "
                "angle here"
            ),
        ),
    )


def _as_pulled(basis: Basis) -> Answer:
    """Give the angle that the fits begin from as the readings pull it within its uncertainty."""
    fit = basis.throws
    if fit is None:
        return basis.missing_pairs
    u = basis.conditions.launch_angle_u_deg or 0.0
    stated = basis.conditions.launch_angle_deg or 0.0
    i = len(fit.names) + fit.sources.index(LAUNCH_ANGLE)
    value = stated + u * fit.pull(LAUNCH_ANGLE)
    left = u * math.sqrt(max(0.0, float(fit.covariance[i, i])))
    return Derived(
        Estimate(value, np.zeros((3, basis.n)), MappingProxyType({LAUNCH_ANGLE: left})),
        "θ",
        "°",
        said(_PULLED[origin_of(basis.conditions)]),
        depends_on_assumed_g=False,
        remarks=(angle_words(basis.conditions),),
    )


class Origin(Enum):
    """Where the angle that the fits begin from comes from."""

    STATED = 0
    TRACED = 1
    LEVEL = 2
    """Assumed, for the traced one agrees with it."""


_PULLED = MappingProxyType(
    {
        Origin.STATED: marked(
            "the stated angle as the throws pull it within its uncertainty in the joint fit"
        ),
        Origin.TRACED: marked(
            "the traced angle as the throws pull it within its uncertainty in the joint fit"
        ),
        Origin.LEVEL: marked(
            "a jet taken as level, as the throws pull its angle in the joint fit within what the traced one "
            "leaves open"
        ),
    }
)


def origin_of(conditions: Conditions) -> Origin:
    """Tell where the launch angle among the conditions comes from."""
    if conditions.traced_angle_deg is None:
        return Origin.STATED
    return Origin.TRACED if conditions.launch_angle_deg else Origin.LEVEL


def angle_words(conditions: Conditions) -> str:
    """
    Say with which launch angle the fits begin, and where it comes from.

    Parameters
    ----------
    conditions : Conditions
        With a launch angle.
    """
    begun = with_uncertainty(conditions.launch_angle_deg or 0.0, conditions.launch_angle_u_deg or 0.0, "°")
    if conditions.traced_angle_deg is None:
        return said("stated as {stated}", stated=begun)
    if origin_of(conditions) is Origin.TRACED:
        return said("none was stated; the jet was traced as {traced}", traced=begun)
    return said(
        "none was stated; the jet was traced as {traced}, which agrees with a level one, so that it is taken "
        "as level, {begun}",
        traced=with_uncertainty(conditions.traced_angle_deg, conditions.traced_angle_u_deg or 0.0, "°"),
        begun=begun,
    )
