"""One finding over several runs: which sources they share, which runs may be pooled, and the pool."""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import dataclass
from types import MappingProxyType

from analysis import PooledValue, RunValue, plain, pooled, with_uncertainty
from measure_app.comparing.entries import Entry
from measure_app.errors import FindingsError
from measure_app.report import shown_unit
from measure_app.words import marked, said

EVERYWHERE = frozenset(
    {
        "gravity_from_clock",
        "gravity_from_fall_time",
        "gravity_from_parabola",
        "gravity_from_track",
        "gravity_combined",
    }
)
"""Findings that are the same whatever the hole."""


OWN_BY_NATURE = frozenset({marked("pairing of throw with head")})
"""Named as shared because it moves all readings of a run, but made of that run's own readings."""
_DIAMETER = marked("orifice diameter")
BY_NAME = marked("of the same name")
"""Why a source counts as common where nothing shows whether it is: so that nothing averages away."""


@dataclass(frozen=True, slots=True)
class Common:
    """One source of error that several runs name, and whether they have it in common."""

    source: str
    common: bool
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """One finding over the runs that may be pooled."""

    name: str
    symbol: str
    unit: str
    group: str
    """Which runs: those of one hole, or all."""
    runs: tuple[int, ...]
    """Indices of the entries."""
    found: PooledValue
    common: frozenset[str]
    """Sources that these runs have in common."""
    remarks: tuple[str, ...]


def commons_of(
    entries: Sequence[Entry],
    same: Sequence[str] | None,
    apart: Sequence[str],
    known: Sequence[Common] = (),
) -> tuple[Common, ...]:
    """
    Decide which sources the runs have in common.

    Parameters
    ----------
    entries : sequence of Entry
        The runs.
    same, apart : sequence of str
        As in `compare`.
    known : sequence of Common
        What was decided for more runs than these; words that hold for those need no name among these.

    Raises
    ------
    FindingsError
        A word that no source's name holds.
    """
    count: dict[str, int] = {}
    for entry in entries:
        names = {s.source for f in entry.findings.values() for s in f.budget if s.shared}
        for name in names:
            count[name] = count.get(name, 0) + 1
    sources = sorted(name for name, n in count.items() if n > 1)
    for word in (*(same or ()), *apart):
        if not known and not any(word.casefold() in name.casefold() for name in count):
            have = ", ".join(sorted(count)) or "none"
            raise FindingsError(
                said(
                    'no shared source of these runs is called "{word}"; they have: {have}',
                    word=word,
                    have=have,
                ),
                where=said("same, apart"),
            )
    made = []
    for name in sources:
        told_apart = any(word.casefold() in name.casefold() for word in apart)
        told_same = same is not None and any(word.casefold() in name.casefold() for word in same)
        differs = _differs(entries, name)
        if name in OWN_BY_NATURE:
            made.append(Common(name, common=False, why=said("made of each run's own readings")))
        elif told_apart:
            made.append(Common(name, common=False, why=said("you said so")))
        elif told_same:
            made.append(Common(name, common=True, why=said("you said so")))
        elif same is not None:
            made.append(Common(name, common=False, why=said("not among those that you named as common")))
        elif differs:
            made.append(Common(name, common=False, why=differs))
        else:
            why = said("the set-ups have the same value") if _agrees(entries, name) else BY_NAME
            made.append(Common(name, common=True, why=why))
    return tuple(made)


def _facts(entries: Sequence[Entry], name: str) -> list[tuple[float | None, float | None]]:
    told = [entry.facts[name] for entry in entries if name in entry.facts]
    if name == _DIAMETER and len(told) < len(entries):
        return [(entry.diameter_m, None) for entry in entries if entry.diameter_m is not None]
    return told


def _differs(entries: Sequence[Entry], name: str) -> str:
    """Say that a thing was measured anew; "" where nothing shows it."""
    facts = _facts(entries, name)
    values = {value for value, _ in facts if value is not None}
    if len(values) < 2:
        return ""
    return said(
        "the set-ups have {count} different values of it, so that it was measured anew", count=len(values)
    )


def _agrees(entries: Sequence[Entry], name: str) -> bool:
    facts = _facts(entries, name)
    return len(facts) == len(entries) and len(set(facts)) == 1 and facts[0][0] is not None


def groups_of(entries: Sequence[Entry], name: str) -> list[tuple[str, tuple[int, ...]]]:
    """Sort the runs that have a finding into those that measure the same thing: one hole's, or all."""
    have = [i for i, each in enumerate(entries) if name in each.findings]
    if name in EVERYWHERE:
        return [(said("all runs"), tuple(have))]
    by_hole: dict[float | None, list[int]] = {}
    for i in have:
        by_hole.setdefault(entries[i].diameter_m, []).append(i)
    if len(by_hole) == 1:
        return [(said("all runs"), tuple(have))]
    return [
        (
            said("hole of {d} mm", d=plain(1e3 * d, 3)) if d is not None else said("hole not known"),
            tuple(runs),
        )
        for d, runs in sorted(by_hole.items(), key=lambda item: (item[0] is None, item[0] or 0.0))
    ]


def run_value(entry: Entry, name: str, shared: Set[str]) -> RunValue:
    """
    Take one finding of one run apart into what is its own and what it shares.

    A budget tells sizes, not signs. The same source moves the same finding the same way in every run, so that
    they count as of one sign, the case in which nothing averages away.
    """
    finding = entry.findings[name]
    common = {each.source: each.u for each in finding.budget if each.shared and each.source in shared}
    left = finding.u**2 - sum(u * u for u in common.values())
    # Where everything is shared, a thousandth of u keeps the weights finite.
    own = math.sqrt(max(left, (1e-3 * finding.u) ** 2))
    return RunValue(entry.label, finding.value, own, MappingProxyType(common))


def pool_of(
    entries: Sequence[Entry], name: str, group: str, runs: tuple[int, ...], commons: Sequence[Common]
) -> Pool:
    """Pool one finding over some runs, and say in words how they agree."""
    shared = frozenset(each.source for each in commons if each.common)
    found = pooled([run_value(entries[i], name, shared) for i in runs])
    first = entries[runs[0]].findings[name]
    remarks = [_agreement(found)]
    if found.odd is not None:
        odd = found.values[found.odd]
        remarks.append(
            said(
                "{label} stands {deviations:.1f} standard uncertainties off the others, which agree "
                "without it; look at that run before you leave it out: it is in the mean",
                label=odd.label,
                deviations=abs(found.deviations[found.odd]),
            )
        )
    elif not found.consistent and len(runs) > 2:
        remarks.append(
            said("no single run is to blame: without any one of them the others still do not agree")
        )
    if not found.consistent:
        sure = {each.source for each in commons if each.common and each.why != BY_NAME}
        doubtful = sorted(shared - sure)
        apart = pooled([run_value(entries[i], name, sure) for i in runs])
        if doubtful and apart.consistent:
            remarks.append(
                said(
                    "they would agree if what has but the name in common ({join}) were each run's own; "
                    "name it with --apart if it was set up or measured anew",
                    join=", ".join(doubtful),
                )
            )
    if first.depends_on_assumed_g:
        gravities = {plain(entries[i].gravity_m_s2, 7) for i in runs}
        if len(gravities) > 1:
            remarks.append(
                said(
                    "the runs borrowed different values of g ({join} m/s²), which makes them differ",
                    join=", ".join(sorted(gravities)),
                )
            )
    return Pool(name, first.symbol, first.unit, group, runs, found, shared, tuple(remarks))


def _agreement(found: PooledValue) -> str:
    chance = f"{plain(100.0 * found.chance, 2)} %" if found.chance >= 1e-4 else said("below 0.01 %")
    figures = said(
        "χ² = {chi_squared} for {dof} degree{words} of freedom, chance {chance}",
        chi_squared=plain(found.chi_squared, 3),
        dof=found.dof,
        words="" if found.dof == 1 else "s",
        chance=chance,
    )
    if found.consistent:
        few = "" if found.dof > 2 else said("; so few runs would hide a good deal")
        return said(
            "the runs agree within their own errors ({figures}; Birge ratio {birge:.2f}){few}",
            figures=figures,
            birge=found.birge,
            few=few,
        )
    return said(
        "the runs scatter {birge:.1f} times as much as their own errors explain ({figures}); "
        "a standard deviation between runs of {between} (Mandel and Paule; DerSimonian and "
        "Laird: {between_dersimonian_laird}) was added to each",
        birge=found.birge,
        figures=figures,
        between=plain(found.between, 2),
        between_dersimonian_laird=plain(found.between_dersimonian_laird, 2),
    )


def value_words(entry: Entry, name: str) -> str:
    """Write one run's finding with its uncertainty; a dash where the run has none."""
    finding = entry.findings.get(name)
    if finding is None:
        return "–"
    scale, unit = shown_unit(name, finding.unit)
    return with_uncertainty(scale * finding.value, scale * finding.u, unit)


def scaled(pool: Pool) -> tuple[float, str]:
    """Give the factor and the unit in which a pool's numbers are shown."""
    return shown_unit(pool.name, pool.unit)
