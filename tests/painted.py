"""A painted film: a dark liquid whose surface falls as told, exact to a fraction of a pixel; for tests without files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measure_app.clip import ClipInfo, FrameStamp, LumaPlane, PlaneGeometry, Stamps
from measure_app.errors import ClipClosed, ClipError, Stopped


@dataclass(frozen=True, slots=True, eq=False)
class PaintedFrame:
    """One painted frame."""

    index: int
    stamp: FrameStamp
    coded: NDArray[np.uint8]
    geometry: PlaneGeometry
    suspect: str | None = None

    def luma(self) -> NDArray[np.uint8]:
        """Brightness as displayed."""
        return self.geometry.shown(self.coded)  # type: ignore[return-value]

    def bgr(self) -> NDArray[np.uint8]:
        """Return the same grey in three channels."""
        return np.repeat(self.luma()[:, :, None], 3, axis=2)

    def bgra(self) -> NDArray[np.uint8]:
        """Return the same grey, opaque."""
        return np.dstack([self.bgr(), np.full(self.luma().shape, 255, np.uint8)])


@dataclass
class PaintedClip:
    """A `FrameSource` that paints: air above, liquid below an edge that `edge_y` places, blurred and noisy.

    Parameters
    ----------
    edge_y : callable
        Displayed y of the surface, px, by time in seconds of the film; 0.0 is the centre of the top row.
    n_frames, rate : int, Fraction
        Length and frames per second.
    width, height : int
        Coded size, px.
    geometry : PlaneGeometry, optional
        For turned or stretched films; by default the coded plane is shown as it is.
    air, liquid : float
        Grey levels above and below.
    blur_px : float
        Standard deviation of the Gaussian blur of the edge, px.
    noise : float
        Standard deviation of the grey levels, seeded by frame.
    spoilt : dict
        Reason by frame: those planes carry the reason; an empty reason stands for a lost frame (no plane).
    """

    edge_y: Callable[[float], float]
    n_frames: int = 60
    rate: Fraction = Fraction(30)
    width: int = 96
    height: int = 160
    geometry: PlaneGeometry | None = None
    air: float = 190.0
    liquid: float = 60.0
    blur_px: float = 0.8
    noise: float = 0.0
    seed: int = 0
    capture_rate_hz: float | None = None
    spoilt: dict[int, str] = field(default_factory=dict)
    closed: bool = False

    def __post_init__(self) -> None:
        shape = self.geometry or PlaneGeometry(self.width, self.height)
        self._geometry = shape
        ticks = np.arange(self.n_frames, dtype=np.int64)
        self._stamps = Stamps(ticks, 1 / self.rate).slowed(self.rate, self.capture_rate_hz)
        self._info = ClipInfo(
            path=Path("painted.mp4").absolute(),
            container="painted",
            codec="painted",
            geometry=shape,
            n_frames=self.n_frames,
            bit_depth=8,
            duration_s=float(self.n_frames / self.rate),
            file_rate=self.rate,
            average_rate=self.rate,
            capture_rate_hz=self.capture_rate_hz,
        )

    @property
    def info(self) -> ClipInfo:
        """Facts of the painted film."""
        return self._info

    @property
    def stamps(self) -> Stamps:
        """Evenly spaced times."""
        return self._stamps

    def frame(self, index: int) -> PaintedFrame:
        """Paint one frame."""
        if self.closed:
            raise ClipClosed("the clip was closed", where="painted.mp4")
        if not 0 <= index < self.n_frames:
            raise ClipError("there is no such frame", where=f"painted.mp4, frame {index}")
        reason = self.spoilt.get(index)
        if reason == "":
            raise ClipError("this frame could not be decoded", where=f"painted.mp4, frame {index}")
        return PaintedFrame(index, self._stamps[index], self._paint(index), self._geometry, reason)

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        """Paint the planes of frames start, start + step … below stop."""
        for index in range(start, self.n_frames if stop is None else stop, step):
            if stop_requested is not None and stop_requested():
                raise Stopped("stopped")
            reason = self.spoilt.get(index)
            if reason == "":
                yield LumaPlane(index, None, "this frame could not be decoded")
            else:
                yield LumaPlane(index, self._paint(index), reason)

    def _paint(self, index: int) -> NDArray[np.uint8]:
        from scipy.special import ndtr

        rows, columns = np.mgrid[: self._geometry.coded_height, : self._geometry.coded_width]
        coded = np.column_stack([columns.ravel(), rows.ravel()]).astype(np.float64)
        y = self._geometry.to_displayed(coded)[:, 1].reshape(rows.shape)
        edge = self.edge_y(index / float(self.rate))
        # a Gaussian edge is exact at any fraction of a pixel; no pixel grid takes part
        grey = self.air + (self.liquid - self.air) * ndtr((y - edge) / self.blur_px)
        if self.noise:
            grey = grey + np.random.default_rng((self.seed, index)).normal(0.0, self.noise, grey.shape)
        return np.clip(np.rint(grey), 0, 255).astype(np.uint8)
