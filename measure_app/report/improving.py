"""What to improve first: the budget ranked, and what halving each source would give."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis import Finding, with_uncertainty

_BY_ASPECT = (
    ("depth", "bring it into the jet's plane, or measure how far it stands before or behind it"),
    ("engraved scale", "check the rule against a better one over its whole length"),
    ("scale as read", "mark more graduations, over the whole length that is used"),
    ("perspective as read", "mark more graduations, the first and the last in view among them"),
    ("height as drawn", "mark the landing line on the water's film, at both ends"),
    ("which place of the jet", "a quieter landing reads better: a thin wet cloth in a shallow tray"),
    ("which place of the blurred edge", "put a dark card behind the container, light it from behind"),
)
"""What helps against a source of the form "name: aspect"; common practice, no source."""
_BY_START = (
    ("drop", "measure the drop again, along a plumb line, to the level on which the jet really lands"),
    ("throw zero", "hang the plumb from the outside of the hole and mark its foot in a zoomed view"),
    ("orifice diameter", "gauge the hole with a drill shank or a caliper, twice, across"),
    ("orifice", "mark the hole's upper and lower edge in a zoomed view and take the middle"),
    ("jet diameter", "measure the jet in a close picture with a scale in its plane"),
    ("container area", "take the bore from the volume poured in between two marks of the rule"),
    ("contraction coefficient", "measure the jet's diameter half a hole's width outside the wall"),
    ("meniscus", "read undyed water at the flat level, or measure the meniscus once"),
    ("camera", "move the camera farther off and zoom in; level and square it"),
    ("lens", "keep to the middle of the picture, or give the lens's distortion"),
    ("plumb", "hang a longer plumb line and mark its ends"),
    ("accepted gravity", "give latitude and height above the sea"),
    ("reading the marks", "mark the drop's middle in a zoomed view, in as many frames as it falls through"),
    ("when within a frame", "film at a higher rate, repeat the fall, or mark the drop in every frame"),
    ("rolling shutter", "film with the phone upright, or measure how long a frame takes to be read"),
    ("launch angle", "measure how level the jet leaves, on a zoomed frame"),
    ("drag of the air", "use a larger drop or a shorter fall, and measure the drop"),
    ("pairing", "a longer run settles the fall of the level"),
    ("own scatter", "more readings, a steadier jet, a faster shutter"),
)
"""What helps against any other source, by how its name begins; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Improvement:
    """One source of a finding's uncertainty."""

    source: str
    share: float
    """Of the variance."""
    gain: float
    """Part by which the finding's standard uncertainty would fall if this source were half as large."""
    advice: str


def improvements(finding: Finding, most: int = 5) -> tuple[Improvement, ...]:
    """Rank the sources of a finding's uncertainty.

    Parameters
    ----------
    finding : Finding
        With its budget.
    most : int
        How many are given; sources below one hundredth of the variance are left out.

    Returns
    -------
    tuple of Improvement
        The largest first. A source u_i of u² = Σ u_i² that is halved leaves √(u² − ¾ u_i²) (JCGM 100, 5.1.2).
    """
    total = sum(share.u**2 for share in finding.budget)
    if not total > 0.0:
        return ()
    ranked = sorted(finding.budget, key=lambda share: -share.u)
    return tuple(
        Improvement(
            share.source,
            share.u**2 / total,
            1.0 - math.sqrt(1.0 - 0.75 * share.u**2 / total),
            advice_for(share.source),
        )
        for share in ranked[:most]
        if share.u**2 >= 0.01 * total
    )


def advice_for(source: str) -> str:
    """Say what helps against a source; "" where nothing is known."""
    _, colon, aspect = source.rpartition(": ")
    if colon:
        return next((advice for begins, advice in _BY_ASPECT if aspect.startswith(begins)), "")
    return next((advice for begins, advice in _BY_START if source.startswith(begins)), "")


def in_words(finding: Finding) -> str:
    """Write a finding with its symbol, such as ``Cv = 0.9719 ± 0.0020``."""
    unit = finding.unit.replace("m^0.5", "√m")
    return f"{finding.symbol} = {with_uncertainty(finding.value, finding.u, unit)}"
