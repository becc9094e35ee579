"""The value that is offered for the next graduation."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration import Pixel
from measure_app.gui.graduating import offered_value
from measure_app.run import GraduationPart


def _marked(*pairs: tuple[float, float]) -> list[GraduationPart]:
    return [GraduationPart(px=Pixel(300.0 + 0.01 * y, y), value_m=value) for y, value in pairs]


def test_two_marks_are_needed() -> None:
    assert offered_value(_marked((600.0, 0.0)), Pixel(300, 500)) is None


@pytest.mark.parametrize(("y", "wanted"), [(480.0, 0.10), (361.0, 0.20), (243.0, 0.30), (719.0, -0.10)])
def test_the_next_round_value_is_offered_where_the_place_says_so(y: float, wanted: float) -> None:
    # 0 at 600 px and 50 mm at 540 px: 1.2 px a millimetre.
    assert offered_value(_marked((600.0, 0.0), (540.0, 0.05)), Pixel(304, y)) == pytest.approx(
        wanted, abs=1e-9
    )


def test_a_value_that_is_marked_already_is_not_offered_again() -> None:
    assert offered_value(_marked((600.0, 0.0), (540.0, 0.05)), Pixel(300, 541.0)) is None


def test_odd_values_are_offered_to_the_step_they_share() -> None:
    # 70 and 100 mm, 30 mm apart: the next that a class would mark may be 130, in tens.
    assert offered_value(_marked((320.0, 0.07), (284.0, 0.10)), Pixel(303, 248.0)) == pytest.approx(0.13)


_SPARSE = [(58.5, 0.25), (122.6, 0.20), (250.6, 0.10), (314.9, 0.05)]


@pytest.mark.parametrize(("y", "wanted"), [(366.1, 0.01), (352.0, 0.02), (378.7, 0.0), (160.9, 0.17)])
def test_the_place_pressed_goes_before_a_round_value_that_lies_elsewhere(y: float, wanted: float) -> None:
    # 0.8 mm a pixel, marked in fifties: the line pressed next may be one of the tens between them.
    assert offered_value(_marked(*_SPARSE), Pixel(301.0, y)) == pytest.approx(wanted, abs=1e-9)


@given(st.floats(0.05, 3.0), st.floats(-900.0, 900.0))
def test_what_is_offered_never_lies_far_from_the_place(px_per_mm: float, y: float) -> None:
    marked = [GraduationPart(px=Pixel(40.0, -px_per_mm * mm), value_m=mm / 1000) for mm in (0, 100, 300)]
    value = offered_value(marked, Pixel(40.0, y))
    if value is not None:
        beyond = max(0.0, y, -y - 300 * px_per_mm)
        # As a straight line through these three is known: 3 px for the press, and for how far it is carried on.
        leaning = 3.0 * (2.0 + (abs(-y / px_per_mm - 133.3) / 216.0) ** 2) ** 0.5
        assert abs(-1000 * value * px_per_mm - y) <= leaning + 0.02 * beyond + 1e-6
