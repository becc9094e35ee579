"""Datum: all that lengths count from, each with its uncertainty and a word on how to measure it."""

from __future__ import annotations

from measure_app.gui.panels.datum_lines import GaugeBlock, LandingBlock
from measure_app.gui.panels.datum_marks import DropBlock, OrificeBlock, ThrowZeroBlock
from measure_app.gui.panels.datum_surroundings import CameraBlock, ContainerBlock, PlaceBlock
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Sentence, button, row
from measure_app.gui.panels.steps import Step, waiting_words
from measure_app.gui.panels.wording import capital
from measure_app.gui.tools import Tool
from measure_app.words import marked, said


class DatumPanel(Panel):
    """Everything that heads, throws and the drop lean on."""

    step = Step.DATUM
    lead = marked("Mark where lengths count from, and type what you measured at the bench.")

    def build(self) -> None:
        """Make the blocks, in the order in which one meets them on the picture."""
        self.waits = Sentence(tone="warning")
        self.add(self.waits)
        self.to_camera = button(
            said("Go to the camera's distance"), said("It stands farther down, under Camera")
        )
        self.to_camera.clicked.connect(self._show_camera)
        self.add(row(self.to_camera))
        self.orifice = OrificeBlock(self)
        self.gauge = GaugeBlock(self)
        self.landing = LandingBlock(self)
        self.drop = DropBlock(self)
        self.zero = ThrowZeroBlock(self)
        self.container = ContainerBlock(self)
        self.place = PlaceBlock(self)
        self.camera = CameraBlock(self)
        self._picked = (self.orifice, self.gauge, self.landing, self.drop, self.zero)
        self.services.tool_changed.connect(self._tool_changed)

    def refresh(self) -> None:
        """Show what the run holds."""
        run = self.run
        words = waiting_words(run)
        self.waits.say(
            said("{waits}: with it they are corrected for looking larger or smaller.", waits=capital(words))
            if words
            else ""
        )
        self.to_camera.setVisible(bool(words))
        for block in (*self._picked, self.container, self.place, self.camera):
            block.section.setEnabled(run is not None)
            block.show(run)
        for picked in self._picked:
            picked.ready(run is not None and self.info is not None)

    def _show_camera(self) -> None:
        """Bring the field of the camera's distance into sight, ready to be typed into."""
        self.camera.section.set_open(True)
        self.camera.distance.value_edit.setFocus()
        self.bring_into_sight(self.camera.distance)

    def _tool_changed(self, tool: Tool) -> None:
        for block in self._picked:
            block.tool_changed(tool)
