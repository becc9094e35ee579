"""Findings: the graphs, the findings with their budgets, the doubts, and what would determine the rest."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QTabWidget, QVBoxLayout, QWidget

from analysis import LAWS, Finding, Undetermined, finding_name
from measure_app.gui.panels.budget_bars import BudgetList
from measure_app.gui.panels.diagnosis_view import DiagnosisView
from measure_app.gui.panels.finding_list import FindingList, value_words
from measure_app.gui.panels.graph_words import tab_of, title_of
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, TickBox, button, resize_within_screen, row
from measure_app.gui.panels.steps import Step
from measure_app.gui.panels.wording import BORROWED_G, capital, with_fields
from measure_app.words import counted, marked, said, source_words

if TYPE_CHECKING:  # graphs take long to load: not before they are looked at
    from measure_app.gui.panels.graphs import LawGraph
    from measure_app.outcome import Outcome

_MOST_SOURCES = 6
_CROP = (220, 160)
_POINT = marked("Point at a point, or walk along them with the arrow keys; Enter goes to its frame.")


class GraphTabs(QWidget):
    """The four graphs, with the choice of intercept and of what the fit weighs."""

    def __init__(self, panel: Panel, *, tall: bool = False, parent: QWidget | None = None) -> None:
        from measure_app.gui.panels.graphs import LawGraph

        super().__init__(parent)
        self._panel = panel
        self._outcome: Outcome | None = None
        self.tabs = QTabWidget()
        self.tabs.setAccessibleName(said("Graphs"))
        self.tabs.setUsesScrollButtons(False)
        self.graphs = tuple(LawGraph(law) for law in LAWS)
        self.equation = Sentence()
        self.point = Sentence(said(_POINT))
        self.checks = Sentence(tone="warning")
        for graph in self.graphs:
            if tall:
                graph.setMinimumHeight(260)
            else:
                graph.setFixedHeight(300)  # whole in sight beside the strips of a small window
            graph.point_chosen.connect(panel.document.go_to)
            graph.point_hovered.connect(lambda frame: panel.services.frame_crop(frame, *_CROP))
            graph.said.connect(self.point.say)
            index = self.tabs.addTab(graph, tab_of(graph.law))
            self.tabs.setTabToolTip(index, title_of(graph.law))
        self.free_box = TickBox(said("Let the intercept go free"))
        self.free_box.setChecked(True)
        self.free_box.setToolTip(said("Off: the line is held to the origin, as the law has it"))
        self.both_box = TickBox(said("Weigh both errors"))
        self.both_box.setChecked(True)
        self.both_box.setToolTip(said("Off: plain least squares, which a spreadsheet shows"))
        self.copy_button = button(said("Copy graph"), said("Copy the graph as a picture"))
        self.copy_button.clicked.connect(self._copy)
        for box in (self.free_box, self.both_box):
            box.toggled.connect(lambda _: self._draw())
        self.tabs.currentChanged.connect(lambda _: self._draw())
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(6)
        layout.addWidget(self.tabs, 1)
        layout.addWidget(self.equation)
        layout.addWidget(self.free_box)
        layout.addWidget(self.both_box)
        layout.addWidget(self.point)
        layout.addWidget(self.checks)
        self.buttons = row(self.copy_button)
        layout.addLayout(self.buttons)

    @property
    def current(self) -> LawGraph:
        """The graph in sight."""
        return self.graphs[self.tabs.currentIndex()]

    def _copy(self) -> None:
        self.current.copy_picture()

    def show_outcome(self, outcome: Outcome | None) -> None:
        """Show the lines of an outcome; None empties the graphs."""
        self._outcome = outcome
        self._draw()

    def _draw(self) -> None:
        """Draw the graph in sight only: the others are drawn when they are looked at."""
        from measure_app.gui.panels.graphs import line_of

        graph, outcome = self.current, self._outcome
        self.point.say(said(_POINT))  # no point is chosen on a graph drawn anew
        through = graph.law.from_origin
        self.free_box.setEnabled(through)
        fitted = line_of(
            outcome, graph.law, free=self.free_box.isChecked() or not through, both=self.both_box.isChecked()
        )
        frames = [reading.frame for reading in outcome.lengths.readings] if outcome is not None else []
        graph.show_line(fitted, frames)
        self.copy_button.setEnabled(fitted is not None)
        if fitted is None:
            self.equation.say(said("This line needs more readings.") if outcome is not None else "")
            self.checks.say("")
        else:
            self.equation.say(graph.equation)
            self.checks.say("\n\n".join(graph.doubts))


class FindingsPanel(Panel):
    """What the run says."""

    step = Step.FINDINGS
    lead = marked("Does the speed go as the root of the head, how well is it known, and what limits you?")

    def build(self) -> None:
        """Make the controls."""
        self.state = Sentence()
        self.add(self.state)
        self.headline = Sentence()
        bold = self.headline.font()
        bold.setPointSizeF(1.2 * bold.pointSizeF())
        bold.setBold(True)
        self.headline.setFont(bold)
        self.add(self.headline)
        self._large: QDialog | None = None
        self._large_tabs: GraphTabs | None = None
        self._graphs: GraphTabs | None = None
        self._graph_section = Section(said("Graphs"))
        self.larger = button(said("Larger …"), said("Show the graphs in a window of their own"))
        self.larger.clicked.connect(self._enlarge)
        self.add(self._graph_section)
        found = Section(said("Findings"))
        self.list = FindingList()
        self.list.selectionModel().currentChanged.connect(lambda *_: self._show_chosen())
        found.add(self.list)
        self.copy_button = button(said("Copy all"), said("Copy all findings as tab-separated text"))
        self.copy_button.clicked.connect(self.list.copy_all)
        found.add(row(self.copy_button))
        self.method = Sentence()
        self.borrowed = Sentence(tone="warning")
        self.finding_remarks = Sentence(tone="faint")
        for sentence in (self.method, self.borrowed, self.finding_remarks):
            found.add(sentence)
        self.add(found)
        budget = Section(said("What limits it"))
        self.budget_words = Sentence()
        self.budget = BudgetList()
        self.budget_rest = Sentence(tone="faint")
        budget.add(self.budget_words)
        budget.add(self.budget)
        budget.add(self.budget_rest)
        budget.add(
            said(
                "▨ hatched: shared by all readings, so more frames do not shrink it.   ■ solid: of "
                "single readings."
            )
        )
        self.add(budget)
        self.diagnosis = DiagnosisView()
        self.add(self.diagnosis)
        self._open = Section(said("Not determined yet"))
        self.undetermined = Sentence()
        self._open.add(self.undetermined)
        self.add(self._open)
        self._doubts = Section(said("Doubts and remarks"))
        self.remarks = Sentence()
        self._doubts.add(self.remarks)
        self.add(self._doubts)
        self._parts = (self._graph_section, found, budget, self.diagnosis, self._open, self._doubts)
        self.document.blind_changed.connect(self._on_blind)

    @property
    def graphs(self) -> GraphTabs:
        """The graphs, made when they are first wanted."""
        if self._graphs is None:
            self._graphs = GraphTabs(self)
            self._graphs.buttons.insertWidget(1, self.larger)
            self._graph_section.add(self._graphs)
        return self._graphs

    def refresh(self) -> None:
        """Show the newest outcome, or why there is none."""
        outcome = self.document.outcome
        shown = outcome is not None and outcome.found_anything and not self.document.blind
        self.state.say(self._state_words(outcome), "warning" if not shown else "")
        for part in self._parts:
            part.setVisible(shown)
        self.headline.say(_headline(outcome) if shown else "")
        self._show_outcome(outcome if shown else None)

    def _refresh_if_seen(self) -> None:
        if self._large is not None and self._large.isVisible():
            self.catch_up()  # its graphs are in sight whichever step is open
        else:
            super()._refresh_if_seen()

    def _on_blind(self, on: bool) -> None:
        if on and self._large is not None:
            self._large.close()
            self.graphs.show_outcome(None)
            if self._large_tabs is not None:
                self._large_tabs.show_outcome(None)
        self._refresh_if_seen()

    def _state_words(self, outcome: Outcome | None) -> str:
        if self.document.blind:
            return said(
                "Blind mode is on: findings are hidden until it is switched off in the step Readings."
            )
        if self.run is None:
            return said("No film is open.")
        if outcome is None:
            return said(
                "Nothing to show yet: {value}.",
                value=self.document.lack or said("mark rules, datum and readings first"),
            )
        if not outcome.found_anything:
            return said(
                "Nothing to show yet: no reading could be turned into a length. Mark some, or find the rest."
            )
        kept = sum(each.kept for each in outcome.rows)
        return said(
            "From {counted} of {count}.",
            counted=counted("{count} frame", "{count} frames", kept),
            count=len(outcome.rows),
        )

    def _show_outcome(self, outcome: Outcome | None) -> None:
        if outcome is not None or self._graphs is not None:
            self.graphs.show_outcome(outcome)
        if self._large_tabs is not None:
            self._large_tabs.show_outcome(outcome)
        findings = outcome.findings if outcome is not None else None
        self.list.show_findings(findings.findings if findings is not None else ())
        self.diagnosis.show_findings(findings)
        undetermined = findings.undetermined if findings is not None else ()
        self._open.setVisible(bool(undetermined))
        self.undetermined.say(_undetermined_words(undetermined))
        remarks = outcome.remarks if outcome is not None else ()
        self._doubts.setVisible(bool(remarks))
        self.remarks.say("\n\n".join(_remark_words(r.about, r.says, r.frames) for r in remarks))
        self._show_chosen()

    def _show_chosen(self) -> None:
        finding = self.list.chosen
        borrowed = finding is not None and finding.depends_on_assumed_g
        self.method.say(f"{capital(finding.method)}." if finding is not None else "")
        self.borrowed.say(
            said(BORROWED_G) if borrowed and finding is not None and finding.symbol == "g" else ""
        )
        if borrowed and finding is not None and finding.symbol != "g":
            self.borrowed.say(said("This rests on the g that was taken for granted."))
        told = finding.remarks if finding is not None else ()
        if borrowed and finding is not None and finding.symbol == "g":
            told = told[1:]  # its first remark says what `BORROWED_G` says
        self.finding_remarks.say("\n".join(f"•  {words}" for words in told))
        rest = self.budget.show_finding(finding, _MOST_SOURCES)
        self.budget_words.say(_budget_words(finding))
        self.budget_rest.say(
            said("and {counted}", counted=counted("{count} smaller source", "{count} smaller sources", rest))
            if rest
            else ""
        )

    def _enlarge(self) -> None:
        if self._large is None:
            self._large = QDialog(self)
            self._large.setWindowTitle(said("Graphs"))
            self._large.setWindowFlag(Qt.WindowType.WindowMaximizeButtonHint)
            resize_within_screen(self._large, 860, 760)
            self._large_tabs = GraphTabs(self, tall=True)
            QVBoxLayout(self._large).addWidget(self._large_tabs)
        if self._large_tabs is not None:
            self._large_tabs.tabs.setCurrentIndex(self.graphs.tabs.currentIndex())
            self._large_tabs.show_outcome(self.document.outcome if not self.document.blind else None)
        self._large.show()
        self._large.raise_()


def _headline(outcome: Outcome | None) -> str:
    """The answer that is asked for first."""
    found = outcome.findings.finding("speed_coefficient") if outcome is not None else None
    return f"{found.symbol} = {value_words(found)}" if found is not None else ""


def _undetermined_words(undetermined: Iterable[Undetermined]) -> str:
    """Name what is open, those that need the same together."""
    by_missing: dict[str, list[str]] = {}
    for each in undetermined:
        by_missing.setdefault(each.missing, []).append(finding_name(each.name))
    return "\n\n".join(
        counted(
            "•  {names}: needs {missing}.",
            "•  {names}: need {missing}.",
            len(names),
            names=", ".join(names),
            missing=missing,
        )
        for missing, names in by_missing.items()
    )


def _budget_words(finding: Finding | None) -> str:
    if finding is None or not finding.budget:
        return ""
    first = finding.budget[0]
    total = sum(share.u**2 for share in finding.budget)
    part = first.u**2 / total if total > 0 else 0.0
    halved = 100 * (1.0 - (1.0 - 0.75 * part) ** 0.5)
    return said(
        "Uncertainty of {symbol} ({finding_name}). The largest source is “{source}”: halving "
        "it would make the uncertainty {halved:.0f} % smaller.",
        symbol=finding.symbol,
        finding_name=finding_name(finding.name),
        source=source_words(first.source),
        halved=halved,
    )


def _remark_words(about: str, says: str, frames: tuple[int, int] | None) -> str:
    place = ""
    if frames is not None:
        place = (
            said(" (frame {frame})", frame=frames[0])
            if frames[0] == frames[1]
            else said(" (frames {frames} to {frames2})", frames=frames[0], frames2=frames[1])
        )
    says = with_fields(says)
    return f"{capital(said(about))}{place}: {says}{'' if says.endswith('.') else '.'}"
