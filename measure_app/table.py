"""Tables of heads and throws that were measured by other means: stills, a bench rule, a stopwatch.

A table is CSV text with a header. Its columns are `head_m`, `throw_m`, `drop_m` and `time_s`, the lengths in
`_cm` or `_mm` as well, and their standard uncertainties `head_u_m`, `throw_u_m`, `drop_u_m`, `time_u_s`.
Columns are separated by commas, semicolons or tabs; where it is not the comma, a decimal comma is understood.
Lines that begin with `#` and rows without any entry are passed over.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis import BoolArray, FloatArray
from measure_app.errors import TableError
from measure_app.refusals import short
from measure_app.saving import reason_of
from measure_app.words import said

MAX_BYTES = 32 * 1024 * 1024
MAX_ROWS = 100_000

_FACTORS = {"m": 1.0, "cm": 0.01, "mm": 0.001}
_LIMITS = {"head": 1000.0, "throw": 1000.0, "drop": 1000.0, "time": 1e8}
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_COLUMN = re.compile(r"(head|throw|drop|time)(_u)?_([a-z]+)")
_KNOWN = [
    *(f"{what}{u}_{unit}" for what in ("head", "throw", "drop") for u in ("", "_u") for unit in _FACTORS),
    "time_s",
    "time_u_s",
]


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A table as read, in SI units; a quantity that has no column is None, an empty cell is NaN."""

    where: str
    lines: tuple[int, ...]
    """Line of the file in which each row stands, from 1."""
    head_m: FloatArray | None = None
    head_u_m: FloatArray | None = None
    throw_m: FloatArray | None = None
    throw_u_m: FloatArray | None = None
    drop_m: FloatArray | None = None
    drop_u_m: FloatArray | None = None
    time_s: FloatArray | None = None
    time_u_s: FloatArray | None = None
    kept: BoolArray | None = None
    """Rows that a column `kept` with yes or no keeps, as in readings.csv; None: all."""
    unused: tuple[str, ...] = ()
    """Columns of the file that mean nothing to this program."""


@dataclass(frozen=True, slots=True)
class _Meaning:
    """What a column holds."""

    name: str
    """As in the file."""
    field: str
    """Field of `Table`."""
    what: str
    factor: float
    is_u: bool


def load_table(path: Path) -> Table:
    """Read a table.

    Raises
    ------
    TableError
        The file cannot be read or is no such table; one line that names the file, the row, the column, the
        rule and what to do.
    """
    where = str(path)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise TableError(said("is not a plain file; name the table itself"), where=where)
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise TableError(said("there is no such file; check the name"), where=where) from None
    except OSError as error:
        raise TableError(said("cannot be read ({reason})", reason=reason_of(error)), where=where) from None
    except ValueError:
        raise TableError(said("is not a file name"), where=short(where)) from None
    return decode_table(data, where)


def decode_table(data: bytes, where: str = "table") -> Table:
    """Read a table from the bytes of a file.

    Raises
    ------
    TableError
        As `load_table`.
    """
    if len(data) > MAX_BYTES:
        raise TableError(said("is larger than {most} MiB; split it", most=MAX_BYTES // 2**20), where=where)
    text = _text_of(data, where)
    rows = _rows_of(text, where)
    header_line, header, separator = next(rows)
    meanings, kept_at, unused = _meanings_of(
        header, said("{where}: line {line}", where=where, line=header_line)
    )
    lines: list[int] = []
    cells: list[list[str]] = []
    for line, row, _ in rows:
        if len(lines) == MAX_ROWS:
            raise TableError(
                said("has more than {most} rows; split it or thin it out", most=MAX_ROWS), where=where
            )
        if len(row) != len(header):
            hint = (
                said("; if the commas are decimal marks, separate the columns by semicolons")
                if separator == ","
                else ""
            )
            raise TableError(
                said(
                    "has {row} cells where the header has {header}{hint}",
                    row=len(row),
                    header=len(header),
                    hint=hint,
                ),
                where=said("{where}: line {line}", where=where, line=line),
            )
        lines.append(line)
        cells.append(row)
    if not lines:
        raise TableError(said("has a header and no rows; add the measurements below it"), where=where)
    columns: dict[str, FloatArray] = {}
    for at, meaning in meanings.items():
        columns[meaning.field] = np.array(
            [
                _number(row[at], meaning, separator, (where, line))
                for line, row in zip(lines, cells, strict=True)
            ]
        )
    kept = None
    if kept_at is not None:
        kept = np.array([_yes(row[kept_at], (where, n)) for n, row in zip(lines, cells, strict=True)])
    table = Table(where=where, lines=tuple(lines), kept=kept, unused=unused, **columns)
    _check_rows(table, {meaning.field: meaning.name for meaning in meanings.values()})
    return table


def _text_of(data: bytes, where: str) -> str:
    """Decode UTF-8, UTF-16 with its mark, or else the code page that spreadsheets on Windows still write."""
    try:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            text = data.decode("utf-16")
        else:
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise TableError(
            said("is not text in UTF-8, UTF-16 or Windows-1252; save it as UTF-8"), where=where
        ) from None
    if "\0" in text:
        raise TableError(said("holds zero bytes, so it is no text; save the table as CSV"), where=where)
    return text


def _rows_of(text: str, where: str) -> Iterator[tuple[int, list[str], str]]:
    """Yield line number, cells and the separator of the header and of each row below it."""
    lines = text.splitlines()
    if lines and (named := re.fullmatch(r"sep=(.)", lines[0].strip(), re.IGNORECASE)):
        separator, skipped = (
            named[1].replace("\\t", "\t"),
            1,
        )  # a line by which spreadsheets name the separator
    else:
        head = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
        separator, skipped = next((mark for mark in ("\t", ";", ",") if mark in head), ","), 0
    reader = csv.reader(io.StringIO("\n".join(lines[skipped:]), newline=""), delimiter=separator, strict=True)
    empty = True
    try:
        for row in reader:
            if not any(cell.strip() for cell in row) or row[0].lstrip().startswith("#"):
                continue
            empty = False
            yield reader.line_num + skipped, row, separator
    except csv.Error as error:
        raise TableError(
            said("is no CSV ({error}); check the quotation marks", error=error),
            where=said("{where}: line {line}", where=where, line=reader.line_num + skipped),
        ) from None
    if empty:
        raise TableError(
            said("is empty; give a header such as head_mm,throw_mm and a row for each pair"), where=where
        )


def _meanings_of(header: list[str], place: str) -> tuple[dict[int, _Meaning], int | None, tuple[str, ...]]:
    """Say what the columns hold: quantities by position, the place of `kept`, names that mean nothing."""
    meanings: dict[int, _Meaning] = {}
    kept_at = None
    unused: list[str] = []
    for at, cell in enumerate(header):
        name = cell.strip()
        meaning = _meaning(name, place)
        if name.lower() == "kept":
            kept_at = at
        elif meaning is None:
            unused.append(name)
        else:
            twin = next((m for m in meanings.values() if m.field == meaning.field), None)
            if twin is not None:
                raise TableError(
                    said(
                        "gives the same quantity as column {twin}; keep one of them, in one unit",
                        twin=short(twin.name),
                    ),
                    where=said("{place}: column {name}", place=place, name=short(name)),
                )
            meanings[at] = meaning
    fields = {meaning.field for meaning in meanings.values()}
    if not fields & {"head_m", "throw_m"}:
        raise TableError(
            said(
                "has neither a head nor a throw column, only {listed}; name them head_m, head_cm or "
                "head_mm and throw_m, throw_cm or throw_mm",
                listed=", ".join(map(short, header[:10])),
            ),
            where=place,
        )
    for meaning in meanings.values():
        if meaning.is_u and meaning.field.replace("_u", "") not in fields:
            raise TableError(
                said(
                    "is the uncertainty of a {what} that has no column; add one or leave this out",
                    what=said(meaning.what),
                ),
                where=said("{place}: column {name}", place=place, name=short(meaning.name)),
            )
    return meanings, kept_at, tuple(unused)


def _meaning(name: str, place: str) -> _Meaning | None:
    low = name.lower()
    if match := _COLUMN.fullmatch(low):
        what, u, unit = match[1], match[2] or "", match[3]
        units = {"s": 1.0} if what == "time" else _FACTORS
        if unit not in units:
            raise TableError(
                said(
                    'has the unit "{unit}", which is not known; give it in {units}, as {example}',
                    unit=short(unit),
                    units=said(" or ").join(units),
                    example=f"{what}{u}_{next(iter(units))}",
                ),
                where=said("{place}: column {name}", place=place, name=short(name)),
            )
        return _Meaning(name, f"{what}{u}_{'s' if what == 'time' else 'm'}", what, units[unit], bool(u))
    plain = re.sub(r"[^a-z]+", "_", low[:40]).strip("_")  # "Head (cm)" is meant as head_cm
    near = difflib.get_close_matches(plain, _KNOWN, n=1, cutoff=0.8)
    if near or re.match(r"(head|throw|drop|time)(?![a-z])", low):
        wanted = near[0] if near else said("one such as head_mm, throw_mm, drop_mm, time_s or head_u_mm")
        raise TableError(
            said("is not a known column; did you mean {wanted}?", wanted=wanted),
            where=said("{place}: column {name}", place=place, name=short(name)),
        )
    return None


def _number(cell: str, meaning: _Meaning, separator: str, at: tuple[str, int]) -> float:
    """Read one cell in SI units; NaN where it is empty. `at` is table and line, for errors."""
    text = cell.strip().replace("\u2212", "-")
    if not text:
        return float("nan")
    if separator != "," and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        hint = said("write the number alone, its unit stands in the header")
        if "," in text:
            hint = said(
                "one decimal mark and no others; a decimal comma needs semicolons between the columns"
            )
        raise TableError(
            said('must be a number, got "{value}"; {hint}', value=short(cell.strip()), hint=hint),
            where=_cell_at(at, meaning.name),
        )
    value = float(text) * meaning.factor
    if meaning.is_u and value <= 0.0:
        raise TableError(
            said("must be greater than 0, got {value}; no reading is exact", value=short(text)),
            where=_cell_at(at, meaning.name),
        )
    if abs(value) > _LIMITS[meaning.what]:
        raise TableError(
            said("is beyond any bench, got {value}; check the value and its unit", value=short(text)),
            where=_cell_at(at, meaning.name),
        )
    return value


def _cell_at(at: tuple[str, int], column: str) -> str:
    return said("{table}: line {line}: column {column}", table=at[0], line=at[1], column=short(column))


def _yes(cell: str, at: tuple[str, int]) -> bool:
    answer = {"yes": True, "no": False}.get(cell.strip().lower())
    if answer is None:
        raise TableError(
            said('must be yes or no, got "{cell}"', cell=short(cell)),
            where=_cell_at(at, "kept"),
        )
    return answer


def _check_rows(table: Table, names: dict[str, str]) -> None:
    """Check what concerns more than one cell: signs in rows kept, an uncertainty for each value, time."""

    def refuse_first(broken: BoolArray, field: str, words: str) -> None:
        for row in np.flatnonzero(broken)[:1]:
            place = _cell_at((table.where, table.lines[row]), names[field])
            raise TableError(words, where=place)

    for field in ("head_m", "throw_m", "drop_m"):
        values, u = getattr(table, field), getattr(table, field.replace("_m", "_u_m"))
        if values is None:
            continue
        wrong = values <= 0.0 if field == "drop_m" else values < 0.0
        words = said(
            "cannot be negative; lengths count from the orifice: head upward, drop downward, throw outward"
        )
        if field == "drop_m":
            words = said(
                "must be greater than 0; lengths count from the orifice: head upward, drop downward, throw "
                "outward"
            )
        refuse_first(wrong if table.kept is None else wrong & table.kept, field, words)
        if u is not None:
            words = said(
                "is empty where its quantity has a value; give the uncertainty in each row or in none"
            )
            refuse_first(np.isfinite(values) & np.isnan(u), field.replace("_m", "_u_m"), words)
    if table.time_s is not None:
        words = said("is empty; give the time in each row or leave the column out")
        refuse_first(np.isnan(table.time_s), "time_s", words)
        words = said(
            "must be later than in the row before; sort the rows, or leave out times of several drains"
        )
        refuse_first(np.diff(table.time_s, prepend=-np.inf) <= 0.0, "time_s", words)
