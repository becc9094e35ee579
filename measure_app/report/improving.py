"""What to improve first: the budget ranked, and what halving each source would give."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import Finding, Improvement, improvement_of, plain, with_uncertainty
from measure_app.words import marked, said

_BY_ASPECT = (
    ("depth", marked("bring it into the jet's plane, or measure how far it stands before or behind it")),
    ("engraved scale", marked("check the rule against a better one over its whole length")),
    ("scale as read", marked("mark more graduations, over the whole length that is used")),
    ("perspective as read", marked("mark more graduations, the first and the last in view among them")),
    ("height as drawn", marked("mark the landing line on the water's film, at both ends")),
    ("which place of the jet", marked("a quieter landing reads better: a thin wet cloth in a shallow tray")),
    (
        "which place of it is its centre",
        marked("light the jet from the side before a dark ground, film it nearer"),
    ),
    (
        "lines that err alike",
        marked("light the jet from the side before a dark ground, film it nearer"),
    ),
    (
        "head lost to surface tension",
        marked("film until the head has fallen by half: how the curve goes with the head is free of it"),
    ),
    ("which place of the blurred edge", marked("put a dark card behind the container, light it from behind")),
    ("how its edge wanders", marked("put a dark card behind the container, light it from behind")),
    ("how its centre wanders", marked("light the jet from the side before a dark ground, film it nearer")),
)
"""What helps against a source of the form "name: aspect"; common practice, no source."""
_BY_START = (
    (
        "drop",
        marked("measure the drop again, along a plumb line, to the level on which the jet really lands"),
    ),
    ("throw zero", marked("hang the plumb from the outside of the hole and mark its foot in a zoomed view")),
    ("orifice diameter", marked("gauge the hole with a drill shank or a calliper, twice, across")),
    ("orifice", marked("mark the hole's upper and lower edge in a zoomed view and take the middle")),
    ("jet diameter", marked("measure the jet in a close picture with a scale in its plane")),
    ("container area", marked("take the bore from the volume poured in between two marks of the rule")),
    ("contraction coefficient", marked("measure the jet's diameter half a hole's width outside the wall")),
    ("meniscus", marked("read undyed water at the flat level, or measure the meniscus once")),
    ("camera", marked("move the camera farther off and zoom in; level and square it")),
    ("lens", marked("keep to the middle of the picture, or give the lens's distortion")),
    ("plumb", marked("hang a longer plumb line and mark its ends")),
    ("accepted gravity", marked("give latitude and height above the sea")),
    (
        "reading the marks",
        marked("mark the drop's middle in a zoomed view, in as many frames as it falls through"),
    ),
    (
        "when within a frame",
        marked("film at a higher rate, repeat the fall, or mark the drop in every frame"),
    ),
    ("rolling shutter", marked("film with the phone upright, or measure how long a frame takes to be read")),
    (
        "launch angle",
        marked(
            "measure how level the jet leaves, on a zoomed frame, and give it as orifice.launch_angle_deg"
        ),
    ),
    ("drag of the air", marked("use a larger drop or a shorter fall, and measure the drop")),
    ("pairing", marked("a longer run settles the fall of the level")),
    ("own scatter", marked("more readings, a steadier jet, a faster shutter")),
    ("capillary", marked("use a wider hole, from which surface tension takes less")),
    (
        "place of the contracted section",
        marked("mark the throw's zero where the jet has narrowed, not at the wall"),
    ),
    ("landing line: height", marked("measure how far the landing is read above the level of the drop")),
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
        return said(
            "More readings would give next to nothing: even ten times as many would make it surer by {gain}, "
            "for almost all of its uncertainty is shared by all of them.",
            gain=percent(often.gain),
        )
    unit = improvement.unit.replace("m^0.5", "√m")
    left = plain(often.u, 2) if unit in ("", "1") else f"{plain(often.u, 2)} {unit}"
    return said(
        "Twice as many readings would make it surer by {twice}, ten times as many by {often} (u = {left}); "
        "what all of them share stays.",
        twice=percent(twice.gain),
        often=percent(often.gain),
        left=left,
    )


def percent(part: float) -> str:
    """Write a part in per cent, the small ones as below one."""
    return said("less than 1 %") if part < 0.01 else f"{100.0 * part:.0f} %"


def advice_for(source: str) -> str:
    """Say what helps against a source; "" where nothing is known."""
    _, colon, aspect = source.rpartition(": ")
    if colon:
        return said(next((advice for begins, advice in _BY_ASPECT if aspect.startswith(begins)), ""))
    return said(next((advice for begins, advice in _BY_START if source.startswith(begins)), ""))


def in_words(finding: Finding) -> str:
    """Write a finding with its symbol, such as ``Cv = 0.9719 ± 0.0020``."""
    unit = finding.unit.replace("m^0.5", "√m")
    return f"{finding.symbol} = {with_uncertainty(finding.value, finding.u, unit)}"
