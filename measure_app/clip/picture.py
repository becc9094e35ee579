"""One decoded frame: its planes as coded, its picture as displayed."""

from __future__ import annotations

import re
import threading
from functools import lru_cache
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from measure_app.clip.geometry import PlaneGeometry
from measure_app.clip.source import Plane
from measure_app.clip.stamps import FrameStamp

# Formats whose plane 0 is the luma, one sample beside the next; the rest is converted to grey first.
_LUMA_FIRST = re.compile(r"(yuvj?|yuva)4(?:20|22|44|10|11|40)p(\d+le)?|gray(\d+le)?|nv12|nv21|nv16|nv24")
_CHROMA_APART = re.compile(r"yuv(j?)4(?:20|22|44|11|40)p(\d+le)?")
_HD_ROWS = 720
_UNSPECIFIED = 2
_converters = threading.local()


@lru_cache(maxsize=64)
def depth_of(layout: str) -> int:
    """Bits of a luma sample in a pixel format, by its name; asked for every frame, and always the same."""
    return int(av.VideoFormat(layout).components[0].bits)


@lru_cache(maxsize=64)
def _lies(layout: str) -> tuple[bool, bool]:
    """Whether luma lies by itself in a pixel format, and whether both colour differences do."""
    return _LUMA_FIRST.fullmatch(layout) is not None, _CHROMA_APART.fullmatch(layout) is not None


def _view(plane: Any, layout: str, height: int, width: int) -> Plane:
    """Read-only view of a plane's samples without their padding; it keeps the frame's memory alive."""
    sample = np.dtype(np.uint16 if depth_of(layout) > 8 else np.uint8)
    rows = np.frombuffer(plane, sample).reshape(plane.height, plane.line_size // sample.itemsize)
    view = rows[:height, :width]
    view.setflags(write=False)
    return view


def luma_plane(video: Any) -> Plane:
    """Brightness of a decoded frame as coded: a read-only view where the format allows it.

    Parameters
    ----------
    video : av.VideoFrame
        Decoded frame.

    Returns
    -------
    (h, w) uint8, or uint16 above 8 bits
        Values as coded: limited range stays limited (16 to 235), 10 bits stay 0 to 1023. The view keeps the
        frame's memory alive.
    """
    layout = video.format.name
    if not _lies(layout)[0]:
        layout = "gray16le" if depth_of(layout) > 8 else "gray"
        video = _converter().reformat(video, format=layout)
    return _view(video.planes[0], layout, video.height, video.width)


def chroma_planes(video: Any) -> tuple[Plane, Plane] | None:
    """Blue and red difference (Cb, Cr) of a decoded frame as coded; None where they do not lie apart.

    Parameters
    ----------
    video : av.VideoFrame
        Decoded frame.

    Returns
    -------
    two of (h', w') uint8, or uint16 above 8 bits
        Read-only views, mostly of half the columns and rows; the middle of the codes is no colour.
    """
    layout = video.format.name
    if not _lies(layout)[1]:
        return None
    blue, red = (_view(plane, layout, plane.height, plane.width) for plane in video.planes[1:3])
    return blue, red


class Frame:
    """One frame of a film. It stays good after the clip is closed."""

    __slots__ = ("_geometry", "_video", "index", "nbytes", "stamp", "suspect")

    def __init__(
        self, index: int, stamp: FrameStamp, geometry: PlaneGeometry, video: Any, suspect: str | None
    ) -> None:
        self.index = index
        """Place in presentation order, from 0."""
        self.stamp = stamp
        """When it is shown."""
        self.suspect = suspect
        """Why this frame must not be measured, in words; None for a sound frame."""
        self.nbytes = sum(plane.buffer_size for plane in video.planes)
        """Memory held, bytes."""
        self._geometry = geometry
        self._video = video

    def doubted(self, reason: str) -> Frame:
        """Return the same frame with a reason not to measure it."""
        return Frame(self.index, self.stamp, self._geometry, self._video, reason)

    @property
    def plane(self) -> Plane:
        """Brightness as coded, (coded_height, coded_width), not turned and not stretched; read-only view."""
        return luma_plane(self._video)

    def luma(self) -> Plane:
        """Brightness as displayed, (height, width), uint8, or uint16 above 8 bits; values as coded."""
        return self._geometry.shown(self.plane)

    def bgra(self) -> NDArray[np.uint8]:
        """Blue, green, red and opaque alpha as displayed, (height, width, 4) uint8, C-contiguous."""
        return self._painted("bgra", 4)

    def bgr(self) -> NDArray[np.uint8]:
        """Blue, green and red as displayed, (height, width, 3) uint8, C-contiguous."""
        return self._painted("bgr24", 3)

    def _painted(self, layout: str, channels: int) -> NDArray[np.uint8]:
        video = self._video
        # Untagged film: broadcast practice is BT.709 from 720 rows up and BT.601 below.
        matrix = None
        if video.colorspace == _UNSPECIFIED:
            matrix = "ITU709" if min(video.height, video.width) >= _HD_ROWS else "ITU601"
        painted = _converter().reformat(video, format=layout, src_colorspace=matrix)
        plane = painted.planes[0]
        rows = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)
        pixels = rows[: painted.height, : painted.width * channels].reshape(painted.height, -1, channels)
        return self._geometry.shown(pixels)


def _converter() -> Any:
    """Return this thread's colour converter; it keeps its tables from frame to frame."""
    found = getattr(_converters, "reformatter", None)
    if found is None:
        found = _converters.reformatter = av.video.reformatter.VideoReformatter()
    return found
