"""A series of readings becomes findings: one function for each, and one that asks for all."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np

from analysis import coefficients, from_lines
from analysis.answer import Answer, Derived, settled
from analysis.basis import Basis, basis_of
from analysis.corrections import CorrectionSize, correction_sizes
from analysis.diagnosis import Diagnosis
from analysis.doubts import doubts_of
from analysis.estimate import Estimate
from analysis.expected import expected_of
from analysis.falls import Falls
from analysis.findings import Finding, Remark, Undetermined
from analysis.flow import Flow, flow_of, flow_remarks
from analysis.freefall import answers_from_falls
from analysis.gravity import AcceptedGravity
from analysis.launch import launch_angle
from analysis.penalised import JointFit
from analysis.published import band_words
from analysis.series import BoolArray, Column, Conditions, Corrections, FloatArray, Series
from analysis.slopes import LawLine
from analysis.suspects import diagnosis_of
from analysis.words import said


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """All that a series says, and what it does not."""

    findings: tuple[Finding, ...]
    undetermined: tuple[Undetermined, ...]
    remarks: tuple[Remark, ...]
    lines: tuple[LawLine, ...]
    """Every straight line fitted, for plots and tables."""
    accepted_gravity: AcceptedGravity
    speed_m_s: FloatArray
    """(n,) jet speed from each row's throw; NaN where there is none."""
    speed_own_u: FloatArray
    """(n,) m/s, standard uncertainty from the row's own errors."""
    speed_shared_u: FloatArray
    """(n,) m/s, standard uncertainty from sources shared with other rows."""
    paired_head_m: FloatArray
    """(n,) head at the moment when the water that lands now left; NaN where there is no throw."""
    law_head_m: FloatArray
    """(n,) head by the fitted drain curve, as it would be read; NaN outside the rows that were fitted."""
    law_throw_m: FloatArray
    """(n,) throw by the fitted law, as it would be read; NaN outside the rows that were fitted."""
    flight_time_s: FloatArray
    """(n,) time of flight that was used; NaN where there is no drop."""
    kept: BoolArray
    """(n,) rows that took part in every fit that they had the readings for."""
    reasons: tuple[str, ...]
    """n reasons why a row of the series was left out; "" where it was not, or where the series had left it
    out."""
    throws: JointFit | None
    """The joint fit of the throws."""
    drain: JointFit | None
    """The joint fit of the drain curve."""
    corrections: tuple[CorrectionSize, ...]
    """Every correction of the law, applied or not, with its size in this run."""
    flow: Flow | None
    """Reynolds and Weber numbers along the run; None without heads or the hole's diameter."""
    estimates: Mapping[str, Estimate]
    """What each finding's uncertainty is made of, by name; two of them give their covariance."""
    diagnose: Callable[[], Diagnosis | None]
    """Makes `diagnosis` when it is first asked for; it takes longer than everything else."""
    checked: bool = False
    """Whether the intervals have been held against Monte Carlo trials."""

    @property
    def diagnosis(self) -> Diagnosis | None:
        """Why the run is off; None where nothing is."""
        return self.diagnose()

    @property
    def speed_u(self) -> FloatArray:
        """(n,) m/s, standard uncertainty of each speed, own and shared combined."""
        return np.asarray(np.hypot(self.speed_own_u, self.speed_shared_u), dtype=np.float64)

    def finding(self, name: str) -> Finding | None:
        """Give the finding of that name, if the inputs determine it."""
        return next((each for each in self.findings if each.name == name), None)


_FUNCTIONS: Mapping[str, Callable[[Basis], Answer]] = MappingProxyType(
    {
        "speed_coefficient": coefficients.speed_coefficient,
        "speed_coefficient_zero_intercept": coefficients.speed_coefficient_zero_intercept,
        "speed_coefficient_mean_of_ratios": coefficients.speed_coefficient_mean_of_ratios,
        "discharge_coefficient": coefficients.discharge_coefficient,
        "head_zero_offset_m": from_lines.head_zero_offset,
        "throw_zero_offset_m": from_lines.throw_zero_offset,
        "slope_speed_vs_root_head": from_lines.slope_speed_vs_root_head,
        "slope_speed_squared_vs_head": from_lines.slope_speed_squared_vs_head,
        "slope_throw_squared_vs_head": from_lines.slope_throw_squared_vs_head,
        "gravity_from_slope_root": from_lines.gravity_from_slope_root,
        "gravity_from_slope_squared": from_lines.gravity_from_slope_squared,
        "gravity_from_clock": coefficients.gravity_from_clock,
        "drain_rate_root_m_per_s": coefficients.drain_rate,
        "time_to_empty_s": coefficients.time_to_empty,
        "launch_angle_deg": launch_angle,
    }
)
"""One function for every name of the contract."""


_AS_USUAL = Corrections()


def findings_of(
    series: Series,
    conditions: Conditions,
    falls: Falls | None = None,
    *,
    corrections: Corrections = _AS_USUAL,
) -> Findings:
    """
    Derive everything that a series of readings holds.

    Parameters
    ----------
    series : Series
        Times, heads, throws and drops, as far as they were read.
    conditions : Conditions
        What was measured once.
    falls : Falls, optional
        Drops, or a jet's front, marked on their way down, if any; None: the readings are a table's, which
        cannot hold any, and no g from a fall is spoken of.
    corrections : Corrections
        Which corrections of the law are applied.

    Returns
    -------
    Findings
        Every name of the contract stands either among the findings or among the undetermined.
    """
    # Absurd readings may overflow on the way; what comes of them is not finite and never becomes a finding.
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        return _all_findings(series, conditions, falls, corrections)


def _all_findings(
    series: Series, conditions: Conditions, falls: Falls | None, corrections: Corrections
) -> Findings:
    basis = basis_of(series, conditions, corrections)
    findings: list[Finding] = []
    undetermined: list[Undetermined] = []
    estimates: dict[str, Estimate] = {}
    expected = expected_of(basis)
    answers = {name: _answer(function, basis) for name, function in _FUNCTIONS.items()}
    if falls is not None:
        clock = answers["gravity_from_clock"]
        answers |= answers_from_falls(
            falls, basis.gravity, clock.estimate if isinstance(clock, Derived) else None
        )
    for name, answer in answers.items():
        result = settled(name, answer)
        if isinstance(result, Finding) and (band := expected.get(name)) is not None:
            words = band_words(band, result.symbol)
            result = replace(result, expected=band, remarks=(*result.remarks, words))
        if isinstance(result, Undetermined):
            undetermined.append(result)
        elif isinstance(answer, Derived):
            findings.append(result)
            estimates[name] = answer.estimate
    flow = flow_of(basis)
    cd = estimates.get("discharge_coefficient")
    return Findings(
        findings=tuple(findings),
        undetermined=tuple(undetermined),
        remarks=(*doubts_of(basis, estimates), *flow_remarks(flow)),
        lines=basis.lines,
        accepted_gravity=basis.gravity,
        speed_m_s=basis.speed,
        speed_own_u=basis.speed_own_u,
        speed_shared_u=basis.speed_shared_u,
        paired_head_m=basis.paired_head,
        law_head_m=_by_law(basis.drain, series, basis.corrected.drain.head, series.head),
        law_throw_m=_by_law(basis.throws, series, basis.corrected.throws.throw, series.throw),
        flight_time_s=basis.flight_time,
        kept=basis.kept,
        reasons=basis.reasons,
        throws=basis.throws,
        drain=basis.drain,
        corrections=correction_sizes(basis, None if cd is None else cd.value),
        flow=flow,
        estimates=MappingProxyType(estimates),
        diagnose=_when_asked(basis, MappingProxyType(estimates)),
    )


def _when_asked(basis: Basis, estimates: Mapping[str, Estimate]) -> Callable[[], Diagnosis | None]:
    """Give the diagnosis once, at the first call."""

    @cache
    def diagnose() -> Diagnosis | None:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            return diagnosis_of(basis, estimates)

    return diagnose


def _answer(function: Callable[[Basis], Answer], basis: Basis) -> Answer:
    """Ask for one finding; what overflows on the way comes from absurd readings."""
    try:
        return function(basis)
    except OverflowError:
        return said("readings of a sensible size")


def _by_law(fit: JointFit | None, series: Series, seen: Column | None, read: Column | None) -> FloatArray:
    """
    Lay a fit out to all rows: by time between fitted rows, at fitted rows alone where there is none.

    What the law saw is brought back to what is read, corrections undone.
    """
    n = series.kept.shape[0]
    if fit is None or seen is None or read is None:
        return np.full(n, np.nan)
    fitted = fit.fitted - (seen.values - read.values)[fit.rows]
    if series.time_s is None:
        laid = np.full(n, np.nan)
        laid[fit.rows] = fitted
        return laid
    at = np.where(np.isfinite(series.time_s), series.time_s, -np.inf)
    laid = np.interp(at, at[fit.rows], fitted, left=np.nan, right=np.nan)
    return np.asarray(laid, dtype=np.float64)
