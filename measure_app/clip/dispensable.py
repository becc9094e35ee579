"""Which packets hold nothing but a picture that no other needs, told from their own headers.

Decoders can leave such pictures out, but they believe the packet at its word: one whose head is damaged is
left out as well, without an error, and all that is built on it comes out wrong. Hence only packets whose
heads are whole throughout may be left out. Layouts: ITU-T H.264, 7.3.1 and 7.3.3; H.265, 7.3.1.2;
ISO/IEC 14496-2, 6.2.5; lengths before units: ISO/IEC 14496-15.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import partial

_START = re.compile(rb"\x00\x00\x01")
_VOP = b"\0\0\1\xb6"
_B_VOP = 2
_H264_SLICE = 1
_H264_BESIDE = {6, 9, 12}
"""Kinds of units that stand beside a picture: remarks, delimiters, filling."""
_HEVC_BESIDE = {35, 38, 39, 40}
_HEVC_LEFT_OUT = 14
"""Up to here, kinds of even number are pictures that no other of their layer needs."""
_SLICE_TYPES = 10


def dispensable_in(codec: str, head: bytes | None) -> Callable[[bytes], bool] | None:
    """Return what tells from a packet's bytes whether its picture may be left out; None where nothing can.

    Parameters
    ----------
    codec : str
        Its name in FFmpeg.
    head : bytes, optional
        What the container keeps for the decoder's beginning; it tells how long the lengths before units are.
    """
    head = head or b""
    if codec == "h264":
        return partial(_h264, width=(head[4] & 3) + 1 if len(head) > 6 and head[0] == 1 else 0)
    if codec == "hevc":
        return partial(_hevc, width=(head[21] & 3) + 1 if len(head) > 22 and head[0] == 1 else 0)
    return _mpeg4 if codec == "mpeg4" else None


def _units(data: bytes, width: int) -> Iterator[bytes | None]:
    """Yield the first bytes of each unit; None where the packet is not made of whole units.

    Parameters
    ----------
    data : bytes
        One packet.
    width : int
        Bytes of the length before each unit; 0 where units begin with a start code instead.
    """
    if not width:
        starts = [found.end() for found in _START.finditer(data)]
        yield from (data[at : at + 8] for at in starts)
        if not starts or data[: starts[0] - 3].strip(b"\0"):
            yield None
        return
    at = 0
    while at < len(data):
        length = int.from_bytes(data[at : at + width], "big")
        at += width
        yield data[at : at + 8] if 2 <= length <= len(data) - at else None
        if length > len(data) - at:
            return
        at += length


def _h264(data: bytes, width: int) -> bool:
    pictures = 0
    for unit in _units(data, width):
        if unit is None or len(unit) < 2 or unit[0] & 0x80:
            return False
        needed, kind = unit[0] >> 5, unit[0] & 31
        if kind in _H264_BESIDE and not needed:
            continue
        if kind != _H264_SLICE or needed or not (_begins(unit[1:], pictures)):
            return False
        pictures += 1
    return pictures > 0


def _begins(slice_head: bytes, before: int) -> bool:
    """Tell whether a slice's head can be one: the first begins at the picture's corner, each has a kind."""
    bits = int.from_bytes(slice_head.ljust(7, b"\0"), "big"), 8 * 7
    corner, bits = _number(*bits)
    kind, _ = _number(*bits)
    return (corner == 0) == (before == 0) and kind < _SLICE_TYPES


def _number(bits: int, length: int) -> tuple[int, tuple[int, int]]:
    """Read one number of the Exp-Golomb code (H.264, 9.1): its value, and the bits that follow."""
    zeros = length - bits.bit_length()
    rest = length - 2 * zeros - 1
    if rest < 0:
        return 2**length, (0, 0)
    return (bits >> rest) - 1, (bits & ((1 << rest) - 1), rest)


def _hevc(data: bytes, width: int) -> bool:
    pictures = 0
    for unit in _units(data, width):
        if unit is None or len(unit) < 3 or unit[0] & 0x81 or unit[1] >> 3 or not unit[1] & 7:
            return False
        kind = unit[0] >> 1
        if kind in _HEVC_BESIDE:
            continue
        first = bool(unit[2] & 0x80)
        if kind > _HEVC_LEFT_OUT or kind % 2 or first != (pictures == 0):
            return False
        pictures += 1
    return pictures > 0


def _mpeg4(data: bytes) -> bool:
    """One picture, and one that is built on both sides."""
    return len(data) > 4 and data.startswith(_VOP) and data.count(_VOP) == 1 and data[4] >> 6 == _B_VOP
