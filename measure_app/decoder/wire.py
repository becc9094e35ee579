"""What is said between the window and a decoder: messages with their length before them, over two pipes.

Every message is held to the types below before it is believed: a decoder that a film has taken over may say
anything. Pixels go through a `Block`.
"""

from __future__ import annotations

import os
import struct
from fractions import Fraction
from pathlib import Path
from typing import IO, Annotated, Any, Generic, Literal, TypeVar

import msgspec
from msgspec import Meta, Struct

from measure_app.clip import ClipInfo

Layout = Literal["bgra", "bgr", "luma"]
_Count = Annotated[int, Meta(ge=0, le=2**62)]
_HEAD = struct.Struct("<I")
_LONGEST = 2**27
"""Bytes of the longest message: the times of as many frames as a film may have, and room to spare."""


class Room(Struct, frozen=True):
    """Where pixels are to be put: a part of a block."""

    block: _Count
    """Number of the block; names come again, numbers do not."""
    name: bytes
    size: _Count
    """Of the block, bytes."""
    offset: _Count
    nbytes: _Count
    """Room from there on, bytes."""


class Open(Struct, frozen=True, tag=True):
    """Open a film or a folder of pictures; answered by `Opened`."""

    path: bytes
    language: str
    """That what is said of the film is said in."""


class Show(Struct, frozen=True, tag=True):
    """Put one frame into a room; answered by `Shown`."""

    index: _Count
    layout: Layout
    room: Room
    at_hand: bool = False
    """Whether only one that needs no decoding is wanted; answered by `Ended` where there is none."""


class LookAround(Struct, frozen=True, tag=True):
    """Decode the neighbours of a frame until something else is wished for; not answered."""

    index: _Count


class Pass(Struct, frozen=True, tag=True):
    """Put planes into the slots of a room, round and round; answered by `Row` after `Row`, then `Ended`."""

    start: _Count
    stop: _Count
    step: Annotated[int, Meta(ge=1)]
    room: Room
    slot: Annotated[int, Meta(ge=1)]
    """Bytes of a slot."""


class Free(Struct, frozen=True, tag=True):
    """So many more slots of the pass are free again."""

    count: Annotated[int, Meta(ge=1, le=2**16)]


class Leave(Struct, frozen=True, tag=True):
    """End the pass before its end, which is answered all the same."""


class Close(Struct, frozen=True, tag=True):
    """Let go of the film; not answered."""


class Opened(Struct, frozen=True, tag=True):
    """The film is open."""

    info: ClipInfo
    ticks: bytes
    """Times of the frames, int64 each."""
    base: Fraction
    ratio: Fraction
    starts: bytes
    """Frames at which decoding can begin, int64 each."""


class Shown(Struct, frozen=True, tag=True):
    """The frame lies in its room; or `needed` says how large the room must be."""

    shape: tuple[_Count, ...]
    deep: bool
    """Whether samples take two bytes."""
    suspect: str | None
    needed: _Count = 0


class Row(Struct, frozen=True, tag=True):
    """The next frame of a pass; it takes a slot, with or without a plane in it."""

    index: _Count
    seen: bool
    suspect: str | None
    chroma: tuple[_Count, _Count] | None = None
    """Rows and columns of the two planes of colour that lie behind the luma, if they do."""


class Ended(Struct, frozen=True, tag=True):
    """The pass is at its end."""


class Failed(Struct, frozen=True, tag=True):
    """What was wished for cannot be done, in words for a person."""

    closed: bool
    """Whether the film was closed."""
    words: str
    where: str


Wish = Open | Show | LookAround | Pass | Free | Leave | Close
Word = Opened | Shown | Row | Ended | Failed
_Said = TypeVar("_Said")


class BrokenWire(Exception):
    """The other process has gone, or says what it may not."""


class Wire(Generic[_Said]):
    """One end of the pair of pipes.

    Parameters
    ----------
    ear, mouth : binary files
    believed : msgspec decoder
        Of what may be heard: `wishes()` in the decoder, `words()` in the window's process.
    """

    def __init__(self, ear: IO[bytes], mouth: IO[bytes], believed: msgspec.msgpack.Decoder[_Said]) -> None:
        self._ear = ear
        self._mouth = mouth
        self._believed = believed
        self._encoder = msgspec.msgpack.Encoder(enc_hook=_to_plain)

    def say(self, message: Wish | Word) -> None:
        """Send a message; one thread at a time.

        Raises
        ------
        BrokenWire
            If nobody listens any more.
        """
        text = self._encoder.encode(message)
        data = memoryview(_HEAD.pack(len(text)) + text)
        try:
            while data:
                data = data[self._mouth.write(data) :]
        except (OSError, ValueError) as error:
            raise BrokenWire(str(error)) from error

    def heard(self) -> _Said:
        """Wait for the next message.

        Raises
        ------
        BrokenWire
            At the end of all messages, or at one that may not be.
        """
        try:
            (length,) = _HEAD.unpack(self._exactly(_HEAD.size))
            if length > _LONGEST:
                raise BrokenWire(f"a message of {length} bytes")
            return self._believed.decode(self._exactly(length))
        except (OSError, ValueError, ArithmeticError, RecursionError, msgspec.MsgspecError) as error:
            raise BrokenWire(str(error)) from error

    def _exactly(self, count: int) -> bytes:
        data = self._ear.read(count)
        if len(data) != count:
            raise BrokenWire("the end")
        return data


def wishes() -> msgspec.msgpack.Decoder[Wish]:
    """What a decoder may be told."""
    return msgspec.msgpack.Decoder(Wish, dec_hook=_from_plain)


def words() -> msgspec.msgpack.Decoder[Word]:
    """What a decoder may say."""
    return msgspec.msgpack.Decoder(Word, dec_hook=_from_plain)


def plain(text: str) -> str:
    """Text that can be sent: names of files may hold what is no character."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _to_plain(value: Any) -> Any:
    if isinstance(value, Fraction):
        return (value.numerator, value.denominator)
    if isinstance(value, Path):
        return os.fsencode(value)
    raise TypeError(f"{type(value).__name__} is not sent")


def _from_plain(kind: type, value: Any) -> Any:
    if kind is Fraction:
        above, below = msgspec.convert(value, tuple[int, Annotated[int, Meta(ge=1)]])
        return Fraction(above, below)
    if kind is Path:
        return Path(os.fsdecode(msgspec.convert(value, bytes)))
    raise TypeError(f"{kind.__name__} is not heard")
