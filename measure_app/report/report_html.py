"""The report as one HTML file that needs nothing beside it."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from html import escape as escaped

from measure_app.report.content import Content, Picture, TableOf, headings, observed_by, tidy
from measure_app.report.formula import as_mathml
from measure_app.words import ENGLISH, language, said

_KINDS = {"svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg"}
_STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.5 Georgia, "Times New Roman", serif; color: #20242b; background: #fff;
  max-width: 62rem; margin: 0 auto; padding: 1.5rem; }
h1 { font-size: 1.9rem; line-height: 1.2; margin: 0 0 .5rem; }
h2 { font-size: 1.25rem; margin: 2rem 0 .6rem; }
h3 { font-size: 1rem; margin: 1.2rem 0 .4rem; }
.keys, .pair { display: grid; gap: 1rem; }
.keys { grid-template-columns: repeat(auto-fit, minmax(min(100%, 17rem), 1fr)); }
.pair { gap: 1rem 1.6rem; grid-template-columns: repeat(auto-fit, minmax(min(100%, 24rem), 1fr)); }
.keys { margin: 1rem 0; padding: 0; }
.keys div { background: #f1f4f7; border-left: 3px solid #20242b; padding: .6rem .9rem; }
.keys dt { font-size: 1.25rem; font-weight: bold; }
.keys dd, figcaption, .note { color: #565d68; font-size: .88rem; margin: 0; }
figure { margin: 0; }
figure.wide { max-width: 48rem; margin: 0 auto; }
img { width: 100%; height: auto; display: block; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums; }
th { text-align: left; border-bottom: 2px solid #20242b; padding: .25rem .6rem; }
td { border-bottom: 1px solid #c9ced6; padding: .2rem .6rem; vertical-align: top; overflow-wrap: anywhere; }
td:first-child { min-width: 2.5rem; }
.settings td:first-child { min-width: 11rem; }
math { font-size: 1.1rem; text-align: left; margin: .4rem 0 1rem; }
li { margin: .2rem 0; }
.asked dt { font-weight: bold; margin-top: .6rem; }
.asked dd { margin: .1rem 0 0 1.2rem; }
footer { margin-top: 2.5rem; border-top: 1px solid #c9ced6; padding-top: .5rem; }
.step p { margin: 0; }
@media print { body { max-width: none; padding: 0; font: 9.5pt/1.35 Georgia, "Times New Roman", serif; }
  h1 { font-size: 17pt; } h2 { font-size: 12pt; margin: 1rem 0 .4rem; }
  h2, h3, .asked dt { break-after: avoid; }
  .keys { grid-template-columns: repeat(3, 1fr); } .pair { grid-template-columns: 1fr 1fr; }
  .keys div { print-color-adjust: exact; } .keys dt { font-size: 11pt; } figure.wide { max-width: 125mm; }
  figure, tr, .step { break-inside: avoid; } .scroll { overflow: visible; } th, td { padding: .06rem .45rem; }
  table { font-size: 8.5pt; }
  .long { columns: 2; column-gap: 6mm; } .long table { font-size: 6.6pt; } .long td { white-space: nowrap; } }
"""
# Nothing is loaded from anywhere and no script runs, whatever a title may hold.
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def report_html(content: Content) -> bytes:
    """Write the report as one HTML file.

    Parameters
    ----------
    content : Content
        What it says.

    Returns
    -------
    bytes
        UTF-8; pictures are within it, formulas are MathML, and all text is escaped.
    """
    parts = [
        f"<header><h1>{escape(content.title)}</h1>",
        f"<p>{escape(observed_by(content))}{escape(content.lead)}</p>",
        _keys(content),
        "</header><main>",
        *_pictures(content),
        *_graphs(content),
        *_algebra(content),
        *_findings(content),
        *_words(content),
        *_tables(content),
        f'</main><footer class="note">{escape(content.program)}</footer>',
    ]
    page = (
        f'<!DOCTYPE html>\n<html lang="{_language()}"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(content.title)}</title><style>{_STYLE}</style></head>\n<body>\n"
    )
    return (page + "\n".join(part for part in parts if part) + "\n</body></html>\n").encode("utf-8")


def escape(words: str) -> str:
    """Return words as they stand in a page."""
    return escaped(tidy(words))


def _language() -> str:
    return "en-GB" if language() == ENGLISH else language()


def _heading(name: str, level: str = "h2") -> str:
    return f"<{level}>{escape(headings()[name])}</{level}>"


def _keys(content: Content) -> str:
    if not content.keys:
        return ""
    inside = "".join(
        f"<div><dt>{escape(key.symbol)} = {escape(key.value)}</dt><dd>{escape(key.says)}</dd></div>"
        for key in content.keys
    )
    return f'<dl class="keys">{inside}</dl>'


def _picture(picture: Picture, kind: str = "") -> str:
    media = _KINDS[picture.name.rpartition(".")[2]]
    data = base64.b64encode(picture.data).decode("ascii")
    look = f' class="{kind}"' if kind else ""
    return (
        f'<figure{look}><img alt="{escape(picture.alt)}" src="data:{media};base64,{data}">'
        f"<figcaption>{escape(picture.caption)}</figcaption></figure>"
    )


def _pictures(content: Content) -> Iterable[str]:
    if content.setup is not None:
        yield _heading("setup", "h2")
        yield _picture(content.setup, "wide")
    if content.strips:
        yield _heading("strips", "h2")
        yield f'<div class="pair">{"".join(_picture(each) for each in content.strips)}</div>'


def _graphs(content: Content) -> Iterable[str]:
    if content.graphs:
        yield _heading("graphs", "h2")
        yield f'<div class="pair">{"".join(_picture(each) for each in content.graphs)}</div>'


def _findings(content: Content) -> Iterable[str]:
    yield _heading("findings", "h2")
    yield _table(content.findings) if content.findings.rows else f"<p>{escape(headings()['nothing'])}</p>"
    if content.findings.note:
        yield f'<p class="note">{escape(content.findings.note)}</p>'
    if content.borrowed:
        yield f'<p class="note">{escape(content.borrowed)}</p>'
    if content.news:
        yield _heading("news", "h3")
        yield _list(content.news)
    if content.undetermined:
        yield _heading("undetermined", "h3")
        yield _list(content.undetermined)


def _algebra(content: Content) -> Iterable[str]:
    if content.algebra:
        steps = (
            f'<div class="step"><p>{escape(step.says)}</p>{as_mathml(step.formula)}</div>'
            for step in content.algebra
        )
        yield f'{_heading("algebra")}<div class="pair">{"".join(steps)}</div>'


def _words(content: Content) -> Iterable[str]:
    if content.corrections_that_count:
        yield _heading("corrections_that_count", "h2")
        yield _list(content.corrections_that_count)
    yield _heading("doubts", "h2")
    if content.doubts:
        items = (
            f"<li><strong>{escape(about)}</strong>: {escape(says)}</li>" for about, says in content.doubts
        )
        yield f"<ul>{''.join(items)}</ul>"
    else:
        yield f"<p>{escape(headings()['no_doubts'])}</p>"
    if content.remarks:
        yield _heading("remarks", "h2")
        items = (
            f"<li><strong>{escape(about)}</strong>: {escape(says)}</li>" for about, says in content.remarks
        )
        yield f"<ul>{''.join(items)}</ul>"
    if content.advice:
        yield _heading("advice", "h2")
    for advice in content.advice:
        yield f"<h3>{escape(said('For {about}', about=advice.about))}</h3>{_table(advice.table)}"
        yield f'<p class="note">{escape(advice.table.note)}</p>'
    if content.questions:
        yield _heading("questions")
        empty = f"<em>{escape(headings()['not_answered'])}</em>"
        pairs = (
            f"<dt>{escape(asked)}</dt><dd>{_lines(answer) if answer else empty}</dd>"
            for asked, answer in content.questions
        )
        yield f'<dl class="asked">{"".join(pairs)}</dl>'
    if content.notes:
        yield f"{_heading('notes')}<p>{_lines(content.notes)}</p>"


def _tables(content: Content) -> Iterable[str]:
    if content.corrections:
        yield _heading("corrections", "h2")
        yield _list(content.corrections)
    yield _heading("settings", "h2")
    yield f'<p class="note">{escape(content.settings.note)}</p>'
    yield f'<div class="settings">{_table(content.settings)}</div>'
    yield _heading("cautions", "h2")
    yield _list(content.cautions)
    yield _heading("readings", "h2")
    yield f'<p class="note">{escape(content.readings.note)}</p>'
    yield f'<div class="long">{_table(content.readings)}</div>'


def _lines(lines: Iterable[str]) -> str:
    return "<br>".join(escape(line) for line in lines)


def _list(items: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(item)}</li>' for item in items)}</ul>"


def _table(table: TableOf) -> str:
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in table.head)
    rows = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in table.rows)
    return f'<div class="scroll"><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'
