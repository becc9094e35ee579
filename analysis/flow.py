"""How the jet flows along the run: Reynolds and Weber numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.basis import Basis
from analysis.findings import Remark
from analysis.notation import plain
from analysis.water import reynolds_number, water_at, weber_number
from analysis.words import marked, said

THIN_JET = 100.0
"""Weber number below which surface tension shows clearly in a throw: it then takes more than about 1 % of Cv,
from the head 3.5 σ/(ρ g dj) that it takes."""
_USUAL_CV = 0.97
_USUAL_TEMPERATURE_C = 20.0


@dataclass(frozen=True, slots=True)
class Flow:
    """The range of a run from its lowest head used to its highest."""

    reynolds: tuple[float, float]
    """Jet's speed × hole's diameter over kinematic viscosity."""
    weber: tuple[float, float]
    """Density × jet's speed² × hole's diameter over surface tension."""
    temperature_c: float
    temperature_known: bool


def flow_of(basis: Basis) -> Flow | None:
    """
    Give Reynolds and Weber numbers along a run.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.

    Returns
    -------
    Flow or None
        None without heads or the hole's diameter, or with water that is not between 0 and 40 °C.
    """
    d, told = basis.conditions.orifice_diameter_m, basis.conditions.water_temperature_c
    temperature = _USUAL_TEMPERATURE_C if told is None else told
    rows = basis.chosen.with_head
    if basis.series.head is None or d is None or d <= 0.0 or not rows.any() or not 0.0 <= temperature <= 40.0:
        return None
    heads = basis.series.head.values[rows]
    cv = _USUAL_CV if basis.throws is None else basis.throws.value("cv")
    slow, fast = (cv * math.sqrt(2.0 * basis.gravity.value * float(h)) for h in (heads.min(), heads.max()))
    if not 0.0 < slow <= fast < 1e100:
        return None
    water = water_at(temperature)
    return Flow(
        (reynolds_number(water, slow, d), reynolds_number(water, fast, d)),
        (weber_number(water, slow, d), weber_number(water, fast, d)),
        temperature,
        told is not None,
    )


def flow_words(flow: Flow) -> str:
    """Say the range in one sentence."""
    at = said("water at {temperature_c} °C", temperature_c=plain(flow.temperature_c, 3)) + (
        "" if flow.temperature_known else said(", assumed")
    )
    (re_low, re_high), (we_low, we_high) = flow.reynolds, flow.weber
    return said(
        "Along the run the Reynolds number of the jet goes from {re_low} to {re_high} and "
        "the Weber number from {we_low} to {we_high} ({at}, on the hole's diameter)",
        re_low=plain(re_low, 2),
        re_high=plain(re_high, 2),
        we_low=plain(we_low, 2),
        we_high=plain(we_high, 2),
        at=at,
    )


def flow_remarks(flow: Flow | None) -> tuple[Remark, ...]:
    """Doubt a jet that is so thin or slow that surface tension shows in its throw."""
    if flow is None or flow.weber[0] >= THIN_JET:
        return ()
    return (
        Remark(
            marked("thin jet"),
            said(
                "the Weber number falls to {weber} at the lowest heads: surface tension holds a jet "
                "back that is so thin and slow, which shows as a loss of head and makes Cv of low "
                "heads too low",
                weber=plain(flow.weber[0], 2),
            ),
        ),
    )
