"""Tables over frozen rows, and what is copied out of them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QItemSelectionModel,
    QLocale,
    QModelIndex,
    QPersistentModelIndex,
    QSortFilterProxyModel,
    Qt,
    Signal,
)
from PySide6.QtGui import QAction, QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QLineEdit, QTableView, QWidget

from measure_app.words import said

Index = QModelIndex | QPersistentModelIndex
NUMBER_ROLE = Qt.ItemDataRole.UserRole + 1
ROW_ROLE = Qt.ItemDataRole.UserRole + 2
_NOWHERE = QModelIndex()
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20", "|", "%")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?$")


@dataclass(frozen=True, slots=True)
class Field:
    """One column."""

    header: str
    text: Callable[[Any], str]
    """What is shown of a row."""
    number: Callable[[Any], float | int | None] | None = None
    """What is sorted by and copied; None: the text."""
    tip: str = ""
    """What the column means, in one sentence."""
    copied_as: str = ""
    """Header in a copy, where the number copied has another unit than the text shown; else the same."""
    typed_over: Callable[[Any], str] | None = None
    """What stands in the cell while it is typed over; None: it cannot be."""


class RowsModel(QAbstractTableModel):
    """A table over a tuple of frozen rows; new rows keep the selection of those that stay."""

    cell_typed = Signal(object, str)
    """A row, and what was typed over its cell."""

    def __init__(self, fields: Sequence[Field], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.fields = tuple(fields)
        self._rows: tuple[Any, ...] = ()

    @property
    def rows(self) -> tuple[Any, ...]:
        """The rows shown."""
        return self._rows

    def set_rows(self, rows: Sequence[Any]) -> None:
        """Show other rows: what head and tail have in common stays, the middle is changed."""
        new, old = tuple(rows), self._rows
        if new == old:
            return
        head = 0
        while head < min(len(new), len(old)) and new[head] == old[head]:
            head += 1
        tail = 0
        while tail < min(len(new), len(old)) - head and new[-1 - tail] == old[-1 - tail]:
            tail += 1
        before, after = len(old) - tail - head, len(new) - tail - head
        both = min(before, after)
        if both:
            self._rows = (*old[:head], *new[head : head + both], *old[head + both :])
            self.dataChanged.emit(self.index(head, 0), self.index(head + both - 1, len(self.fields) - 1))
        if after > before:
            self.beginInsertRows(_NOWHERE, head + both, head + after - 1)
            self._rows = new
            self.endInsertRows()
        elif before > after:
            self.beginRemoveRows(_NOWHERE, head + both, head + before - 1)
            self._rows = new
            self.endRemoveRows()

    def rowCount(self, parent: Index = _NOWHERE) -> int:  # noqa: N802
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: Index = _NOWHERE) -> int:  # noqa: N802
        """Return the number of columns."""
        return 0 if parent.isValid() else len(self.fields)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return what one cell shows, is sorted by, or says in its tip."""
        if not index.isValid() or not 0 <= index.row() < len(self._rows):
            return None
        row, field = self._rows[index.row()], self.fields[index.column()]
        if role in (
            Qt.ItemDataRole.DisplayRole,
            Qt.ItemDataRole.ToolTipRole,
            Qt.ItemDataRole.AccessibleTextRole,
        ):
            return field.text(row)
        if role == Qt.ItemDataRole.EditRole:
            return field.typed_over(row) if field.typed_over is not None else field.text(row)
        if role == NUMBER_ROLE:
            if field.number is None:
                return field.text(row)
            value = field.number(row)
            return -math.inf if value is None else value
        if role == ROW_ROLE:
            return row
        if role == Qt.ItemDataRole.TextAlignmentRole and field.number is not None:
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Let cells be typed over where their column allows it."""
        flags = super().flags(index)
        if index.isValid() and self.fields[index.column()].typed_over is not None:
            flags |= Qt.ItemFlag.ItemIsEditable
        return flags

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:  # noqa: N802
        """Hand on what was typed over a cell; rows are frozen, so that the answer comes as new rows."""
        if role != Qt.ItemDataRole.EditRole or not index.isValid():
            return False
        field, row = self.fields[index.column()], self._rows[index.row()]
        if field.typed_over is None or str(value).strip() in ("", field.typed_over(row)):
            return False
        self.cell_typed.emit(row, str(value))
        return True

    def headerData(  # noqa: N802
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return a column's header, or its meaning as the tip."""
        if orientation != Qt.Orientation.Horizontal or not 0 <= section < len(self.fields):
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return said(self.fields[section].header)
        if role == Qt.ItemDataRole.ToolTipRole:
            return said(self.fields[section].tip or self.fields[section].header)
        return None


def safe_cell(text: str) -> str:
    """Return text as one cell that no spreadsheet takes for a formula.

    Line ends and tabs become blanks; text that starts like a formula gets an apostrophe before it, as a
    spreadsheet writes it, unless it is a plain number.
    """
    starts = text.startswith(_FORMULA_STARTS)
    flat = " ".join(text.split())
    if _PLAIN_NUMBER.match(flat):
        return flat
    return f"'{flat}" if starts or flat.startswith(_FORMULA_STARTS) else flat


def as_tsv(fields: Sequence[Field], rows: Sequence[Any], decimal: str | None = None) -> str:
    """Write rows as tab-separated text with a header line.

    Parameters
    ----------
    fields : sequence of Field
        The columns.
    rows : sequence
        The rows.
    decimal : str, optional
        Decimal mark of the numbers; None: the one of this computer's settings, as its spreadsheet expects.
    """
    mark = decimal if decimal is not None else QLocale().decimalPoint()
    lines = ["\t".join(safe_cell(said(field.copied_as or field.header)) for field in fields)]
    lines += ["\t".join(_cell(field, row, mark) for field in fields) for row in rows]
    return "\n".join(lines) + "\n"


def _cell(field: Field, row: Any, mark: str) -> str:
    if field.number is None:
        return safe_cell(field.text(row))
    value = field.number(row)
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    return f"{value:.10g}".replace(".", mark) if isinstance(value, float) else str(value)


class DataTable(QTableView):
    """A table that is read and copied, by pointer or keys."""

    row_opened = Signal(object)
    """A row on which a person pressed Enter or clicked."""
    delete_pressed = Signal()
    """The delete key was pressed on the selected rows."""

    def __init__(self, fields: Sequence[Field], name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows_model = RowsModel(fields, self)
        proxy = QSortFilterProxyModel(self)
        proxy.setSourceModel(self.rows_model)
        proxy.setSortRole(NUMBER_ROLE)
        self.setModel(proxy)
        self.setAccessibleName(said(name))
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        triggers = QAbstractItemView.EditTrigger
        self._typed_over = next((i for i, each in enumerate(fields) if each.typed_over is not None), -1)
        self.setEditTriggers(
            triggers.NoEditTriggers
            if self._typed_over < 0
            else triggers.DoubleClicked | triggers.EditKeyPressed | triggers.AnyKeyPressed
        )
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setAlternatingRowColors(True)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 6)
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setStretchLastSection(True)
        header.setHighlightSections(False)
        header.setMinimumSectionSize(24)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        copy = QAction(said("Copy the selected rows"), self)
        copy.setShortcut(QKeySequence.StandardKey.Copy)
        copy.setShortcutContext(Qt.ShortcutContext.WidgetShortcut)
        copy.triggered.connect(self.copy_rows)
        copy_all = QAction(said("Copy the whole table"), self)
        copy_all.triggered.connect(self.copy_all)
        self.addActions([copy, copy_all])
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.ActionsContextMenu)
        self.clicked.connect(self._opened)
        self.activated.connect(self._opened)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Tell when the delete key is pressed."""
        if event.matches(QKeySequence.StandardKey.Delete) or event.key() == Qt.Key.Key_Backspace:
            self.delete_pressed.emit()
            return
        typing = bool(event.text().strip()) and event.text().isprintable()
        if self._typed_over >= 0 and (typing or event.key() == Qt.Key.Key_F2):
            self._turn_to_typed_over()
        super().keyPressEvent(event)

    def keyboardSearch(self, search: str) -> None:  # noqa: N802
        """Look for a row that begins so, but not where typing means a value."""
        if self._typed_over < 0:
            super().keyboardSearch(search)

    def take_typed(self) -> None:
        """Take what stands in a cell that is being typed over."""
        if self.state() == QAbstractItemView.State.EditingState:
            for editor in self.viewport().findChildren(QLineEdit):
                self.commitData(editor)

    def _turn_to_typed_over(self) -> None:
        """Let keys reach the cell of the row in hand that can be typed over, whichever was pressed."""
        chosen = self.selectionModel().selectedRows()
        at = self.currentIndex() if self.currentIndex().isValid() or not chosen else chosen[0]
        if at.isValid() and at.column() != self._typed_over:
            flags = QItemSelectionModel.SelectionFlag
            cell = at.siblingAtColumn(self._typed_over)
            self.selectionModel().setCurrentIndex(cell, flags.ClearAndSelect | flags.Rows)

    def set_rows(self, rows: Sequence[Any]) -> None:
        """Show other rows."""
        self.rows_model.set_rows(rows)

    def enable_sorting(self, column: int = 0) -> None:
        """Let a press on a header sort by its column; at first by this one."""
        self.setSortingEnabled(True)
        self.sortByColumn(column, Qt.SortOrder.AscendingOrder)

    def selected_rows(self) -> list[Any]:
        """Return the selected rows, from top to bottom."""
        indices = sorted(self.selectionModel().selectedRows(), key=lambda index: index.row())
        return [index.data(ROW_ROLE) for index in indices]

    def shown_rows(self) -> list[Any]:
        """Return all rows in the order in which they are shown."""
        return [self.model().index(i, 0).data(ROW_ROLE) for i in range(self.model().rowCount())]

    def select_where(self, wanted: Callable[[Any], bool]) -> None:
        """Select the first row that is wanted and bring it into sight; the current one stays if none is."""
        for i in range(self.model().rowCount()):
            index = self.model().index(i, 0)
            if wanted(index.data(ROW_ROLE)):
                flags = QItemSelectionModel.SelectionFlag
                self.selectionModel().setCurrentIndex(index, flags.ClearAndSelect | flags.Rows)
                self.scrollTo(index)
                return

    def copy_rows(self) -> None:
        """Copy the selected rows, or all where none is selected, as tab-separated text."""
        self._copy(self.selected_rows() or self.shown_rows())

    def copy_all(self) -> None:
        """Copy the whole table as tab-separated text."""
        self._copy(self.shown_rows())

    def hide_columns(self, *headers: str) -> None:
        """Keep columns out of sight; they are copied all the same."""
        for column, field in enumerate(self.rows_model.fields):
            if field.header in headers:
                self.setColumnHidden(column, True)

    def fit_height(self, most: int) -> None:
        """Be as high as the rows, up to so many of them: no gap stands below a short table."""
        rows = min(most, max(1, self.model().rowCount()))
        head = self.horizontalHeader().sizeHint().height()
        self.setFixedHeight(
            head + rows * self.verticalHeader().defaultSectionSize() + 2 * self.frameWidth() + 2
        )

    def fit_columns(self, widest: int = 220) -> None:
        """Make the columns as wide as their text, within a limit; the last one takes what is left."""
        header = self.horizontalHeader().fontMetrics()
        for column, field in enumerate(self.rows_model.fields):
            # Not the header's own hint: it keeps room for a sort mark in every column, and panels are narrow.
            hint = max(self.sizeHintForColumn(column), header.horizontalAdvance(said(field.header)) + 10)
            self.setColumnWidth(column, min(widest, hint))

    def _copy(self, rows: Sequence[Any]) -> None:
        QGuiApplication.clipboard().setText(as_tsv(self.rows_model.fields, rows))

    def _opened(self, index: Index) -> None:
        row = index.data(ROW_ROLE)
        if row is not None:
            self.row_opened.emit(row)
