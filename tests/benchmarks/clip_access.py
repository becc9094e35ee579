"""How fast frames are had, as ratios to plain decoding of the same film within one run.

    python -m tests.benchmarks.clip_access [--seeks 24] [--keep FOLDER] [--film NAME ...]

Films with moving texture are written (or taken from FOLDER when they are there already): 1080p H.264 with a key frame
every 250 and every 60 frames, and 4K HEVC with one every 30. For each it prints

- the luma pass over plain decoding, both with all threads, runs taken in turn;
- random seeks: mean time over (frames from the key frame × plain decoding), and how many frames were wrong;
- a step either way within a cached neighbourhood, and a step back where nothing is cached, in decodes of a frame.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np

from measure_app.clip import CACHE_BYTES, Clip, Frame, open_clip, write_clip


@dataclass(frozen=True)
class Film:
    """One film to be measured."""

    name: str
    codec: str
    width: int
    height: int
    gop: int
    frames: int
    crf: int
    goal: float
    """Random seeks, mean over bound, as the design asks."""

    def pictures(self) -> Iterator[np.ndarray]:
        """Paint textured planes that drift, with a little noise."""
        rng = np.random.default_rng(5)
        rows, columns = np.mgrid[: self.height + 64, : self.width + 64].astype(np.float32)
        texture = 120 + 45 * np.sin(columns / 11) * np.cos(rows / 17) + rng.normal(0, 9, rows.shape)
        grain = rng.normal(0, 3, (self.height, self.width + 211)).astype(np.float32)
        for number in range(self.frames):
            dx, dy = number * 3 % 64, number % 64
            shift = number * 53 % 211
            plane = (
                texture[dy : dy + self.height, dx : dx + self.width] + grain[:, shift : shift + self.width]
            )
            yield np.clip(plane, 16, 235).astype(np.uint8)

    def write(self, folder: Path) -> Path:
        """Write the film unless it is there."""
        path = folder / self.name
        if not path.exists():
            extra = f"keyint={self.gop}:min-keyint={self.gop}:scenecut=0"
            options = {"preset": "superfast", f"{self.codec[3:]}-params": extra + ":bframes=3"}
            write_clip(path, self.pictures(), codec=self.codec, crf=self.crf, options=options)
        return path


FILMS = (
    Film("h264_1080p_gop250.mp4", "libx264", 1920, 1080, 250, 500, 27, 0.8),
    Film("h264_1080p_gop60.mp4", "libx264", 1920, 1080, 60, 360, 27, 1.3),
    Film("hevc_2160p_gop30.mp4", "libx265", 3840, 2160, 30, 120, 30, 1.8),
)


@dataclass(frozen=True)
class Spent:
    """Time that some work took."""

    wall: float
    cpu: float
    """Of all threads of this process; steadier than wall time where others use the machine."""

    def over(self, other: Spent, times: float = 1.0) -> str:
        """Say both ratios to other work done so many times."""
        return f"{self.wall / (other.wall * times):6.3f} (cpu {self.cpu / (other.cpu * times):.3f})"


def spent(work: Callable[[], object]) -> Spent:
    """Time one piece of work."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return Spent(time.perf_counter() - wall, time.process_time() - cpu)


def total(several: list[Spent]) -> Spent:
    """Add up."""
    return Spent(sum(s.wall for s in several), sum(s.cpu for s in several))


def middle_of(several: list[Spent]) -> Spent:
    """Take the median of each clock."""
    return Spent(statistics.median(s.wall for s in several), statistics.median(s.cpu for s in several))


def plain_decode(path: Path) -> int:
    """Decode everything with all threads and do nothing with it."""
    count = 0
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for _ in container.decode(stream):
            count += 1
    return count


def luma_pass(clip: Clip) -> int:
    """Take every luma plane."""
    return sum(plane.plane is not None for plane in clip.luma_planes())


def steps(clip: Clip, order: range, *, paint: bool) -> list[Spent]:
    """Time each step along an order of frames."""
    return [spent(lambda i=i: clip.frame(i).bgra() if paint else clip.frame(i)) for i in order]


def measure(film: Film, path: Path, seeks: int, rounds: int) -> None:
    """Measure one film and print its block."""
    plain, passes = [], []
    with open_clip(path) as clip:
        for _ in range(rounds):
            plain.append(spent(lambda: plain_decode(path)))
            passes.append(spent(lambda: luma_pass(clip)))
    decode = Spent(middle_of(plain).wall / film.frames, middle_of(plain).cpu / film.frames)
    opening = spent(lambda: open_clip(path).close())
    size = path.stat().st_size / 1e6
    print(
        f"{film.name}: {size:.1f} MB, {film.frames} frames, plain decoding {1000 * decode.wall:.2f} ms a frame"
    )
    print(f"  opening, index and first frame              {opening.over(decode)} decodes")
    print(
        f"  luma pass / plain decoding                  {middle_of(passes).over(middle_of(plain))}  goal 1.05"
    )

    rng = random.Random(3)  # noqa: S311  the same frames each time
    with open_clip(path, cache_bytes=0) as clip:
        known = [zlib.crc32(p.plane.tobytes()) for p in clip.luma_planes() if p.plane is not None]
        times, need, wrong = [], 0, 0
        for _ in range(seeks):
            index = rng.randrange(film.frames)
            need += index % film.gop + 1
            found: list[Frame] = []
            times.append(spent(lambda i=index, found=found: found.append(clip.frame(i))))
            wrong += zlib.crc32(found[0].plane.tobytes()) != known[index]
    said = f"goal {film.goal}; {seeks} seeks, {wrong} wrong frames"
    print(f"  random seek, mean / frames from key frame   {total(times).over(decode, need)}  {said}")

    with open_clip(path) as clip:
        middle = film.frames // 2
        reach = min(30, middle - 1, int(0.4 * CACHE_BYTES / clip.frame(0).nbytes))
        clip.prefetch(middle - reach, middle + reach)
        walks = {
            "forward": range(middle - reach, middle + reach),
            "backward": range(middle + reach, middle - reach, -1),
        }
        for words, order in walks.items():
            late = statistics.quantiles([s.wall for s in steps(clip, order, paint=True)], n=20)[-1]
            said = f"{1000 * late:6.2f} ms = {late / decode.wall:.2f} decodes  goal 17 ms"
            print(f"  step {words:8s} cached, as BGRA, p95           {said}")

    with open_clip(path) as clip:
        clip.frame(film.frames - 1)
        back = steps(clip, range(film.frames - 2, max(film.frames - 202, -1), -1), paint=False)
        longest = max(s.wall for s in back)
        mean = total(back).over(decode, len(back))
        print(
            f"  step back, nothing cached, mean             {mean} decodes, longest {longest:.2f} s",
            flush=True,
        )


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeks", type=int, default=24)
    parser.add_argument("--rounds", type=int, default=5, help="turns of plain decoding and the luma pass")
    parser.add_argument("--keep", type=Path, default=None, help="folder in which the films stay")
    parser.add_argument("--film", nargs="*", default=None, help="parts of the names wanted")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = wanted.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for film in FILMS:
            if wanted.film is None or any(part in film.name for part in wanted.film):
                measure(film, film.write(folder), wanted.seeks, wanted.rounds)


if __name__ == "__main__":
    main()
