"""The window: builds its parts and connects them; it decides nothing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QSettings, Qt, QTimer, Slot
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QHBoxLayout, QMainWindow, QSplitter, QStackedWidget, QVBoxLayout, QWidget

from measure_app.errors import AppError, EditRefused
from measure_app.gui.crops import CropPopup
from measure_app.gui.dialogs import Asks, Dialogs
from measure_app.gui.frames import FrameService
from measure_app.gui.menus import Menus
from measure_app.gui.panels.steps import Step, step_states
from measure_app.gui.placing import Repeat
from measure_app.gui.playback import Playback
from measure_app.gui.recent import recent_files, remember
from measure_app.gui.recovery import RecoveryStore, Snapshot
from measure_app.gui.run_files import RunFiles
from measure_app.gui.stage import Stage
from measure_app.gui.start_page import StartPage
from measure_app.gui.step_rail import StepRail
from measure_app.gui.strip_deck import StripDeck
from measure_app.gui.tools import Tool
from measure_app.gui.transport import Transport
from measure_app.gui.workbench import Workbench
from measure_app.words import said

if TYPE_CHECKING:  # graphs and tables: not before the first frame is shown
    from measure_app.gui.panels.panel import Panel

_PANEL = 384


class MainWindow(QMainWindow):
    """Rail, stage, panel and strips around one workbench."""

    def __init__(
        self,
        settings: QSettings,
        recovery: RecoveryStore | None = None,
        asks: Asks | None = None,
        frames: FrameService | None = None,
        *,
        awaits_file: bool = False,
    ) -> None:
        super().__init__()
        self.settings = settings
        self._recovery = recovery
        self.bench = Workbench(self, recovery, frames)
        self.files = RunFiles(self.bench, settings, asks or Dialogs(self), self.take_typed)
        self.playback = Playback(self.bench.document, self)
        self.rail = StepRail()
        self.stage = Stage(self.bench, self.playback)
        self.deck = StripDeck(self.bench)
        self.start = StartPage()
        self._panels: dict[Step, Panel] = {}
        self.crops = CropPopup(self.bench, self)
        self._step = Step.FILM
        self._build()
        self.menus = Menus(self)
        self._connect()
        self.setAcceptDrops(True)
        self.setMinimumSize(1024, 700)
        self.resize(1280, 800)
        self._on_title()
        self._on_state()
        if not awaits_file:
            self._list_files()

    @property
    def panels(self) -> dict[Step, Panel]:
        """The panels of the steps, made when they are first wanted: no frame waits for them."""
        if not self._panels:
            from measure_app.gui.panels import make_panels

            self._panels = make_panels(self.bench.document, self.bench)
            for panel in self._panels.values():
                self._side.addWidget(panel)
            self._show_panel()
        return self._panels

    @property
    def step(self) -> Step:
        """The step whose panel is open."""
        return self._step

    def _build(self) -> None:
        # From the outside in: whatever goes into a widget that is at its place already is styled once only.
        self._pages = QStackedWidget(self)
        self.setCentralWidget(self._pages)
        self._pages.addWidget(self.start)
        work = QSplitter(Qt.Orientation.Vertical, self._pages)
        self._pages.addWidget(work)
        work.setChildrenCollapsible(False)
        upper = QWidget(work)
        row = QHBoxLayout(upper)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        middle = QSplitter(Qt.Orientation.Horizontal, upper)
        row.addWidget(self.rail)
        row.addWidget(middle, 1)
        self._side = QStackedWidget()
        self._side.setMinimumWidth(340)
        self._side.setMaximumWidth(700)
        middle.setChildrenCollapsible(False)
        middle.addWidget(self.stage)
        middle.addWidget(self._side)
        middle.setStretchFactor(0, 1)
        middle.setStretchFactor(1, 0)
        middle.setSizes([900, _PANEL])
        lower = QWidget(work)
        column = QVBoxLayout(lower)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(Transport(self.bench.document, self.playback))
        column.addWidget(self.deck, 1)
        work.setStretchFactor(0, 3)
        work.setStretchFactor(1, 1)
        work.setSizes([500, 262])
        # Its room is there from the start, so that no message moves the frame under the pointer.
        self.statusBar().setSizeGripEnabled(False)

    def _connect(self) -> None:
        bench, document = self.bench, self.bench.document
        document.run_changed.connect(self._on_run)
        document.clip_changed.connect(self._on_clip)
        document.outcome_changed.connect(self._on_state)
        document.path_changed.connect(self._on_title)
        document.refused.connect(self._on_refused)
        bench.film_failed.connect(self._on_film_failed)
        bench.troubled.connect(self._on_trouble)
        bench.saved.connect(self._on_saved)
        bench.open_film_wanted.connect(self.files.choose_film)
        bench.help_wanted.connect(self.menus.show_help)
        bench.hand.read_again.connect(self._on_read_again)
        self.stage.view.painted.connect(self._on_painted)
        self.rail.chosen.connect(self.go_to_step)
        self.start.film_wanted.connect(self.files.new_run)
        self.start.run_wanted.connect(self.files.open_run)
        self.start.sample_wanted.connect(self.files.open_sample)
        self.start.plan_wanted.connect(self.menus.show_plan)
        self.start.file_wanted.connect(self.files.open_file)
        self.start.restore_wanted.connect(self._restore)
        self.start.discard_wanted.connect(self._discard)

    # What the menus and the start page do.

    def go_to_step(self, step: Step) -> None:
        """Open a step's panel; any, at any time."""
        self.bench.use_tool(Tool.LOOK)
        self._step = step
        self.rail.check(step)
        self._show_panel()

    def _show_panel(self) -> None:
        if self._step in self._panels:
            self._side.setCurrentWidget(self._panels[self._step])

    def _on_painted(self, _frame: int) -> None:
        self.bench.frame_stands()
        if not self._panels:
            QTimer.singleShot(0, self, lambda: self.panels)

    def take_typed(self) -> None:
        """Take what stands half typed in a panel into the run, before that is saved, written or let go."""
        for panel in self._panels.values():
            panel.take_typed()

    def toggle_finding(self) -> None:
        """Find the rest, or stop finding."""
        if self.bench.finding:
            self.bench.stop_finding()
        else:
            self.bench.find_the_rest()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Ask about changes, then end the threads."""
        if not self.files.may_go():
            event.ignore()
            return
        self.bench.forget_changes()
        self._leave()
        event.accept()

    def end_unasked(self) -> None:
        """End because the system says so: no question, and what is not saved stays to be taken back."""
        try:
            self.take_typed()
        finally:
            self._leave()

    def _leave(self) -> None:
        self.playback.stop()
        self.files.close()
        self.bench.close()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Take a single local file."""
        urls = event.mimeData().urls()
        if len(urls) == 1 and urls[0].isLocalFile():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Open what was dropped, once the drop itself is over."""
        path = Path(event.mimeData().urls()[0].toLocalFile())
        event.acceptProposedAction()
        QTimer.singleShot(0, self, lambda: self.files.open_file(path))

    # What follows.

    def _on_run(self, before: object, after: object) -> None:
        self._pages.setCurrentIndex(0 if after is None else 1)
        if after is None:
            self.start.say("")
            self._list_files()
        elif before is None:
            self.stage.notice.clear()
            self.go_to_step(Step.FILM)
        self._on_title()
        self._on_state()

    def _list_files(self) -> None:
        left = self._recovery.left_behind() if self._recovery is not None else ()
        self.start.show_lists(recent_files(self.settings), left)

    def _on_state(self, *_: object) -> None:
        document = self.bench.document
        self.rail.show_states(step_states(document.run, document.info, document.outcome))

    def _on_clip(self, info: object) -> None:
        if info is not None:
            self.stage.notice.clear()  # what was said of a film that could not be shown
        self._on_state()

    def _on_title(self, *_: object) -> None:
        document = self.bench.document
        if document.run is None:
            self.setWindowTitle("Clepsydra")
            self.setWindowModified(False)
            return
        name = (
            document.path.name
            if document.path is not None
            else said("{name}, not saved", name=Path(document.run.clip.path).name)
        )
        self.setWindowTitle(said("{value}[*] – Clepsydra", value=document.run.title or name))
        self.setWindowModified(self.bench.changed)

    @Slot(object)
    def _on_refused(self, error: EditRefused) -> None:
        self.statusBar().showMessage(
            said("Not done: {words}", words=error.words),
            8000,
        )

    @Slot(object)
    def _on_film_failed(self, error: AppError) -> None:
        self._on_painted(-1)
        self.stage.notice.say(
            said("The film cannot be shown: {error}", error=error),
            said("Find the film …"),
            self.files.choose_film,
        )

    @Slot(object)
    def _on_trouble(self, error: AppError) -> None:
        if self.bench.document.run is None:
            self.statusBar().showMessage(str(error))
            self._list_files()
            self.start.say(str(error))
        else:
            self.stage.notice.say(str(error))

    @Slot(object)
    def _on_saved(self, path: Path) -> None:
        remember(self.settings, path)
        self._on_title()
        self.statusBar().showMessage(
            said("Saved as {name}", name=path.name),
            4000,
        )

    def _on_read_again(self, repeat: Repeat) -> None:
        words = said("{apart_px:.2f} px from the mark before", apart_px=repeat.apart_px)
        if repeat.counts:
            words = said(
                "Marked again, {words}: counted towards your scatter (step Readings, Mark again)", words=words
            )
        else:
            words = said(
                "Mark replaced, {words}: too far off to be a repeat; undo brings it back", words=words
            )
        self.statusBar().showMessage(words, 8000)

    def _restore(self, snapshot: Snapshot) -> None:
        self.bench.restore(snapshot)

    def _discard(self, snapshot: Snapshot) -> None:
        if self._recovery is not None:
            self._recovery.discard(snapshot)
        self._on_run(None, None)
