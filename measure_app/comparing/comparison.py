"""Runs held against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis import FINDING_NAMES, finding_name
from measure_app.comparing.entries import Entry
from measure_app.comparing.holes import Holes, holes_of
from measure_app.comparing.pools import Common, Pool, commons_of, groups_of, pool_of
from measure_app.errors import FindingsError
from measure_app.words import said

OF_ONE_RUN = frozenset({"time_to_empty_s"})
"""Counted from each run's own first reading: never pooled."""


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Several runs compared."""

    entries: tuple[Entry, ...]
    commons: tuple[Common, ...]
    pools: tuple[Pool, ...]
    holes: Holes | None
    """How coefficients go with the hole; None unless holes of two sizes or more are known."""
    remarks: tuple[str, ...]


def compare(
    entries: Sequence[Entry], *, same: Sequence[str] | None = None, apart: Sequence[str] = ()
) -> Comparison:
    """
    Compare runs and pool what may be pooled.

    Parameters
    ----------
    entries : sequence of Entry
        Two or more.
    same : sequence of str, optional
        Words; only sources whose names hold one of them are common. None: every source of the same name is,
        unless the set-ups show that it was measured anew.
    apart : sequence of str
        Words; sources whose names hold one of them are each run's own.

    Raises
    ------
    FindingsError
        Fewer than two runs; or a word that no source's name holds.
    """
    if len(entries) < 2:
        raise FindingsError(said("a comparison needs two runs or more; name another"), where="runs")
    commons = commons_of(entries, same, apart)
    pools: list[Pool] = []
    names = [name for name in FINDING_NAMES if any(name in each.findings for each in entries)]
    names += sorted({name for each in entries for name in each.findings} - set(FINDING_NAMES))
    for name in names:
        if name in OF_ONE_RUN:
            continue
        for group, runs in groups_of(entries, name):
            if len(runs) < 2:
                continue
            # What was measured anew for another hole may still be common to the runs of this one.
            ours = commons_of([entries[i] for i in runs], same, apart, known=commons)
            pools.append(pool_of(entries, name, group, runs, ours))
    return Comparison(
        entries=tuple(entries),
        commons=tuple(_within(each, pools) for each in commons),
        pools=tuple(pools),
        holes=holes_of(entries, pools),
        remarks=_remarks(entries, pools),
    )


def _within(common: Common, pools: Sequence[Pool]) -> Common:
    """Say so where a source is each hole's own but common to the runs of one hole."""
    if common.common or not any(common.source in pool.common for pool in pools):
        return common
    return Common(
        common.source,
        common=True,
        why=said("among runs that agree in it; {why}", why=common.why),
    )


def _remarks(entries: Sequence[Entry], pools: Sequence[Pool]) -> tuple[str, ...]:
    made = []
    if all(each.diameter_m is None for each in entries):
        made.append(
            said(
                "the holes are not known, so all runs were taken for repeats with one hole; tell "
                "each run's hole if they differ"
            )
        )
    elif any(each.diameter_m is None for each in entries):
        made.append(said("runs whose hole is not known were pooled among themselves only"))
    if not pools:
        made.append(said("no two runs have a finding that may be pooled"))
    worst = [pool for pool in pools if pool.found.odd is not None]
    for label in dict.fromkeys(pool.found.values[pool.found.odd or 0].label for pool in worst):
        names = [
            finding_name(pool.name) for pool in worst if pool.found.values[pool.found.odd or 0].label == label
        ]
        made.append(said("{label} is the odd one out in: {join}", label=label, join="; ".join(names)))
    return tuple(made)
