"""Tables: the model keeps Qt's rules, and what is copied is no formula."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtGui import QGuiApplication
from pytestqt.qtbot import QtBot

from measure_app.gui.panels.tables import DataTable, Field, RowsModel, as_tsv, safe_cell

FIELDS = (
    Field("n", lambda r: str(r[0]), lambda r: r[0]),
    Field("words", lambda r: r[1]),
    Field("x / m", lambda r: f"{r[2]:.2f}", lambda r: r[2]),
)
ROWS = tuple((i, f"row {i}", i / 3) for i in range(6))
DANGEROUS = ("=1+1", "+1+cmd", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "|calc", " =1", "%0A=1")


def test_the_model_keeps_the_rules_of_models(qtmodeltester: Any) -> None:
    model = RowsModel(FIELDS)
    qtmodeltester.check(model)
    model.set_rows(ROWS)
    qtmodeltester.check(model)
    model.set_rows((*ROWS[:2], (9, "new", 0.5), *ROWS[3:5]))
    qtmodeltester.check(model)
    assert model.rows == (*ROWS[:2], (9, "new", 0.5), *ROWS[3:5])


@given(st.lists(st.integers(0, 5), max_size=8), st.lists(st.integers(0, 5), max_size=8))
def test_rows_become_the_new_rows_by_inserts_removals_and_changes(old: list[int], new: list[int]) -> None:
    model = RowsModel(FIELDS)
    model.set_rows([(i, str(i), 0.0) for i in old])
    count = model.rowCount()
    model.rowsInserted.connect(lambda _, first, last: tally.append(last - first + 1))
    model.rowsRemoved.connect(lambda _, first, last: tally.append(first - last - 1))
    tally: list[int] = []
    model.set_rows([(i, str(i), 0.0) for i in new])
    assert [row[0] for row in model.rows] == new
    assert count + sum(tally) == len(new) == model.rowCount()


def test_a_selection_outlives_a_row_that_is_added_before_it(qtbot: QtBot) -> None:
    table = DataTable(FIELDS, "Rows")
    qtbot.addWidget(table)
    table.set_rows(ROWS[1:])
    table.select_where(lambda row: row[0] == 4)
    table.set_rows(ROWS)
    assert table.selected_rows() == [ROWS[4]]


@pytest.mark.parametrize("text", DANGEROUS)
def test_text_that_a_spreadsheet_would_run_is_made_text(text: str) -> None:
    assert safe_cell(text).startswith("'")


@pytest.mark.parametrize("text", ["-3", "-3.5", "+2,5", "-1e-5"])
def test_plain_numbers_stay_numbers(text: str) -> None:
    assert safe_cell(text) == text


@given(st.text(max_size=30))
def test_no_text_leaves_its_cell(text: str) -> None:
    cell = safe_cell(text)
    assert not set(cell) & set("\t\r\n")
    assert not cell.startswith(("=", "@"))


def test_tab_separated_text_is_read_back_as_it_was_with_the_decimal_mark_wanted() -> None:
    rows = [(1, "=1+1", -0.125), (2, "a\tb", 2.5)]
    read = list(csv.reader(io.StringIO(as_tsv(FIELDS, rows, decimal=",")), delimiter="\t"))
    assert read == [["n", "words", "x / m"], ["1", "'=1+1", "-0,125"], ["2", "a b", "2,5"]]


def test_copying_takes_the_selected_rows_or_else_all(qtbot: QtBot) -> None:
    table = DataTable(FIELDS, "Rows")
    qtbot.addWidget(table)
    table.set_rows(ROWS)
    table.copy_rows()
    assert QGuiApplication.clipboard().text().count("\n") == 1 + len(ROWS)
    table.select_where(lambda row: row[0] == 2)
    table.copy_rows()
    assert QGuiApplication.clipboard().text().splitlines()[1].startswith("2\trow 2\t")


def test_a_column_sorts_by_number_not_by_digits(qtbot: QtBot) -> None:
    table = DataTable(FIELDS, "Rows")
    qtbot.addWidget(table)
    table.enable_sorting(0)
    table.set_rows([(10, "ten", 0.0), (9, "nine", 0.0), (100, "hundred", 0.0)])
    assert [row[0] for row in table.shown_rows()] == [9, 10, 100]
