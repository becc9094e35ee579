"""A film as the rest of the application sees it: facts, frames, planes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from measure_app.clip.geometry import PlaneGeometry
from measure_app.clip.stamps import FrameStamp, Stamps

Plane = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class ClipInfo:
    """What is known of a film before any frame is measured."""

    path: Path
    """Absolute path of the file."""
    container: str
    """mp4, matroska or avi family, as a word for people."""
    codec: str
    """Name of the codec, such as h264."""
    geometry: PlaneGeometry
    """From the coded plane to the displayed frame."""
    n_frames: int
    """Frames that the file holds, in presentation order."""
    bit_depth: int
    """Bits per luma sample."""
    duration_s: float
    """From the first frame to the end of the last, s of the file."""
    file_rate: Fraction
    """Nominal rate, frames per second of the file, dropped frames left out of account."""
    average_rate: Fraction
    """Mean rate over the whole film, frames per second of the file."""
    variable_rate: bool = False
    """Whether the steps between frames differ by more than 2 % and the file's resolution."""
    gaps: tuple[tuple[int, int], ...] = ()
    """(frame, count): after that frame so many frames are missing (dropped by the camera)."""
    capture_rate_hz: float | None = None
    """Rate at which slow motion was captured, as told to `open_clip`."""
    capture_rate_hint: float | None = None
    """Rate at which the camera says that it captured; an offer, not applied by itself."""
    interlaced: bool = False
    """Whether each frame holds two half pictures taken at two instants."""
    full_range: bool = False
    """Whether luma spans all values (0 to 255) rather than 16 to 235. The values are left as they are."""
    size_bytes: int = 0
    """Size of the file."""
    remarks: tuple[str, ...] = ()
    """What a person should know, in words."""

    @property
    def width(self) -> int:
        """Columns of the displayed frame, px."""
        return self.geometry.displayed_width

    @property
    def height(self) -> int:
        """Rows of the displayed frame, px."""
        return self.geometry.displayed_height

    @property
    def coded_size(self) -> tuple[int, int]:
        """Columns and rows of the coded plane, px."""
        return self.geometry.coded_width, self.geometry.coded_height

    @property
    def rotation(self) -> int:
        """Counter-clockwise turn from coded to shown, degrees."""
        return 90 * self.geometry.quarter_turns

    @property
    def sample_aspect(self) -> Fraction:
        """Width over height of one coded pixel."""
        return self.geometry.sample_aspect


@dataclass(frozen=True, slots=True, eq=False)
class LumaPlane:
    """The brightness of one frame as coded: not turned, not stretched, not converted."""

    index: int
    plane: Plane | None
    """(coded_height, coded_width) uint8, or uint16 above 8 bits; read-only, good until the
    next one is asked for. None where the frame could not be decoded."""
    suspect: str | None = None
    """Why this frame must not be measured, in words; None for a sound frame."""
    chroma: tuple[Plane, Plane] | None = None
    """Blue and red difference (Cb, Cr) as coded, mostly of half the columns and rows; as long good as the
    plane. None where the film has no colour, or its colour does not lie apart."""


class Picture(Protocol):
    """One frame, as displayed."""

    @property
    def index(self) -> int:
        """Place in presentation order, from 0."""

    @property
    def stamp(self) -> FrameStamp:
        """When it is shown."""

    @property
    def suspect(self) -> str | None:
        """Why this frame must not be measured, in words; None for a sound frame."""

    def luma(self) -> Plane:
        """Brightness as displayed, (height, width), uint8, or uint16 above 8 bits."""

    def bgra(self) -> NDArray[np.uint8]:
        """Blue, green, red and opaque alpha as displayed, (height, width, 4), C-contiguous."""

    def bgr(self) -> NDArray[np.uint8]:
        """Blue, green and red as displayed, (height, width, 3), C-contiguous."""


class FrameSource(Protocol):
    """A film: the seam at which tests put a painted one."""

    @property
    def info(self) -> ClipInfo:
        """What is known of the film."""

    @property
    def stamps(self) -> Stamps:
        """Times of all frames."""

    def frame(self, index: int) -> Picture:
        """Return one frame by its place in presentation order."""

    def luma_planes(
        self,
        start: int = 0,
        stop: int | None = None,
        step: int = 1,
        *,
        stop_requested: Callable[[], bool] | None = None,
    ) -> Iterator[LumaPlane]:
        """Yield luma planes of frames start, start + step … below stop, in order."""
