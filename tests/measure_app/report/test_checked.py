"""Results are held against Monte Carlo before they are written."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis import Conditions
from measure_app.cli import commands
from measure_app.report import checked, results_of_table
from measure_app.table import load_table


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Write a table of thirty rows, drawn with an honest millimetre."""
    rng = np.random.default_rng(2)
    head = np.linspace(0.25, 0.06, 30)
    time = (0.5 - np.sqrt(head)) / 1.25e-3
    throw = 2.0 * 0.97 * np.sqrt(0.4 * head) + 1e-3 * rng.standard_normal(30)
    path = tmp_path / "bench.csv"
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["head_m", "throw_m", "time_s", "head_u_m", "throw_u_m"])
        for h, x, t in zip(head + 5e-4 * rng.standard_normal(30), throw, time, strict=True):
            rows.writerow([h, x, t, 5e-4, 1e-3])
    return path


def test_intervals_that_do_not_hold_are_the_trials_ones_and_the_rest_stays(table: Path) -> None:
    conditions = Conditions(
        orifice_diameter_m=0.004,
        orifice_diameter_u_m=1e-4,
        container_area_m2=0.0078,
        container_area_u_m2=5e-5,
    )
    before = results_of_table(load_table(table), conditions, 0.4, 0.001)
    after = checked(before)
    assert [each.name for each in after.findings.findings] == [each.name for each in before.findings.findings]
    assert after.remarks[: len(before.remarks)] == before.remarks
    assert [each.about for each in after.remarks[len(before.remarks) :]] == ["uncertainty"]
    changed = set()
    for one, other in zip(before.findings.findings, after.findings.findings, strict=True):
        assert (one.value, one.u, one.budget) == (other.value, other.u, other.budget)
        if one.interval_95 != other.interval_95:
            changed.add(one.name)
            assert "Monte Carlo" in other.remarks[-1]
    assert "gravity_from_clock" in changed  # fourth power of a diameter known to 2.5 %
    assert "speed_coefficient" not in changed
    assert checked(before).findings.findings == after.findings.findings


def test_the_command_writes_what_was_checked(table: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run = CliRunner().invoke(
        commands, ["derive", str(table), "--drop", "0.4", "--out", str(out), "--no-report"]
    )
    assert run.exit_code == 0, run.output
    tree = json.loads((out / "findings.json").read_text("utf-8"))
    assert any("Monte Carlo trials (JCGM 101, seed 1)" in each["says"] for each in tree["remarks"])
