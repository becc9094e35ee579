"""A better hole and drop for a plan, sought with the engine's own uncertainty within limits."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from analysis.gravity import STANDARD_GRAVITY
from analysis.plan import Forecast, Plan
from analysis.plan_advice import LONG_DRAIN_S, THIN_JET_WEBER
from analysis.plan_forecast import MARGIN_M, drain_time, forecast_of, sight_of
from analysis.published import expected_bands
from analysis.rows import law_limit_m
from analysis.water import water_at, weber_number
from analysis.words import said

LEAST_TIME_S = 30.0
"""A run that can be started calmly and read well; common practice, no source."""
_HOLE_STEP_M, _DROP_STEP_M = 0.5e-3, 10e-3
_MOST_HOLES, _MOST_DROPS = 10, 8


@dataclass(frozen=True, slots=True)
class Limits:
    """Within what a better hole and drop are sought, m."""

    hole_m: tuple[float, float]
    drop_m: tuple[float, float]
    time_s: tuple[float, float] = (LEAST_TIME_S, LONG_DRAIN_S)
    """Least and greatest drain time."""

    def __post_init__(self) -> None:
        """Refuse limits that are no range."""
        for name in ("hole_m", "drop_m", "time_s"):
            low, high = getattr(self, name)
            if not 0.0 < low <= high < math.inf:
                words = said(
                    "{rpartition} between: must be two numbers above nought, the smaller first",
                    rpartition=name.rpartition("_")[0],
                )
                raise ValueError(f"{words}, got {low:g} and {high:g}")


@dataclass(frozen=True, slots=True)
class Proposal:
    """The best hole and drop found, or why none will do."""

    limits: Limits
    best: Forecast | None
    score: float
    """Uncertainty of Cv with the pull of surface tension counted in; what was made small."""
    score_before: float | None
    """The same of the plan itself; None where it gives no Cv."""
    tried: int
    refused: tuple[tuple[str, int], ...]
    """Why hole and drop were passed over, and how many pairs, the commonest first."""

    @property
    def gain(self) -> float | None:
        """Part by which the score falls; None where there is nothing to compare."""
        if self.best is None or not self.score_before:
            return None
        return 1.0 - self.score / self.score_before


def proposal_of(
    plan: Plan,
    limits: Limits,
    *,
    stop_requested: Callable[[], bool] = lambda: False,
) -> Proposal | None:
    """
    Look for the hole and the drop that leave Cv least uncertain.

    Parameters
    ----------
    plan : Plan
        Everything but hole and drop stays as it is.
    limits : Limits
        Between which both are sought.
    stop_requested : callable
        Asked between two tries.

    Returns
    -------
    Proposal or None
        None if it was stopped. Holes go in steps of half a millimetre or more, drops in 10 mm or more.
        Passed over are pairs whose jet misses the tray or the picture or is too thin for its surface
        tension, that drain too soon or too slowly, whose law ends too high, or whose wall is so thick that
        the hole is a short tube.
    """
    refused: Counter[str] = Counter()
    tried = 0
    best: Forecast | None = None
    for hole in _steps(limits.hole_m, _HOLE_STEP_M, _MOST_HOLES):
        for drop in _steps(limits.drop_m, _DROP_STEP_M, _MOST_DROPS):
            if stop_requested():
                return None
            tried += 1
            why, candidate = _tried(plan, hole, drop, limits)
            if candidate is None:
                refused[why] += 1
                continue
            forecast = forecast_of(candidate)
            if forecast.cv_u is None:
                refused["a run too short for a Cv"] += 1
            elif best is None or score_of(forecast) < score_of(best):
                best = forecast
    before = forecast_of(plan)
    return Proposal(
        limits=limits,
        best=best,
        score=math.nan if best is None else score_of(best),
        score_before=None if before.cv_u is None else score_of(before),
        tried=tried,
        refused=tuple(refused.most_common()),
    )


def score_of(forecast: Forecast) -> float:
    """Combine the uncertainty of a forecast's Cv with the pull of surface tension; infinite without a Cv."""
    if forecast.cv_u is None:
        return math.inf
    return math.hypot(forecast.cv_u, forecast.capillary_shift or 0.0)


def _steps(between: tuple[float, float], step: float, most: int) -> tuple[float, ...]:
    """Round values of a range, at most so many of them; the ends too where nothing round lies between."""
    low, high = between
    if high - low < 1e-9:
        return (low,)
    # Steps that a ruler and a set of drills have: 1, 2, 5, 10 ... times the finest.
    coarse = next(
        times * step
        for times in (m * 10**p for p in range(12) for m in (1, 2, 5))
        if (high - low) / (times * step) <= most
    )
    first = math.ceil(low / coarse - 1e-9)
    last = math.floor(high / coarse + 1e-9)
    values = [round(coarse * i, 9) for i in range(first, last + 1)]
    return tuple(values) if values else (low, high)


def _tried(plan: Plan, hole: float, drop: float, limits: Limits) -> tuple[str, Plan | None]:
    """Give the plan with another hole and drop, or why it will not do."""
    try:
        candidate = replace(plan, hole_diameter_m=hole, drop_m=drop)
    except ValueError:
        return said("a hole too large for the container or the head"), None
    why = next(_objections(candidate, plan, limits), "")
    return why, None if why else candidate


def _objections(candidate: Plan, plan: Plan, limits: Limits) -> Iterator[str]:
    """Name what speaks against a hole and a drop, from closed forms alone."""
    hole, limit = candidate.hole_diameter_m, law_limit_m(candidate.conditions) or 0.0
    if candidate.head_m < 3.0 * limit:
        yield said("the law would end above a third of the starting head")
        return
    if candidate.wall_thickness_m >= 0.8 * hole and plan.wall_thickness_m < 0.8 * plan.hole_diameter_m:
        yield said("the wall would be too thick for the hole")
    bands = expected_bands(
        candidate.conditions,
        (limit, candidate.head_m),
        edge=candidate.edge,
        wall_thickness_m=candidate.wall_thickness_m,
    )
    cv, cd = candidate.cv or bands.cv.reckoned, candidate.cd or bands.cd.reckoned
    time = drain_time(candidate, cd, limit)
    if time < limits.time_s[0]:
        yield said("drained in less than {time_s:g} s", time_s=limits.time_s[0])
    if time > limits.time_s[1]:
        yield said("drained in more than {time_s:.3g} min", time_s=limits.time_s[1] / 60.0)
    throw = 2.0 * math.sqrt(candidate.drop_m * candidate.head_m)
    if candidate.tray_length_m is not None and throw + MARGIN_M > candidate.tray_length_m:
        yield said("the jet would miss the tray")
    if not sight_of(candidate).fits:
        yield said("container, jet and tray would not fit into the picture")
    speed = cv * math.sqrt(2.0 * STANDARD_GRAVITY * 0.5 * candidate.head_m)
    jet = hole * math.sqrt(min(1.0, cd / cv))
    if weber_number(water_at(candidate.temperature_c), speed, jet) < THIN_JET_WEBER:
        yield said("surface tension would rule the lower half of the run")
