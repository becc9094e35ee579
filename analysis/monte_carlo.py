"""First-order uncertainties held against Monte Carlo (JCGM 101, section 8), finding by finding.

Two things can make a first-order interval wrong: a formula that bends between the fitted quantities and the
finding, such as g = 2 (k A / (a Cv))², and a fit that answers a large error with more or less than a small
one. The first is sent through the formula itself with many thousand trials. The second is asked of the real
engine: the readings are moved by drawn errors to one side and to the other, the whole engine is run on both,
and half the sum of what it gives, less what it gave before, is how far the fit bends.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from analysis.coefficients import AREA, CONTRACTION, DIAMETER, JET, WIDTH
from analysis.derive import Findings
from analysis.distributions import (
    Correlated,
    Propagated,
    propagate_distributions,
)
from analysis.estimate import Estimate, covariance
from analysis.finding_names import finding_name
from analysis.findings import Finding, Remark
from analysis.models import GRAVITY
from analysis.notation import interval as interval_in_words
from analysis.refits import INTERCEPT, RATE, ROOT_H0, STRAIGHT, Bend, bends_of, fitted_quantities
from analysis.series import FloatArray, Series
from analysis.words import marked, said

SEED = 1
MOST_TRIALS = 100_000
TOLERANCE = 0.05
"""δ over u: half a unit in the second digit of an uncertainty that begins with 1.0, so that no interval
shown to two digits of u is off by more than one in its last place. (JCGM 101, 7.9.2, takes half a unit in
the last meaningful digit, which jumps by ten as u passes a power of ten; this is its larger end for two.)"""
_FINER = 5.0
"""The trials are asked for a fifth of the tolerance that they judge by (JCGM 101, 8.2, from memory)."""


@dataclass(frozen=True, slots=True)
class MonteCarloCheck:
    """One finding's interval by first order and by trials."""

    name: str
    first_order: tuple[float, float]
    interval: tuple[float, float]
    """Probabilistically symmetric 95 % interval of the trials."""
    shortest: tuple[float, float]
    """Shortest 95 % interval of the trials."""
    mean: float
    u: float
    """Standard deviation of the trials."""
    tolerance: float
    """δ: what the ends may differ by."""
    reached: float
    """Numerical error of the trials' results, two standard deviations."""
    bend: Bend
    """How the fit beneath it answers errors, for a finding that is a fitted quantity itself."""

    @property
    def difference(self) -> float:
        """The larger of the differences of the two intervals' ends."""
        return max(abs(a - b) for a, b in zip(self.first_order, self.interval, strict=True))

    @property
    def holds(self) -> bool:
        """Whether the first-order interval is good enough: no end off by more than can be seen."""
        return self.difference <= self.tolerance + self.reached


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """Findings whose intervals are those of the trials wherever first order does not do."""

    findings: Findings
    checks: tuple[MonteCarloCheck, ...]
    trials: int
    refits: int
    """How often the whole engine was run on moved readings."""
    seed: int

    def check(self, name: str) -> MonteCarloCheck | None:
        """Give the check of that finding, if it was determined."""
        return next((each for each in self.checks if each.name == name), None)


@dataclass(frozen=True, slots=True)
class _Powers:
    """A finding as a product of powers of fitted quantities and of things measured once."""

    fitted: Mapping[str, float]
    once: Mapping[str, float]


_FORMULAS: Mapping[str, _Powers] = MappingProxyType(
    {
        "drain_rate_root_m_per_s": _Powers({RATE: 1.0}, {WIDTH: 1.0}),
        "discharge_coefficient": _Powers({RATE: 1.0}, {AREA: 1.0, DIAMETER: -2.0, GRAVITY: -0.5, WIDTH: 1.0}),
        "gravity_from_clock": _Powers(
            {RATE: 2.0, "speed_coefficient": -2.0},
            {AREA: 2.0, DIAMETER: -4.0, JET: -4.0, CONTRACTION: -2.0, WIDTH: 2.0},
        ),
        "gravity_from_slope_root": _Powers({"slope_speed_vs_root_head": 2.0}, {}),
        "gravity_from_slope_squared": _Powers({"slope_speed_squared_vs_head": 1.0}, {}),
        "time_to_empty_s": _Powers({ROOT_H0: 1.0, RATE: -1.0}, {WIDTH: -1.0}),
        "head_zero_offset_m": _Powers({INTERCEPT: 1.0, "slope_throw_squared_vs_head": -1.0}, {}),
    }
)
"""What is not in here is a fitted quantity itself, and is drawn as its estimate says."""


@dataclass(frozen=True, slots=True, eq=False)
class _Output:
    """One finding made of drawn quantities."""

    finding: Finding
    estimate: Estimate
    parts: tuple[tuple[int, float], ...]
    """Index of each fitted quantity, and its power."""
    factors: tuple[tuple[int, float, float], ...]
    """Index of a source, relative standard uncertainty of the thing measured once, and its power."""
    rest: tuple[tuple[int, float], ...]
    """Index of a source, and the change that one standard uncertainty of it makes: first order."""
    scale: float
    """What the product is multiplied by to give the finding."""
    in_logarithm: bool
    """Whether a fitted quantity itself is drawn with a relative error, as its interval is stated."""
    slopes: tuple[tuple[int, float], ...]
    """Index of each fitted quantity, and the finding's derivative."""


@dataclass(frozen=True, slots=True, eq=False)
class _Draws:
    """Where each thing drawn stands among the rows of the inputs."""

    names: tuple[str, ...]
    estimates: tuple[Estimate, ...]
    sources: Mapping[str, int]
    freedoms: tuple[float, ...]
    """Finite degrees of freedom that occur."""

    def moves(self, estimate: Estimate) -> FloatArray:
        """(k,) change with each source."""
        row = np.zeros(len(self.sources))
        for name, change in estimate.shared.items():
            row[self.sources[name]] = change
        return row


@dataclass(frozen=True, slots=True)
class _Widening:
    """√(ν/χ²): what makes a normal draw one of Student's t."""

    dof: float
    size: int = 1

    def draw(self, rng: np.random.Generator, trials: int) -> FloatArray:
        return np.asarray(np.sqrt(self.dof / rng.chisquare(self.dof, (1, trials))), dtype=np.float64)


def checked_by_monte_carlo(
    findings: Findings,
    series: Series,
    engine: Callable[[Series], Findings],
    *,
    seed: int = SEED,
    most_trials: int = MOST_TRIALS,
) -> Checked:
    """
    Hold every finding's first-order interval against Monte Carlo, and replace those that do not hold.

    Parameters
    ----------
    findings : Findings
        What the engine made of the series.
    series : Series
        The run.
    engine : callable
        Series to findings, conditions and corrections being as they were.
    seed : int
        The same seed gives the same trials.
    most_trials : int
        The most trials, should the tolerance not be reached.

    Returns
    -------
    Checked
        Value, u and budget of a finding stay those of first order; an interval whose ends differ from the
        trials' by more than `TOLERANCE` of u is the trials' one, and says so.

    Notes
    -----
    Takes some forty runs of the engine on a series condensed to at most a hundred rows, and up to 10⁵ trials
    of the formulas. Never in the path of the window's recompute; the window asks for it at rest.
    """
    if not any(each.name in findings.estimates for each in findings.findings):
        return Checked(replace(findings, checked=True), (), 0, 0, seed)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        refits, bends = bends_of(findings, series, engine, seed)
        outputs, draws = _laid_out(findings)
        results = _trials(outputs, draws, bends, seed, most_trials)
    checks = tuple(
        MonteCarloCheck(
            name=output.finding.name,
            first_order=output.finding.interval_95,
            interval=result.interval,
            shortest=result.shortest,
            mean=result.mean,
            u=result.u,
            tolerance=TOLERANCE * output.finding.u,
            reached=result.reached,
            bend=bends.get(output.finding.name, STRAIGHT) if output.finding.name in draws.names else STRAIGHT,
        )
        for output, result in zip(outputs, results, strict=True)
        if _sound(output.finding, result)
    )
    trials = results[0].trials if results else 0
    return Checked(_settled(findings, checks, trials, seed), checks, trials, refits, seed)


def _sound(finding: Finding, result: Propagated) -> bool:
    low, high = result.interval
    return math.isfinite(low) and math.isfinite(high) and low < finding.value < high


def _laid_out(findings: Findings) -> tuple[list[_Output], _Draws]:
    """Sort findings into fitted quantities, which are drawn, and what is made of them."""
    fitted = fitted_quantities(findings)
    known = [each for each in findings.findings if each.name in findings.estimates]
    made: dict[str, _Powers] = {}
    for finding in known:
        formula = _FORMULAS.get(finding.name)
        if formula is not None and _made_of(findings.estimates[finding.name], formula, fitted):
            made[finding.name] = formula
    needed = {part for formula in made.values() for part in formula.fitted}
    drawn = {
        **{each.name: findings.estimates[each.name] for each in known if each.name not in made},
        **{name: fitted[name] for name in sorted(needed)},
    }
    sources: dict[str, int] = {}
    for estimate in (*drawn.values(), *(findings.estimates[each.name] for each in known)):
        for name in estimate.shared:
            sources.setdefault(name, len(sources))
    freedoms = sorted({each.own_dof for each in drawn.values() if math.isfinite(each.own_dof)})
    draws = _Draws(tuple(drawn), tuple(drawn.values()), sources, tuple(freedoms))
    outputs = []
    for finding in known:
        if finding.name in made:
            outputs.append(_product(finding, findings.estimates[finding.name], made[finding.name], draws))
        else:
            at = draws.names.index(finding.name)
            outputs.append(
                _Output(
                    finding,
                    findings.estimates[finding.name],
                    parts=((at, 1.0),),
                    factors=(),
                    rest=(),
                    scale=1.0,
                    in_logarithm=_in_logarithm(finding),
                    slopes=((at, 1.0),),
                )
            )
    return outputs, draws


def _made_of(estimate: Estimate, formula: _Powers, fitted: Mapping[str, Estimate]) -> bool:
    """Whether the formula is the one behind the estimate: the readings' own errors must move both alike."""
    if any(name not in fitted or not fitted[name].value for name in formula.fitted if name != INTERCEPT):
        return False
    if any(name not in fitted for name in formula.fitted):
        return False
    own = np.zeros_like(estimate.own)
    for name, power in formula.fitted.items():
        if fitted[name].own.shape != own.shape:
            return False
        own = own + _derivative(estimate, formula, fitted, name, power) * fitted[name].own
    return bool(np.sum((own - estimate.own) ** 2) <= (1e-3 * estimate.u) ** 2)


def _derivative(
    estimate: Estimate, formula: _Powers, fitted: Mapping[str, Estimate], name: str, power: float
) -> float:
    """Give the finding's derivative with respect to one of the quantities that it is a product of."""
    if name == INTERCEPT:
        # The intercept may be nought, its coefficient is not.
        return float(math.prod(fitted[n].value ** p for n, p in formula.fitted.items() if n != INTERCEPT))
    return power * estimate.value / fitted[name].value


def _product(finding: Finding, estimate: Estimate, formula: _Powers, draws: _Draws) -> _Output:
    fitted = dict(zip(draws.names, draws.estimates, strict=True))
    parts, slopes = [], []
    rest = draws.moves(estimate)
    for name, power in formula.fitted.items():
        slope = _derivative(estimate, formula, fitted, name, power)
        parts.append((draws.names.index(name), power))
        slopes.append((draws.names.index(name), slope))
        rest = rest - slope * draws.moves(fitted[name])
    factors = []
    for name, power in formula.once.items():
        at = draws.sources.get(name)
        if at is not None and rest[at]:
            factors.append((at, float(rest[at]) / (power * estimate.value), power))
            rest[at] = 0.0
    of_parts = math.prod(fitted[name].value ** power for name, power in formula.fitted.items())
    return _Output(
        finding,
        estimate,
        parts=tuple(parts),
        factors=tuple(factors),
        rest=tuple((int(i), float(rest[i])) for i in np.nonzero(np.abs(rest) > 1e-9 * estimate.u)[0]),
        scale=1.0 if INTERCEPT in formula.fitted else estimate.value / of_parts,
        in_logarithm=False,
        slopes=tuple(slopes),
    )


def _in_logarithm(finding: Finding) -> bool:
    low, high = finding.interval_95
    if not 0.0 < low < finding.value:
        return False
    above, below = high / finding.value, finding.value / low
    return math.isclose(above, below, rel_tol=1e-9) and not math.isclose(
        high - finding.value, finding.value - low, rel_tol=1e-9
    )


def _trials(
    outputs: list[_Output], draws: _Draws, bends: Mapping[str, Bend], seed: int, most_trials: int
) -> tuple[Propagated, ...]:
    """Draw errors of readings, shared sources and widenings, and make every finding of them."""
    p, k, g = len(draws.names), len(draws.sources), len(draws.freedoms)
    own = np.array([[_own_covariance(a, b) for b in draws.estimates] for a in draws.estimates])
    moves = np.stack([draws.moves(each) for each in draws.estimates])
    u = np.array([each.u for each in draws.estimates])
    values = np.array([each.value for each in draws.estimates])
    bent = [bends.get(name, STRAIGHT) for name in draws.names]
    widened = [
        draws.freedoms.index(each.own_dof) if math.isfinite(each.own_dof) else -1 for each in draws.estimates
    ]
    slopes = np.zeros((len(outputs), p))
    shared = np.stack([draws.moves(output.estimate) for output in outputs])
    for i, output in enumerate(outputs):
        for at, slope in output.slopes:
            slopes[i, at] += slope
    sizes = np.array([output.estimate.u for output in outputs])

    def model(q: FloatArray) -> FloatArray:
        z = q[p : p + k]
        widening = np.vstack([q[p + k : p + k + g], np.ones((1, q.shape[1]))])
        moved = q[:p] * widening[widened] + moves @ z
        made = np.empty((len(outputs), q.shape[1]))
        fitted = np.empty_like(moved)
        for j, bend in enumerate(bent):
            s = moved[j] / u[j]
            extra = bend.bias + bend.curvature * (s**2 - 1.0) + bend.roughness * q[p + k + g]
            fitted[j] = values[j] + bend.gain * moved[j] + u[j] * extra
        for i, output in enumerate(outputs):
            made[i] = _made(output, fitted, z, values)
        return made

    def control(q: FloatArray) -> FloatArray:
        return np.asarray((slopes @ q[:p] + shared @ q[p : p + k]) / sizes[:, None], dtype=np.float64)

    return propagate_distributions(
        model,
        [
            Correlated(np.zeros(p), own),
            Correlated(np.zeros(k), np.eye(k)),
            *(_Widening(dof) for dof in draws.freedoms),
            Correlated(np.zeros(1), np.eye(1)),
        ],
        seed=seed,
        tolerance=TOLERANCE / _FINER * np.array([output.finding.u for output in outputs]),
        most_trials=most_trials,
        control=control,
    )


def _made(output: _Output, fitted: FloatArray, z: FloatArray, values: FloatArray) -> FloatArray:
    if output.in_logarithm:
        at = output.parts[0][0]
        return np.asarray(values[at] * np.exp(fitted[at] / values[at] - 1.0), dtype=np.float64)
    product: FloatArray = np.full(fitted.shape[1], output.scale)
    for at, power in output.parts:
        product = product * fitted[at] ** power
    for at, relative, power in output.factors:
        # A length or an area is above nought: a wide one is drawn in its logarithm.
        if abs(relative) < 0.2:
            product = product * (1.0 + relative * z[at]) ** power
        else:
            product = product * np.exp(power * relative * z[at])
    for at, change in output.rest:
        product = product + change * z[at]
    return product


def _own_covariance(one: Estimate, other: Estimate) -> float:
    """Covariance from the readings' own errors alone."""
    return covariance(replace(one, shared=MappingProxyType({})), replace(other, shared=MappingProxyType({})))


def _settled(findings: Findings, checks: tuple[MonteCarloCheck, ...], trials: int, seed: int) -> Findings:
    """Put the trials' intervals where first order does not hold, and say what was checked."""
    told = {check.name: check for check in checks}
    made = []
    for finding in findings.findings:
        check = told.get(finding.name)
        if check is None or check.holds:
            made.append(finding)
            continue
        low, high = check.first_order
        words = said(
            "the 95 % interval is from {trials:,} Monte Carlo trials (JCGM 101, seed {seed}): "
            "the one by first order, {interval_in_words}, differs from it by {u:.2f} u",
            trials=trials,
            seed=seed,
            interval_in_words=interval_in_words(low, high, finding.u, finding.unit),
            u=check.difference / finding.u,
        )
        remarks = (*finding.remarks, words)
        made.append(replace(finding, interval_95=check.interval, remarks=remarks, from_trials=True))
    changed = [check for check in checks if not check.holds]
    names = "; ".join(finding_name(check.name) for check in changed)
    verdict = (
        said("all hold")
        if not changed
        else said(
            "{count} hold; those of {names} do not and were replaced",
            count=len(checks) - len(changed),
            names=names,
        )
    )
    remark = Remark(
        marked("uncertainty"),
        said(
            "the first-order intervals of {count} findings were held against {trials:,} Monte "
            "Carlo trials (JCGM 101, seed {seed}): {verdict}",
            count=len(checks),
            trials=trials,
            seed=seed,
            verdict=verdict,
        ),
    )
    return replace(findings, findings=tuple(made), remarks=(*findings.remarks, remark), checked=True)
