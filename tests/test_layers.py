"""The layer law: who may import whom, lazy imports included."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
OURS = ("calibration", "analysis", "measure_app", "sample_clips", "tests")
GUI = "measure_app.gui"
# Heavy libraries and the only packages that may import them at all.
HOMES = {
    "av": ("measure_app.clip",),
    "PySide6": (GUI,),
    "pyqtgraph": (GUI,),
    "matplotlib": ("measure_app.report", "measure_app.collating.figures", "measure_app.comparing.charts"),
    "typst": ("measure_app.report",),
    "xlsxwriter": ("measure_app.report", "measure_app.comparing.workbook"),
    "cv2": ("calibration", "measure_app", "sample_clips"),
    "odrpack": ("analysis",),
    "msgspec": ("measure_app",),
    "click": ("measure_app.cli", "measure_app.spoken_help", "measure_app.__main__", "sample_clips.__main__"),
}


def modules() -> Iterator[tuple[str, Path]]:
    for package in ("calibration", "analysis", "measure_app", "sample_clips"):
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def imports_of(name: str, path: Path) -> Iterator[tuple[str, int]]:
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, base]).rstrip(".")
            yield base, node.lineno
            for alias in node.names:
                yield f"{base}.{alias.name}", node.lineno


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def breaches() -> Iterator[str]:
    allowed = {
        "calibration": ("calibration",),
        "analysis": ("analysis",),
        "measure_app": ("measure_app", "calibration", "analysis"),
        "sample_clips": ("sample_clips", "measure_app", "calibration", "analysis"),
    }
    for name, path in modules():
        top = name.split(".")[0]
        for target, line in imports_of(name, path):
            root = target.split(".")[0]
            where = f"{path.relative_to(ROOT)}:{line} imports {target}"
            if root in OURS and root not in allowed[top]:
                yield f"{where}: {top} may not know {root}"
            if within(target, GUI) and not within(name, GUI) and name != "measure_app.cli.window":
                yield f"{where}: only the command that opens the window may"
            if root in ("calibration", "analysis") and root != top and len(target.split(".")) > 2:
                yield f"{where}: go through the front door of {root}"
            if root in HOMES and not any(within(name, home) for home in HOMES[root]):
                yield f"{where}: {root} lives in {' and '.join(HOMES[root])} only"


def test_no_module_breaks_the_layer_law() -> None:
    assert sorted(set(breaches())) == []


def test_the_law_sees_a_breach(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for package in ("calibration", "analysis", "measure_app", "sample_clips"):
        (tmp_path / package).mkdir()
    (tmp_path / "analysis" / "bad.py").write_text(
        "def f():\n    from calibration import Pixel\n    import av\n"
    )
    monkeypatch.setitem(globals(), "ROOT", tmp_path)
    found = list(breaches())
    assert any("may not know calibration" in each for each in found)
    assert any("av lives in" in each for each in found)


def test_nothing_imports_in_a_circle() -> None:
    """Imports at the top of modules of one package form no circle."""
    graph: dict[str, set[str]] = {}
    names = {name for name, _ in modules()}
    for name, path in modules():
        edges = set()
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and node.module in names and path.name != "__init__.py":
                edges.add(node.module)
        graph[name] = edges - {name}
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " → ".join([*trail, name])
        if name not in done:
            for target in graph[name]:
                visit(target, (*trail, name))
            done.add(name)

    for name in graph:
        visit(name, ())
