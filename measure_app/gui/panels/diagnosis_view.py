"""Why a run is off, and what to improve first, as a part of the findings panel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QVBoxLayout, QWidget

from measure_app.gui.panels.pieces import Section, Sentence
from measure_app.gui.panels.wording import with_fields
from measure_app.words import said

if TYPE_CHECKING:
    from analysis import Findings


class DiagnosisView(QWidget):
    """Two folding parts: suspects with their checks, hidden while nothing is off; and what would help most."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        self.why = Section(said("Why it may be off"))
        self.why_words = Sentence(tone="warning")
        self.why.add(self.why_words)
        self.improve = Section(said("What to improve first"))
        self.improve_words = Sentence()
        self.improve.add(self.improve_words)
        inside.addWidget(self.why)
        inside.addWidget(self.improve)
        self.show_findings(None)

    def show_findings(self, findings: Findings | None) -> None:
        """Show what is said of a run; without one, or with nothing to say, take no room."""
        # The report's words, made when first wanted: the window's start does not wait for them.
        why: tuple[tuple[str, str], ...] = ()
        improve: tuple[str, ...] = ()
        if findings is not None:
            from measure_app.report.why_off import improvement_lines, why_off_items

            why, improve = why_off_items(findings.diagnosis), improvement_lines(findings, most=2)
        self.why_words.say(with_fields("\n\n".join(f"{name}: {words}" for name, words in why)))
        self.improve_words.say(with_fields("\n\n".join(improve)))
        self.why.setVisible(bool(why))
        self.improve.setVisible(bool(improve))
