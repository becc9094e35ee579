"""Opening a film that may come from anywhere: local, of a known container, of a sane size."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import av

from measure_app.errors import ClipError
from measure_app.words import marked, said

MAX_SIDE = 16_384
"""Longest side accepted, px."""
MAX_AREA = 2**27
"""Largest picture accepted, px."""

_STILLS = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis", b"crx "}
_MOV_STARTS = {b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot", b"uuid", b"styp"}
_WORDS = {"mov": "mp4/mov", "matroska": "mkv/webm", "avi": "avi"}
_SILENT = {"hevc", "mjpeg"}
"""Codecs whose decoders say nothing of a fault unless asked to."""
_UNTIMELY = {"h264", "mpeg4"}
"""Codecs whose decoders mark a picture as faulty, but at times only after it was handed out.

Where several pictures are decoded at once, the next one may be done first and hand out the one before it,
whose mark is then still to come: seen in 9 of 300 readings of one damaged film. An error that ends the
decoding of a picture is never lost so, but costs all pictures up to the next one that needs no other.
"""
# Texts beside a film that are no text must not make it unreadable; from PyAV 19 on that needs no saying.
_LENIENT: dict[str, Any] = {"metadata_errors": "replace"} if int(av.__version__.split(".")[0]) < 19 else {}
_ACCEPTED = marked("mp4, mov, mkv, webm or avi")


@dataclass(slots=True)
class OpenFilm:
    """An open container and its picture stream; the one who opens it closes it."""

    path: Path
    container: Any
    stream: Any
    strict: bool = True
    """Whether the decoder reports faults that it could paper over."""
    watched: bool = False
    """Whether a fault ends the decoding of its picture though a mark on it would do."""
    in_turn: bool = False
    """Whether one picture is decoded after the other."""
    places: dict[int, int] = field(default_factory=dict)
    """Time by the file's own index of the packet at each byte position, ticks; avi only."""

    def packets(self) -> Iterator[tuple[Any, bool]]:
        """Yield each packet from where the container stands, and whether others were lost just before it.

        A reader of avi counts packets to tell the time. Where chunks are lost it counts on as if nothing had
        been there, and after a jump it tells another time for the same packet; the index at the file's end
        still knows better.
        """
        late = 0
        for packet in self.container.demux(self.stream):
            lost = False
            if packet.size and packet.dts is not None and packet.pos in self.places:
                lag = self.places[packet.pos] - packet.dts
                lost, late = lag not in {late, 0}, lag
            if late and packet.size:
                packet.pts = None if packet.pts is None else packet.pts + late
                packet.dts = None if packet.dts is None else packet.dts + late
            yield packet, lost

    def anew(self, *, strict: bool | None = None, watched: bool = False, in_turn: bool = False) -> OpenFilm:
        """Open the same film once more, as `open_film` does; as strictly as this one unless told."""
        strict = self.strict if strict is None else strict
        return open_film(self.path, strict=strict, watched=watched, in_turn=in_turn)

    def close(self) -> None:
        """Close the container and let go of the decoder; frames already decoded stay good."""
        if self.container is not None:
            self.container.close()
            self.container = self.stream = None  # the decoder's own pictures go with it


def container_of(path: Path) -> str:
    """Tell the container from the first bytes: mov, matroska or avi.

    Raises
    ------
    ClipError
        If the bytes are those of anything else, whatever the file is called.
    """
    try:
        with path.open("rb") as file:
            head = file.read(16)
    except OSError as error:
        raise ClipError(
            said("the file cannot be read ({reason})", reason=error.strerror), where=path.name
        ) from None
    if head[4:8] == b"ftyp" and head[8:12] in _STILLS:
        raise ClipError(said("this is a still picture, not a film; give the film itself"), where=path.name)
    if head[4:8] in _MOV_STARTS:
        return "mov"
    if head.startswith(b"\x1a\x45\xdf\xa3"):
        return "matroska"
    if head.startswith(b"RIFF") and head[8:12] == b"AVI ":
        return "avi"
    words = said(
        "this is not a film in {kinds}; convert it, or give the camera's own file", kinds=said(_ACCEPTED)
    )
    raise ClipError(words, where=path.name)


def open_film(path: Path, *, strict: bool = True, watched: bool = False, in_turn: bool = False) -> OpenFilm:
    """Open a file found by `film_path`; it alone is read, never another file or address.

    Parameters
    ----------
    path : Path
        Regular local file.
    strict : bool
        Let decoders that would paper over faults report them; off for cameras whose every frame offends.
    watched : bool
        Let a fault end the decoding of its picture where its mark might come too late; for readings in a row.
    in_turn : bool
        Decode one picture after the other, so that no mark comes too late; slow.

    Raises
    ------
    ClipError
        One line that names the file and says what is wrong with it.
    """
    family = container_of(path)
    try:
        container = av.open(
            str(path),
            "r",
            format=family,
            container_options={
                "protocol_whitelist": "file",
                "format_whitelist": "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi",
            },
            options={"max_pixels": str(MAX_AREA)},
            **_LENIENT,
        )
    except (av.FFmpegError, OSError, ValueError, RuntimeError, MemoryError) as error:
        raise ClipError(_why_not_opened(path, family, error), where=path.name) from error
    try:
        stream = _picture_stream(container, path.name)
    except BaseException:
        container.close()
        raise
    context = stream.codec_context
    context.thread_type = "AUTO"
    if in_turn:
        context.thread_count = 1
    context.options = {"max_pixels": str(MAX_AREA)}
    watched = watched and context.codec.canonical_name in _UNTIMELY
    if watched or (strict and context.codec.canonical_name in _SILENT):
        context.options |= {"err_detect": "explode"}
    places = {}
    if family == "avi":  # an index entry points at the chunk's head of 8 bytes, a packet at what follows
        places = {entry.pos + 8: entry.timestamp for entry in stream.index_entries}
    return OpenFilm(path, container, stream, strict, watched, in_turn, places)


def family_words(path: Path) -> str:
    """Name the container for people."""
    return _WORDS[container_of(path)]


def _picture_stream(container: Any, name: str) -> Any:
    """Return the moving picture of a container."""
    films = [s for s in container.streams.video if not s.disposition & av.stream.Disposition.attached_pic]
    if not films:
        if container.streams.audio:
            raise ClipError(said("the file holds sound only, no moving picture"), where=name)
        raise ClipError(said("the file holds no moving picture; copy it again from the camera"), where=name)
    stream = films[0]
    if stream.codec_context is None:
        raise ClipError(
            said("the film is coded in a way that cannot be read here; convert it to H.264"), where=name
        )
    width, height = stream.codec_context.width, stream.codec_context.height
    if width <= 0 or height <= 0:
        raise ClipError(
            said("the file states no usable size of its pictures; it is damaged, or absurdly large"),
            where=name,
        )
    if max(width, height) > MAX_SIDE or width * height > MAX_AREA:
        words = said(
            "pictures of {width} × {height} px are too large (at most {most} px a side); scale the film",
            width=width,
            height=height,
            most=MAX_SIDE,
        )
        raise ClipError(words, where=name)
    return stream


def _why_not_opened(path: Path, family: str, error: BaseException) -> str:
    """Say in words why a container did not open."""
    if family == "mov" and not _has_box(path, b"moov"):
        return said(
            "the recording was cut off before its table of frames (moov) was written; copy it "
            "again from the camera, or have it repaired"
        )
    detail = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return said(
        "the file cannot be read as a film ({detail}); it is damaged, copy it again from the camera",
        detail=detail,
    )


def _has_box(path: Path, wanted: bytes) -> bool:
    """Tell whether an mp4 or mov has a box of that name at its top level."""
    with path.open("rb") as file:
        end = file.seek(0, os.SEEK_END)
        at = 0
        for _ in range(10_000):
            file.seek(at)
            head = file.read(16)
            if len(head) < 8:
                return False
            if head[4:8] == wanted:
                return True
            size = int.from_bytes(head[:4], "big")
            if size == 1 and len(head) == 16:
                size = int.from_bytes(head[8:], "big")
            if size < 8 or at + size > end:
                return False
            at += size
    return False
