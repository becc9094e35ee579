"""Numbers as a laboratory writes them."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis import interval, plain, with_uncertainty


@pytest.mark.parametrize(
    ("value", "u", "unit", "words"),
    [
        (0.97123, 0.00341, "", "0.9712 ± 0.0034"),
        (0.97123, 0.00341, "1", "0.9712 ± 0.0034"),
        (1.234, 0.0123, "m/s", "(1.234 ± 0.012) m/s"),
        (-1.234, 0.0123, "mm", "(−1.234 ± 0.012) mm"),
        (0.5, 0.0996, "", "0.50 ± 0.10"),
        (36.8, 12.0, "s", "(37 ± 12) s"),
        (9.99996, 0.00012, "", "9.99996 ± 0.00012"),
        (123456.0, 1200.0, "m", "(1.235 ± 0.012) × 10⁵ m"),
        (6.02e-7, 1.1e-8, "m", "(6.02 ± 0.11) × 10⁻⁷ m"),
        (-3e-7, 2e-4, "m", "(0.0 ± 2.0) × 10⁻⁴ m"),
        (0.0, 5.0, "s", "(0.0 ± 5.0) s"),
        (0.0, 99.6, "s", "(0.0 ± 1.0) × 10² s"),
        (0.0, 99.4, "s", "(0 ± 99) s"),
        (9.80665, 0.0, "m/s²", "9.807 m/s² (exact)"),
        (1.5, math.nan, "m", "1.500 m (uncertainty not known)"),
        (math.nan, 0.1, "m", "not known"),
        (math.inf, 0.1, "m", "not known"),
    ],
)
def test_value_and_uncertainty_end_at_the_same_place(value: float, u: float, unit: str, words: str) -> None:
    assert with_uncertainty(value, u, unit) == words


@example(value=0.0, u=99.5)
@given(value=st.floats(-1e12, 1e12), u=st.floats(1e-12, 1e9))
def test_uncertainty_has_two_figures_and_the_value_is_not_moved_by_more_than_rounding(
    value: float, u: float
) -> None:
    words = with_uncertainty(value, u)
    match = re.fullmatch(r"\(?(−?[\d.]+) ± ([\d.]+)\)?(?: × 10([⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+))?", words)
    assert match, words
    shown, shown_u, power = match.groups()
    scale = 10.0 ** int((power or "⁰").translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")))
    assert len(shown_u.replace(".", "").lstrip("0")) == 2, words
    assert len(shown.partition(".")[2]) == len(shown_u.partition(".")[2]), words
    assert float(shown_u) * scale == pytest.approx(u, rel=0.051)
    assert abs(float(shown.replace("−", "-")) * scale - value) <= 0.051 * u + 1e-12 * abs(value)


@pytest.mark.parametrize(
    ("low", "high", "u", "words"),
    [
        (0.96412, 0.97799, 0.0035, "0.9641 to 0.9780"),
        (8.419, 12.61, 1.06, "8.4 to 12.6"),
        (1.0, 2.0, 0.0, "1.000 to 2.000"),
    ],
)
def test_intervals_end_where_the_uncertainty_does(low: float, high: float, u: float, words: str) -> None:
    assert interval(low, high, u) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "0"),
        (9.80665, "9.807"),
        (0.000123456, "0.0001235"),
        (1.5e-7, "1.500 × 10⁻⁷"),
        (2e8, "2.000 × 10⁸"),
        (math.nan, "not known"),
    ],
)
def test_plain_numbers(value: float, words: str) -> None:
    assert plain(value) == words
