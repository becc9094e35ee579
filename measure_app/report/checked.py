"""A result whose intervals were held against Monte Carlo before it is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from analysis import (
    Corrections,
    Findings,
    Series,
    checked_by_monte_carlo,
    findings_of,
    with_traced_angle,
)
from measure_app.errors import Stopped
from measure_app.report.results import Results
from measure_app.series import corrections_of
from measure_app.words import said

SEED = 1
"""Shown beside what rests on it; another one changes the last digit at most."""


def checked(
    results: Results, seed: int = SEED, *, stop_requested: Callable[[], bool] | None = None
) -> Results:
    """
    Hold the first-order intervals of a result against Monte Carlo (JCGM 101), and use those that hold.

    Takes the better part of a second, so that it has no place in a window's recompute; the window asks for
    it while nothing changes. A result that was checked before is given back as it is.

    Parameters
    ----------
    results : Results
        As derived.
    seed : int
        The same seed gives the same result.
    stop_requested : callable, optional
        Asked before each refit.

    Returns
    -------
    Results
        With a remark that says how many intervals hold; those that do not are the trials' and say so.

    Raises
    ------
    Stopped
        `stop_requested` said so.
    """
    if results.findings.checked:
        return results
    conditions, corrections = results.conditions, Corrections()
    if results.outcome is not None:
        conditions = with_traced_angle(conditions, results.outcome.jet)
        corrections = corrections_of(results.outcome.run)
    pulled = results.findings.finding("launch_angle_deg")
    if conditions.launch_angle_deg is not None and pulled is not None:
        # The refits begin from readings by the law, and those go with the angle as the readings pulled it:
        # held against the stated one they would begin in a tension that is not theirs.
        conditions = replace(conditions, launch_angle_deg=pulled.value)

    def engine(series: Series) -> Findings:
        if stop_requested is not None and stop_requested():
            raise Stopped(said("stopped; nothing was written"))
        return findings_of(series, conditions, corrections=corrections)

    made = checked_by_monte_carlo(results.findings, results.series, engine, seed=seed).findings
    news = made.remarks[len(results.findings.remarks) :]
    outcome = results.outcome
    return replace(
        results,
        findings=made,
        remarks=(*results.remarks, *news),
        outcome=None
        if outcome is None
        else replace(outcome, findings=made, remarks=(*outcome.remarks, *news)),
    )
