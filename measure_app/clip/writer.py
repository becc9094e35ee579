"""Writing a clip: any ticks, rotation and pixel aspect as metadata, whole or not at all."""

from __future__ import annotations

import itertools
import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from measure_app.errors import ClipError
from measure_app.words import said

Picture = NDArray[np.uint8] | NDArray[np.uint16]
"""(h, w, 3) blue-green-red uint8, or (h, w) luma, uint8 or uint16."""

_CRF_CODECS = {"libx264", "libx265", "libvpx-vp9", "libsvtav1"}
# Chatter of the encoders themselves goes to the terminal past every log level; these switches stop it.
_QUIET = {"libx265": {"x265-params": "log-level=none"}}
_PIXEL_FORMATS = {8: "yuv420p", 10: "yuv420p10le"}
_BT709 = 1
_LIMITED_RANGE = 1
_X265_REORDERS = 3  # pictures
"""A film shorter than this leaves libx265 (4.1) without a decode time to compute, and it hands out what its
memory holds: one in ten such films was refused by the container. Without B-frames nothing is reordered."""
_LAMBDA_PER_QUANTISER = 118  # libavutil's FF_QP2LAMBDA


def write_clip(
    path: str | Path,
    frames: Iterable[Picture],
    *,
    ticks: Iterable[int] | None = None,
    base: Fraction = Fraction(1, 30),
    codec: str = "libx264",
    crf: int | None = 18,
    gop: int | None = None,
    b_frames: int | None = None,
    rotation: int = 0,
    mirrored: bool = False,
    sample_aspect: Fraction | None = None,
    bit_depth: int = 8,
    rate: Fraction | int | None = None,
    metadata: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
) -> Path:
    """Encode pictures into a film; the file appears complete or not at all.

    Parameters
    ----------
    path : str or Path
        Target; its ending chooses the container (mp4, mov, mkv, webm, avi).
    frames : iterable of ndarray
        Pictures *as coded*, all of one size, taken one at a time so that memory stays flat. (h, w, 3) uint8
        is blue-green-red and is converted to BT.709 limited range; (h, w) is a luma plane and is stored
        value for value (uint8 for 8 bits, uint16 for 10 bits) without colour. Sides must be even.
    ticks : iterable of int, optional
        Presentation time of each picture in ticks of `base`, strictly increasing; by default 0, 1, 2 …
        Unequal steps give a variable rate. In mp4 and mov a start other than zero is kept, and pictures
        before time zero are trimmed off by an edit list, as a phone does. Matroska and webm know whole
        milliseconds only; avi knows a constant rate from zero only.
    base : Fraction
        Seconds per tick.
    codec : str
        libx264, libx265, libvpx-vp9, mpeg4 or mjpeg. Other encoders of libavcodec work too, but libsvtav1 4.1
        has been seen to wait for itself for ever.
    crf : int, optional
        Constant quality, for the codecs that know it (mpeg4 and mjpeg: quantiser 2 is used instead).
    gop, b_frames : int, optional
        Pictures from key frame to key frame and most B-frames in a row; the encoder's choice by default.
    rotation : {0, 90, 180, 270}
        Written as a display matrix: the picture shown is ``np.rot90(coded, rotation // 90)``. To store an
        upright picture p as a turned camera would, pass ``np.rot90(p, -rotation // 90)``. Kept by mp4, mov
        and mkv.
    mirrored : bool
        The picture shown is flipped left to right after the turn.
    sample_aspect : Fraction, optional
        Width over height of one pixel as coded.
    bit_depth : {8, 10}
        Bits per sample.
    rate : Fraction or int, optional
        Nominal pictures per second told to the encoder; by default one tick a picture.
    metadata : mapping, optional
        Texts for the container, such as ``com.android.capture.fps``.
    options : mapping, optional
        Further encoder options.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    ClipError
        If a picture does not fit the others, the ticks do not increase, or the encoder or the disk refuses.
    """
    target = Path(path)
    if rotation not in {0, 90, 180, 270}:
        raise ClipError(
            said("rotation is 0, 90, 180 or 270 degrees, got {rotation}", rotation=rotation),
            where=target.name,
        )
    if bit_depth not in _PIXEL_FORMATS:
        raise ClipError(said("bit_depth is 8 or 10, got {bit_depth}", bit_depth=bit_depth), where=target.name)
    recipe = _Recipe(base, codec, bit_depth, gop, b_frames, sample_aspect, rotation, mirrored)
    chosen = _encoder_options(codec, crf, options or {})
    nominal = Fraction(rate) if rate is not None else 1 / base
    times = itertools.count() if ticks is None else ticks
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(
            suffix=target.suffix, prefix=f".{target.stem}-", dir=target.parent
        )
        os.close(handle)
        with av.open(temporary, "w", options=_container_options(target, metadata)) as out:
            out.metadata.update(metadata or {})
            stream = out.add_stream(codec, rate=nominal, options=chosen)
            _encode(out, stream, _pictures(frames, times, target.name), recipe)
        with Path(temporary).open("rb+") as written:
            os.fsync(written.fileno())
        Path(temporary).chmod(0o644)
        Path(temporary).replace(target)
    except (av.FFmpegError, OSError, ValueError) as error:
        raise ClipError(
            said("the clip could not be written: {error}", error=error), where=target.name
        ) from error
    finally:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
    return target


@dataclass(frozen=True, slots=True)
class _Recipe:
    """What the encoder is told before the first picture."""

    base: Fraction
    codec: str
    bit_depth: int
    gop: int | None
    b_frames: int | None
    sample_aspect: Fraction | None
    rotation: int
    mirrored: bool

    def prepare(self, stream: Any, height: int, width: int) -> None:
        """Set up a stream that is not open yet."""
        context = stream.codec_context
        stream.height, stream.width = height, width
        stream.pix_fmt = "yuvj420p" if self.codec == "mjpeg" else _PIXEL_FORMATS[self.bit_depth]
        context.time_base = stream.time_base = self.base
        if self.gop is not None:
            stream.gop_size = self.gop
        if self.b_frames is not None:
            context.max_b_frames = self.b_frames
        if self.codec in {"mpeg4", "mjpeg"}:
            context.qscale = True
            context.global_quality = 2 * _LAMBDA_PER_QUANTISER
        if self.sample_aspect is not None:
            context.sample_aspect_ratio = self.sample_aspect
        if self.codec != "mjpeg":
            context.colorspace = context.color_primaries = context.color_trc = _BT709
            context.color_range = _LIMITED_RANGE
        if self.rotation or self.mirrored:
            stream.set_display_rotation(self.rotation, hflip=self.mirrored)


def _encoder_options(codec: str, crf: int | None, options: Mapping[str, str]) -> dict[str, str]:
    """Options of the encoder, its chatter switched off."""
    chosen = dict(_QUIET.get(codec, {}))
    if crf is not None and codec in _CRF_CODECS:
        chosen["crf"] = str(crf)
    if codec == "libvpx-vp9":
        chosen["b"] = "0"  # constant quality there needs a target rate of nothing
    chosen |= options
    if "log-level" not in chosen.get("x265-params", "log-level"):
        chosen["x265-params"] += ":log-level=none"
    return chosen


def _container_options(target: Path, metadata: Mapping[str, str] | None) -> dict[str, str]:
    """Front index for streaming players, and room for keys of any name."""
    if target.suffix.lower() in {".mp4", ".mov", ".m4v", ".3gp"}:
        return {"movflags": "+faststart+use_metadata_tags" if metadata else "+faststart"}
    return {}


def _pictures(frames: Iterable[Picture], ticks: Iterable[int], name: str) -> Iterator[tuple[Picture, int]]:
    """Pictures with their ticks, checked as they pass."""
    first: Picture | None = None
    before: int | None = None
    times = iter(ticks)
    for number, picture in enumerate(frames):
        tick = next(times, None)
        if tick is None:
            raise ClipError(said("there are more pictures than ticks ({number})", number=number), where=name)
        if before is not None and tick <= before:
            raise ClipError(
                said(
                    "ticks must increase, got {tick} after {before} at picture {number}",
                    tick=tick,
                    before=before,
                    number=number,
                ),
                where=name,
            )
        if picture.ndim not in {2, 3} or (picture.ndim == 3 and picture.shape[2] != 3):
            raise ClipError(
                said(
                    "picture {number}: shape (h, w) or (h, w, 3) wanted, got {shape}",
                    number=number,
                    shape=picture.shape,
                ),
                where=name,
            )
        first = picture if first is None else first
        if picture.shape != first.shape or picture.dtype != first.dtype:
            raise ClipError(
                said("picture {number} differs from the first in size or type", number=number), where=name
            )
        before = tick
        yield picture, int(tick)
    if first is None:
        raise ClipError(said("a clip needs at least one picture"), where=name)


def _encode(out: Any, stream: Any, pictures: Iterator[tuple[Picture, int]], recipe: _Recipe) -> None:
    """Send every picture through the encoder into the container."""
    opening = list(itertools.islice(pictures, _X265_REORDERS))
    recipe.prepare(stream, *opening[0][0].shape[:2])
    if recipe.codec == "libx265" and len(opening) < _X265_REORDERS:
        stream.codec_context.max_b_frames = 0
    for picture, tick in itertools.chain(opening, pictures):
        frame = _video_frame(picture, stream.pix_fmt)
        frame.pts = tick
        frame.time_base = recipe.base
        for packet in stream.encode(frame):
            out.mux(packet)
    for packet in stream.encode(None):
        out.mux(packet)


def _video_frame(picture: Picture, pixel_format: str) -> av.VideoFrame:
    """One picture in the encoder's pixel format."""
    if picture.ndim == 3:
        if picture.dtype != np.uint8:
            raise ValueError(f"a colour picture is uint8, got {picture.dtype}")
        colours = np.ascontiguousarray(picture, dtype=np.uint8)
        full = pixel_format.startswith("yuvj")
        return av.VideoFrame.from_ndarray(colours, format="bgr24").reformat(
            format=pixel_format,
            dst_colorspace="ITU601" if full else "ITU709",
            dst_color_range="JPEG" if full else "MPEG",
        )
    sample = np.dtype(np.uint16 if pixel_format.endswith("10le") else np.uint8)
    if picture.dtype != sample:
        raise ValueError(f"a luma plane for {pixel_format} is {sample}, got {picture.dtype}")
    height, width = picture.shape
    frame = av.VideoFrame(width, height, pixel_format)
    for number, plane in enumerate(frame.planes):
        rows = np.asarray(memoryview(plane)).view(sample).reshape(plane.height, -1)
        rows[...] = 128 << (sample.itemsize - 1) * 2  # no colour
        if number == 0:
            rows[:, :width] = picture
    return frame
