"""What is drawn over the frame: rules with their residuals, plumb, orifice, lines, readings.

Everything is painted in the view's points, so that strokes keep their width at any zoom; each stroke has a
dark casing. Shapes tell the marks apart without colour: rules have bars, the plumb ends in a bob, the orifice
is a ring with its centre, the throw zero a wedge, a hand reading a ring with wings, a found one a lozenge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from msgspec.structs import replace
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen

from calibration import Pixel
from measure_app.gui.coords import ViewMap
from measure_app.gui.falling import mark_in
from measure_app.gui.hand import Draft
from measure_app.gui.marks import READINGS, Handle, Kind, place_of, spot_of
from measure_app.gui.overlays_falls import draw_falls
from measure_app.gui.theme import CASING, ON_FILM
from measure_app.run import By, FallPart, GraduationPart, Run
from measure_app.words import numeral, said

if TYPE_CHECKING:
    from calibration import RuleFit

WHISKER = 20.0
"""Whiskers show residuals so many times larger than they are on the film at the zoom in use."""
_BAR = 9.0
_LONGEST_WHISKER = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All that the overlay needs to know."""

    run: Run
    frame: int
    visible: tuple[Handle, ...]
    """Marks that may be seen."""
    draft: Draft
    selected: Handle | None
    fits: tuple[RuleFit, ...]
    """Of the run's rules; used where they belong to the same graduations."""
    tool_rule: int | None = None
    """Rule whose graduations are being marked."""
    falls: tuple[FallPart, ...] = ()
    """Falls that may be seen."""


def paint(painter: QPainter, view: ViewMap, scene: Scene) -> None:
    """Paint the marks of a run over its frame."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    places = {handle: place for handle in scene.visible if (place := place_of(scene.run, handle)) is not None}
    if scene.draft.handle is not None and scene.draft.at is not None:
        places[scene.draft.handle] = scene.draft.at
    pen = _Pen(painter, view)
    _rules(pen, scene, places)
    _line(pen, places, (Kind.PLUMB_TOP, Kind.PLUMB_BOTTOM), "plumb", "")
    _line(pen, places, (Kind.GAUGE_FROM, Kind.GAUGE_TO), "gauge", said("gauge line"))
    _line(pen, places, (Kind.LANDING_FROM, Kind.LANDING_TO), "landing_line", said("landing line"))
    for handle, place in places.items():
        if handle.kind is Kind.ORIFICE:
            pen.ring(place, 7.0, "orifice")
            pen.dot(place, "orifice")
        elif handle.kind is Kind.THROW_ZERO:
            pen.wedge(place, "throw_zero")
        elif handle.kind in READINGS:
            _reading(pen, scene.run, handle, place)
    draw_falls(pen, _falls(scene), scene.draft.fall, scene.frame)
    _draft(pen, scene.draft)
    if scene.selected is not None and scene.selected in places:
        pen.brackets(places[scene.selected], "cross")


def _falls(scene: Scene) -> tuple[FallPart, ...]:
    """Return the falls to draw, a mark that is being dragged where the hand has it."""
    handle, at = scene.draft.handle, scene.draft.at
    held = mark_in(scene.run, handle.fall, handle.frame) if handle is not None else None
    if held is None or at is None:
        return scene.falls
    return tuple(
        replace(fall, marks=tuple(replace(mark, px=at) if mark is held else mark for mark in fall.marks))
        for fall in scene.falls
    )


class _Pen:
    """Strokes with a casing, given in pixels of the film."""

    def __init__(self, painter: QPainter, view: ViewMap) -> None:
        self.painter = painter
        self.view = view

    def path(self, path: QPainterPath, colour: str, width: float = 1.6, dashed: bool = False) -> None:
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        for name, extra in ((CASING, 2.2), (ON_FILM[colour], 0.0)):
            stroke = QPen(QColor(name), width + extra)
            stroke.setCapStyle(Qt.PenCapStyle.RoundCap)
            if dashed and not extra:
                stroke.setDashPattern([5.0, 4.0])
            if extra:
                shade = QColor(name)
                shade.setAlphaF(0.75)
                stroke.setColor(shade)
            self.painter.setPen(stroke)
            self.painter.drawPath(path)

    def stroke(
        self, points: Sequence[QPointF], colour: str, width: float = 1.6, dashed: bool = False
    ) -> None:
        path = QPainterPath(points[0])
        for point in points[1:]:
            path.lineTo(point)
        self.path(path, colour, width, dashed)

    def ring(self, at: Pixel, radius: float, colour: str) -> None:
        path = QPainterPath()
        path.addEllipse(self.view.view_at(at), radius, radius)
        self.path(path, colour)

    def dot(self, at: Pixel, colour: str, radius: float = 1.8) -> None:
        self.painter.setPen(QPen(QColor(CASING), 1.0))
        self.painter.setBrush(QColor(ON_FILM[colour]))
        self.painter.drawEllipse(self.view.view_at(at), radius, radius)

    def wedge(self, at: Pixel, colour: str) -> None:
        tip = self.view.view_at(at)
        down, left, right = QPointF(0, -11), QPointF(-6, -11), QPointF(6, -11)
        self.stroke([tip, tip + left, tip + down, tip + right, tip], colour)

    def lozenge(self, at: Pixel, colour: str, size: float = 6.0) -> None:
        centre = self.view.view_at(at)
        turns = [QPointF(0, -size), QPointF(size, 0), QPointF(0, size), QPointF(-size, 0), QPointF(0, -size)]
        self.stroke([centre + turn for turn in turns], colour)

    def brackets(self, at: Pixel, colour: str, reach: float = 13.0, arm: float = 5.0) -> None:
        """Four corners round the mark that keys move."""
        centre = self.view.view_at(at)
        for sx in (-1, 1):
            for sy in (-1, 1):
                corner = centre + QPointF(sx * reach, sy * reach)
                self.stroke([corner - QPointF(sx * arm, 0), corner, corner - QPointF(0, sy * arm)], colour)

    def words(self, text: str, at: QPointF, colour: str) -> None:
        """Text with a dark ground, readable on any picture."""
        font = QFont(self.painter.font())
        font.setPointSizeF(max(7.5, font.pointSizeF() * 0.85))
        metrics = QFontMetricsF(font)
        width = metrics.horizontalAdvance(text)
        left = at.x() + 4
        box = QRectF(left - 3, at.y() - metrics.height() / 2, width + 6, metrics.height())
        ground = QColor(CASING)
        ground.setAlphaF(0.62)
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(ground)
        self.painter.drawRoundedRect(box, 3, 3)
        self.painter.setFont(font)
        self.painter.setPen(QColor(ON_FILM[colour]))
        self.painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)


def _direction(start: QPointF, end: QPointF) -> QPointF:
    step = end - start
    length = math.hypot(step.x(), step.y())
    return QPointF(step.x() / length, step.y() / length) if length > 0 else QPointF(0.0, -1.0)


def _rules(pen: _Pen, scene: Scene, places: dict[Handle, Pixel]) -> None:
    for r, rule in enumerate(scene.run.rules):
        marks = [
            (graduation, places[handle])
            for i, graduation in enumerate(rule.graduations)
            if (handle := Handle(Kind.GRADUATION, rule=r, index=i)) in places
        ]
        fit = scene.fits[r] if r < len(scene.fits) else None
        same = fit is not None and fit.values_m.tolist() == [g.value_m for g, _ in marks]
        _rule(pen, marks, fit if same else None, strong=scene.tool_rule == r)
    if scene.draft.pending:
        _rule(pen, [(graduation, graduation.px) for graduation in scene.draft.pending], None, strong=True)


def _rule(pen: _Pen, marks: list[tuple[GraduationPart, Pixel]], fit: RuleFit | None, *, strong: bool) -> None:
    if not marks:
        return
    points = [pen.view.view_at(place) for _, place in marks]
    along = _direction(points[0], points[-1]) if len(points) > 1 else QPointF(0.0, -1.0)
    across = QPointF(-along.y(), along.x())
    if across.x() < 0:  # whiskers stand on the right, or below a lying rule
        across = QPointF(-across.x(), -across.y())
    width = 2.0 if strong else 1.4
    crowded = len(points) > 1 and min(math.hypot(b.x() - a.x(), b.y() - a.y()) for a, b in pairwise(points))
    lying = abs(along.x()) > abs(along.y())
    for i, ((graduation, _), point) in enumerate(zip(marks, points, strict=True)):
        pen.stroke([point - across * _BAR, point + across * _BAR], "graduation", width)
        if not crowded or crowded > (34 if lying else 15) or i in (0, len(points) - 1):
            text = (
                numeral(f"{graduation.value_m * 1000:g} mm")
                if i in (0, len(points) - 1)
                else numeral(f"{graduation.value_m * 1000:g}")
            )
            if lying:
                pen.words(text, point + QPointF(-14, _BAR + 26), "graduation")
            elif crowded and crowded < 34:  # from afar: outside the rule
                pen.words(text, point - across * (_BAR + 54), "graduation")
            else:  # near: beyond the whisker, so that the engraved figures stay in sight
                pen.words(text, point + across * (_BAR + 12), "graduation")
        if fit is not None and len(points) > 2:
            _whisker(pen, point + across * (_BAR + 5), along, float(fit.residuals_px[i]), float(fit.u_px[i]))


def _whisker(pen: _Pen, foot: QPointF, along: QPointF, residual_px: float, u_px: float) -> None:
    """Draw how far a graduation was read towards growing values; a barb where that is twice its error."""
    length = max(-_LONGEST_WHISKER, min(_LONGEST_WHISKER, residual_px * WHISKER * min(pen.view.scale, 1.5)))
    tip = foot + along * length
    pen.dot(Pixel(*_pixel(pen, foot)), "graduation", 1.6)
    if abs(length) >= 1.0:
        pen.stroke([foot, tip], "graduation", 1.6)
    if u_px > 0 and abs(residual_px) > 2 * u_px:
        side = QPointF(-along.y(), along.x()) * 4.0
        pen.stroke([tip - side, tip + side], "graduation", 2.0)


def _pixel(pen: _Pen, point: QPointF) -> tuple[float, float]:
    pixel = pen.view.pixel_at(point)
    return pixel.x, pixel.y


def _line(pen: _Pen, places: dict[Handle, Pixel], ends: tuple[Kind, Kind], colour: str, name: str) -> None:
    first, last = places.get(Handle(ends[0])), places.get(Handle(ends[1]))
    if first is None or last is None:
        return
    start, end = pen.view.view_at(first), pen.view.view_at(last)
    along = _direction(start, end)
    across = QPointF(-along.y(), along.x())
    pen.stroke([start, end], colour, 1.4, dashed=ends[0] is Kind.PLUMB_TOP)
    if ends[0] is Kind.PLUMB_TOP:  # the bob
        pen.stroke([end, end - along * 9 + across * 4, end - along * 9 - across * 4, end], colour)
        pen.stroke([start - across * 5, start + across * 5], colour)
        return
    pen.stroke([start - across * 6, start + across * 6], colour)
    pen.stroke([end - across * 6, end + across * 6], colour)
    pen.stroke([end - along * 7 - across * 4, end, end - along * 7 + across * 4], colour)
    if name:
        lying = abs(along.x()) > abs(along.y())
        upper = start if start.y() < end.y() else end  # at the lower end of an upright one is the hole
        pen.words(name, end + QPointF(-40, -14) if lying else upper + QPointF(8, -4), colour)


def _reading(pen: _Pen, run: Run, handle: Handle, place: Pixel) -> None:
    spot = spot_of(run, handle)
    if spot is None:
        return
    if spot.by is By.FOUND:
        pen.lozenge(place, "found")
        pen.dot(place, "found", 1.4)
        return
    pen.ring(place, 6.0, "hand")
    centre = pen.view.view_at(place)
    wing = QPointF(10, 0) if handle.kind is Kind.SURFACE else QPointF(0, 10)
    near = QPointF(wing.x() * 0.6, wing.y() * 0.6)
    far = QPointF(wing.x() * 1.5, wing.y() * 1.5)
    pen.stroke([centre + near, centre + far], "hand")
    pen.stroke([centre - near, centre - far], "hand")
    pen.dot(place, "hand", 1.2)


def _draft(pen: _Pen, draft: Draft) -> None:
    if draft.line_from is not None:
        start = pen.view.view_at(draft.line_from)
        pen.dot(draft.line_from, "cross", 3.0)
        if draft.at is not None:
            pen.stroke([start, pen.view.view_at(draft.at)], "cross", 1.4)
    if draft.graduation is not None:
        pen.brackets(draft.graduation, "graduation")
        pen.dot(draft.graduation, "graduation")
    elif draft.at is not None:
        centre = pen.view.view_at(draft.at)
        for arm in (QPointF(1, 0), QPointF(0, 1)):
            pen.stroke([centre + arm * 4, centre + arm * 14], "cross", 1.0)
            pen.stroke([centre - arm * 4, centre - arm * 14], "cross", 1.0)
