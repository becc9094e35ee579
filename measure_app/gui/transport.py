"""The row between frame and strips: step, play, and where in the film we are."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSignalBlocker
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSpinBox, QToolButton, QWidget

from measure_app.gui.choice_box import ChoiceBox
from measure_app.gui.document import Document
from measure_app.gui.playback import Playback
from measure_app.words import counted, marked, said

_SPEEDS = (
    (0.125, marked("⅛ speed")),
    (0.25, marked("¼ speed")),
    (0.5, marked("½ speed")),
    (1.0, marked("true speed")),
    (2.0, marked("2 × speed")),
)


class Transport(QWidget):
    """Buttons and figures; everything here has a key as well."""

    def __init__(self, document: Document, playback: Playback, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._playback = playback
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 3, 10, 3)
        row.setSpacing(4)
        self._buttons: tuple[QToolButton, ...] = (
            self._button(row, "⇤", said("First frame of the part"), lambda: document.go_to(self._ends()[0])),
            self._button(row, "−10", said("Ten frames back"), lambda: document.go_to(document.frame - 10)),
            self._button(row, "−1", said("One frame back"), lambda: document.go_to(document.frame - 1)),
        )
        self._play = self._button(row, said("Play"), said("Play or stop (Ctrl+Space)"), playback.toggle)
        self._play.setMinimumWidth(self._play.fontMetrics().horizontalAdvance(said("Stop  ")) + 26)
        self._buttons += (
            self._play,
            self._button(row, "+1", said("One frame on"), lambda: document.go_to(document.frame + 1)),
            self._button(row, "+10", said("Ten frames on"), lambda: document.go_to(document.frame + 10)),
            self._button(
                row, "⇥", said("Last frame of the part"), lambda: document.go_to(self._ends()[1] - 1)
            ),
        )
        self._speed = ChoiceBox()
        self._speed.setAccessibleName(said("Speed of playing"))
        for speed, words in _SPEEDS:
            self._speed.addItem(said(words), speed)
        self._speed.setCurrentIndex(3)
        self._speed.currentIndexChanged.connect(
            lambda _: playback.set_speed(float(self._speed.currentData()))
        )
        row.addWidget(self._speed)
        row.addStretch(1)
        label = QLabel(said("Frame"))
        self._number = QSpinBox()
        self._number.setAccessibleName(said("Frame"))
        self._number.setKeyboardTracking(False)
        self._number.setButtonSymbols(QSpinBox.ButtonSymbols.NoButtons)
        self._number.setMinimumWidth(self._number.fontMetrics().horizontalAdvance("000000") + 24)
        self._number.valueChanged.connect(document.go_to)
        label.setBuddy(self._number)
        self._facts = QLabel()
        self._facts.setAccessibleName(said("Time and gap"))
        row.addWidget(label)
        row.addWidget(self._number)
        row.addWidget(self._facts)
        document.frame_changed.connect(self._refresh)
        document.clip_changed.connect(self._refresh)
        document.run_changed.connect(self._refresh)
        playback.playing_changed.connect(self._on_playing)
        self._refresh()

    def _button(self, row: QHBoxLayout, text: str, name: str, does: Callable[[], object]) -> QToolButton:
        made = QToolButton()
        made.setText(text)
        made.setAccessibleName(name)
        made.setToolTip(name)
        made.clicked.connect(lambda _=False: does())
        row.addWidget(made)
        return made

    def _ends(self) -> tuple[int, int]:
        run, info = self._document.run, self._document.info
        if run is None or info is None:
            return 0, 1
        stop = run.clip.stop_frame
        return run.clip.start_frame, info.n_frames if stop is None else min(stop, info.n_frames)

    def _refresh(self, *_: object) -> None:
        info, seconds, frame = self._document.info, self._document.seconds, self._document.frame
        for widget in (*self._buttons, self._speed, self._number):
            widget.setEnabled(info is not None)
        for widget in (self._play, self._speed):
            widget.setEnabled(seconds is not None and len(seconds) > 1)
        if info is None:
            self._facts.setText("")
            return
        with QSignalBlocker(self._number):
            self._number.setRange(0, info.n_frames - 1)
            self._number.setValue(frame)
        if seconds is None:
            self._facts.setText(said("of {n_frames}  ·  no clock", n_frames=info.n_frames))
            return
        text = said("of {n_frames}  ·  {time:.3f} s", n_frames=info.n_frames, time=float(seconds[frame]))
        if frame + 1 < len(seconds):
            text += said(
                "  ·  next after {seconds:.1f} ms", seconds=1000 * (seconds[frame + 1] - seconds[frame])
            )
        lost = dict(info.gaps).get(frame)
        if lost:
            text += counted(", {count} frame missing", ", {count} frames missing", lost)
        self._facts.setText(text)

    def _on_playing(self, on: bool) -> None:
        self._play.setText(said("Stop") if on else said("Play"))
