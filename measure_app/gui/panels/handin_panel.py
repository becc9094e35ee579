"""Hand-in: who, what, notes, questions and answers, and the files that are written."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QTimer, QUrl
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QFileDialog, QLabel, QLineEdit, QVBoxLayout, QWidget

from measure_app.edits import SetObserver, SetTitle
from measure_app.errors import AppError
from measure_app.extras import MAX_TEXT, Question, SetNotes, SetQuestions, notes_of, questions_of
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, TextBox, button, row, set_ready
from measure_app.gui.panels.steps import Step
from measure_app.run import Run
from measure_app.sample import sample_run
from measure_app.words import marked, said

_PAUSE_MS = 700
"""Typing rests this long before it becomes an edit."""
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


class HandInPanel(Panel):
    """The last step: what leaves the program."""

    step = Step.HAND_IN
    lead = marked("Say who measured, write what is to be known, and write the results.")

    def build(self) -> None:
        """Make the controls."""
        self._build_texts()
        self._build_questions()
        self._build_writing()

    def _build_texts(self) -> None:
        who = Section(said("About this run"))
        self.title_edit = self._line(said("Title"), said("Clear cylinder, 5 mm hole"))
        self.observer_edit = self._line(said("Observer"), said("who read the film"))
        self.title_edit.editingFinished.connect(self._title_typed)
        self.observer_edit.editingFinished.connect(self._observer_typed)
        for words, edit in ((said("&Title"), self.title_edit), (said("&Observer"), self.observer_edit)):
            label = QLabel(words)
            label.setBuddy(edit)
            who.add(label)
            who.add(edit)
        self.notes_box = TextBox(said("Notes"), 5)
        self.notes_box.setPlaceholderText(
            said("Date, place, water, what went wrong, what you would better first")
        )
        label = QLabel(said("&Notes"))
        label.setBuddy(self.notes_box)
        who.add(label)
        who.add(self.notes_box)
        self._pause = QTimer(self)
        self._pause.setSingleShot(True)
        self._pause.setInterval(_PAUSE_MS)
        self._pause.timeout.connect(self._boxes_typed)
        self._typed = False
        self.notes_box.textChanged.connect(self._on_typed)
        self.add(who)

    def _line(self, name: str, example: str) -> QLineEdit:
        edit = QLineEdit()
        edit.setAccessibleName(name)
        edit.setPlaceholderText(example)
        edit.setMaxLength(2000)
        return edit

    def _build_questions(self) -> None:
        asked = Section(said("Questions and answers"))
        self.no_questions = Sentence(
            said("No question is set. A teacher may set some here; they travel with the run."), tone="faint"
        )
        asked.add(self.no_questions)
        self._question_body = QWidget()
        self._question_layout = QVBoxLayout(self._question_body)
        self._question_layout.setContentsMargins(0, 0, 0, 0)
        self._answers: list[TextBox] = []
        self._shown_questions: tuple[str, ...] = ()
        asked.add(self._question_body)
        self.question_edit = QLineEdit()
        self.question_edit.setAccessibleName(said("A new question"))
        self.question_edit.setPlaceholderText(said("a question to set"))
        self.question_edit.setMaxLength(2000)
        self.question_edit.returnPressed.connect(self._set_question)
        self.ask_button = button(said("Set it"), said("Add the question to the run"))
        self.ask_button.clicked.connect(self._set_question)
        asked.add(row(self.question_edit, self.ask_button, stretch=0))
        self.add(asked)

    def _build_writing(self) -> None:
        out = Section(said("Write the results"))
        listed = "\n".join(f"•  {name}: {said(words)}" for name, words in FILES)
        out.add(Sentence(said("Together, all of them or none:\n{listed}", listed=listed)))
        self.folder_edit = QLineEdit()
        self.folder_edit.setAccessibleName(said("Folder for the results"))
        self.folder_edit.setPlaceholderText(said("a folder for the results"))
        self.folder_edit.textChanged.connect(self._folder_changed)
        self._usual = ""
        self.choose_button = button(said("Choose …"), said("Choose a folder for the results"))
        self.choose_button.clicked.connect(self._choose)
        label = QLabel(said("Into the &folder"))
        label.setBuddy(self.folder_edit)
        out.add(label)
        out.add(row(self.folder_edit, self.choose_button, stretch=0))
        self.write_button = button(
            said("Write results"), said("Write tables, graphs and the report into the folder")
        )
        self.write_button.clicked.connect(self._write)
        self.open_button = button(said("Open the folder"), said("Show the files that were written"))
        self.open_button.clicked.connect(self._open)
        self.open_button.setVisible(False)
        out.add(row(self.write_button, self.open_button))
        self.state = Sentence()
        out.add(self.state)
        self._written: Path | None = None
        self._written_run: Run | None = None
        self._trouble = ""
        self._writing = False
        self._waiting: Path | None = None
        self.services.results_written.connect(self._on_written)
        self.document.outcome_changed.connect(self._on_outcome)
        self.document.path_changed.connect(self._on_changed)
        self.add(out)

    def refresh(self) -> None:
        """Show texts, questions and what can be written."""
        self.guarded(self._show)

    def _show(self) -> None:
        run = self.run
        controls = (self.title_edit, self.observer_edit, self.notes_box, self.question_edit, self.ask_button)
        for control in controls:
            control.setEnabled(run is not None)
        for edit, text in (
            (self.title_edit, run.title if run is not None else ""),
            (self.observer_edit, run.observer if run is not None else ""),
        ):
            if not (edit.hasFocus() and edit.isModified()):
                edit.setText(text)
                edit.setModified(False)
        if not self._typed:
            notes = notes_of(run) if run is not None else ""
            if notes != self.notes_box.toPlainText():
                self.notes_box.setPlainText(notes)
        self._show_questions()
        if run is not None and self.folder_edit.text() in ("", self._usual):
            self._usual = str(self._usual_folder())
            self.folder_edit.setText(self._usual)
        self._say_state()

    def _show_questions(self) -> None:
        questions = questions_of(self.run) if self.run is not None else ()
        self.no_questions.setVisible(not questions)
        texts = tuple(each.question for each in questions)
        if texts != self._shown_questions:
            self._shown_questions = texts
            self._rebuild_questions(questions)
            return
        for box, each in zip(self._answers, questions, strict=True):
            if not self._typed and box.toPlainText() != each.answer:
                box.setPlainText(each.answer)

    def _rebuild_questions(self, questions: tuple[Question, ...]) -> None:
        while (item := self._question_layout.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self._answers = []
        for i, each in enumerate(questions):
            box = TextBox(
                said("Answer to question {i}", i=i + 1),
                3,
            )
            box.setPlainText(each.answer)
            box.textChanged.connect(self._on_typed)
            remove = button(
                said("Remove question"),
                said("Remove question {i} with its answer", i=i + 1),
            )
            remove.clicked.connect(lambda _=False, at=i: self._remove_question(at))
            holder = QWidget()
            inside = QVBoxLayout(holder)
            inside.setContentsMargins(0, 0, 0, 4)
            inside.setSpacing(3)
            inside.addWidget(Sentence(f"{i + 1}.  {each.question}"))
            inside.addWidget(box)
            inside.addLayout(row(remove))
            self._question_layout.addWidget(holder)
            self._answers.append(box)

    def _on_typed(self) -> None:
        self._typed = True
        self._pause.start()

    def _on_run_changed(self, before: object, after: object) -> None:
        if before is None or after is None:
            self._forget()
        super()._on_run_changed(before, after)

    def _forget(self) -> None:
        """Drop what belonged to the run before, its folder first: results written there would be replaced."""
        self._pause.stop()
        self._typed = False
        self.title_edit.setModified(False)
        self.observer_edit.setModified(False)
        if self._waiting is not None:
            self._waiting, self._writing = None, False
        self._written, self._trouble = None, ""
        self.open_button.setVisible(False)
        self._usual = ""
        self.folder_edit.clear()

    def take_typed(self) -> None:
        """Turn what was typed, in lines and boxes alike, into edits."""
        super().take_typed()
        self._boxes_typed()

    def _boxes_typed(self) -> None:
        """Turn what was typed into notes and answers into edits, if it was not yet."""
        self._pause.stop()
        run = self.run
        # What merely stands in the boxes may belong to an earlier run: only what was typed counts.
        if run is None or not self._typed:
            return
        self._typed = False
        notes = self.notes_box.toPlainText()[: MAX_TEXT + 1]
        if notes != notes_of(run):
            self.ask(SetNotes(notes))
        questions = questions_of(run)
        if len(questions) == len(self._answers):
            answered = tuple(
                Question(each.question, box.toPlainText())
                for each, box in zip(questions, self._answers, strict=True)
            )
            if answered != questions:
                self.ask(SetQuestions(answered))

    def _set_question(self) -> None:
        text = self.question_edit.text().strip()
        if self.run is not None and text:
            self._boxes_typed()
            if self.ask(SetQuestions((*questions_of(self.run), Question(text)))):
                self.question_edit.clear()

    def _remove_question(self, at: int) -> None:
        if self.run is not None:
            self._boxes_typed()
            questions = questions_of(self.run)
            self.ask(SetQuestions((*questions[:at], *questions[at + 1 :])))

    def _title_typed(self) -> None:
        if self.title_edit.isModified():
            self.title_edit.setModified(False)
            self.ask(SetTitle(self.title_edit.text().strip()))

    def _observer_typed(self) -> None:
        if self.observer_edit.isModified():
            self.observer_edit.setModified(False)
            self.ask(SetObserver(self.observer_edit.text().strip()))

    def _usual_folder(self) -> Path:
        """Beside the run file, or beside the film."""
        path = self.document.path
        if path is not None:
            return path.parent / said(
                "{removesuffix}-results", removesuffix=path.name.removesuffix(".json").removesuffix(".run")
            )
        if self.info is not None and self.info.path.parent != sample_run().parent:
            return self.info.path.parent / said("{stem}-results", stem=self.info.path.stem)
        return Path.home() / "results"

    def _choose(self) -> None:
        start = Path(self.folder_edit.text().strip() or str(self._usual_folder()))
        chosen = QFileDialog.getExistingDirectory(self, said("Folder for the results"), str(start.parent))
        if chosen:
            self.folder_edit.setText(str(Path(chosen)))

    def _say_state(self) -> None:
        outcome = self.document.outcome
        ready = outcome is not None and outcome.found_anything
        set_ready(self.write_button, ready and bool(self.folder_edit.text().strip()) and not self._writing)
        if self._writing:
            return
        if self._trouble:
            self.state.say(
                said("Nothing was written. {trouble}", trouble=self._trouble),
                "error",
            )
        elif self._written is not None and self._written_run is self.run:
            words = said("Written into {written}", written=self._written)
            if self.document.path is None:
                words += ". " + said("The run itself, with your marks, is not saved yet: Ctrl+S keeps it.")
            self.state.say(words, "good")
        elif self._written is not None:
            words = said("The run has changed since; write again to bring the results up to date.")
            self.state.say(
                said("Written into {written}. {words}", written=self._written, words=words),
                "warning",
            )
        elif self.run is None:
            self.state.say(said("Open a film first."), "warning")
        elif not ready:
            reason = self.document.lack or said("there is no reading that could be turned into a length")
            self.state.say(
                said("Nothing to write yet: {reason}.", reason=reason),
                "warning",
            )
        else:
            self.state.say("")

    def _write(self) -> None:
        self.take_typed()
        try:
            folder = Path(self.folder_edit.text().strip()).expanduser()
        except RuntimeError:  # the home of a user whom this computer does not know
            folder = Path()
        if not folder.is_absolute():
            self.state.say(said("Give the whole path of the folder, or choose it."), "error")
            return
        self._writing, self._written, self._trouble = True, None, ""
        self.open_button.setVisible(False)
        set_ready(self.write_button, False)
        self.state.say(
            said("Writing into {folder} …", folder=folder),
            "",
        )
        self.bring_into_sight(self.state)
        self._waiting = folder
        self._write_if_current()

    def _write_if_current(self) -> None:
        """Write once the outcome is that of the run in hand: it lags behind the newest change."""
        outcome, folder, run = self.document.outcome, self._waiting, self.run
        if folder is None or outcome is None or run is None:
            return
        if outcome.run is run or outcome.run == run:
            self._waiting = None
            self._written_run = run
            self.services.write_results(folder)

    def _on_outcome(self, outcome: object) -> None:
        if self._waiting is None:
            return
        if outcome is None:
            self._waiting = None
            self._fail(self.document.lack or said("There is no outcome any more."))
        else:
            self._write_if_current()

    def _folder_changed(self, _text: str) -> None:
        self._trouble = ""
        self._say_state()

    def _on_written(self, answer: object) -> None:
        if isinstance(answer, AppError):
            self._fail(str(answer))
            return
        self._writing = False
        self._written, self._trouble = Path(str(answer)), ""
        self._say_state()
        self.open_button.setVisible(True)
        self.bring_into_sight(self.state)

    def _fail(self, words: str) -> None:
        self._writing, self._written = False, None
        self._trouble = words if words.endswith(".") else f"{words}."
        self._say_state()
        self.bring_into_sight(self.state)

    def _open(self) -> None:
        if self._written is not None:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(self._written)))
