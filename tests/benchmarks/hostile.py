"""Every kind of attack that we know of, each through the real command in a process of its own.

    python -m tests.benchmarks.hostile --table tests/benchmarks/hostile.md

What must come of each: exit status 2, one line on standard error that names file and key or frame, no traceback,
nothing written, within 20 s and 1 GiB above what the same command needs for a sound file. What can be read after
all, such as a film with a bit turned over, may also be worked out whole (status 0, or 1: nothing found).
Exit status 1 if anything else comes of one. Seconds are the processor's, so that a machine busy with other things
changes nothing; one that waits for ever is ended and is a fault too.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from measure_app.clip import write_clip

ROOT = Path(__file__).resolve().parents[2]
BENCH = ROOT / "sample_clips" / "bench"
SECONDS = 20.0
WAITS = 60.0 * SECONDS
"""When one is ended that does not end by itself, s."""
MEBIBYTES = 1024
Make = Callable[[Path], list[str]]
"""Puts the attack into a folder and gives the command's arguments; where they end in `--out`, `out` follows."""


@dataclass(frozen=True, slots=True)
class Attack:
    """One attack."""

    name: str
    make: Make
    may_be_read: bool = False
    """Whether it can be sound enough to be worked out."""


@dataclass(frozen=True, slots=True)
class Came:
    """What came of it."""

    status: int
    lines: tuple[str, ...]
    seconds: float
    mebibytes: float
    written: tuple[str, ...]
    remark: str
    """First doubt in what was worked out."""


# ---------------------------------------------------------------- run files


def _tree() -> Any:
    return json.loads((BENCH / "bench.run.json").read_text(encoding="utf-8"))


def _run_of(text: str | bytes) -> Make:
    def make(folder: Path) -> list[str]:
        data = text.encode() if isinstance(text, str) else text
        (folder / "a.run.json").write_bytes(data)
        (folder / "bench.mp4").symlink_to(BENCH / "bench.mp4")
        return ["measure", "a.run.json", "--no-report", "--out"]

    return make


def _changed(where: str, value: Any) -> Make:
    tree = _tree()
    holder = tree
    *parts, last = [int(part) if part.isdigit() else part for part in where.split(".")]
    for part in parts:
        holder = holder[part]
    holder[last] = value
    return _run_of(json.dumps(tree))


def _many_readings() -> Make:
    """As many readings as fit below the bound on size, each of a frame of its own."""
    tree = _tree()
    spot = {"px": [455.0, 160.0], "px_u": 0.5, "by": "hand"}
    tree["readings"] = [{"frame": i, "surface": spot} for i in range(420_000)]
    return _run_of(json.dumps(tree, separators=(",", ":")))


def _named(name: bytes, data: bytes, *arguments: str) -> Make:
    """Put bytes into a file of any name, even one that is no text, and give it to a command."""

    def make(folder: Path) -> list[str]:
        path = os.fsdecode(os.fsencode(folder) + b"/" + name)
        Path(path).write_bytes(data)
        return [arguments[0], os.fsdecode(name), *arguments[1:], "--out"]

    return make


def _is_a(kind: str, name: str, *arguments: str) -> Make:
    """Put a pipe or a folder where a command wants the file of that name."""

    def make(folder: Path) -> list[str]:
        for each in (BENCH / "bench.mp4", BENCH / "bench.run.json"):
            (folder / each.name).symlink_to(each)
        if kind == "pipe":
            os.mkfifo(folder / name)
        else:
            (folder / name).mkdir()
        return list(arguments)

    return make


def _linked_to_itself(folder: Path) -> list[str]:
    (folder / "a.run.json").symlink_to(folder / "b.run.json")
    (folder / "b.run.json").symlink_to(folder / "a.run.json")
    return ["measure", "a.run.json", "--out"]


def _film_is(link: str) -> Make:
    def make(folder: Path) -> list[str]:
        arguments = _run_of(json.dumps(_tree()))(folder)
        (folder / "bench.mp4").unlink()
        if link == "a pipe":
            os.mkfifo(folder / "bench.mp4")
        else:
            (folder / "bench.mp4").symlink_to(link)
        return arguments

    return make


# ---------------------------------------------------------------- tables, packs, answers


def _table_of(data: bytes) -> Make:
    def make(folder: Path) -> list[str]:
        (folder / "t.csv").write_bytes(data)
        return [*_DERIVE, "--out"]

    return make


_DERIVE = ("derive", "t.csv", "--drop", "0.4", "--drop-u", "0.001", "--no-report")


def _into(place: str) -> Make:
    """Let a sound table's results go to a place where something of somebody's is."""

    def make(folder: Path) -> list[str]:
        (folder / "t.csv").write_bytes(b"head_m,throw_m\n0.2,0.45\n0.15,0.39\n0.1,0.32\n0.05,0.22\n")
        (folder / "mine").mkdir()
        (folder / "mine" / "thesis.txt").write_text("years of work", encoding="utf-8")
        (folder / "link").symlink_to("mine")
        return [*_DERIVE, "--out", place]

    return make


def _pack_with(change: Callable[[dict[str, bytes]], dict[Any, bytes]]) -> Make:
    def make(folder: Path) -> list[str]:
        from measure_app.packs import PackPlan, pack

        sound = folder / "sound.clepsydra"
        pack(BENCH / "bench.run.json", sound, PackPlan(students=2, each=10))
        with zipfile.ZipFile(sound) as archive:
            entries = {name: archive.read(name) for name in archive.namelist()}
        sound.unlink()
        with zipfile.ZipFile(folder / "p.clepsydra", "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in change(entries).items():
                archive.writestr(name, data)
        return ["unpack", "p.clepsydra", "--out"]

    return make


def _pack_of(change: Callable[[bytes], bytes]) -> Make:
    """Damage a sound pack as a whole."""

    def make(folder: Path) -> list[str]:
        arguments = _pack_with(dict)(folder)
        place = folder / "p.clepsydra"
        place.write_bytes(change(place.read_bytes()))
        return arguments

    return make


def _entry_twice(folder: Path) -> list[str]:
    arguments = _pack_with(dict)(folder)
    with zipfile.ZipFile(folder / "p.clepsydra", "a") as archive:
        archive.writestr("pack.json", archive.read("pack.json"))
    return arguments


def _over_a_zip(folder: Path) -> list[str]:
    """A pack is to go where homework is."""
    arguments = _is_a("folder", "x", "pack", "bench.run.json", "--out", "homework.zip")(folder)
    with zipfile.ZipFile(folder / "homework.zip", "w") as archive:
        archive.writestr("essay.txt", "mine")
    return arguments


def _results_of(data: bytes) -> Make:
    """Two results to be compared, one of them hostile."""

    def make(folder: Path) -> list[str]:
        for name in ("one", "two"):
            (folder / name).mkdir()
            (folder / name / "findings.json").write_bytes(data if name == "two" else _findings())
        return ["compare", "one", "two", "--out"]

    return make


def _findings() -> bytes:
    from analysis import Conditions
    from measure_app.report import results_of_table
    from measure_app.report.findings_json import findings_json
    from measure_app.table import load_table

    with tempfile.TemporaryDirectory() as name:
        table = Path(name) / "t.csv"
        table.write_bytes(b"head_m,throw_m\n0.2,0.45\n0.15,0.39\n0.1,0.32\n0.05,0.22\n")
        return findings_json(results_of_table(load_table(table), Conditions(), 0.4, 0.001))


def _key_of(name: str, data: bytes) -> Make:
    """An answer's folder that is sound, marked by criteria that are not."""

    def make(folder: Path) -> list[str]:
        (folder / "answers").mkdir()
        (folder / name).write_bytes(data)
        return ["collate", "answers", "--key", str(BENCH / "bench.run.json"), "--criteria", name, "--out"]

    return make


def _link_entry(entries: dict[str, bytes]) -> dict[Any, bytes]:
    link = zipfile.ZipInfo("film.mp4")
    link.create_system, link.external_attr = 3, 0o120777 << 16
    return {**{name: data for name, data in entries.items() if name != "film.mp4"}, link: b"/etc/passwd"}


def _answers_of(*contents: bytes) -> Make:
    def make(folder: Path) -> list[str]:
        (folder / "answers").mkdir()
        for i, data in enumerate(contents):
            (folder / "answers" / f"{i}.run.json").write_bytes(data)
        (folder / "answers" / "link.run.json").symlink_to("/etc/passwd")
        (folder / "answers" / "loop").symlink_to(folder / "answers")
        os.mkfifo(folder / "answers" / "pipe.run.json")
        (folder / "answers" / "a\nclepsydra: all is well\x1b[2J.run.json").write_text("{", encoding="utf-8")
        return ["collate", "answers", "--key", str(BENCH / "bench.run.json"), "--out"]

    return make


# ---------------------------------------------------------------- films


def _small(path: Path, **options: Any) -> bytes:
    rows, columns = np.mgrid[:96, :128]
    pictures = (
        np.clip(125 + 60 * np.sin(columns / 9 + i / 5) * np.cos(rows / 7), 16, 235).astype(np.uint8)
        for i in range(60)
    )
    write_clip(path, pictures, **options)
    data = path.read_bytes()
    path.unlink()
    return data


def _film_of(data: bytes | Callable[[Path], bytes], ending: str = "mp4") -> Make:
    def make(folder: Path) -> list[str]:
        tree = _tree()
        tree["clip"].update(path=f"film.{ending}", sha256=None, start_frame=0, stop_frame=None)
        content = data(folder) if callable(data) else data
        (folder / f"film.{ending}").write_bytes(content)
        (folder / "a.run.json").write_text(json.dumps(tree), encoding="utf-8")
        return ["measure", "a.run.json", "--no-report", "--out"]

    return make


def _bench_film(change: Callable[[bytearray], None]) -> bytes:
    data = bytearray((BENCH / "bench.mp4").read_bytes())
    change(data)
    return bytes(data)


def _flip(share: float) -> Callable[[bytearray], None]:
    def flip(data: bytearray) -> None:
        rng = np.random.default_rng(3)
        for at in rng.integers(0, len(data), max(1, int(share * len(data)))):
            data[at] ^= 1 << int(rng.integers(8))

    return flip


def _durations(delta: int) -> Callable[[bytearray], None]:
    def patch(data: bytearray) -> None:
        at = data.index(b"stts")
        count = int.from_bytes(data[at + 8 : at + 12], "big")
        for i in range(count):
            entry = at + 12 + 8 * i
            data[entry + 4 : entry + 8] = struct.pack(">i", delta)

    return patch


def _stated(box: bytes, at: int, number: int) -> Callable[[bytearray], None]:
    """Put a number of 32 bits into the first box of that kind, so many bytes after its name."""

    def patch(data: bytearray) -> None:
        struct.pack_into(">I", data, data.index(box) + at, number)

    return patch


def _still(folder: Path) -> bytes:
    import cv2

    place = folder / "still.png"
    cv2.imwrite(str(place), np.zeros((40, 60), np.uint8))
    data = place.read_bytes()
    place.unlink()
    return data


def _times_back(folder: Path) -> bytes:
    """Presentation times of a film with B-frames thrown about, many before the one in front."""
    data = bytearray(_small(folder / "b.mp4", b_frames=3))
    at = data.index(b"ctts")
    rng = np.random.default_rng(1)
    for i in range(int.from_bytes(data[at + 8 : at + 12], "big")):
        entry = at + 12 + 8 * i
        data[entry + 4 : entry + 8] = struct.pack(">i", int(rng.integers(-(10**6), 10**6)))
    return bytes(data)


def _sized(width: int, height: int) -> Callable[[Path], bytes]:
    def make(folder: Path) -> bytes:
        data = bytearray(_small(folder / "s.avi", codec="mjpeg"))
        header = data.index(b"strf") + 12
        data[header : header + 8] = struct.pack("<ii", width, height)
        at = data.index(b"\xff\xc0\x00\x11\x08")
        old = bytes(data[at : at + 9])
        return bytes(data).replace(old, old[:5] + struct.pack(">HH", height % 65536, width % 65536))

    return make


def _million_of_one_pixel(folder: Path) -> bytes:
    """One key frame of one pixel, given out a million times."""
    import av

    path = folder / "pixel.mkv"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mpeg4", rate=30)
        stream.width, stream.height, stream.pix_fmt = 1, 1, "yuv420p"
        frame = av.VideoFrame.from_ndarray(np.full((2, 2), 90, np.uint8), format="gray8")
        frame = frame.reformat(1, 1, "yuv420p")
        frame.pts = 0
        (packet, *_) = [*stream.encode(frame), *stream.encode(None)]
        content = bytes(packet)
        for i in range(1_000_000):
            each = av.Packet(content)
            each.stream, each.time_base = stream, Fraction(1, 1000)
            each.pts = each.dts = i
            each.is_keyframe = True
            out.mux_one(each)
    data = path.read_bytes()
    path.unlink()
    return data


PLAYLISTS = {
    "a playlist of files": b"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n/etc/passwd\n#EXT-X-ENDLIST\n",
    "a playlist of addresses": b"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nhttp://127.0.0.1:9/a.ts\n",
    "a list of films to join": b"ffconcat version 1.0\nfile 'bench.mp4'\nfile '/etc/passwd'\n",
}


def attacks() -> list[Attack]:
    """List them all; what is large is made only when its turn comes."""
    sound = json.dumps(_tree())
    twice = sound.replace('"title":', '"title": "one", "title":', 1)
    long_name = "../" * 40 + "etc/passwd"
    rows = b"".join(b"%f,%f\n" % (0.2 - i * 1e-7, 0.4) for i in range(900_000))
    return [
        *(
            Attack(f"run file: {name}", make, may_be_read=name.endswith(("million keys", "not there")))
            for name, make in (
                ("a number for the clip", _changed("clip", 7)),
                ("text for a position", _changed("orifice.px", "here")),
                ("NaN", _run_of(sound.replace('"px_u": 0.', '"px_u": NaN, "x": 0.', 1))),
                ("infinity", _run_of(sound.replace('"px_u": 0.', '"px_u": -Infinity, "x": 0.', 1))),
                ("1e999", _run_of(sound.replace('"px_u": 0.', '"px_u": 1e999, "x": 0.', 1))),
                ("a drop of 1e308 m", _changed("drop", {"value_m": 1e308, "u_m": 1e308})),
                ("a frame number past 64 bits", _changed("clip.start_frame", 10**30)),
                ("a key twice", _run_of(twice)),
                ("nested 100,000 deep", _run_of(b'{"extra": ' + b"[" * 100_000 + b"]" * 100_000 + b"}")),
                ("50 MB of sound JSON", _changed("extra", {"pad": "x" * 50_000_000})),
                ("a million keys", _changed("extra", {str(i): i for i in range(1_000_000)})),
                ("420,000 readings of frames that are not there", _many_readings()),
                ("a future version", _changed("format_version", 99)),
                ("another format", _changed("format", "other")),
                ("a path out of the folder", _changed("clip.path", long_name)),
                ("an address for a path", _changed("clip.path", "http://127.0.0.1:9/a.mp4")),
                ("a protocol for a path", _changed("clip.path", "concat:bench.mp4|bench.mp4")),
                ("a path with a zero byte", _changed("clip.path", "bench.mp4\0.txt")),
                ("another film in its place", _changed("clip.sha256", "0" * 64)),
                ("a film that is a link to a device", _film_is("/dev/zero")),
                ("a film that is a link to nothing", _film_is("gone.mp4")),
                ("links in a circle", _linked_to_itself),
                ("empty", _run_of(b"")),
                ("zeros", _run_of(bytes(100_000))),
                ("a film", _run_of((BENCH / "bench.mp4").read_bytes())),
                ("a pipe", _is_a("pipe", "a.run.json", "measure", "a.run.json", "--out")),
                ("a folder", _is_a("folder", "a.run.json", "measure", "a.run.json", "--out")),
                ("a device", _is_a("folder", "x", "measure", "/dev/zero", "--out")),
                (
                    "a key with line feeds and a terminal's commands",
                    _changed("\n\nclepsydra: fine\x1b[2J", 1),
                ),
                ("the same key twice", _run_of(twice.replace('"title"', '"a\\nb\\u001b"'))),
                ("a name of two lines", _named(b"a\nclepsydra: fine\x1b[2J.run.json", b"{", "measure")),
                ("a name that is no text", _named(b"caf\xe9.run.json", b"{", "measure")),
                ("itself for a film", _changed("clip", {"path": "a.run.json"})),
                ("its folder for a film", _changed("clip", {"path": "."})),
                ("the process's own memory for a film", _changed("clip", {"path": "/proc/self/mem"})),
                ("half a letter in the film's name", _changed("clip.path", "\ud800.mp4")),
                ("a film that is a pipe", _film_is("a pipe")),
                ("a film that is a folder", _film_is(str(BENCH.parent))),
            )
        ),
        *(
            Attack(f"table: {name}", make, may_be_read=name.endswith("same rows"))
            for name, make in (
                ("zeros", _table_of(bytes(100_000))),
                ("NaN", _table_of(b"head_m,throw_m\n0.1,0.2\nnan,0.3\n")),
                ("infinity", _table_of(b"head_m,throw_m\n0.1,0.2\ninf,0.3\n")),
                ("1e308", _table_of(b"head_m,throw_m\n0.1,0.2\n1e308,0.3\n")),
                ("a column twice", _table_of(b"head_m,throw_m,head_m\n0.1,0.2,0.3\n")),
                ("a quote that does not end", _table_of(b'head_m,throw_m\n0.1,"0.2\n' * 1000)),
                ("a line of 30 MB", _table_of(b"head_m,throw_m," + b"x" * 30_000_000)),
                ("a million columns", _table_of(b"head_m" + b",x" * 1_000_000)),
                ("900,000 rows", _table_of(b"head_m,throw_m\n" + rows)),
                ("100,000 same rows", _table_of(b"head_m,throw_m\n" + b"0.2,0.3\n" * 100_000)),
                ("a formula in a cell", _table_of(b"head_m,throw_m\n=0.1+0.1,0.3\n0.1,0.2\n")),
                ("a command in a cell", _table_of(b"head_m,throw_m\n=cmd|'/C calc'!A0,0.3\n0.1,0.2\n")),
                ("a workbook", _table_of(b"PK\x03\x04" + bytes(range(256)) * 10)),
                ("times that go back", _table_of(b"time_s,head_m,throw_m\n1,0.2,0.3\n0.5,0.1,0.2\n")),
                ("a header of two lines", _table_of(b'"head\n\x1b[2J_m",throw_m\n0.2,0.3\n')),
                ("empty", _table_of(b"")),
                ("a pipe", _is_a("pipe", "t.csv", *_DERIVE, "--out")),
                ("a device", _is_a("folder", "x", "derive", "/dev/zero", "--out")),
                ("a name that is no text", _named(b"caf\xe9.csv", b"x\n", "derive")),
            )
        ),
        *(
            Attack(f"results: {name}", make)
            for name, make in (
                ("into a folder that holds other things", _into("mine")),
                ("into a link to such a folder", _into("link")),
                ("into a file", _into("t.csv")),
                ("into a device", _into("/dev/null")),
                ("into the folder that one stands in", _into(".")),
            )
        ),
        *(
            Attack(f"pack: {name}", make)
            for name, make in (
                ("a zip bomb", _pack_with(lambda e: {**e, "read-me.txt": bytes(400_000_000)})),
                ("a path out of the folder", _pack_with(lambda e: {**e, "../../x.json": b"{}"})),
                ("a link for a film", _pack_with(_link_entry)),
                ("text for a film", _pack_with(lambda e: {**e, "film.mp4": b"a film\n" * 99})),
                ("deep JSON", _pack_with(lambda e: {**e, "pack.json": b"[" * 100_000})),
                ("a future version", _pack_with(lambda e: {**e, "pack.json": b'{"format_version": 99}'})),
                ("an entry twice", _entry_twice),
                ("60,000 entries", _pack_with(lambda e: {**e, **{str(i): b"" for i in range(60_000)}})),
                ("a name of two lines", _pack_with(lambda e: {**e, "a\nclepsydra: fine\x1b[2J": b"x"})),
                ("cut in half", _pack_of(lambda data: data[: len(data) // 2])),
                ("something before it", _pack_of(lambda data: b"#!/bin/sh\n" + data)),
                ("a pipe", _is_a("pipe", "p.clepsydra", "unpack", "p.clepsydra", "--out")),
                (
                    "questions in a pipe",
                    _is_a("pipe", "q", "pack", "bench.run.json", "--questions", "q", "--out", "x.zip"),
                ),
                ("over a ZIP of somebody's", _over_a_zip),
                ("a pack in a pack", _pack_with(lambda e: {**e, "inner.zip": b"PK\x03\x04" * 99})),
            )
        ),
        *(
            Attack(f"answers: {name}", make)
            for name, make in (
                (
                    "none that is sound",
                    _answers_of(b"", b"[" * 100_000, bytes(1000), b"PK\x03\x04", b'{"n": ' + b"9" * 5000),
                ),
                ("one of 50 MB", _answers_of(sound.encode() + b" " * 50_000_000)),
                ("one of another film", _answers_of(sound.replace("bench.mp4", "other.mp4").encode())),
            )
        ),
        *(
            Attack(f"criteria: {name}", make)
            for name, make in (
                ("deep", _key_of("c.toml", b"a = " + b"[" * 30_000)),
                ("no text", _key_of("c.toml", bytes(range(256)))),
                (
                    "a pipe",
                    _is_a("pipe", "c", "collate", ".", "--key", "bench.run.json", "--criteria", "c", "--out"),
                ),
            )
        ),
        *(
            Attack(f"findings: {name}", _results_of(data))
            for name, data in (
                ("empty", b""),
                ("nested 100,000 deep", b'{"format": "clepsydra-findings", "x": ' + b"[" * 100_000),
                ("NaN", _findings().replace(b'"value": 0.', b'"value": NaN, "x": 0.', 1)),
                ("50 MB", b'{"format": "clepsydra-findings", "x": "' + b"x" * 50_000_000 + b'"}'),
                ("a future version", b'{"format": "clepsydra-findings", "format_version": 9}'),
                ("a key twice", _findings().replace(b'"title":', b'"title": "one", "title":', 1)),
            )
        ),
        *(Attack(f"film: {name}", _film_of(data)) for name, data in PLAYLISTS.items()),
        *(Attack(f"film: {name} named .m3u8", _film_of(data, "m3u8")) for name, data in PLAYLISTS.items()),
        *(
            Attack(f"film: {name}", make, may_be_read=readable)
            for name, make, readable in (
                ("text", _film_of(b"This is a film.\n" * 5000), False),
                ("zeros", _film_of(bytes(1_000_000)), False),
                ("nothing", _film_of(b""), False),
                ("a still picture", _film_of(_still), False),
                ("truncated at half", _film_of((BENCH / "bench.mp4").read_bytes()[: 2**19]), True),
                ("a bit in 10,000 bytes turned", _film_of(_bench_film(_flip(1e-4))), True),
                ("a bit in 100 bytes turned", _film_of(_bench_film(_flip(1e-2))), True),
                ("100,000 × 100,000", _film_of(_sized(100_000, 100_000), "avi"), False),
                ("65,535 × 65,535", _film_of(_sized(65_535, 65_535), "avi"), False),
                ("2³¹ frames promised", _film_of(_bench_film(_stated(b"stsz", 12, 2**31 - 1))), False),
                ("2³² durations promised", _film_of(_bench_film(_stated(b"stts", 12, 2**32 - 1))), True),
                ("a clock without ticks", _film_of(_bench_film(_stated(b"mdhd", 16, 0))), False),
                (
                    "a clock of 2³² ticks a second",
                    _film_of(_bench_film(_stated(b"mdhd", 16, 2**32 - 1))),
                    False,
                ),
                ("frames beyond its end", _film_of(_bench_film(_stated(b"stco", 12, 2**32 - 1))), False),
                ("durations of zero", _film_of(_bench_film(_durations(0))), True),
                ("durations below zero", _film_of(_bench_film(_durations(-1000))), True),
                ("durations of two weeks", _film_of(_bench_film(_durations(2**31 - 1))), True),
                ("times that go back", _film_of(_times_back), True),
                ("a million frames of one pixel", _film_of(_million_of_one_pixel, "mkv"), False),
            )
        ),
    ]


# ---------------------------------------------------------------- running them


def run(arguments: Sequence[str], folder: Path) -> Came:
    """Run the command in a folder; see what it says, takes and leaves."""
    before = _there(folder)
    spoken = folder.with_suffix(".stderr")
    began, spent = time.monotonic(), _processor_s()
    with spoken.open("wb") as errors:
        child = subprocess.Popen(
            [sys.executable, "-m", "measure_app", "--language", "en", *arguments, *(["out"] if arguments[-1] == "--out" else [])],
            cwd=folder, stdout=subprocess.DEVNULL, stderr=errors, env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        # The system's own peak of a child counts what its parent had before it became the command.
        peak = 0
        while (status := child.poll()) is None:
            peak = max(peak, _peak_kib(child.pid))
            if time.monotonic() - began > WAITS:
                child.kill()
            time.sleep(0.01)
    lines = tuple(spoken.read_text(encoding="utf-8", errors="replace").splitlines())
    written = tuple(sorted({name for name, _, _ in _there(folder) ^ before}))
    seconds = _processor_s() - spent
    remark = ""
    with contextlib.suppress(OSError):
        told = json.loads((folder / "out" / "findings.json").read_text(encoding="utf-8"))
        doubts = [each["says"] for each in told["remarks"] if isinstance(each, dict)]
        remark = f"worked out; doubts: {len(doubts)}{', first: ' if doubts else ''}{''.join(doubts[:1])}"
    return Came(status, lines, seconds, peak / 1024, written, remark)


def _there(folder: Path) -> set[tuple[str, int, int]]:
    """Give the name, size and time of every file; what was written over has another time."""
    files = [(path, path.lstat()) for path in folder.rglob("*")]
    return {
        (str(path.relative_to(folder)), *((0, 0) if path.is_dir() else (facts.st_size, facts.st_mtime_ns)))
        for path, facts in files
    }


def _processor_s() -> float:
    """Give the processor's time of all children that have ended, s."""
    told = os.times()
    return told.children_user + told.children_system


def _peak_kib(process: int) -> int:
    """Give the most memory that a process has held so far, KiB; 0 once it is gone."""
    with contextlib.suppress(OSError):
        told = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace")
        for line in told.splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1])
    return 0


def fault(came: Came, normal: Came, *, may_be_read: bool) -> str:
    """Say what is wrong with what came of an attack; empty: nothing."""
    faults = []
    if came.seconds > SECONDS + normal.seconds or came.status == -signal.SIGKILL:
        faults.append("too long")
    if came.mebibytes > MEBIBYTES + normal.mebibytes:
        faults.append("too much memory")
    if came.status in {0, 1} and may_be_read:
        if not any(path.endswith("findings.json") for path in came.written):
            faults.append("no results")
    else:
        if came.status != 2:
            faults.append(f"status {came.status}")
        if len(came.lines) != 1 or not came.lines[0].startswith("clepsydra: ") or len(came.lines[0]) > 600:
            faults.append("not one clear line")
        if came.written:
            faults.append("left something behind")
    return ", ".join(faults)


def _sound() -> dict[str, Make]:
    from tests.measure_app.collating import simulated_class

    def class_of_three(folder: Path) -> list[str]:
        simulated_class.write_class(folder / "answers", 3)
        return ["collate", "answers", "--key", str(BENCH / "bench.run.json"), "--out"]

    return {
        "measure": _run_of(json.dumps(_tree())),
        "derive": _table_of(b"head_m,throw_m\n0.2,0.45\n0.15,0.39\n0.1,0.32\n0.05,0.22\n"),
        "unpack": _pack_with(dict),
        "pack": _is_a("folder", "x", "pack", "bench.run.json", "--out", "x.clepsydra"),
        "compare": _results_of(_findings()),
        "collate": class_of_three,
    }


def carried_out(make: Make) -> tuple[str, Came]:
    """Make an attack in a folder of its own and run it; its command and what came of it."""
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        folder = Path(name) / "here"
        folder.mkdir()
        arguments = make(folder)
        came = run(arguments, folder)
        with contextlib.suppress(OSError):
            shutil.rmtree(folder)
        return arguments[0], came


def main() -> int:
    """Carry out every attack and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--only", default="", help="attacks whose name holds this")
    parser.add_argument("--table", type=Path, help="write the table there too")
    asked = parser.parse_args()
    normal = {}
    for name, make in _sound().items():
        _, normal[name] = carried_out(make)
        if normal[name].status:
            raise SystemExit(f"the sound {name} ends with status {normal[name].status}: {normal[name].lines}")
    lines = [
        "`python -m tests.benchmarks.hostile`",
        "",
        "Processor seconds and mebibytes above those of the same command on a sound file (below nought: it ended sooner).",
        "",
        "| attack | command | status | says | s | MiB | fault |",
        "| --- | --- | ---: | --- | ---: | ---: | --- |",
    ]
    faults = 0
    for attack in attacks():
        if asked.only not in attack.name:
            continue
        command, came = carried_out(attack.make)
        wrong = fault(came, normal[command], may_be_read=attack.may_be_read)
        faults += bool(wrong)
        says = (came.lines[0].removeprefix("clepsydra: ") if came.lines else came.remark)[:150]
        lines.append(
            f"| {attack.name} | {command} | {came.status} | {says.replace('|', '∣')} "
            f"| {came.seconds - normal[command].seconds:+.1f} "
            f"| {came.mebibytes - normal[command].mebibytes:+.0f} | {wrong or 'none'} |"
        )
        print(lines[-1], flush=True)
        if wrong:
            print("\n".join(came.lines[-8:]), came.written[:5], flush=True)
    if asked.table:
        asked.table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{faults} of {len(lines) - 6} attacks with a fault")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
