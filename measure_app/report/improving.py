"""What to improve first: the budget ranked, and what halving each source would give."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import Finding, Improvement, improvement_of, plain, with_uncertainty

_BY_ASPECT = (
    ("depth", "bring it into the jet's plane, or measure how far it stands before or behind it"),
    ("engraved scale", "check the rule against a better one over its whole length"),
    ("scale as read", "mark more graduations, over the whole length that is used"),
    ("perspective as read", "mark more graduations, the first and the last in view among them"),
    ("height as drawn", "mark the landing line on the water's film, at both ends"),
    ("which place of the jet", "a quieter landing reads better: a thin wet cloth in a shallow tray"),
    ("which place of it is its centre", "light the jet from the side before a dark ground, film it nearer"),
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
    ("capillary", "use a wider hole, from which surface tension takes less"),
    ("place of the contracted section", "mark the throw's zero where the jet has narrowed, not at the wall"),
    ("landing line: height", "measure how far the landing is read above the level of the drop"),
)
"""What helps against any other source, by how its name begins; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Advice:
    """One source of a finding's uncertainty, and what helps."""

    source: str
    share: float
    """Of the variance."""
    gain: float
    """Part by which the finding's standard uncertainty would fall if this source were half as large."""
    advice: str


def improvements(finding: Finding, most: int = 5) -> tuple[Advice, ...]:
    """Rank the sources of a finding's uncertainty, with what helps against each.

    Parameters
    ----------
    finding : Finding
        With its budget.
    most : int
        How many are given; sources below one hundredth of the variance are left out.

    Returns
    -------
    tuple of Advice
        The largest first.
    """
    made = improvement_of(finding)
    if made is None:
        return ()
    return tuple(
        Advice(each.source, each.share, each.gain, advice_for(each.source))
        for each in made.sources[:most]
        if each.share >= 0.01
    )


def more_words(improvement: Improvement) -> str:
    """Say what more readings would give; often nothing.

    Parameters
    ----------
    improvement : Improvement
        Of one finding.

    Returns
    -------
    str
        One sentence.
    """
    twice, often = improvement.more
    if not often.worth_it:
        return (
            "More readings would give next to nothing: even ten times as many would make it surer by "
            f"{percent(often.gain)}, for almost all of its uncertainty is shared by all of them."
        )
    unit = improvement.unit.replace("m^0.5", "√m")
    left = plain(often.u, 2) if unit in ("", "1") else f"{plain(often.u, 2)} {unit}"
    return (
        f"Twice as many readings would make it surer by {percent(twice.gain)}, ten times as many by "
        f"{percent(often.gain)} (u = {left}); what all of them share stays."
    )


def percent(part: float) -> str:
    """Write a part in per cent, the small ones as below one."""
    return "less than 1 %" if part < 0.01 else f"{100.0 * part:.0f} %"


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
