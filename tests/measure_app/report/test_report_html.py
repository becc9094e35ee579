"""The report as one page: whole in itself, accessible, and safe whatever a title holds."""

import io
from dataclasses import replace
from html.parser import HTMLParser

import pypdf
import pytest

from measure_app.extras import Question, SetNotes, SetQuestions
from measure_app.report import results_of
from measure_app.report.content import Content, TableOf, content_of
from measure_app.report.report_html import report_html
from measure_app.report.report_pdf import report_pdf

VOID = {"br", "meta", "img", "mspace"}


class Page(HTMLParser):
    """Collects text, attributes and whether every element is closed in order."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict]] = []
        self.words: list[str] = []
        self.feed(page.decode("utf-8"))

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def content(bench_outcome) -> Content:
    return content_of(results_of(bench_outcome))


def test_it_is_whole_well_formed_and_says_all(content):
    page = Page(report_html(content))
    assert page.open == []
    words = "".join(page.words)
    for table in (
        content.findings,
        content.readings,
        content.settings,
        *(each.table for each in content.advice),
    ):
        for row in table.rows:
            for cell in row:
                assert cell in words
    for said in (*content.corrections, *content.cautions, *(step.says for step in content.algebra)):
        assert said in words
    assert sum(tag == "math" for tag, _ in page.seen) == len(content.algebra)


def test_nothing_is_fetched_and_pictures_have_alternative_texts(content):
    page = Page(report_html(content))
    pictures = [attributes for tag, attributes in page.seen if tag == "img"]
    assert len(pictures) == len(content.strips) + len(content.graphs) == 6
    assert all(
        each["src"].startswith(("data:image/svg+xml;base64,", "data:image/png;base64,")) for each in pictures
    )
    assert all(each["alt"] for each in pictures)
    assert not [tag for tag, _ in page.seen if tag in {"script", "link", "iframe", "object"}]
    assert not [each for _, each in page.seen for name in ("href", "srcset", "background") if name in each]
    assert ("html", {"lang": "en-GB"}) in page.seen
    policy = next(
        each["content"] for tag, each in page.seen if each.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")


def test_text_from_outside_is_text(content):
    nasty = "</title><script>alert(1)</script><img src=x onerror=alert(1)>\" ' &amp;"
    broken = replace(
        content,
        title=nasty,
        observer=nasty,
        doubts=((nasty, nasty),),
        settings=TableOf(("a", "b"), ((nasty, nasty),)),
    )
    page = Page(report_html(broken))
    assert not [tag for tag, _ in page.seen if tag == "script"]
    assert not [each for _, each in page.seen if "onerror" in each]
    assert "".join(page.words).count(nasty) == 7


def test_signs_that_no_page_can_show_are_left_out(content):
    page = report_html(replace(content, title="a\x00b\ud800c")).decode("utf-8")
    assert "<h1>a b c</h1>" in page


def test_the_same_content_gives_the_same_bytes(content):
    assert report_html(content) == report_html(content)


def test_questions_answers_and_notes_are_printed(bench_outcome):
    asked = (
        Question("Why does the jet land nearer?", "The head falls.\n<b>Slower</b> water."),
        Question("And Cv?"),
    )
    run = SetNotes("A calm day.\nTwo lamps.").apply(SetQuestions(asked).apply(bench_outcome.run))
    content = content_of(results_of(replace(bench_outcome, run=run)))
    assert content.questions[0] == (asked[0].question, ("The head falls.", "<b>Slower</b> water."))
    assert content.notes == ("A calm day.", "Two lamps.")
    page = Page(report_html(content))
    words = " ".join(page.words)
    for said in (
        "Why does the jet land nearer?",
        "<b>Slower</b> water.",
        "not answered",
        "A calm day.",
        "Two lamps.",
    ):
        assert said in words
    pdf = " ".join(
        " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(report_pdf(content))).pages).split()
    )
    for said in (
        "Questions and answers",
        "The head falls. <b>Slower</b> water.",
        "not answered",
        "Two lamps.",
    ):
        assert said in pdf
