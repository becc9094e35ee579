"""What the benchmarks import inside their functions is there: no test runs them, and code moves."""

from __future__ import annotations

import ast
import importlib
import importlib.util
from pathlib import Path

import pytest

BENCHMARKS = sorted((Path(__file__).parent / "benchmarks").glob("*.py"))
OURS = {"analysis", "calibration", "measure_app", "sample_clips", "tests"}


def _there(module: str, name: str) -> bool:
    return hasattr(importlib.import_module(module), name) or (
        importlib.util.find_spec(f"{module}.{name}") is not None
    )


@pytest.mark.parametrize("path", BENCHMARKS, ids=[path.stem for path in BENCHMARKS])
def test_every_import_of_a_benchmark_is_there(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    asked = [
        (node.module, alias.name)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module and node.module.partition(".")[0] in OURS
        for alias in node.names
    ]
    assert [f"{module}: {name}" for module, name in asked if not _there(module, name)] == []
