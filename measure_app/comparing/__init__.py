"""Several runs compared and pooled: repeats of one hole, and holes of different sizes."""

from measure_app.comparing.comparison import Comparison, compare
from measure_app.comparing.entries import MAX_RUNS, Entry, decode_findings, entry_of, labelled, load_entry
from measure_app.comparing.holes import Hole, Holes
from measure_app.comparing.pools import Common, Pool
from measure_app.comparing.telling import told
from measure_app.comparing.writing import check_comparison_folder, write_comparison

__all__ = [
    "Common",
    "Comparison",
    "Entry",
    "Hole",
    "Holes",
    "MAX_RUNS",
    "Pool",
    "check_comparison_folder",
    "compare",
    "decode_findings",
    "entry_of",
    "labelled",
    "load_entry",
    "told",
    "write_comparison",
]
