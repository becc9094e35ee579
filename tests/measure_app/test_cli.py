"""The commands: what they write, what they say, and with which status they end."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from measure_app.__main__ import main
from measure_app.cli.terminal import shown_progress

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "sample_clips" / "bench"


@pytest.fixture
def run_tree() -> dict[str, Any]:
    """Plain objects of the bench run, thirty frames of it, with the film's absolute path."""
    tree = json.loads((BENCH / "bench.run.json").read_text(encoding="utf-8"))
    tree["clip"] |= {"path": str(BENCH / "bench.mp4"), "stop_frame": 30}
    return tree


@pytest.fixture
def run_file(tmp_path, run_tree):
    """Return what writes the run with changes, and gives its place."""

    def write(**changes: Any) -> str:
        path = tmp_path / "r.run.json"
        path.write_text(json.dumps(run_tree | changes), encoding="utf-8")
        return str(path)

    return write


def outcome(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(list(arguments))
    said = capsys.readouterr()
    return status, said.out, said.err


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Return the one line with which bad input is refused."""
    status, out, err = outcome(capsys, *arguments)
    assert status == 2
    assert out == ""
    assert err.startswith("clepsydra: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    return err


# --- measure ---------------------------------------------------------------------------------------------------------


def test_measure_writes_all_files_and_says_where(capsys, tmp_path, run_file):
    run = run_file()
    before = Path(run).read_bytes()
    out = tmp_path / "results"
    status, said, err = outcome(capsys, "measure", run, "--out", str(out))
    assert status == 0
    assert err == ""
    plain = {"readings.csv", "findings.json", "figures"}
    books = {"workbook.xlsx", "workbook-to-fill-in.xlsx", "workbook-answers.xlsx"}
    assert {path.name for path in out.iterdir()} == {*plain, *books, "report.pdf", "report.html"}
    assert len(list((out / "figures").iterdir())) == 19  # six in three forms, and the set-up
    assert len((out / "readings.csv").read_bytes().split(b"\r\n")) == 32
    found = {
        finding["name"]: finding for finding in json.loads((out / "findings.json").read_text())["findings"]
    }
    truth = json.loads((BENCH / "bench.truth.json").read_text())["physics"]
    low, high = found["speed_coefficient"]["interval_95"]
    assert (
        low - 0.02 < truth["Cv"] < high + 0.02
    )  # two seconds of film: the figures proper are tested elsewhere
    assert "speed coefficient" in said
    assert str(out) in said
    assert Path(run).read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.run.json", "results"]


def test_without_report_readings_findings_and_figures_are_written(capsys, tmp_path, run_file):
    status, _, _ = outcome(capsys, "measure", run_file(), "--no-report", "--out", str(tmp_path / "out"))
    assert status == 0
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "readings.csv",
        "findings.json",
        "figures",
    }
    (tmp_path / "t.csv").write_text("head_m,throw_m\n0.2,0.445\n0.1,0.312\n")
    arguments = [
        "derive",
        str(tmp_path / "t.csv"),
        "--drop",
        "0.26",
        "--no-report",
        "--out",
        str(tmp_path / "d"),
    ]
    assert outcome(capsys, *arguments)[0] == 0
    assert not (tmp_path / "d" / "report.pdf").exists()
    assert outcome(capsys, *[word for word in arguments if word != "--no-report"])[0] == 0
    assert (tmp_path / "d" / "report.pdf").read_bytes().startswith(b"%PDF-1.7")


def test_measure_refuses_bad_input_before_it_works(capsys, tmp_path, run_file, run_tree):
    out = str(tmp_path / "out")
    assert "none.run.json: there is no such file" in refused(
        capsys, "measure", str(tmp_path / "none.run.json"), "--out", out
    )
    bad = run_tree["rules"][0] | {"px_uu": 1}
    assert "rules[0].px_uu: unknown key; did you mean px_u?" in refused(
        capsys, "measure", run_file(rules=[bad]), "--out", out
    )
    clip = run_tree["clip"]
    assert "bench.run.json: is not the film" in refused(
        capsys, "measure", run_file(clip=clip | {"path": str(BENCH / "bench.run.json")}), "--out", out
    )
    assert "bench.run.json" in refused(
        capsys,
        "measure",
        run_file(clip=clip | {"path": str(BENCH / "bench.run.json"), "sha256": None}),
        "--out",
        out,
    )
    assert "none.mp4" in refused(
        capsys, "measure", run_file(clip=clip | {"path": "none.mp4", "sha256": None}), "--out", out
    )
    assert "r.run.json: orifice: the centre of the hole is not marked" in refused(
        capsys, "measure", run_file(orifice=None), "--out", out
    )
    assert "is the folder that you stand in" in refused(capsys, "measure", run_file(), "--out", ".")
    assert "holds files that are not results" in refused(capsys, "measure", run_file(), "--out", str(BENCH))
    assert not Path(out).exists()
    assert [path.name for path in tmp_path.iterdir()] == ["r.run.json"]


def test_measure_where_nothing_can_be_found_ends_with_1(capsys, tmp_path, run_file):
    # A gauge line on the still wall: nothing falls there.
    line = {"from_px": [100.0, 300.0], "to_px": [100.0, 500.0]}
    out = tmp_path / "out"
    status, said, _ = outcome(
        capsys, "measure", run_file(gauge_line=line, landing_line=None), "--out", str(out)
    )
    assert status == 1
    assert "Nothing could be derived." in said
    rows = (out / "readings.csv").read_text().splitlines()[1:]
    assert all(",no,surface: " in row for row in rows)


def test_earlier_result_is_replaced(capsys, tmp_path, run_file):
    out = tmp_path / "out"
    (tmp_path / "t.csv").write_text("head_m,throw_m\n0.2,0.4\n0.1,0.29\n")
    assert main(["measure", run_file(), "--out", str(out)]) == 0
    assert main(["derive", str(tmp_path / "t.csv"), "--drop", "0.2", "--out", str(out)]) == 0
    assert not (out / "figures" / "head-strip.png").exists()
    assert len((out / "readings.csv").read_bytes().split(b"\r\n")) == 4
    capsys.readouterr()


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_ctrl_c_stops_cleanly(tmp_path):
    out = tmp_path / "out"
    code = (
        "import sys, measure_app.strips as strips, measure_app.clip.film as film\n"
        "from measure_app.__main__ import main\n"
        "planes = film.Clip.luma_planes\n"
        "def slow(self, *args, **kwargs):\n"
        "    import time\n"
        "    for i, plane in enumerate(planes(self, *args, **kwargs)):\n"
        "        print('up', flush=True)\n"
        "        time.sleep(0.05)\n"
        "        yield plane\n"
        "film.Clip.luma_planes = slow\n"
        f"sys.exit(main(['measure', {str(BENCH / 'bench.run.json')!r}, '--out', {str(out)!r}]))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as job:
        assert job.stdout is not None
        assert job.stderr is not None
        assert job.stdout.readline() == "up\n"
        job.send_signal(signal.SIGINT)
        start = time.perf_counter()
        job.stdout.read()
        said = job.stderr.read()
        assert job.wait(timeout=20) == 130
    assert time.perf_counter() - start < 5
    assert said == "clepsydra: stopped; nothing was written\n"
    assert list(tmp_path.iterdir()) == []


def test_progress_shows_on_a_terminal_only(capsys, monkeypatch):
    with shown_progress("Reading the film") as show:
        assert show is None
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with shown_progress("Reading the film") as show:
        assert show is not None
        for done in range(11):
            show(done, 10)
    said = capsys.readouterr().err
    assert "Reading the film [############.............]  50 %" in said
    assert said.count("100 %") == 1
    assert said.endswith(" \r")


# --- derive ----------------------------------------------------------------------------------------------------------


def test_derive_tells_on_a_terminal_what_it_writes(capsys, monkeypatch, tmp_path):
    (tmp_path / "t.csv").write_text("head_m,throw_m\n0.2,0.445\n0.15,0.384\n0.1,0.312\n0.05,0.223\n")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert main(["derive", str(tmp_path / "t.csv"), "--drop", "0.26", "--out", str(tmp_path / "out")]) == 0
    shown = [line.rstrip() for line in capsys.readouterr().err.split("\r") if line.strip()]
    assert shown[0] == "checking the intervals by Monte Carlo [.........................]   0 %"
    for what in ("readings.csv", "figures/throw-squared-vs-head", "workbook.xlsx", "report.pdf"):
        assert any(line.startswith(f"{what} [") for line in shown)
    percents = [int(line.split()[-2]) for line in shown]
    assert percents == sorted(percents)
    assert shown[-1].startswith("putting the files in place")


def test_derive_reads_both_ways_of_writing_numbers_alike(capsys, tmp_path):
    (tmp_path / "a.csv").write_text(
        "head_m,throw_m,time_s\n0.2,0.445,0\n0.15,0.384,3.1\n0.1,0.312,7\n0.05,0.223,12.4\n"
    )
    (tmp_path / "b.csv").write_text("head_cm;throw_mm;time_s\n20;445;0\n15,0;384;3,1\n10;312;7\n5;223;12,4\n")
    for name in "ab":
        status, said, err = outcome(
            capsys, "derive", str(tmp_path / f"{name}.csv"), "--drop", "0.26", "--drop-u", "0.001",
            "--diameter", "0.005", "--diameter-u", "0.00005", "--area", "0.0023", "--area-u", "0.00002", "--latitude", "52",
            "--elevation", "40", "--out", str(tmp_path / name),
        )  # fmt: skip
        assert (status, err) == (0, "")
        assert "discharge coefficient" in said
    a, b = (json.loads((tmp_path / name / "findings.json").read_text()) for name in "ab")
    assert [finding["name"] for finding in a["findings"]] == [finding["name"] for finding in b["findings"]]
    for one, other in zip(a["findings"], b["findings"], strict=True):
        assert one["value"] == pytest.approx(other["value"], rel=1e-9)
        assert one["u"] == pytest.approx(other["u"], rel=1e-6)


def test_derive_says_what_a_table_lacks(capsys, tmp_path):
    (tmp_path / "t.csv").write_text("time_s,head_m\n0,0.2\n3,0.15\n7,0.1\n")
    status, said, _ = outcome(capsys, "derive", str(tmp_path / "t.csv"), "--out", str(tmp_path / "out"))
    assert status == 0
    assert "speed coefficient: throw and drop" in said
    assert {p.name for p in (tmp_path / "out" / "figures").iterdir()} == {
        "root-head-vs-time.png",
        "root-head-vs-time.svg",
        "root-head-vs-time.pdf",
    }


def test_derive_refuses_in_one_line(capsys, tmp_path):
    table, out = tmp_path / "t.csv", str(tmp_path / "out")
    table.write_text("head_m,throw_m\n0.2,x\n")
    assert 't.csv: line 2: column throw_m: must be a number, got "x"' in refused(
        capsys, "derive", str(table), "--drop", "0.2", "--out", out
    )
    table.write_text("head_m,throw_m,drop_m\n0.2,0.4,0.3\n")
    assert "the drop is given both" in refused(capsys, "derive", str(table), "--drop", "0.2", "--out", out)
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]


@pytest.mark.parametrize("value", ["0", "-1", "nan", "inf", "1e999", "abc"])
def test_options_out_of_range_are_usage_errors(capsys, tmp_path, value):
    (tmp_path / "t.csv").write_text("head_m,throw_m\n0.2,0.4\n0.1,0.3\n")
    status, _, err = outcome(
        capsys, "derive", str(tmp_path / "t.csv"), "--drop", value, "--out", str(tmp_path / "out")
    )
    assert status == 2
    assert "--drop" in err
    assert not (tmp_path / "out").exists()


# --- check, schema, the rest -----------------------------------------------------------------------------------------


def test_check_of_a_sound_run_and_of_one_that_lacks_things(capsys, run_file):
    status, said, _ = outcome(capsys, "check", run_file())
    assert (status, said) == (0, "Nothing is missing.\n")
    status, said, _ = outcome(capsys, "check", run_file(landing_line=None, drop=None))
    assert status == 0
    assert "landing_line: not drawn" in said
    status, said, _ = outcome(capsys, "check", run_file(rules=[]))
    assert status == 1
    assert "rules: there is no rule in the frame" in said
    assert "As it stands, nothing can be measured." in said


def test_schema_is_json(capsys):
    status, said, _ = outcome(capsys, "schema")
    assert status == 0
    assert json.loads(said)["$defs"]["Run"]["required"] == ["format", "format_version", "clip"]
    assert outcome(capsys, "schema", "run")[1] == said
    status, said, _ = outcome(capsys, "schema", "findings")
    assert status == 0
    assert json.loads(said)["properties"]["format"] == {"const": "clepsydra-findings"}


@pytest.mark.parametrize("arguments", [["nope"], ["measure"], ["derive", "a.csv"], ["--nope"]], ids=str)
def test_wrong_usage_ends_with_2(capsys, arguments):
    status, _, err = outcome(capsys, *arguments)
    assert status == 2
    assert "Traceback" not in err


def test_version_and_module_and_script_agree(capsys):
    from measure_app import __version__

    assert outcome(capsys, "--version")[1] == f"clepsydra {__version__}\n"
    said = subprocess.run(
        [sys.executable, "-m", "measure_app", "--version"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert said == f"clepsydra {__version__}\n"


def test_a_reader_that_goes_away_is_no_error():
    with subprocess.Popen(
        [sys.executable, "-m", "measure_app", "schema"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as job:
        assert job.stdout is not None
        assert job.stderr is not None
        job.stdout.close()
        assert job.stderr.read() == b""
        assert job.wait() == 0
