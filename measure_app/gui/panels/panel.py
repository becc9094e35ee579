"""What all panels have in common: a heading, help that unfolds, a body that scrolls, refusals at the field."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Protocol

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QCheckBox,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLayout,
    QLineEdit,
    QListWidget,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)

from measure_app.clip import ClipInfo
from measure_app.edits import Edit
from measure_app.errors import EditRefused
from measure_app.gui.document import Document
from measure_app.gui.panels.help_pages import help_html
from measure_app.gui.panels.pieces import Sentence, button
from measure_app.gui.panels.steady_scroll import SteadyScroll
from measure_app.gui.panels.steps import Step
from measure_app.gui.panels.tables import DataTable
from measure_app.gui.services import Services
from measure_app.run import Run
from measure_app.words import said


class ShowsRefusal(Protocol):
    """A field that can say why something was not taken."""

    def show_refusal(self, words: str) -> None:
        """Show the words; "" takes them away."""


class Panel(QWidget):
    """One step's panel. It reads the document, asks it to perform edits, and never writes a run itself."""

    step: ClassVar[Step]
    lead: ClassVar[str] = ""
    """One sentence under the heading: what is done in this step."""

    def __init__(self, document: Document, services: Services, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.document = document
        self.services = services
        self._asking: ShowsRefusal | None = None
        self._stale = True
        self._build_frame()
        self._refusal = Sentence(tone="error")
        self._body.addWidget(self._refusal)
        self.build()
        self._body.addStretch(1)
        document.run_changed.connect(self._on_run_changed)
        document.clip_changed.connect(self._on_changed)
        document.outcome_changed.connect(self._on_changed)
        document.refused.connect(self._on_refused)

    @property
    def title(self) -> str:
        """What the panel is called."""
        return said(self.step.value)

    @property
    def run(self) -> Run | None:
        """The run in hand."""
        return self.document.run

    @property
    def info(self) -> ClipInfo | None:
        """What is known of the film."""
        return self.document.info

    def build(self) -> None:
        """Make the controls; each panel does so in its own way."""

    def refresh(self) -> None:
        """Show what the document holds now; called when the panel is in sight."""

    def take_typed(self) -> None:
        """Turn what was typed and is not in the run yet into edits, before it is saved or let go."""
        for line in self.findChildren(QLineEdit):
            if line.isModified() and not isinstance(line.parent(), QAbstractSpinBox):
                line.editingFinished.emit()
        for box in self.findChildren(QAbstractSpinBox):
            if box.hasFocus():
                box.interpretText()
        for table in self.findChildren(DataTable):
            table.take_typed()

    def add(self, item: QWidget | QLayout | str, stretch: int = 0) -> None:
        """Add a control, a row of them, or a sentence of help."""
        if isinstance(item, str):
            self._body.addWidget(Sentence(said(item), tone="faint"))
        elif isinstance(item, QWidget):
            self._body.addWidget(item, stretch)
        else:
            self._body.addLayout(item)

    def ask(self, edit: Edit, field: ShowsRefusal | None = None, *, gesture: int = -1) -> bool:
        """Ask the document to perform an edit; a refusal is shown at the field, or atop the panel."""
        self._asking = self if field is None else field
        self._say_refusal("")
        try:
            return self.document.perform(edit, gesture=gesture)
        finally:
            self._asking = None

    def show_refusal(self, words: str) -> None:
        """Show a refusal that belongs to no single field."""
        self._refusal.say(words)

    def guarded(self, update: Callable[[], None]) -> None:
        """Show something without taking the controls' answers for a person's."""
        kinds = (QAbstractSpinBox, QComboBox, QCheckBox, QPlainTextEdit, QListWidget)
        blocked = [
            child
            for child in self.findChildren(QWidget)
            if isinstance(child, kinds) and not child.signalsBlocked()
        ]
        for child in blocked:
            child.blockSignals(True)
        try:
            update()
        finally:
            for child in blocked:
                child.blockSignals(False)

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        """Catch up with what happened while the panel was out of sight."""
        super().showEvent(event)
        if self._stale:
            self.catch_up()
            self._scroll.settle()

    def catch_up(self) -> None:
        """Show the newest state now."""
        self._stale = False
        self.refresh()

    def bring_into_sight(self, part: QWidget) -> None:
        """Scroll to something that has just begun to say what a person waits for."""
        if self.isVisible():
            self._scroll.settle()
            self._scroll.ensureWidgetVisible(part, 0, 12)

    def _build_frame(self) -> None:
        heading = QLabel(self.title)
        heading.setObjectName("panel-heading")
        font = heading.font()
        font.setPointSizeF(font.pointSizeF() * 1.35)
        font.setBold(True)
        heading.setFont(font)
        self.help_button = button(
            said("Help"),
            said("A short page on the step {title}", title=self.title),
            checkable=True,
        )
        self.help_button.toggled.connect(self._toggle_help)
        top = QHBoxLayout()
        top.addWidget(heading, 1)
        top.addWidget(self.help_button)
        self._scroll = SteadyScroll()
        self._body = QVBoxLayout(self._scroll.body)
        self._body.setContentsMargins(12, 2, 10, 12)
        self._body.setSpacing(8)
        self._help = QLabel()
        self._help.setWordWrap(True)
        self._help.setTextFormat(Qt.TextFormat.RichText)
        self._help.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self._help.setAccessibleName(said("Help: {title}", title=self.title))
        self._help.setFrameShape(QFrame.Shape.StyledPanel)
        self._help.setMargin(8)
        self._help.setVisible(False)
        self._body.addWidget(self._help)
        if self.lead:
            self._body.addWidget(Sentence(said(self.lead), tone="faint"))
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 8, 0, 0)
        outer.setSpacing(6)
        top.setContentsMargins(12, 0, 10, 0)
        outer.addLayout(top)
        outer.addWidget(self._scroll, 1)

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Dress what was painted by hand in the new palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange:
            self.repaint_all()

    def repaint_all(self) -> None:
        """Paint anew what the palette does not reach by itself."""

    def _toggle_help(self, on: bool) -> None:
        if on and not self._help.text():
            self._help.setText(help_html(self.step))
        self._help.setVisible(on)
        if on:
            self._scroll.verticalScrollBar().setValue(0)

    def _on_changed(self, _: object) -> None:
        self._refresh_if_seen()

    def _on_run_changed(self, _before: object, _after: object) -> None:
        self._refresh_if_seen()

    def _refresh_if_seen(self) -> None:
        if self.isVisible():
            self.catch_up()
        else:
            self._stale = True

    def _on_refused(self, error: EditRefused) -> None:
        if self._asking is not None:
            self._asking.show_refusal(error.words)

    def _say_refusal(self, words: str) -> None:
        self._refusal.say(words)
