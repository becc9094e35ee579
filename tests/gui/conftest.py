"""A real window for tests: settings and recovery in a temporary folder, questions answered beforehand."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, QPointF, QSettings, Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from calibration import Pixel
from measure_app.decoder import DecodedFilm, Decoder
from measure_app.errors import ClipClosed, Stopped
from measure_app.gui.dialogs import Choice, Clash
from measure_app.gui.frame_view import FrameView
from measure_app.gui.frames import FrameService
from measure_app.gui.main_window import MainWindow
from measure_app.gui.recovery import RecoveryStore

BENCH = Path(__file__).parent.parent.parent / "sample_clips" / "bench"


@dataclass
class Answers:
    """Stands in for the dialogs; notes what was asked."""

    film_is: Path | None = None
    run_is: Path | None = None
    place_is: Path | None = None
    choice: Choice = Choice.DROP
    clash_is: Clash = Clash.STAY
    share_is: int | None = 1
    asked: list[str] = field(default_factory=list)

    def film(self, folder: Path) -> Path | None:  # noqa: ARG002
        self.asked.append("film")
        return self.film_is

    def pictures(self, folder: Path) -> Path | None:  # noqa: ARG002
        self.asked.append("pictures")
        return self.film_is

    def run(self, folder: Path) -> Path | None:  # noqa: ARG002
        self.asked.append("run")
        return self.run_is

    def place(self, offered: Path) -> Path | None:  # noqa: ARG002
        self.asked.append("place")
        return self.place_is

    def unsaved(self, title: str) -> Choice:  # noqa: ARG002
        self.asked.append("unsaved")
        return self.choice

    def clash(self, path: Path) -> Clash:  # noqa: ARG002
        self.asked.append("clash")
        return self.clash_is

    def share(self, shares: int) -> int | None:
        self.asked.append(f"share of {shares}")
        return self.share_is


@pytest.fixture(autouse=True)
def _no_widget_is_left_behind(qapp: QApplication) -> Iterator[None]:
    before = {id(widget) for widget in qapp.topLevelWidgets()}
    yield
    for _ in range(3):
        qapp.processEvents()
        gc.collect()
    left = [w for w in qapp.topLevelWidgets() if id(w) not in before and w.isVisible()]
    assert left == []


@pytest.fixture
def answers() -> Answers:
    return Answers()


@pytest.fixture(scope="session")
def decoder() -> Iterator[Decoder]:
    """One process that decodes for all windows, so that not every test waits for one to begin."""
    made = Decoder()
    yield made
    made.close()


@pytest.fixture
def make_window(
    qtbot: QtBot, tmp_path: Path, answers: Answers, decoder: Decoder
) -> Iterator[Callable[[], MainWindow]]:
    made: list[MainWindow] = []

    def make() -> MainWindow:
        recovery = tmp_path / "recovery"
        recovery.mkdir(exist_ok=True)
        settings = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
        window = MainWindow(settings, RecoveryStore(recovery), answers, FrameService(decoder))
        qtbot.addWidget(window)
        window.show()
        made.append(window)
        return window

    yield make
    answers.choice = Choice.DROP
    for window in made:
        window.close()


@pytest.fixture
def window(make_window: Callable[[], MainWindow]) -> MainWindow:
    return make_window()


class Driver:
    """Drives a window as a person does: presses on pixels of the film, keys, buttons."""

    def __init__(self, qtbot: QtBot, window: MainWindow) -> None:
        self.qtbot = qtbot
        self.window = window

    @property
    def view(self) -> FrameView:
        return self.window.stage.view

    def point(self, pixel: Pixel) -> QPoint:
        """Bring a pixel of the film under a whole point of the view, as a patient hand would."""
        exact = self.view.map.view_at(pixel)
        near = QPointF(round(exact.x()), round(exact.y()))
        self.view._move(near - exact)
        return near.toPoint()

    def press(self, pixel: Pixel) -> None:
        self.qtbot.mouseClick(self.view.viewport(), Qt.MouseButton.LeftButton, pos=self.point(pixel))

    def drag(self, start: Pixel, end: Pixel) -> None:
        port = self.view.viewport()
        self.qtbot.mousePress(port, Qt.MouseButton.LeftButton, pos=self.point(start))
        # Both ends exactly, as a hand that goes on to the next pixel under the loupe.
        there = self.view.map.view_at(end).toPoint()
        self.qtbot.mouseMove(port, there)
        self.qtbot.mouseRelease(port, Qt.MouseButton.LeftButton, pos=there)

    def key(self, key: Qt.Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        self.qtbot.keyClick(self.window.focusWidget() or self.window, key, modifier)

    def type(self, text: str) -> None:
        self.qtbot.keyClicks(self.window.focusWidget(), text)
        self.key(Qt.Key.Key_Return)

    def shows_frame(self, frame: int) -> None:
        self.qtbot.waitUntil(lambda: self.view.shown == frame, timeout=60_000)

    def settles(self) -> None:
        """Wait until nothing is being worked out."""
        self.qtbot.waitUntil(lambda: not self.window.bench.busy, timeout=60_000)

    def open_bench(self) -> None:
        self.window.files.open_sample()
        self.shows_frame(0)


@pytest.fixture
def driver(qtbot: QtBot, window: MainWindow) -> Driver:
    return Driver(qtbot, window)


def is_closed(film: DecodedFilm) -> bool:
    """Whether a film gives no more frames."""
    try:
        film.frame(0)
    except ClipClosed:
        return True
    except Stopped:  # the wish is there, its turn comes
        pass
    return False
