"""What is written on and about a graph. No Qt here."""

from __future__ import annotations

import math

from analysis import Law, LawLine, plain, with_uncertainty
from measure_app.gui.panels.wording import unit_words

_TABS = {
    "speed_root_head": "v – √h",
    "speed_squared_head": "v² – h",
    "throw_squared_head": "x² – h",
    "root_head_time": "√h – t",
}
_TITLES = {
    "speed_root_head": "speed against √head",
    "speed_squared_head": "speed² against head",
    "throw_squared_head": "throw² against head",
    "root_head_time": "√head against time",
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
    return f"{' '.join(words)} &nbsp;{symbol} / {unit_words(unit)}"


def _symbols(law: Law) -> tuple[str, str]:
    return law.x_name.rsplit(" ", 1)[-1], law.y_name.rsplit(" ", 1)[-1]


def equation_words_short(fitted: LawLine) -> str:
    """Write the line as an equation with uncertainties."""
    law, line = fitted.law, fitted.line
    x, y = _symbols(law)
    slope = _bracketed(with_uncertainty(line.slope, line.slope_u, unit_words(law.slope_unit)))
    if not line.free_intercept:
        return f"{y} = {slope} · {x}"
    intercept = _bracketed(with_uncertainty(line.intercept, line.intercept_u, unit_words(law.y_unit)))
    return f"{y} = {slope} · {x} + {intercept}"


def equation_words(fitted: LawLine) -> str:
    """Write the line, how it was fitted and how well it fits."""
    line = fitted.line
    r_squared = "" if not math.isfinite(line.r_squared) else f"R² = {_r_squared(line.r_squared)}"
    kind = "" if line.free_intercept else " (about zero)"
    points = f"{line.n} points"
    fit = f"{r_squared}{kind}, {points}" if r_squared else points
    return f"{equation_words_short(fitted)}\n{fit}; {line.method}."


def _r_squared(value: float) -> str:
    """Enough nines to see how far from one it is."""
    if value >= 1.0:
        return "1"
    places = max(3, min(8, 2 - math.floor(math.log10(1.0 - value)))) if value > 0.0 else 3
    return f"{value:.{places}f}"


def _bracketed(number: str) -> str:
    return number if number.startswith("(") else f"({number})"


def point_words(fitted: LawLine, at: int, frame: int) -> str:
    """Say what one point is and how far it stands off the line."""
    points, line, law = fitted.points, fitted.line, fitted.law
    x_symbol, y_symbol = _symbols(law)
    x, y = float(points.x[at]), float(points.y[at])
    off = y - line.intercept - line.slope * x
    u = math.hypot(float(points.y_u[at]), line.slope * float(points.x_u[at]))
    units = f"{abs(off) / u:.1f} of its own standard uncertainties" if u > 0 else "its error is not stated"
    side = "above" if off >= 0 else "below"
    return (
        f"Frame {frame}: {x_symbol} = {plain(x)} {unit_words(law.x_unit)}, "
        f"{y_symbol} = {plain(y)} {unit_words(law.y_unit)}; "
        f"{plain(abs(off), 2)} {side} the line ({units})."
    )


def fit_words(fitted: LawLine) -> tuple[str, ...]:
    """Return the questions that the fit does not answer well, each with what to do."""
    return tuple(
        f"{c.question} {c.found:.2g}, at most {c.limit:.2g}. {c.remedy}"
        for c in fitted.line.checks
        if not c.holds
    )
