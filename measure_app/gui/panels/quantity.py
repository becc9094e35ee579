"""Numbers as people type them: decimal comma or point, a unit behind, an uncertainty after ±. No Qt here."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from measure_app.words import marked, numeral, said


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit in which a quantity may be typed and shown."""

    symbol: str
    factor: float
    """SI units in one of this unit, as ten to a whole power or 1."""
    also: tuple[str, ...] = ()
    """Other ways of writing it, in small letters."""


@dataclass(frozen=True, slots=True)
class Family:
    """Units that measure the same thing; the first one is shown until another is chosen."""

    name: str
    units: tuple[Unit, ...]

    def unit(self, symbol: str) -> Unit | None:
        """Return the unit written so, or None."""
        plain = symbol.strip().lower()
        for unit in self.units:
            written = (unit.symbol.lower(), said(unit.symbol).lower(), *unit.also)
            if symbol.strip() == unit.symbol or plain in written:
                return unit
        return None


MM = Unit("mm", 1e-3, ("millimetre", "millimetres", "millimeter", "millimeters"))
CM = Unit("cm", 1e-2, ("centimetre", "centimetres", "centimeter", "centimeters"))
M = Unit("m", 1.0, ("metre", "metres", "meter", "meters"))
LENGTH_MM = Family("length", (MM, CM, M))
LENGTH_CM = Family("length", (CM, MM, M))
LENGTH_M = Family("length", (M, CM, MM))
HEIGHT = Family("height", (M, Unit("km", 1e3)))
AREA = Family(
    "area",
    (
        Unit("cm²", 1e-4, ("cm2", "cm^2", "sq cm")),
        Unit("mm²", 1e-6, ("mm2", "mm^2", "sq mm")),
        Unit("m²", 1.0, ("m2", "m^2", "sq m")),
    ),
)
PIXELS = Family("place in the frame", (Unit("px", 1.0, ("pixel", "pixels")),))
ANGLE = Family("angle", (Unit("°", 1.0, ("deg", "degree", "degrees")),))
TEMPERATURE = Family("temperature", (Unit("°C", 1.0, ("c", "deg c", "degc")),))
GRAVITY = Family("acceleration", (Unit("m/s²", 1.0, ("m/s2", "m/s^2", "m s-2", "m·s⁻²")),))
RATE = Family("rate", (Unit(marked("frames/s"), 1.0, ("fps", "hz", "1/s", "/s", "frames per second")),))
SHORT_TIME = Family(
    "time", (Unit("ms", 1e-3, ("millisecond", "milliseconds")), Unit("s", 1.0, ("second", "seconds")))
)
PURE = Family("number", (Unit("", 1.0),))


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person typed: a value in SI units, and the uncertainty if one was typed behind it."""

    value: float
    u: float | None = None
    unit: Unit | None = None
    """The unit, where one was written."""


@dataclass(frozen=True, slots=True)
class NotANumber:
    """Typed text that is no number of the kind wanted, and what to type instead."""

    words: str


_SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f"), " ")
_MINUS = dict.fromkeys(map(ord, "\u2212\u2013"), "-")
_NUMBER = re.compile(
    r"(?P<number>[+-]?[\d.,' ]*\d[.,]?)(?:[eE](?P<power>[+-]?\d{1,3}))?\s*(?P<rest>\D.*)?$", re.DOTALL
)
_PLUS_MINUS = re.compile(r"±|\+/-|\+-")
_MAX_TEXT = 80


def typed(text: str, family: Family, unit: Unit) -> Typed | NotANumber | None:
    """Read what a person typed.

    Parameters
    ----------
    text : str
        Such as ``26,5``, ``26.5 mm`` or ``260 ± 0,5 mm``.
    family : Family
        Units that may be written behind the number.
    unit : Unit
        The unit meant where none is written.

    Returns
    -------
    Typed, NotANumber or None
        Values in SI units; None for an empty field.
    """
    plain = text.translate(_SPACES).translate(_MINUS).strip()
    if not plain:
        return None
    if len(plain) > _MAX_TEXT:
        return NotANumber(said("that is too long for a number; type digits, such as 12,5 or 12.5"))
    parts = _PLUS_MINUS.split(plain)
    if len(parts) > 2:
        return NotANumber(said("type one uncertainty after ±, such as 26,5 ± 0,1"))
    read = [_one(part, family) for part in parts]
    for each in read:
        if isinstance(each, NotANumber):
            return each
    numbers = [each for each in read if not isinstance(each, NotANumber)]
    written = next((u for _, u in reversed(numbers) if u is not None), None)
    values = [_scaled(number, (own or written or unit)) for number, own in numbers]
    if any(not math.isfinite(value) for value in values):
        return NotANumber(said("that number is too large; check the digits"))
    if len(values) == 2 and values[1] < 0:
        return NotANumber(said("an uncertainty cannot be below nought; type it without a minus"))
    return Typed(values[0], values[1] if len(values) == 2 else None, written)


def _one(text: str, family: Family) -> tuple[Decimal, Unit | None] | NotANumber:
    match = _NUMBER.match(text.strip())
    if match is None:
        return NotANumber(
            said("“{strip}” is not a number; type digits, such as 12,5 or 12.5", strip=text.strip()[:20])
        )
    digits = _with_point(match["number"].strip())
    if digits is None:
        return NotANumber(
            said(
                "“{strip}” can be read in two ways; type one decimal comma or point",
                strip=match["number"].strip()[:20],
            )
        )
    written = (match["rest"] or "").strip()
    unit = None
    if written:
        unit = family.unit(written)
        if unit is None:
            choices = ", ".join(said(each.symbol) for each in family.units if each.symbol) or said("no unit")
            return NotANumber(
                said(
                    "“{written}” is not a unit that fits here; type {choices}",
                    written=written[:20],
                    choices=choices,
                )
            )
    return Decimal(f"{digits}e{match['power'] or 0}"), unit


def _with_point(number: str) -> str | None:
    """Return digits with a decimal point, or None where the marks cannot be told apart."""
    sign = number[0] if number[:1] in "+-" else ""
    body = number[len(sign) :].strip()
    marks = [c for c in body if c in ".,"]
    if len(set(marks)) == 2:
        # Both in use: the last one parts the fraction, the other one groups thousands.
        whole, last, fraction = body.rpartition(marks[-1])
        if last in whole or not re.fullmatch(rf"\d{{1,3}}(?:[{'.' if last == ',' else ','}]\d{{3}})+", whole):
            return None
        whole = re.sub(r"[.,]", "", whole)
    elif len(marks) == 1:
        whole, _, fraction = body.partition(marks[0])
    elif not marks:
        whole, fraction = body, ""
    else:
        if not re.fullmatch(rf"\d{{1,3}}(?:\{marks[0]}\d{{3}})+", body):
            return None
        whole, fraction = body.replace(marks[0], ""), ""
    if re.search(r"[ ']", whole):
        if not re.fullmatch(r"\d{1,3}(?:[ ']\d{3})+", whole):
            return None
        whole = re.sub(r"[ ']", "", whole)
    if not re.fullmatch(r"\d*", whole) or not re.fullmatch(r"\d*", fraction) or not whole + fraction:
        return None
    return f"{sign}{whole or '0'}.{fraction or '0'}"


def _scaled(number: Decimal, unit: Unit) -> float:
    # In decimals, so that 26,5 mm becomes the same float as 0.0265 and not its neighbour.
    return float(number * Decimal(repr(unit.factor)))


def shown(value: float | None, unit: Unit) -> str:
    """Write an SI value for a field: the shortest digits that say the same, "" for None.

    Parameters
    ----------
    value : float or None
        In SI units.
    unit : Unit
        In which it is shown.
    """
    if value is None:
        return ""
    scaled = Decimal(repr(float(f"{value:.12g}"))) / Decimal(repr(unit.factor))
    text = f"{float(scaled):.10g}"
    return numeral(text.replace("-", "\u2212") if "e" not in text else text)


def fitting_unit(value: float | None, family: Family) -> Unit:
    """Return the family's unit in which a value was most likely typed: the first, which is the usual one."""
    if value is None or value == 0.0:
        return family.units[0]
    first = family.units[0]
    if 1e-3 <= abs(value) / first.factor < 1e5:
        return first
    return min(family.units, key=lambda unit: abs(math.log10(abs(value) / unit.factor) - 1.0))
