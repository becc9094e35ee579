"""Put small faults into analysis and calibration, one at a time, and see whether a test notices.

    python -m tests.benchmarks.mutants --count 400 --seed 1 --table tests/benchmarks/mutants.md

The last commit is cloned into a folder of its own. There the tests of both packages run once, and it is noted which
test passes over which line. Then faults are drawn, evenly over all modules: a comparison turned round or moved by
its boundary, plus for minus, times for divided by, a number changed, `and` for `or`, a condition turned round. For
each only the tests that pass over its line are run, the quickest first and of those a few seconds' worth, until one
fails; 20 s of the processor at most, so that a busy machine condemns nothing. A fault that these let through is
given the further tests of its line, `--more` seconds' worth.
What no test notices is listed with its line, beside the reason where `mutants_explained.toml` says why no test can.

`--only MODULE` draws from one module; `--show` names every mutant and what became of it.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("analysis", "calibration")
TESTS = ("tests/analysis", "tests/calibration")
SECONDS = 20
WAITS = 60.0
"""Times as long as that may pass by the clock before a fault counts as one that hangs."""
SECONDS_OF_TESTS = 4.0
"""The quickest tests of a line are taken until they take so long; hundreds pass over a line of every fit."""
EXPLAINED = Path(__file__).with_name("mutants_explained.toml")
"""Faults that change nothing anybody can ask for, each with the reason."""
INI = "mutants.ini"
UNTOUCHED = {"__init__.py", "words.py"}
FACTS = ("test_small_faults", "test_more_small_faults", "test_derivatives")
"""Tests of single facts, asked before others that take as long."""
SPOKEN = {"said", "marked", "counted", "numeral", "field", "dataclass", "TypeVar", "Meta"}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One fault."""

    file: str
    line: int
    what: str
    source: str
    """The whole module with the fault in it."""


# ---------------------------------------------------------------- faults

_SWAPS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,),
    ast.Pow: (ast.Mult,),
    ast.Lt: (ast.GtE, ast.LtE),
    ast.LtE: (ast.Gt, ast.Lt),
    ast.Gt: (ast.LtE, ast.GtE),
    ast.GtE: (ast.Lt, ast.Gt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
}


def _places(tree: ast.AST) -> Iterator[ast.AST]:
    """Nodes of code that runs: no annotations, no documentation, no texts, no marks of a class."""
    pending: list[ast.AST] = [tree]
    while pending:
        node = pending.pop()
        yield node
        for name, value in ast.iter_fields(node):
            if name in {"annotation", "returns", "decorator_list", "type_params", "bases"}:
                continue
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SPOKEN:
                continue
            if isinstance(node, ast.Raise | ast.Assert | ast.JoinedStr | ast.Import | ast.ImportFrom):
                continue
            if isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitOr):
                continue  # of types
            pending += [
                each for each in (value if isinstance(value, list) else [value]) if isinstance(each, ast.AST)
            ]


def _changes(node: ast.AST) -> Iterator[tuple[ast.AST, str]]:
    """Yield nodes that may stand in the place of one, and what was changed."""
    if isinstance(node, ast.BinOp):
        if any(_is_text(side) for side in (node.left, node.right)):
            return
        for other in _SWAPS.get(type(node.op), ()):
            changed = copy.copy(node)
            changed.op = other()  # type: ignore[assignment]
            yield changed, f"{type(node.op).__name__} → {other.__name__}"
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        for other in _SWAPS.get(type(node.ops[0]), ()):
            changed_compare = copy.copy(node)
            changed_compare.ops = [other()]  # type: ignore[list-item]
            yield changed_compare, f"{type(node.ops[0]).__name__} → {other.__name__}"
    elif isinstance(node, ast.BoolOp):
        (other,) = _SWAPS[type(node.op)]
        changed_bool = copy.copy(node)
        changed_bool.op = other()  # type: ignore[assignment]
        yield changed_bool, f"{type(node.op).__name__} → {other.__name__}"
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield node.operand, f"{type(node.op).__name__} left out"
    elif isinstance(node, ast.Constant):
        if isinstance(node.value, bool):
            yield ast.Constant(not node.value), f"{node.value} → {not node.value}"
        elif isinstance(node.value, int):
            yield ast.Constant(node.value + 1), f"{node.value} → {node.value + 1}"
        elif isinstance(node.value, float):
            more = 1.25 * node.value if node.value else 1.0
            yield ast.Constant(more), f"{node.value} → {more}"


def _is_text(node: ast.AST) -> bool:
    if isinstance(node, ast.BinOp):
        return _is_text(node.left) or _is_text(node.right)
    called = node.func if isinstance(node, ast.Call) else None
    spoken = isinstance(called, ast.Name) and called.id in SPOKEN
    return (
        spoken
        or isinstance(node, ast.JoinedStr)
        or (isinstance(node, ast.Constant) and isinstance(node.value, str))
    )


def mutants_of(path: Path, root: Path, dice: random.Random) -> Iterator[Mutant]:
    """Yield every fault that can be put into a module, in an order of chance."""
    text = path.read_text(encoding="utf-8")
    every = [
        (node, new, what)
        for node in _places(ast.parse(text))
        if isinstance(node, ast.expr)
        for new, what in _changes(node)
    ]
    dice.shuffle(every)
    for node, new, what in every:
        # Only the expression itself is written anew, so that the lines of all else stay what they are.
        source = _with(text, node, ast.unparse(ast.copy_location(new, node)))
        try:
            compile(source, str(path), "exec")
        except SyntaxError:
            continue
        yield Mutant(path.relative_to(root).as_posix(), node.lineno, what, source)


def _with(text: str, node: ast.expr, words: str) -> str:
    lines = text.encode().splitlines(keepends=True)
    before = b"".join(lines[: node.lineno - 1]) + lines[node.lineno - 1][: node.col_offset]
    assert node.end_lineno is not None
    assert node.end_col_offset is not None
    after = lines[node.end_lineno - 1][node.end_col_offset :] + b"".join(lines[node.end_lineno :])
    # As many lines as before, so that all below keep theirs.
    filled = b"(" + words.encode() + b"\n" * (node.end_lineno - node.lineno) + b")"
    return (before + filled + after).decode()


def drawn(root: Path, count: int, dice: random.Random, only: str | None) -> list[Mutant]:
    """Draw faults in turn from every module, so that each has its share."""
    modules = [
        mutants_of(path, root, dice)
        for package in PACKAGES
        for path in sorted((root / package).glob("*.py"))
        if path.name not in UNTOUCHED and (only is None or path.stem == only)
    ]
    chosen: list[Mutant] = []
    while len(chosen) < count and modules:
        turn = [(each, next(each, None)) for each in modules]
        chosen += [mutant for _, mutant in turn if mutant is not None]
        modules = [each for each, mutant in turn if mutant is not None]
    return chosen[:count]


# ---------------------------------------------------------------- which test passes over which line


def passed_over(
    root: Path, kept: Path | None
) -> tuple[Mapping[tuple[str, int], list[str]], dict[str, float]]:
    """Run the tests once; give the tests of each line, the quickest first, and how long each takes."""
    told, data = root / "durations.txt", root / ".coverage"
    if kept is not None and (kept / "durations.txt").exists():
        (root / ".coverage").write_bytes((kept / ".coverage").read_bytes())
        told.write_bytes((kept / "durations.txt").read_bytes())
    if not data.exists() or not told.exists() or not told.stat().st_size:
        command = [
            sys.executable, "-m", "pytest", *TESTS, "-q", "-p", "no:cacheprovider", "--cov-context=test",
            "--cov-report=", "--durations=0", "--durations-min=0", *(f"--cov={each}" for each in PACKAGES),
        ]  # fmt: skip
        done = subprocess.run(command, cwd=root, check=False, capture_output=True, text=True)
        if done.returncode not in {0, 1}:
            raise SystemExit(f"the tests cannot be run:\n{done.stdout[-2000:]}")
        told.write_text(done.stdout, encoding="utf-8")
        if kept is not None:
            kept.mkdir(parents=True, exist_ok=True)
            (kept / ".coverage").write_bytes(data.read_bytes())
            (kept / "durations.txt").write_bytes(told.read_bytes())
    # A test of time fails where lines are noted as they are passed over; it is left out.
    failing = set(re.findall(r"^FAILED (\S+)", told.read_text("utf-8"), re.MULTILINE))
    times: dict[str, float] = defaultdict(float)
    for seconds, name in re.findall(
        r"^\s*([0-9.]+)s (?:setup|call|teardown)\s+(.+)$", told.read_text("utf-8"), re.MULTILINE
    ):
        times[name] += float(seconds)
    from coverage import CoverageData

    noted = CoverageData(basename=str(data))
    noted.read()
    lines: dict[tuple[str, int], list[str]] = {}
    for file in noted.measured_files():
        for line, contexts in noted.contexts_by_lineno(file).items():
            names = {name.rpartition("|")[0] for name in contexts if name} - failing
            lines["/".join(Path(file).parts[-2:]), line] = sorted(names)
    return lines, times


def tests_of(
    mutant: Mutant,
    lines: Mapping[tuple[str, int], list[str]],
    times: Mapping[str, float],
    root: Path,
    more: float,
) -> tuple[list[str], list[str]]:
    """
    Give the tests that pass over a fault's statement, the first to be asked and those after them.

    A line run at import only is passed over by its module's.
    """
    tree = ast.parse((root / mutant.file).read_text(encoding="utf-8"))
    inner = [
        n
        for n in ast.walk(tree)
        if isinstance(n, ast.stmt) and n.lineno <= mutant.line <= (n.end_lineno or 0)
    ]
    smallest = min(inner, key=lambda n: (n.end_lineno or 0) - n.lineno)
    span = range(smallest.lineno, min(smallest.end_lineno or 0, smallest.lineno + 40) + 1)
    found = [name for line in (mutant.line, *span) for name in lines.get((mutant.file, line), [])]
    if not any(isinstance(n, ast.FunctionDef) for n in inner):
        found += [name for (file, _), names in lines.items() if file == mutant.file for name in names[:3]]
        package = mutant.file.partition("/")[0]
        facts = tuple(f"tests/{package}/{name}.py" for name in FACTS[:2])
        found += [name for name in times if name.startswith(facts)]
    first: list[str] = []
    later: list[str] = []
    spent = 0.0
    nearest = (*FACTS, f"test_{Path(mutant.file).stem}")
    quickest = sorted(set(found), key=lambda name: (times.get(name, 0.0), name))
    for name in quickest:
        spent += times.get(name, 0.0)
        if first and spent > SECONDS_OF_TESTS:
            break
        first.append(name)
    spent = 0.0
    for name in sorted(
        quickest[len(first) :], key=lambda name: Path(name.partition("::")[0]).stem not in nearest
    ):
        spent += times.get(name, 0.0)
        if later and spent > more:
            break
        later.append(name)
    return first, later if more else []


# ---------------------------------------------------------------- running them


def outcome_of(mutant: Mutant, tests: Sequence[str], root: Path, seconds: float = SECONDS) -> str:
    """Say what became of a fault: `noticed`, `too long` (noticed as well), `survived` or `not reached`."""
    if not tests:
        return "not reached"
    path = root / mutant.file
    sound = path.read_bytes()
    path.write_text(mutant.source, encoding="utf-8")
    try:
        child = os.fork()
        if child == 0:
            _test_and_leave(tests, root, int(seconds))
        began = time.monotonic()
        while (waited := os.waitpid(child, os.WNOHANG))[0] == 0:
            if time.monotonic() - began > WAITS * seconds:
                os.kill(child, signal.SIGKILL)
            time.sleep(0.02)
        status = os.waitstatus_to_exitcode(waited[1])
        if status in {-signal.SIGXCPU, -signal.SIGKILL}:
            return "too long"
        if status == 4 and any(
            "[" in name for name in tests
        ):  # a name of a case that the shell of it garbles
            path.write_bytes(sound)
            return outcome_of(mutant, sorted({name.partition("[")[0] for name in tests}), root, seconds)
        if status == 4 and mutant.source.encode() != sound:
            # A fault that shows while a module of tests is read leaves none of them to be found.
            path.write_bytes(sound)
            there = outcome_of(replace(mutant, source=sound.decode()), tests, root, seconds)
            return "noticed" if there == "survived" else "not run"
        if status not in {0, 1, 2}:  # 2: the module cannot even be imported
            return "not run"
        return "noticed" if status else "survived"
    finally:
        path.write_bytes(sound)


def _test_and_leave(tests: Sequence[str], root: Path, seconds: int) -> None:
    """Run tests in this forked child, whose libraries are loaded and whose packages are not."""
    import resource

    import pytest

    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    os.chdir(root)
    sys.path.insert(0, str(root))
    status = 70
    try:
        # Of the tests' plug-ins none is needed here, and the window's alone takes longer than most tests.
        without = [
            part
            for name in ("cacheprovider", "pytest-qt", "xdist", "pytest_cov")
            for part in ("-p", f"no:{name}")
        ]
        status = int(
            pytest.main(["-x", "-q", "-c", str(root / INI), "--rootdir", str(root), *without, *tests])
        )
    finally:
        os._exit(status)


def explained() -> dict[tuple[str, str, str], str]:
    """Why no test can tell, by module, line and fault."""
    rows = tomllib.loads(EXPLAINED.read_text(encoding="utf-8"))["same"]
    return {(row["file"], row["line"], fault): row["why"] for row in rows for fault in row["faults"]}


def outdated(root: Path) -> list[str]:
    """Lines that an explanation names and that stand in their module no more."""
    there = {name: (root / name).read_text("utf-8") for name in {file for file, _, _ in explained()}}
    return sorted({f"{file}: {line}" for file, line, _ in explained() if line not in there[file]})


def _libraries() -> None:
    """Load what all tests need, once."""
    import odrpack  # noqa: F401
    import pytest  # noqa: F401
    import scipy.integrate
    import scipy.interpolate
    import scipy.optimize
    import scipy.stats  # noqa: F401


def main() -> int:
    """Draw, test, count."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one module's stem")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--minutes", type=float, default=60.0, help="no more faults are drawn after so long")
    parser.add_argument("--more", type=float, default=30.0, help="seconds of further tests for what is left")
    parser.add_argument("--table", type=Path)
    parser.add_argument(
        "--after",
        type=Path,
        help="what an earlier run of the same draw printed with --show: noticed stays noticed",
    )
    parser.add_argument(
        "--lines", type=Path, help="folder that keeps .coverage and durations.txt of the first run"
    )
    asked = parser.parse_args()
    sys.dont_write_bytecode = True
    with tempfile.TemporaryDirectory() as name:
        root = Path(name) / "clone"
        subprocess.run(["git", "clone", "-q", str(ROOT), str(root)], check=True)  # noqa: S607
        (root / INI).write_text(
            "[pytest]\naddopts = --import-mode=importlib\npythonpath = .\nfilterwarnings = error\nmarkers = slow: long\n",
            encoding="utf-8",
        )
        for line in outdated(root):
            print(f"explained, and there no more: {line}", flush=True)
        every = judged(asked, root)
    report(asked, every)
    return 0


def judged(asked: argparse.Namespace, root: Path) -> list[tuple[Mutant, str, str]]:
    """Put in one fault after the other; give each with what became of it and its line."""
    last = time.monotonic() + 60.0 * asked.minutes
    lines, times = passed_over(root, asked.lines)
    _libraries()
    for mutant in drawn(root, 5, random.Random(0), asked.only):  # noqa: S311  dice
        # A judge who condemns the sound as well proves nothing.
        sound = replace(mutant, source=(root / mutant.file).read_text(encoding="utf-8"))
        if outcome_of(sound, tests_of(sound, lines, times, root, 0.0)[0], root) == "noticed":
            raise SystemExit(f"{mutant.file}:{mutant.line}: its tests fail without any fault")
    reasons = explained()
    before = Counter(
        re.sub(r":[0-9]+:", ":", line.partition(": ")[2], count=1)
        for line in (asked.after.read_text("utf-8").splitlines() if asked.after else [])
        if line.startswith(("noticed:", "too long:"))
    )
    every: list[tuple[Mutant, str, str]] = []
    for mutant in drawn(root, asked.count, random.Random(asked.seed), asked.only):  # noqa: S311  dice
        if time.monotonic() > last:
            break
        code = (root / mutant.file).read_text(encoding="utf-8").splitlines()[mutant.line - 1].strip()
        if before[f"{mutant.file}: {mutant.what}: {code}"]:
            before[f"{mutant.file}: {mutant.what}: {code}"] -= 1
            every.append((mutant, "noticed", code))
            continue
        first, later = tests_of(mutant, lines, times, root, asked.more)
        came = outcome_of(mutant, first, root)
        if came == "survived" and (mutant.file, code, mutant.what) in reasons:
            came = "explained"
        if came == "survived" and later:
            came = outcome_of(mutant, later, root, SECONDS + 3.0 * asked.more)
        if came == "not run":
            print(f"not run: {mutant.file}:{mutant.line}: its tests have names unknown here", flush=True)
            continue
        every.append((mutant, came, code))
        if asked.show or came in {"survived", "not reached"}:
            print(f"{came}: {mutant.file}:{mutant.line}: {mutant.what}: {code}", flush=True)
    return every


def report(asked: argparse.Namespace, every: Sequence[tuple[Mutant, str, str]]) -> None:
    """Print, and keep in a file, the counts by module and each fault that no test noticed."""
    by_module: dict[str, list[str]] = defaultdict(list)
    for mutant, came, _ in every:
        by_module[mutant.file].append("noticed" if came == "too long" else came)
    all_of_them = [came for each in by_module.values() for came in each]
    count = all_of_them.count
    reasons = explained()
    words = (
        f"{len(every)} faults: {count('noticed')} noticed, {count('explained')} that no test can tell, each with its "
        f"reason below; left: {count('survived')} not noticed, {count('not reached')} in lines that no test of the "
        "two packages reaches."
    )
    out = [
        f"`python -m tests.benchmarks.mutants --count {asked.count} --seed {asked.seed}`",
        "",
        words,
        "",
        "| module | faults | noticed | explained |",
        "| --- | ---: | ---: | ---: |",
        *(
            f"| {file} | {len(each)} | {each.count('noticed')} | {each.count('explained')} |"
            for file, each in sorted(by_module.items())
        ),
        "",
        "| not noticed | fault | line | why no test can tell |",
        "| --- | --- | --- | --- |",
        *(
            f"| {m.file}:{m.line} | {m.what} | `{code.replace('|', '∣')[:90]}` | "
            f"{reasons.get((m.file, code, m.what), '')} |"
            for m, came, code in every
            if came not in {"noticed", "too long"}
        ),
    ]
    print("\n".join(out))
    if asked.table:
        asked.table.write_text("\n".join(out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
