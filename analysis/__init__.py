"""Series to fits, findings and budget: no pixels, no clips, no screen."""

from analysis.findings import Finding, Remark, Share, Undetermined
from analysis.series import BoolArray, Column, Conditions, FloatArray, Series

__all__ = [
    "BoolArray",
    "Column",
    "Conditions",
    "Finding",
    "FloatArray",
    "Remark",
    "Series",
    "Share",
    "Undetermined",
]
