"""Lengths as people type them on a command line: a number and its unit."""

from __future__ import annotations

import math
import re

_UNITS = {"": 1.0, "m": 1.0, "cm": 1e-2, "mm": 1e-3}
_LENGTH = re.compile(r"\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([a-zA-Z]*)\s*")


def length_of(text: str) -> float:
    """
    Read a length.

    Parameters
    ----------
    text : str
        Such as ``4mm``, ``25 cm``, ``1,5m`` or ``0.4``; a bare number is metres.

    Returns
    -------
    float
        m.

    Raises
    ------
    ValueError
        It is no finite number with one of these units behind it.
    """
    match = _LENGTH.fullmatch(text)
    if match is None or match[2] not in _UNITS:
        raise ValueError(f"“{text[:30]}” is not a length; write a number and mm, cm or m, such as 4mm")
    value = float(match[1].replace(",", ".")) * _UNITS[match[2]]
    if not math.isfinite(value):
        raise ValueError(f"“{text[:30]}” is too large for a length")
    return value
