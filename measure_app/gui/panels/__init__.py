"""The panels beside the frame, one for each step of the work."""

from __future__ import annotations

from typing import TYPE_CHECKING

from measure_app.gui.panels.steps import Step, StepState, step_states

if TYPE_CHECKING:
    from measure_app.gui.document import Document
    from measure_app.gui.panels.panel import Panel
    from measure_app.gui.services import Services

__all__ = ["Step", "StepState", "make_panels", "step_states"]


def make_panels(document: Document, services: Services) -> dict[Step, Panel]:
    """Make the panel of every step.

    Parameters
    ----------
    document : the run in hand, its film and its outcome
    services : what panels may ask of the window
    """
    # Fields, tables and graphs are many: they are loaded after the first frame is on the screen.
    from measure_app.gui.panels.datum_panel import DatumPanel
    from measure_app.gui.panels.film_panel import FilmPanel
    from measure_app.gui.panels.findings_panel import FindingsPanel
    from measure_app.gui.panels.handin_panel import HandInPanel
    from measure_app.gui.panels.readings_panel import ReadingsPanel
    from measure_app.gui.panels.rules_panel import RulesPanel

    kinds: tuple[type[Panel], ...] = (
        FilmPanel,
        RulesPanel,
        DatumPanel,
        ReadingsPanel,
        FindingsPanel,
        HandInPanel,
    )
    return {kind.step: kind(document, services) for kind in kinds}
