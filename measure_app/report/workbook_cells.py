"""What a workbook is made of, before any library writes it: inputs, live cells, columns of live cells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from analysis import FloatArray
from measure_app.words import marked, said

FIRST_ROW = 5
"""Row of the first reading on Readings, Working and Drain, counted from 1 as in the sheet."""


SHEETS = (
    marked("Inputs"),
    marked("Readings"),
    marked("Working"),
    marked("Drain"),
    marked("Lines"),
    marked("Charts"),
    marked("Findings"),
    marked("How"),
    marked("Answers"),
)
"""Names of the sheets, to be said by `tab`."""


def tab(name: str) -> str:
    """Give a sheet's name as it stands on its tab."""
    return said(name)


def in_formula(name: str) -> str:
    """Give a sheet's name as it stands in formulas: in quotes unless it is letters alone."""
    shown = tab(name)
    plain = shown.isalpha() and len(shown) > 3  # three letters could be a column's
    return shown if plain else "'" + shown.replace("'", "''") + "'"


class Variant(Enum):
    """Which workbook is written."""

    COMPLETE = marked("complete")
    TO_FILL_IN = marked("to be filled in")
    """Readings given, formulas left to the student."""
    ANSWERS = marked("answers")
    """The sheet to be filled in, filled in, with a list of what is to be expected in each cell."""


@dataclass(frozen=True, slots=True)
class Input:
    """A named cell of the sheet Inputs."""

    name: str
    """Name that formulas use."""
    says: str
    value: float
    unit: str
    u: float | None = None
    """Standard uncertainty in the same unit; None where there is none to tell."""
    note: str = ""
    formula: str | None = None
    """Live formula without its equals sign; None for a value that is given."""


@dataclass(frozen=True, slots=True, eq=False)
class LiveColumn:
    """A column in which every row holds the same formula."""

    key: str
    """Name by which other columns' formulas refer to the cell of their own row."""
    title: str
    """With its unit."""
    formula: str
    """Without the equals sign; {key} is the cell of that column in the same row, {at} the row in Readings.

    "" where the values are given as numbers.
    """
    values: FloatArray
    """(m,) what the formula gives, so that readers without a calculator of their own see it."""
    shows: str = "0.0000"
    """Number format."""
    asked: bool = False
    """Whether the student is to find it."""


@dataclass(frozen=True, slots=True, eq=False)
class LiveTable:
    """A sheet of live columns, one row for each reading that took part."""

    sheet: str
    """Name of the sheet as it is written, not yet as it is said."""
    title: str
    says: str
    """What the sheet holds, in a sentence or two."""
    columns: tuple[LiveColumn, ...]
    at: tuple[int, ...]
    """m rows in the sheet Readings, counted from 1 as in the sheet."""

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the columns in order."""
        return tuple(column.key for column in self.columns)

    @property
    def last_row(self) -> int:
        """Row of the last reading, counted from 1."""
        return FIRST_ROW + len(self.at) - 1

    def cell(self, key: str, i: int) -> str:
        """Address of a cell within its own sheet."""
        return f"{letter(self.keys.index(key))}{FIRST_ROW + i}"

    def range(self, key: str) -> str:
        """Address of a whole column, with the sheet and fixed."""
        column = letter(self.keys.index(key))
        return f"{in_formula(self.sheet)}!${column}${FIRST_ROW}:${column}${self.last_row}"

    def formula(self, column: LiveColumn, i: int) -> str:
        """Formula of one cell, without its equals sign."""
        names: Mapping[str, object] = {key: self.cell(key, i) for key in self.keys}
        return column.formula.format(**names, at=self.at[i])


@dataclass(frozen=True, slots=True)
class LineCell:
    """One row of the sheet Lines: a quantity, its live formula and its unit."""

    says: str
    formula: str
    value: float
    unit: str
    name: str | None = None
    """Name that other formulas use for it."""
    note: str = ""
    is_count: bool = False

    @property
    def shows(self) -> str:
        """Number format."""
        size = abs(self.value)
        if self.is_count or size >= 1000:
            return "0"
        if size >= 1:
            return "0.0000"
        return "0.00000" if size >= 0.001 or size == 0.0 else "0.000E+00"


@dataclass(frozen=True, slots=True)
class LineBlock:
    """One law on the sheet Lines."""

    key: str
    title: str
    law: str
    x_title: str
    y_title: str
    x: str
    """Range of the points' x."""
    y: str
    cells: tuple[LineCell, ...]
    equation: str = ""
    """Parts of a formula that joins the line's equation, its numbers rounded, to be shown over the points."""
    reads: str = ""
    """That text."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A whole workbook's live part."""

    inputs: tuple[Input, ...]
    shown: tuple[int, ...]
    """Indices of the result's rows that the sheet Readings shows, in order."""
    thinned: str
    """What was left out to keep the sheets usable, in a sentence; "" if nothing was."""
    drop_varies: bool
    tables: tuple[LiveTable, ...]
    blocks: tuple[LineBlock, ...]


def letter(index: int) -> str:
    """Give the letters of a column counted from 0: A, B, … Z, AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
