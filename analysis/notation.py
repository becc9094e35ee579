"""Numbers as a laboratory writes them: the uncertainty to two figures, the value to the same place."""

from __future__ import annotations

import math

from analysis.words import numeral, said

_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def with_uncertainty(value: float, u: float, unit: str = "") -> str:
    """
    Write a value with its standard uncertainty.

    Parameters
    ----------
    value, u : float
        Value and standard uncertainty in the same unit.
    unit : str
        Unit to be written after the number; "1" and "" write none.

    Returns
    -------
    str
        Such as ``"0.9712 ± 0.0034"``, ``"(1.234 ± 0.012) m/s"`` or ``"(6.02 ± 0.11) × 10⁻⁷ m"``. The
        uncertainty has two significant figures and the value ends at the same place (JCGM 100, 7.2.6).
        An uncertainty of zero is written as "exact"; a number that is not finite as "not known".
    """
    tail = "" if unit in ("", "1") else f" {unit}"
    if not math.isfinite(value):
        return said("not known")
    if not math.isfinite(u) or u < 0.0:
        return said("{number} (uncertainty not known)", number=plain(value) + tail)
    if u == 0.0:
        return said("{number} (exact)", number=plain(value) + tail)
    power = _power_of_ten(value, u)
    scale = 10.0**power
    decimals = _decimals(u / scale)
    number = f"{_rounded(value / scale, decimals)} ± {_rounded(u / scale, decimals)}"
    if power:
        number = f"({number}) × 10{str(power).translate(_SUPERSCRIPTS)}"
    elif tail:
        number = f"({number})"
    return number + tail


def plain(value: float, figures: int = 4) -> str:
    """Write a number without an uncertainty to so many significant figures."""
    if not math.isfinite(value):
        return said("not known")
    if value == 0.0:
        return "0"
    exponent = math.floor(math.log10(abs(value)))
    if -4 <= exponent < 6:
        return _rounded(value, max(0, figures - 1 - exponent))
    return f"{_rounded(value / 10.0**exponent, figures - 1)} × 10{str(exponent).translate(_SUPERSCRIPTS)}"


def interval(low: float, high: float, u: float, unit: str = "") -> str:
    """Write an interval to the place at which a standard uncertainty `u` ends: ``"0.964 to 0.978"``."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return said("not known")
    tail = "" if unit in ("", "1") else f" {unit}"
    if not math.isfinite(u) or u <= 0.0:
        return said("{low} to {high}", low=plain(low), high=plain(high)) + tail
    power = _power_of_ten(max(abs(low), abs(high)), u)
    scale = 10.0**power
    decimals = _decimals(u / scale)
    number = said(
        "{low} to {high}", low=_rounded(low / scale, decimals), high=_rounded(high / scale, decimals)
    )
    if power:
        number = f"({number}) × 10{str(power).translate(_SUPERSCRIPTS)}"
    return number + tail


def _power_of_ten(value: float, u: float) -> int:
    """Power of ten to take out so that neither a row of zeros nor made-up digits stand in the number."""
    shown_u = _two_figures(u)
    exponent = math.floor(math.log10(max(abs(value), shown_u)))
    last_place = math.floor(math.log10(shown_u)) - 1
    # A value such as 123400 ± 1200 would have to write zeros that are not known.
    return exponent if exponent < -3 or exponent >= 6 or last_place > 0 else 0


def _decimals(u: float) -> int:
    """Count the decimals that show `u` to two significant figures (0.0996 becomes 0.10)."""
    return max(0, 1 - math.floor(math.log10(_two_figures(u))))


def _two_figures(u: float) -> float:
    """An uncertainty as it is shown: 99.5 is 1.0 × 10² then, and may begin a place further up."""
    return float(f"{u:.1e}")


def _rounded(value: float, decimals: int) -> str:
    """Write a fixed number of decimals, without a minus before zero."""
    text = f"{value:.{decimals}f}"
    return numeral(text.lstrip("-") if float(text) == 0.0 else text.replace("-", "−"))
