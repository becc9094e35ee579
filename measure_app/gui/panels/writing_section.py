"""The results that leave the program: where to, what of it is being made, stopped, or done."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QUrl
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QFileDialog, QLabel, QLineEdit

from measure_app.errors import AppError, Stopped
from measure_app.gui.panels.pieces import Section, Sentence, button, row, set_ready
from measure_app.gui.panels.start_stop import StartStop
from measure_app.run import Run
from measure_app.sample import sample_run
from measure_app.words import marked, said

if TYPE_CHECKING:
    from measure_app.gui.panels.panel import Panel

FILES = (
    (
        marked("report.pdf, report.html"),
        marked("set-up, strips, graphs, algebra, findings and cautions, to read and print"),
    ),
    (
        "workbook.xlsx",
        marked("the working in live formulas; beside it a copy to fill in and one with the answers"),
    ),
    ("readings.csv", marked("every frame with time, head, throw and why it was left out")),
    ("findings.json", marked("all findings with uncertainties, for other programs")),
    ("figures/", marked("strips, graphs and the set-up as pictures")),
)


class WritingSection(Section):
    """The part of the hand-in panel that writes the results."""

    def __init__(self, panel: Panel) -> None:
        super().__init__(said("Write the results"))
        self._panel = panel
        self._document = panel.document
        self._services = panel.services
        listed = "\n".join(f"•  {name}: {said(words)}" for name, words in FILES)
        self.add(Sentence(said("Together, all of them or none:\n{listed}", listed=listed)))
        self.folder_edit = QLineEdit()
        self.folder_edit.setAccessibleName(said("Folder for the results"))
        self.folder_edit.setPlaceholderText(said("a folder for the results"))
        self.folder_edit.textChanged.connect(self._folder_changed)
        self._usual = ""
        self.choose_button = button(said("Choose …"), said("Choose a folder for the results"))
        self.choose_button.clicked.connect(self._choose)
        label = QLabel(said("Into the &folder"))
        label.setBuddy(self.folder_edit)
        self.add(label)
        self.add(row(self.folder_edit, self.choose_button, stretch=0))
        self.write_button = button(
            said("Write results"), said("Write tables, graphs and the report into the folder")
        )
        self.write_button.clicked.connect(self._write)
        self.stop_button = button(said("Stop"), said("Stop writing; what was in the folder stays"))
        self.stop_button.clicked.connect(self._stop)
        self._work = StartStop(self, self.write_button, self.stop_button, said("Progress of writing"))
        self.bar = self._work.bar
        self.state = Sentence()
        self.add(self.state)
        self.open_button = button(said("Open the folder"), said("Show the files that were written"))
        self.open_button.clicked.connect(self._open)
        self.open_button.setVisible(False)
        self.add(row(self.open_button))
        self._written: Path | None = None
        self._written_run: Run | None = None
        self._trouble = ""
        self._writing = False
        self._waiting: Path | None = None
        self._services.results_written.connect(self._on_written)
        self._services.writing_progress.connect(self._on_progress)
        self._document.outcome_changed.connect(self._on_outcome)

    def show_run(self) -> None:
        """Show where results of the run in hand would go, and how things stand."""
        if self._panel.run is not None and self.folder_edit.text() in ("", self._usual):
            self._usual = str(self._usual_folder())
            self.folder_edit.setText(self._usual)
        self._say_state()

    def forget(self) -> None:
        """Drop what belonged to the run before, its folder first: results there would be replaced."""
        if self._waiting is not None:
            self._waiting, self._writing = None, False
        self._written, self._trouble = None, ""
        self.open_button.setVisible(False)
        self._usual = ""
        self.folder_edit.clear()

    def _usual_folder(self) -> Path:
        """Beside the run file, or beside the film."""
        path = self._document.path
        if path is not None:
            return path.parent / said(
                "{removesuffix}-results", removesuffix=path.name.removesuffix(".json").removesuffix(".run")
            )
        if self._panel.info is not None and self._panel.info.path.parent != sample_run().parent:
            return self._panel.info.path.parent / said("{stem}-results", stem=self._panel.info.path.stem)
        return Path.home() / "results"

    def _choose(self) -> None:
        start = Path(self.folder_edit.text().strip() or str(self._usual_folder()))
        chosen = QFileDialog.getExistingDirectory(self, said("Folder for the results"), str(start.parent))
        if chosen:
            self.folder_edit.setText(str(Path(chosen)))

    def _say_state(self) -> None:
        outcome = self._document.outcome
        ready = outcome is not None and outcome.found_anything
        self._work.show(running=self._writing, may_start=ready and bool(self.folder_edit.text().strip()))
        if self._writing:
            return
        if self._trouble:
            self.state.say(
                said("Nothing was written. {trouble}", trouble=self._trouble),
                "error",
            )
        elif self._written is not None and self._written_run is self._panel.run:
            words = said("Written into {written}", written=self._written)
            if self._document.path is None:
                words += ". " + said("The run itself, with your marks, is not saved yet: Ctrl+S keeps it.")
            self.state.say(words, "good")
        elif self._written is not None:
            words = said("The run has changed since; write again to bring the results up to date.")
            self.state.say(
                said("Written into {written}. {words}", written=self._written, words=words),
                "warning",
            )
        elif self._panel.run is None:
            self.state.say(said("Open a film first."), "warning")
        elif not ready:
            reason = self._document.lack or said("there is no reading that could be turned into a length")
            self.state.say(
                said("Nothing to write yet: {reason}.", reason=reason),
                "warning",
            )
        else:
            self.state.say("")

    def _write(self) -> None:
        self._panel.take_typed()
        try:
            folder = Path(self.folder_edit.text().strip()).expanduser()
        except RuntimeError:  # the home of a user whom this computer does not know
            folder = Path()
        if not folder.is_absolute():
            self.state.say(said("Give the whole path of the folder, or choose it."), "error")
            return
        self._writing, self._written, self._trouble = True, None, ""
        self.open_button.setVisible(False)
        self._say_state()
        self.state.say(
            said("Writing into {folder} …", folder=folder),
            "",
        )
        self._panel.bring_into_sight(self.state)
        self._waiting = folder
        self._write_if_current()

    def _stop(self) -> None:
        """Stop: at once where the outcome is still waited for, else after the part in the making."""
        set_ready(self.stop_button, False)
        if self._waiting is not None:
            self._waiting = None
            self._stopped()
            return
        self.state.say(said("Stopping after what is being made now …"), "")
        self._services.stop_writing()

    def _on_progress(self, done: int, total: int, what: str) -> None:
        self._work.progress(done, total)
        self.bar.setAccessibleDescription(what)
        if self.stop_button.isEnabled():
            self.state.say(said("Being made: {what}", what=what), "")

    def _write_if_current(self) -> None:
        """Write once the outcome is that of the run in hand: it lags behind the newest change."""
        outcome, folder, run = self._document.outcome, self._waiting, self._panel.run
        if folder is None or outcome is None or run is None:
            return
        if outcome.run is run or outcome.run == run:
            self._waiting = None
            self._written_run = run
            self._services.write_results(folder)

    def _on_outcome(self, outcome: object) -> None:
        if self._waiting is None:
            return
        if outcome is None:
            self._waiting = None
            self._fail(self._document.lack or said("There is no outcome any more."))
        else:
            self._write_if_current()

    def _folder_changed(self, _text: str) -> None:
        self._trouble = ""
        self._say_state()

    def _on_written(self, answer: object) -> None:
        if isinstance(answer, Stopped):
            self._stopped()
            return
        if isinstance(answer, AppError):
            self._fail(str(answer))
            return
        self._writing = False
        self._written, self._trouble = Path(str(answer)), ""
        self._say_state()
        self.open_button.setVisible(True)
        self._panel.bring_into_sight(self.state)

    def _stopped(self) -> None:
        self._writing, self._written, self._trouble = False, None, ""
        self._say_state()
        self.state.say(said("Stopped. Nothing was written; what was in the folder is there still."), "")
        self._panel.bring_into_sight(self.state)

    def _fail(self, words: str) -> None:
        self._writing, self._written = False, None
        self._trouble = words if words.endswith(".") else f"{words}."
        self._say_state()
        self._panel.bring_into_sight(self.state)

    def _open(self) -> None:
        if self._written is not None:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(self._written)))
