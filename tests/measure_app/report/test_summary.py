"""The printed account: all findings, their doubts, within a terminal's width, in signs that it has."""

from dataclasses import replace

import pytest

from analysis import Remark, with_uncertainty
from measure_app.report.summary import MOST_REMARKS, WIDTH, shown, summary


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252", None])
def test_it_fits_the_terminal_and_its_signs(table_results, encoding):
    said = summary(table_results, "out", ("readings.csv", "figures/a.png"), encoding)
    said.encode(encoding or "ascii")
    assert max(map(len, said.splitlines())) <= WIDTH
    assert "?" not in said


def test_each_finding_stands_with_its_uncertainty(table_results):
    said = summary(table_results, "out", ())
    for finding in table_results.findings.findings:
        scale = 1000 if finding.name.endswith("offset_m") else 1
        unit = "mm" if scale == 1000 else finding.unit.replace("m^0.5", "√m")
        assert with_uncertainty(scale * finding.value, scale * finding.u, unit) in said


def test_borrowed_g_is_marked_and_explained(table_results):
    said = summary(table_results, "out", ())
    for line in said.splitlines():
        if line.startswith("g from speed"):
            assert "g †" in line
        if line.startswith("speed coefficient"):
            assert "†" not in line
    assert "† rests on an assumed g" in said


def test_what_is_missing_and_where_the_files_are(table_results):
    said = summary(
        table_results, "somewhere/out", ("readings.csv", "findings.json", "figures/a.png", "figures/a.svg")
    )
    assert "Not determined, for want of" in said
    assert "discharge coefficient: container area" in said
    assert (
        said.splitlines()[-1] == "Written to somewhere/out: readings.csv, findings.json, figures/ (2 files)"
    )
    assert said.splitlines()[0] == "12 heads and 12 throws in 13 rows, 12 kept."


def test_many_doubts_are_cut_short(table_results):
    many = replace(table_results, remarks=tuple(Remark("film", f"doubt {i}", (i, i + 1)) for i in range(20)))
    said = summary(many, "out", ())
    assert "film (frames 3 to 4): doubt 3" in said
    assert f"… and {20 - MOST_REMARKS} more in findings.json" in said


def test_signs_in_ascii():
    assert shown("√h: (1 ± 2) × 10⁻⁷ m²", "ascii") == "sqrt h: (1 +/- 2) x 10^-7 m^2"
    assert shown("±", "utf-8") == "±"
    assert shown("±", "no such encoding") == "+/-"
