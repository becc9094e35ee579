"""What would make a finding surer: its sources ranked, each halved, and more readings."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from analysis.findings import Finding

MORE = (2, 10)
"""Times as many readings."""
_NOTHING = 0.02
"""Part of u below which a gain is not worth an evening."""


@dataclass(frozen=True, slots=True)
class SourceGain:
    """One source of a finding's uncertainty."""

    source: str
    shared: bool
    """True: common to all readings."""
    share: float
    """Of the variance."""
    gain: float
    """Part by which the finding's standard uncertainty would fall if this source were half as large."""


@dataclass(frozen=True, slots=True)
class MoreReadings:
    """What so many times as many readings of the same kind would give."""

    times: int
    u: float
    """Standard uncertainty that would be left, in the finding's unit."""
    gain: float
    """Part by which it would have fallen."""

    @property
    def worth_it(self) -> bool:
        """Whether anybody would notice."""
        return self.gain >= _NOTHING


@dataclass(frozen=True, slots=True)
class Improvement:
    """What would make one finding surer."""

    name: str
    symbol: str
    value: float
    u: float
    unit: str
    sources: tuple[SourceGain, ...]
    """All sources, the largest first."""
    more: tuple[MoreReadings, ...]
    """Twice and ten times as many readings."""


def improvement_of(finding: Finding) -> Improvement | None:
    """
    Rank what a finding's uncertainty is made of, and say what would shrink it.

    Parameters
    ----------
    finding : Finding
        With its budget.

    Returns
    -------
    Improvement or None
        A source uᵢ of u² = Σ uᵢ² that is halved leaves √(u² - ¾ uᵢ²) (JCGM 100:2008, 5.1.2); m times as
        many readings divide the variance of what is not shared by m, and leave what is shared as it is
        (JCGM 100:2008, F.1.2.1). None without a budget.
    """
    total = sum(share.u**2 for share in finding.budget)
    if not (0.0 < total < math.inf):
        return None
    ranked = sorted(finding.budget, key=lambda share: -share.u)
    own = sum(share.u**2 for share in finding.budget if not share.shared) / total
    more = []
    for times in MORE:
        left = math.sqrt(1.0 - own * (1.0 - 1.0 / times))
        more.append(MoreReadings(times, finding.u * left, 1.0 - left))
    return Improvement(
        name=finding.name,
        symbol=finding.symbol,
        value=finding.value,
        u=finding.u,
        unit=finding.unit,
        sources=tuple(
            SourceGain(
                share.source,
                share.shared,
                share.u**2 / total,
                1.0 - math.sqrt(1.0 - 0.75 * share.u**2 / total),
            )
            for share in ranked
        ),
        more=tuple(more),
    )


def improvements_of(findings: Iterable[Finding]) -> tuple[Improvement, ...]:
    """
    Say what would make Cv and every independent g surer.

    Parameters
    ----------
    findings : iterable of Finding
        Of one run. A g that rests on an assumed one is left out: making it surer would be no news of g.

    Returns
    -------
    tuple of Improvement
        Cv first, then the g routes, the surest of them first.
    """
    wanted = [each for each in findings if _counts(each)]
    wanted.sort(key=lambda each: (each.name != "speed_coefficient", each.u / abs(each.value or 1.0)))
    made = (improvement_of(each) for each in wanted)
    return tuple(each for each in made if each is not None)


def _counts(finding: Finding) -> bool:
    if finding.name == "speed_coefficient":
        return True
    return finding.name.startswith("gravity_") and not finding.depends_on_assumed_g
