"""The algebra of a run with its own numbers put in."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis import Fall, Finding, with_uncertainty
from measure_app.report.as_used import as_used
from measure_app.report.formula import EQUALS, TIMES, Fraction, Node, Number, Root, Sign, Square, Symbol
from measure_app.report.results import Results
from measure_app.report.row_words import row_named
from measure_app.report.which_cv import about_a_slope
from measure_app.words import marked, numeral, said

G = Symbol("g")
H = Symbol("h")
HP = Symbol("h′", spoken=marked("h prime"))
X = Symbol("x")
V = Symbol("v")
K = Symbol("k")
TIME = Symbol("T")
AREA = Symbol("A")
HOLE = Symbol("a")
DROP = Symbol("y", "0", marked("y nought"))
FALLEN = Symbol("y")
CV = Symbol("C", "v")
CD = Symbol("C", "d")
SLOPE = Symbol("s")
TWO, FOUR = Number("2"), Number("4")
MINUS = Sign("−")
_LEAST_MM = 0.01
"""A correction of a length that is smaller is not told beside it."""


@dataclass(frozen=True, slots=True)
class Step:
    """One line of algebra and why it is there."""

    says: str
    formula: tuple[Node, ...]


def algebra_of(results: Results) -> tuple[Step, ...]:
    """Return the lines that lead from readings to findings, as far as the readings go."""
    return (
        *_from_a_reading(results),
        *_from_slopes(results),
        *_from_the_clock(results),
        *_from_falls(results),
    )


def shown(value: float, figures: int = 4) -> str:
    """Write a number for a formula to so many figures, without powers of ten where it can be."""
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "?"
    places = max(0, figures - 1 - math.floor(math.log10(abs(value))))
    return numeral(f"{value:.{min(places, 9)}f}".replace("-", "−"))


def _drop(results: Results) -> float | None:
    """Give the mean drop of the rows that the lines stand on."""
    if results.series.drop is None or results.series.throw is None:
        return None
    drops = as_used(results).level_drop
    for line in results.findings.lines:
        if line.law.key == "throw_squared_head":
            return float(np.mean(drops[line.points.rows]))
    known = drops[np.isfinite(drops)]
    return float(np.mean(known)) if known.size else None


def _from_a_reading(results: Results) -> Iterator[Step]:
    """Yield flight time, speed and head at launch of one reading in the middle."""
    findings, series = results.findings, results.series
    if series.throw is None or series.drop is None:
        return
    good = np.nonzero(findings.kept & np.isfinite(findings.speed_m_s))[0]
    if not good.size:
        return
    i = int(good[good.size // 2])
    used = as_used(results)
    g, measured, drop = (
        findings.accepted_gravity.value,
        float(series.drop.values[i]),
        float(used.level_drop[i]),
    )
    flight, speed = float(used.fall[i]), float(findings.speed_m_s[i])
    which = row_named(results.each_row_is, results.numbers[i])
    change = 1000 * (drop - measured)
    if abs(change) >= _LEAST_MM:
        yield Step(
            said("Drop for {which}, corrected: that of a level jet which is thrown as far.", which=which),
            (
                DROP, EQUALS, Number(shown(1000 * measured), "mm"), Sign("+") if change > 0 else MINUS,
                Number(shown(abs(change), 3), "mm"), EQUALS, Number(shown(1000 * drop), "mm"),
            ),
        )  # fmt: skip
    x = speed * flight
    throw = 1000 * (x - float(series.throw.values[i]))
    even = said(
        "Speed, worked for {which}: the throw is covered at an even speed while the water falls.", which=which
    )
    if abs(throw) >= _LEAST_MM:
        even += " " + said("The throw is corrected by {throw} mm.", throw=shown(throw, 2))
    yield Step(
        said("Flight time: a fall from rest through the drop. It rests on the accepted g."),
        (
            TIME, EQUALS, Root([Fraction([TWO, DROP], [G])]), EQUALS,
            Root([Fraction([TWO, TIMES, Number(shown(drop), "m")], [Number(shown(g), "m/s²")])]), EQUALS,
            Number(shown(flight), "s"),
        ),
    )  # fmt: skip
    yield Step(
        even,
        (
            V, EQUALS, Fraction([X], [TIME]), EQUALS,
            Fraction([Number(shown(x), "m")], [Number(shown(flight), "s")]), EQUALS,
            Number(shown(speed), "m/s"),
        ),
    )  # fmt: skip
    head = None if series.head is None else float(series.head.values[i])
    paired = float(findings.paired_head_m[i])
    if head is not None and findings.drain is not None and math.isfinite(paired) and paired != head:
        yield Step(
            said(
                "Head at launch: what lands in {which} left one flight time earlier, when the level was "
                "higher.",
                which=which
            ),
            (
                HP, EQUALS, H, Sign("+"), TWO, Root([H]), K, TIME, Sign("+"), Square([K, TIME]), EQUALS,
                Number(shown(1000 * head), "mm"), Sign("+"), Number(shown(1000 * (paired - head), 3), "mm"),
                EQUALS, Number(shown(1000 * paired), "mm"),
            ),
        )  # fmt: skip


def _from_slopes(results: Results) -> Iterator[Step]:
    """Yield what each slope says of Cv, and the g that comes back."""
    g, drop = results.findings.accepted_gravity.value, _drop(results)
    lengths = _found(results, "slope_throw_squared_vs_head")
    words = about_a_slope(results.findings)
    aside = f" {words}" if words else ""
    if lengths is not None and drop is not None and lengths.value > 0.0:
        yield Step(
            said(
                "From the slope of x² against h, s = {slope}: lengths only, no g in it.", slope=_of(lengths)
            )
            + aside,
            (
                CV, EQUALS, Root([Fraction([SLOPE], [FOUR, DROP])]), EQUALS,
                Root(
                    [Fraction([Number(shown(lengths.value), "m")], [FOUR, TIMES, Number(shown(drop), "m")])]
                ),
                EQUALS, Number(shown(math.sqrt(lengths.value / (4 * drop)))),
            ),
        )  # fmt: skip
    root = _found(results, "slope_speed_vs_root_head")
    if root is not None and root.value > 0.0:
        yield Step(
            said("From the slope of v against √h, s = {slope}.", slope=_of(root)) + aside,
            (
                CV, EQUALS, Fraction([SLOPE], [Root([TWO, G])]), EQUALS,
                Fraction([Number(shown(root.value), "√m/s")], [Root([TWO, TIMES, Number(shown(g), "m/s²")])]),
                EQUALS, Number(shown(root.value / math.sqrt(2 * g))),
            ),
        )  # fmt: skip
        yield Step(
            said(
                "The g that this slope gives back is the accepted one times Cv²; the true g has cancelled."
            ),
            (
                Fraction([Square([SLOPE])], [TWO]), EQUALS,
                Fraction([Square([Number(shown(root.value), "√m/s")])], [TWO]), EQUALS,
                Number(shown(root.value**2 / 2), "m/s²"), EQUALS, G, Square([CV]),
            ),
        )  # fmt: skip


def _from_the_clock(results: Results) -> Iterator[Step]:
    """Yield what the drain rate says together with the areas."""
    at, rate = results.conditions, _found(results, "drain_rate_root_m_per_s")
    discharge = _found(results, "discharge_coefficient")
    if rate is None or discharge is None or at.container_area_m2 is None or at.orifice_diameter_m is None:
        return
    g, hole = results.findings.accepted_gravity.value, math.pi * at.orifice_diameter_m**2 / 4
    yield Step(
        said(
            "From the clock: √h falls by k = {rate}, the hole's area is a = {hole} mm² and the water's is "
            "A = {area} cm².",
            rate=_of(rate),
            hole=shown(1e6 * hole),
            area=shown(1e4 * at.container_area_m2)
        ),
        (
            CD, EQUALS, Fraction([K, AREA], [HOLE, Root([Fraction([G], [TWO])])]), EQUALS,
            Fraction(
                [Number(shown(rate.value), "√m/s"), TIMES, Number(shown(1e4 * at.container_area_m2), "cm²")],
                [
                    Number(shown(1e6 * hole), "mm²"), TIMES,
                    Root([Fraction([Number(shown(g), "m/s²")], [TWO])]),
                ],
            ),
            EQUALS, Number(shown(discharge.value)),
        ),
    )  # fmt: skip


def _from_falls(results: Results) -> Iterator[Step]:
    """Yield g by hand from one fall: timed between two events, or from three of its marks."""
    falls = () if results.falls is None else results.falls.falls
    timed = next((fall for fall in falls if fall.n == 2), None)
    if timed is not None and _found(results, "gravity_from_fall_time") is not None:
        yield from _by_two_events(timed)
    tracked = max((fall for fall in falls if fall.n > 2), key=lambda fall: fall.n, default=None)
    if tracked is not None and _found(results, "gravity_from_parabola") is not None:
        yield from _by_three_marks(tracked)


def _by_two_events(fall: Fall) -> Iterator[Step]:
    took = float(fall.time_s[-1] - fall.time_s[0])
    start = 0.0 if fall.kind.from_the_hole else float(fall.down.values[0])
    fallen = float(fall.down.values[-1]) - start
    if not fallen > 0.0:
        return
    yield Step(
        said(
            "A g that is news, “{name}”: a fall from rest through y takes T by the film's clock.",
            name=fall.name
        ),
        (
            G, EQUALS, Fraction([TWO, FALLEN], [Square([TIME])]), EQUALS,
            Fraction([TWO, TIMES, Number(shown(fallen), "m")], [Square([Number(shown(took), "s")])]), EQUALS,
            Number(shown(2.0 * fallen / took**2), "m/s²"),
        ),
    )  # fmt: skip


def _by_three_marks(fall: Fall) -> Iterator[Step]:
    at = [0, fall.n // 2, fall.n - 1]
    time, down = fall.time_s[at], fall.down.values[at]
    speeds = np.diff(down) / np.diff(time)
    apart = float(time[2] - time[0]) / 2.0
    first, second = (float(speed) for speed in speeds)
    yield Step(
        said(
            "A g that is news, “{name}”, by hand from its first, middle and last mark: the mean speed grows "
            "from {first} m/s to {second} m/s between the middles of the two halves, {apart} s apart. The "
            "finding uses all {marks} marks.",
            name=fall.name,
            first=shown(first),
            second=shown(second),
            apart=shown(apart),
            marks=fall.n
        ),
        (
            G, EQUALS, Fraction([Symbol("v", "2"), MINUS, Symbol("v", "1")], [TIME]), EQUALS,
            Fraction([Number(shown(second - first), "m/s")], [Number(shown(apart), "s")]), EQUALS,
            Number(shown((second - first) / apart), "m/s²"),
        ),
    )  # fmt: skip


def _found(results: Results, name: str) -> Finding | None:
    return results.findings.finding(name)


def _of(finding: Finding) -> str:
    return with_uncertainty(finding.value, finding.u, finding.unit.replace("m^0.5", "√m"))
