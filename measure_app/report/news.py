"""What a run says of g that is news: no value here rests on the accepted one."""

from __future__ import annotations

from analysis import Finding, Findings, against_accepted, finding_name, with_uncertainty
from measure_app.report.results import Results
from measure_app.words import said

ROUTES = (
    "gravity_combined",
    "gravity_from_parabola",
    "gravity_from_fall_time",
    "gravity_from_track",
    "gravity_from_clock",
)
"""Findings of g that need no accepted one, the combined one first."""


def news_of(results: Results) -> tuple[str, ...]:
    """Say in sentences what the run tells of g by itself, or how it could.

    Parameters
    ----------
    results : Results
        What was found.

    Returns
    -------
    tuple of str
        One for each independent g, with how it stands to the accepted one. Of a film that tells none, how to
        mark a fall; of a table that tells none, nothing.
    """
    findings = results.findings
    told = [finding for name in ROUTES if (finding := findings.finding(name)) is not None]
    missing = {each.name: each.missing for each in findings.undetermined}
    news = [
        said(
            "{finding}: {value}, by {method}. It {compared}.",
            finding=finding_name(finding.name),
            value=_value(finding),
            method=said(finding.method),
            compared=_compared(findings, finding),
        )
        for finding in told
    ]
    if len(told) > 1 and "gravity_combined" in missing:
        lacks = missing["gravity_combined"]
        news.append(said("They are not brought together, for want of {missing}.", missing=said(lacks)))
    if not told and "gravity_from_parabola" in missing:
        lacks = missing["gravity_from_parabola"]
        news.append(said("This run holds no news of g. It would take {missing}.", missing=said(lacks)))
    return tuple(news)


def best_gravity(findings: Findings) -> Finding | None:
    """Give the surest g that is news: the combined one, else that of the least relative uncertainty."""
    told = [finding for name in ROUTES if (finding := findings.finding(name)) is not None]
    if not told or told[0].name == "gravity_combined":
        return told[0] if told else None
    return min(told, key=lambda finding: finding.u / finding.value)


def _value(finding: Finding) -> str:
    return with_uncertainty(finding.value, finding.u, finding.unit)


def _compared(findings: Findings, finding: Finding) -> str:
    return against_accepted(findings.estimates[finding.name], findings.accepted_gravity)
