"""The findings in a few lines for a terminal."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Collection, Sequence

from analysis import (
    CorrectionSize,
    Finding,
    Findings,
    Remark,
    finding_name,
    interval,
    size_words,
    with_uncertainty,
)
from measure_app.report.results import Results
from measure_app.report.row_words import FRAME, in_rows, rows_named
from measure_app.report.shown_unit import shown_unit
from measure_app.report.which_cv import about_results, about_trials, row_name
from measure_app.report.why_off import improvement_lines, why_off_lines
from measure_app.words import counted, marked, said

WIDTH = 100
MOST_REMARKS = 12
_OF_FALLS = ("gravity_from_fall_time", "gravity_from_parabola", "gravity_from_track")

_ASCII = {
    "√m": "m^0.5",
    "d√": "d sqrt ",
    "ₑ": "e",
    "±": "+/-",
    "√": "sqrt ",
    "×": "x",
    "·": "*",
    "−": "-",
    "–": "-",
    "’": "'",
    "“": '"',
    "”": '"',
    "…": "...",
    "≥": ">=",
    "≤": "<=",
    "δ": "d",
    "θ": "theta",
    "Δ": "D",
    "σ": "s",
    "χ": "chi",
    "°": " deg",
    "†": "#",
    "‡": "##",
    "•": "*",
    "½": "1/2",
    "ä": "ae",
    "ö": "oe",
    "ü": "ue",
    "Ä": "Ae",
    "Ö": "Oe",
    "Ü": "Ue",
    "ß": "ss",
    "„": '"',
    "₀": "0",
    "∞": "infinity",
}
_MOVING = frozenset("\r\t\v\f\x1c\x1d\x1e\x1f\x85\u2028\u2029")
"""Spaces that are more than a space; lines are parted by line feeds alone."""
_RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


def summary(results: Results, place: str, files: Sequence[str], encoding: str | None = "utf-8") -> str:
    """Return the printed account of a result: findings with uncertainties, doubts, and where the files are.

    Parameters
    ----------
    results : Results
        What was found.
    place : str
        The folder as the user named it.
    files : sequence of str
        Names of the files in it.
    encoding : str, optional
        What the terminal can show; signs beyond it are written in ASCII.

    Returns
    -------
    str
        Lines of at most 100 characters.
    """
    lines = [
        *_head(results),
        "",
        *_table(results, encoding),
        *_corrections(results),
        *_doubts(results),
        *_why_off(results),
        *_improve(results),
        *_gaps(results),
        *_where(place, files),
    ]
    return shown("\n".join(lines), encoding)


def _head(results: Results) -> list[str]:
    heads = sum(row.head_m is not None for row in results.rows)
    throws = sum(row.throw_m is not None for row in results.rows)
    kept = sum(row.kept for row in results.rows)
    counts = said(
        "{heads} and {throws} {in_rows}, {kept} kept.",
        heads=counted("{count} head", "{count} heads", heads),
        throws=counted("{count} throw", "{count} throws", throws),
        in_rows=in_rows(results.each_row_is, len(results.rows)),
        kept=kept,
    )
    return [*textwrap.wrap(" ".join(results.title.split()), WIDTH), counts]


def _table(results: Results, encoding: str | None) -> list[str]:
    if not results.findings.findings:
        return [said("Nothing could be derived.")]
    rows = [(said("finding"), "", said("value ± standard u"), said("95 % interval"))]
    rows += [_cells(finding, results.findings) for finding in results.findings.findings]
    # Signs are replaced before the columns are measured, so that they stay columns.
    rows = [
        (shown(a, encoding), shown(b, encoding), shown(c, encoding), shown(d, encoding))
        for a, b, c, d in rows
    ]
    widths = [max(len(row[i]) for row in rows) for i in range(4)]
    laid = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
    rule = "  ".join("-" * width for width in widths)
    table = [laid[0], rule, *laid[1:]]
    if any(finding.depends_on_assumed_g for finding in results.findings.findings):
        g = results.findings.accepted_gravity
        table += textwrap.wrap(
            said(
                "† rests on an assumed g, {g} ({source}); a g marked so is that g times Cv² and holds no "
                "news "
                "of g.",
                g=with_uncertainty(g.value, g.u, "m/s²"),
                source=said(g.source),
            ),
            WIDTH,
            subsequent_indent="  ",
        )
    about = (about_results(results.findings), about_trials(results.findings), expected_words(results))
    for words in filter(None, about):
        table += textwrap.wrap(words, WIDTH, subsequent_indent="  ")
    return table


def _cells(finding: Finding, findings: Findings) -> tuple[str, str, str, str]:
    mark = " †" if finding.depends_on_assumed_g else ""
    low, high = finding.interval_95
    scale, unit = shown_unit(finding.name, finding.unit)
    return (
        row_name(finding, findings),
        finding.symbol + mark,
        with_uncertainty(scale * finding.value, scale * finding.u, unit),
        interval(scale * low, scale * high, scale * finding.u) + (" ‡" if finding.from_trials else ""),
    )


def expected_words(results: Results) -> str:
    """Say what is published for such a hole, beside what was found; "" where nothing is."""
    bands = [(each.symbol, each.expected) for each in results.findings.findings if each.expected is not None]
    if not bands:
        return ""
    listed = ", ".join(
        said("{symbol} {low:.2f} to {high:.2f} (extrapolated)", symbol=symbol, low=band.low, high=band.high)
        if band.extrapolated
        else said("{symbol} {low:.2f} to {high:.2f}", symbol=symbol, low=band.low, high=band.high)
        for symbol, band in bands
    )
    lacks = next((band.lacks for _, band in bands if band.lacks), "")
    if not lacks:
        return said("Published for such a hole: {listed}.", listed=listed)
    return said(
        "Published for plain holes of any kind: {listed}; {lacks} would narrow that.",
        listed=listed,
        lacks=said(lacks),
    )


def _corrections(results: Results) -> list[str]:
    """Name the corrections that were applied and count, and those that would count; findings.json has all."""
    sizes = [each for each in results.findings.corrections if counts(each, results.findings)]
    if not sizes:
        return []
    return [
        "",
        said("Corrections that count here"),
        *(line for each in sizes for line in _bullet(size_words(each))),
    ]


def counts(size: CorrectionSize, findings: Findings) -> bool:
    """Tell whether a correction changes Cv, however reckoned, by a tenth of its standard uncertainty."""
    cv = findings.finding("speed_coefficient")
    changes = [size.change_of(what) or 0.0 for what in ("Cv", "mean Cv")]
    changes += [effect.change for effect in size.instead if effect.unit == "1"]
    return cv is not None and any(abs(change) >= 0.1 * cv.u for change in changes)


def _doubts(results: Results) -> list[str]:
    if not results.remarks:
        return []
    lines = ["", said("Worth knowing")]
    for remark in results.remarks[:MOST_REMARKS]:
        lines += _bullet(f"{remark_about(remark, FRAME)}: {said(remark.says)}")
    if len(results.remarks) > MOST_REMARKS:
        more = len(results.remarks) - MOST_REMARKS
        lines += _bullet(said("… and {more} more in findings.json", more=more))
    return lines


_ABOUTS = (marked("film"), marked("calibration"), marked("surface"), marked("landing"))
"""What remarks of our own are about; the engine marks its own where it makes them."""


def remark_about(remark: Remark, kind: str) -> str:
    """Say what a remark is about, and in which frames or rows."""
    about = said(remark.about)
    return about if remark.frames is None else f"{about} ({rows_named(kind, *remark.frames)})"


def _why_off(results: Results) -> list[str]:
    return _listed(said("Why it may be off"), why_off_lines(results.findings.diagnosis))


def _improve(results: Results) -> list[str]:
    return _listed(said("What to improve first"), improvement_lines(results.findings))


def _listed(title: str, items: Sequence[str]) -> list[str]:
    return ["", title, *(line for words in items for line in _bullet(words))] if items else []


def _gaps(results: Results) -> list[str]:
    if not results.findings.undetermined:
        return []
    return _listed(said("Not determined, for want of"), gaps_of(results))


def gaps_of(results: Results, without: Collection[str] = ()) -> tuple[str, ...]:
    """Say what is not determined and for want of what; all that wants a marked fall stands together.

    Parameters
    ----------
    results : Results
        What was found.
    without : collection of str
        Names of findings that are spoken of elsewhere.
    """
    names: dict[tuple[str, str], list[str]] = {}
    for item in results.findings.undetermined:
        if item.name not in without:
            key = ("" if item.name in _OF_FALLS else item.name, item.missing)
            names.setdefault(key, []).append(finding_name(item.name))
    return tuple(f"{', '.join(wanting)}: {said(missing)}" for (_, missing), wanting in names.items())


def _where(place: str, files: Sequence[str]) -> list[str]:
    if not files:
        return []
    figures = sum(name.startswith("figures/") for name in files)
    names = [name for name in files if not name.startswith("figures/")]
    if figures:
        names.append(said("figures/ ({figures} files)", figures=figures))
    words = said("Written to {place}: {names}", place=place, names=", ".join(names))
    return ["", *textwrap.wrap(words, WIDTH, subsequent_indent="  ")]


def _bullet(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent="  • ", subsequent_indent="    ")


def shown(text: str, encoding: str | None) -> str:
    """Return text as an output with this encoding can show it; signs that it lacks are written in ASCII.

    Titles and names come from anywhere: signs that move a terminal's cursor become question marks.
    """
    if not text.isprintable():
        text = "".join(c if c.isprintable() or (c.isspace() and c not in _MOVING) else "?" for c in text)
    try:
        text.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        for sign, plain in _ASCII.items():
            text = text.replace(sign, plain)
        text = re.sub("[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+", lambda raised: "^" + raised[0].translate(_RAISED), text)
        return text.encode("ascii", "replace").decode("ascii")
    return text
