"""No test without an assertion: one that only runs code stays green on whatever that code gives."""

from __future__ import annotations

import ast
from pathlib import Path

TESTS = Path(__file__).parent
ASSERTING = {"raises", "warns", "fail", "waitUntil", "waitSignal", "waitSignals"}
"""Calls that fail of their own accord: of pytest, of pytest-qt, and whatever begins with `assert`."""


def _name(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def _asserts(function: ast.FunctionDef, helpers: set[str]) -> bool:
    for node in ast.walk(function):
        if isinstance(node, ast.Assert):
            return True
        if isinstance(node, ast.Call):
            name = _name(node)
            if name in ASSERTING or name in helpers or name.startswith("assert"):
                return True
    return False


def without_assertion(source: str, known: frozenset[str] = frozenset()) -> list[str]:
    """Names of the tests of a module that assert nothing, neither themselves nor by a function that they call."""
    functions = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef)]
    helpers = set(known)
    while fresh := {f.name for f in functions if f.name not in helpers and _asserts(f, helpers)}:
        helpers |= fresh
    return [f.name for f in functions if f.name.startswith("test_") and f.name not in helpers]


def test_every_test_asserts_something() -> None:
    idle = [
        f"{path.relative_to(TESTS)}: {name}"
        for path in sorted(TESTS.rglob("test_*.py"))
        for name in without_assertion(path.read_text(encoding="utf-8"))
    ]
    assert idle == []


def test_what_asserts_nothing_is_found() -> None:
    source = (
        "def helper():\n    assert True\n"
        "def idle_helper():\n    pass\n"
        "def test_a():\n    helper()\n"
        "def test_b():\n    idle_helper()\n"
        "def test_c():\n    with pytest.raises(ValueError):\n        pass\n"
        "def test_d():\n    np.testing.assert_allclose(1, 1)\n"
        "def test_e():\n    print(1)\n"
    )
    assert without_assertion(source) == ["test_b", "test_e"]
