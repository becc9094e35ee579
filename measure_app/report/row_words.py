"""What a row of a result stands for, in words: a frame of a film, or a row of a table."""

from __future__ import annotations

from measure_app.words import counted, said

FRAME = "frame"
ROW = "row"


def row_title(kind: str) -> str:
    """Give the header of a column of their numbers."""
    return said("frame") if kind == FRAME else said("row")


def row_named(kind: str, number: int) -> str:
    """Name one of them, such as ``frame 12``."""
    if kind == FRAME:
        return said("frame {number}", number=number)
    return said("row {number}", number=number)


def rows_named(kind: str, first: int, last: int) -> str:
    """Name several in a row, such as ``frames 3 to 9``."""
    if kind == FRAME:
        return said("frames {first} to {last}", first=first, last=last)
    return said("rows {first} to {last}", first=first, last=last)


def in_rows(kind: str, count: int) -> str:
    """Say in how many, such as ``in 40 frames``."""
    if kind == FRAME:
        return counted("in {count} frame", "in {count} frames", count)
    return counted("in {count} row", "in {count} rows", count)


def rows_counted(kind: str, count: int) -> str:
    """Say how many, such as ``40 frames``."""
    if kind == FRAME:
        return counted("{count} frame", "{count} frames", count)
    return counted("{count} row", "{count} rows", count)
