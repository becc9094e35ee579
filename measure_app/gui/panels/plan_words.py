"""A forecast as a page of text. No Qt here."""

from __future__ import annotations

from html import escape

from analysis import Forecast, Proposal
from measure_app.planning import Said, paragraphs, title_of
from measure_app.words import said


def plan_html(forecast: Forecast, proposal: Proposal | None, faint: str) -> str:
    """
    Write a forecast as a page.

    Parameters
    ----------
    forecast : Forecast
    proposal : Proposal, optional
        Shown before everything else: it is what was asked for last.
    faint : str
        Colour of the tables' heads, which are told from their rows by place and weight too.

    Returns
    -------
    str
        Rich text as Qt shows it.
    """
    title = title_of(forecast)
    parts = list(paragraphs(forecast, proposal))
    if proposal is not None:
        first = (said("In short"), said("A better hole and drop"))
        parts.sort(key=lambda part: part.heading not in first)
    head = f"<h3>{escape(title[:1].upper() + title[1:])}</h3>"
    return head + "".join(_part(part, faint) for part in parts)


def _part(part: Said, faint: str) -> str:
    table = ""
    if part.table:
        head, *rows = part.table
        cells = "".join(
            f"<th align='left' style='color: {faint}; font-weight: normal'>{escape(cell)}&nbsp;&nbsp;</th>"
            for cell in head
        )
        lines = "".join(f"<tr>{''.join(_cell(cell) for cell in row)}</tr>" for row in rows)
        table = f"<table cellpadding='2'><tr>{cells}</tr>{lines}</table>"
    sentences = "".join(f"<li>{escape(sentence)}</li>" for sentence in part.sentences)
    listed = f"<ul style='margin-left: -22px'>{sentences}</ul>" if sentences else ""
    return f"<h4>{escape(part.heading)}</h4>{table}{listed}"


def _cell(cell: str) -> str:
    words = escape(cell)
    # A number stays with its unit; sentences may break.
    return f"<td>{words.replace(' ', '&nbsp;') if len(cell) <= 18 else words}&nbsp;&nbsp;</td>"
