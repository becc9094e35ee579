"""Small films with the frame's number painted into every frame, in many codecs and containers."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from measure_app.clip import write_clip

WIDTH, HEIGHT = 128, 96
BITS = 8
BLOCK = 16
FRAMES = 90
DATA = Path(__file__).parent / "data"
KEPT = "kept"
"""Films of `numbered` that are kept rather than written: the AV1 encoder at hand can wait for itself for ever."""
DARK, BRIGHT = 60, 190


def numbered(count: int, *, first: int = 0, bit_depth: int = 8) -> Iterator[np.ndarray]:
    """Luma planes with a moving texture and the frame's number in eight blocks, its complement in eight below."""
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    for number in range(first, first + count):
        noise = np.random.default_rng(number).normal(0, 2, (HEIGHT, WIDTH))
        plane = 125 + 30 * np.sin(columns / 9 + number / 5) + 25 * np.cos(rows / 7 - number / 4) + noise
        for bit in range(BITS):
            on = number >> bit & 1
            plane[:BLOCK, bit * BLOCK : (bit + 1) * BLOCK] = BRIGHT if on else DARK
            plane[BLOCK : 2 * BLOCK, bit * BLOCK : (bit + 1) * BLOCK] = DARK if on else BRIGHT
        plane = np.clip(np.rint(plane), 16, 235)
        yield (plane * 4).astype(np.uint16) if bit_depth == 10 else plane.astype(np.uint8)


def number_in(plane: np.ndarray) -> int:
    """Read the number back; −1 where block and complement disagree."""
    middle = 4 * (DARK + BRIGHT) / 2 if plane.dtype == np.uint16 else (DARK + BRIGHT) / 2
    cells = plane[: 2 * BLOCK, : BITS * BLOCK].reshape(2, BLOCK, BITS, BLOCK).mean(axis=(1, 3)) > middle
    if (cells[0] == cells[1]).any():
        return -1
    return int(sum(1 << bit for bit in range(BITS) if cells[0, bit]))


def crc(plane: np.ndarray) -> int:
    return zlib.crc32(np.ascontiguousarray(plane).tobytes())


@dataclass(frozen=True)
class Film:
    """How one film is written."""

    name: str
    codec: str = "libx264"
    ticks: tuple[int, ...] = tuple(range(FRAMES))
    base: Fraction = Fraction(1, 30)
    settings: dict[str, Any] = field(default_factory=dict)

    @property
    def bit_depth(self) -> int:
        return int(self.settings.get("bit_depth", 8))

    @property
    def shown_ticks(self) -> list[int]:
        """Ticks that survive: an edit list trims what lies before zero."""
        return [t for t in self.ticks if t >= 0]

    @property
    def first_number(self) -> int:
        return len(self.ticks) - len(self.shown_ticks)

    def write(self, folder: Path) -> Path:
        if self.codec == KEPT:
            return DATA / self.name
        path = folder / self.name
        if not path.exists():
            pictures = numbered(len(self.ticks), bit_depth=self.bit_depth)
            write_clip(path, pictures, ticks=self.ticks, base=self.base, codec=self.codec, **self.settings)
        return path


def x264(words: str, **more: Any) -> dict[str, Any]:
    return {"options": {"preset": "veryfast", "x264-params": words}, **more}


_JITTER = np.random.default_rng(11).integers(-90, 91, FRAMES)
_DROPS = np.cumsum(np.isin(np.arange(FRAMES), [20, 21, 55]).astype(int))
VFR_TICKS = tuple(int(512 * (i + _DROPS[i]) + _JITTER[i] + 512) for i in range(FRAMES))
DIM_TICKS = tuple(512 * i for i in range(45)) + tuple(512 * 45 + 1024 * i for i in range(45))
FINE = Fraction(1, 15360)

FILMS = {
    film.name: film
    for film in (
        Film("open_gop.mp4", settings=x264("keyint=24:min-keyint=24:bframes=3:open-gop=1:scenecut=0")),
        Film("open_gop.mov", settings=x264("keyint=24:min-keyint=24:bframes=3:open-gop=1:scenecut=0")),
        Film("short_gop.mkv", settings=x264("keyint=10:bframes=2:scenecut=0")),
        Film("one_key.mp4", settings=x264("keyint=999:bframes=3:scenecut=0")),
        Film("no_b.mp4", settings=x264("keyint=30:bframes=0:scenecut=0")),
        Film("gradual_refresh.mp4", settings=x264("intra-refresh=1:keyint=20:bframes=0")),
        Film("ten_bits.mkv", settings=x264("keyint=24:bframes=3", bit_depth=10)),
        Film("hevc.mp4", "libx265", settings={"gop": 24}),
        Film("hevc_ten_bits.mp4", "libx265", settings={"gop": 24, "bit_depth": 10}),
        Film(
            "vp9.webm",
            "libvpx-vp9",
            settings={"gop": 24, "options": {"deadline": "realtime", "cpu-used": "8"}},
        ),
        Film("vp9.mkv", "libvpx-vp9", settings={"gop": 90, "options": {"deadline": "good", "cpu-used": "5"}}),
        Film("av1.mp4", KEPT),
        Film("av1.mkv", KEPT),
        Film("mpeg4.avi", "mpeg4", settings={"gop": 20, "b_frames": 0}),
        Film("mpeg4_b.avi", "mpeg4", settings={"gop": 20, "b_frames": 2}),
        Film("mpeg4.mp4", "mpeg4", settings={"gop": 20, "b_frames": 2}),
        Film("mjpeg.avi", "mjpeg"),
        Film("mjpeg.mov", "mjpeg"),
        Film("h264_b.avi", settings=x264("keyint=24:bframes=3")),
        Film("h264.avi", settings=x264("keyint=24:bframes=0")),
        Film("late_start.mp4", ticks=tuple(range(150, 150 + FRAMES)), settings=x264("keyint=24:bframes=3")),
        Film("trimmed.mp4", ticks=tuple(range(-17, FRAMES - 17)), settings=x264("keyint=24:bframes=3")),
        Film("uneven.mp4", ticks=VFR_TICKS, base=FINE, settings=x264("keyint=24:bframes=3")),
        Film(
            "uneven.mkv",
            ticks=tuple(t // 16 for t in VFR_TICKS),
            base=Fraction(1, 960),
            settings=x264("keyint=24:bframes=3"),
        ),
        Film("dim_light.mov", ticks=DIM_TICKS, base=FINE, settings=x264("keyint=24:bframes=3")),
        Film(
            "sixty.mp4",
            ticks=tuple(1001 * i for i in range(FRAMES)),
            base=Fraction(1, 60000),
            settings=x264("keyint=24:bframes=3"),
        ),
        Film(
            "slow_motion.mp4",
            settings=x264("keyint=24:bframes=3", metadata={"com.android.capture.fps": "240.000000"}),
        ),
    )
}


def truth_of(path: Path) -> list[tuple[int | None, int, int]]:
    """(pts, number, CRC of the luma) of all frames, from one plain decode with a single thread."""
    found = []
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.codec_context.thread_type = "NONE"
        for frame in container.decode(stream):
            deep = frame.format.components[0].bits > 8
            plane = frame.planes[0]
            rows = np.frombuffer(plane, np.uint16 if deep else np.uint8).reshape(frame.height, -1)
            luma = rows[:, : frame.width]
            found.append((frame.pts, number_in(luma), crc(luma)))
    return found
