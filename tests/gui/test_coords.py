"""The half pixel, and that every way there has a way back."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QTransform

from calibration import Pixel
from measure_app.gui.coords import StripMap, ViewMap, pixel_at, scene_at

_place = st.floats(-5000, 5000)


def test_the_centre_of_the_first_pixel_is_half_a_pixel_into_the_scene() -> None:
    assert scene_at(Pixel(0.0, 0.0)) == QPointF(0.5, 0.5)
    assert pixel_at(QPointF(0.5, 0.5)) == Pixel(0.0, 0.0)


@given(_place, _place, st.floats(0.05, 40), _place, _place)
def test_view_and_pixel_are_inverse(x: float, y: float, scale: float, dx: float, dy: float) -> None:
    view = ViewMap(QTransform.fromScale(scale, scale).translate(dx, dy))
    back = view.pixel_at(view.view_at(Pixel(x, y)))
    assert abs(back.x - x) < 1e-6
    assert abs(back.y - y) < 1e-6
    assert abs(view.scale - scale) < 1e-9 * scale


@given(st.integers(0, 5000), st.floats(0, 900), st.booleans(), st.floats(0, 400), st.floats(8, 6000))
def test_strip_and_frame_are_inverse(
    frame: int, along: float, upward: bool, first: float, width: float
) -> None:
    way = StripMap(QRectF(58, 3, 700, 90), first, first + width, 901, upward)
    assert way.frame_at(way.x_at(frame)) == frame
    assert abs(way.along_at(way.y_at(along)) - along) < 1e-6


def test_the_start_of_an_upward_strip_is_at_the_bottom() -> None:
    up = StripMap(QRectF(0, 0, 100, 100), 0, 10, 100, True)
    down = StripMap(QRectF(0, 0, 100, 100), 0, 10, 100, False)
    assert up.y_at(0) == 99.5
    assert down.y_at(0) == 0.5
    assert up.x_at(0) == 5.0  # the middle of the first of ten columns
