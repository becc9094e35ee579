"""The readings as a table, one row a frame."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable

from measure_app.outcome import ReadingRow
from measure_app.run import Spot
from measure_app.words import said

COLUMNS = (
    "frame",
    "time_s",
    "surface_x_px",
    "surface_y_px",
    "surface_u_px",
    "surface_by",
    "landing_x_px",
    "landing_y_px",
    "landing_u_px",
    "landing_by",
    "head_m",
    "head_u_m",
    "throw_m",
    "throw_u_m",
    "speed_m_s",
    "speed_u_m_s",
    "kept",
    "reason",
)
"""Header of readings.csv, in the order of the contract."""

_FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
"""The wide ones count in spreadsheets set to Chinese, Japanese or Korean."""


def readings_csv(rows: Iterable[ReadingRow]) -> bytes:
    """Return readings.csv: RFC 4180, UTF-8, a header and a row for each reading.

    What is not known is an empty cell. Text that a spreadsheet would take for a formula gets an apostrophe in
    front; numbers stay numbers.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow(
            (
                row.frame,
                number(row.time_s, 9),
                *_spot_cells(row.surface, row.surface_u_px),
                *_spot_cells(row.landing, row.landing_u_px),
                number(row.head_m, 7),
                uncertainty(row.head_u_m),
                number(row.throw_m, 7),
                uncertainty(row.throw_u_m),
                number(row.speed_m_s, 6),
                uncertainty(row.speed_u_m_s),
                "yes" if row.kept else "no",
                text(said(row.reason)),
            )
        )
    return out.getvalue().encode("utf-8")


def _spot_cells(spot: Spot | None, u_px: float | None) -> tuple[str, str, str, str]:
    if spot is None:
        return "", "", "", ""
    return number(spot.px.x, 4), number(spot.px.y, 4), uncertainty(u_px), spot.by.value


def number(value: float | None, places: int) -> str:
    """Return a number with so many decimals, fewer where they would be noughts; empty where there is none."""
    if value is None or not math.isfinite(value):
        return ""
    written = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def uncertainty(value: float | None) -> str:
    """Return an uncertainty to four significant figures; empty where there is none."""
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.4g}"


def text(words: str) -> str:
    """Return words that no spreadsheet takes for a formula, on one line."""
    # First without blanks in front, which some spreadsheets pass over as well.
    plain = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    return f"'{plain}" if plain.startswith(_FORMULA_STARTS) else plain
