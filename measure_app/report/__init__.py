"""Results as files: readings, findings and figures, all of them or none."""

from measure_app.report.checked import checked
from measure_app.report.findings_json import findings_schema
from measure_app.report.results import Results, results_of, results_of_table
from measure_app.report.setup_picture import setup_frame
from measure_app.report.shown_unit import shown_unit
from measure_app.report.summary import summary
from measure_app.report.whole import check_folder
from measure_app.report.writing import write_all, write_checked

__all__ = [
    "Results",
    "check_folder",
    "checked",
    "findings_schema",
    "results_of",
    "results_of_table",
    "setup_frame",
    "shown_unit",
    "summary",
    "write_all",
    "write_checked",
]
