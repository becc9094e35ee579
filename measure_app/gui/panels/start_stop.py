"""Long work that a panel begins, stops and shows the progress of."""

from __future__ import annotations

from PySide6.QtWidgets import QProgressBar

from measure_app.gui.panels.pieces import Section, row, set_ready
from measure_app.gui.press_button import PressButton


class StartStop:
    """A button that begins, one that stops, and a bar that is there while the work goes on."""

    def __init__(self, section: Section, start: PressButton, stop: PressButton, name: str) -> None:
        self._start, self._stop = start, stop
        self._running = False
        self.bar = QProgressBar()
        self.bar.setAccessibleName(name)
        self.bar.setFormat("%p %")
        self.bar.setVisible(False)
        stop.setEnabled(False)
        section.add(row(start, stop))
        section.add(self.bar)

    def show(self, *, running: bool, may_start: bool) -> None:
        """Show whether the work goes on, and whether it may be begun."""
        # The one that is to be pressed next first: it takes the keyboard over from the other.
        for control, ready in sorted(
            ((self._stop, running), (self._start, may_start and not running)), key=lambda each: not each[1]
        ):
            set_ready(control, ready)
        if running and not self._running:
            self.bar.setRange(0, 0)  # something goes on, how much of it is not known yet
        self._running = running
        self.bar.setVisible(running)

    def progress(self, done: int, total: int) -> None:
        """Show how much is done."""
        self.bar.setRange(0, total)
        self.bar.setValue(done)
