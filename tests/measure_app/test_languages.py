"""The commands in another language: help, errors, accounts; and files for machines, which stay as they are."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from analysis import Conditions
from measure_app import words
from measure_app.__main__ import main
from measure_app.cli import commands
from measure_app.report import checked, results_of_table
from measure_app.report.findings_json import findings_json
from measure_app.report.readings_csv import readings_csv
from measure_app.table import load_table

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "sample_clips" / "bench" / "bench.run.json"
ENGLISH = re.compile(r"\b(the|and|of|with|which|that|is|are|for|from|by|not|its|this|no|to)\b", re.IGNORECASE)
TABLE = "head_cm;throw_cm;time_s\n20,0;47,5;0\n15,1;41,2;4\n11,0;35,1;8\n7,4;28,8;12\n"


@pytest.fixture(autouse=True)
def english_again() -> Iterator[None]:
    yield
    words.use_language("en")


def names() -> list[list[str]]:
    return [[], *([name] for name in commands.commands)]


@pytest.mark.parametrize("command", names(), ids=" ".join)
def test_help_is_said_in_german(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--language", "de", *command, "--help"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Aufruf: clepsydra")
    assert "Diese Hilfe zeigen und beenden." in said
    # Names of arguments and of kinds of values are English in capitals; "to" is no word of ours.
    assert ENGLISH.findall(re.sub(r"--[a-z-]+|[A-Z]{3,}|\[[a-z|-]+\]", "", said)) == []


def test_help_is_english_again_after_german(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--language", "de", "check", "--help"])
    main(["check", "--help"])
    said = capsys.readouterr().out.partition("Usage:")[2]
    assert "Show this message and exit." in said
    assert "Tell what is missing or doubtful in RUN" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["measure"], "Fehler: Fehlendes Argument 'RUN'."),
        (["measur"], "Fehler: Einen Befehl 'measur' gibt es nicht."),
        (["check", "--nothing", "x"], "Fehler: Eine Option '--nothing' gibt es nicht."),
        (["derive", "t.csv", "--drop", "0", "--out", "o"], "0.0 liegt nicht im Bereich"),
        (["compare", "a", "b", "--out", "o", "--hole", "4"], "--hole verlangt einen Wert für jeden der 2"),
        (
            ["check", "gone.run.json"],
            "clepsydra: gone.run.json: eine solche Datei gibt es nicht; den Namen prüfen",
        ),
    ],
)
def test_errors_are_said_in_german(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str], tmp_path, monkeypatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["--language", "de", *arguments]) == 2
    assert says in capsys.readouterr().err


def test_an_unknown_language_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--language", "tlh", "check", "x"]) == 2
    assert "'tlh' is not one of 'en', 'de'" in capsys.readouterr().err


def test_the_locale_chooses_and_the_option_overrules_it() -> None:
    def said(*arguments: str, **environment: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "measure_app", *arguments],
            cwd=ROOT, env={"LANGUAGE": "", **environment}, capture_output=True, check=True, encoding="utf-8",
        )  # fmt: skip
        return done.stdout

    assert said("check", "--help", LANG="de_DE.UTF-8").startswith("Aufruf:")
    assert said("--language", "en", "check", "--help", LANG="de_DE.UTF-8").startswith("Usage:")
    assert said("check", "--help", LANG="C.UTF-8").startswith("Usage:")


def test_german_lacks_nothing_of_commands_films_finders_packs_and_report() -> None:
    spec = importlib.util.spec_from_file_location("catalogues", ROOT / ".setup" / "words.py")
    assert spec is not None
    assert spec.loader is not None
    catalogues = importlib.util.module_from_spec(spec)
    before = list(sys.path)
    spec.loader.exec_module(catalogues)
    lacks = catalogues.lacks("de")
    sys.path[:] = before
    ours = re.compile(r"measure_app/((clip|finders|packs|report)/)?[a-z_]+\.py")
    assert [each["text"] for each in lacks if any(ours.fullmatch(place) for place in each["where"])] == []


def test_every_option_is_spoken() -> None:
    """An option made by click itself would stay English."""
    from measure_app.spoken_help import SpokenCommand, SpokenOption

    for command in commands.commands.values():
        assert isinstance(command, SpokenCommand)
        assert all(isinstance(each, SpokenOption | click.Argument) for each in command.params), command.name


def test_a_table_is_derived_in_german_and_its_numbers_stay_numbers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table, out = tmp_path / "t.csv", tmp_path / "out"
    table.write_text(TABLE, encoding="utf-8")
    asked = ["derive", str(table), "--drop", "0.3", "--drop-u", "0.001", "--no-report", "--out", str(out)]
    assert main(["--language", "de", *asked]) == 0
    account = capsys.readouterr().out
    assert re.search(r"Geschwindigkeitszahl: das Ergebnis +Cv +0,9\d+ ± 0,0\d+ +0,9\d+ bis", account)
    assert not re.search(r"\d\.\d", account.partition("\n† ")[0])
    findings = json.loads((out / "findings.json").read_text(encoding="utf-8"))
    assert findings["language"] == "de"
    assert {each["name"] for each in findings["findings"]} >= {"speed_coefficient", "time_to_empty_s"}
    german = (out / "readings.csv").read_bytes()
    words.use_language("en")
    results = checked(results_of_table(load_table(table), Conditions(), 0.3, 0.001))
    # The words of a reason apart, the two are the same to the byte.
    assert readings_csv(results.rows) == german
    rows = list(csv.DictReader(io.StringIO(german.decode())))
    assert [float(row["head_m"]) for row in rows] == pytest.approx([0.2, 0.151, 0.11, 0.074])
    english = json.loads(findings_json(results))
    assert english["language"] == "en"
    values = [(each["name"], each["value"], each["u"], each["budget"]) for each in findings["findings"]]
    assert values == [
        (each["name"], each["value"], each["u"], each["budget"]) for each in english["findings"]
    ]


def test_check_speaks_german(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--language", "de", "check", str(BENCH)])
    said = capsys.readouterr().out
    assert (
        "Der Versuch kann ausgemessen werden; die Punkte oben begrenzen" in said or "Es fehlt nichts." in said
    )
    assert ENGLISH.findall(said) == []


def test_a_pack_and_its_read_me_are_german(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import zipfile

    made = tmp_path / "class.clepsydra"
    shared = ["--students", "4", "--blind", "--withhold", "gauge-line"]
    assert main(["--language", "de", "pack", str(BENCH), "--out", str(made), *shared]) == 0
    account = capsys.readouterr().out
    assert "Nicht im Paket: Pegellinie (zurückgehalten)" in account
    assert ENGLISH.findall(account.replace(str(made), "")) == []
    with zipfile.ZipFile(made) as pack:
        read_me = pack.read("read-me.txt").decode("utf-8")
        share = json.loads(pack.read("share-01.run.json"))
    title = json.loads(BENCH.read_text(encoding="utf-8"))["title"]
    assert ENGLISH.findall(read_me.replace(title, "").replace("--out FOLDER", "")) == []
    assert share["readings"][0]["note"] == "Anteil 1: bitte ablesen"
    assert main(["unpack", str(made), "--out", str(tmp_path / "mine"), "--share", "2"]) == 0
