"""The typeset report, read by outside readers: text, tags, titles, fonts."""

import ctypes
import gc
import io
import shutil
import subprocess
from dataclasses import replace

import pypdf
import pytest

from analysis import Conditions
from measure_app.report import results_of, results_of_table
from measure_app.report.content import Content, TableOf, content_of
from measure_app.report.report_pdf import report_pdf
from measure_app.table import decode_table


@pytest.fixture(scope="module")
def content(bench_outcome) -> Content:
    from measure_app.clip import open_clip

    with open_clip(bench_outcome.info.path) as clip:
        picture = clip.frame(0).bgr()
    return content_of(results_of(bench_outcome), picture)


@pytest.fixture(scope="module")
def pdf(content) -> bytes:
    return report_pdf(content)


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())


def allocated_mib() -> float | None:
    """MiB that malloc has given out and not had back, in all threads; None where that cannot be asked."""

    class Told(ctypes.Structure):
        # Of its ten counts the fifth is mapped beside the arenas, the eighth in use within them.
        _fields_ = [(f"n{place}", ctypes.c_size_t) for place in range(10)]

    ask = getattr(ctypes.CDLL(None), "mallinfo2", None)
    if ask is None:
        return None
    ask.restype = Told
    told = ask()
    return (told.n4 + told.n7) / 2**20


def tagged(pdf: bytes) -> list:
    """Every element of the structure tree."""
    found, waiting = [], [pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]]
    while waiting:
        node = waiting.pop().get_object()
        if not isinstance(node, dict):
            continue
        found.append(node)
        inside = node.get("/K", [])
        inside = inside.get_object() if hasattr(inside, "get_object") else inside
        waiting += inside if isinstance(inside, list) else [inside]
        waiting = [each for each in waiting if not isinstance(each, int)]
    return found


def test_it_is_titled_tagged_and_has_a_language(pdf, content):
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert reader.metadata.title == content.title
    assert root["/Lang"] == "en-GB"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid:part>1<" in root["/Metadata"].get_object().get_data().replace(b" ", b"")


def test_pictures_and_formulas_have_alternative_texts_and_tables_have_headers(pdf, content):
    elements = tagged(pdf)
    kinds = [element.get("/S") for element in elements]
    alts = {str(element["/Alt"]) for element in elements if "/Alt" in element}
    pictures = [content.setup, *content.strips, *content.graphs]
    assert len(pictures) == 7
    assert {picture.alt for picture in pictures} <= alts
    assert sum(kind == "/Formula" for kind in kinds) == len(content.algebra)
    assert kinds.count("/Table") == 3 + len(content.advice)
    assert kinds.count("/TH") >= 4 + 5 + 2
    assert {"/H1", "/H2", "/L"} <= set(kinds)


def test_it_says_all_that_the_content_holds(pdf, content):
    words = text_of(pdf).replace(" ", "")
    for row in (*content.findings.rows, *content.readings.rows, *content.settings.rows):
        for cell in row:
            assert cell.replace(" ", "") in words, cell
    for said in (
        *content.corrections,
        *content.cautions,
        content.borrowed,
        *(step.says for step in content.algebra),
    ):
        assert said.replace(" ", "") in words, said
    for about, says in (*content.doubts, *content.remarks):
        assert f"{about}:{says}".replace(" ", "") in words


def test_two_pages_of_substance_come_before_the_tables(pdf):
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    order = (
        "The set-up", "What was read", "Straight lines", "The algebra", "Findings", "Why it may be off",
        "What to improve first", "Every correction", "Settings", "Cautions", "Readings",
    )  # fmt: skip
    whole = "\n".join(pages)
    places = [whole.index(f"\n{title}") for title in order]
    assert places == sorted(places)
    assert "Straight lines" in pages[0]
    assert "The algebra" in pages[1]
    assert "What to improve first" in pages[1]
    assert "Settings" not in pages[0] + pages[1]
    assert len(pages) <= 5


def test_fonts_are_within_and_only_those_of_the_typesetter(pdf):
    names = set()
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        for font in page["/Resources"].get("/Font", {}).values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            names.add(str(inner["/BaseFont"]).split("+")[-1])
            descriptor = inner["/FontDescriptor"].get_object()
            assert {"/FontFile3", "/FontFile2"} & set(descriptor)
    assert names
    assert all(name.startswith(("LibertinusSerif", "NewCM")) for name in names), names


def test_the_same_content_gives_the_same_bytes_and_no_paths(pdf, content):
    assert report_pdf(content) == pdf
    assert b"/tmp/" not in pdf
    assert b"clepsydra-" not in pdf


def test_text_from_outside_is_data_not_markup(content):
    nasty = '#panic("x") *bold* _it_ $x$ <label> @ref `raw` // c \\ "q" #include "/etc/passwd" = H'
    broken = replace(
        content, title=nasty, observer=nasty, doubts=((nasty, nasty),), settings=TableOf(("a", "b"), ((nasty, nasty),)), corrections=(nasty,),
        setup=None, strips=(), graphs=(),
    )  # fmt: skip
    pdf = report_pdf(broken)
    words = text_of(pdf)
    assert words.replace(" ", "").count(nasty.replace(" ", "")) >= 6
    assert pypdf.PdfReader(io.BytesIO(pdf)).metadata.title == nasty


@pytest.mark.parametrize(
    "title", ["", "Ж水🙂é", "x" * 2000, "\x00\x07\ud800"], ids=["none", "signs", "long", "control"]
)
def test_odd_titles_are_typeset(content, title):
    bare = replace(content, title=title or "Draining container", setup=None, strips=(), graphs=())
    assert tagged(report_pdf(bare))


@pytest.mark.parametrize(
    "text", ["head_m\n0.1\n", "time_s,head_m\n0,0.2\n1,0.19\n2,0.18\n", "head_m,throw_m\n0.1,0.3\n"]
)
def test_little_data_is_typeset(text):
    results = results_of_table(decode_table(text.encode(), "t.csv"), Conditions(), 0.3)
    pdf = report_pdf(content_of(results))
    assert "for want of" in text_of(pdf)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="a second outside reader, beside pypdf")
def test_poppler_reads_it_too(pdf, content, tmp_path):
    (tmp_path / "r.pdf").write_bytes(pdf)
    said = subprocess.run(
        [shutil.which("pdftotext"), "-layout", tmp_path / "r.pdf", "-"],
        check=True,
        capture_output=True,
        text=True,
    )
    assert content.title in said.stdout
    assert "Why it may be off" in said.stdout
    assert content.keys[0].value in said.stdout


def test_the_typesetter_keeps_nothing_of_a_report(content):
    # Its memory is malloc's, so that glibc can tell; elsewhere the same code runs.
    allocated = allocated_mib()
    if allocated is None:
        pytest.skip("this C library does not say what is allocated")
    levels = []
    for number in range(3):
        rows = tuple((*row[:-1], f"{row[-1]} {number}") for row in content.readings.rows)
        report_pdf(replace(content, title=f"Run {number}", readings=replace(content.readings, rows=rows)))
        gc.collect()
        levels.append(allocated_mib())
    assert levels[-1] - levels[0] < 5.0
