"""A forecast in plain words: once for the terminal, once for the window."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from analysis import Edge, Forecast, Proposal, plain
from measure_app.report.cautions import cautions
from measure_app.report.improving import advice_for
from measure_app.report.summary import WIDTH, shown
from measure_app.words import numeral, said, source_words

_MOST_SOURCES = 4
_NO_GAIN = 0.05
"""A gain below this is no reason to make another hole."""


@dataclass(frozen=True, slots=True)
class Said:
    """One part of a forecast: a heading, a table, sentences."""

    heading: str
    sentences: tuple[str, ...]
    table: tuple[tuple[str, ...], ...] = ()
    """The first row names the columns."""


def paragraphs(forecast: Forecast, proposal: Proposal | None = None) -> tuple[Said, ...]:
    """
    Say what a plan will give, part by part.

    Parameters
    ----------
    forecast : Forecast
    proposal : Proposal, optional
        Where a better hole and drop were asked for.

    Returns
    -------
    tuple of Said
        What the jet does, what the camera sees, how well Cv and g will be known, advice, cautions.
    """
    parts = [
        _short(forecast),
        _jet(forecast),
        _picture(forecast),
        _expected(forecast),
        _cv(forecast),
        _gravity(forecast),
    ]
    if forecast.advice:
        parts.append(
            Said(
                said("Advice"),
                tuple(f"{said(each.about).capitalize()}: {each.says}." for each in forecast.advice),
            )
        )
    if proposal is not None:
        parts.append(_proposal(forecast, proposal))
    parts.append(Said(said("Cautions"), cautions()))
    return tuple(parts)


def told(forecast: Forecast, proposal: Proposal | None = None, encoding: str | None = "utf-8") -> str:
    """
    Say what a plan will give, for a terminal.

    Parameters
    ----------
    forecast : Forecast
    proposal : Proposal, optional
    encoding : str, optional
        What the terminal can show; signs beyond it are written in ASCII.

    Returns
    -------
    str
        Lines of at most 100 characters.
    """
    lines = textwrap.wrap(
        said("Before the film: {title_of}", title_of=title_of(forecast)),
        WIDTH,
    )
    for part in paragraphs(forecast, proposal):
        lines += ["", part.heading]
        lines += _laid(part.table, encoding)
        for sentence in part.sentences:
            lines += textwrap.wrap(sentence, WIDTH, initial_indent="  • ", subsequent_indent="    ")
    return shown("\n".join(lines), encoding)


def title_of(forecast: Forecast) -> str:
    """Name the experiment in a few words."""
    plan = forecast.plan
    edge = "" if plan.edge is Edge.SHARP else f", {plan.edge.value}"
    return said(
        "a hole of {mm}{edge} under {mm2} of water, {mm3} above the landing",
        mm=_mm(plan.hole_diameter_m),
        edge=edge,
        mm2=_mm(plan.head_m),
        mm3=_mm(plan.drop_m),
    )


def _laid(table: tuple[tuple[str, ...], ...], encoding: str | None) -> list[str]:
    if not table:
        return []
    rows = [[shown(cell, encoding) for cell in row] for row in table]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    numeric = [all(row[i][:1].isdigit() or not row[i] for row in rows[1:]) for i in range(len(rows[0]))]
    lines: list[str] = []
    for row in rows:
        *short, last = row
        cells = [
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(short, widths, numeric, strict=False)
        ]
        start = "    " + "".join(f"{cell}   " for cell in cells)
        wrapped = textwrap.wrap(last, WIDTH, initial_indent=start, subsequent_indent=" " * len(start))
        lines += wrapped or [start.rstrip()]
    return lines


def _short(forecast: Forecast) -> Said:
    """Say the few things that decide whether a plan is good."""
    near, far = forecast.throw_range_m
    run = said(
        "About {clock} of film, throws from {mm} down to {mm2}, heads from {mm3} down to {mm4}.",
        clock=_clock(forecast.drain_time_s),
        mm=_mm(far),
        mm2=_mm(near),
        mm3=_mm(forecast.plan.head_m),
        mm4=_mm(forecast.law_limit_m, 2),
    )
    if forecast.cv_u is None:
        return Said(said("In short"), (run, said("Too short a run for a Cv.")))
    sure = said(
        "Cv to about ± {cv} % (standard uncertainty)", cv=plain(100.0 * forecast.cv_u / forecast.cv, 2)
    )
    if forecast.budget:
        sure += said(
            "; the largest source of that is “{source}”", source=source_words(forecast.budget[0].source)
        )
    told = [run, f"{sure}."]
    if forecast.gravity:
        best = forecast.gravity[0]
        told.append(
            said(
                "A g of your own to about {relative_u} % at best, by the {name}; see below what that takes.",
                relative_u=plain(100.0 * best.relative_u, 2),
                name=best.name,
            )
        )
    return Said(said("In short"), tuple(told))


def _jet(forecast: Forecast) -> Said:
    rows = [(said("head"), said("throw"), said("after"), said("speed"), "Re", "We", "")]
    rows += [
        (
            _mm(at.head_m),
            _mm(at.throw_m),
            _clock(at.time_s),
            f"{plain(at.speed_m_s, 3)} m/s",
            f"{float(f'{at.reynolds:.2g}'):.0f}",
            f"{float(f'{at.weber:.2g}'):.0f}",
            "" if at.on_tray else said("beyond the tray"),
        )
        for at in forecast.moments
    ]
    short, long = forecast.drain_time_range_s
    reckoned = said(
        "Reckoned with Cv = {cv:.2f}, Cd = {cd:.2f}: throw 2 Cv √(head · drop), time by the "
        "law of emptying. Re and We are those of the contracted jet.",
        cv=forecast.cv,
        cd=forecast.cd,
    )
    sentences = [
        said(
            "The law ends at a head of {mm}: below it the hole is no longer small or the jet "
            "clings to the wall, and readings are left out. To get there takes about {clock}",
            mm=_mm(forecast.law_limit_m, 2),
            clock=_clock(forecast.drain_time_s),
        )
        + (
            said(
                ", between {clock} and {clock2} as Cd may be {high:.2f} to {low:.2f}.",
                clock=_clock(short),
                clock2=_clock(long),
                high=forecast.expected.cd.high,
                low=forecast.expected.cd.low,
            )
            if long > 1.01 * short
            else "."
        ),
        said("The tray has to reach at least {mm} from below the hole.", mm=_mm(forecast.least_tray_m)),
        reckoned,
    ]
    return Said(said("What the jet will do"), tuple(sentences), tuple(rows))


def _picture(forecast: Forecast) -> Said:
    sight, plan = forecast.sight, forecast.plan
    field, needed = (
        f"{_mm(width)} × {_mm(height)}"
        for width, height in (
            (sight.field_width_m, sight.field_height_m),
            (sight.needed_width_m, sight.needed_height_m),
        )
    )
    hole, jet = (
        plain(each / sight.metres_per_px, 2) for each in (plan.hole_diameter_m, forecast.jet_diameter_m)
    )
    shows = said(
        "The picture shows {field} of the bench from {mm}; container, jet and tray need {needed}.",
        field=field,
        mm=_mm(plan.camera_distance_m),
        needed=needed,
    )
    pixels = said(
        "{px_per_mm} pixels to a millimetre: the hole is {hole} pixels wide, the jet {jet}. "
        "The film has about {value:.0f} frames down to the law's end.",
        px_per_mm=plain(sight.px_per_mm, 2),
        hole=hole,
        jet=jet,
        value=float(f"{forecast.frames:.2g}"),
    )
    return Said(said("What the camera will see"), (shows, pixels))


def _expected(forecast: Forecast) -> Said:
    rows = [("", said("band"), said("source"))]
    for symbol, band in (("Cv", forecast.expected.cv), ("Cd", forecast.expected.cd)):
        beyond = said("extrapolated: ") if band.extrapolated else ""
        rows.append(
            (
                symbol,
                said("{low:.2f} to {high:.2f}", low=band.low, high=band.high),
                f"{beyond}{band.why} ({band.source})",
            )
        )
    return Said(
        said("What is published for a {acts_as}", acts_as=forecast.expected.acts_as),
        (),
        tuple(rows),
    )


def _cv(forecast: Forecast) -> Said:
    heading = said("How well Cv will be known")
    if forecast.cv_u is None:
        return Said(heading, (said("Such a run is too short for a Cv with an uncertainty."),))
    total = sum(share.u**2 for share in forecast.budget)
    rows = [(said("largest sources"), said("share"), said("what helps"))]
    rows += [
        (source_words(share.source), f"{100.0 * share.u**2 / total:.0f} %", advice_for(share.source))
        for share in forecast.budget[:_MOST_SOURCES]
        if share.u**2 >= 0.01 * total
    ]
    expected = said(
        "Expected standard uncertainty of Cv: {cv_u}, that is {cv} %; 95 % intervals will be "
        "about ± {cv_u2}. It comes from a simulated run through the program's own fits.",
        cv_u=plain(forecast.cv_u, 2),
        cv=plain(100.0 * forecast.cv_u / forecast.cv, 2),
        cv_u2=plain(2.0 * forecast.cv_u, 2),
    )
    sentences = [expected]
    if forecast.cd_u is not None:
        sentences.append(
            said(
                "Of Cd: {cd_u}, that is {cd} %.",
                cd_u=plain(forecast.cd_u, 2),
                cd=plain(100.0 * forecast.cd_u / forecast.cd, 2),
            )
        )
    return Said(heading, tuple(sentences), tuple(rows))


def _gravity(forecast: Forecast) -> Said:
    rows = [(said("way"), "u(g)/g", said("what it takes"))]
    rows += [
        (route.name, f"{plain(100.0 * route.relative_u, 2)} %", route.needs) for route in forecast.gravity
    ]
    borrowed = said(
        "Throws and heads alone hold no news of g: a speed made from a throw with an "
        "accepted g gives that g times Cv² back."
    )
    return Said(said("What could be said about g"), (borrowed,), tuple(rows))


def _proposal(forecast: Forecast, proposal: Proposal) -> Said:
    heading = said("A better hole and drop")
    limits = said(
        "holes of {mm} to {mm2} and drops of {mm3} to {mm4}",
        mm=_mm(proposal.limits.hole_m[0]),
        mm2=_mm(proposal.limits.hole_m[1]),
        mm3=_mm(proposal.limits.drop_m[0]),
        mm4=_mm(proposal.limits.drop_m[1]),
    )
    passed = [
        said("{pairs} because {because}", pairs=pairs, because=_because(why))
        for why, pairs in proposal.refused
    ]
    count = said("Of {tried} pairs tried, {limits}", tried=proposal.tried, limits=limits) + (
        said(", passed over: {join}.", join="; ".join(passed)) if passed else said(", none was passed over.")
    )
    best = proposal.best
    if best is None:
        widen = said("Widen the limits, or change what stands in the way.")
        return Said(heading, (said("None of them will do."), count, widen))
    words = said(
        "A hole of {mm} and a drop of {mm2}: standard uncertainty of Cv {value}, drained to "
        "the law's end at {mm3} in {clock}, throws from {mm4} down to {mm5}.",
        mm=_mm(best.plan.hole_diameter_m),
        mm2=_mm(best.plan.drop_m),
        value=plain(best.cv_u or 0.0, 2),
        mm3=_mm(best.law_limit_m, 2),
        clock=_clock(best.drain_time_s),
        mm4=_mm(best.throw_range_m[1]),
        mm5=_mm(best.throw_range_m[0]),
    )
    return Said(heading, (words, _verdict(forecast, proposal), count))


def _verdict(forecast: Forecast, proposal: Proposal) -> str:
    """Say whether the proposal is worth another hole."""
    gain, before = proposal.gain, proposal.score_before
    if gain is None or before is None:
        return said("The plan as it stands gives no Cv to compare with.")
    mended = [
        words
        for words, spoiled in (
            (said("the jet would land on the tray from the start"), forecast.head_on_tray_m is not None),
            (said("all would be in the picture"), not forecast.sight.fits),
        )
        if spoiled
    ]
    if gain >= _NO_GAIN:
        also = said(" Also {join}.", join=said(" and ").join(mended)) if mended else ""
        return said(
            "The uncertainty of Cv falls by {gain:.0f} % from {before}.{also}",
            gain=100.0 * gain,
            before=plain(before, 2),
            also=also,
        )
    if mended:
        return said(
            "Cv would be known hardly better than by the plan as it stands, but {join}.",
            join=said(" and ").join(mended),
        )
    return said(
        "That is hardly better than the plan as it stands: keep the hole you have, unless "
        "the advice above speaks against it."
    )


def _because(why: str) -> str:
    starts = {"drained": said("they would be "), "a ": said("of ")}
    return next((lead + why for start, lead in starts.items() if why.startswith(start)), why)


def _mm(metres: float, figures: int = 3) -> str:
    return numeral(f"{1e3 * metres:.{figures}g} mm" if metres < 0.9995 else f"{metres:.{figures}g} m")


def _clock(seconds: float) -> str:
    if seconds < 99.5:
        return numeral(f"{seconds:.2g} s")
    minutes, rest = divmod(round(seconds), 60)
    return (
        said("{minutes} min", minutes=minutes)
        if minutes >= 100
        else said("{minutes} min {rest:02d} s", minutes=minutes, rest=rest)
    )
