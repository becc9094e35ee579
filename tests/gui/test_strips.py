"""The picture of a strip while it grows, and what is drawn on it."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtGui import QFont, QFontMetricsF
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from calibration import Pixel, Segment
from measure_app.edits import SetCaptureRate, SetGaugeLine
from measure_app.gui.marks import Kind
from measure_app.gui.strip_layers import layers_of, length_words
from measure_app.gui.strip_paint import fitting
from measure_app.gui.strip_picture import StripPicture
from measure_app.run import LinePart
from measure_app.strips import Strip, StripLine
from tests.gui.conftest import Driver


def _strip(count: int = 60, length: int = 40, bit_depth: int = 8) -> Strip:
    line = StripLine("head", Segment(Pixel(0.0, 0.0), Pixel(0.0, float(length - 1))))
    kind = np.uint8 if bit_depth == 8 else np.uint16
    scale = 2 ** (bit_depth - 8)
    levels = np.full((count, length), 40 * scale, dtype=kind)
    for i in range(count):
        levels[i, i // 2 :] = 200 * scale  # the edge runs along the line, half a pixel a frame
    return Strip(line, np.arange(count), levels, bit_depth)


@pytest.mark.parametrize("bit_depth", [8, 10])
@pytest.mark.parametrize("upward", [True, False])
def test_pixels_stand_where_the_strip_has_them(upward: bool, bit_depth: int) -> None:
    strip = _strip(bit_depth=bit_depth)
    picture = StripPicture(strip, upward)
    for rows in (10, 25, 60):
        picture.fill(rows)
    image = picture.image()
    assert (image.width(), image.height()) == (60, 40)
    for frame in (0, 31, 59):
        greys = [image.pixelColor(frame, y).red() for y in range(40)]
        along = greys[::-1] if upward else greys
        assert max(along[: frame // 2], default=0) < 100
        assert min(along[frame // 2 :]) > 150


def test_what_is_not_read_yet_stays_dark() -> None:
    picture = StripPicture(_strip(), upward=False)
    picture.fill(30)
    assert picture.rows == 30
    assert picture.image().pixelColor(40, 39).red() == 0


def test_heads_stand_upright_whichever_way_the_line_was_drawn(driver: Driver) -> None:
    driver.open_bench()
    document = driver.window.bench.document
    line = document.run.gauge_line
    assert layers_of(document, Kind.SURFACE).upward is False  # drawn downward: its start is on top
    document.perform(SetGaugeLine(LinePart(line.to_px, line.from_px)))
    assert layers_of(document, Kind.SURFACE).upward is True
    assert layers_of(document, Kind.LANDING).upward is True  # far throws on top


def test_the_law_follows_the_found_surface_and_ticks_are_heads(driver: Driver) -> None:
    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    document = driver.window.bench.document
    layers = layers_of(document, Kind.SURFACE)
    on_law = np.interp(layers.found_frames, layers.law_frames, layers.law_along)
    assert np.max(np.abs(on_law - layers.found_along)) < 3.0
    throw = layers_of(document, Kind.LANDING)
    on_law = np.interp(throw.found_frames, throw.law_frames, throw.law_along)
    assert np.median(np.abs(on_law - throw.found_along)) < 4.0
    for tick in layers.ticks:
        place = layers.segment.at(np.array([tick.along]))
        head = document.outcome.calibration.heads(place, np.zeros(1)).values[0]
        assert 100 * head == pytest.approx(float(tick.words.replace("−", "-")), abs=1e-6)


def test_zero_on_an_axis_has_no_sign() -> None:
    """A line that begins just below the hole has its first round length at minus zero."""
    first = 0.05 * float(np.ceil(-0.3))
    assert [length_words(v, 0) for v in (first, first - 0.05, first + 0.05)] == ["0", "−5", "5"]


def test_the_time_axis_follows_the_capture_rate(driver: Driver) -> None:
    driver.open_bench()
    deck, document = driver.window.deck, driver.window.bench.document
    before = deck.head.time.seconds[-1]
    document.perform(SetCaptureRate(150.0))  # the film plays at 15 a second: ten times slower than it was
    assert deck.head.time.seconds[-1] == pytest.approx(before / 10)


def test_the_time_axis_stretches_about_the_pointer_and_follows_the_frame(driver: Driver) -> None:
    driver.open_bench()
    deck = driver.window.deck
    deck._zoom(4.0, 150.0)
    time = deck.head.time
    assert time.last - time.first == pytest.approx(75.0)
    assert (150.0 - time.first) / 75.0 == pytest.approx(0.5)
    assert deck.throw.time == time
    driver.window.bench.document.go_to(290)
    assert deck.head.time.first <= 290 < deck.head.time.last
    deck.show_whole()
    assert (deck.head.time.first, deck.head.time.last) == (0.0, 300.0)


def test_strips_are_read_anew_when_a_line_moves(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    driver.settles()
    document, head = driver.window.bench.document, driver.window.deck.head
    old = head.picture
    line = document.run.gauge_line
    document.perform(SetGaugeLine(LinePart(line.from_px, Pixel(line.to_px.x, line.to_px.y - 40))))
    qtbot.waitUntil(lambda: head.picture is not None and head.picture is not old, timeout=60_000)
    driver.settles()
    assert head.picture.length == old.length - 40
    assert head.picture.rows == 300


@pytest.mark.qt_log_ignore("does not support raise")  # the offscreen platform alone says so
def test_a_crop_shows_the_pixels_beneath_a_reading(driver: Driver, qtbot: QtBot) -> None:
    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    driver.window.bench.frame_crop(50, 150, 110)
    qtbot.waitUntil(driver.window.crops.isVisible, timeout=60_000)
    assert driver.window.crops._reply.index == 50
    assert [name for name, _ in driver.window.crops._spots] == ["surface", "landing"]
    driver.window.bench.frame_crop(-1, 0, 0)
    assert not driver.window.crops.isVisible()


def test_the_title_of_a_low_strip_is_smaller_rather_than_cut(qapp: QApplication) -> None:
    font = QFont(qapp.font())
    font.setPointSizeF(16.0)
    words = "Wurfweite / cm"
    width = QFontMetricsF(font).horizontalAdvance(words)
    assert fitting(font, words, 1.2 * width).pointSizeF() == 16.0
    low = fitting(font, words, 0.7 * width)
    assert QFontMetricsF(low).horizontalAdvance(words) <= 0.72 * width
    assert low.pointSizeF() > 10.0
    assert fitting(font, words, 1.0).pointSizeF() == 6.0  # smaller than that nobody reads
