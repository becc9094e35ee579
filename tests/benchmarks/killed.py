"""Kill -9 at random instants of every kind of writing, and see what is left.

    python -m tests.benchmarks.killed --kills 500 --seed 1 --table tests/benchmarks/killed.md

A child writes one version after another to the same place, as fast as it can; it is killed after a random
time; then the place is read by the program's own reader. Left must be one whole version, the newest that was
finished or the one after it, with nothing of a half-done one in it. Prints the count for each kind; exit
status 1 if anything was torn, lost or foreign.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import msgspec

from measure_app.collating.tables import FORMAT as CLASS_FORMAT
from measure_app.collating.writing import KNOWN_FILES as CLASS_FILES
from measure_app.gui.recovery import RecoveryStore, Snapshot
from measure_app.report.whole import KNOWN_FILES, write_folder
from measure_app.run import Run
from measure_app.runfile import load_run, save_run

BENCH = Path(__file__).resolve().parents[2] / "sample_clips" / "bench" / "bench.run.json"
_PAD = "x" * 60_000


@dataclass(frozen=True, slots=True)
class Writing:
    """One kind of writing: version n to a place, and which version stands there."""

    name: str
    write: Callable[[Path, int], None]
    version_at: Callable[[Path], int]
    """Raises where what is there is torn."""
    longest_s: float = 0.06
    """Time after the first whole version within which it is killed: a few writings long."""


def _padded(n: int) -> Run:
    return msgspec.structs.replace(load_run(BENCH), title=str(n), extra={"pad": [_PAD[:600]] * 400, "n": n})


def _save(place: Path, n: int) -> None:
    save_run(_padded(n), place / "a.run.json")


def _saved(place: Path) -> int:
    run = load_run(place / "a.run.json")
    if str(run.extra["n"]) != run.title or len(run.extra["pad"]) != 400:
        raise ValueError("title and padding are of two versions")
    return int(run.title)


def _keep(place: Path, n: int) -> None:
    # One store for each place, as a window has one for all its changes; a forked child has its own.
    key = (os.getpid(), place)
    if key not in _stores:
        _stores[key] = RecoveryStore(place)
    _stores[key].keep(Snapshot(_padded(n), place, place / "a.run.json"))


_stores: dict[tuple[int, Path], RecoveryStore] = {}


def _close_own(place: Path) -> None:
    """Give the lock of this process back, so that what it kept is looked at as a dead window's."""
    store = _stores.pop((os.getpid(), place), None)
    if store is not None:
        store.close()


def _kept(place: Path) -> int:
    _close_own(place)
    store = RecoveryStore(place)
    try:
        return max(int(snapshot.run.title) for snapshot in store.left_behind())
    finally:
        store.close()


def _results(place: Path, n: int) -> None:
    told = {"format": "clepsydra-findings", "format_version": 1, "findings": [], "n": n}
    files = dict.fromkeys(sorted(KNOWN_FILES)[:12], f"{n}\n{_PAD}".encode())
    write_folder(place / "out", {**files, "findings.json": json.dumps(told).encode()})


def _whole_results(place: Path) -> int:
    out = place / "out"
    n = int(json.loads((out / "findings.json").read_bytes())["n"])
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    if names != {*sorted(KNOWN_FILES)[:12], "findings.json"}:
        raise ValueError(f"files are missing or foreign: {sorted(names)}")
    for name in names - {"findings.json"}:
        if (out / name).read_bytes() != f"{n}\n{_PAD}".encode():
            raise ValueError(f"{name} is of another version than findings.json")
    return n


def _collated(place: Path, n: int) -> None:
    told = {"format": CLASS_FORMAT, "n": n}
    files = dict.fromkeys(sorted(CLASS_FILES - {"findings.json"}), f"{n}\n{_PAD}".encode())
    files["findings.json"] = json.dumps(told).encode()
    write_folder(place / "class", files, CLASS_FILES, CLASS_FORMAT)


def _whole_collated(place: Path) -> int:
    folder = place / "class"
    n = int(json.loads((folder / "findings.json").read_bytes())["n"])
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    if names != CLASS_FILES:
        raise ValueError(f"files are missing or foreign: {sorted(names ^ CLASS_FILES)}")
    if {(folder / name).read_bytes() for name in names - {"findings.json"}} != {f"{n}\n{_PAD}".encode()}:
        raise ValueError("files are of two versions")
    return n


def _pack(place: Path, n: int) -> None:
    from measure_app.packs import PackPlan, pack

    source = place / "source"
    if not source.exists():
        source.mkdir()
        shutil.copy(BENCH.with_name("bench.mp4"), source)
    save_run(msgspec.structs.replace(load_run(BENCH), title=str(n)), source / "bench.run.json")
    pack(source / "bench.run.json", place / "a.clepsydra", PackPlan(students=3, each=10))


def _packed(place: Path) -> int:
    from measure_app.packs import unpack

    with tempfile.TemporaryDirectory() as folder:
        unpack(place / "a.clepsydra", Path(folder) / "opened", share=1)
        (run,) = (Path(folder) / "opened").glob("*.run.json")
        return int(load_run(run).title)


KINDS = (
    Writing("run file", _save, _saved),
    Writing("recovery file", _keep, _kept),
    Writing("results folder", _results, _whole_results),
    Writing("class's results", _collated, _whole_collated),
    Writing("pack", _pack, _packed, 0.5),
)


def one_kill(kind: Writing, place: Path, first: int, wait_s: float) -> tuple[int, int]:
    """Let a child write from version `first` on, kill it, and give (finished, found) versions.

    Raises
    ------
    Exception
        Of whatever sort the reader gives where what is left is not whole.
    """
    told, tell = os.pipe()
    child = os.fork()
    if child == 0:  # nothing of the parent's may run in here
        try:
            n = first
            while True:
                kind.write(place, n)
                os.write(tell, f"{n}\n".encode())
                n += 1
        finally:
            os._exit(9)
    os.close(tell)
    said = os.read(told, 65536)  # one whole version stands before the clock starts; on a busy machine several
    time.sleep(wait_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    while piece := os.read(told, 65536):
        said += piece
    os.close(told)
    if os.WTERMSIG(status) != signal.SIGKILL:
        raise ValueError(f"the child ended by itself, status {status}")
    return max(int(line) for line in said.split()), kind.version_at(place)


def main() -> int:
    """Kill, look, count."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--kills", type=int, default=500, help="over all kinds together")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--table", type=Path, help="write the table there too")
    asked = parser.parse_args()
    dice = random.Random(asked.seed)  # noqa: S311  dice, not a secret
    bad = 0
    lines = [
        f"`python -m tests.benchmarks.killed --kills {asked.kills} --seed {asked.seed}`",
        "",
        "| writing | kills | old or new, whole | torn or lost | versions written |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    print("\n".join(lines[2:]))
    for kind in KINDS:
        whole, torn, first = 0, 0, 1
        with tempfile.TemporaryDirectory() as folder:
            for i in range(asked.kills // len(KINDS)):
                place = Path(folder) / str(i) if kind.name == "recovery file" else Path(folder)
                place.mkdir(exist_ok=True)
                try:
                    finished, found = one_kill(kind, place, first, dice.uniform(0.0, kind.longest_s))
                except Exception as error:  # noqa: BLE001  whatever the reader says, it is told
                    print(f"{kind.name}: {type(error).__name__}: {error}", flush=True)
                    torn += 1
                    continue
                # Killed between putting in place and saying so, the next version stands there already.
                if found in {finished, finished + 1}:
                    whole += 1
                else:
                    print(f"{kind.name}: version {found} stands where {finished} was finished", flush=True)
                    torn += 1
                first = max(finished, found) + 1
        bad += torn
        lines.append(f"| {kind.name} | {whole + torn} | {whole} | {torn} | {first} |")
        print(lines[-1], flush=True)
    if asked.table:
        asked.table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
