"""Whatever a person reads in a result is said: nothing is shown that no language could say otherwise."""

from __future__ import annotations

import dataclasses
import html
import io
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec
import numpy as np
import openpyxl
import pytest

from analysis import Conditions
from measure_app import words
from measure_app.clip import open_clip
from measure_app.outcome import measure
from measure_app.report import Results, results_of, results_of_table, summary, workbook_cells
from measure_app.report.content import Content, content_of
from measure_app.report.formula import Fraction, Node, Number, Root, Square, as_speech
from measure_app.report.line_chart import draw_line_chart
from measure_app.report.report_html import report_html
from measure_app.report.report_pdf import report_pdf
from measure_app.report.strip_chart import draw_strip_chart
from measure_app.report.style import our_style, png_of
from measure_app.report.workbook import Variant, workbook_xlsx
from measure_app.runfile import load_run
from measure_app.table import decode_table
from tests.bracketed import bare
from tests.measure_app.report.conftest import BENCH
from tests.measure_app.report.recalculated import by_libreoffice

CATALOGUES = Path(words.__file__).parent / "languages"
# Signs of quantities, units, files, cells of the workbook by name, and what the people of the run named.
_NOT_SAID = re.compile(
    r"Cv₀?|Cd|Cc|mean Cv|d[vx]²?/d√?h|px|mm²?|cm²?|m/s²?|m²/s²|√m/s|√m|SHA-256|[a-z_]+\.(csv|json|mp4)|figures/"
    r"|mp4/mov|h264|[0-9a-f]{64}|Clepsydra|upright steel rule|tape under the landing shelf|Workshop bench: [^:]*hole"
    r"|g_assumed|flight_time|hole_diameter|container_area|k_drain|root_h0|t_start|drop|launch_angle"
    r"|(v2?|x2|drain)_(slope|intercept)(_origin)?|u\([hx]\)|results/out|workbook[a-z-]*\.xlsx"
)


def a_table() -> Results:
    """Twelve pairs with a clock, a column too many, and a row that is not whole."""
    rng = np.random.default_rng(20)
    times = np.arange(12) * 1.5
    heads = (np.sqrt(0.2) - 0.012 * times) ** 2
    throws = 2 * 0.97 * np.sqrt(heads * 0.3) + rng.normal(0, 0.001, 12)
    rows = "".join(f"{t},{h},{x},1\n" for t, h, x in zip(times, heads, throws, strict=True))
    table = decode_table(f"time_s,head_m,throw_m,px\n{rows}30,,,\n".encode(), "t.csv")
    at = Conditions(
        gravity_m_s2=9.81,
        orifice_diameter_m=0.005,
        container_area_m2=2.3e-3,
        launch_angle_deg=1.0,
        launch_angle_u_deg=0.5,
    )
    return results_of_table(table, at, 0.3, 0.001)


def a_film() -> tuple[Results, np.ndarray]:
    run = load_run(BENCH)
    run = msgspec.structs.replace(run, clip=msgspec.structs.replace(run.clip, stop_frame=30))
    with open_clip(BENCH.with_name("bench.mp4")) as clip:
        return results_of(measure(run, clip)), clip.frame(0).bgr()


def strings(tree: object) -> Iterator[str]:
    if isinstance(tree, str):
        yield tree
    elif isinstance(tree, dict):
        for value in tree.values():
            yield from strings(value)
    elif isinstance(tree, list | tuple):
        for value in tree:
            yield from strings(value)


def of_content(content: Content) -> Iterator[str]:
    tree = dataclasses.asdict(content)
    for part in (*tree["strips"], *tree["graphs"], tree["setup"] or {}):
        part.pop("name", None)
    tree.pop("algebra")
    yield from (step.says for step in content.algebra)
    yield from strings(tree)


def of_page(page: bytes) -> Iterator[str]:
    text = re.sub(r"<style>.*?</style>|<math.*?</math>", "", page.decode(), flags=re.DOTALL)
    yield from re.findall(r'alttext="([^"]*)"', page.decode())
    yield from (html.unescape(part) for part in re.sub(r"<[^>]*>", "\n", text).split("\n"))


def of_workbook(data: bytes) -> Iterator[str]:
    for sheet in openpyxl.load_workbook(io.BytesIO(data)):
        yield sheet.title
        for row in sheet.iter_rows(values_only=True):
            yield from (cell for cell in row if isinstance(cell, str) and not cell.startswith("="))


def of_figures(results: Results) -> Iterator[str]:
    from matplotlib.text import Text

    with our_style():
        figures = [draw_strip_chart(chart) for chart in results.strips]
        figures += [draw_line_chart(chart) for chart in results.lines]
        for figure in figures:
            png_of(figure)
            yield from (re.sub(r"\$[^$]*\$", "", each.get_text()) for each in figure.findobj(Text))


def everything(results: Results, picture: np.ndarray | None) -> Iterator[str]:
    content = content_of(results, picture)
    yield from of_content(content)
    yield from of_page(report_html(content))
    yield from of_figures(results)
    for variant in Variant:
        yield from of_workbook(workbook_xlsx(results, variant))
    yield " ".join(summary(results, "results/out", ("readings.csv", "figures/a.png")).split())


@pytest.mark.usefixtures("bracketed")
@pytest.mark.parametrize("kind", ["table", "film"])
def test_all_that_is_shown_is_said(kind: str) -> None:
    results, picture = (a_table(), None) if kind == "table" else a_film()
    silent = {text: found for text in everything(results, picture) if (found := bare(text, _NOT_SAID))}
    assert not silent, "\n".join(f"{text!r}: {found}" for text, found in silent.items())


@pytest.mark.usefixtures("german")
def test_a_report_in_german() -> None:
    results, picture = a_film()
    content = content_of(results, picture)
    page = report_html(content).decode()
    assert page.startswith('<!DOCTYPE html>\n<html lang="de">')
    assert "<h2>Was zuerst zu verbessern ist</h2>" in page
    assert report_pdf(content).startswith(b"%PDF")
    for table in (content.findings, content.readings):
        cells = [cell for row in table.rows for cell in row]
        assert any(re.search(r"\d,\d+ ± \d,\d", cell) for cell in cells)
        assert not [cell for cell in cells if re.search(r"\d\.\d", cell)]
    ticks = [text for text in of_figures(results) if re.fullmatch(r"−?\d+[.,]\d+", text)]
    assert ticks
    assert not [tick for tick in ticks if "." in tick]
    assert all("." not in number.shown for step in content.algebra for number in numbers_of(step.formula))
    assert "Wurzel aus" in as_speech(content.algebra[0].formula)


def numbers_of(nodes: Sequence[Node]) -> Iterator[Number]:
    for node in nodes:
        match node:
            case Number():
                yield node
            case Root() | Square():
                yield from numbers_of(node.of)
            case Fraction():
                yield from numbers_of((*node.above, *node.below))


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize("variant", list(Variant))
def test_a_workbook_in_german_holds_numbers_and_formulas_that_work(variant: Variant, tmp_path: Path) -> None:
    results = a_table()
    data = workbook_xlsx(results, variant)
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert {"Eingaben", "Ablesungen", "Rechnung", "Geraden"} <= set(book.sheetnames)
    assert book["Ablesungen"]["C5"].value == pytest.approx(100 * results.rows[0].head_m)
    assert re.fullmatch(r"=Ablesungen!C\d+", book["Rechnung"]["C5"].value)
    assert all(name.attr_text.partition("!")[0] in book.sheetnames for name in book.defined_names.values())
    if variant is not Variant.COMPLETE:
        return
    calculated = by_libreoffice(data, tmp_path)
    if calculated is None:
        pytest.skip("LibreOffice is not installed")
    shown = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    for (sheet, cell), value in calculated.items():
        there = shown[sheet][cell].value
        if isinstance(there, str):  # a spreadsheet writes numbers into words as its own language does
            assert str(value).replace(".", ",") == there.replace(".", ","), (sheet, cell)
        else:
            assert value == pytest.approx(there, rel=1e-9, abs=1e-12), (sheet, cell)


def test_a_sheet_name_of_any_language_is_safe_in_a_formula(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, written in (("Lectures d'eau", "'Lectures d''eau'"), ("R", "'R'"), ("Lignes", "Lignes")):
        monkeypatch.setattr(workbook_cells, "said", lambda _name, name=name: name)
        assert workbook_cells.in_formula("Readings") == written


@pytest.mark.usefixtures("german")
def test_names_of_sheets_can_be_names_of_sheets() -> None:
    """31 signs at most, none of them a bracket, colon, star, question mark or slash (ISO/IEC 29500, 18.2.19), and no two alike."""
    tabs = [workbook_cells.tab(name) for name in workbook_cells.SHEETS]
    assert len({tab.lower() for tab in tabs}) == len(tabs)
    assert all(len(tab) <= 31 and not re.search(r"[\[\]:*?/\\]", tab) for tab in tabs)
