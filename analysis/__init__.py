"""Series to fits, findings and budget: no pixels, no clips, no screen.

Each name comes when it is first asked for, so that who only sets the language or shows help waits for no fit.
"""

import importlib
from typing import TYPE_CHECKING

from analysis.words import Speaker, counted, marked, numeral, said, speak_by

if TYPE_CHECKING:
    from analysis.bivariate import line_with_errors_in_both
    from analysis.checks import Check
    from analysis.corrections import CorrectionSize, Effect, size_words
    from analysis.derive import Findings, findings_of
    from analysis.diagnosis import Diagnosis, Shape, Suspect
    from analysis.estimate import Estimate, covariance
    from analysis.falls import Fall, Falling, Falls
    from analysis.finding_names import FINDING_NAMES, finding_name
    from analysis.findings import Finding, Remark, Share, Undetermined
    from analysis.flow import Flow, flow_words
    from analysis.gravity import STANDARD_GRAVITY, AcceptedGravity, accepted_gravity, normal_gravity
    from analysis.gravity_combined import against_accepted
    from analysis.improvement import Improvement, MoreReadings, SourceGain, improvement_of, improvements_of
    from analysis.jet_findings import findings_with_jet
    from analysis.jet_shape import JetShape, TracedJet, jet_shape_of, with_traced_angle
    from analysis.launch import angle_words
    from analysis.lines import Line, LinearFit, least_squares, straight_line
    from analysis.models import LAWS, Law, Points
    from analysis.monte_carlo import Checked, MonteCarloCheck, checked_by_monte_carlo
    from analysis.notation import interval, plain, with_uncertainty
    from analysis.penalised import JointFit
    from analysis.plan import Forecast, GravityRoute, Instruments, Moment, Plan, Sight
    from analysis.plan_forecast import forecast_of
    from analysis.plan_proposal import Limits, Proposal, proposal_of
    from analysis.pooling import PooledValue, RunValue, pooled
    from analysis.profile import AreaProfile
    from analysis.published import Edge, ExpectedBand, ExpectedBands, band_words, expected_bands
    from analysis.rows import law_limit_m
    from analysis.series import BoolArray, Column, Conditions, Corrections, FloatArray, IntArray, Series
    from analysis.slopes import LawLine, LineResult, line_result
    from analysis.wander import LANDING_WANDER, SURFACE_WANDER, Wander, numbered, wandering
    from analysis.water import Water, capillary_loss_m, reynolds_number, water_at, weber_number

__all__ = [
    "AcceptedGravity",
    "AreaProfile",
    "BoolArray",
    "Check",
    "Checked",
    "Column",
    "Conditions",
    "CorrectionSize",
    "Corrections",
    "Diagnosis",
    "Edge",
    "Effect",
    "Estimate",
    "ExpectedBand",
    "ExpectedBands",
    "FINDING_NAMES",
    "Fall",
    "Falling",
    "Falls",
    "Finding",
    "Findings",
    "FloatArray",
    "Flow",
    "Forecast",
    "GravityRoute",
    "Improvement",
    "Instruments",
    "IntArray",
    "JetShape",
    "JointFit",
    "LANDING_WANDER",
    "LAWS",
    "Law",
    "LawLine",
    "Limits",
    "Line",
    "LineResult",
    "LinearFit",
    "Moment",
    "MonteCarloCheck",
    "MoreReadings",
    "Plan",
    "Points",
    "PooledValue",
    "Proposal",
    "Remark",
    "RunValue",
    "STANDARD_GRAVITY",
    "SURFACE_WANDER",
    "Series",
    "Shape",
    "Share",
    "Sight",
    "SourceGain",
    "Speaker",
    "Suspect",
    "TracedJet",
    "Undetermined",
    "Wander",
    "Water",
    "accepted_gravity",
    "against_accepted",
    "angle_words",
    "band_words",
    "capillary_loss_m",
    "checked_by_monte_carlo",
    "counted",
    "covariance",
    "expected_bands",
    "finding_name",
    "findings_of",
    "findings_with_jet",
    "flow_words",
    "forecast_of",
    "improvement_of",
    "improvements_of",
    "interval",
    "jet_shape_of",
    "law_limit_m",
    "least_squares",
    "line_result",
    "line_with_errors_in_both",
    "marked",
    "normal_gravity",
    "numbered",
    "numeral",
    "plain",
    "pooled",
    "proposal_of",
    "reynolds_number",
    "said",
    "size_words",
    "speak_by",
    "straight_line",
    "wandering",
    "water_at",
    "weber_number",
    "with_traced_angle",
    "with_uncertainty",
]

_LATER = {
    "AcceptedGravity": "gravity",
    "AreaProfile": "profile",
    "BoolArray": "series",
    "Check": "checks",
    "Checked": "monte_carlo",
    "Column": "series",
    "Conditions": "series",
    "CorrectionSize": "corrections",
    "Corrections": "series",
    "Diagnosis": "diagnosis",
    "Edge": "published",
    "Effect": "corrections",
    "Estimate": "estimate",
    "ExpectedBand": "published",
    "ExpectedBands": "published",
    "Fall": "falls",
    "Falling": "falls",
    "Falls": "falls",
    "Finding": "findings",
    "Findings": "derive",
    "FloatArray": "series",
    "Flow": "flow",
    "Forecast": "plan",
    "GravityRoute": "plan",
    "Improvement": "improvement",
    "Instruments": "plan",
    "IntArray": "series",
    "JetShape": "jet_shape",
    "JointFit": "penalised",
    "FINDING_NAMES": "finding_names",
    "LAWS": "models",
    "Law": "models",
    "LawLine": "slopes",
    "Limits": "plan_proposal",
    "Line": "lines",
    "LineResult": "slopes",
    "LinearFit": "lines",
    "Moment": "plan",
    "MonteCarloCheck": "monte_carlo",
    "MoreReadings": "improvement",
    "Plan": "plan",
    "Points": "models",
    "PooledValue": "pooling",
    "Proposal": "plan_proposal",
    "Remark": "findings",
    "RunValue": "pooling",
    "STANDARD_GRAVITY": "gravity",
    "Series": "series",
    "Shape": "diagnosis",
    "Share": "findings",
    "Sight": "plan",
    "SourceGain": "improvement",
    "Suspect": "diagnosis",
    "TracedJet": "jet_shape",
    "Undetermined": "findings",
    "Water": "water",
    "accepted_gravity": "gravity",
    "against_accepted": "gravity_combined",
    "angle_words": "launch",
    "band_words": "published",
    "capillary_loss_m": "water",
    "checked_by_monte_carlo": "monte_carlo",
    "covariance": "estimate",
    "expected_bands": "published",
    "finding_name": "finding_names",
    "findings_of": "derive",
    "findings_with_jet": "jet_findings",
    "flow_words": "flow",
    "forecast_of": "plan_forecast",
    "improvement_of": "improvement",
    "improvements_of": "improvement",
    "interval": "notation",
    "jet_shape_of": "jet_shape",
    "law_limit_m": "rows",
    "least_squares": "lines",
    "line_result": "slopes",
    "line_with_errors_in_both": "bivariate",
    "normal_gravity": "gravity",
    "plain": "notation",
    "pooled": "pooling",
    "proposal_of": "plan_proposal",
    "reynolds_number": "water",
    "size_words": "corrections",
    "straight_line": "lines",
    "water_at": "water",
    "weber_number": "water",
    "with_traced_angle": "jet_shape",
    "with_uncertainty": "notation",
    "LANDING_WANDER": "wander",
    "SURFACE_WANDER": "wander",
    "Wander": "wander",
    "numbered": "wander",
    "wandering": "wander",
}


def __getattr__(name: str) -> object:
    if name not in _LATER:
        raise AttributeError(f"module 'analysis' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"analysis.{_LATER[name]}"), name)
    globals()[name] = value
    return value
