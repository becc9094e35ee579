"""Numbers as people type them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure_app.gui.panels.quantity import (
    AREA,
    CM,
    LENGTH_MM,
    MM,
    RATE,
    M,
    NotANumber,
    Typed,
    Unit,
    fitting_unit,
    shown,
    typed,
)

UNITS = st.sampled_from([MM, CM, M])


@pytest.mark.parametrize(
    ("text", "value", "u"),
    [
        ("26,5", 0.0265, None),
        ("26.5", 0.0265, None),
        ("26,5 mm", 0.0265, None),
        ("2,65 cm", 0.0265, None),
        ("0.0265m", 0.0265, None),
        (" 26,5 ± 0,1 mm ", 0.0265, 0.0001),
        ("2.65 cm +/- 0.1 mm", 0.0265, 0.0001),
        ("26,5 ± 0,1", 0.0265, 0.0001),
        ("\u221227", -0.027, None),
        ("-27", -0.027, None),
        ("1 234,5", 1.2345, None),
        ("1\u202f234,5", 1.2345, None),
        ("1.234,5", 1.2345, None),
        ("1,234.5", 1.2345, None),
        (",5", 0.0005, None),
        ("5,", 0.005, None),
        ("2,5e2", 0.25, None),
        ("+3", 0.003, None),
    ],
)
def test_what_is_typed_is_what_is_meant(text: str, value: float, u: float | None) -> None:
    read = typed(text, LENGTH_MM, MM)
    assert isinstance(read, Typed)
    assert (read.value, read.u) == (value, u)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("wide", "not a number"),
        ("12 kg", "not a unit"),
        ("1.2.3", "two ways"),
        ("1,2,3.4", "two ways"),
        ("1 2", "two ways"),
        ("3 ± -1", "below nought"),
        ("3 ± 1 ± 1", "one uncertainty"),
        ("1e999", "too large"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("=1+1", "not a number"),
        ("9" * 200, "too long"),
    ],
)
def test_what_is_no_number_is_refused_in_words(text: str, says: str) -> None:
    read = typed(text, LENGTH_MM, MM)
    assert isinstance(read, NotANumber)
    assert says in read.words


def test_empty_is_not_nought() -> None:
    assert typed("", LENGTH_MM, MM) is None
    assert typed(" \u00a0 ", LENGTH_MM, MM) is None
    assert typed("0", LENGTH_MM, MM) == Typed(0.0)


@given(st.floats(-1e3, 1e3).map(lambda v: float(f"{v:.9g}")), UNITS, st.booleans())
def test_what_is_shown_reads_back_the_same_with_comma_or_point(value: float, unit: Unit, comma: bool) -> None:
    text = shown(value, unit)
    if comma:
        text = text.replace(".", ",")
    read = typed(text, LENGTH_MM, unit)
    assert isinstance(read, Typed)
    assert read.value == pytest.approx(value, rel=2e-9, abs=1e-300)


@given(st.decimals(-9999, 9999, places=3), UNITS, UNITS)
def test_a_unit_written_wins_over_the_one_chosen(number: object, written: Unit, chosen: Unit) -> None:
    read = typed(f"{number} {written.symbol}", LENGTH_MM, chosen)
    assert isinstance(read, Typed)
    assert read.unit is written
    assert read.value == pytest.approx(float(str(number)) * written.factor, rel=1e-12, abs=1e-15)


@given(st.text(max_size=120))
def test_any_text_gives_a_number_or_words_never_an_error(text: str) -> None:
    read = typed(text, AREA, AREA.units[0])
    assert read is None or isinstance(read, Typed | NotANumber)


@given(st.decimals(0, 999, places=2), st.sampled_from([" ", "\u202f", "\u00a0", "'"]))
def test_grouped_thousands_are_the_plain_number(small: object, gap: str) -> None:
    grouped = typed(f"12{gap}345,{str(small).rpartition('.')[2]}", LENGTH_MM, M)
    assert isinstance(grouped, Typed)
    assert grouped.value == float(f"12345.{str(small).rpartition('.')[2]}")


def test_units_have_more_than_one_spelling() -> None:
    assert typed("22,9 cm2", AREA, AREA.units[1]) == Typed(22.9e-4, None, AREA.units[0])
    assert typed("240 fps", RATE, RATE.units[0]) == Typed(240.0, None, RATE.units[0])
    assert typed("240 Hz", RATE, RATE.units[0]) == Typed(240.0, None, RATE.units[0])


def test_a_unit_is_chosen_that_fits_the_size() -> None:
    assert fitting_unit(0.005, LENGTH_MM) is MM
    assert fitting_unit(500.0, LENGTH_MM) is M
    assert fitting_unit(None, LENGTH_MM) is MM
