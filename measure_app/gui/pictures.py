"""Pictures of every step on the sample run, light and dark, at 100 and 200 %: to be looked at.

``python -m measure_app.gui.pictures OUTDIR [LANGUAGE]`` writes them; it needs no screen.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QEvent, QPointF, QSettings, Qt, QTimer
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QScrollArea, QWidget

from calibration import Pixel
from measure_app.gui.app import make_application
from measure_app.gui.dialogs import Choice, Clash, Dialogs
from measure_app.gui.keys import KeysDialog
from measure_app.gui.main_window import MainWindow
from measure_app.gui.marks import Handle, Kind
from measure_app.gui.panels.plan_page import plan_dialog
from measure_app.gui.panels.share_section import ShareSection
from measure_app.gui.panels.steps import Step
from measure_app.gui.theme import dress
from measure_app.gui.tools import Tool
from measure_app.packs import PackPlan, pack
from measure_app.sample import sample_run
from measure_app.words import ENGLISH, languages, said, use_language

SIZE = (1280, 800)
SMALLEST = (1024, 700)
_PATIENCE_S, _SETTLED_S = 60.0, 6.0


class _Silent:
    """Answers questions where nobody sits."""

    def film(self, _folder: Path) -> Path | None:
        return None

    def pictures(self, _folder: Path) -> Path | None:
        return None

    def run(self, _folder: Path) -> Path | None:
        return None

    def place(self, _offered: Path) -> Path | None:
        return None

    def unsaved(self, _title: str) -> Choice:
        return Choice.DROP

    def clash(self, _path: Path) -> Clash:
        return Clash.STAY

    def share(self, _shares: int) -> int | None:
        return 1


class _Photographer:
    """Leads a window through the steps and takes a picture of each."""

    def __init__(self, application: QApplication, window: MainWindow, folder: Path, scale: int) -> None:
        self._application = application
        self._window = window
        self._folder = folder
        self._scale = scale
        self._tone = "light"

    def all_steps(self, dark: bool) -> None:
        """Open the sample and go through everything."""
        window, bench, view = self._window, self._window.bench, self._window.stage.view
        self._tone = "dark" if dark else "light"
        dress(self._application, dark)
        self.take("0-start")
        window.files.open_sample()
        self.until(lambda: view.shown == 0 and bench.document.outcome is not None)
        self.until(lambda: all(v.picture is not None and not v.words for v in window.deck.views))
        self.take("1-film")
        self._rest_of_panel("1-film")
        window.go_to_step(Step.RULES)
        bench.use_tool(Tool.GRADUATION, rule=0)
        view.zoom_to(Pixel(360.0, 200.0), 2.4)
        self.take("2-rules")
        self._point_at(Pixel(338.4, 260.7))
        self.take("2b-loupe")
        self._press(Pixel(338.4, 260.7))
        self.take("2c-value")
        bench.use_tool(Tool.LOOK)
        view.fit()
        window.go_to_step(Step.DATUM)
        bench.hand.select(Handle(Kind.ORIFICE))
        self.take("3-datum")
        self._rest_of_panel("3-datum")
        bench.hand.select(None)
        bench.find_the_rest()
        self.until(lambda: bench.document.search is not None and not bench.busy)
        bench.document.go_to(120)
        self.until(lambda: view.shown == 120)
        self._readings_and_findings()
        window.resize(*SMALLEST)
        self.take("8-smallest")
        window.resize(*SIZE)
        bench.forget_changes()
        window.files.close_run()
        self._plan()
        self._pack()

    def _readings_and_findings(self) -> None:
        """Take what there is to see when all is found."""
        window, bench = self._window, self._window.bench
        window.go_to_step(Step.READINGS)
        self.take("4-readings")
        self._rest_of_panel("4-readings")
        bench.set_blind(True)
        self.take("4b-blind")
        bench.set_blind(False)
        window.go_to_step(Step.FINDINGS)
        self.until(lambda: not bench.busy)
        self.take("5-findings")
        self._rest_of_panel("5-findings")
        window.go_to_step(Step.HAND_IN)
        self.take("6-hand-in")
        self._rest_of_panel("6-hand-in")
        window.stage.notice.say(
            said(
                "The film cannot be shown: {error}", error=f"bench.mp4: {said('no such file or directory')}"
            ),
            said("Find the film …"),
        )
        self.take("7-notice")
        window.stage.notice.clear()

    def _plan(self) -> None:
        """Take the page on which an experiment is planned."""
        dialog = plan_dialog(self._window)
        dialog.resize(1080, 760)  # the screen that is none is smaller
        dialog.show()
        self.until(lambda: not dialog.busy and dialog.page.toPlainText() != "")
        self.take("a-plan", of=dialog)
        dialog.close()

    def _pack(self) -> None:
        """Take the question that a pack for a class asks, and the share that it opens."""
        window, bench = self._window, self._window.bench

        def asked() -> None:
            dialog = self._application.activeModalWidget()
            if isinstance(dialog, QDialog):
                dialog.grab().save(str(self._folder / f"{self._scale}-{self._tone}-b-pack.png"))
                dialog.reject()

        QTimer.singleShot(300, window, asked)
        Dialogs(window).share(3)
        with tempfile.TemporaryDirectory() as place:
            made = Path(place) / "class.clepsydra"
            pack(sample_run(), made, PackPlan(students=3, each=20, blind=True))
            window.files.open_file(made)
            self.until(lambda: bench.document.run is not None and window.stage.view.shown == 0)
            self.until(lambda: all(v.picture is not None and not v.words for v in window.deck.views))
            window.go_to_step(Step.READINGS)
            window.panels[Step.READINGS].findChildren(ShareSection)[0].next_button.click()
            self.take("b-pack-share")
            bench.forget_changes()
            window.files.close_run()

    def _rest_of_panel(self, name: str) -> None:
        """Take the parts of the panel that are out of sight at first, a screenful each, at 100 %."""
        panel = self._window.panels[self._window.step]
        area = next(area for area in panel.findChildren(QScrollArea) if area.isVisible())
        bar = area.verticalScrollBar()
        at, page = 0, area.viewport().height() - 40
        while self._scale == 100 and at < bar.maximum():
            at = min(at + page, bar.maximum())
            bar.setValue(at)
            self.take(f"{name}-{at:05d}", of=panel)
        bar.setValue(0)

    def _point_at(self, pixel: Pixel) -> None:
        port, at = self._window.stage.view.viewport(), self._window.stage.view.map.view_at(pixel)
        # Sent to the view itself: a pointer cannot leave the screen, which is small where there is none.
        none, button = Qt.KeyboardModifier.NoModifier, Qt.MouseButton.NoButton
        moved = QMouseEvent(QEvent.Type.MouseMove, at, QPointF(port.mapToGlobal(at)), button, button, none)
        self._application.sendEvent(port, moved)

    def _press(self, pixel: Pixel) -> None:
        view = self._window.stage.view
        at = view.map.view_at(pixel).toPoint()
        QTest.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, at)

    def take(self, name: str, of: QWidget | None = None) -> None:
        """Wait until nothing moves, then take a picture; of the window where nothing else is named."""
        before, seen = None, (of or self._window).grab().toImage()
        limit = time.monotonic() + _SETTLED_S
        # A panel that has just got its results is laid out once more some time after.
        while seen != before and time.monotonic() < limit:
            self._wait(0.5)
            before, seen = seen, (of or self._window).grab().toImage()
        seen.save(str(self._folder / f"{self._scale}-{self._tone}-{name}.png"))

    def _wait(self, seconds: float) -> None:
        """Let the window work for a while."""
        end = time.monotonic() + seconds
        self.until(lambda: time.monotonic() >= end)

    def keys(self) -> None:
        """Take a picture of the list of keys."""
        dialog = KeysDialog(self._window)
        dialog.show()
        self._application.processEvents()
        dialog.grab().save(str(self._folder / f"{self._scale}-{self._tone}-9-keys.png"))
        dialog.close()

    def until(self, holds: Callable[[], bool]) -> None:
        """Let the window work until something holds; after a minute go on all the same."""
        limit = time.monotonic() + _PATIENCE_S
        while not holds() and time.monotonic() < limit:
            self._application.processEvents()
            time.sleep(0.005)


def render(folder: Path, scale: int) -> None:
    """Write the pictures of one scale, which the process was started with."""
    application = make_application()
    with tempfile.TemporaryDirectory() as place:
        settings = QSettings(str(Path(place) / "settings.ini"), QSettings.Format.IniFormat)
        window = MainWindow(settings, None, _Silent())
        window.resize(*SIZE)
        window.show()
        photographer = _Photographer(application, window, folder, scale)
        for dark in (False, True):
            photographer.all_steps(dark)
        photographer.keys()
        window.close()
        plan_dialog(window).end()


def main(arguments: list[str]) -> int:
    """Write all pictures, each scale in a process of its own, for Qt reads the scale once."""
    code = arguments[1] if len(arguments) > 1 else ENGLISH
    if not arguments or code not in languages():
        sys.stderr.write("usage: python -m measure_app.gui.pictures OUTDIR [LANGUAGE]\n")
        return 2
    folder = Path(arguments[0])
    folder.mkdir(parents=True, exist_ok=True)
    if len(arguments) > 2:  # a scale: this is the process started for it
        use_language(code)
        render(folder, int(arguments[2]))
        return 0
    for scale in (100, 200):
        environment = {"QT_QPA_PLATFORM": "offscreen", **os.environ, "QT_SCALE_FACTOR": str(scale / 100)}
        command = [sys.executable, "-m", "measure_app.gui.pictures", str(folder), code, str(scale)]
        if status := subprocess.run(command, env=environment, check=False).returncode:
            return status
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
