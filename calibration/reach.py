"""How far past its graduations a rule is trusted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens import straighten
from calibration.pixels import FloatArray
from calibration.plane import Plane, Slot
from calibration.rule_names import rule_words
from calibration.rules import Marks
from calibration.setup import Rule, Setup
from calibration.words import marked, said

REACH = 0.5
"""How far past its graduations a rule is trusted, in units of its graduated length."""
CROSSWISE_REACH = 1.5
"""The same for a rule that serves both directions, across itself."""


BETWEEN_REACH = 0.1
"""How far past two rules the drop is trusted, in units of the height between them: a jet that lands on the
floor rule itself, or on what it lies on, lands a little above or below its graduations."""


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


def with_between(
    setup: Setup, plane: Plane, base: FloatArray, reach: tuple[Reach, ...], *, slack: float = 0.0
) -> tuple[Reach, ...]:
    """Trust in the rules for heads, run on to the level of any other rule.

    Beside a rule that lies along the throws the scale of the same plane is known again, so that between the
    two it is filled in, not carried out. `slack` is how far past the outermost it is trusted as well, in
    units of the height between them.
    """
    if not reach:
        return reach
    levels = np.concatenate([_levels(setup, plane, base, rule) for rule in setup.rules])
    first, last = float(np.min(levels)), float(np.max(levels))
    return (*reach, Reach(said("the rules"), first, last, slack * (last - first)))


def drop_reach_of(
    setup: Setup, plane: Plane, names: tuple[str, ...], heads: tuple[Reach, ...]
) -> tuple[Reach, ...]:
    """How far the rules are trusted for the drop: a floor rule reaches it beside one for heads, or alone."""
    base = plane.base[None]
    if heads:
        return with_between(setup, plane, base, heads, slack=BETWEEN_REACH)
    out = []
    for r in np.flatnonzero(plane.throw_rules).tolist():
        levels = _levels(setup, plane, base, setup.rules[r])
        values = [graduation.value_m for graduation in setup.rules[r].graduations]
        slack = CROSSWISE_REACH * (max(values) - min(values))
        out.append(Reach(names[r], float(np.min(levels)), float(np.max(levels)), slack))
    return tuple(out)


def _levels(setup: Setup, plane: Plane, base: FloatArray, rule: Rule) -> FloatArray:
    """(n,) m above the orifice at which a rule's graduations lie."""
    px = np.array([graduation.px for graduation in rule.graduations], dtype=np.float64)
    straight = straighten(px, setup.camera.lens, plane.centre)
    return np.asarray(-plane.places(base, straight, rule.behind_m)[0, :, 0], dtype=np.float64)


PLACE_PAST = marked(
    "it lies {beyond:.0f} mm past the last graduation of “{rule}”, which is trusted for {trusted:.0f} mm: "
    "read a graduation further out"
)
LANDING_LINE_PAST = marked(
    "the landing line lies {beyond:.0f} mm past the last graduation of “{rule}”, which is trusted for "
    "{trusted:.0f} mm: read a graduation further out"
)
ORIFICE_PAST = marked(
    "the hole lies {beyond:.0f} mm away from “{rule}”, which is trusted for {trusted:.0f} mm: mark a rule "
    "that stands upright beside it"
)


def past(reach: tuple[Reach, ...], value: float, words: str = PLACE_PAST) -> str:
    """Say how far a length lies past the nearest rule's trust, in a text above; "" where it does not."""
    nearest = min(reach, key=lambda r: max(r.first_m - r.slack_m - value, value - r.last_m - r.slack_m))
    beyond = max(nearest.first_m - value, value - nearest.last_m)
    if beyond <= nearest.slack_m:
        return ""
    return said(words, beyond=1000 * beyond, rule=rule_words(nearest.rule), trusted=1000 * nearest.slack_m)
