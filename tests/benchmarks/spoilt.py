"""Spoilt films: pictures that are wrong without a mark, by kind of film, of damage and of reading.

    python -m tests.benchmarks.spoilt [--each 15] [--first 0] [--film NAME ...] [--damage NAME ...]

Small films of many codecs and containers are spoilt at random places and read in four ways: from end to end (pass),
single frames in random order with nothing kept (random), the same with neighbours fetched and kept as the window does
(window), and passes that begin anywhere (amid). Every picture without a mark is compared with the sound film's. Some
damage no decoder of that codec can tell; what single frames get wrong beyond what a pass does is the reading's own
fault, and is to be nought. `spoilt.md` holds what was measured.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path

from measure_app.clip import CACHE_BYTES, Clip, open_clip
from measure_app.errors import ClipError
from tests.measure_app.clip.films import FILMS, crc, truth_of

DAMAGE = {"flip": 1, "garbage40": 40, "garbage800": 800, "zeros100": 100}
"""Bytes that are overwritten; a flip turns one bit."""
WAYS = ("pass", "random", "window", "amid")
NAMES = (
    *("short_gop.mkv", "one_key.mp4", "no_b.mp4", "open_gop.mp4", "h264_b.avi", "gradual_refresh.mp4"),
    *("ten_bits.mkv", "mpeg4_b.avi", "mpeg4.mp4", "hevc.mp4", "vp9.webm", "av1.mp4", "mjpeg.mov"),
)


def spoilt_copy(source: Path, target: Path, damage: str, rng: random.Random) -> Path:
    """Copy a film and spoil its picture data in one place."""
    data, length = bytearray(source.read_bytes()), DAMAGE[damage]
    start = data.index(b"mdat") + 8 if b"mdat" in data else len(data) // 20
    table = data.rfind(b"moov")
    at = rng.randrange(start, (table if table > start else len(data)) - length)
    if damage == "flip":
        data[at] ^= 1 << rng.randrange(8)
    else:
        data[at : at + length] = rng.randbytes(length) if damage.startswith("garbage") else bytes(length)
    target.write_bytes(data)
    return target


def true_pictures(path: Path) -> dict[int, int]:
    """CRC of the luma of a sound film's frames, by tick."""
    with open_clip(path) as clip:
        return {
            int(tick): value for tick, (_, _, value) in zip(clip.stamps.ticks, truth_of(path), strict=True)
        }


def wrong_unmarked(path: Path, known: dict[int, int], way: str, rng: random.Random) -> tuple[list[int], int]:
    """Frames that are wrong without a mark, and how many were right without one."""
    with open_clip(path, cache_bytes=0 if way == "random" else CACHE_BYTES) as clip:
        pictures = _passes(clip, way, rng) if way in {"pass", "amid"} else _singles(clip, way, rng)
        found = [(index, known.get(int(clip.stamps.ticks[index])) == value) for index, value in pictures]
    return [index for index, right in found if not right], sum(right for _, right in found)


def _passes(clip: Clip, way: str, rng: random.Random) -> Iterable[tuple[int, int]]:
    count = clip.info.n_frames
    starts = [0] if way == "pass" else rng.sample(range(count), min(12, count))
    for start in starts:
        for luma in clip.luma_planes(start, count if way == "pass" else min(count, start + 20)):
            if luma.suspect is None and luma.plane is not None:
                yield luma.index, crc(luma.plane)


def _singles(clip: Clip, way: str, rng: random.Random) -> Iterable[tuple[int, int]]:
    for index in rng.sample(range(clip.info.n_frames), clip.info.n_frames):
        try:
            frame = clip.frame(index)
        except ClipError:
            continue
        if frame.suspect is None:
            yield index, crc(frame.plane)
        if way == "window":
            clip.prefetch(index + 1, index + 4)


def tally(name: str, damage: str, seeds: range, folder: Path, say: Callable[[str], None]) -> Counter[str]:
    """Spoil one film so many times: wrong frames by way of reading, and those that a pass has not."""
    source = FILMS[name].write(folder)
    known, counts = true_pictures(source), Counter[str]()
    for seed in seeds:
        rng = random.Random(f"{name} {seed} {damage}")  # noqa: S311  the same damage each time
        path = spoilt_copy(source, folder / f"spoilt-{name}", damage, rng)
        in_pass: set[int] = set()
        for way in WAYS:
            try:
                wrong, right = wrong_unmarked(path, known, way, rng)
            except ClipError:
                continue  # a film that does not open hands out nothing
            in_pass |= set(wrong) if way == "pass" else set()
            counts[way] += len(wrong)
            counts[f"{way} right"] += right
            counts[f"{way} beyond"] += len(set(wrong) - in_pass)
            if set(wrong) - in_pass:
                say(f"  {name} {damage} {seed}: {way} {sorted(set(wrong) - in_pass)}")
    return counts


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--each", type=int, default=15, help="films of each kind and damage")
    parser.add_argument("--first", type=int, default=0, help="number of the first one")
    parser.add_argument("--film", nargs="*", default=NAMES)
    parser.add_argument("--damage", nargs="*", default=tuple(DAMAGE))
    asked = parser.parse_args()
    print(f"| film | damage | right | {' | '.join(f'{way} wrong' for way in WAYS)} | beyond the pass |")
    print("| --- | --- " + "| ---: " * (len(WAYS) + 2) + "|")
    seeds, notes = range(asked.first, asked.first + asked.each), list[str]()
    with tempfile.TemporaryDirectory() as folder:
        for name in asked.film:
            for damage in asked.damage:
                counts = tally(name, damage, seeds, Path(folder), notes.append)
                beyond = sum(counts[f"{way} beyond"] for way in WAYS)
                wrong = " | ".join(str(counts[way]) for way in WAYS)
                print(f"| {name} | {damage} | {counts['random right']} | {wrong} | {beyond} |", flush=True)
    print("\n".join(notes))


if __name__ == "__main__":
    main()
