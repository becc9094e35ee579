"""The findings of a run, with those of the traced jet among them."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

from analysis.answer import Derived, settled
from analysis.derive import Findings
from analysis.estimate import Estimate
from analysis.findings import Finding, Undetermined
from analysis.jet_shape import JetShape, jet_answers


def findings_with_jet(findings: Findings, shape: JetShape) -> Findings:
    """
    Add what the traced jet tells, or what it wants, to the findings of a run.

    Parameters
    ----------
    findings : Findings
        Of the readings.
    shape : JetShape
        Of the traced jet.

    Returns
    -------
    Findings
        With `jet_launch_angle_deg` and `jet_curvature_cv` among its findings or among the undetermined.
    """
    told: list[Finding] = []
    untold: list[Undetermined] = []
    estimates: dict[str, Estimate] = {}
    for name, answer in jet_answers(shape).items():
        result = settled(name, answer)
        if isinstance(result, Undetermined):
            untold.append(result)
        elif isinstance(answer, Derived):
            told.append(result)
            estimates[name] = answer.estimate
    return replace(
        findings,
        findings=(*findings.findings, *told),
        undetermined=(*findings.undetermined, *untold),
        estimates=MappingProxyType({**findings.estimates, **estimates}),
    )
