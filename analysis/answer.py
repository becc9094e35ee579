"""What the function of one finding gives: an estimate on its way to a finding, or what is missing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.estimate import Estimate
from analysis.findings import Finding, Undetermined
from analysis.notation import plain
from analysis.words import said


@dataclass(frozen=True, slots=True, eq=False)
class Derived:
    """An estimate with all that the finding made of it will say."""

    estimate: Estimate
    symbol: str
    unit: str
    method: str
    depends_on_assumed_g: bool
    remarks: tuple[str, ...] = ()
    in_logarithm: bool = False
    """Whether the interval is symmetric in the logarithm, as for a product of powers with a large
    uncertainty."""


_ABSURD = 1e150

Answer = Derived | str
"""An estimate, or the words that name the missing input."""


def settled(name: str, answer: Answer) -> Finding | Undetermined:
    """
    Make a finding of finite numbers and an uncertainty above zero, else name what is missing.

    Parameters
    ----------
    name : str
        Name of the finding.
    answer : Derived or str
        What its function gave.

    Returns
    -------
    Finding or Undetermined
        No number that is not finite ever stands in a finding.
    """
    if isinstance(answer, str):
        return Undetermined(name, answer)
    estimate = answer.estimate
    # A value or an uncertainty whose square is no number either comes from absurd readings as well.
    if not (abs(estimate.value) < _ABSURD and estimate.u < _ABSURD):
        return Undetermined(name, said("readings from which a finite value follows; these give none"))
    if estimate.u <= 0.0:
        value = f"{plain(estimate.value)} {answer.unit}".removesuffix(" 1")
        return Undetermined(
            name,
            said(
                "an uncertainty: the readings give {value}, but no error was stated and there are "
                "too few readings to show their scatter",
                value=value,
            ),
        )
    wide = answer.in_logarithm and estimate.value > 0.0
    try:
        low, high = estimate.log_interval_95 if wide else estimate.interval_95
    except OverflowError:
        low, high = 0.0, math.inf
    if not (math.isfinite(low) and math.isfinite(high) and low < estimate.value < high):
        return Undetermined(name, said("readings of a sensible size: the interval has no end or no width"))
    return Finding(
        name=name,
        symbol=answer.symbol,
        value=estimate.value,
        u=estimate.u,
        interval_95=(low, high),
        unit=answer.unit,
        method=answer.method,
        depends_on_assumed_g=answer.depends_on_assumed_g,
        remarks=answer.remarks,
        budget=estimate.budget,
    )
