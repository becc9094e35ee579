"""Datum: all that lengths count from, each with its uncertainty and a word on how to measure it."""

from __future__ import annotations

from measure_app.gui.panels.datum_marks import (
    DropBlock,
    GaugeBlock,
    LandingBlock,
    OrificeBlock,
    ThrowZeroBlock,
)
from measure_app.gui.panels.datum_surroundings import CameraBlock, ContainerBlock, PlaceBlock
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.steps import Step
from measure_app.gui.tools import Tool
from measure_app.words import marked


class DatumPanel(Panel):
    """Everything that heads, throws and the drop lean on."""

    step = Step.DATUM
    lead = marked("Mark where lengths count from, and type what you measured at the bench.")

    def build(self) -> None:
        """Make the blocks, in the order in which one meets them on the picture."""
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
        for block in (*self._picked, self.container, self.place, self.camera):
            block.section.setEnabled(run is not None)
            block.show(run)
        for picked in self._picked:
            picked.ready(run is not None and self.info is not None)

    def _tool_changed(self, tool: Tool) -> None:
        for block in self._picked:
            block.tool_changed(tool)
