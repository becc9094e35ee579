"""A sound film spoiled on purpose: what happens in a real room, laid over frames whose truth is known.

Each hazard works on the coded luma plane, with soft edges and texture of its own, and says in which frames the surface
or the landing cannot be seen any more, or where the picture was moved to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from measure_app.clip import ClipInfo, FrameSource, LumaPlane, Picture, Stamps

Frame = NDArray[np.uint8]
Spoil = Callable[[int, Frame], Frame]


@dataclass(frozen=True)
class Hazard:
    """One way to spoil a film."""

    name: str
    spoil: Spoil
    hidden: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    """By part, (n,) frames in which it cannot be seen."""


class Spoiled:
    """A `FrameSource` whose luma planes have suffered."""

    def __init__(self, sound: FrameSource, hazard: Hazard) -> None:
        self._sound, self._hazard = sound, hazard

    @property
    def info(self) -> ClipInfo:
        return self._sound.info

    @property
    def stamps(self) -> Stamps:
        return self._sound.stamps

    def frame(self, index: int) -> Picture:
        return self._sound.frame(index)

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        for luma in self._sound.luma_planes(start, stop, step, stop_requested=stop_requested):
            assert luma.plane is not None
            yield LumaPlane(
                luma.index, self._hazard.spoil(luma.index, np.array(luma.plane, dtype=np.uint8)), luma.suspect
            )


def _texture(
    rng: np.random.Generator, height: int, width: int, level: float, contrast: float
) -> NDArray[np.float32]:
    rough = cv2.GaussianBlur(rng.normal(size=(height, width)).astype(np.float32), (0, 0), 9.0)
    return np.asarray(level + contrast * rough / rough.std(), dtype=np.float32)


def _blend(frame: Frame, picture: NDArray[np.float32], cover: NDArray[np.float32]) -> Frame:
    mixed = frame * (1.0 - cover) + picture * cover
    return np.clip(np.rint(mixed), 0, 255).astype(np.uint8)


def hand(
    n: int,
    shape: tuple[int, int],
    centre: tuple[float, float],
    first: int,
    last: int,
    seed: int,
    parts: tuple[str, ...],
    radius: float = 70.0,
) -> Hazard:
    """A hand that comes in from the side, rests over `centre` from `first` to `last` and leaves."""
    rng = np.random.default_rng(seed)
    height, width = shape
    skin = _texture(rng, height, width, rng.uniform(90, 170), 9.0)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    side = rng.choice([-1.0, 1.0])

    def place(index: int) -> tuple[float, float] | None:
        way = max(first - index, index - last, 0) / 6.0
        if way > 1.0:
            return None
        tremble = 3.0 * np.sin(index * 0.9 + seed)
        return centre[0] + side * way * 400.0 + tremble, centre[1] + tremble

    def spoil(index: int, frame: Frame) -> Frame:
        at = place(index)
        if at is None:
            return frame
        reach = np.hypot((x - at[0]) / 1.0, (y - at[1]) / 1.6)
        arm = (np.abs(y - at[1]) < 0.7 * radius) & (side * (x - at[0]) > 0)
        cover = np.clip((radius - reach) / 3.0 + 0.5, 0.0, 1.0)
        cover = np.maximum(cover, arm.astype(np.float32))
        return _blend(frame, skin, cover.astype(np.float32))

    rows = np.arange(n)
    hidden = (rows >= first - 5) & (rows <= last + 5)
    return Hazard("hand", spoil, dict.fromkeys(parts, hidden))


def bump(at: int, right: float, down: float) -> Hazard:
    """The camera is knocked at one frame, swings for a few and stays displaced."""

    def offset(index: int) -> tuple[float, float]:
        if index < at:
            return 0.0, 0.0
        swing = 1.0 + 1.2 * np.exp(-(index - at) / 3.0) * np.cos(1.9 * (index - at))
        return right * swing, down * swing

    def spoil(index: int, frame: Frame) -> Frame:
        dx, dy = offset(index)
        if dx == 0.0 and dy == 0.0:
            return frame
        move = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
        size = (frame.shape[1], frame.shape[0])
        return np.asarray(
            cv2.warpAffine(frame, move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE),
            dtype=np.uint8,
        )

    return Hazard("bump", spoil)


def sinking(n: int, down: float) -> Hazard:
    """The camera slowly sinks, so that the picture rises by `down` px over the film."""

    def spoil(index: int, frame: Frame) -> Frame:
        move = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, -down * index / n]])
        size = (frame.shape[1], frame.shape[0])
        return np.asarray(
            cv2.warpAffine(frame, move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE),
            dtype=np.uint8,
        )

    return Hazard("sinking", spoil)


def glare(shape: tuple[int, int], centre: tuple[float, float], seed: int) -> Hazard:
    """A bright reflection that wanders over the container and flickers."""
    rng = np.random.default_rng(seed)
    height, width = shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    phase = rng.uniform(0, 6)

    def spoil(index: int, frame: Frame) -> Frame:
        at = centre[1] + 90.0 * np.sin(index / 23.0 + phase)
        strength = 0.85 * (0.5 + 0.5 * np.sin(index / 11.0)) ** 2
        spot = np.exp(-0.5 * (((x - centre[0]) / 9.0) ** 2 + ((y - at) / 22.0) ** 2)) * strength
        return _blend(frame, np.full(shape, 240.0, np.float32), spot.astype(np.float32))

    return Hazard("glare", spoil)


def exposure(n: int, seed: int) -> Hazard:
    """Automatic exposure that drifts by a fifth and steps once."""
    rng = np.random.default_rng(seed)
    jump = int(rng.integers(n // 3, 2 * n // 3))

    def spoil(index: int, frame: Frame) -> Frame:
        gain = 1.0 + 0.2 * np.sin(2 * np.pi * index / n) + (0.12 if index >= jump else 0.0)
        return np.clip(np.rint(16 + (frame.astype(np.float32) - 16) * gain), 0, 255).astype(np.uint8)

    return Hazard("exposure", spoil)


def noise(sd: float, seed: int) -> Hazard:
    """Low light: strong, slightly clustered noise."""

    def spoil(index: int, frame: Frame) -> Frame:
        rng = np.random.default_rng((seed, index))
        grain = cv2.GaussianBlur(rng.normal(0, 1.0, frame.shape).astype(np.float32), (0, 0), 0.6)
        return np.clip(np.rint(frame + sd * grain / grain.std()), 0, 255).astype(np.uint8)

    return Hazard("low light", spoil)


def droplets(
    n: int, box: tuple[float, float, float, float], places: NDArray[np.float64], seconds: float, seed: int
) -> Hazard:
    """Drops that stay on the wall above the surface as it falls, some sliding down slowly."""
    rng = np.random.default_rng(seed)
    left, top, right, bottom = box
    drops = [
        (
            rng.uniform(left, right),
            rng.uniform(top, bottom),
            rng.uniform(1.5, 4.0),
            rng.uniform(0, 4.0) * seconds / n,
            rng.choice([-45.0, 45.0]),
        )
        for _ in range(28)
    ]

    def spoil(index: int, frame: Frame) -> Frame:
        out = frame.astype(np.float32)
        for x, y, r, slide, light in drops:
            # A drop is born when the surface passes its place.
            born = int(np.argmax(places > y + 6)) if (places > y + 6).any() else n
            if index < born:
                continue
            at = min(y + slide * (index - born), places[index] - r - 2)
            y0, y1, x0, x1 = int(at - 12), int(at + 13), int(x - 12), int(x + 13)
            yy, xx = np.mgrid[y0:y1, x0:x1].astype(np.float32)
            cover = np.clip((r - np.hypot(xx - x, yy - at)) / 1.2 + 0.5, 0, 1)
            shade = light * np.clip((yy - at) / r, -1, 1)
            out[y0:y1, x0:x1] += cover * shade
        return np.clip(np.rint(out), 0, 255).astype(np.uint8)

    return Hazard("droplets", spoil)


def label(box: tuple[float, float, float, float]) -> Hazard:
    """An opaque label stuck on the container across the gauge line."""
    left, top, right, bottom = (round(v) for v in box)

    def spoil(_: int, frame: Frame) -> Frame:
        out = frame.copy()
        out[top:bottom, left:right] = 205
        out[(top + bottom) // 2 - 2 : (top + bottom) // 2 + 2, left:right] = 60
        return out

    return Hazard("label", spoil)
