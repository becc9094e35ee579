"""Answers of a class, held together: who read what, how well, and what they say as one."""

from measure_app.collating.answer import Answer, Refusal, read_answer
from measure_app.collating.class_key import Key, Reference, Source
from measure_app.collating.class_result import ClassResult, Observer, Standing
from measure_app.collating.collate import collate
from measure_app.collating.gather import GatherError, files_of, read_all
from measure_app.collating.marks import USUAL, Criteria, CriteriaError, Marks, load_criteria
from measure_app.collating.precision import (
    ObserverPrecision,
    Precision,
    h_critical,
    k_critical,
    precision_of,
)
from measure_app.collating.slips import Fault, Slip
from measure_app.collating.telling import told
from measure_app.collating.writing import check_class_folder, write_class

__all__ = [
    "Answer",
    "ClassResult",
    "Criteria",
    "CriteriaError",
    "Fault",
    "GatherError",
    "Key",
    "Marks",
    "Observer",
    "ObserverPrecision",
    "Precision",
    "Reference",
    "Refusal",
    "Slip",
    "Source",
    "Standing",
    "USUAL",
    "check_class_folder",
    "collate",
    "files_of",
    "h_critical",
    "k_critical",
    "load_criteria",
    "precision_of",
    "read_all",
    "read_answer",
    "told",
    "write_class",
]
