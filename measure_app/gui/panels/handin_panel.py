"""Hand-in: who, what, notes, questions and answers, and the files that are written."""

from __future__ import annotations

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QLabel, QLineEdit, QVBoxLayout, QWidget

from measure_app.edits import SetObserver, SetTitle
from measure_app.extras import MAX_TEXT, Question, SetNotes, SetQuestions, notes_of, questions_of
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, TextBox, button, row
from measure_app.gui.panels.steps import Step
from measure_app.gui.panels.writing_section import WritingSection
from measure_app.words import marked, said

_PAUSE_MS = 700
"""Typing rests this long before it becomes an edit."""


class HandInPanel(Panel):
    """The last step: what leaves the program."""

    step = Step.HAND_IN
    lead = marked("Say who measured, write what is to be known, and write the results.")

    def build(self) -> None:
        """Make the controls."""
        self._build_texts()
        self._build_questions()
        self.out = WritingSection(self)
        self.document.path_changed.connect(self._on_changed)
        self.add(self.out)

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
        self.out.show_run()

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
        self.out.forget()

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
