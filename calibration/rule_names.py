"""Names that rules are given where a person gives none, said in the reader's language."""

from __future__ import annotations

from calibration.words import marked, said

_GIVEN = (marked("upright rule"), marked("floor rule"), marked("square"))


def rule_words(name: str) -> str:
    """Say the name of a rule.

    The name itself joins a rule to its errors, here and in other runs, and so is the same in every language.

    Parameters
    ----------
    name : str
        As the run has it; one that a person wrote is left as it is.

    Returns
    -------
    str
        Such as ``"Maßstab am Boden 2"`` for ``"floor rule 2"``.
    """
    for given in _GIVEN:
        number = name.removeprefix(given)
        if number == name:
            continue
        if not number or (number.startswith(" ") and number[1:].strip("()").isdigit()):
            return said(given) + number
    return name
