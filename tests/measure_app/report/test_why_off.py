"""Words of a diagnosis and of what to improve, and their place in findings.json."""

from __future__ import annotations

import json

import jsonschema
import numpy as np
import pytest

from analysis import Diagnosis, Findings, Shape, Suspect, findings_of
from measure_app.report.findings_json import _diagnosis as as_data
from measure_app.report.findings_json import findings_schema
from measure_app.report.why_off import improvement_lines, why_off_items, why_off_lines
from tests.analysis.faults import FAULTS, faulty_run


@pytest.fixture(scope="module")
def off() -> Findings:
    run = faulty_run(np.random.default_rng(4), FAULTS[0])
    return findings_of(run.series, run.conditions)


def test_two_to_four_lines_name_a_suspect_its_like_and_its_check(off: Findings) -> None:
    lines = why_off_lines(off.diagnosis)
    assert off.diagnosis is not None
    first = off.diagnosis.groups[0]
    assert 2 <= len(lines) <= 4
    assert first[0].says in lines[0]
    assert all(each.name in lines[1] for each in first[1:])
    assert lines[1].startswith("Cannot be told apart from")
    assert lines[2] == f"First check: {first[0].check}."


def test_every_suspect_of_the_first_group_is_told_with_its_check(off: Findings) -> None:
    assert off.diagnosis is not None
    items = dict(why_off_items(off.diagnosis))
    for each in off.diagnosis.groups[0]:
        assert each.check in items[each.name]
    assert "launch angle" in items["not alone"]
    assert why_off_items(None) == ()
    assert why_off_lines(None) == ()


def _suspect(name: str, explains: float) -> Suspect:
    return Suspect(name, 1.0, 0.1, "mm", None, None, Shape.SILENT, explains, f"says {name}", f"check {name}")


def test_where_no_suspect_explains_it_none_is_named() -> None:
    (line,) = why_off_lines(Diagnosis(("off",), ((_suspect("drop", 1.0),),), unexplained=True))
    assert "drop" not in line
    assert "drop" not in why_off_items(Diagnosis(("off",), (), unexplained=True))[0][1]
    both = why_off_lines(Diagnosis(("off",), ((_suspect("drop", 30.0),),), unexplained=True))
    assert "more than one thing may be wrong" in both[0]


def test_findings_json_carries_the_diagnosis_as_its_schema_says(off: Findings) -> None:
    tree = json.loads(json.dumps(as_data(off.diagnosis), allow_nan=False))
    schema = findings_schema()
    jsonschema.validate(tree, {"$defs": schema["$defs"], **schema["properties"]["diagnosis"]})
    assert tree["groups"][0][0]["shape"] == "silent"
    assert as_data(None) is None


def test_what_to_improve_says_what_more_readings_give(off: Findings) -> None:
    lines = improvement_lines(off)
    assert lines[0].startswith("Cv = ")
    assert lines[1].startswith("g = ")
    assert "more readings would give next to nothing" in lines[1].lower()
    assert all("readings" in line for line in lines)
