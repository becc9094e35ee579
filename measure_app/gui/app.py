"""Starts the window; the only place that makes things."""

from __future__ import annotations

import gc
import sys
import traceback
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from PySide6.QtCore import QSettings, QTimer
from PySide6.QtWidgets import QApplication

from measure_app.decoder import Decoder
from measure_app.errors import AppError
from measure_app.giving_back import keep_one_store
from measure_app.gui.frames import FrameService
from measure_app.gui.speech import speak_as_chosen, teach_qt
from measure_app.gui.theme import STYLE, dress
from measure_app.words import said

if TYPE_CHECKING:
    from measure_app.gui.main_window import MainWindow

NAME = "clepsydra"
_SIGNALS_AFTER_MS = 300
_ICON = Path(__file__).parents[1] / "desktop" / "clepsydra.svg"


def make_application() -> QApplication:
    """Return the application with its name and style; there is one in a process."""
    keep_one_store()  # its lanes work in turns
    running = QApplication.instance()
    if isinstance(running, QApplication):
        application = running
        application.setStyle(STYLE)
    else:
        # Named at the start it is made once, and the binding need not load all about styles to hand it out.
        application = QApplication([*sys.argv[:1], "-style", STYLE])
    application.setApplicationName(NAME)
    application.setApplicationDisplayName("Clepsydra")
    application.setDesktopFileName(NAME)  # by which desktops find menu entry and icon
    teach_qt(application)
    dress(application)
    return application


def wear_icon(application: QApplication) -> None:
    """Give all windows the program's icon; for start time's sake when the first of them is in sight."""
    from PySide6.QtGui import QIcon

    application.setWindowIcon(QIcon(str(_ICON)))


def heed_signals(application: QApplication, window: MainWindow) -> None:
    """Let the window end in order when the system ends the program: at log-out, shut-down, Ctrl+C."""
    from measure_app.gui.ending import Ending

    ending = Ending(application)

    def leave(number: int) -> None:
        try:
            window.end_unasked()
        finally:
            application.exit(128 + number)

    ending.wanted.connect(leave)


def run_gui(path: Path | None, *, language_given: bool = False, decoder: Decoder | None = None) -> int:
    """Open the window and stay until it is closed.

    Parameters
    ----------
    path : Path or None
        A film or a run to open at once.
    language_given : bool, optional
        Whether the command line named a language, which then wins over the one chosen in the window.
    decoder : Decoder, optional
        As for `make_window`.

    Returns
    -------
    int
        0; where the system ended it, 128 and the number of its signal.
    """
    if not language_given:
        speak_as_chosen(QSettings(NAME, NAME))
    application = make_application()
    window = make_window(path, decoder)
    application.styleHints().colorSchemeChanged.connect(lambda _: dress(application))
    sys.excepthook = _Told(window)
    window.show()
    QTimer.singleShot(0, application, lambda: wear_icon(application))
    # Not in the first frame's way: so early there is nothing that could be lost.
    QTimer.singleShot(_SIGNALS_AFTER_MS, application, lambda: heed_signals(application, window))
    return application.exec()


def make_window(path: Path | None, decoder: Decoder | None = None) -> MainWindow:
    """Return a window with a person's own settings and recovery folder, opening a film or a run at once.

    Parameters
    ----------
    path : Path or None
        A film or a run.
    decoder : Decoder, optional
        Process that is to decode, begun already; by default one that the window begins, and ends, itself.
    """
    # Start-up makes many things that stay; looking through them for rubbish meanwhile costs a tenth of it.
    gc.disable()
    try:
        return _made(path, decoder)
    finally:
        gc.enable()


def _made(path: Path | None, decoder: Decoder | None) -> MainWindow:
    frames = FrameService(decoder)
    if path is not None and not path.name.endswith(".json"):
        frames.open_ahead(path.absolute())  # while the rest of the window is loaded and built
    from measure_app.gui.main_window import MainWindow
    from measure_app.gui.recovery import RecoveryStore, recovery_folder

    trouble: AppError | None = None
    store: RecoveryStore | None = None
    try:
        store = RecoveryStore(recovery_folder())
    except AppError as error:
        trouble = error
    window = MainWindow(QSettings(NAME, NAME), store, frames=frames, awaits_file=path is not None)
    if trouble is not None:
        window.bench.troubled.emit(trouble)
    if path is not None:
        QTimer.singleShot(0, window, lambda: window.files.open_file(path))
    return window


class _Told:
    """Tells a person in one line that something failed; the details go to the terminal."""

    def __init__(self, window: MainWindow) -> None:
        self._window = window

    def __call__(self, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        traceback.print_exception(kind, error, trace)
        if isinstance(error, Exception):
            words = said(
                "Something failed that should not ({name}). Nothing is lost: save the run under "
                "another name and start the program anew.",
                name=kind.__name__,
            )
            self._window.stage.notice.say(words)
