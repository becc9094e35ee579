"""Writing cells safely: text stays text, what is not a number stays away."""

from __future__ import annotations

import math
from collections.abc import Container, Sequence
from typing import TYPE_CHECKING

from measure_app.report.workbook_cells import Variant
from measure_app.words import said

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

MOST_SIGNS = 32_000
"""Signs in one cell; the format ends at 32,767."""
LINE_HEIGHT = 15.0
"""Points."""


class Sheets:
    """The sheets of one workbook, with the formats that they share."""

    def __init__(self, book: Workbook, looks: dict[str, Format], variant: Variant) -> None:
        self.book = book
        self.variant = variant
        self._looks = looks
        self._widths: dict[str, Sequence[float]] = {}
        self.titles: dict[str, str] = {}
        """Where a chart's title stands, by the key of its law."""

    def look(self, name: str) -> Format:
        """Give a format by its name in `workbook_looks.LOOKS`."""
        return self._looks[name]

    def first(self) -> Worksheet:
        """Give the sheet that is seen first."""
        return self.book.worksheets()[0]

    def add(self, name: str, title: str, about: str, widths: Sequence[float]) -> Worksheet:
        """Add a sheet with a title, a sentence and columns of some widths, laid out to be printed."""
        sheet = self.book.add_worksheet(name)
        self._widths[name] = widths
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
        self.text(sheet, 0, 0, title, "title")
        self.text(sheet, 1, 0, about, "about")
        sheet.set_paper(9)  # A4
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
        pages = said("Page {page} of {pages}", page="&P", pages="&N")
        sheet.set_footer(f"&L{name}&R{pages}")
        return sheet

    def text(self, sheet: Worksheet, row: int, column: int, words: str, look: str = "text") -> None:
        """Write words as words, whatever they begin with."""
        plain = "".join(sign if sign.isprintable() else " " for sign in words)[:MOST_SIGNS]
        if plain:
            sheet.write_string(row, column, plain, self._looks[look])

    def number(self, sheet: Worksheet, row: int, column: int, value: float, look: str) -> None:
        """Write a number; one that is not finite leaves the cell empty."""
        if math.isfinite(value):
            sheet.write_number(row, column, value + 0.0, self._looks[look])  # nought has no sign

    def header(self, sheet: Worksheet, row: int, titles: Sequence[str], words: Container[int] = ()) -> None:
        """Write a row of column headers, to the right over numbers and to the left over words.

        Parameters
        ----------
        sheet : Worksheet
            Where.
        row : int
            From 0.
        titles : sequence of str
            One for each column from the first.
        words : container of int
            Columns that hold words, from 0.
        """
        for column, title in enumerate(titles):
            look = "header" if column in words else "header of numbers"
            sheet.write_string(row, column, title, self._looks[look])
        # Bold letters are wider; a title of several words is broken between them.
        self.tall(
            sheet,
            row,
            *(
                (title, 0.8 * width)
                for title, width in zip(titles, self._widths[sheet.get_name()], strict=False)
                if " " in title
            ),
        )

    def tall(self, sheet: Worksheet, row: int, *cells: tuple[str, float]) -> None:
        """Make a row tall enough for wrapped words, each given with the width of its column in signs."""
        lines = max((-(-len(words) // max(1, int(1.05 * width))) for words, width in cells), default=1)
        if lines > 1:
            sheet.set_row(row, LINE_HEIGHT * lines + 2)
