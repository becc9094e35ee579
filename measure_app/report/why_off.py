"""Why a run is off and what to improve first, in words that are ready to be shown."""

from __future__ import annotations

from collections.abc import Sequence

from analysis import Diagnosis, Findings, Shape, Suspect, improvements_of, with_uncertainty
from measure_app.report.improving import advice_for, more_words, percent
from measure_app.words import said, source_words

_SMALL = 4.0
"""Fall of χ² below which a suspect does not touch the trouble."""


def why_off_lines(diagnosis: Diagnosis | None) -> tuple[str, ...]:
    """Say why a run is off in two to four lines.

    Parameters
    ----------
    diagnosis : Diagnosis, optional
        Of the findings.

    Returns
    -------
    tuple of str
        The likeliest suspects, and the check that would settle it; empty where nothing is off.
    """
    if diagnosis is None:
        return ()
    first = _first(diagnosis)
    if not first:
        return (
            said("No suspect that can be tried on these readings explains it; look at the film once more."),
        )
    lines = [_verdict(diagnosis, first)] if diagnosis.unexplained else []
    lines.append(f"{_capital(said(first[0].name))}: {said(first[0].says)}.")
    if len(first) > 1:
        others = ", ".join(said(each.name) for each in first[1:])
        lines.append(said("Cannot be told apart from: {others}.", others=others))
    lines.append(said("First check: {check}.", check=said(first[0].check)))
    return tuple(lines)


def why_off_items(diagnosis: Diagnosis | None) -> tuple[tuple[str, str], ...]:
    """Say why a run is off suspect by suspect, each with its check.

    Parameters
    ----------
    diagnosis : Diagnosis, optional
        Of the findings.

    Returns
    -------
    tuple of (str, str)
        Name and words: first the verdict, then the first group, then in one line each what fits less well and
        what the shape speaks against; empty where nothing is off.
    """
    if diagnosis is None:
        return ()
    first = _first(diagnosis)
    if not first:
        return ((said("why off"), why_off_lines(diagnosis)[0]),)
    items = [(said("why off"), _verdict(diagnosis, first))]
    items += [
        (said(each.name), said("{says}. Check: {check}", says=said(each.says), check=said(each.check)))
        for each in first
    ]
    rest = [each for group in diagnosis.groups[1:] for each in group if each.explains >= _SMALL]
    less = [said(each.name) for each in rest if each.shape is not Shape.SPEAKS_AGAINST]
    against = [said(each.name) for each in rest if each.shape is Shape.SPEAKS_AGAINST]
    if less:
        words = said("{names}: they explain part of it", names=", ".join(less))
        items.append((said("less likely"), words))
    if against:
        words = said(
            "{names}: the shape of the readings speaks against each of them", names=", ".join(against)
        )
        items.append((said("not alone"), words))
    return tuple(items)


def improvement_lines(findings: Findings, most: int = 1) -> tuple[str, ...]:
    """Say what to improve first for Cv and every independent g, one line each.

    Parameters
    ----------
    findings : Findings
        Of a run.
    most : int
        Sources that are told of each.

    Returns
    -------
    tuple of str
        Largest source, its share, what halving it gives, what helps, and what more readings give.
    """
    lines = []
    for each in improvements_of(findings.findings):
        unit = each.unit.replace("m^0.5", "√m")
        told = []
        for source in each.sources[:most]:
            helps = advice_for(source.source)
            words = said(
                "{source} ({share} of the variance; halved, u falls by {gain})",
                source=source_words(source.source),
                share=percent(source.share),
                gain=percent(source.gain),
            )
            told.append(f"{words}: {helps}" if helps else words)
        value = with_uncertainty(each.value, each.u, unit)
        lines.append(f"{each.symbol} = {value}: {'; '.join(told)}. {more_words(each)}")
    return tuple(lines)


def _first(diagnosis: Diagnosis) -> Sequence[Suspect]:
    """Give the first group, if it explains anything."""
    if not diagnosis.groups or diagnosis.groups[0][0].explains < _SMALL:
        return ()
    return diagnosis.groups[0]


def _verdict(diagnosis: Diagnosis, first: Sequence[Suspect]) -> str:
    if diagnosis.unexplained:
        return said(
            "No single suspect explains all of it, so more than one thing may be wrong; nearest comes "
            "{which}.",
            which=_either(first),
        )
    if len(first) == 1:
        name = said(first[0].name)
        return said("Of all suspects that were tried, {name} fits these readings best.", name=name)
    return said(
        "The readings fit {which}, and cannot tell these {count} apart.",
        which=_either(first),
        count=len(first),
    )


def _either(first: Sequence[Suspect]) -> str:
    names = [said(each.name) for each in first]
    if len(names) == 1:
        return names[0]
    return said("{names} or {last}", names=", ".join(names[:-1]), last=names[-1])


def _capital(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"
