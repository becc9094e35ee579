"""Make the project's own environment if need be, then do what was asked.

    python3 .setup/here.py measure sample_clips/bench/bench.run.json --out results
    python3 .setup/here.py test

The first form takes any `clepsydra` command. Only Python's standard library is used here.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
# Link dependencies of Qt's QtGui, even without a screen, and the Debian packages that bring them.
QT_LIBRARIES = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libglib-2.0.so.0": "libglib2.0-0",
}


def say(words: str) -> None:
    """Print one line at once, so that it stands before what a child process prints."""
    print(words, flush=True)


def apt_install(packages: list[str], purpose: str) -> bool:
    """Install Debian packages where this may be done without asking; else say what to type."""
    command = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages]
    if shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        say(f"installing {' '.join(packages)} ({purpose})")
        quiet = {"stdout": subprocess.DEVNULL, "env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}}
        subprocess.run(["apt-get", "update", "-qq"], check=False, **quiet)
        if subprocess.run(command, check=False, **quiet).returncode == 0:
            return True
    say(f"missing: {' '.join(packages)} ({purpose})")
    say(f"on Debian or Ubuntu: sudo apt-get install {' '.join(packages)}")
    return False


def python_of(environment: Path) -> Path:
    """The interpreter of a virtual environment."""
    return environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def make_environment(extra: str) -> Path:
    """Create the environment and install the project into it, unless that is done already."""
    if sys.version_info < (3, 11):
        sys.exit(f"Python 3.11 or later is needed, this is {sys.version.split()[0]}")
    python = python_of(ENVIRONMENT)
    healthy = (
        python.exists()
        and subprocess.run([python, "-m", "pip", "--version"], check=False, capture_output=True).returncode
        == 0
    )
    if not healthy:
        try:
            import ensurepip  # noqa: F401  Debian splits it off; without it a new environment has no pip
        except ImportError:
            version = f"{sys.version_info.major}.{sys.version_info.minor}"
            if not apt_install([f"python{version}-venv"], "Python's own venv module"):
                sys.exit(1)
        say("making the environment .venv")
        subprocess.run([sys.executable, "-m", "venv", "--clear", ENVIRONMENT], check=True)
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    stamp = ENVIRONMENT / f"installed-{extra or 'plain'}"
    if not stamp.exists() or stamp.read_text() != wanted:
        say("installing Clepsydra and what it needs (a few minutes the first time)")
        target = f"{ROOT}[{extra}]" if extra else str(ROOT)
        command = [python, "-m", "pip", "install", "-q", "--disable-pip-version-check", "-e", target]
        if subprocess.run(command, check=False).returncode:
            sys.exit("the installation did not finish: see above, mend it (network? disk?), try again")
        stamp.write_text(wanted)
    return python


def missing_qt_packages() -> list[str]:
    """Debian packages whose libraries Qt cannot be loaded without and that are not there."""
    missing = []
    if sys.platform.startswith("linux"):
        for library, package in QT_LIBRARIES.items():
            try:
                ctypes.CDLL(library)
            except OSError:
                missing.append(package)
    return missing


def bring_outside_readers() -> None:
    """Bring LibreOffice and poppler, which recalculate the workbook and read the report in the tests.

    About 80 MB and a minute. Where they cannot be had, the tests use a calculator and a reader of their own.
    With them comes what checks menu entries and kinds of file.
    """
    wanted = {
        "soffice": "libreoffice-calc-nogui",
        "pdftotext": "poppler-utils",
        "desktop-file-validate": "desktop-file-utils",
        "xdg-mime": "xdg-utils",
        "update-mime-database": "shared-mime-info",
        "gio": "libglib2.0-bin",
    }
    missing = [package for program, package in wanted.items() if shutil.which(program) is None]
    if missing:
        apt_install(missing, "outside readers of workbook and report; the tests run without them too")


def test(arguments: list[str]) -> int:
    """Run every check: lint, types, docstring coverage, layers and the tests."""
    missing = missing_qt_packages()
    if missing and not apt_install(
        [*missing, "fonts-dejavu-core"], "Qt's system libraries, for the window's tests"
    ):
        return 1
    if not arguments:
        bring_outside_readers()
    python = make_environment("test")
    checks = (
        ("lint", ["ruff", "check", "."]),
        ("types", ["mypy"]),
        (
            "docstring coverage",
            ["interrogate", "-q", "calibration", "analysis", "measure_app", "sample_clips"],
        ),
    )
    failed = []
    if not arguments:
        for name, command in checks:
            say(f"{name}: {' '.join(command)}")
            if subprocess.run([python, "-m", *command], cwd=ROOT, check=False).returncode:
                failed.append(name)
    # Two processes: the suite is written for two cores. "loadfile" keeps the fixtures of one file together.
    chosen = arguments or ["-q", "-n", "2", "--dist", "loadfile"]
    code = subprocess.run([python, "-m", "pytest", *chosen], cwd=ROOT, check=False).returncode
    if failed:
        say(f"failed before the tests: {', '.join(failed)}")
    return code or int(bool(failed))


def main() -> int:
    """Do what the command line asks for."""
    arguments = sys.argv[1:]
    if not arguments:
        say(__doc__ or "")
        return 2
    if arguments[0] == "test":
        return test(arguments[1:])
    python = make_environment("")
    return subprocess.run([python, "-m", "measure_app", *arguments], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
