"""Speed and memory of the whole program, as ratios within one run.

    nice -n 5 python -m tests.benchmarks.speed --table tests/benchmarks/speed.md
    python -m tests.benchmarks.speed --only measure memory

Parts: `measure` (finding and deriving over plain decoding, at 720p, 1080p and 4K HEVC), `memory` (peak of the whole
command against the film's length), `clips` (seeks, steps and passes over the decode bound), `window` (open to first
frame, steps, recompute after an edit), `engine` (findings and their check), `outputs` (collate, figures, report) and
`help` (start of `--help` over that of a bare interpreter). Other work on the machine meets both sides of a ratio.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import statistics
import sys
import tempfile
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any
from unittest import mock

import av
import numpy as np
from msgspec.structs import replace

from measure_app import measuring as searching
from measure_app.clip import open_clip, write_clip
from measure_app.outcome import measure
from measure_app.packs import Rescaling, rescaled
from measure_app.run import Run
from measure_app.runfile import load_run, save_run
from measure_app.strips import Strip, sweep
from tests.benchmarks import clip_access, engine, hostile, window
from tests.benchmarks.clip_access import middle_of, plain_decode, spent
from tests.measure_app.test_startup import fastest

BENCH = Path(__file__).resolve().parents[2] / "sample_clips" / "bench"
SIZES = (
    # name, codec, enlargement of the bench film, every so many frames of it
    ("720p H.264", "libx264", Fraction(1), 1),
    ("1080p H.264", "libx264", Fraction(3, 2), 1),
    ("4K HEVC", "libx265", Fraction(3), 2),
)
LENGTHS_S = (10, 60, 600)


def enlarged(scale: Fraction, each: int) -> Iterator[np.ndarray]:
    """Pictures of the bench film, enlarged, with a sensor's noise on top."""
    import cv2

    rng = np.random.default_rng(5)
    grain = rng.normal(0, 2.5, (2500, 4200)).astype(np.float32)
    with open_clip(BENCH / "bench.mp4") as clip:
        for plane in clip.luma_planes():
            if plane.plane is None or plane.index % each:
                continue
            width, height = int(clip.info.width * scale), int(clip.info.height * scale)
            picture = cv2.resize(
                np.asarray(plane.plane, np.float32), (width, height), interpolation=cv2.INTER_CUBIC
            )
            dy, dx = rng.integers(0, 300, 2)
            yield np.clip(picture + grain[dy : dy + height, dx : dx + width], 16, 235).astype(np.uint8)


def film_of(folder: Path, name: str, codec: str, scale: Fraction, each: int) -> tuple[Run, Path]:
    """Write the film of one size, and return it with the run that belongs to it."""
    path = folder / f"{name.replace(' ', '-')}.mp4"
    if not path.exists():
        options = {"preset": "superfast"}
        if codec == "libx265":
            options["x265-params"] = "log-level=none"
        write_clip(
            path, enlarged(scale, each), codec=codec, crf=23, gop=60, base=Fraction(each, 15), options=options
        )
    run = load_run(BENCH / "bench.run.json")
    clip = replace(run.clip, path=path.name, sha256=None, start_frame=0, stop_frame=None)
    return rescaled(replace(run, clip=clip), Rescaling(float(scale))), path


def measuring(folder: Path, rounds: int) -> None:
    """Print what finding and deriving take over plain decoding, runs in turn."""
    for name, codec, scale, each in SIZES:
        run, path = film_of(folder, name, codec, scale, each)
        plain, whole = [], []
        with open_clip(path) as clip:
            for _ in range(rounds):
                plain.append(spent(lambda path=path: plain_decode(path)))
                whole.append(spent(lambda run=run, clip=clip: measure(run, clip)))
            outcome = measure(run, clip)
            frames = clip.info.n_frames
        cv = outcome.findings.finding("speed_coefficient")
        told = "nothing" if cv is None else f"Cv {cv.value:.4f} ± {cv.u:.4f}"
        bound = middle_of(plain)
        print(
            f"measure / plain decoding, {name:11s} {middle_of(whole).over(bound)}  goal 1.10; {frames} frames, decoding "
            f"{1000 * bound.wall / frames:.1f} ms a frame, so {1000 * (middle_of(whole).wall - bound.wall):.0f} ms more "
            f"in all; found {told}",
            flush=True,
        )


def looped(path: Path, seconds: int) -> None:
    """Write the bench film again and again without encoding anew, until it is so long."""
    with av.open(str(BENCH / "bench.mp4")) as source, av.open(str(path), "w") as out:
        stream = source.streams.video[0]
        target = out.add_stream_from_template(stream)
        packets = [(bytes(p), p.pts, p.dts, p.is_keyframe) for p in source.demux(stream) if p.pts is not None]
        base = stream.time_base
        whole = round(20 / base)
        for again in range(-(-seconds // 20)):
            for content, pts, dts, key in packets:
                if again * 20 + float(pts * base) >= seconds:
                    continue
                packet = av.Packet(content)
                packet.stream, packet.time_base = target, base
                packet.pts, packet.dts, packet.is_keyframe = pts + again * whole, dts + again * whole, key
                out.mux_one(packet)


def strip_bytes() -> float:
    """Bytes of the strips that a search of the bench film reads in every frame, for each frame."""
    run, read = load_run(BENCH / "bench.run.json"), []

    def reading(*given: Any, **named: Any) -> tuple[Strip, ...]:
        strips = sweep(*given, **named)
        read.extend(strips)
        return strips

    with open_clip(BENCH / "bench.mp4") as clip, mock.patch.object(searching, "sweep", reading):
        searching.search(run, clip)
    growing = [strip for strip in read if strip.line.most_frames is None]
    colours = [strip.colour.nbytes for strip in growing if strip.colour is not None]
    return (sum(strip.levels.nbytes for strip in growing) + sum(colours)) / clip.info.n_frames


def memory(folder: Path) -> None:
    """Print the peak of the whole command for films of several lengths."""
    peaks = []
    strips = strip_bytes() / 1024
    for seconds in LENGTHS_S:
        place = folder / f"{seconds} s"
        place.mkdir()
        looped(place / "long.mp4", seconds)
        run = load_run(BENCH / "bench.run.json")
        save_run(replace(run, clip=replace(run.clip, path="long.mp4", sha256=None)), place / "a.run.json")
        came = hostile.run(["measure", "a.run.json", "--no-report", "--out"], place)
        with open_clip(place / "long.mp4") as clip:
            frames = clip.info.n_frames
        peaks.append((frames, came.mebibytes))
        print(
            f"memory of measure, {seconds:3d} s of 720p: peak {came.mebibytes:.0f} MiB, {frames} frames, "
            f"{came.seconds:.0f} s, status {came.status}",
            flush=True,
        )
    (few, low), (many, high) = peaks[0], peaks[-1]
    growth = 1024 * (high - low) / (many - few)
    print(
        f"memory of measure, growth with length: {growth:.1f} KiB a frame, of which the strips (one byte for each pixel "
        f"of their lines) {strips:.1f}; the rest {growth - strips:.1f} (goal: flat, strips aside)"
    )


def clips(folder: Path, seeks: int) -> None:
    """Print seeks, steps and passes."""
    for film in clip_access.FILMS[1:]:
        clip_access.measure(film, film.write(folder), seeks, 3)


def windows(folder: Path) -> None:
    """Print start, steps and recompute of the window."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    path = window.film(folder / "phone.mp4", 120)
    window.starts(path, folder / "compiled", 5)
    window.steps(path, folder / "settings.ini")
    window.recompute(2000)


def outputs(folder: Path) -> None:
    """Print collate and report times, over plain decoding of the film that the class has read."""
    from measure_app.__main__ import main as command
    from tests.measure_app.collating import simulated_class

    film = str(BENCH / "bench.mp4")
    bound = middle_of([spent(lambda: plain_decode(Path(film))) for _ in range(3)])
    simulated_class.write_class(folder / "answers", 30)
    key = str(BENCH / "bench.run.json")
    table = folder / "t.csv"
    table.write_text(
        "head_m,throw_m,time_s\n"
        + "".join(
            f"{0.2 - 0.001 * i:.4f},{2 * 0.97 * (0.26 * (0.2 - 0.001 * i)) ** 0.5:.4f},{0.1 * i:.2f}\n"
            for i in range(180)
        )
    )
    orders = {
        "collate of 30 answers": ["collate", str(folder / "answers"), "--key", key, "--out"],
        "derive with report, 180 rows": [
            "derive",
            str(table),
            "--drop",
            "0.26",
            "--drop-u",
            "0.001",
            "--out",
        ],
        "derive without report": [
            "derive",
            str(table),
            "--drop",
            "0.26",
            "--drop-u",
            "0.001",
            "--no-report",
            "--out",
        ],
        "measure with report": ["measure", key, "--out"],
    }
    for name, order in orders.items():

        def carried_out(order: list[str] = order, name: str = name) -> None:
            with contextlib.redirect_stdout(io.StringIO()):
                if status := command([*order, str(folder / name.replace(" ", "-"))]):
                    raise SystemExit(f"{name} ends with status {status}")

        carried_out()  # what is imported and cached once stays out of the ratio
        took = spent(carried_out)
        print(
            f"{name:29s} {took.wall:.2f} s = {took.wall / bound.wall:.1f} × plain decoding of the 20 s film",
            flush=True,
        )


def starts_of_help() -> None:
    """Print what `--help` takes over a bare interpreter, and over one that imports the command library alone."""
    rows = [
        tuple(
            fastest(code, 1)
            for code in (["-c", "pass"], ["-c", "import click"], ["-m", "measure_app", "--help"])
        )
        for _ in range(9)
    ]
    bare, library, ours = (statistics.median(each) for each in zip(*rows, strict=True))
    print(
        f"start of --help: {1000 * ours:.0f} ms = {ours / bare:.1f} × a bare interpreter ({1000 * bare:.0f} ms); the "
        f"command library alone {1000 * library:.0f} ms = {library / bare:.1f} ×"
    )


class _Both(io.TextIOBase):
    """Writes to the terminal and keeps what was written."""

    def __init__(self) -> None:
        self.kept: list[str] = []

    def write(self, text: str) -> int:
        self.kept.append(text)
        return sys.__stdout__.write(text) if sys.__stdout__ else 0

    def flush(self) -> None:
        if sys.__stdout__:
            sys.__stdout__.flush()


def main() -> None:
    """Run the parts that are wanted and keep what they print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parts: dict[str, Callable[[Path], None]] = {
        "measure": lambda folder: measuring(folder, 5),
        "memory": memory,
        "clips": lambda folder: clips(folder, 24),
        "window": windows,
        "engine": lambda _: engine.main([]),
        "outputs": outputs,
        "help": lambda _: starts_of_help(),
    }
    parser.add_argument("--only", nargs="*", choices=parts, default=list(parts))
    parser.add_argument("--table", type=Path, help="keep what is printed there too")
    asked = parser.parse_args()
    both = _Both()
    with tempfile.TemporaryDirectory() as name, contextlib.redirect_stdout(both):
        for part in asked.only:
            folder = Path(name) / part
            folder.mkdir()
            print(f"\n## {part}\n")
            parts[part](folder)
    if asked.table:
        head = "`python -m tests.benchmarks.speed`, ratios within one run\n"
        told = "".join(both.kept)
        blocks = told.split("\n## ")[1:]
        text = head + "".join(
            f"\n**{name}**\n\n```\n{body.strip()}\n```\n"
            for name, body in (block.split("\n", 1) for block in blocks)
        )
        asked.table.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
