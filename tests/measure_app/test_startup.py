"""The command answers at once: nothing heavy is imported before it is needed."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = (
    "numpy",
    "scipy",
    "pandas",
    "cv2",
    "av",
    "matplotlib",
    "odrpack",
    "PySide6",
    "pyqtgraph",
    "msgspec",
    "xlsxwriter",
    "typst",
)


def fastest(code: list[str], times: int = 3) -> float:
    """Shortest wall time of a few runs, s; the shortest is the one least disturbed by the machine."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        subprocess.run([sys.executable, *code], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.mark.parametrize(
    "arguments", [["--help"], ["--version"], ["measure", "--help"], ["derive", "--help"]], ids=str
)
def test_help_imports_nothing_heavy(arguments):
    code = (
        "import sys\nfrom measure_app.__main__ import main\n"
        f"status = main({arguments!r})\n"
        f"print('HEAVY', [name for name in {HEAVY!r} if name in sys.modules], status)\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout
    assert said.splitlines()[-1] == "HEAVY [] 0"


def test_help_comes_within_0_4_s_of_a_bare_interpreter():
    bare = fastest(["-c", "pass"])
    ours = fastest(["-m", "measure_app", "--help"])
    assert ours - bare < 0.4
