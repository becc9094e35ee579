"""The published schema of findings.json against an outside validator, and against what is written."""

import copy
import json

import pytest
from jsonschema import Draft202012Validator

from analysis import Conditions
from measure_app.report import findings_schema, results_of, results_of_table
from measure_app.report.findings_json import findings_json
from measure_app.table import decode_table

VALIDATOR = Draft202012Validator(findings_schema())
# The names of the contract, copied from the description of the result files.
NAMES = {
    "speed_coefficient", "discharge_coefficient", "head_zero_offset_m", "throw_zero_offset_m",
    "slope_speed_vs_root_head", "slope_speed_squared_vs_head", "slope_throw_squared_vs_head",
    "gravity_from_slope_root", "gravity_from_slope_squared", "gravity_from_clock", "drain_rate_root_m_per_s",
    "time_to_empty_s", "gravity_from_fall_time", "gravity_from_parabola", "gravity_from_track", "gravity_combined",
    "speed_coefficient_zero_intercept", "speed_coefficient_mean_of_ratios", "launch_angle_deg",
    "jet_launch_angle_deg", "jet_curvature_cv",
}  # fmt: skip


def test_the_schema_is_a_schema():
    Draft202012Validator.check_schema(findings_schema())
    assert set(findings_schema()["$defs"]["name"]["enum"]) == NAMES


@pytest.fixture(scope="module")
def written(bench_outcome) -> dict:
    return json.loads(findings_json(results_of(bench_outcome)))


def test_what_is_written_holds(written, table_results):
    VALIDATOR.validate(written)
    VALIDATOR.validate(json.loads(findings_json(table_results)))
    assert {each["name"] for each in (*written["findings"], *written["undetermined"])} == NAMES


@pytest.mark.parametrize(
    "text", ["head_m\n0.1\n", "throw_m\n0.4\n", "time_s,head_m\n0,0.2\n1,0.19\n", "head_m,throw_m\n0.1,0.3\n"]
)
def test_what_little_data_yields_holds(text):
    results = results_of_table(decode_table(text.encode(), "t.csv"), Conditions(), 0.3)
    told = json.loads(findings_json(results))
    assert list(VALIDATOR.iter_errors(told)) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), "other"),
        (("format_version",), 2),
        (("findings", 0, "u"), -1.0),
        (("findings", 0, "value"), "0.97"),
        (("findings", 0, "name"), "cv"),
        (("findings", 0, "interval_95"), [0.9]),
        (("findings", 0, "depends_on_assumed_g"), "no"),
        (("findings", 0, "budget", 0, "shared"), None),
        (("findings", 0, "more"), 1),
        (("accepted_gravity", "value"), 0),
        (("remarks", 0, "frames"), [1, 2, 3]),
        (("undetermined",), None),
    ],
    ids=str,
)
def test_a_broken_file_is_refused(written, path, value):
    tree = copy.deepcopy(written)
    at = tree
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    assert list(VALIDATOR.iter_errors(tree))
