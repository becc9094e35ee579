"""Menu entry, icon and kinds of file for a desktop: sound by themselves and in step with the program."""

from __future__ import annotations

import configparser
import fnmatch
import os
import shutil
import subprocess
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DESKTOP = ROOT / "measure_app" / "desktop"
_MIME = "{http://www.freedesktop.org/standards/shared-mime-info}"


def entry() -> configparser.SectionProxy:
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]  keys of an entry have capitals
    parser.read(DESKTOP / "clepsydra.desktop", encoding="utf-8")
    return parser["Desktop Entry"]


def kinds() -> dict[str, list[str]]:
    tree = ET.parse(DESKTOP / "clepsydra.xml").getroot()  # noqa: S314  our own file
    return {
        kind.attrib["type"]: [glob.attrib["pattern"] for glob in kind.iter(f"{_MIME}glob")] for kind in tree
    }


def test_the_entry_opens_the_kinds_of_file_that_are_described() -> None:
    assert entry()["MimeType"].strip(";").split(";") == list(kinds())
    assert entry()["Exec"] == "clepsydra open %f"


def test_run_files_and_packs_of_ours_are_of_those_kinds_and_films_are_not() -> None:
    patterns = [pattern for each in kinds().values() for pattern in each]
    ours = [path.name for path in (ROOT / "sample_clips").glob("*/*.run.json")] + ["class.clepsydra"]
    assert len(ours) > 3
    for name in ours:
        assert any(fnmatch.fnmatchcase(name, pattern) for pattern in patterns), name
    for name in ("bench.mp4", "bench.truth.json", "findings.json", "pack.zip"):
        assert not any(fnmatch.fnmatchcase(name, pattern) for pattern in patterns), name


def test_the_wheel_puts_each_file_where_desktops_look() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    placed = project["tool"]["hatch"]["build"]["targets"]["wheel"]["shared-data"]
    assert {Path(source).name for source in placed} == {path.name for path in DESKTOP.iterdir()}
    for source, target in placed.items():
        assert (ROOT / source).is_file()
        assert target.startswith(("share/applications/", "share/icons/hicolor/", "share/mime/packages/"))
    assert Path(placed["measure_app/desktop/clepsydra.svg"]).stem == entry()["Icon"]


@pytest.mark.skipif(shutil.which("desktop-file-validate") is None, reason="no validator on this machine")
def test_the_validator_of_the_standard_has_nothing_to_say() -> None:
    done = subprocess.run(
        ["desktop-file-validate", DESKTOP / "clepsydra.desktop"],  # noqa: S607  as installed
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, "")


NEEDED = ("update-mime-database", "update-desktop-database", "xdg-mime", "gio")


@pytest.mark.skipif(any(shutil.which(each) is None for each in NEEDED), reason="no desktop's tools here")
def test_a_desktop_knows_a_run_file_and_a_pack_and_opens_them_with_this_program(tmp_path: Path) -> None:
    # A home of its own: nobody's files are associated anew by a test.
    share = tmp_path / "share"
    home = {"HOME": str(tmp_path), "XDG_DATA_HOME": str(share), "XDG_CONFIG_HOME": str(tmp_path / "config")}
    # Of the desktops that there are, one whose answers do not depend on which others are installed.
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8", "XDG_CURRENT_DESKTOP": "GNOME", **home}

    def answer(*command: str) -> str:
        done = subprocess.run(
            command, check=True, capture_output=True, text=True, env=environment, cwd=tmp_path
        )
        return done.stdout.strip()

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    placed = project["tool"]["hatch"]["build"]["targets"]["wheel"]["shared-data"]
    for source, target in placed.items():
        place = tmp_path / target
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / source, place)
    answer("update-mime-database", str(share / "mime"))
    answer("update-desktop-database", str(share / "applications"))

    run, pack = "application/vnd.clepsydra.run+json", "application/vnd.clepsydra.pack+zip"
    shutil.copy(ROOT / "sample_clips" / "bench" / "bench.run.json", tmp_path / "my first.run.json")
    (tmp_path / "class.clepsydra").write_bytes(b"PK\x05\x06" + bytes(18))
    (tmp_path / "other.json").write_text("{}", encoding="utf-8")
    assert answer("xdg-mime", "query", "filetype", "my first.run.json") == run
    assert answer("xdg-mime", "query", "filetype", "class.clepsydra") == pack
    assert answer("xdg-mime", "query", "filetype", "other.json") == "application/json"
    assert answer("xdg-mime", "query", "default", run) == "clepsydra.desktop"
    assert answer("xdg-mime", "query", "default", pack) == "clepsydra.desktop"
    assert answer("xdg-mime", "query", "default", "application/json") != "clepsydra.desktop"
