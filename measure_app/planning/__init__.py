"""Before the film: what a planned experiment will give, in words and as JSON."""

from measure_app.planning.asked import Asked, forecast, instruments_of, plan_of
from measure_app.planning.lengths import length_of
from measure_app.planning.plan_json import plan_tree
from measure_app.planning.telling import Said, paragraphs, title_of, told

__all__ = [
    "Asked",
    "Said",
    "forecast",
    "instruments_of",
    "length_of",
    "paragraphs",
    "plan_of",
    "plan_tree",
    "title_of",
    "told",
]
