"""Datum, second part: the gauge line, its depth and its meniscus, and the landing line."""

from __future__ import annotations

import math

from msgspec.structs import replace

from analysis import with_uncertainty
from measure_app.cross_checks import meniscus_doubt
from measure_app.edits import SetGaugeLine, SetLandingLine
from measure_app.gui.panels.datum_marks import DONE, OPEN, Block
from measure_app.gui.panels.drawings import DepthDrawing
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.instruments import DEPTHS, Instrument, radius_of_area
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Sentence, button, row
from measure_app.gui.panels.quantity import LENGTH_MM
from measure_app.gui.tools import Tool
from measure_app.run import LinePart, Run
from measure_app.words import marked, said

_MENISCUS = (
    Instrument(
        marked("dyed water on clean plastic"),
        0.3e-3,
        marked("About 1 mm of meniscus, known to about 0.3 mm."),
    ),
    Instrument(marked("judged with a lens"), 0.2e-3, marked("Seen with a magnifier beside the wall.")),
)


class GaugeBlock(Block):
    """The gauge line, its depth and the meniscus."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(panel, said("Gauge line"))
        self.tool_button(
            said("Draw the gauge line"),
            said("Drag from above the highest water level to below the lowest"),
            Tool.GAUGE_LINE,
        )
        self.drawing = DepthDrawing(said("water line"))
        self.section.add(self.drawing)
        self.words = Sentence()
        self.section.add(self.words)
        self.behind = self.field(
            QuantityField(
                said("Water line behind the jet's plane"),
                LENGTH_MM,
                said(
                    "The water line that you see lies on the container's near wall: type the inner "
                    "radius with a minus, such as −27 for a tube of 54 mm bore."
                ),
                instruments=DEPTHS,
                needed=True,
            )
        )
        self.from_area = button(
            said("Take it from the container's area"),
            said("For a round container with the jet's plane through its axis: the radius is √(area/π)"),
        )
        self.from_area.clicked.connect(self._take_radius)
        self.section.add(row(self.from_area))
        self.radius_words = Sentence(tone="faint")
        self.section.add(self.radius_words)
        self.meniscus = self.field(
            QuantityField(
                said("Edge that is read, above the flat level"),
                LENGTH_MM,
                said(
                    "Dyed water is seen up to the top of its meniscus, about 1 mm on clean plastic and 3 "
                    "mm on clean glass; a dark band in clear water marks the level itself: 0."
                ),
                instruments=_MENISCUS,
                needed=True,
            )
        )
        self.doubt = Sentence(tone="warning")
        self.section.add(self.doubt)
        self.behind.committed.connect(lambda d, u: self._change(self.behind, behind_m=d, behind_u_m=u or 0.0))
        self.meniscus.committed.connect(
            lambda h, u: self._change(self.meniscus, above_level_m=h, above_level_u_m=u or 0.0)
        )

    def _change(self, field: QuantityField, **parts: float) -> None:
        run = self.panel.run
        if run is not None and run.gauge_line is not None:
            self.panel.ask(SetGaugeLine(replace(run.gauge_line, **parts)), field)

    def show(self, run: Run | None) -> None:
        """Show the line as the run has it."""
        line = run.gauge_line if run is not None else None
        self.section.set_state(DONE if line is not None else said("{open} not drawn", open=OPEN))
        self.where.say(_line_words(line, said("across every water level, where the edge is clear")))
        for field in (self.behind, self.meniscus):
            field.setEnabled(line is not None)
        self.drawing.set_depth(
            line.behind_m if line else 0.0, run.camera.distance_m if run is not None else None
        )
        self.drawing.setVisible(line is not None)
        self.words.say(self.drawing.words if line is not None else "")
        self.behind.set_values(*((line.behind_m, line.behind_u_m) if line else (None, None)))
        self.meniscus.set_values(*((line.above_level_m, line.above_level_u_m) if line else (None, None)))
        self._offer_radius(run)
        doubt = meniscus_doubt(line) if line is not None else ""
        self.doubt.say(f"{doubt}." if doubt else "")

    def _offer_radius(self, run: Run | None) -> None:
        """Offer the inner radius of a round container whose area is known, until it is taken."""
        line = run.gauge_line if run is not None else None
        radius = _radius(run)
        taken = (
            line is not None
            and radius is not None
            and math.isclose(line.behind_m, -radius[0])
            and math.isclose(line.behind_u_m, radius[1], abs_tol=1e-9)
        )
        self.from_area.setVisible(line is not None and radius is not None and not taken)
        if line is None or taken:
            self.radius_words.say("")
        elif radius is None:
            self.radius_words.say(
                said("Or give the container's area (Container): a round one's inner radius is offered here.")
            )
        else:
            offered = with_uncertainty(1e3 * radius[0], 1e3 * radius[1], "mm")
            self.radius_words.say(
                said("Round, by its area, the container has an inner radius of {radius}.", radius=offered)
            )

    def _take_radius(self) -> None:
        radius = _radius(self.panel.run)
        if radius is not None:
            self._change(self.behind, behind_m=-radius[0], behind_u_m=radius[1])


class LandingBlock(Block):
    """The landing line."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(panel, said("Landing line"))
        self.tool_button(
            said("Draw the landing line"),
            said("Drag along the landing level, from under the hole to beyond the farthest landing"),
            Tool.LANDING_LINE,
        )
        self.behind = self.field(
            QuantityField(
                said("Landing behind the jet's plane"),
                LENGTH_MM,
                said(
                    "Nought, unless the line is drawn along an edge of the tray that is nearer or "
                    "farther than the jet."
                ),
                instruments=DEPTHS,
                needed=True,
            )
        )
        self.behind.committed.connect(self._typed)

    def _typed(self, behind: float, u: float | None) -> None:
        run = self.panel.run
        if run is not None and run.landing_line is not None:
            line = replace(run.landing_line, behind_m=behind, behind_u_m=u or 0.0)
            self.panel.ask(SetLandingLine(line), self.behind)

    def show(self, run: Run | None) -> None:
        """Show the line as the run has it."""
        line = run.landing_line if run is not None else None
        self.section.set_state(DONE if line is not None else said("{open} not drawn", open=OPEN))
        self.where.say(_line_words(line, said("along the level on which the jet lands")))
        self.behind.setEnabled(line is not None)
        self.behind.set_values(*((line.behind_m, line.behind_u_m) if line else (None, None)))


def _radius(run: Run | None) -> tuple[float, float] | None:
    """Inner radius of a round container of the run's area and its standard uncertainty, m."""
    if run is None or run.conditions.container_area_m2 is None:
        return None
    return radius_of_area(run.conditions.container_area_m2, run.conditions.container_area_u_m2 or 0.0)


def _line_words(line: LinePart | None, course: str) -> str:
    if line is None:
        return said("Not drawn yet: it runs {course}.", course=course)
    return said(
        "Drawn from ({x:.0f}, {y:.0f}) to ({x_end:.0f}, {y_end:.0f}) px; drag its ends to move it.",
        x=line.from_px.x,
        y=line.from_px.y,
        x_end=line.to_px.x,
        y_end=line.to_px.y,
    )
