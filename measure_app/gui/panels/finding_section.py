"""Finding the rest: begun, stopped, how far it is, and what was refused and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from measure_app.cross_checks import without_length
from measure_app.gui.panels.pieces import Section, Sentence, button
from measure_app.gui.panels.reading_rows import missing_for_finding
from measure_app.gui.panels.start_stop import StartStop
from measure_app.gui.panels.tables import DataTable, Field
from measure_app.gui.panels.wording import capital
from measure_app.words import counted, marked, said

if TYPE_CHECKING:
    from measure_app.gui.panels.panel import Panel

_SPAN_FIELDS = (
    Field(
        marked("frames"),
        lambda s: f"{s.first}–{s.last}" if s.last > s.first else str(s.first),
        lambda s: s.first,
    ),
    Field(marked("part"), lambda s: said(s.part.value)),
    Field(marked("why"), lambda s: said(s.why.value)),
)
_MOST_SPANS = 5
"""Spans that are in sight without scrolling."""


class FindingSection(Section):
    """The part of the readings panel that lets the program read all frames."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(said("Find the rest"))
        self._panel = panel
        self._document = panel.document
        self._running = False
        self.add(
            said(
                "The program follows surface and jet through all frames of the part. Your marks stay "
                "and steer it."
            )
        )
        self.find_button = button(said("Find the rest"), said("Search every frame of the part measured"))
        self.find_button.clicked.connect(panel.services.find_the_rest)
        self.stop_button = button(said("Stop"), said("Stop the search; nothing of it is kept"))
        self.stop_button.clicked.connect(panel.services.stop_finding)
        self._work = StartStop(self, self.find_button, self.stop_button, said("Progress of the search"))
        self.bar = self._work.bar
        self.lack = Sentence(tone="warning")
        self.add(self.lack)
        self.refused_words = Sentence(tone="faint")
        self.add(self.refused_words)
        self.lengthless = Sentence(tone="warning")
        self.add(self.lengthless)
        self.spans = DataTable(_SPAN_FIELDS, said("Spans without a reading, and why"))
        self.spans.row_opened.connect(lambda span: self._document.go_to(span.first))
        self.add(self.spans)
        panel.services.finding_progress.connect(self._progress)
        panel.services.finding_running.connect(self._on_running)

    def show_run(self) -> None:
        """Show whether there is anything to find, and what was refused."""
        self._show_work()
        run = self._document.run
        if run is None:
            self.lack.say(said("Open a film first."))
            self.refused_words.say("")
            self.lengthless.say("")
            self.spans.set_rows(())
            self.spans.setVisible(False)
            return
        self.lack.say(missing_for_finding(run))
        self._show_spans()

    def _show_spans(self) -> None:
        search = self._document.current_search if not self._document.blind else None
        refused = search.refused if search is not None else ()
        self.spans.set_rows(refused)
        self.spans.setVisible(bool(refused))
        if refused:
            self.spans.fit_columns(90)
            self.spans.fit_height(_MOST_SPANS)
            self.refused_words.say(
                said(
                    "Not read in {counted}: better no reading than a wrong one. Press a line to look at it.",
                    counted=counted("{count} span of frames", "{count} spans of frames", len(refused)),
                )
            )
        elif search is not None:
            self.refused_words.say(said("Both were found in every frame of the part."))
        else:
            self.refused_words.say("")
        self.lengthless.say(self._lengthless_words())

    def _lengthless_words(self) -> str:
        outcome = self._document.outcome
        if outcome is None or self._document.blind:
            return ""
        lengths = outcome.lengths
        return "\n".join(
            f"{capital(each.says)}."
            for each in without_length(lengths.readings, lengths.heads, lengths.throws)
        )

    def _progress(self, done: int, total: int) -> None:
        self._work.progress(done, total)
        self.bar.setFormat(said("frame {done} of {total}", done=done, total=total))

    def _on_running(self, on: bool) -> None:
        self._running = on
        self._show_work()

    def _show_work(self) -> None:
        run = self._document.run
        ready = run is not None and self._document.info is not None and not missing_for_finding(run)
        self._work.show(running=self._running, may_start=ready)
