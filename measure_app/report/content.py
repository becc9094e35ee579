"""What the report says, once for both of its forms: PDF and HTML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis import Finding, finding_name, improvement_of, interval, size_words, with_uncertainty
from calibration import rule_words
from measure_app._version import __version__
from measure_app.extras import notes_of, questions_of
from measure_app.report.algebra import Step, algebra_of
from measure_app.report.cautions import cautions
from measure_app.report.circumstances import corrections_of, left_out_of, settings_of
from measure_app.report.compact import compact_lines, compact_strip, small_style
from measure_app.report.improving import improvements, in_words, more_words
from measure_app.report.line_chart import LineChart
from measure_app.report.news import ROUTES, best_gravity, news_of
from measure_app.report.results import Results
from measure_app.report.row_words import in_rows, row_title
from measure_app.report.setup_picture import setup_picture
from measure_app.report.shown_unit import shown_unit
from measure_app.report.strip_chart import StripChart
from measure_app.report.summary import counts, expected_words, gaps_of, remark_about
from measure_app.report.which_cv import about_results, about_trials, row_name
from measure_app.report.why_off import why_off_items
from measure_app.words import counted, marked, numeral, said, source_words

MOST_ROWS = 400
"""Rows of the readings table in the report; readings.csv holds them all."""
MOST_REMARKS = 10


@dataclass(frozen=True, slots=True)
class Picture:
    """An image, its caption, and what it shows in words for those who do not see it."""

    name: str
    data: bytes
    caption: str
    alt: str


@dataclass(frozen=True, slots=True)
class Key:
    """One of the values that stand out at the top."""

    symbol: str
    value: str
    says: str


@dataclass(frozen=True, slots=True)
class TableOf:
    """A table: headers, rows of cells, and a sentence about it."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Advice:
    """What to improve first for one finding."""

    about: str
    table: TableOf


@dataclass(frozen=True, slots=True)
class Content:
    """The whole report."""

    title: str
    observer: str
    lead: str
    keys: tuple[Key, ...]
    setup: Picture | None
    strips: tuple[Picture, ...]
    graphs: tuple[Picture, ...]
    algebra: tuple[Step, ...]
    findings: TableOf
    borrowed: str
    """What is to be said of values that rest on the accepted g; "" where there are none."""
    news: tuple[str, ...]
    """What the run says of g by itself, or how it could."""
    undetermined: tuple[str, ...]
    corrections: tuple[str, ...]
    """Every correction with its size, and those that could not be made."""
    corrections_that_count: tuple[str, ...]
    """The few of them that change what is found, in one line each."""
    doubts: tuple[tuple[str, str], ...]
    """Why the run may be off; none where nothing is."""
    remarks: tuple[tuple[str, str], ...]
    """What else is worth knowing of the run."""
    advice: tuple[Advice, ...]
    notes: tuple[str, ...]
    """What the observer noted on the whole run, line by line."""
    questions: tuple[tuple[str, tuple[str, ...]], ...]
    """The teacher's questions, each with the lines of the observer's answer; none where there is none."""
    readings: TableOf
    settings: TableOf
    cautions: tuple[str, ...]
    program: str


_HEADINGS = {
    "setup": marked("The set-up"),
    "in_short": marked("In short"),
    "borrowed": marked("Values marked † rest on a borrowed g; the findings tell more."),
    "strips": marked("What was read, on its evidence"),
    "graphs": marked("Straight lines and what they leave over"),
    "algebra": marked("The algebra, with this run’s numbers"),
    "findings": marked("Findings"),
    "nothing": marked("Nothing could be derived."),
    "news": marked("g that is news"),
    "undetermined": marked("Not determined, for want of"),
    "corrections_that_count": marked("Corrections that count here"),
    "doubts": marked("Why it may be off"),
    "no_doubts": marked("Nothing was found to be off."),
    "remarks": marked("Worth knowing"),
    "advice": marked("What to improve first"),
    "questions": marked("Questions and answers"),
    "not_answered": marked("not answered"),
    "notes": marked("Notes"),
    "corrections": marked("Every correction, with its size"),
    "settings": marked("Settings"),
    "cautions": marked("Cautions"),
    "readings": marked("Readings"),
    "page": marked("{program}, page {page} of {pages}"),
}


def headings() -> dict[str, str]:
    """Give the words that both forms of the report set around what they say."""
    return {name: said(words) for name, words in _HEADINGS.items()}


def observed_by(content: Content) -> str:
    """Say who observed, with a blank behind; "" where nobody is named."""
    return said("Observer: {observer}.", observer=content.observer) + " " if content.observer else ""


def content_of(results: Results, picture: NDArray[np.uint8] | None = None) -> Content:
    """Gather what the report says.

    Parameters
    ----------
    results : Results
        What was found.
    picture : (h, w, 3) uint8, optional
        A frame of the film as displayed (blue, green, red), to draw the set-up on.
    """
    with small_style():
        strips = tuple(_strip(results, chart) for chart in results.strips)
        graphs = tuple(_graph(chart) for chart in _in_order(results.lines))
    return Content(
        title=" ".join(results.title.split()) or said("Draining container"),
        observer=" ".join(_observer(results).split()),
        lead=_lead(results),
        keys=_keys(results),
        setup=_setup(results, picture),
        strips=strips,
        graphs=graphs,
        algebra=algebra_of(results),
        findings=_findings(results),
        borrowed=_borrowed(results),
        news=news_of(results),
        undetermined=gaps_of(results, without=() if best_gravity(results.findings) else ROUTES),
        corrections=corrections_of(results),
        corrections_that_count=_that_count(results),
        doubts=why_off_items(results.findings.diagnosis),
        remarks=_remarks(results),
        advice=_advice(results),
        notes=_notes(results),
        questions=_questions(results),
        readings=_readings(results),
        settings=_settings(results),
        cautions=cautions(),
        program=f"Clepsydra {__version__}",
    )


def tidy(words: str) -> str:
    """Return words without signs that no page can show."""
    return "".join(sign if sign.isprintable() else " " for sign in words)


def _observer(results: Results) -> str:
    return "" if results.outcome is None else results.outcome.run.observer


def _lead(results: Results) -> str:
    """Say in two sentences what was measured."""
    heads = sum(row.head_m is not None for row in results.rows)
    throws = sum(row.throw_m is not None for row in results.rows)
    kept = sum(row.kept for row in results.rows)
    words = said(
        "{heads} heads and {throws} throws were read {in_rows}; {kept} were kept.",
        heads=heads,
        throws=throws,
        in_rows=in_rows(results.each_row_is, len(results.rows)),
        kept=kept,
    )
    times = [row.time_s for row in results.rows if row.time_s is not None]
    known = [row.head_m for row in results.rows if row.head_m is not None]
    if len(times) > 1 and len(known) > 1:
        words += " " + said(
            "In {span:.1f} s the head went from {first:.1f} to {last:.1f} cm.",
            span=max(times) - min(times),
            first=100 * known[0],
            last=100 * known[-1],
        )
    return words


def _keys(results: Results) -> tuple[Key, ...]:
    says = {
        "speed_coefficient": said("speed coefficient, from lengths alone"),
        "discharge_coefficient": said("discharge coefficient"),
        "drain_rate_root_m_per_s": said("fall of √h in a second"),
        "time_to_empty_s": said("time to empty, by the law"),
    }
    found = [results.findings.finding(name) for name in says]
    gravity = best_gravity(results.findings)
    if gravity is not None:
        says[gravity.name] = said("{finding}, not borrowed", finding=finding_name(gravity.name))
        found.insert(2, gravity)
    return tuple(Key(each.symbol, _value(each), says[each.name]) for each in found if each is not None)[:3]


def _value(finding: Finding) -> str:
    scale, unit = shown_unit(finding.name, finding.unit)
    return with_uncertainty(scale * finding.value, scale * finding.u, unit)


def _setup(results: Results, picture: NDArray[np.uint8] | None) -> Picture | None:
    if picture is None or results.outcome is None:
        return None
    run = results.outcome.run
    named = [said("“{name}”", name=rule_words(rule.name)) for rule in run.rules]
    rules = said(" and ").join(named) or said("no rule")
    shown = [
        name
        for name, part in (
            (said("the plumb"), run.plumb),
            (said("the gauge line"), run.gauge_line),
            (said("the landing line"), run.landing_line),
            (said("the hole's centre"), run.orifice),
            (said("the throw zero"), run.throw_zero),
        )
        if part is not None
    ]
    return Picture(
        "set-up.jpg",
        setup_picture(run, picture),
        said("The set-up as the film shows it, with everything that was marked on it."),
        said(
            "A frame of the film with the graduations of {rules}, {marks}.",
            rules=rules,
            marks=", ".join(shown) or said("no other mark"),
        ),
    )


def _strip(results: Results, chart: StripChart) -> Picture:
    name, data = compact_strip(chart)
    head = chart.name == "head-strip"
    refused = ""
    if chart.refusals:
        refused = " " + counted(
            "Hatched: {count} span without a reading.",
            "Hatched: {count} spans without a reading.",
            len(chart.refusals),
        )
    values = [row.head_m if head else row.throw_m for row in results.rows]
    known = [100 * value for value in values if value is not None]
    ends = ""
    if known:
        ends = " " + said("It goes from {first:.1f} cm to {last:.1f} cm.", first=known[0], last=known[-1])
    if head:
        caption = said("The water surface: the gauge line of every frame, side by side.")
        alt = said("Strip of the water surface through time: readings on it, fitted law dashed.")
    else:
        caption = said("The landing of the jet: the landing line of every frame, side by side.")
        alt = said("Strip of the landing of the jet through time: readings on it, fitted law dashed.")
    return Picture(name, data, caption + refused, alt + ends + refused)


def _in_order(charts: Sequence[LineChart]) -> list[LineChart]:
    """Put the line of lengths first and the drain line second: they need no borrowed g."""
    order = ("throw-squared-vs-head", "root-head-vs-time", "speed-vs-root-head", "speed-squared-vs-head")
    return sorted(charts, key=lambda chart: order.index(chart.name) if chart.name in order else len(order))


def _graph(chart: LineChart) -> Picture:
    name, data = compact_lines(chart)
    lines = "; ".join(line.says for line in chart.lines) or said("no line could be fitted")
    return Picture(
        name,
        data,
        f"{chart.title}: {chart.lines[0].says} ({chart.errors_say})."
        if chart.lines
        else f"{chart.title}: {lines}.",
        said(
            "Graph, {title}: {readings} readings and their line above, residuals below. {lines}.",
            title=chart.title,
            readings=int(chart.x.size),
            lines=lines,
        ),
    )


def _findings(results: Results) -> TableOf:
    rows = []
    for finding in results.findings.findings:
        scale, unit = shown_unit(finding.name, finding.unit)
        low, high = finding.interval_95
        rows.append(
            (
                row_name(finding, results.findings),
                f"{finding.symbol}{' †' if finding.depends_on_assumed_g else ''}",
                _value(finding),
                interval(scale * low, scale * high, scale * finding.u, unit)
                + (" ‡" if finding.from_trials else ""),
            )
        )
    about = (about_results(results.findings), about_trials(results.findings), expected_words(results))
    note = " ".join(words for words in about if words)
    head = (said("finding"), said("symbol"), said("value ± standard u"), said("95 % interval"))
    return TableOf(head, tuple(rows), note)


def _borrowed(results: Results) -> str:
    if not any(finding.depends_on_assumed_g for finding in results.findings.findings):
        return ""
    g = results.findings.accepted_gravity
    return said(
        "† rests on the accepted g, {g} ({source}). A g marked so is that g times Cv²: the speeds were made "
        "from throws with it, the true g has cancelled, and it holds no news of g.",
        g=with_uncertainty(g.value, g.u, "m/s²"),
        source=said(g.source),
    )


def _that_count(results: Results) -> tuple[str, ...]:
    sizes = (size_words(each) for each in results.findings.corrections if counts(each, results.findings))
    return (*(f"{words[:1].upper()}{words[1:]}." for words in sizes), *left_out_of(results))


def _notes(results: Results) -> tuple[str, ...]:
    return () if results.outcome is None else tuple(notes_of(results.outcome.run).strip().splitlines())


def _questions(results: Results) -> tuple[tuple[str, tuple[str, ...]], ...]:
    asked = () if results.outcome is None else questions_of(results.outcome.run)
    return tuple((each.question.strip(), tuple(each.answer.strip().splitlines())) for each in asked)


def _remarks(results: Results) -> tuple[tuple[str, str], ...]:
    told = [
        (remark_about(remark, results.each_row_is), said(remark.says))
        for remark in results.remarks[:MOST_REMARKS]
    ]
    if len(results.remarks) > MOST_REMARKS:
        more = len(results.remarks) - MOST_REMARKS
        told.append((said("more"), said("{more} more remarks stand in findings.json", more=more)))
    return tuple(told)


def _advice(results: Results) -> tuple[Advice, ...]:
    advice: list[Advice] = []
    find = results.findings.finding
    wanted = (
        (find("speed_coefficient"), 4),
        (best_gravity(results.findings), 3),
        (find("discharge_coefficient"), 3),
    )
    for finding, most in wanted:
        if finding is None or len(advice) == 2:
            continue
        rows = tuple(
            (source_words(each.source), f"{100 * each.share:.0f} %", f"{100 * each.gain:.0f} %", each.advice)
            for each in improvements(finding, most)
        )
        if rows:
            head = (said("source"), said("share of u²"), said("gain if halved"), said("what helps"))
            more = improvement_of(finding)
            note = "" if more is None else more_words(more)
            advice.append(Advice(in_words(finding), TableOf(head, rows, note)))
    return tuple(advice)


def _readings(results: Results) -> TableOf:
    rows = results.rows
    note = ""
    if len(rows) > MOST_ROWS:
        chosen = np.unique(np.linspace(0, len(rows) - 1, MOST_ROWS).round().astype(int)).tolist()
        note = said(
            "{shown} of {rows} rows, evenly chosen; readings.csv holds them all.",
            shown=MOST_ROWS,
            rows=len(rows),
        )
        note += " "
        rows = tuple(results.rows[i] for i in chosen)
    note += said(
        "± standard uncertainty of a single reading, shared sources counted in. × not used in the fits."
    )
    return TableOf(
        (row_title(results.each_row_is), "t / s", "h / cm", "x / cm", "v / (m/s) †"),
        tuple(
            (
                f"{row.frame}{'' if row.kept else ' ×'}",
                "" if row.time_s is None else numeral(f"{row.time_s:.3f}"),
                _cell(row.head_m, row.head_u_m, 100.0),
                _cell(row.throw_m, row.throw_u_m, 100.0),
                _cell(row.speed_m_s, row.speed_u_m_s, 1.0),
            )
            for row in rows
        ),
        note,
    )


def _settings(results: Results) -> TableOf:
    note = said("With these, and the readings, anybody can do the same again.")
    if results.outcome is not None:
        note = said(
            "With these, and the film, anybody can do the same again. Places are in pixels of the frame as "
            "displayed, from the centre of its top left pixel, to the right and down."
        )
    return TableOf((said("what"), said("value")), settings_of(results), note)


def _cell(value: float | None, u: float | None, scale: float) -> str:
    if value is None:
        return "–"
    return with_uncertainty(scale * value, scale * (u if u is not None else float("nan")))
