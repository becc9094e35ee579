"""Which of the values of Cv is the result, and what each of the others lacks."""

from __future__ import annotations

from analysis import Finding, Findings, finding_name, with_uncertainty
from measure_app.words import marked, said

RESULT = "speed_coefficient"
_OTHERS = {
    "speed_coefficient_zero_intercept": marked("the line from zero takes the marked zeros for exact"),
    "speed_coefficient_mean_of_ratios": marked("the mean of single ratios takes a wrong zero in whole"),
    "jet_curvature_cv": marked(
        "the jet's curve does without the landing and rests on where the orifice is marked"
    ),
}


def has_others(findings: Findings) -> bool:
    """Tell whether another Cv stands beside the result."""
    return findings.finding(RESULT) is not None and any(findings.finding(name) for name in _OTHERS)


def row_name(finding: Finding, findings: Findings) -> str:
    """Name a finding in a table of all, with a mark at the Cv that is the result.

    Parameters
    ----------
    finding : Finding
        Of the row.
    findings : Findings
        All of the run.
    """
    name = finding_name(finding.name)
    if finding.name == RESULT and has_others(findings):
        return said("{name}: the result", name=name)
    return name


def about_results(findings: Findings) -> str:
    """Say in a few clauses why values of Cv differ, and which to take; "" where there is only one."""
    result = findings.finding(RESULT)
    if result is None or not has_others(findings):
        return ""
    return said(
        "Of the values of Cv the result is {result}: all readings at once, each zero within what was stated "
        "of it; {others}.",
        result=with_uncertainty(result.value, result.u),
        others="; ".join(said(words) for name, words in _OTHERS.items() if findings.finding(name)),
    )


def about_trials(findings: Findings) -> str:
    """Say what the mark at an interval means; "" where none has it."""
    if not any(finding.from_trials for finding in findings.findings):
        return ""
    return said("‡ interval from Monte Carlo trials (JCGM 101), lopsided where the law bends.")


def about_a_slope(findings: Findings) -> str:
    """Say beside the Cv of a line with a free intercept why it is not the result; "" without a result."""
    result = findings.finding(RESULT)
    if result is None:
        return ""
    return said(
        "Not the result: this line has its corrections, but takes its own zero from the readings alone; held "
        "within what was stated of the zeros, Cv = {result}.",
        result=with_uncertainty(result.value, result.u),
    )
