"""Datum, first part: the points marked in the picture — orifice and throw zero — and the drop."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtWidgets import QAbstractButton

from analysis import with_uncertainty
from calibration import Measures
from measure_app.edits import SetDrop, SetOrifice, SetThrowZero
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.instruments import (
    ANGLES,
    LENGTHS,
    SMALL_LENGTHS,
)
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, button, row
from measure_app.gui.panels.quantity import ANGLE, LENGTH_MM, PIXELS
from measure_app.gui.tools import Tool
from measure_app.run import DropPart, Run
from measure_app.words import said

DONE, OPEN = "✔", "◌"


class Block:
    """One section of the datum panel: a tool, what is marked, and the fields that belong to it."""

    def __init__(self, panel: Panel, title: str, *, is_open: bool = True) -> None:
        self.panel = panel
        self.section = Section(title, is_open=is_open)
        panel.add(self.section)
        self._tools: list[tuple[QAbstractButton, Tool]] = []

    def tool_button(self, text: str, tip: str, tool: Tool) -> None:
        """Add the button that takes a tool into the hand, and one that shows where the mark is."""
        made = button(text, tip, checkable=True)
        made.clicked.connect(lambda on: self.panel.services.use_tool(tool if on else Tool.LOOK))
        self._tools.append((made, tool))
        self.where = Sentence(tone="faint")
        self.section.add(row(made))
        self.section.add(self.where)

    def field(self, field: QuantityField) -> QuantityField:
        """Add a field."""
        self.section.add(field)
        return field

    def ready(self, there: bool) -> None:
        """Offer the tools while there is a film to mark on."""
        for made, _ in self._tools:
            made.setEnabled(there)

    def tool_changed(self, tool: Tool) -> None:
        """Show which tool is in hand."""
        for made, mine in self._tools:
            made.setChecked(tool is mine)

    def show(self, run: Run | None) -> None:
        """Show what the run holds."""


class OrificeBlock(Block):
    """The hole: its centre in the picture and its diameter."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(panel, said("Orifice"))
        self.tool_button(
            said("Mark the hole's centre"),
            said("Press on the centre of the hole in the picture"),
            Tool.ORIFICE,
        )
        self.px_u = self.field(
            QuantityField(
                said("How well its centre is met"),
                PIXELS,
                said(
                    "Half a pixel with the loupe on a clear hole; two or more where the tube hides it. "
                    "Every head leans on this point."
                ),
                with_u=False,
                needed=True,
            )
        )
        self.diameter = self.field(
            QuantityField(
                said("Diameter of the hole"),
                LENGTH_MM,
                said(
                    "Measure it inside, twice crosswise, with a calliper or a drill shank that just "
                    "fits. Opens the discharge coefficient and a g from the clock."
                ),
                instruments=SMALL_LENGTHS,
            )
        )
        self.wall = self.field(
            QuantityField(
                said("Thickness of the wall at the hole"),
                LENGTH_MM,
                said(
                    "A calliper over the rim of the container or over a piece cut out. A wall thicker than half "
                    "the hole guides the jet and changes the coefficients."
                ),
                with_u=False,
            )
        )
        self.angle = self.field(
            QuantityField(
                said("Launch angle of the jet, upwards positive"),
                ANGLE,
                said(
                    "Hold a straight edge along the jet's first 2 cm and read its slope in a picture taken square "
                    "to it: 1 mm in 20 mm is 3°. Downwards takes a minus. Left empty, the traced jet tells it "
                    "where it can, else the jet counts as level."
                ),
                instruments=ANGLES,
                placeholder=said("not measured"),
            )
        )
        self.wall.committed.connect(lambda t, _: self._change(self.wall, wall_thickness_m=t))
        self.angle.committed.connect(
            lambda a, u: self._change(
                self.angle, launch_angle_deg=a, launch_angle_u_deg=u if a is not None else None
            )
        )
        self.px_u.committed.connect(lambda u, _: self._change(self.px_u, px_u=u))
        self.diameter.committed.connect(
            lambda d, u: self._change(self.diameter, diameter_m=d, diameter_u_m=u)
        )

    def _change(self, field: QuantityField, **parts: float | None) -> None:
        run = self.panel.run
        if run is not None and run.orifice is not None:
            self.panel.ask(SetOrifice(replace(run.orifice, **parts)), field)

    def show(self, run: Run | None) -> None:
        """Show the hole as the run has it."""
        hole = run.orifice if run is not None else None
        self.section.set_state(DONE if hole is not None else said("{open} not marked", open=OPEN))
        for field in (self.px_u, self.diameter, self.wall, self.angle):
            field.setEnabled(hole is not None)
        self.where.say(
            said("Not marked yet: no head can be worked out.")
            if hole is None
            else said(
                "Marked at ({x:.1f}, {y:.1f}) px; press again or drag it to move it.",
                x=hole.px.x,
                y=hole.px.y,
            )
        )
        self.px_u.set_values(hole.px_u if hole is not None else None)
        self.diameter.set_values(*((hole.diameter_m, hole.diameter_u_m) if hole else (None, None)))
        self.wall.set_values(hole.wall_thickness_m if hole else None)
        self.angle.set_values(*((hole.launch_angle_deg, hole.launch_angle_u_deg) if hole else (None, None)))


class DropBlock(Block):
    """The drop: typed, or read from the frame."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(panel, said("Drop"))
        self.drop = self.field(
            QuantityField(
                said("From the hole's centre down to the landing level"),
                LENGTH_MM,
                said(
                    "Measure plumb, from the centre of the hole to the water film on which the jet "
                    "lands. Leave it empty to read it from the frame."
                ),
                instruments=LENGTHS,
                placeholder=said("read from the frame"),
            )
        )
        self.drop.committed.connect(self._typed)
        self.from_frame = button(
            said("Read it from the frame"), said("Take the drop between orifice and landing line instead")
        )
        self.from_frame.clicked.connect(lambda: panel.ask(SetDrop(None), self.drop))
        self.section.add(row(self.from_frame))
        self.read = Sentence(tone="faint")
        self.section.add(self.read)

    def _rough(self, run: Run | None) -> float | None:
        """Return the drop by the scale of a rule, one for heads if there is any, straight down the frame, m."""
        if run is None or run.orifice is None or run.landing_line is None:
            return None
        hole, start, end = run.orifice.px, run.landing_line.from_px, run.landing_line.to_px
        fitted = list(zip(run.rules, self.panel.document.rule_fits, strict=False))
        fitted.sort(key=lambda each: each[0].measures is Measures.THROW)
        scales = [fit.m_per_px for _, fit in fitted]
        if not scales or start.x == end.x:
            return None
        level = start.y + (hole.x - start.x) * (end.y - start.y) / (end.x - start.x)
        return scales[0] * (level - hole.y) if level > hole.y else None

    def _typed(self, value: float | None, u: float | None) -> None:
        self.panel.ask(SetDrop(DropPart(value, u or 0.0) if value is not None else None), self.drop)

    def show(self, run: Run | None) -> None:
        """Show the typed drop, and beside it the one that the frame gives."""
        drop = run.drop if run is not None else None
        self.drop.set_values(drop.value_m, drop.u_m) if drop is not None else self.drop.set_values(None)
        self.from_frame.setEnabled(drop is not None)
        outcome = self.panel.document.outcome
        seen = reason = ""
        if outcome is not None:
            read = outcome.calibration.drop()
            reason = read.reasons[0] if read.reasons else ""
            if reason:
                seen = said("The frame cannot give it: {reason}.", reason=reason)
                rough = self._rough(run)
                if rough is not None:
                    seen += " " + said(
                        "Carried on beyond the rule, its scale makes it about {rough:.2g} cm: a check on what "
                        "you measure, no more.",
                        rough=100 * rough,
                    )
            else:
                value = with_uncertainty(1e3 * float(read.values[0]), 1e3 * float(read.u[0]), "mm")
                seen = said("The frame gives {value}, from the orifice to the landing line.", value=value)
        possible = not reason and run is not None and run.landing_line is not None
        state = said("typed") if drop is not None else said("from the frame") if possible else said("missing")
        self.section.set_state(f"{DONE if drop is not None or possible else OPEN} {state}")
        if not seen and drop is None and run is not None and run.landing_line is None:
            seen = said("Draw the landing line to read the drop from the frame, or type it.")
        self.read.say(seen)


class ThrowZeroBlock(Block):
    """The point from which the throw counts."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(panel, said("Throw zero"), is_open=False)
        self.tool_button(
            said("Mark the throw zero"),
            said("Press on the point from which the throw counts"),
            Tool.THROW_ZERO,
        )
        self.px_u = self.field(
            QuantityField(
                said("How well it is met"),
                PIXELS,
                said(
                    "It is the point on the landing level plumb below the outer rim of the hole; let a "
                    "thread hang there to see it."
                ),
                with_u=False,
                needed=True,
            )
        )
        self.px_u.committed.connect(self._typed)
        self.remove = button(
            said("Use the point below the orifice"), said("Remove the mark; the plumb's foot is taken")
        )
        self.remove.clicked.connect(lambda: panel.ask(SetThrowZero(None)))
        self.section.add(row(self.remove))

    def _typed(self, u: float, _: object) -> None:
        run = self.panel.run
        if run is not None and run.throw_zero is not None:
            self.panel.ask(SetThrowZero(replace(run.throw_zero, px_u=u)), self.px_u)

    def show(self, run: Run | None) -> None:
        """Show the mark, or what is taken without one."""
        zero = run.throw_zero if run is not None else None
        self.section.set_state(DONE if zero is not None else said("✔ below the orifice"))
        self.px_u.setVisible(zero is not None)
        self.remove.setVisible(zero is not None)
        self.px_u.set_values(zero.px_u if zero is not None else None)
        self.where.say(
            said("None is marked: throws count from the foot of the plumb through the orifice.")
            if zero is None
            else said("Marked at ({x:.1f}, {y:.1f}) px.", x=zero.px.x, y=zero.px.y)
        )
