"""Build what is given to others, install it where nothing is, and see that it works there.

    python3 .setup/supply.py wheels            # wheel and sdist, installed on each Python that is here
    python3 .setup/supply.py oldest            # the tests with the oldest libraries that are allowed
    python3 .setup/supply.py licences          # licence of every library that an installed Clepsydra brings;
                                               # --out .setup/licences.md keeps the table
    python3 .setup/supply.py bundle --out DIR  # one folder for people without Python, and its smoke test

Everything is made from a clean clone of the last commit, in a folder of its own that is removed at the end.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("3.11", "3.12", "3.13")
OUR_PACKAGES = ("calibration", "analysis", "measure_app")
SAMPLE = "measure_app/sample/bench/bench.mp4"
# Where desktops look for an entry in the menu, an icon, and what opens a run file.
SHARED = (
    "share/applications/clepsydra.desktop",
    "share/icons/hicolor/scalable/apps/clepsydra.svg",
    "share/mime/packages/clepsydra.xml",
)
# What a bundle must carry beside what the imports show: data files, and the commands' own modules, which are
# imported inside functions.
BUNDLED_DATA = ("measure_app", "typst", "pyqtgraph")
# Neither is used at run time, and each is large.
LEFT_OUT = ("tkinter", "IPython", "PySide6.QtWebEngineCore", "PySide6.QtQml")
_LICENCES = """
import importlib.metadata as m, json, re

def name(requirement):
    return re.match(r"[A-Za-z0-9._-]+", requirement).group(0)

def licence(data):
    classes = data.get_all("Classifier") or []
    classes = [each.rsplit(" :: ", 1)[-1] for each in classes if each.startswith("License ::")]
    text = data.get("License-Expression") or "; ".join(classes) or (data.get("License") or "").strip()
    return text.splitlines()[0][:70] if text else "see its own files"

seen, todo = {}, ["clepsydra"]
while todo:
    each = todo.pop()
    key = re.sub(r"[-_.]+", "-", each).lower()
    if key in seen:
        continue
    try:
        d = m.distribution(each)
    except m.PackageNotFoundError:
        continue  # needed on another system or Python only
    seen[key] = (d.metadata["Name"], d.version, licence(d.metadata))
    todo += [name(r) for r in d.requires or [] if "extra ==" not in r]
del seen["clepsydra"]
print(json.dumps(sorted(seen.values(), key=lambda row: row[0].lower())))
"""


def say(words: str) -> None:
    """Print one line at once, so that it stands before what a child process prints."""
    print(words, flush=True)


def run(command: Sequence[str | Path], **options: object) -> subprocess.CompletedProcess[str]:
    """Run a command; what it says is kept, and shown where it fails."""
    done = subprocess.run(command, check=False, text=True, capture_output=True, **options)  # type: ignore[call-overload]
    if done.returncode:
        say(done.stdout[-3000:] + done.stderr[-3000:])
        raise SystemExit(f"failed: {' '.join(str(part) for part in command[:6])} …")
    return done


def python_of(environment: Path) -> Path:
    """The interpreter of a virtual environment."""
    return environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def command_of(environment: Path, name: str) -> Path:
    """A command installed into a virtual environment."""
    return environment / ("Scripts" if os.name == "nt" else "bin") / name


def finder(work: Path) -> Path:
    """A tool that knows where Pythons lie and can resolve to the oldest versions, in a place of its own."""
    tool = work / "tool"
    if not tool.exists():
        install(fresh_environment(tool, sys.executable), "uv")
    return command_of(tool, "uv")


def interpreter(version: str, uv: Path) -> str | None:
    """An interpreter of that version, if this machine has one; none is fetched."""
    wanted = [version]
    if shutil.which("pyenv"):  # it hides what it keeps behind commands that answer for one version only
        kept = subprocess.run(["pyenv", "root"], check=False, capture_output=True, text=True).stdout.strip()
        wanted += sorted(str(path) for path in Path(kept).glob(f"versions/{version}*/bin/python"))
    for each in wanted:
        asked = subprocess.run(
            [uv, "python", "find", "--no-python-downloads", "--no-project", each],
            check=False,
            capture_output=True,
            text=True,
        )
        if asked.returncode == 0:
            return asked.stdout.strip()
    return None


def fresh_environment(folder: Path, interpreter_path: str) -> Path:
    """Make an empty virtual environment."""
    run([interpreter_path, "-m", "venv", folder])
    return folder


def install(environment: Path, *what: str | Path) -> None:
    """Install into an environment."""
    run([python_of(environment), "-m", "pip", "install", "-q", "--disable-pip-version-check", *what])


def clean_clone(folder: Path) -> Path:
    """The last commit, without anything that lies about beside it."""
    run(["git", "clone", "-q", ROOT, folder])
    return folder


def build(source: Path, work: Path) -> tuple[Path, Path]:
    """Build sdist and, from that, the wheel; see that both carry what they must."""
    environment = fresh_environment(work / "build", sys.executable)
    install(environment, "build")
    run([python_of(environment), "-m", "build", "-q", "--outdir", work / "dist", source])
    (wheel,) = (work / "dist").glob("*.whl")
    (sdist,) = (work / "dist").glob("*.tar.gz")
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    # Whatever is kept beside the code is there for a reason: catalogues, schemas, templates, desktop entries.
    kept = run(["git", "ls-files", "-z", *OUR_PACKAGES], cwd=source).stdout.split("\0")
    missing = sorted({SAMPLE, SAMPLE.replace(".mp4", ".run.json"), *filter(None, kept)} - set(names))
    missing += [place for place in SHARED if not any(name.endswith(f".data/data/{place}") for name in names)]
    if missing:
        raise SystemExit(f"the wheel lacks {', '.join(missing)}; see [tool.hatch.build] in pyproject.toml")
    strangers = {name.split("/")[0] for name in names} - set(OUR_PACKAGES)
    strangers = {name for name in strangers if not name.startswith("clepsydra-")}
    if strangers:
        raise SystemExit(f"the wheel holds what it should not: {', '.join(sorted(strangers))}")
    catalogues = sum(name.endswith(".mo") for name in names)
    say(
        f"built {wheel.name} ({wheel.stat().st_size / 1e6:.1f} MB), {sdist.name}; inside: the sample run, "
        f"catalogues ({catalogues}), entries for desktops ({len(SHARED)})"
    )
    return wheel, sdist


def smoke(clepsydra: Sequence[str | Path], work: Path, sample: Path) -> str:
    """Measure the sample run away from any source; give what came of it in a few words."""
    out = work / "smoke"
    shutil.rmtree(out, ignore_errors=True)
    elsewhere = {"cwd": work}
    version = run([*clepsydra, "--version"], **elsewhere).stdout.strip()
    run([*clepsydra, "measure", sample, "--out", out], **elsewhere)
    spoken = {run([*clepsydra, "--language", code, "--help"], **elsewhere).stdout for code in ("en", "de")}
    if len(spoken) == 1:
        raise SystemExit("the catalogues are not found: --language de says what --language en says")
    findings = json.loads((out / "findings.json").read_text(encoding="utf-8"))["findings"]
    cv = next(each for each in findings if each["name"] == "speed_coefficient")
    for name in ("report.pdf", "workbook.xlsx", "readings.csv"):
        if not (out / name).stat().st_size:
            raise SystemExit(f"{name} is empty")
    return (
        f"{version}: sample run measured, Cv = {cv['value']:.4f} ± {cv['u']:.4f}, report and workbook written"
    )


def sample_run(environment: Path) -> Path:
    """Where the installed package keeps its sample run."""
    where = run(
        [python_of(environment), "-I", "-c", "import measure_app; print(measure_app.__path__[0])"]
    ).stdout.strip()
    return Path(where) / "sample" / "bench" / "bench.run.json"


def wheels(work: Path) -> int:
    """Build, and install wheel and sdist on each Python of the list."""
    wheel, sdist = build(clean_clone(work / "clone"), work)
    missing = []
    for version in PYTHONS:
        found = interpreter(version, finder(work))
        if found is None:
            missing.append(version)
            continue
        for thing in (wheel, sdist):
            environment = fresh_environment(work / f"{version}-{thing.suffix.strip('.')}", found)
            install(environment, thing)
            words = smoke([command_of(environment, "clepsydra")], work, sample_run(environment))
            say(f"Python {version}, {thing.suffix}: {words}")
            shutil.rmtree(environment)
    if missing:
        say(f"not tried, no such Python on this machine: {', '.join(missing)}")
    return int(bool(missing))


def oldest(work: Path) -> int:
    """Run the tests with the oldest direct dependencies that pyproject.toml allows, on the oldest Python."""
    uv = finder(work)
    found = interpreter(PYTHONS[0], uv)
    if found is None:
        raise SystemExit(f"Python {PYTHONS[0]} is needed for this")
    clone = clean_clone(work / "clone")
    environment = fresh_environment(work / "oldest", found)
    chosen = ["--resolution", "lowest-direct", "--python", python_of(environment)]
    run([uv, "pip", "install", "-q", *chosen, "-e", f"{clone}[test]"])
    say("oldest versions allowed are installed; the tests run (warnings of old libraries are not ours)")
    tests = [python_of(environment), "-m", "pytest", "-q", "-n", "2", "--dist", "loadfile", "-W", "default"]
    return subprocess.run(tests, cwd=clone, check=False).returncode


def licences(work: Path, out: Path | None) -> int:
    """Print, and keep in a file, a table of the licences of all that an installed Clepsydra brings along."""
    wheel, _ = build(clean_clone(work / "clone"), work)
    environment = fresh_environment(work / "plain", sys.executable)
    install(environment, wheel)
    rows = json.loads(run([python_of(environment), "-c", _LICENCES]).stdout)
    lines = [
        "`python3 .setup/supply.py licences --out .setup/licences.md`",
        "",
        "| library | version | licence |",
        "| --- | --- | --- |",
        *("| " + " | ".join(row) + " |" for row in rows),
    ]
    say("\n".join(lines))
    if out is not None:
        out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 0


def bundle(work: Path, out: Path) -> int:
    """Put program, libraries and Python into one folder, and measure the sample run with it."""
    if out.exists():
        raise SystemExit(f"{out} is there already; name a folder that is not")
    wheel, _ = build(clean_clone(work / "clone"), work)
    environment = fresh_environment(work / "bundler", sys.executable)
    install(environment, wheel, "pyinstaller")
    start = work / "clepsydra.py"
    start.write_text(
        "import multiprocessing\nfrom measure_app.__main__ import main\n"
        "if __name__ == '__main__':\n    multiprocessing.freeze_support()\n    raise SystemExit(main())\n",
        encoding="utf-8",
    )
    options = ["--onedir", "--noconfirm", "--log-level", "ERROR", "--name", "clepsydra"]
    # Some libraries ask at run time which version they are.
    options += ["--recursive-copy-metadata", "clepsydra"]
    for name in BUNDLED_DATA:
        options += ["--collect-data", name]
    for name in OUR_PACKAGES:
        options += ["--collect-submodules", name]
    for name in LEFT_OUT:
        options += ["--exclude-module", name]
    paths = ["--distpath", work / "bundle", "--workpath", work / "made", "--specpath", work]
    run([python_of(environment), "-m", "PyInstaller", *options, *paths, start], cwd=work)
    folder = work / "bundle" / "clepsydra"
    program = folder / ("clepsydra.exe" if os.name == "nt" else "clepsydra")
    sample = next(folder.rglob("bench.run.json"))
    # The environment that it was made in must not be what makes it run.
    shutil.rmtree(environment)
    say(smoke([program], work, sample))
    started = subprocess.run(
        [program, "open", "--help"], check=False, capture_output=True, text=True, cwd=work
    )
    if started.returncode:
        raise SystemExit(f"the bundle cannot open its window: {started.stderr[-500:]}")
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
    shutil.move(folder, out)
    say(f"bundle: {out}, {size / 1e6:.0f} MB")
    return 0


def main() -> int:
    """Do what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("what", choices=("wheels", "oldest", "licences", "bundle"))
    parser.add_argument("--out", type=Path, help="where the bundle, or the table of licences, goes")
    asked = parser.parse_args()
    if asked.what == "bundle" and asked.out is None:
        parser.error("bundle needs --out DIR")
    with tempfile.TemporaryDirectory(prefix="clepsydra-supply-") as folder:
        work = Path(folder)
        if asked.what == "bundle":
            return bundle(work, asked.out.absolute())
        if asked.what == "licences":
            return licences(work, asked.out)
        return {"wheels": wheels, "oldest": oldest}[asked.what](work)


if __name__ == "__main__":
    sys.exit(main())
