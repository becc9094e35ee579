"""findings.json: the structure of the contract."""

import json
from dataclasses import replace

from measure_app.report.findings_json import findings_json

NAMES = {
    "speed_coefficient", "discharge_coefficient", "head_zero_offset_m", "throw_zero_offset_m",
    "slope_speed_vs_root_head", "slope_speed_squared_vs_head", "slope_throw_squared_vs_head",
    "gravity_from_slope_root", "gravity_from_slope_squared", "gravity_from_clock", "drain_rate_root_m_per_s",
    "time_to_empty_s", "speed_coefficient_zero_intercept", "speed_coefficient_mean_of_ratios", "launch_angle_deg",
}  # fmt: skip


def test_every_name_of_the_contract_is_found_or_undetermined(table_results):
    tree = json.loads(findings_json(table_results))
    assert (tree["format"], tree["format_version"]) == ("clepsydra-findings", 1)
    found = {finding["name"] for finding in tree["findings"]}
    missing = {item["name"] for item in tree["undetermined"]}
    assert found | missing == NAMES
    assert not found & missing
    assert {"discharge_coefficient", "gravity_from_clock"} <= missing


def test_a_finding_has_the_contract_s_keys_and_a_budget(table_results):
    for finding in json.loads(findings_json(table_results))["findings"]:
        band = {"expected"} if finding["name"].endswith("_coefficient") else set()
        assert set(finding) - band == {
            "name", "symbol", "value", "u", "interval_95", "unit", "method", "depends_on_assumed_g", "remarks", "budget",
        }  # fmt: skip
        low, high = finding["interval_95"]
        assert low < finding["value"] < high
        assert finding["u"] > 0
        for share in finding["budget"]:
            assert set(share) == {"source", "u", "shared"}


def test_values_are_those_of_the_engine(table_results):
    tree = {finding["name"]: finding for finding in json.loads(findings_json(table_results))["findings"]}
    wanted = table_results.findings.finding("speed_coefficient")
    assert tree["speed_coefficient"]["value"] == wanted.value
    assert tree["speed_coefficient"]["u"] == wanted.u
    assert abs(wanted.value - 0.97) < 3 * wanted.u
    assert tree["gravity_from_slope_root"]["depends_on_assumed_g"] is True


def test_nothing_in_it_is_outside_json(table_results):
    broken = replace(
        table_results,
        findings=replace(
            table_results.findings,
            findings=(
                replace(table_results.findings.findings[0], u=float("nan"), interval_95=(float("-inf"), 1.0)),
            ),
        ),
    )
    tree = json.loads(findings_json(broken), parse_constant=refuse)
    assert tree["findings"][0]["u"] is None
    assert tree["findings"][0]["interval_95"] == [None, 1.0]


def refuse(name: str) -> None:
    raise AssertionError(f"{name} in findings.json")


def test_remarks_have_about_says_and_frames(table_results, bench_outcome):
    from measure_app.report import results_of

    for results in (table_results, results_of(bench_outcome)):
        for remark in json.loads(findings_json(results))["remarks"]:
            assert set(remark) == {"about", "says", "frames"}
            assert remark["frames"] is None or len(remark["frames"]) == 2
