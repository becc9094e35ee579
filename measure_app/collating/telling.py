"""The class in a few lines for a terminal."""

from __future__ import annotations

import textwrap

from analysis import plain, with_uncertainty
from measure_app.collating.class_result import UNITS, ClassResult, Observer
from measure_app.collating.tables import beyond, criteria_applied, held_against
from measure_app.report.summary import WIDTH, shown
from measure_app.words import counted, marked, said

MOST_REFUSED = 12
MOST_NAMED = 40
_SHORT = {
    "surface_px": marked("surface"),
    "landing_px": marked("landing"),
    "head_mm": marked("head"),
    "throw_mm": marked("throw"),
    "cv": marked("Cv of one frame"),
}


def told(result: ClassResult, place: str, files: tuple[str, ...], encoding: str | None = "utf-8") -> str:
    """Return the printed account of a class, lines of at most 100 characters."""
    lines = [
        *textwrap.wrap(" ".join(result.title.split()), WIDTH),
        said(
            "{count}, held against {held_against}.",
            count=counted("{count} answer", "{count} answers", len(result.observers)),
            held_against=held_against(result),
        ),
        *_precision(result),
        *_cv(result),
        *_faults(result),
        *_standing_out(result),
        *_marks(result),
        *_refused(result),
        *_remarks(result),
        "",
        *textwrap.wrap(_where(place, files), WIDTH, subsequent_indent="  "),
    ]
    return shown("\n".join(lines), encoding)


def _precision(result: ClassResult) -> list[str]:
    rows: list[tuple[str, ...]] = [
        ("", said("s_r, one observer"), said("s_L, between them"), said("s_R, any observer"), said("from"))
    ]
    missing = []
    for name, short in _SHORT.items():
        words = said(short)
        found = result.precisions[name]
        if isinstance(found, str):
            missing.append(f"{words}: {found}")
            continue
        unit = "" if UNITS[name] == "1" else f" {UNITS[name]}"
        numbers = (found.repeatability, found.between, found.reproducibility)
        cells = [f"{plain(value, 2)}{unit}" if value < 99.5 else f"{value:.0f}{unit}" for value in numbers]
        rows.append(
            (
                words,
                *cells,
                said("{n_values} readings of {count}", n_values=found.n_values, count=len(found.observers)),
            )
        )
    if len(rows) == 1:
        return ["", *_bullets(said("Precision cannot be told"), missing)]
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    table = ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    table.insert(1, "  ".join("-" * width for width in widths))
    return ["", *table, *_bullets("", missing)]


def _cv(result: ClassResult) -> list[str]:
    lines = [""]
    if result.cv_between is not None:
        mean, sd, count = result.cv_between
        u = sd / count**0.5
        words = said(
            "Cv, mean of {count} observers' own: {mean}", count=count, mean=with_uncertainty(mean, u, "")
        )
        words = said(
            "{rstrip} (one observer: standard deviation {sd})", rstrip=words.rstrip(), sd=plain(sd, 2)
        )
        lines += textwrap.wrap(words, WIDTH, subsequent_indent="  ")
    pool = result.pooled
    if pool is not None and pool.outcome is not None:
        fit = pool.outcome.findings.finding("speed_coefficient")
        if fit is not None:
            lines.append(
                said("Cv of the pooled run: {value}", value=with_uncertainty(fit.value, fit.u, "")).rstrip()
            )
    elif pool is not None:
        lines += textwrap.wrap(
            said("The pooled run yields no lengths: {why}", why=pool.why),
            WIDTH,
        )
    return lines if len(lines) > 1 else []


def _name(each: Observer, result: ClassResult) -> str:
    return (
        each.shown if result.anonymous else said("no. {number}, {name}", number=each.number, name=each.shown)
    )


def _faults(result: ClassResult) -> list[str]:
    named = [
        f"{_name(each, result)}: {'; '.join(f.says for f in each.faults)}"
        for each in result.observers
        if each.faults
    ]
    return (
        ["", *_bullets(said("Systematic faults"), named)]
        if named
        else ["", said("No systematic fault found.")]
    )


def _standing_out(result: ClassResult) -> list[str]:
    """Observers beyond Mandel's limits who have no fault named already."""
    told = []
    for each in result.observers:
        if each.faults:
            continue
        signs = [
            f"{said(_SHORT[name])} {sign}"
            for name in ("surface_px", "landing_px")
            if (standing := each.standings.get(name)) is not None
            and (sign := beyond(standing, result.precisions[name]))
        ]
        if signs:
            told.append(f"{_name(each, result)}: {', '.join(signs)}")
    title = said(
        "Beyond Mandel's 1 % limits (h: reads elsewhere, k: reads unsteadily), without a fault named"
    )
    return ["", *_bullets(title, told)] if told else []


def _marks(result: ClassResult) -> list[str]:
    applied = criteria_applied(result)
    percents = sorted(
        each.marks.percent for each in result.observers if each.marks is not None and each.marks.most
    )
    if not percents:
        return []
    middle = percents[len(percents) // 2]
    words = said(
        "Marks by {join}: {percents:.0f} to {percents2:.0f} %, middle {middle:.0f} %.",
        join=", ".join(applied),
        percents=percents[0],
        percents2=percents[-1],
        middle=middle,
    )
    return ["", *textwrap.wrap(words, WIDTH)]


def _refused(result: ClassResult) -> list[str]:
    if not result.refused:
        return []
    lines = [f"{each.file}: {each.reason}" for each in result.refused[:MOST_REFUSED]]
    if len(result.refused) > MOST_REFUSED:
        lines.append(
            said(
                "… and {most_refused} more in findings.json", most_refused=len(result.refused) - MOST_REFUSED
            )
        )
    return ["", *_bullets(said("Not taken"), lines)]


def _remarks(result: ClassResult) -> list[str]:
    told = list(result.remarks)
    told += [f"{_name(each, result)}: {words}" for each in result.observers for words in each.twins]
    return ["", *_bullets(said("Worth knowing"), told)] if told else []


def _bullets(title: str, lines: list[str]) -> list[str]:
    made = [title] if title and lines else []
    for line in lines[:MOST_NAMED]:
        clean = "".join(c if c.isprintable() else "?" for c in line)
        made += textwrap.wrap(clean, WIDTH, initial_indent="  • ", subsequent_indent="    ")
    if len(lines) > MOST_NAMED:
        made.append(said("  • … and {most_named} more in observers.csv", most_named=len(lines) - MOST_NAMED))
    return made


def _where(place: str, files: tuple[str, ...]) -> str:
    names = [name for name in files if not name.startswith("figures/")]
    figures = len(files) - len(names)
    drawn = counted("figures/ ({count} file)", "figures/ ({count} files)", figures)
    written = ", ".join([*names, drawn] if figures else names)
    words = said("Written to {place}: {join}.", place=place, join=written)
    if "pooled.run.json" in names:
        words += said(" To measure pooled.run.json, put it beside the film.")
    return words
