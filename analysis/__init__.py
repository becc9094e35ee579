"""Series to fits, findings and budget: no pixels, no clips, no screen."""

from analysis.bivariate import line_with_errors_in_both
from analysis.checks import Check
from analysis.corrections import CorrectionSize, Effect, size_words
from analysis.derive import Findings, findings_of
from analysis.diagnosis import Diagnosis, Shape, Suspect
from analysis.estimate import Estimate, covariance
from analysis.falls import Fall, Falling, Falls
from analysis.findings import Finding, Remark, Share, Undetermined
from analysis.flow import Flow, flow_words
from analysis.gravity import STANDARD_GRAVITY, AcceptedGravity, accepted_gravity, normal_gravity
from analysis.gravity_combined import against_accepted
from analysis.improvement import Improvement, MoreReadings, SourceGain, improvement_of, improvements_of
from analysis.jet_findings import findings_with_jet
from analysis.jet_shape import JetShape, TracedJet, jet_shape_of, with_traced_angle
from analysis.lines import Line, LinearFit, least_squares, straight_line
from analysis.models import LAWS, Law, Points
from analysis.monte_carlo import Checked, MonteCarloCheck, checked_by_monte_carlo
from analysis.notation import interval, plain, with_uncertainty
from analysis.penalised import JointFit
from analysis.plan import Forecast, GravityRoute, Instruments, Moment, Plan, Sight
from analysis.plan_forecast import forecast_of
from analysis.plan_proposal import Limits, Proposal, proposal_of
from analysis.pooled import PooledValue, RunValue, pooled
from analysis.profile import AreaProfile
from analysis.published import Edge, ExpectedBand, ExpectedBands, band_words, expected_bands
from analysis.rows import law_limit_m
from analysis.series import BoolArray, Column, Conditions, Corrections, FloatArray, IntArray, Series
from analysis.slopes import LawLine, LineResult, line_result
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
    "Series",
    "Shape",
    "Share",
    "Sight",
    "SourceGain",
    "Suspect",
    "TracedJet",
    "Undetermined",
    "Water",
    "accepted_gravity",
    "against_accepted",
    "band_words",
    "capillary_loss_m",
    "checked_by_monte_carlo",
    "covariance",
    "expected_bands",
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
    "normal_gravity",
    "plain",
    "pooled",
    "proposal_of",
    "reynolds_number",
    "size_words",
    "straight_line",
    "water_at",
    "weber_number",
    "with_traced_angle",
    "with_uncertainty",
]
