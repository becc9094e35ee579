"""What a panel may ask of the window it stands in."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import SignalInstance

from measure_app.gui.tools import Tool, ToolOptions


class Services(Protocol):
    """The seam between panels and window; tests put a hand-made one here."""

    @property
    def tool_changed(self) -> SignalInstance:
        """Signal(object): the `Tool` that is in hand now."""

    @property
    def finding_progress(self) -> SignalInstance:
        """Signal(int, int): frames done, frames in all."""

    @property
    def finding_running(self) -> SignalInstance:
        """Signal(bool): whether a search is under way."""

    @property
    def results_written(self) -> SignalInstance:
        """Signal(object): the folder as a `Path`, or the `AppError` that says why nothing was written."""

    @property
    def writing_progress(self) -> SignalInstance:
        """Signal(int, int, str): parts of the results done, parts in all, what is being made now."""

    @property
    def tool(self) -> Tool:
        """The tool in hand."""

    @property
    def options(self) -> ToolOptions:
        """How it is used."""

    def use_tool(self, tool: Tool, **options: Any) -> None:
        """Take a tool into the hand.

        Parameters
        ----------
        tool : Tool
        **options
            Fields of `ToolOptions`, such as ``rule=0`` or ``advance=30``.
        """

    def find_the_rest(self) -> None:
        """Search the part measured; the readings found are adopted in one step that can be undone."""

    def stop_finding(self) -> None:
        """Stop a search; nothing of it is kept."""

    def write_results(self, folder: Path) -> None:
        """Write what the command line's `measure` writes, in the background; `results_written` answers."""

    def stop_writing(self) -> None:
        """Stop it; nothing of it is kept, what was in the folder stays. `results_written` gives `Stopped`."""

    def set_blind(self, on: bool) -> None:
        """Hide fits, found readings and other people's marks while someone reads; see `Document.blind`."""

    def open_film(self) -> None:
        """Let the person choose a film for this run."""

    def open_help(self, page: str) -> None:
        """Show a page of the help by its key."""

    def frame_crop(self, frame: int, width: int, height: int) -> None:
        """Show the surroundings of the readings of one frame beside the pointer; frame < 0 takes it away."""
