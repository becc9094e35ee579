"""Two independent calculators of a workbook's formulas: LibreOffice, and a small one of our own."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
from openpyxl.formula import Tokenizer
from openpyxl.utils import range_boundaries

PROFILE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>
"""
"""LibreOffice's own setting "recalculation on file load: always"."""


def without_values(data: bytes) -> bytes:
    """Take the stored value out of every formula cell, so that whatever is read was calculated."""
    out = io.BytesIO()
    taken = 0
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name.startswith("xl/worksheets/sheet"):
                content, n = re.subn(rb"(</f>)<v>[^<]*</v>", rb"\1", content)
                taken += n
            new.writestr(name, content)
    assert taken > 0
    return out.getvalue()


def by_libreoffice(data: bytes, folder: Path) -> dict[tuple[str, str], object] | None:
    """Recalculate every formula with LibreOffice; None where it is not installed."""
    office = shutil.which("soffice") or shutil.which("libreoffice")
    if office is None:
        return None
    profile = folder / "profile"
    (profile / "user").mkdir(parents=True)
    (profile / "user" / "registrymodifications.xcu").write_text(PROFILE)
    (folder / "in").mkdir()
    (folder / "in" / "book.xlsx").write_bytes(without_values(data))
    subprocess.run(
        [office, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML",
         "--outdir", str(folder), str(folder / "in" / "book.xlsx")],
        check=True, capture_output=True, timeout=170,
    )  # fmt: skip
    done = openpyxl.load_workbook(folder / "book.xlsx", data_only=True)
    return {key: done[key[0]][key[1]].value for key in formulas(data)}


def formulas(data: bytes) -> dict[tuple[str, str], str]:
    """Give every formula of a workbook by sheet and cell."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    return {
        (sheet.title, cell.coordinate): cell.value
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }


def stored(data: bytes) -> dict[tuple[str, str], object]:
    """Give the value stored beside every formula."""
    book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    return {key: book[key[0]][key[1]].value for key in formulas(data)}


def by_hand(data: bytes) -> dict[tuple[str, str], object]:
    """Calculate every formula with numpy, from the cells' text alone."""
    return _Calculator(data).everything()


class _Calculator:
    """Evaluates the part of the spreadsheet language that the workbook uses."""

    def __init__(self, data: bytes) -> None:
        self.book = openpyxl.load_workbook(io.BytesIO(data))
        self.formulas = formulas(data)
        self.names = {name: each.attr_text for name, each in self.book.defined_names.items()}
        self.cells: dict[tuple[str, str], object] = {}
        self.ranges: dict[str, np.ndarray] = {}

    def everything(self) -> dict[tuple[str, str], object]:
        return {key: self.cell(*key) for key in self.formulas}

    def cell(self, sheet: str, address: str) -> object:
        key = (sheet, address)
        if key not in self.cells:
            value = self.book[sheet][address].value
            self.cells[key] = self.value(sheet, self.formulas[key]) if key in self.formulas else value
        return self.cells[key]

    def value(self, sheet: str, formula: str) -> object:
        words = []
        for token in Tokenizer(formula).items:
            if token.type == "OPERAND" and token.subtype == "RANGE":
                words.append(f"at({sheet!r}, {token.value!r})")
            elif token.type == "FUNC" and token.subtype == "OPEN":
                words.append(f"f_{token.value[:-1].lower()}(")
            elif token.type == "OPERAND" and token.subtype == "LOGICAL":
                words.append(token.value.title())
            elif token.type == "OPERATOR-INFIX":
                words.append({"^": "**", "=": "=="}.get(token.value, token.value))
            else:
                words.append(token.value)
        return eval("".join(words), {"__builtins__": {}}, {"at": self.at, **FUNCTIONS})  # noqa: S307  our own formulas

    def at(self, sheet: str, where: str) -> object:
        where = self.names.get(where, where)
        if "!" in where:
            sheet, where = where.split("!")
        where = where.replace("$", "")
        if ":" not in where:
            return self.cell(sheet, where)
        if f"{sheet}!{where}" not in self.ranges:
            c1, r1, c2, r2 = range_boundaries(where)
            assert c1 == c2
            letters = where.split(":")[0].rstrip("0123456789")
            column = [self.cell(sheet, f"{letters}{row}") for row in range(r1, r2 + 1)]
            self.ranges[f"{sheet}!{where}"] = np.array(column, dtype=float)
        return self.ranges[f"{sheet}!{where}"]


def _linest(y: np.ndarray, x: np.ndarray, const: bool, stats: bool) -> np.ndarray:
    assert stats
    design = np.column_stack([x, np.ones_like(x)]) if const else x[:, None]
    q, r = np.linalg.qr(design)  # another road than the engine's
    b = np.linalg.solve(r, q.T @ y)
    rest = y - design @ b
    dof = len(x) - design.shape[1]
    variance = rest @ rest / dof
    errors = np.sqrt(np.diag(np.linalg.inv(r) @ np.linalg.inv(r).T) * variance)
    centre = y.mean() if const else 0.0
    total = np.sum((y - centre) ** 2)
    pad = [] if const else [0.0]
    return np.array(
        [
            [*b, *pad],
            [*errors, *pad],
            [1 - rest @ rest / total, np.sqrt(variance)],
            [np.nan, dof],
            [total, rest @ rest],
        ]
    )


FUNCTIONS = {
    "f_sqrt": np.sqrt,
    "f_cos": np.cos,
    "f_sin": np.sin,
    "f_radians": np.radians,
    "f_pi": lambda: np.pi,
    "f_average": np.mean,
    "f_count": len,
    "f_slope": lambda y, x: np.cov(x, y)[0, 1] / np.var(x, ddof=1),
    "f_intercept": lambda y, x: y.mean() - x.mean() * np.cov(x, y)[0, 1] / np.var(x, ddof=1),
    "f_rsq": lambda y, x: np.corrcoef(x, y)[0, 1] ** 2,
    "f_sumproduct": lambda x, y: float(np.dot(x, y)),
    "f_sumsq": lambda x: float(np.dot(x, x)),
    "f_linest": _linest,
    "f_index": lambda array, row, column: array[row - 1, column - 1],
    "f_isnumber": lambda value: isinstance(value, (int, float)),
    "f_abs": abs,
    "f_round": lambda value, places: round(float(value), places),
    "f_concatenate": lambda *parts: "".join(
        part if isinstance(part, str) else f"{part:.15g}" for part in parts
    ),
    "f_if": lambda test, yes, no: yes if test else no,
}
