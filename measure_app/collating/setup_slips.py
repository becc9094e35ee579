"""Faults of a set-up that an observer made: units, graduations, the orifice, the drop."""

from __future__ import annotations

import math

import numpy as np

from measure_app.collating.setup_facts import GraduationFact, SetupFacts
from measure_app.collating.slips import Fault, Slip
from measure_app.finders import Part
from measure_app.words import marked, said

UNIT_FACTORS = {
    10.0: ((marked("millimetres"), marked("centimetres")), (marked("centimetres"), marked("decimetres"))),
    100.0: ((marked("centimetres"), marked("metres")),),
    1000.0: ((marked("millimetres"), marked("metres")),),
    2.54: ((marked("centimetres"), marked("inches")),),
    25.4: ((marked("millimetres"), marked("inches")),),
    39.37007874: ((marked("inches"), marked("metres")),),
    3.280839895: ((marked("feet"), marked("metres")),),
}
"""What a length grows by when the first unit is taken for the second; 25.4 mm an inch, 304.8 mm a foot."""
UNIT_TOLERANCE = 0.04
"""How near a scale must lie to a factor, relative, to be called a unit slip."""
SCALE_TOLERANCE = 0.02
"""Difference of scale, relative, that is not called a fault: careful hands differ by less than 1 %."""
_GRADUATION_M = 0.002
_ORIFICE_PX = 5.0


def setup_faults(facts: SetupFacts, scale_spread: float = 0.0) -> tuple[Fault, ...]:
    """Name what is wrong with a set-up.

    Parameters
    ----------
    facts : SetupFacts
        The comparison with the key's.
    scale_spread : float
        Relative standard deviation of the class's own scales, where they made them; four times this is
        tolerated.
    """
    if facts.same:
        return ()
    faults = []
    for part, what in ((Part.SURFACE, said("heads")), (Part.LANDING, said("throws"))):
        ratio = facts.scale[part]
        if ratio is None:
            continue
        graduations = [each for each in facts.graduations if each.part is part]
        fault = _scale_fault(part, what, ratio, max(SCALE_TOLERANCE, 4.0 * scale_spread))
        wrong = _wrong_graduations(graduations, ratio)
        if fault is not None and fault.slip is Slip.UNIT:
            faults.append(fault)
        elif wrong:
            faults.append(_graduation_fault(part, wrong))
        elif fault is not None:
            faults.append(fault)
    if facts.drop is not None and abs(facts.drop - 1.0) > SCALE_TOLERANCE:
        unit = unit_words(facts.drop)
        words = said("the drop is {drop:.4g} times the key's", drop=facts.drop) + (
            f": {unit}" if unit else ""
        )
        faults.append(Fault(Slip.UNIT if unit else Slip.DROP, None, facts.drop, words, spoils_places=False))
    if facts.orifice_px is not None and math.hypot(*facts.orifice_px) > _ORIFICE_PX:
        x, y = facts.orifice_px
        words = said(
            "the orifice is marked {x:.0f} px too far {words} and {y:.0f} px too {words2}",
            x=abs(x),
            words=said("right") if x > 0 else said("left"),
            y=abs(y),
            words2=said("low") if y > 0 else said("high"),
        )
        faults.append(Fault(Slip.ORIFICE, None, math.hypot(x, y), words, spoils_places=False))
    return tuple(faults)


def unit_words(ratio: float) -> str:
    """Say which units were taken for one another if a ratio of lengths is such a factor; "" if not."""
    size = abs(ratio)
    for factor, pairs in UNIT_FACTORS.items():
        if abs(size / factor - 1.0) < UNIT_TOLERANCE:
            taken = said(", or ").join(
                said("{first} taken for {second}", first=said(first), second=said(second))
                for first, second in pairs
            )
            return said("a unit slip, ×{factor:.4g} ({taken})", factor=factor, taken=taken)
        if abs(size * factor - 1.0) < UNIT_TOLERANCE:
            taken = said(", or ").join(
                said("{second} taken for {first}", second=said(second), first=said(first))
                for first, second in pairs
            )
            return said("a unit slip, ÷{factor:.4g} ({taken})", factor=factor, taken=taken)
    return ""


def _scale_fault(part: Part, what: str, ratio: float, tolerance: float) -> Fault | None:
    if ratio < 0:
        words = said(
            "the rule for the {what} is marked the wrong way round: its values fall where they should rise",
            what=what,
        )
        return Fault(Slip.SCALE, part, ratio, words, spoils_places=False)
    if unit := unit_words(ratio):
        words = said("all {what} are {ratio:.4g} times the key's: {unit}", what=what, ratio=ratio, unit=unit)
        return Fault(Slip.UNIT, part, ratio, words, spoils_places=False)
    if abs(ratio - 1.0) > tolerance:
        words = said(
            "all {what} are {ratio:.4g} times the key's: the rule's graduations were misread",
            what=what,
            ratio=ratio,
        )
        return Fault(Slip.SCALE, part, ratio, words, spoils_places=False)
    return None


def _wrong_graduations(graduations: list[GraduationFact], ratio: float) -> list[GraduationFact]:
    """Return graduations whose value does not belong where they are marked, if most of the others do.

    A rule may be numbered from another zero, so what counts is the difference from the others.
    """
    if len(graduations) < 3 or ratio < 0:
        return []
    off = np.array([each.marked_m - each.key_m for each in graduations])
    own = off - np.median(off)
    limit = max(_GRADUATION_M, 6.0 * 1.4826 * float(np.median(np.abs(own))))
    wrong = [each for each, by in zip(graduations, own, strict=True) if abs(by) > limit]
    return wrong if len(wrong) < len(graduations) / 2 else []


def _graduation_fault(part: Part, wrong: list[GraduationFact]) -> Fault:
    worst = max(wrong, key=lambda each: abs(each.marked_m - each.key_m))
    others = said(" and {count} more", count=len(wrong) - 1) if len(wrong) > 1 else ""
    words = said(
        "on the rule for the {words} {marked_m:.4g} cm stands where the key's rule reads "
        "{key_m:.1f} cm{others}: a wrong graduation",
        words=said("heads") if part is Part.SURFACE else said("throws"),
        marked_m=worst.marked_m * 100,
        key_m=worst.key_m * 100,
        others=others,
    )
    return Fault(Slip.GRADUATION, part, worst.marked_m - worst.key_m, words, spoils_places=False)
