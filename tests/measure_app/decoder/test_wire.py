"""What comes over the wire is believed only if it may be: a decoder taken over by a film may say anything."""

from __future__ import annotations

import io
import struct
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import Struct

from measure_app.clip import ClipInfo, PlaneGeometry, open_source
from measure_app.decoder import Decoder, open_film
from measure_app.decoder.process import Child, DecoderGone
from measure_app.decoder.reading import Reader, _film_of
from measure_app.decoder.wire import BrokenWire, Ended, Opened, Row, Shown, Wire, wishes, words
from measure_app.errors import ClipError


def heard(data: bytes) -> Any:
    wire: Wire[Any] = Wire(io.BytesIO(data), io.BytesIO(), words())
    return wire.heard()


def framed(text: bytes) -> bytes:
    return struct.pack("<I", len(text)) + text


@given(st.binary(max_size=200))
@settings(max_examples=300, deadline=None)
def test_any_bytes_are_a_message_or_the_end(data: bytes) -> None:
    for bytes_ in (data, framed(data)):
        for kinds in (words(), wishes()):
            try:
                message = Wire(io.BytesIO(bytes_), io.BytesIO(), kinds).heard()
            except BrokenWire:
                continue
            assert isinstance(message, Struct)


@pytest.mark.parametrize(
    "text",
    [
        msgspec.msgpack.encode({"type": "Row", "index": -1, "seen": True, "suspect": None}),
        msgspec.msgpack.encode({"type": "Row", "index": "1", "seen": True, "suspect": None}),
        msgspec.msgpack.encode({"type": "Shown", "shape": [1.5], "deep": False, "suspect": None}),
        msgspec.msgpack.encode({"type": "Opened", "info": None}),
        msgspec.msgpack.encode({"type": "eval", "code": "1"}),
        msgspec.msgpack.encode([[[[]]]] * 50),
        b"\x91" * 100_000,
        b"",
    ],
)
def test_what_may_not_be_said_ends_the_wire(text: bytes) -> None:
    with pytest.raises(BrokenWire):
        heard(framed(text))


def test_an_absurd_length_is_not_waited_for() -> None:
    with pytest.raises(BrokenWire, match="4294967295"):
        heard(b"\xff\xff\xff\xff" + b"x" * 100)


def test_messages_cross_as_they_are(film: Path) -> None:
    with open_source(film) as clip:
        opened = Opened(clip.info, b"12345678", Fraction(1, 15360), Fraction(1), b"")
    out = io.BytesIO()
    wire: Wire[Any] = Wire(io.BytesIO(), out, words())
    for word in (opened, Row(3, True, None, (24, 40)), Shown((1, 2, 4), False, "ü", 0), Ended()):
        wire.say(word)
        assert heard(out.getvalue()) == word
        out.seek(0)
        out.truncate()


SOUND = ClipInfo(Path("/f.mp4"), "mp4", "h264", PlaneGeometry(80, 48), 2, 8, 1.0, Fraction(30), Fraction(30))


def _opened(
    info: ClipInfo = SOUND, ticks: Any = (0, 1), starts: Any = (0,), ratio: Fraction = Fraction(1)
) -> Opened:
    def packed(values: Any) -> bytes:
        return np.array(values, "<i8").tobytes()

    return Opened(info, packed(ticks), Fraction(1, 30), ratio, packed(starts))


def test_a_film_that_can_be_is_believed() -> None:
    assert _film_of(_opened())[0] == SOUND


@pytest.mark.parametrize(
    "opened",
    [
        _opened(replace(SOUND, n_frames=3)),
        _opened(replace(SOUND, n_frames=0), ticks=()),
        _opened(replace(SOUND, geometry=PlaneGeometry(0, 48))),
        _opened(replace(SOUND, geometry=PlaneGeometry(-80, -48))),
        _opened(replace(SOUND, geometry=PlaneGeometry(10**9, 10**9))),
        _opened(replace(SOUND, geometry=PlaneGeometry(80, 48, Fraction(-1)))),
        _opened(replace(SOUND, geometry=PlaneGeometry(80, 48, Fraction(10**9)))),
        _opened(replace(SOUND, geometry=PlaneGeometry(80, 48, quarter_turns=7))),
        _opened(replace(SOUND, bit_depth=64)),
        _opened(replace(SOUND, duration_s=float("nan"))),
        _opened(replace(SOUND, duration_s=float("inf"))),
        _opened(replace(SOUND, file_rate=Fraction(-1))),
        _opened(ticks=(1, 1)),
        _opened(starts=()),
        _opened(starts=(1,)),
        _opened(starts=(0, 0)),
        _opened(ratio=Fraction(0)),
    ],
)
def test_a_film_that_cannot_be_is_not(opened: Opened) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        _film_of(opened)


class Liar:
    """Stands in for a process: says what it is told to, whatever it is asked."""

    def __init__(self, *said: Any) -> None:
        self._said = list(said)
        self.gone = False

    def say(self, wish: Any) -> None:  # noqa: ARG002
        if self.gone:
            raise DecoderGone

    def hear(self, limit_s: float, pause: Any) -> Any:  # noqa: ARG002
        if not self._said:
            raise DecoderGone
        return self._said.pop(0)

    def kill(self) -> None:
        self.gone = True


def _reader(*said: Any) -> tuple[Reader, Liar]:
    liar = Liar(_opened(), *said)
    return Reader(cast("Child", liar), Path("/f.mp4"), 1.0, lambda: None), liar


@pytest.mark.parametrize(
    "word",
    [
        Shown((10**6, 10**6, 4), False, None),
        Shown((48, 80, 5), False, None),
        Shown((48, 80, 4), True, None),
        Shown((), False, None),
        Shown((0, 80, 4), False, None),
        Shown((1, 1, 4), False, None, 2**60),
        Ended(),
        _opened(),
        Row(5, True, None),
    ],
)
def test_a_process_that_says_of_a_frame_what_cannot_be_is_ended(word: Any) -> None:
    reader, liar = _reader(word)
    with pytest.raises(DecoderGone):
        reader.show(5, "bgra", lambda: None)
    assert liar.gone


@pytest.mark.parametrize(
    "word",
    [
        Row(1, True, None),
        Row(0, True, None, (10**6, 10**6)),
        Row(0, True, None, (0, 40)),
        Ended(),
        Shown((48, 80, 4), False, None),
    ],
)
def test_a_process_that_says_in_a_pass_what_cannot_be_is_ended(word: Any) -> None:
    reader, liar = _reader(word)
    with pytest.raises(DecoderGone):
        list(reader.planes(range(2), lambda: None))
    assert liar.gone


def test_a_process_that_opens_what_cannot_be_is_ended() -> None:
    liar = Liar(_opened(replace(SOUND, n_frames=7)))
    with pytest.raises(DecoderGone):
        Reader(cast("Child", liar), Path("/f.mp4"), 1.0, lambda: None)
    assert liar.gone


@pytest.mark.parametrize("noise", [b"", b"\xff" * 64, framed(b"\xc1")])
def test_a_program_that_is_no_decoder_is_one_line(film: Path, noise: bytes) -> None:
    code = f"import os, sys; os.write(1, {noise!r}); sys.stdin.buffer.read(64)"
    decoder = Decoder((sys.executable, "-S", "-c", code))
    with pytest.raises(ClipError, match="twice while it opened"):
        open_film(decoder, film)
    decoder.close()
