"""How far past its graduations a rule is trusted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.plane import Plane, Slot
from calibration.rules import Marks
from calibration.setup import Setup
from calibration.words import marked, said

REACH = 0.5
"""How far past its graduations a rule is trusted, in units of its graduated length."""
CROSSWISE_REACH = 1.5
"""The same for a rule that serves both directions, across itself."""


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a rule is trusted, along the direction measured, from the orifice or the throw zero."""

    rule: str
    first_m: float
    last_m: float
    """Ends of its graduations, m."""
    slack_m: float
    """How far past them it is trusted, m."""


def reach_of(
    setup: Setup, plane: Plane, marks: Marks, names: tuple[str, ...], *, heads: bool
) -> tuple[Reach, ...]:
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
    for r in np.flatnonzero(weights).tolist():
        rule = setup.rules[r]
        rho = plane.slopes(base, marks.pixels[marks.of(r)])[0] * (
            1.0 + base[0, Slot.INVERSE_DISTANCE] * rule.behind_m
        )
        at = scale * ((rho - origin) @ unit)
        values = marks.values[marks.of(r)]
        length = float(values.max() - values.min())
        along = float(at.max() - at.min()) > 0.5 * length
        slack = (REACH if along else CROSSWISE_REACH) * length
        out.append(Reach(names[r], float(at.min()), float(at.max()), slack))
    return tuple(out)


PLACE_PAST = marked(
    "it lies {beyond:.0f} mm past the last graduation of “{rule}”, which is trusted for {trusted:.0f} mm: "
    "read a graduation further out"
)
LANDING_LINE_PAST = marked(
    "the landing line lies {beyond:.0f} mm past the last graduation of “{rule}”, which is trusted for "
    "{trusted:.0f} mm: read a graduation further out"
)


def past(reach: tuple[Reach, ...], value: float, words: str = PLACE_PAST) -> str:
    """Say how far a length lies past the nearest rule's trust, in a text above; "" where it does not."""
    nearest = min(reach, key=lambda r: max(r.first_m - r.slack_m - value, value - r.last_m - r.slack_m))
    beyond = max(nearest.first_m - value, value - nearest.last_m)
    if beyond <= nearest.slack_m:
        return ""
    return said(words, beyond=1000 * beyond, rule=nearest.rule, trusted=1000 * nearest.slack_m)
