"""A strip in, a place or a reason for every frame out."""

from measure_app.finders.at_rest import part_of, running, whole_again
from measure_app.finders.jet_lines import JetLines, jet_lines
from measure_app.finders.jet_trace import JetTrace, trace_jet
from measure_app.finders.landing import find_landing
from measure_app.finders.marked import Hints
from measure_app.finders.steadiness import Drift, drift_of, still, still_lines
from measure_app.finders.surface import find_surface
from measure_app.finders.track import PART_WHY, Part, RefusedSpan, Track, Why, refused_spans

__all__ = [
    "Drift",
    "Hints",
    "JetLines",
    "JetTrace",
    "PART_WHY",
    "Part",
    "RefusedSpan",
    "Track",
    "Why",
    "drift_of",
    "find_landing",
    "find_surface",
    "jet_lines",
    "part_of",
    "refused_spans",
    "running",
    "still",
    "still_lines",
    "trace_jet",
    "whole_again",
]
