"""The value that is offered for the next graduation."""

from __future__ import annotations

import pytest

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
