"""Damaged and hostile files by the thousand, each read by the real readers in a child process.

    python -m tests.benchmarks.fuzz --inputs 20000 --films 300 --seed 1 --table tests/benchmarks/fuzz.md

Seeds are sound files of our own; each input is one of them with bits turned over, pieces cut, repeated or
crossed with another seed, or with a value of its tree replaced by a nasty one. What may come of it: the file
is read, or it is refused by an `AppError` of one line. Anything else counts as a failure, and the input is
kept: another exception, a message of several lines or without end, more than 20 s, more than 1 GiB above
what the child needed for sound files, or the death of the child in native code.
"""

from __future__ import annotations

import argparse
import copy
import io
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any

SECONDS = 20
GIBIBYTE = 1 << 30
LONGEST_WORDS = 2_000
ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_clips"
PER_CHILD = 500
"""Inputs that one child reads before it is renewed, so that a leak or a crash costs little."""

NASTY: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**63, 2**64, -(2**63), 10**400, 1e308, -1e308, 5e-324, 1e-300, 0.1,
    "", " ", "x" * 100_000, "\x00", "../../etc/passwd", "file:///etc/passwd", "=1+1", "\u202e", "\ud800", "NaN",
    [], {}, [[]], [0, 0], [1e308, -1e308], [None], {"": {}}, {"__proto__": 1}, [[[[[[[[[[]]]]]]]]]],
)  # fmt: skip
LITERALS = (
    b"NaN",
    b"Infinity",
    b"-Infinity",
    b"1e999",
    b"1" * 5000,
    b"[" * 200,
    b'{"a":' * 200,
    b"\xff\xfe",
    b"\x00",
)


class _TooLongError(BaseException):
    """An input took longer than it may; not an Exception, so that no reader can swallow it."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file: sound seeds, and what reads it."""

    name: str
    ending: str
    seeds: Callable[[], list[bytes]]
    read: Callable[[Path], object]
    tree: bool = False
    """Whether it is JSON, so that values of its tree can be replaced."""


@dataclass(slots=True)
class Tally:
    """What came of the inputs of one kind."""

    read: int = 0
    refused: int = 0
    failures: list[str] = field(default_factory=list)
    slowest_s: float = 0.0
    most_bytes: int = 0
    reasons: Counter[str] = field(default_factory=Counter)


# ---------------------------------------------------------------- seeds and readers


def _runs() -> list[bytes]:
    return [path.read_bytes() for path in sorted(SAMPLES.glob("*/*.run.json"))]


def _tables() -> list[bytes]:
    rows = "\n".join(f"{0.2 - 0.01 * i:.3f},{0.4 - 0.012 * i:.3f},{2.0 * i:.2f}" for i in range(12))
    comma = rows.replace(",", ";").replace(".", ",")
    return [
        f"head_m,throw_m,time_s\n{rows}\n".encode(),
        f"head_m;throw_m;time_s\n{comma}\n".encode(),
        f"\ufeffhead_cm,throw_cm,note\r\n20,40,one\r\n10,28,two\r\n{rows}\r\n".encode(),
    ]


def _packs() -> list[bytes]:
    import msgspec

    from measure_app.packs import PackPlan, pack
    from measure_app.runfile import load_run, save_run

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        film = _small_film(folder)
        run = load_run(SAMPLES / "bench" / "bench.run.json")
        clip = msgspec.structs.replace(run.clip, path=film.name, sha256=None)
        save_run(msgspec.structs.replace(run, clip=clip), folder / "small.run.json")
        made = folder / "seed.clepsydra"
        pack(folder / "small.run.json", made, PackPlan(students=3, each=10))
        return [made.read_bytes()]


def _small_film(folder: Path) -> Path:
    """A few frames in a few kilobytes."""
    import av
    import numpy as np

    path = folder / "small.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
        grid = np.add.outer(np.arange(120), np.arange(160)).astype(np.uint8)
        for i in range(40):
            frame = av.VideoFrame.from_ndarray(np.roll(grid, 3 * i, axis=0), format="gray8")
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode(None):
            out.mux(packet)
    return path


def _films() -> list[bytes]:
    with tempfile.TemporaryDirectory() as folder:
        seeds = [_small_film(Path(folder)).read_bytes()]
    data = ROOT / "tests" / "measure_app" / "clip" / "data"
    seeds += [path.read_bytes() for path in sorted(data.glob("*.m*"))]
    return seeds


def _read_run(path: Path) -> object:
    from measure_app.runfile import decode_run, encode_run, load_run

    run = load_run(path)
    if decode_run(encode_run(run)) != run:
        raise RuntimeError("a run that was read does not survive saving")
    return run


def _read_table(path: Path) -> object:
    from analysis import Conditions, findings_of
    from measure_app.table import load_table
    from measure_app.table_series import series_from_table

    series, _ = series_from_table(load_table(path), 0.4, 0.001)
    return findings_of(series, Conditions())


def _read_pack(path: Path) -> object:
    from measure_app.packs import unpack

    with tempfile.TemporaryDirectory() as folder:
        return unpack(path, Path(folder) / "opened")


def _read_film(path: Path) -> object:
    from measure_app.clip import open_clip

    with open_clip(path) as clip:
        seen = sum(plane.plane is not None for plane in clip.luma_planes())
        count = clip.info.n_frames
        for index in (0, count // 2, count - 1):
            clip.frame(index)
        return seen


def _read_derived(path: Path) -> object:
    """Run file to findings by its hand readings alone, as a stranger's answer is worked out."""
    import numpy as np

    from measure_app.clip import open_source
    from measure_app.outcome import outcome_of
    from measure_app.runfile import load_run

    run = load_run(path)
    global _info  # noqa: PLW0603  the film is opened once for each child
    if _info is None:
        with open_source(SAMPLES / "bench" / "bench.mp4") as film:
            _info = film.info
    return outcome_of(run, np.arange(_info.n_frames) / 30.0, _info)


_info: Any = None


def _runs_with_readings() -> list[bytes]:
    seeds = []
    for data in _runs():
        tree = json.loads(data)
        tree["readings"] = [
            {
                "frame": 30 * i,
                "surface": {"px": [455.0, 160.0 + 12.0 * i], "px_u": 0.5, "by": "hand"},
                "landing": {"px": [1000.0 - 20.0 * i, 690.0], "px_u": 1.5, "by": "hand"},
            }
            for i in range(12)
        ]
        seeds.append(json.dumps(tree).encode())
    return seeds


def _answers() -> list[bytes]:
    """What students hand in: runs of a pack's shares, with readings of their own."""
    import numpy as np

    from measure_app.runfile import encode_run
    from tests.measure_app.collating import simulated_class

    rng = np.random.default_rng(4)
    made = [
        encode_run(simulated_class.answer_run(rng, np.arange(start, 300, 25), "A. Reader"))
        for start in (0, 7, 13)
    ]
    with zipfile.ZipFile(io.BytesIO(_packs()[0])) as archive:
        made += [archive.read(name) for name in archive.namelist() if name.startswith("share-1.")]
    return made


def _read_collated(path: Path) -> object:
    """One answer held against the teacher's key; a refusal in words is what `collate` lists."""
    from measure_app.collating import read_answer
    from measure_app.collating.answer import Refusal
    from measure_app.collating.teachers_key import teachers_key
    from measure_app.errors import AppError

    global _key  # noqa: PLW0603  the key's film is looked at once for each child
    if _key is None:
        _key = teachers_key(SAMPLES / "bench" / "bench.run.json").key
    read = read_answer(path.name, path.read_bytes(), _key)
    if isinstance(read, Refusal):
        raise AppError(read.reason, where=read.file)
    return read


_key: Any = None


def _results() -> list[bytes]:
    from analysis import Conditions
    from measure_app.report import results_of_table
    from measure_app.report.findings_json import findings_json
    from measure_app.table import load_table

    made = []
    with tempfile.TemporaryDirectory() as folder:
        for i, table in enumerate(_tables()[:2]):
            path = Path(folder) / f"{i}.csv"
            path.write_bytes(table)
            made.append(findings_json(results_of_table(load_table(path), Conditions(), 0.4, 0.001)))
    return made


def _read_compared(path: Path) -> object:
    from measure_app.comparing.entries import decode_findings

    return decode_findings(path.read_bytes(), path.name)


def _recoveries() -> list[bytes]:
    return [
        json.dumps(
            {
                "format": "clepsydra-recovery",
                "format_version": 1,
                "folder": "bench",
                "path": None,
                "written": 1.0,
                "run": json.loads(data),
            }
        ).encode()
        for data in _runs_with_readings()
    ]


def _read_recovery(path: Path) -> object:
    from measure_app.gui import recovery

    return recovery._read(path)


def _question_lists() -> list[bytes]:
    return [b"# for the class\nWhy is Cv below one?\n\nWhat would halve the uncertainty?\n"]


def _read_questions(path: Path) -> object:
    from measure_app.packs import load_questions

    return load_questions(path)


KINDS = (
    Kind("run file", ".run.json", _runs, _read_run, tree=True),
    Kind("run with readings, derived", ".run.json", _runs_with_readings, _read_derived, tree=True),
    Kind("answer of a class, collated", ".run.json", _answers, _read_collated, tree=True),
    Kind("findings, compared", ".json", _results, _read_compared, tree=True),
    Kind("recovery file", ".recovery.json", _recoveries, _read_recovery, tree=True),
    Kind("questions of a pack", ".txt", _question_lists, _read_questions),
    Kind("table", ".csv", _tables, _read_table),
    Kind("pack", ".clepsydra", _packs, _read_pack),
    Kind("film", ".mp4", _films, _read_film),
)


# ---------------------------------------------------------------- inputs


def _spots(tree: Any, at: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    """Every place of a tree where a value can be put: its holder and its key."""
    for key in list(tree) if isinstance(tree, dict) else range(len(tree)):
        at.append((tree, key))
        if isinstance(tree[key], dict | list):
            _spots(tree[key], at)
    return at


def _tree_input(seed: bytes, dice: random.Random) -> bytes:
    tree = json.loads(seed)
    for _ in range(dice.choice((1, 1, 1, 2, 4))):
        places = _spots(tree, [])
        if not places:
            break
        holder, key = dice.choice(places)
        what = dice.random()
        if what < 0.7:
            value = copy.deepcopy(dice.choice(NASTY))  # lists must not end up inside themselves
            number = isinstance(holder[key], float | int) and not isinstance(holder[key], bool)
            number = number and abs(holder[key]) < 2**64  # a nasty one of before may be past every float
            # Most numbers stay numbers within their range, so that inputs get past the door.
            if number and dice.random() < 0.8:
                value = holder[key] * dice.choice((-1, 0, 1e-12, 1e-3, 0.5, 2, 1e3, 1e6, 1 + 1e-9))
                value = int(value) if isinstance(holder[key], int) else value
            holder[key] = value
        elif what < 0.85:
            del holder[key]
        elif isinstance(holder, dict):
            holder[f"{key}x"] = holder[key]
        else:
            holder.insert(key, holder[key])
    data = json.dumps(tree).encode("utf-8", "surrogatepass")
    if dice.random() < 0.1:
        data = data.replace(dice.choice((b"0.5", b"null", b"1", b'"')), dice.choice(LITERALS), 1)
    return data


def _zip_input(seed: bytes, dice: random.Random) -> bytes:
    """One entry of a pack renamed, repeated, blown up or with its own content damaged."""
    names = (
        "../x.json",
        "/x.json",
        "C:\\x",
        "pack.json",
        "a/../../b",
        "share-01.run.json",
        "x" * 300,
        "con",
        " ",
    )
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(seed)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        entries = old.infolist()
        chosen = dice.choice(entries).filename
        for entry in entries:
            data, name = old.read(entry), entry.filename
            if name == chosen:
                what = dice.random()
                if what < 0.3:
                    name = dice.choice(names)
                elif what < 0.4:
                    data = bytes(300_000_000 if dice.random() < 0.02 else 3_000_000)
                elif what < 0.75 and name.endswith(".json"):
                    data = _tree_input(data, dice)
                elif what < 0.8:
                    continue
                elif what < 0.85:
                    new.writestr(name, data)
                else:
                    data = _bytes_input([data], dice)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # a name that stands twice is the point of it
                new.writestr(name, data)
    return made.getvalue()


def _bytes_input(seeds: Sequence[bytes], dice: random.Random) -> bytes:
    data = bytearray(dice.choice(seeds))
    for _ in range(dice.choice((1, 1, 2, 5, 20))):
        if not data:
            break
        at = dice.randrange(len(data))
        what = dice.random()
        if what < 0.5:
            data[at] ^= 1 << dice.randrange(8)
        elif what < 0.65:
            data[at : at + 4] = dice.choice(
                (b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", bytes(4), b"\x80\x00\x00\x00")
            )
        elif what < 0.75:
            del data[at : at + dice.randrange(1, 200)]
        elif what < 0.82:
            piece = data[at : at + dice.randrange(1, 200)]
            data[at:at] = piece * dice.choice((1, 3, 50))
        elif what < 0.88:
            data[at:at] = dice.choice(LITERALS)
        elif what < 0.94:
            other = dice.choice(seeds)
            data[at:] = other[dice.randrange(len(other)) :]
        else:
            del data[at:]
    return bytes(data)


def input_of(kind: Kind, seeds: list[bytes], seed: int) -> bytes:
    """Make the input of one number, the same every time."""
    dice = random.Random(f"{kind.name} {seed}")  # noqa: S311  dice, not a secret
    if kind.tree and dice.random() < 0.7:
        return _tree_input(dice.choice(seeds), dice)
    if kind.ending == ".clepsydra" and dice.random() < 0.6:
        return _zip_input(dice.choice(seeds), dice)
    return _bytes_input(seeds, dice)


# ---------------------------------------------------------------- the child


def _child(kind: Kind, seeds: list[bytes], first: int, count: int) -> None:
    """Read inputs one by one; print a line before and after each, so that a death can be laid to one."""
    from measure_app.errors import AppError

    signal.signal(signal.SIGALRM, _too_long)
    _bound_memory()
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # what libraries murmur is not the point here
    with tempfile.TemporaryDirectory() as folder:
        for path_seed in (*range(first, first + count),):
            path = Path(folder) / f"input{kind.ending}"
            path.write_bytes(input_of(kind, seeds, path_seed))
            print(json.dumps({"begins": path_seed}), flush=True)
            began = time.monotonic()
            signal.alarm(SECONDS)
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("error")
                    kind.read(path)
                came = "read"
            except AppError as error:
                came = _words_in_order(str(error))
            except _TooLongError:
                came = f"failure: more than {SECONDS} s"
            except BaseException as error:  # noqa: BLE001  whatever it is, it is to be told
                came = f"failure: {type(error).__name__}: {str(error)[:200]}"
            finally:
                signal.alarm(0)
            most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
            line = {"ends": path_seed, "came": came, "s": time.monotonic() - began, "bytes": most}
            print(json.dumps(line), flush=True)


def _too_long(_signal: int, _frame: FrameType | None) -> None:
    raise _TooLongError


def _bound_memory() -> None:
    """Allow 1 GiB above the room that libraries and threads take up before the first input."""
    import cv2  # noqa: F401  their room is normal room
    import scipy.optimize  # noqa: F401

    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    # Threads of the decoder reserve stacks and arenas of address space that they do not use.
    room = pages * resource.getpagesize() + GIBIBYTE + GIBIBYTE // 2
    resource.setrlimit(resource.RLIMIT_AS, (room, room))


def _words_in_order(words: str) -> str:
    if "\n" in words or "\r" in words:
        return f"failure: refusal of several lines: {words[:200]!r}"
    if len(words) > LONGEST_WORDS:
        return f"failure: refusal of {len(words)} characters: {words[:200]!r}"
    if any(ord(c) < 32 for c in words):
        return f"failure: control character in the refusal: {words[:200]!r}"
    return "refused"


# ---------------------------------------------------------------- the parent


def fuzz(kind: Kind, inputs: int, first: int, keep: Path) -> Tally:
    """Let children read the inputs of one kind; failures are kept as files in `keep`."""
    tally, seeds, done = Tally(), kind.seeds(), 0
    base = None
    with tempfile.TemporaryDirectory() as folder:
        for i, seed in enumerate(seeds):
            (Path(folder) / str(i)).write_bytes(seed)
        while done < inputs:
            count = min(PER_CHILD, inputs - done)
            command = [
                sys.executable,
                "-m",
                "tests.benchmarks.fuzz",
                "--child",
                kind.name,
                "--from",
                str(first + done),
            ]
            child = subprocess.Popen(
                [*command, "--inputs", str(count), "--seeds", folder],
                stdout=subprocess.PIPE, text=True, cwd=ROOT,
            )  # fmt: skip
            begun = ended = first + done - 1
            for line in child.stdout or ():
                told = json.loads(line)
                begun = told.get("begins", begun)
                if "ends" in told:
                    ended = told["ends"]
                    base = told["bytes"] if base is None else base
                    _take(tally, kind, seeds, told, base, keep)
            status = child.wait()
            if status and begun > ended:
                _keep(tally, kind, seeds, begun, f"the child died with status {status}", keep)
                ended = begun
            elif status and begun == ended:
                raise SystemExit(f"{kind.name}: a child could not begin (status {status})")
            done = ended - first + 1
    return tally


def _take(tally: Tally, kind: Kind, seeds: list[bytes], told: dict[str, Any], base: int, keep: Path) -> None:
    tally.slowest_s = max(tally.slowest_s, told["s"])
    tally.most_bytes = max(tally.most_bytes, told["bytes"] - base)
    if told["came"] == "read":
        tally.read += 1
    elif told["came"] == "refused":
        tally.refused += 1
    else:
        _keep(tally, kind, seeds, told["ends"], told["came"], keep)


def _keep(tally: Tally, kind: Kind, seeds: list[bytes], number: int, why: str, keep: Path) -> None:
    tally.failures.append(f"{kind.name} {number}: {why}")
    print(tally.failures[-1], flush=True)
    keep.mkdir(parents=True, exist_ok=True)
    (keep / f"{kind.name.replace(' ', '-').replace(',', '')}-{number}{kind.ending}").write_bytes(
        input_of(kind, seeds, number)
    )


def main() -> int:
    """Fuzz every kind and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--inputs", type=int, default=2000, help="for each kind but films and packs")
    parser.add_argument("--films", type=int, default=100, help="films and packs")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one kind alone")
    parser.add_argument("--table", type=Path, help="write the table there too")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-failures")
    parser.add_argument("--child", help=argparse.SUPPRESS)
    parser.add_argument("--from", dest="first", type=int, default=0, help=argparse.SUPPRESS)
    parser.add_argument("--seeds", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.child:
        (kind,) = (each for each in KINDS if each.name == asked.child)
        seeds = [path.read_bytes() for path in sorted(asked.seeds.iterdir(), key=lambda path: int(path.name))]
        _child(kind, seeds, asked.first, asked.inputs)
        return 0
    lines = [
        f"`python -m tests.benchmarks.fuzz --inputs {asked.inputs} --films {asked.films} --seed {asked.seed}`",
        "",
        "| kind of file | inputs | read | refused in one line | failures | slowest, s | memory above the first, MiB |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    failed = 0
    for kind in KINDS:
        if asked.only and kind.name != asked.only:
            continue
        inputs = asked.films if kind.ending in {".mp4", ".clepsydra"} else asked.inputs
        tally = fuzz(kind, inputs, asked.seed * 10_000_000, asked.keep)
        failed += len(tally.failures)
        lines.append(
            f"| {kind.name} | {inputs} | {tally.read} | {tally.refused} | {len(tally.failures)} | "
            f"{tally.slowest_s:.2f} | {tally.most_bytes / 2**20:.0f} |"
        )
        print(lines[-1], flush=True)
    print("\n".join(lines))
    if asked.table:
        asked.table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
