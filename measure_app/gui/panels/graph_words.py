"""What is written on and about a graph. No Qt here."""

from __future__ import annotations

import math

import numpy as np

from analysis import (
    Check,
    FloatArray,
    Law,
    LawLine,
    LineResult,
    covariance,
    line_result,
    plain,
    with_uncertainty,
)
from measure_app.gui.panels.wording import unit_words
from measure_app.words import marked, numeral, said

_TABS = {
    "speed_root_head": "v – √h",
    "speed_squared_head": "v² – h",
    "throw_squared_head": "x² – h",
    "root_head_time": "√h – t",
}
_TITLES = {
    "speed_root_head": marked("speed against √head"),
    "speed_squared_head": marked("speed² against head"),
    "throw_squared_head": marked("throw² against head"),
    "root_head_time": marked("√head against time"),
}


def tab_of(law: Law) -> str:
    """Return the short name of a law's graph."""
    return _TABS.get(law.key, law.key)


def title_of(law: Law) -> str:
    """Return the name of a law's graph in words."""
    return _TITLES.get(law.key, law.key)


def axis_html(name: str, unit: str) -> str:
    """Write an axis title with its unit, such as ``head h / m``."""
    *words, symbol = name.split(" ")
    return said(
        "{join} &nbsp;{symbol} / {unit_words}",
        join=" ".join(words),
        symbol=symbol,
        unit_words=unit_words(unit),
    )


def _symbols(law: Law) -> tuple[str, str]:
    return law.x_name.rsplit(" ", 1)[-1], law.y_name.rsplit(" ", 1)[-1]


def whole_of(fitted: LawLine, n_rows: int) -> LineResult | None:
    """Give slope and intercept their whole uncertainty, with the errors that all readings share.

    Parameters
    ----------
    fitted : LawLine
    n_rows : int
        Rows of the series that the points are from.

    Returns
    -------
    LineResult or None
        None where there are too few points to tell.
    """
    if fitted.line.dof <= 0 and not fitted.errors_in_both:
        return None
    sources = tuple(str(j) for j in range(fitted.points.x_shared.shape[1]))
    return line_result(fitted, n_rows, sources, None)


def band_u(fitted: LawLine, whole: LineResult | None, x: FloatArray) -> FloatArray:
    """Return the standard uncertainty of the line at each x, (n,), in the unit of y."""
    if whole is None:
        return np.array([fitted.line.predict(float(each))[1] for each in x])
    variance = (whole.slope.u * x) ** 2
    if whole.intercept is not None:
        joint = covariance(whole.slope, whole.intercept)
        variance = variance + whole.intercept.u**2 + 2.0 * x * joint
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)


def equation_words_short(fitted: LawLine, whole: LineResult | None = None) -> str:
    """Write the line as an equation; with the whole uncertainties where they are known."""
    law, line = fitted.law, fitted.line
    x, y = _symbols(law)
    slope_u = whole.slope.u if whole is not None else line.slope_u
    slope = _bracketed(with_uncertainty(line.slope, slope_u, unit_words(law.slope_unit)))
    if not line.free_intercept:
        return f"{y} = {slope} · {x}"
    known = whole is not None and whole.intercept is not None
    intercept_u = whole.intercept.u if known else line.intercept_u  # type: ignore[union-attr]  # known says so
    intercept = _bracketed(with_uncertainty(line.intercept, intercept_u, unit_words(law.y_unit)))
    return f"{y} = {slope} · {x} + {intercept}"


def scatter_words(fitted: LawLine) -> str:
    """Say what the scatter of the points alone would leave of the uncertainties."""
    line = fitted.line
    words = said("slope ± {slope_u}", slope_u=plain(line.slope_u, 2))
    if line.free_intercept:
        words += said(", intercept ± {intercept_u}", intercept_u=plain(line.intercept_u, 2))
    return words


def equation_words(fitted: LawLine, whole: LineResult | None = None) -> str:
    """Write the line, how it was fitted and how well it fits."""
    line = fitted.line
    r_squared = "" if not math.isfinite(line.r_squared) else f"R² = {_r_squared(line.r_squared)}"
    kind = "" if line.free_intercept else said(" (about zero)")
    points = said("{n} points", n=line.n)
    fit = f"{r_squared}{kind}, {points}" if r_squared else points
    lines = [equation_words_short(fitted, whole)]
    if whole is not None:
        lines.append(
            said(
                "With the errors that all readings share; scatter only: {scatter_words}.",
                scatter_words=scatter_words(fitted),
            )
        )
    return "\n".join([*lines, f"{fit}; {line.method}."])


def _r_squared(value: float) -> str:
    """Enough nines to see how far from one it is."""
    if value >= 1.0:
        return "1"
    places = max(3, min(8, 2 - math.floor(math.log10(1.0 - value)))) if value > 0.0 else 3
    return numeral(f"{value:.{places}f}")


def _bracketed(number: str) -> str:
    return number if number.startswith("(") else f"({number})"


def point_words(fitted: LawLine, at: int, frame: int) -> str:
    """Say what one point is and how far it stands off the line."""
    points, line, law = fitted.points, fitted.line, fitted.law
    x_symbol, y_symbol = _symbols(law)
    x, y = float(points.x[at]), float(points.y[at])
    off = y - line.intercept - line.slope * x
    u = math.hypot(float(points.y_u[at]), line.slope * float(points.x_u[at]))
    units = (
        said("{u:.1f} of its own standard uncertainties", u=abs(off) / u)
        if u > 0
        else said("its error is not stated")
    )
    above = marked(
        "Frame {frame}: {x_symbol} = {x} {unit_words}, {y_symbol} = {y} {unit_words2}; {off} "
        "above the line ({units})."
    )
    below = marked(
        "Frame {frame}: {x_symbol} = {x} {unit_words}, {y_symbol} = {y} {unit_words2}; {off} "
        "below the line ({units})."
    )
    return said(
        above if off >= 0 else below,
        frame=frame,
        x_symbol=x_symbol,
        x=plain(x),
        unit_words=unit_words(law.x_unit),
        y_symbol=y_symbol,
        y=plain(y),
        unit_words2=unit_words(law.y_unit),
        off=plain(abs(off), 2),
        units=units,
    )


def fit_words(fitted: LawLine, whole: LineResult | None = None) -> tuple[str, ...]:
    """Return the questions that the fit does not answer well, each with what to do.

    Whether the line misses the origin is asked of the whole uncertainty of the intercept where that is known:
    scatter alone is so small in a long run that every shared error, such as that of the marked hole, would
    seem to break the law.
    """
    asked = (_of_the_whole(check, fitted, whole) for check in fitted.line.checks)
    return tuple(
        said(
            "{question} {found:.2g}, at most {limit:.2g}. {remedy}",
            question=c.question,
            found=c.found,
            limit=c.limit,
            remedy=c.remedy,
        )
        for c in asked
        if not c.holds
    )


def _of_the_whole(check: Check, fitted: LawLine, whole: LineResult | None) -> Check:
    line = fitted.line
    if whole is None or whole.intercept is None or line.intercept_u <= 0.0 or whole.intercept.u <= 0.0:
        return check
    by_scatter = abs(line.intercept) / line.intercept_u
    if not math.isclose(check.found, by_scatter, rel_tol=1e-12):
        return check
    found = abs(line.intercept) / whole.intercept.u
    question = said("Does the line miss the origin (intercept over its whole standard uncertainty)?")
    return Check(question, found, check.limit, check.remedy)
