"""What is said between the window and the decoder: messages with their length before them, over two pipes.

A message is eight bytes that give the lengths of what follows (little-endian), a text in JSON that is held to
the types below before it is believed, and plain bytes where there are many numbers. Pixels go through a
`Block`.
"""

from __future__ import annotations

import os
import struct
import threading
from fractions import Fraction
from pathlib import Path
from typing import IO, Annotated, Literal, TypeVar

import msgspec
import numpy as np
from msgspec import Meta, Struct
from numpy.typing import NDArray

from measure_app.clip import ClipInfo, PlaneGeometry, Stamps

Layout = Literal["bgra", "bgr", "luma"]
_Count = Annotated[int, Meta(ge=0, le=2**62)]
_HEAD = struct.Struct("<II")
_LONGEST = 2**28
"""Bytes of the longest message: the times of as many frames as a film may have, and room to spare."""


class Room(Struct, frozen=True):
    """Where pixels are to be put."""

    name: bytes
    """Of the block."""
    size: _Count
    """Of the block, bytes."""
    offset: _Count
    nbytes: _Count
    """Room from there on, bytes."""
    once: bool = False
    """Whether the block serves this one time only."""


class Open(Struct, frozen=True, tag=True):
    """Open a film or a folder of pictures; its number is this message's."""

    number: _Count
    path: bytes
    language: str


class Show(Struct, frozen=True, tag=True):
    """Put one frame into a room."""

    number: _Count
    film: _Count
    index: _Count
    layout: Layout
    room: Room


class LookAround(Struct, frozen=True, tag=True):
    """Decode the neighbours of a frame when there is nothing else to do."""

    number: _Count
    film: _Count
    index: _Count


class Pass(Struct, frozen=True, tag=True):
    """Put the luma of frame after frame into slots of a room, round and round."""

    number: _Count
    film: _Count
    start: _Count
    stop: _Count
    step: Annotated[int, Meta(ge=1)]
    room: Room
    slot: _Count
    """Bytes of a slot."""
    slots: Annotated[int, Meta(ge=1)]
    careful: bool
    """Whether each plane is told of at once, so that one after which the decoder stops is known."""


class Taken(Struct, frozen=True, tag=True):
    """So many more slots of a pass are free again."""

    number: _Count
    count: _Count


class Leave(Struct, frozen=True, tag=True):
    """End a pass before its end."""

    number: _Count


class Close(Struct, frozen=True, tag=True):
    """Let go of a film."""

    film: _Count


class Facts(Struct, frozen=True):
    """`ClipInfo` and the base of its stamps as plain values."""

    path: bytes
    container: str
    codec: str
    coded: tuple[_Count, _Count]
    aspect: str
    turns: Annotated[int, Meta(ge=0, le=3)]
    mirrored: bool
    frames: Annotated[int, Meta(ge=1)]
    bit_depth: Annotated[int, Meta(ge=1, le=32)]
    duration_s: float
    file_rate: str
    average_rate: str
    variable_rate: bool
    gaps: tuple[tuple[_Count, _Count], ...]
    capture_rate_hint: float | None
    interlaced: bool
    full_range: bool
    size_bytes: _Count
    remarks: tuple[str, ...]
    base: str
    ratio: str


class Opened(Struct, frozen=True, tag=True):
    """A film is open; the bytes that come with it are its ticks, then the frames where decoding can begin."""

    number: _Count
    facts: Facts


class Shown(Struct, frozen=True, tag=True):
    """A frame lies in its room; or `needed` says how large the room must be."""

    number: _Count
    shape: tuple[_Count, ...]
    deep: bool
    """Whether samples take two bytes."""
    suspect: str | None
    needed: _Count = 0


class Row(Struct, frozen=True, array_like=True):
    """One frame of a pass; each takes a slot, with or without a plane in it."""

    index: _Count
    seen: bool
    suspect: str | None


class Rows(Struct, frozen=True, tag=True):
    """The next frames of a pass lie in their slots."""

    number: _Count
    rows: tuple[Row, ...]


class Ended(Struct, frozen=True, tag=True):
    """A piece of work is done."""

    number: _Count


class Failed(Struct, frozen=True, tag=True):
    """A piece of work cannot be done, in words for a person."""

    number: _Count
    closed: bool
    """Whether the film was closed."""
    words: str
    where: str


Work = Open | Show | LookAround | Pass
"""Wishes that are answered."""
Wish = Work | Taken | Leave | Close
Word = Opened | Shown | Rows | Ended | Failed
_Said = TypeVar("_Said")
_WISHES: msgspec.json.Decoder[Wish] = msgspec.json.Decoder(Wish)
_WORDS: msgspec.json.Decoder[Word] = msgspec.json.Decoder(Word)


class BrokenWire(Exception):
    """The other process has gone, or says what it may not."""


class Wire:
    """One end of the pair of pipes; any thread may say something, one listens."""

    def __init__(self, ear: IO[bytes], mouth: IO[bytes]) -> None:
        self._ear = ear
        self._mouth = mouth
        self._turn = threading.Lock()

    def say(self, message: Wish | Word, attached: bytes = b"") -> None:
        """Send a message.

        Raises
        ------
        BrokenWire
            If nobody listens any more.
        """
        text = msgspec.json.encode(message)
        data = memoryview(_HEAD.pack(len(text), len(attached)) + text + attached)
        try:
            with self._turn:
                while data:
                    data = data[self._mouth.write(data) :]
        except (OSError, ValueError) as error:
            raise BrokenWire(str(error)) from error

    def wish(self) -> Wish:
        """Hear what is wished for; in the decoder.

        Raises
        ------
        BrokenWire
            At the end of all wishes.
        """
        text, _ = self._heard()
        return _believed(_WISHES, text)

    def word(self) -> tuple[Word, bytes]:
        """Hear what the decoder says; in the window's process.

        Raises
        ------
        BrokenWire
            If it has gone, or says what it may not.
        """
        text, attached = self._heard()
        return _believed(_WORDS, text), attached

    def _heard(self) -> tuple[bytes, bytes]:
        try:
            lengths = _HEAD.unpack(self._exactly(_HEAD.size))
            if max(lengths) > _LONGEST:
                raise BrokenWire(f"a message of {max(lengths)} bytes")
            return self._exactly(lengths[0]), self._exactly(lengths[1])
        except (OSError, ValueError) as error:
            raise BrokenWire(str(error)) from error

    def _exactly(self, count: int) -> bytes:
        data = self._ear.read(count)
        if len(data) != count:
            raise BrokenWire("the end")
        return data


def _believed(decoder: msgspec.json.Decoder[_Said], text: bytes) -> _Said:
    try:
        return decoder.decode(text)
    except msgspec.MsgspecError as error:
        raise BrokenWire(str(error)) from error


def plain(text: str) -> str:
    """Text that can be sent: names of files may hold what is no character."""
    return text.encode("utf-8", "replace").decode("utf-8")


def facts_of(info: ClipInfo, stamps: Stamps) -> Facts:
    """What is known of a film, as plain values."""
    geometry = info.geometry
    return Facts(
        path=os.fsencode(info.path),
        container=info.container,
        codec=info.codec,
        coded=(geometry.coded_width, geometry.coded_height),
        aspect=str(geometry.sample_aspect),
        turns=geometry.quarter_turns,
        mirrored=geometry.mirrored,
        frames=info.n_frames,
        bit_depth=info.bit_depth,
        duration_s=info.duration_s,
        file_rate=str(info.file_rate),
        average_rate=str(info.average_rate),
        variable_rate=info.variable_rate,
        gaps=info.gaps,
        capture_rate_hint=info.capture_rate_hint,
        interlaced=info.interlaced,
        full_range=info.full_range,
        size_bytes=info.size_bytes,
        remarks=tuple(plain(each) for each in info.remarks),
        base=str(stamps.base),
        ratio=str(stamps.ratio),
    )


def film_of(facts: Facts, attached: bytes) -> tuple[ClipInfo, Stamps, NDArray[np.int64]]:
    """What is known of a film, and the frames where decoding can begin.

    Raises
    ------
    BrokenWire
        If the values do not belong together.
    """
    try:
        numbers = np.frombuffer(attached, np.dtype("<i8")).astype(np.int64)
        ticks, starts = numbers[: facts.frames], numbers[facts.frames :]
        if len(ticks) != facts.frames or not len(starts) or starts.min() < 0:
            raise BrokenWire("times and frames do not belong together")
        geometry = PlaneGeometry(*facts.coded, Fraction(facts.aspect), facts.turns, facts.mirrored)
        stamps = Stamps(ticks, Fraction(facts.base), Fraction(facts.ratio))
        info = ClipInfo(
            path=Path(os.fsdecode(facts.path)),
            container=facts.container,
            codec=facts.codec,
            geometry=geometry,
            n_frames=facts.frames,
            bit_depth=facts.bit_depth,
            duration_s=facts.duration_s,
            file_rate=Fraction(facts.file_rate),
            average_rate=Fraction(facts.average_rate),
            variable_rate=facts.variable_rate,
            gaps=facts.gaps,
            capture_rate_hint=facts.capture_rate_hint,
            interlaced=facts.interlaced,
            full_range=facts.full_range,
            size_bytes=facts.size_bytes,
            remarks=facts.remarks,
        )
    except (ValueError, ZeroDivisionError) as error:
        raise BrokenWire(str(error)) from error
    return info, stamps, starts
