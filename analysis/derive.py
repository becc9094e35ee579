"""A series of readings becomes findings: one function for each, and one that asks for all."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.basis import Basis, basis_of
from analysis.doubts import doubts_of
from analysis.estimate import Estimate, propagated
from analysis.findings import Finding, Remark, Undetermined
from analysis.gravity import AcceptedGravity
from analysis.joint import JointFit
from analysis.models import GRAVITY, SPEED_ROOT_HEAD, SPEED_SQUARED_HEAD, THROW_SQUARED_HEAD, Law
from analysis.notation import plain, with_uncertainty
from analysis.series import BoolArray, Conditions, FloatArray, Series
from analysis.slopes import LawLine, chosen_line, line_estimates

AREA, DIAMETER, JET, CONTRACTION = (
    "container area",
    "orifice diameter",
    "jet diameter",
    "contraction coefficient (assumed)",
)
ASSUMED_CONTRACTION, ASSUMED_CONTRACTION_U = 0.64, 0.03
"""Cc of a sharp edge in a thin plane wall: 0.64 (Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 17); worked
examples of textbooks lie between 0.61 and 0.67."""

_NEEDS = "a free straight line through at least 2 readings (3 without stated errors) of head and throw at different heads"


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
    flight_time_s: FloatArray
    """(n,) time of flight that was used; NaN where there is no drop."""
    kept: BoolArray
    """(n,) rows that took part in every fit that they had the readings for."""
    reasons: tuple[str, ...]
    """n reasons why a row of the series was left out; "" where it was not, or where the series had left it out."""
    throws: JointFit | None
    """The joint fit of the throws."""
    drain: JointFit | None
    """The joint fit of the drain curve."""
    estimates: Mapping[str, Estimate]
    """What each finding's uncertainty is made of, by name; two of them give their covariance."""

    @property
    def speed_u(self) -> FloatArray:
        """(n,) m/s, standard uncertainty of each speed, own and shared combined."""
        return np.asarray(np.hypot(self.speed_own_u, self.speed_shared_u), dtype=np.float64)

    def finding(self, name: str) -> Finding | None:
        """The finding of that name, if the inputs determine it."""
        return next((each for each in self.findings if each.name == name), None)


@dataclass(frozen=True, slots=True, eq=False)
class _Derived:
    """An estimate on its way to a finding."""

    estimate: Estimate
    symbol: str
    unit: str
    method: str
    depends_on_assumed_g: bool
    remarks: tuple[str, ...] = ()
    in_logarithm: bool = False


_Answer = _Derived | str
"""What a finding's function gives: the estimate, or the words that name what is missing."""


def findings_of(series: Series, conditions: Conditions) -> Findings:
    """
    Derive everything that a series of readings holds.

    Parameters
    ----------
    series : Series
        Times, heads, throws and drops, as far as they were read.
    conditions : Conditions
        What was measured once.

    Returns
    -------
    Findings
        Every name of the contract stands either among the findings or among the undetermined.
    """
    basis = basis_of(series, conditions)
    answers: dict[str, _Answer] = {}
    answers["speed_coefficient"] = _speed_coefficient(basis)
    answers["discharge_coefficient"] = _discharge_coefficient(basis)
    answers["head_zero_offset_m"] = _head_zero_offset(basis)
    answers["throw_zero_offset_m"] = _throw_zero_offset(basis)
    answers["slope_speed_vs_root_head"] = _slope(basis, SPEED_ROOT_HEAD, "dv/d√h")
    answers["slope_speed_squared_vs_head"] = _slope(basis, SPEED_SQUARED_HEAD, "dv²/dh")
    answers["slope_throw_squared_vs_head"] = _slope(basis, THROW_SQUARED_HEAD, "dx²/dh")
    answers["gravity_from_slope_root"] = _gravity_from_slope_root(basis)
    answers["gravity_from_slope_squared"] = _gravity_from_slope_squared(basis)
    answers["gravity_from_clock"] = _gravity_from_clock(basis)
    answers["drain_rate_root_m_per_s"] = _drain_rate(basis)
    answers["time_to_empty_s"] = _time_to_empty(basis)
    determined: list[Finding] = []
    undetermined: list[Undetermined] = []
    estimates: dict[str, Estimate] = {}
    for name, answer in answers.items():
        settled = _settled(name, answer)
        if isinstance(settled, Finding) and isinstance(answer, _Derived):
            determined.append(settled)
            estimates[name] = answer.estimate
        elif isinstance(settled, Undetermined):
            undetermined.append(settled)
    return Findings(
        findings=tuple(determined),
        undetermined=tuple(undetermined),
        remarks=doubts_of(basis, estimates),
        lines=basis.lines,
        accepted_gravity=basis.gravity,
        speed_m_s=basis.speed,
        speed_own_u=basis.speed_own_u,
        speed_shared_u=basis.speed_shared_u,
        paired_head_m=basis.paired_head,
        flight_time_s=basis.flight_time,
        kept=basis.kept,
        reasons=basis.reasons,
        throws=basis.throws,
        drain=basis.drain,
        estimates=MappingProxyType(estimates),
    )


def _settled(name: str, answer: _Answer) -> Finding | Undetermined:
    """A finding holds finite numbers and an uncertainty above zero, or it is none."""
    if isinstance(answer, str):
        return Undetermined(name, answer)
    estimate = answer.estimate
    if not (math.isfinite(estimate.value) and math.isfinite(estimate.u)):
        return Undetermined(name, "readings from which a finite value follows; these give none")
    if estimate.u <= 0.0:
        return Undetermined(
            name,
            f"an uncertainty: the readings give {plain(estimate.value)} {answer.unit if answer.unit != '1' else ''}".rstrip()
            + ", but no error was stated and there are too few to show their scatter",
        )
    wide = answer.in_logarithm and estimate.value > 0.0
    low, high = estimate.log_interval_95 if wide else estimate.interval_95
    if not (math.isfinite(low) and math.isfinite(high)):
        return Undetermined(name, "readings with less scatter: the interval has no end")
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


def _missing_pairs(basis: Basis) -> str:
    """What is missing where no throw could be fitted."""
    series = basis.series
    lacking = [name for name in ("head", "throw", "drop") if getattr(series, name) is None]
    if lacking:
        return " and ".join(lacking)
    return "a row with head, throw and drop all read and above zero"


def _speed_coefficient(basis: Basis) -> _Answer:
    if basis.throws is None:
        return _missing_pairs(basis)
    estimate = basis.throws.estimate("cv", basis.n)
    remarks = [basis.pairing_words]
    if basis.throws.has("head_zero"):
        zero = basis.throws.estimate("head_zero", basis.n)
        remarks.append(
            f"the head's zero was left free ({basis.throws_zero_why}) and came out {_mm(zero)} below the marked one"
        )
    for words, other in (
        (
            "from the line x² against h through the origin",
            _root_of_slope(basis, THROW_SQUARED_HEAD, free=False),
        ),
        (
            "from the line x² against h with a free intercept",
            _root_of_slope(basis, THROW_SQUARED_HEAD, free=True),
        ),
        ("mean of single ratios x/(2√(y₀h))", basis.mean_of_ratios),
    ):
        if other is not None and other.u > 0.0:
            remarks.append(f"{words}: {with_uncertainty(other.value, other.u)}")
    return _Derived(
        estimate,
        "Cv",
        "1",
        "joint fit of x = 2 Cv √(y₀ h) to all throws and heads with the shared sources; lengths only",
        depends_on_assumed_g=False,
        remarks=tuple(words for words in remarks if words),
    )


def _mm(estimate: Estimate) -> str:
    return with_uncertainty(1e3 * estimate.value, 1e3 * estimate.u, "mm")


def _line(basis: Basis, law: Law, *, free: bool) -> tuple[LawLine, Estimate, Estimate | None] | None:
    """A law's line with its slope and intercept as estimates."""
    fitted = chosen_line(basis.lines, law, free_intercept=free)
    if fitted is None or basis.pairs is None or fitted.points.x.shape[0] < (2 if free else 1):
        return None
    if fitted.line.dof < 1 and not fitted.errors_in_both:
        return None
    order = None if basis.pairs.time_s is None else basis.pairs.time_s
    slope, intercept = line_estimates(fitted, basis.n, basis.pairs.sources, order)
    return fitted, slope, intercept


def _root_of_slope(basis: Basis, law: Law, *, free: bool) -> Estimate | None:
    """Cv from the slope of x² against h: √(slope / 4 y₀)."""
    found = _line(basis, law, free=free)
    if found is None or basis.pairs is None or found[1].value <= 0.0:
        return None
    slope = found[1]
    drop = float(np.mean(basis.pairs.drop))
    value = math.sqrt(slope.value / (4.0 * drop)) * math.sqrt(1.0 - basis.approach**2)
    by_drop = -value / (2.0 * drop) * np.mean(basis.pairs.drop_shared, axis=0)
    extra = {name: float(by_drop[j]) for j, name in enumerate(basis.pairs.sources)}
    return propagated(value, [(slope, value / (2.0 * slope.value))], extra)


def _slope(basis: Basis, law: Law, symbol: str) -> _Answer:
    found = _line(basis, law, free=True)
    if found is None:
        return _missing_pairs(basis) if basis.throws is None else _NEEDS
    fitted, slope, _ = found
    borrowed = law is not THROW_SQUARED_HEAD
    return _Derived(
        slope,
        symbol,
        law.slope_unit,
        f"{law.formula}, free intercept, {fitted.line.method}",
        depends_on_assumed_g=borrowed,
        remarks=(f"the slope is {law.slope_means}",),
    )


def _borrowed(basis: Basis) -> str:
    return (
        f"equals g_assumed·Cv² with g_assumed = {plain(basis.gravity.value, 6)} m/s² ({basis.gravity.source}): the "
        "speeds were made from throws with that g, the true g has cancelled, so this holds no news of g"
    )


def _gravity_from_slope_root(basis: Basis) -> _Answer:
    answer = _slope(basis, SPEED_ROOT_HEAD, "g")
    if isinstance(answer, str):
        return answer
    slope = answer.estimate
    return _Derived(
        propagated(slope.value**2 / 2.0, [(slope, slope.value)]),
        "g",
        "m/s²",
        "slope²/2 of speed against √head, free intercept",
        depends_on_assumed_g=True,
        remarks=(_borrowed(basis),),
    )


def _gravity_from_slope_squared(basis: Basis) -> _Answer:
    answer = _slope(basis, SPEED_SQUARED_HEAD, "g")
    if isinstance(answer, str):
        return answer
    slope = answer.estimate
    return _Derived(
        propagated(slope.value / 2.0, [(slope, 0.5)]),
        "g",
        "m/s²",
        "slope/2 of speed² against head, free intercept",
        depends_on_assumed_g=True,
        remarks=(_borrowed(basis),),
    )


def _head_zero_offset(basis: Basis) -> _Answer:
    found = _line(basis, THROW_SQUARED_HEAD, free=True)
    if found is None or found[2] is None:
        return _missing_pairs(basis) if basis.throws is None else _NEEDS
    _, slope, intercept = found
    if slope.value <= 0.0:
        return "throws that grow with the head"
    value = intercept.value / slope.value
    estimate = propagated(value, [(intercept, 1.0 / slope.value), (slope, -value / slope.value)])
    return _Derived(
        estimate,
        "δh",
        "m",
        "intercept over slope of x² against h, free intercept",
        depends_on_assumed_g=False,
        remarks=(
            "x² = 4 y₀ Cv² (h + δh): above zero, the head that drives the jet is larger than the head as marked; "
            "below zero, head is lost, as surface tension does in a thin jet",
            f"from the readings' own scatter alone the uncertainty is {plain(1e3 * estimate.u_own, 2)} mm",
        ),
    )


def _throw_zero_offset(basis: Basis) -> _Answer:
    found = _line(basis, SPEED_ROOT_HEAD, free=True)
    if found is None or found[2] is None or basis.pairs is None:
        return _missing_pairs(basis) if basis.throws is None else _NEEDS
    flight = math.sqrt(2.0 * float(np.mean(basis.pairs.drop)) / basis.gravity.value)
    intercept = found[2]
    # The accepted g made the speed and now makes the throw of it again: it leaves no trace.
    estimate = propagated(intercept.value * flight, [(intercept, flight)])
    moves = {name: change for name, change in estimate.shared.items() if name != GRAVITY}
    return _Derived(
        Estimate(estimate.value, estimate.own, MappingProxyType(moves), estimate.own_dof),
        "δx",
        "m",
        "intercept of speed against √head, free intercept, times the flight time",
        depends_on_assumed_g=False,
        remarks=(
            "x = 2 Cv √(y₀ h) + δx: above zero, throws as marked are too long by δx; a wrong zero of the head "
            "shows here as well",
        ),
    )


def _drain_rate(basis: Basis) -> _Answer:
    if basis.drain is None:
        return basis.no_drain
    remarks = []
    if basis.drain.has("head_zero"):
        zero = basis.drain.estimate("head_zero", basis.n)
        remarks.append(f"the head's zero was left free and came out {_mm(zero)} below the marked one")
    return _Derived(
        basis.drain.estimate("k", basis.n),
        "k",
        "m^0.5/s",
        "joint fit of √h = √h₀ − k t to all heads with the shared sources",
        depends_on_assumed_g=False,
        remarks=tuple(remarks),
    )


def _time_to_empty(basis: Basis) -> _Answer:
    if basis.drain is None or basis.series.time_s is None:
        return basis.no_drain
    k, root = basis.drain.estimate("k", basis.n), basis.drain.estimate("root_h0", basis.n)
    if k.value <= 0.0:
        return "a head that falls"
    value = root.value / k.value
    start = float(basis.series.time_s[basis.drain.first_row])
    return _Derived(
        propagated(value, [(root, 1.0 / k.value), (k, -value / k.value)]),
        "tₑ",
        "s",
        "√h₀/k of the drain curve",
        depends_on_assumed_g=False,
        remarks=(
            f"counted from the first reading used, at {plain(start, 5)} s; where √h would reach zero if the law held "
            "to the end, which it does not at the lowest heads",
        ),
    )


def _missing_conditions(basis: Basis, *, jet_will_do: bool) -> list[str]:
    at = basis.conditions
    lacking = []
    if not at.container_area_m2 or at.container_area_m2 <= 0.0:
        lacking.append("container area")
    hole = at.orifice_diameter_m is not None and at.orifice_diameter_m > 0.0
    jet = at.jet_diameter_m is not None and at.jet_diameter_m > 0.0
    if not hole and not (jet_will_do and jet):
        lacking.append("orifice diameter")
    return lacking


def _taken_as_exact(*named: tuple[str, float | None]) -> tuple[str, ...]:
    silent = [name for name, u in named if not u]
    if not silent:
        return ()
    return (
        f"no uncertainty was stated for the {' and the '.join(silent)}: taken as exact, so u is too small",
    )


def _discharge_coefficient(basis: Basis) -> _Answer:
    lacking = _missing_conditions(basis, jet_will_do=False)
    if basis.drain is None:
        lacking = [basis.no_drain, *lacking]
    area, d = basis.conditions.container_area_m2, basis.conditions.orifice_diameter_m
    if lacking or basis.drain is None or area is None or d is None:
        return "; ".join(lacking)
    k = basis.drain.estimate("k", basis.n)
    g = basis.gravity
    hole = math.pi * d**2 / 4.0
    value = k.value * area / (hole * math.sqrt(g.value / 2.0))
    area_u, d_u = basis.conditions.container_area_u_m2, basis.conditions.orifice_diameter_u_m
    extra = {
        AREA: value * (area_u or 0.0) / area,
        DIAMETER: -2.0 * value * (d_u or 0.0) / d,
        GRAVITY: -0.5 * value * g.u / g.value,
    }
    remarks = (
        f"with g = {plain(g.value, 6)} m/s² ({g.source})",
        *_taken_as_exact(("container area", area_u), ("orifice diameter", d_u)),
    )
    slope = value / k.value if k.value else area / (hole * math.sqrt(g.value / 2.0))
    return _Derived(
        propagated(value, [(k, slope)], extra),
        "Cd",
        "1",
        "k A / (a √(g/2)) from the drain curve, container area and orifice area; prismatic container",
        depends_on_assumed_g=True,
        remarks=remarks,
    )


def _gravity_from_clock(basis: Basis) -> _Answer:
    lacking = _missing_conditions(basis, jet_will_do=True)
    if basis.drain is None:
        lacking = [basis.no_drain, *lacking]
    if basis.throws is None:
        lacking = [_missing_pairs(basis), *lacking]
    at = basis.conditions
    if lacking or basis.drain is None or basis.throws is None or at.container_area_m2 is None:
        return "; ".join(dict.fromkeys(lacking))
    k, cv = basis.drain.estimate("k", basis.n), basis.throws.estimate("cv", basis.n)
    if k.value <= 0.0:
        return "a head that falls"
    relative: dict[str, float] = {AREA: 2.0 * (at.container_area_u_m2 or 0.0) / at.container_area_m2}
    if at.jet_diameter_m is not None and at.jet_diameter_m > 0.0:
        jet_area = math.pi * at.jet_diameter_m**2 / 4.0
        relative[JET] = -4.0 * (at.jet_diameter_u_m or 0.0) / at.jet_diameter_m
        how = "with the jet's measured diameter"
        remarks = _taken_as_exact(
            ("container area", at.container_area_u_m2), ("jet diameter", at.jet_diameter_u_m)
        )
    else:
        d = at.orifice_diameter_m or math.nan
        jet_area = ASSUMED_CONTRACTION * math.pi * d**2 / 4.0
        relative[DIAMETER] = -4.0 * (at.orifice_diameter_u_m or 0.0) / d
        relative[CONTRACTION] = -2.0 * ASSUMED_CONTRACTION_U / ASSUMED_CONTRACTION
        how = f"with an assumed contraction of the jet, Cc = {ASSUMED_CONTRACTION} ± {ASSUMED_CONTRACTION_U}"
        remarks = (
            f"rests on a handbook's contraction coefficient of a sharp edge, {ASSUMED_CONTRACTION} ± "
            f"{ASSUMED_CONTRACTION_U}, not measured here; a drilled or thick-walled hole has another. Measure the "
            "jet's diameter one hole radius outside to be rid of it",
            *_taken_as_exact(
                ("container area", at.container_area_u_m2), ("orifice diameter", at.orifice_diameter_u_m)
            ),
        )
    value = 2.0 * (k.value * at.container_area_m2 / (jet_area * cv.value)) ** 2
    parts = [(k, 2.0 * value / k.value), (cv, -2.0 * value / cv.value)]
    return _Derived(
        propagated(value, parts, {name: value * change for name, change in relative.items()}),
        "g",
        "m/s²",
        f"2 (k A / (a_jet Cv))²: clock and lengths, {how}",
        depends_on_assumed_g=False,
        remarks=remarks,
        in_logarithm=True,
    )
