"""Menus and the keys that hold everywhere."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QActionGroup, QKeySequence, QShortcut
from PySide6.QtWidgets import QMenu, QWidget

from measure_app import __version__
from measure_app.gui.marks import READINGS
from measure_app.gui.panels.steps import Step
from measure_app.gui.recent import recent_files
from measure_app.gui.speech import AS_SYSTEM, choose_language, chosen_language, own_name
from measure_app.words import languages, said

if TYPE_CHECKING:
    from measure_app.gui.main_window import MainWindow


class Menus:
    """Builds the menu bar of a window and keeps its actions in step with the document."""

    def __init__(self, window: MainWindow) -> None:
        self._window = window
        self._needs_run: list[QAction] = []
        self._needs_film: list[QAction] = []
        self._file()
        self._edit()
        self._frame()
        self._view()
        self._help()
        self._round()
        document = window.bench.document
        document.run_changed.connect(self._refresh)
        document.clip_changed.connect(self._refresh)
        document.blind_changed.connect(self.blind.setChecked)
        window.bench.finding_running.connect(self._on_finding)
        self._refresh()

    def show_keys(self) -> None:
        """Show the list of keys."""
        from measure_app.gui.keys import KeysDialog

        KeysDialog(self._window).show()

    def show_plan(self) -> None:
        """Show what an experiment will give before it is filmed."""
        from measure_app.gui.panels.plan_page import plan_dialog

        dialog = plan_dialog(self._window)
        dialog.show()
        dialog.activateWindow()

    def show_help(self, page: str) -> None:
        """Show a page of the help; an unknown one: the first."""
        from measure_app.gui.keys import PageDialog
        from measure_app.gui.panels.help_pages import help_html

        step = next((each for each in Step if page in (each.name, each.value)), Step.FILM)
        PageDialog(
            said("Help: {value}", value=said(step.value)),
            help_html(step),
            self._window,
        ).show()

    def _file(self) -> None:
        window = self._window
        menu = window.menuBar().addMenu(said("&File"))
        self._add(menu, said("&New run on a film …"), window.files.new_run, QKeySequence.StandardKey.New)
        self._add(menu, said("New run on still &pictures …"), window.files.new_run_on_pictures)
        self._add(menu, said("&Open a run or a pack …"), window.files.open_run, QKeySequence.StandardKey.Open)
        self._add(menu, said("Open the sa&mple run"), window.files.open_sample)
        self._add(menu, said("&Before the film …"), self.show_plan)
        self._recent = menu.addMenu(said("&Lately open"))
        self._recent.aboutToShow.connect(self._fill_recent)
        menu.addSeparator()
        self._needs_run += [
            self._add(menu, said("&Save"), window.files.save, QKeySequence.StandardKey.Save),
            self._add(menu, said("Save &as …"), window.files.save_as, "Ctrl+Shift+S"),
            self._add(menu, said("&Close the run"), window.files.close_run, "Ctrl+W"),
        ]
        menu.addSeparator()
        self._add(menu, said("&Quit"), window.close, "Ctrl+Q")

    def _edit(self) -> None:
        window, hand = self._window, self._window.bench.hand
        menu = window.menuBar().addMenu(said("&Edit"))
        stack = window.bench.document.stack
        undo, redo = (
            stack.createUndoAction(window, said("&Undo")),
            stack.createRedoAction(window, said("&Redo")),
        )
        undo.setShortcut(QKeySequence.StandardKey.Undo)
        redo.setShortcuts([QKeySequence("Ctrl+Shift+Z"), QKeySequence("Ctrl+Y")])
        menu.addActions([undo, redo])
        menu.addSeparator()
        self._needs_run += [
            self._add(menu, said("Select the &next mark"), lambda: self._select(1), "N"),
            self._add(menu, said("Select the mark &before"), lambda: self._select(-1), "Shift+N"),
            self._add(menu, said("Re&move the selected mark"), hand.remove),
        ]
        menu.addSeparator()
        self.find = self._add(menu, said("&Find the rest"), window.toggle_finding, "Ctrl+F")
        self._needs_film.append(self.find)
        self.blind = self._add(menu, said("Read b&lind"), window.bench.set_blind, "Ctrl+B")
        self.blind.setCheckable(True)
        self._needs_run.append(self.blind)

    def _frame(self) -> None:
        window, document = self._window, self._window.bench.document
        menu = window.menuBar().addMenu(said("F&rame"))

        def step(frames: int) -> Callable[[], None]:
            return lambda: document.go_to(document.frame + frames)

        self._needs_film += [
            self._add(menu, said("One frame &on"), step(1), "]"),
            self._add(menu, said("One frame &back"), step(-1), "["),
            self._add(menu, said("&Ten frames on"), step(10), "}"),
            self._add(menu, said("T&en frames back"), step(-10), "{"),
            self._add(menu, said("&First of the part"), lambda: window.deck.go_to_end(False), "Ctrl+Home"),
            self._add(menu, said("&Last of the part"), lambda: window.deck.go_to_end(True), "Ctrl+End"),
            self._add(menu, said("&Play or stop"), window.playback.toggle, "Ctrl+Space"),
            self._add(menu, said("Part &starts here"), lambda: window.deck.set_end(False)),
            self._add(menu, said("Part en&ds here"), lambda: window.deck.set_end(True)),
        ]

    def _view(self) -> None:
        window, view = self._window, self._window.stage.view
        menu = window.menuBar().addMenu(said("&View"))
        for number, step in enumerate(Step, start=1):
            self._add(
                menu,
                f"&{number} {said(step.value)}",
                partial(window.go_to_step, step),
                said("Alt+{number}", number=number),
            )
        menu.addSeparator()
        self._needs_film += [
            self._add(menu, said("&Magnify"), lambda: view.zoom(1.25), QKeySequence.StandardKey.ZoomIn),
            self._add(menu, said("Ma&ke smaller"), lambda: view.zoom(0.8), QKeySequence.StandardKey.ZoomOut),
            self._add(menu, said("&Whole frame"), view.fit, "Ctrl+0"),
            self._add(menu, said("Whole film in the s&trips"), window.deck.show_whole, "Ctrl+Shift+0"),
        ]
        loupe = self._add(menu, said("&Loupe"), view.set_loupe, "Ctrl+L")
        loupe.setCheckable(True)
        loupe.setChecked(True)
        self._languages(menu.addMenu(said("Lan&guage")))

    def _languages(self, menu: QMenu) -> None:
        """Offer the languages; a choice holds from the next start."""
        settings = self._window.settings
        group = QActionGroup(menu)
        for code in (AS_SYSTEM, *languages()):
            action = self._add(
                menu,
                own_name(code) if code else said("As the &system"),
                partial(self._choose_language, code),
            )
            action.setCheckable(True)
            action.setChecked(code == chosen_language(settings))
            group.addAction(action)

    def _choose_language(self, code: str) -> None:
        choose_language(self._window.settings, code)
        self._window.stage.notice.say(said("The language changes when the program is started again."))

    def _help(self) -> None:
        window = self._window
        menu = window.menuBar().addMenu(said("&Help"))
        self._add(menu, said("&Keys"), self.show_keys, "F1")
        for step in Step:
            self._add(menu, said(step.value), partial(self.show_help, step.name))
        menu.addSeparator()
        about = said(
            "Clepsydra {version}\n\nMeasures a filmed draining container: head, throw and time of "
            "every frame.",
            version=__version__,
        )
        self._add(menu, said("&About"), lambda: _about(window, about))

    def _round(self) -> None:
        """F6 goes round the parts of the window, Shift+F6 back."""
        forward, back = QShortcut("F6", self._window), QShortcut("Shift+F6", self._window)
        forward.activated.connect(lambda: self._go_round(1))
        back.activated.connect(lambda: self._go_round(-1))

    def _go_round(self, way: int) -> None:
        window = self._window
        panel = window.panels.get(window.step)
        row = next((row for row in window.rail.rows if row.step is window.step), window.rail.rows[0])
        stops: list[QWidget] = [window.stage.view, *window.deck.views, row]
        if panel is not None:
            stops.insert(3, panel)
        now = window.focusWidget()
        at = next(
            (
                i
                for i, stop in enumerate(stops)
                if now is not None and (now is stop or stop.isAncestorOf(now))
            ),
            -1,
        )
        target = stops[(at + way) % len(stops)]
        if target is panel:
            target = next(
                (
                    child
                    for child in target.findChildren(QWidget)
                    if child.isVisible()
                    and child.isEnabled()
                    and child.focusPolicy() & Qt.FocusPolicy.TabFocus
                ),
                target,
            )
        target.setFocus(Qt.FocusReason.TabFocusReason)

    def _select(self, way: int) -> None:
        """Go through the marks of the frame, readings first."""
        view, hand = self._window.stage.view, self._window.bench.hand
        handles = sorted(hand.visible_handles(view.shown), key=lambda handle: handle.kind not in READINGS)
        if not handles:
            return
        at = handles.index(hand.selected) if hand.selected in handles else (-1 if way > 0 else 0)
        hand.select(handles[(at + way) % len(handles)])
        view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _fill_recent(self) -> None:
        self._recent.clear()
        for path in recent_files(self._window.settings):
            self._recent.addAction(str(path)).triggered.connect(partial(self._window.files.open_file, path))
        if self._recent.isEmpty():
            self._recent.addAction(said("Nothing yet")).setEnabled(False)

    def _add(
        self,
        menu: QMenu,
        text: str,
        does: Callable[..., object],
        key: str | QKeySequence.StandardKey | None = None,
    ) -> QAction:
        action = menu.addAction(text)
        action.triggered.connect(does)
        if key is not None:
            action.setShortcut(QKeySequence(key))
        return action

    def _refresh(self, *_: object) -> None:
        document = self._window.bench.document
        for action in self._needs_run:
            action.setEnabled(document.run is not None)
        for action in self._needs_film:
            action.setEnabled(document.info is not None)

    def _on_finding(self, on: bool) -> None:
        self.find.setText(said("Stop &finding") if on else said("&Find the rest"))


def _about(window: QWidget, words: str) -> None:
    from PySide6.QtWidgets import QMessageBox

    QMessageBox.about(window, said("About Clepsydra"), words)
