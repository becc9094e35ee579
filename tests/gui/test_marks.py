"""Marks of a run: what moving and removing each one means."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPointF
from PySide6.QtGui import QImage, QPainter, QTransform
from PySide6.QtWidgets import QApplication

from calibration import Measures, Pixel
from measure_app.gui import overlays
from measure_app.gui.coords import ViewMap
from measure_app.gui.hand import Draft
from measure_app.gui.marks import Handle, Kind, handles_of, moved, nearest, place_of, removed, spot_of
from measure_app.run import (
    By,
    ClipPart,
    GraduationPart,
    LinePart,
    OrificePart,
    PlumbPart,
    Reading,
    RulePart,
    Run,
    Spot,
    ThrowZeroPart,
)

RUN = Run(
    clip=ClipPart(path="film.mp4"),
    rules=(
        RulePart(
            "rule",
            Measures.HEAD,
            tuple(GraduationPart(Pixel(100.0, 400.0 - 100 * i), 0.1 * i) for i in range(3)),
            0.0002,
            0.5,
        ),
    ),
    plumb=PlumbPart(Pixel(20.0, 10.0), Pixel(21.0, 500.0)),
    orifice=OrificePart(px=Pixel(150.0, 420.0), px_u=0.7, diameter_m=0.005, behind_m=0.01),
    throw_zero=ThrowZeroPart(Pixel(150.0, 600.0), 0.7, behind_m=-0.02),
    gauge_line=LinePart(Pixel(130.0, 50.0), Pixel(130.0, 410.0), behind_m=-0.03, above_level_m=0.001),
    landing_line=LinePart(Pixel(160.0, 600.0), Pixel(900.0, 590.0)),
    readings=(
        Reading(
            7,
            Spot(Pixel(130.0, 200.0), 0.1, By.FOUND),
            Spot(Pixel(700.0, 592.7), 1.5, By.HAND),
        ),
    ),
)


@pytest.mark.parametrize("handle", handles_of(RUN, 7), ids=lambda handle: handle.kind.name)
def test_a_mark_moves_to_where_it_is_put_and_nothing_else_moves(handle: Handle) -> None:
    was = place_of(RUN, handle)
    assert was is not None
    to = Pixel(was.x + 3.0, was.y - 2.0)
    edit = moved(RUN, handle, to)
    assert edit is not None
    after = edit.apply(RUN)
    now = place_of(after, handle)
    assert now is not None
    if handle.kind is Kind.SURFACE:
        assert now == Pixel(130.0, 198.0)  # put on its line
    elif handle.kind is not Kind.LANDING:
        assert now == to
    others = [h for h in handles_of(RUN, 7) if h != handle]
    assert [place_of(after, h) for h in others] == [place_of(RUN, h) for h in others]


def test_moving_a_line_keeps_its_depth_and_meniscus() -> None:
    edit = moved(RUN, Handle(Kind.GAUGE_TO), Pixel(131.0, 405.0))
    assert edit is not None
    line = edit.apply(RUN).gauge_line
    assert line is not None
    assert (line.behind_m, line.above_level_m) == (-0.03, 0.001)


def test_a_found_reading_that_is_moved_becomes_one_by_hand() -> None:
    edit = moved(RUN, Handle(Kind.SURFACE, frame=7), Pixel(130.0, 190.0), px_u=0.4)
    assert edit is not None
    spot = spot_of(edit.apply(RUN), Handle(Kind.SURFACE, frame=7))
    assert spot == Spot(Pixel(130.0, 190.0), 0.4, By.HAND)


def test_a_hand_reading_that_is_moved_keeps_its_uncertainty() -> None:
    edit = moved(RUN, Handle(Kind.LANDING, frame=7), Pixel(690.0, 592.0), px_u=0.4)
    assert edit is not None
    spot = spot_of(edit.apply(RUN), Handle(Kind.LANDING, frame=7))
    assert spot is not None
    assert spot.px_u == 1.5


@pytest.mark.parametrize("handle", handles_of(RUN, 7), ids=lambda handle: handle.kind.name)
def test_a_mark_that_is_removed_is_gone(handle: Handle) -> None:
    edit = removed(RUN, handle)
    assert edit is not None
    after = edit.apply(RUN)
    if handle.kind is Kind.GRADUATION:
        assert len(after.rules[0].graduations) == 2
    else:
        assert place_of(after, handle) is None


def test_a_rule_with_two_graduations_goes_as_a_whole() -> None:
    once = removed(RUN, Handle(Kind.GRADUATION, rule=0, index=0))
    assert once is not None
    two = once.apply(RUN)
    edit = removed(two, Handle(Kind.GRADUATION, rule=0, index=0))
    assert edit is not None
    assert edit.apply(two).rules == ()


def test_the_nearest_mark_is_taken_and_none_out_of_reach() -> None:
    view = ViewMap(QTransform.fromScale(2.0, 2.0))
    handles = handles_of(RUN, 7)
    point = view.view_at(Pixel(150.0, 420.0)) + QPointF(4.0, 3.0)
    assert nearest(RUN, handles, point, view) == Handle(Kind.ORIFICE)
    assert nearest(RUN, handles, point + QPointF(60.0, 60.0), view) is None


def test_a_landing_is_put_on_the_foot_of_its_place_on_the_tilted_line() -> None:
    edit = moved(RUN, Handle(Kind.LANDING, frame=7), Pixel(530.0, 640.0))
    assert edit is not None
    spot = spot_of(edit.apply(RUN), Handle(Kind.LANDING, frame=7))
    assert spot is not None
    # The line falls by 10 px over 740 px: its foot by hand.
    slope = -10.0 / 740.0
    x = 160.0 + (530.0 - 160.0 + slope * (640.0 - 600.0)) / (1 + slope**2)
    assert spot.px == pytest.approx((x, 600.0 + slope * (x - 160.0)), abs=0.006)


@pytest.mark.parametrize("turned", [False, True])
def test_the_gauge_lines_name_stands_clear_of_the_hole(
    monkeypatch: pytest.MonkeyPatch, qapp: QApplication, turned: bool
) -> None:
    assert qapp is not None
    assert RUN.gauge_line is not None
    line = RUN.gauge_line
    run = replace(RUN, gauge_line=LinePart(line.to_px, line.from_px)) if turned else RUN
    named: dict[str, QPointF] = {}
    monkeypatch.setattr(overlays._Pen, "words", lambda _pen, text, at, _colour: named.update({text: at}))
    picture = QImage(1000, 700, QImage.Format.Format_RGB32)
    painter = QPainter(picture)
    scene = overlays.Scene(run, 0, handles_of(run, 0), Draft(), None, ())
    overlays.paint(painter, ViewMap(QTransform()), scene)
    painter.end()
    # The hole is marked at y = 420, ten pixels below the line's lower end.
    assert named["gauge line"].y() < 100.0
    assert named["landing line"].x() > 800.0
