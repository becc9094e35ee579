"""Runs compared: what they share, repeats and holes, files that hold together, hostile files refused."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner

from analysis import Finding, Share, capillary_loss_m, water_at
from measure_app.cli import commands
from measure_app.comparing import (
    Entry,
    check_comparison_folder,
    compare,
    decode_findings,
    labelled,
    load_entry,
    told,
    write_comparison,
)
from measure_app.comparing.tables import comparison_csv, comparison_json
from measure_app.comparing.workbook import comparison_xlsx
from measure_app.errors import AppError, FindingsError, OutputError, SetupIncomplete
from tests.measure_app.report.recalculated import FUNCTIONS, by_hand, formulas, stored

OWN = "own scatter of the readings"


def finding(
    name: str, value: float, own: float, unit: str = "1", *, g: bool = False, **shared: float
) -> Finding:
    shares = [Share(OWN, own, shared=False)]
    shares += [Share(source.replace("_", " "), u, shared=True) for source, u in shared.items()]
    u = math.hypot(*(each.u for each in shares))
    return Finding(
        name, name[:2], value, u, (value - 1.96 * u, value + 1.96 * u), unit, "test", g, budget=tuple(shares)
    )


def entry(label: str, *findings: Finding, mm: float | None = None, **facts: tuple[float, float]) -> Entry:
    return Entry(
        label,
        MappingProxyType({each.name: each for each in findings}),
        9.81,
        None if mm is None else 1e-3 * mm,
        20.0,
        MappingProxyType({name.replace("_", " "): value for name, value in facts.items()}),
    )


def repeats(*values: float, drop: float = 0.004, **facts: tuple[float, float]) -> list[Entry]:
    return [
        entry(f"run {i + 1}", finding("speed_coefficient", x, 0.003, drop=drop), mm=4.0, **facts)
        for i, x in enumerate(values)
    ]


def test_repeats_are_pooled_and_what_they_share_is_not_averaged_away() -> None:
    result = compare(repeats(0.96, 0.962, 0.965, 0.963))
    (pool,) = result.pools
    assert pool.found.consistent
    assert pool.found.mean.value == pytest.approx(0.9625)
    assert pool.found.mean.u == pytest.approx(math.hypot(0.003 / 2.0, 0.004))
    assert [(each.source, each.common) for each in result.commons] == [("drop", True)]
    assert result.holes is None


@pytest.mark.parametrize(
    ("same", "apart", "common"),
    [
        (None, (), True),
        (("drop",), (), True),
        (("rule",), (), False),
        ((), (), False),
        (None, ("DROP",), False),
    ],
)
def test_the_user_says_what_is_common(
    same: tuple[str, ...] | None, apart: tuple[str, ...], common: bool
) -> None:
    runs = [
        entry(f"run {i}", finding("speed_coefficient", 0.96, 0.003, drop=0.004, upright_rule=0.001))
        for i in range(4)
    ]
    result = compare(runs, same=same, apart=apart)
    assert {each.source: each.common for each in result.commons}["drop"] is common
    own = math.hypot(0.003, *([] if common else [0.004]), *([0.001] if same in {("drop",), ()} else []))
    shared = math.hypot(*([0.004] if common else []), *([] if same in {("drop",), ()} else [0.001]))
    assert result.pools[0].found.mean.u == pytest.approx(math.hypot(own / 2.0, shared))


def test_a_drop_with_another_value_was_measured_anew() -> None:
    drops = ((0.4, 0.001), (0.401, 0.001), (0.4, 0.001))
    runs = [repeats(0.96, drop=0.004, drop_=d)[0] for d in drops]
    runs = [
        entry(f"run {i}", *each.findings.values(), mm=4.0, drop=d)
        for i, (each, d) in enumerate(zip(runs, drops, strict=True))
    ]
    (source,) = compare(runs).commons
    assert not source.common
    assert "measured anew" in source.why
    same = [entry(each.label, *each.findings.values(), mm=4.0, drop=(0.4, 0.001)) for each in runs]
    (source,) = compare(same).commons
    assert source.common
    assert "same value" in source.why


def test_scatter_beyond_the_stated_errors_is_said_and_the_odd_one_named() -> None:
    result = compare(repeats(0.960, 0.962, 0.961, 0.99))
    (pool,) = result.pools
    assert not pool.found.consistent
    assert pool.found.odd == 3
    assert any("run 4 is the odd one out" in words for words in result.remarks)
    text = told(result, "there", ("comparison.json", "figures/comparison.png"))
    assert "run 4 stands" in text
    assert "figures/ (1 files)" in text
    assert max(map(len, text.splitlines())) <= 100


def test_runs_that_would_agree_if_only_their_names_were_common_are_told_so() -> None:
    result = compare(repeats(0.960, 0.972, 0.950, drop=0.02))
    assert not result.pools[0].found.consistent
    assert any("--apart" in words and "drop" in words for words in result.pools[0].remarks)


def test_holes_of_different_sizes_are_not_pooled_but_g_is() -> None:
    runs = [
        entry(
            f"hole {mm}",
            finding("speed_coefficient", cv, 0.002),
            finding("gravity_from_clock", 9.8 + 0.1 * i, 0.2, "m/s²", orifice_diameter=0.3),
            mm=mm,
        )
        for i, (mm, cv) in enumerate(((3.0, 0.95), (4.0, 0.97), (4.0, 0.972)))
    ]
    result = compare(runs)
    groups = {(pool.name, pool.group): pool.runs for pool in result.pools}
    assert groups == {
        ("speed_coefficient", "hole of 4.00 mm"): (1, 2),
        ("gravity_from_clock", "all runs"): (0, 1, 2),
    }
    # Another hole is another diameter, measured anew.
    clock = next(pool for pool in result.pools if pool.name == "gravity_from_clock")
    assert clock.found.mean.u == pytest.approx(math.hypot(0.2, 0.3) / math.sqrt(3.0))
    assert result.holes is not None
    assert result.holes.diameters_m.tolist() == [0.003, 0.004]
    cv, _ = result.holes.column("speed_coefficient")
    assert cv == pytest.approx([0.95, 0.971])
    assert np.isnan(result.holes.column("discharge_coefficient")[0]).all()


@pytest.mark.parametrize(
    ("factor", "zero", "verdict"),
    [(1.0, 0.0, "what surface tension does"), (0.0, 0.002, "no loss"), (3.0, 0.0, "does not explain")],
)
def test_offsets_against_the_hole_are_held_against_surface_tension(
    factor: float, zero: float, verdict: str
) -> None:
    loss = np.mean(capillary_loss_m(water_at(20.0), 1.0, 9.81))
    runs = [
        entry(f"{mm}", finding("head_zero_offset_m", zero - factor * loss / (1e-3 * mm), 3e-4, "m"), mm=mm)
        for mm in (2.0, 3.0, 4.0, 6.0)
    ]
    holes = compare(runs).holes
    assert holes is not None
    assert holes.fitted_m2 is not None
    assert holes.fitted_m is not None
    assert holes.fitted_m2[0] == pytest.approx(-factor * loss, abs=1e-12)
    assert holes.fitted_m[0] == pytest.approx(zero, abs=1e-9)
    assert verdict in holes.says[0]
    # 4 σ/(ρ g · 0.8 d), σ = 72.74 mN/m at 20 °C (IAPWS R1-76): 37.2 mm² over d.
    assert holes.predicted_m2[1] == pytest.approx(-37.2e-6, rel=0.003)


def test_different_borrowed_g_is_named_as_a_reason() -> None:
    runs = [
        Entry(each.label, each.findings, g)
        for each, g in zip(
            [entry(str(i), finding("gravity_from_slope_root", 9.2 + i, 0.1, "m/s²", g=True)) for i in (0, 1)],
            (9.8, 9.81),
            strict=True,
        )
    ]
    assert any("different values of g" in words for words in compare(runs).pools[0].remarks)


def test_one_run_and_unknown_words_are_refused() -> None:
    with pytest.raises(FindingsError, match="two runs"):
        compare(repeats(0.96))
    with pytest.raises(FindingsError, match='called "tape"; they have: drop'):
        compare(repeats(0.96, 0.97), apart=("tape",))


def test_labels_are_made_different() -> None:
    assert [e.label for e in labelled(repeats(1.0) + repeats(1.0) + [entry("b")])] == [
        "run 1 (1)",
        "run 1 (2)",
        "b",
    ]


def rich() -> list[Entry]:
    return [
        entry(
            label,
            finding("speed_coefficient", cv, 0.003, drop=0.004),
            finding("head_zero_offset_m", -0.03e-3 / mm, 2e-4, "m"),
            finding("drain_rate_root_m_per_s", 1.2e-3 + 1e-6 * cv, 1e-6, "m^0.5/s"),
            mm=mm,
        )
        for label, cv, mm in (
            ("=SUM(A1)", 0.955, 3.0), ("two", 0.96, 3.0), ("three", 0.99, 3.0), ("four", 0.97, 4.0), ("five", 0.97, 5.0),
        )
    ]  # fmt: skip


def test_json_and_csv_hold_the_same_and_no_formula() -> None:
    result = compare(rich())
    tree = json.loads(comparison_json(result))
    assert tree["format"] == "clepsydra-comparison"
    (cv, *_) = tree["pooled"]
    assert cv["odd_one_out"] == "three"
    assert cv["agree"] is False
    assert sum(share["u"] ** 2 for share in cv["budget"]) == pytest.approx(cv["u"] ** 2)
    assert len(tree["holes"]["holes"]) == 3
    rows = list(csv.DictReader(io.StringIO(comparison_csv(result).decode("utf-8"))))
    first = [row for row in rows if row["finding"] == "speed_coefficient"]
    assert first[0]["run"] == "'=SUM(A1)"
    assert [row["odd"] for row in first] == ["", "", "yes", ""]
    assert float(first[-1]["value"]) == pytest.approx(cv["mean"], rel=1e-7)
    assert sum(float(row["weight"]) for row in first[:-1]) == pytest.approx(1.0, rel=1e-3)


@pytest.mark.usefixtures("german")
def test_the_sheets_of_the_workbook_are_named_in_the_readers_language() -> None:
    book = openpyxl.load_workbook(io.BytesIO(comparison_xlsx(compare(rich()))))
    assert book.sheetnames == ["Versuche", "Zusammengefasst", "Löcher", "Gemeinsames"]
    assert book.worksheets[0]["A1"].value == "Versuche verglichen"


def test_the_workbook_calculates_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    data = comparison_xlsx(compare(rich()))
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert book.sheetnames == ["Runs", "Pooled", "Holes", "Sources"]
    assert book["Runs"]["A5"].value == "=SUM(A1)"
    assert book["Runs"]["A5"].data_type == "s"
    monkeypatch.setitem(FUNCTIONS, "f_sumproduct", lambda *each: float(np.sum(np.prod(each, axis=0))))
    monkeypatch.setitem(FUNCTIONS, "f_sum", np.sum)
    monkeypatch.setitem(FUNCTIONS, "f_chidist", chdtrc_of)
    assert len(formulas(data)) > 20
    again, told_beside = by_hand(data), stored(data)
    for key, value in again.items():
        assert value == pytest.approx(told_beside[key], rel=1e-9, abs=1e-12), key
    assert data == comparison_xlsx(compare(rich()))


def chdtrc_of(chi_squared: float, dof: int) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(chi_squared, dof))


def test_a_comparison_is_written_whole_and_only_over_another(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    files = write_comparison(compare(rich()), folder)
    assert {"comparison.json", "comparison.csv", "comparison.xlsx", "figures/holes.svg"} <= set(files)
    assert write_comparison(compare(repeats(0.96, 0.97)), folder)
    assert not (folder / "figures" / "holes.svg").exists()
    (folder / "mine.txt").write_text("keep me")
    with pytest.raises(OutputError, match=r"mine\.txt"):
        check_comparison_folder(folder)
    with pytest.raises(OutputError):
        write_comparison(compare(rich()), folder)
    assert (folder / "mine.txt").read_text() == "keep me"


@pytest.fixture
def findings_file(tmp_path: Path) -> Callable[..., Path]:
    """Write a findings.json, changed as a test wants."""

    def write(name: str = "a", change: Callable[[dict[str, Any]], object] = len) -> Path:
        tree: dict[str, Any] = {
            "format": "clepsydra-findings",
            "format_version": 1,
            "title": name,
            "accepted_gravity": {"value": 9.81, "u": 0.0, "unit": "m/s²", "source": "given"},
            "findings": [
                {
                    "name": "speed_coefficient", "symbol": "Cv", "value": 0.96, "u": 0.005,
                    "interval_95": [0.95, 0.97], "unit": "1", "method": "m", "depends_on_assumed_g": False,
                    "remarks": [], "budget": [{"source": OWN, "u": 0.003, "shared": False},
                                              {"source": "drop", "u": 0.004, "shared": True}],
                }
            ],
            "undetermined": [], "remarks": [], "news_from_a_later_version": 7,
        }  # fmt: skip
        change(tree)
        folder = tmp_path / name
        folder.mkdir()
        (folder / "findings.json").write_text(
            json.dumps(tree, indent=1, ensure_ascii=False), encoding="utf-8"
        )
        return folder

    return write


def test_results_are_taken_from_their_folder_or_file(findings_file: Callable[..., Path]) -> None:
    folder = findings_file()
    one, other = load_entry(folder), load_entry(folder / "findings.json", diameter_m=0.004)
    assert one.findings == other.findings
    assert (one.label, one.diameter_m, other.diameter_m) == ("a", None, 0.004)
    assert one.findings["speed_coefficient"].budget[1].source == "drop"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda tree: tree.update(format_version=0), "version 0"),
        (lambda tree: tree.update(format_version=2), "newer version of the program .format 2"),
        (lambda tree: tree.update(format_version=2, findings={}), "newer version"),
        (lambda tree: tree["findings"].append(tree["findings"][0]), "stands twice"),
        (lambda tree: tree["findings"][0].update(u="x"), "write the result anew"),
        (lambda tree: tree["findings"][0].update(u=0.5), "changed by hand"),
        (lambda tree: tree["findings"][0]["budget"][0].update(u=-1), "below nought"),
        (lambda tree: tree["findings"][0]["budget"][0].update(u=1e308), "beyond any bench"),
        (lambda tree: tree["findings"][0].update(u=1e308), "beyond any bench"),
        (lambda tree: tree["findings"][0].update(value=-1e200), "beyond any bench"),
        (lambda tree: tree["findings"][0].update(value=None), "nothing to compare"),
        (lambda tree: tree.update(findings=[]), "nothing to compare"),
        (lambda tree: tree.pop("accepted_gravity"), "write the result anew"),
    ],
)
def test_findings_that_do_not_hold_together_are_refused(
    findings_file: Callable[..., Path], change: Callable[[dict[str, Any]], object], words: str
) -> None:
    with pytest.raises(FindingsError, match=words) as caught:
        load_entry(findings_file("bad", change))
    assert "bad" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"format": "clepsydra-findings"',
        b'{"format": "clepsydra-findings", "findings": NaN}',
        b'{"format": "x", "format": "clepsydra-findings"}',
        b'{"format": "clepsydra-findings", "format_version": 1, "findings": [1]}',
        b'{"format": "clepsydra-findings", "format_version": ' + b"9" * 6000 + b"}",
    ],
)
def test_damaged_findings_are_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(FindingsError) as caught:
        decode_findings(data, "there.json")
    assert str(caught.value).startswith("there.json: ")
    assert "\n" not in str(caught.value)


def test_what_is_not_there_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "no", tmp_path, Path("\0")):
        with pytest.raises(AppError):
            load_entry(path)


def test_a_run_that_lacks_something_is_told_from_the_others(tmp_path: Path) -> None:
    bench = Path(__file__).parents[3] / "sample_clips" / "bench"
    tree = json.loads((bench / "bench.run.json").read_text("utf-8"))
    tree["clip"]["path"] = str(bench / "bench.mp4")
    tree["orifice"] = None
    (tmp_path / "second.run.json").write_text(json.dumps(tree), encoding="utf-8")
    with pytest.raises(SetupIncomplete, match=r"second\.run\.json: orifice: the centre of the hole"):
        load_entry(tmp_path / "second.run.json")


def test_the_command_compares_and_refuses(tmp_path: Path, findings_file: Callable[..., Path]) -> None:
    runs = [str(findings_file(name)) for name in ("a", "b", "c")]
    out = tmp_path / "out"
    run = CliRunner().invoke(commands, ["compare", *runs, "--out", str(out)])
    assert run.exit_code == 0, run.output
    assert "3 runs compared." in run.output
    assert json.loads((out / "comparison.json").read_text("utf-8"))["pooled"][0]["u"] == pytest.approx(
        math.hypot(0.003 / math.sqrt(3.0), 0.004)
    )
    apart = CliRunner().invoke(commands, ["compare", *runs, "--apart", "drop", "--out", str(out)])
    assert apart.exit_code == 0, apart.output
    tree = json.loads((out / "comparison.json").read_text("utf-8"))
    assert tree["pooled"][0]["u"] == pytest.approx(0.005 / math.sqrt(3.0))
    short = CliRunner().invoke(commands, ["compare", *runs, "--hole", "3", "--out", str(out)])
    assert short.exit_code == 2
    assert "one for each of the 3 runs" in short.output
