"""What an empty window offers: a film, a run, the sample; what was open lately, what a crash left."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QDateTime, QLocale, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFont, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from measure_app.gui.press_button import PressButton
from measure_app.gui.recovery import Snapshot
from measure_app.gui.theme import colours
from measure_app.words import language, said


class _Drawing(QWidget):
    """A draining cylinder and its jet, in four strokes."""

    def __init__(self) -> None:
        super().__init__()
        self.setMinimumSize(220, 200)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the size in which it looks well."""
        return QSize(320, 280)

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint it in the colours of the theme."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scheme = colours()
        unit = min(self.width() / 320, self.height() / 280)
        painter.translate(self.width() / 2 - 160 * unit, self.height() / 2 - 140 * unit)
        painter.scale(unit, unit)
        water = QColor(scheme.accent)
        water.setAlphaF(0.30)
        painter.fillRect(QRectF(62, 92, 44, 88), water)
        pen = QPen(QColor(scheme.ink), 2.4)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        path = QPainterPath(QPointF(61, 36))
        path.lineTo(61, 181)
        path.lineTo(107, 181)
        path.lineTo(107, 168)
        path.moveTo(107, 160)
        path.lineTo(107, 36)
        painter.drawPath(path)
        painter.setPen(QPen(QColor(scheme.accent), 2.4))
        painter.drawLine(QPointF(62, 92), QPointF(106, 92))
        jet = QPainterPath(QPointF(108, 164))
        jet.quadTo(QPointF(196, 164), QPointF(252, 250))
        painter.setPen(QPen(QColor(scheme.accent), 3.0))
        painter.drawPath(jet)
        painter.setPen(QPen(QColor(scheme.faint), 1.4))
        for mark in range(11):
            y = 36 + 13 * mark
            painter.drawLine(QPointF(40, y), QPointF(50 if mark % 5 else 54, y))
        painter.drawLine(QPointF(40, 36), QPointF(40, 166))
        painter.drawLine(QPointF(24, 252), QPointF(296, 252))


class StartPage(QWidget):
    """The first thing to see."""

    film_wanted = Signal()
    run_wanted = Signal()
    sample_wanted = Signal()
    plan_wanted = Signal()
    file_wanted = Signal(object)
    """`Path` of a film or a run."""
    restore_wanted = Signal(object)
    """`Snapshot`"""
    discard_wanted = Signal(object)
    """`Snapshot`"""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._words = QVBoxLayout()
        self._words.setSpacing(10)
        title = QLabel("Clepsydra")
        font = QFont(title.font())
        font.setPointSizeF(font.pointSizeF() * 2.2)
        font.setWeight(QFont.Weight.DemiBold)
        title.setFont(font)
        lead = QLabel(
            said(
                "Film water draining from a hole in the side of a container. Head, throw and clock "
                "are read from every frame; from them come the jet’s speed, its coefficients, and "
                "how sure they are."
            )
        )
        lead.setWordWrap(True)
        self._words.addStretch(2)
        self._words.addWidget(title)
        self._words.addWidget(lead)
        self._words.addSpacing(6)
        self.film = self._button(
            said("Open a film …"), said("A phone film of a drain: mp4, mov, mkv, webm or avi"), True
        )
        self.film.clicked.connect(self.film_wanted)
        self.run = self._button(
            said("Open a run or a pack …"), said("A film that was measured before, or that you were given")
        )
        self.run.clicked.connect(self.run_wanted)
        self.sample = self._button(
            said("Look at the sample run"), said("A clear cylinder on a workshop bench, already marked")
        )
        self.sample.clicked.connect(self.sample_wanted)
        self.plan = self._button(
            said("Before the film …"),
            said("What an experiment will give, and how sure Cv will be, before it is filmed"),
        )
        self.plan.clicked.connect(self.plan_wanted)
        drop = QLabel(said("A film, a run or a pack can also be dropped on this window."))
        drop.setEnabled(False)
        self._words.addWidget(drop)
        self._trouble = QLabel()
        self._trouble.setWordWrap(True)
        self._trouble.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._trouble.hide()
        self._words.addWidget(self._trouble)
        self._lists = QVBoxLayout()
        self._lists.setSpacing(4)
        self._words.addLayout(self._lists)
        self._words.addStretch(3)
        row = QHBoxLayout(self)
        row.setContentsMargins(48, 24, 48, 24)
        row.setSpacing(48)
        row.addLayout(self._words, 3)
        row.addWidget(_Drawing(), 2)

    def say(self, words: str) -> None:
        """Say why something could not be opened; "" takes it away."""
        self._trouble.setText(words)
        self._trouble.setVisible(bool(words))

    def show_lists(self, recent: Sequence[Path], left_behind: Sequence[Snapshot]) -> None:
        """Show what was open lately and what can be taken back."""
        while (item := self._lists.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        for snapshot in left_behind[:3]:
            self._lists.addWidget(self._recovery_row(snapshot))
        if recent:
            head = QLabel(said("Lately open"))
            font = head.font()
            font.setBold(True)
            head.setFont(font)
            self._lists.addSpacing(8)
            self._lists.addWidget(head)
        for path in recent[:5]:
            link = PressButton(f"{path.name}   ·   {path.parent.name}")
            link.setFlat(True)
            link.setStyleSheet("text-align: left;")
            link.setToolTip(str(path))
            link.clicked.connect(lambda _=False, p=path: self.file_wanted.emit(p))
            self._lists.addWidget(link)

    def _button(self, text: str, says: str, default: bool = False) -> PressButton:
        button = PressButton(text)
        button.setMinimumHeight(38)
        button.setMaximumWidth(420)
        button.setDefault(default)
        button.setAccessibleDescription(says)
        button.setToolTip(says)
        self._words.addWidget(button)
        return button

    def _recovery_row(self, snapshot: Snapshot) -> QWidget:
        row = QWidget()
        layout = QHBoxLayout(row)
        layout.setContentsMargins(0, 0, 0, 0)
        name = snapshot.run.title or (
            snapshot.path.name if snapshot.path else Path(snapshot.run.clip.path).name
        )
        when = QLocale(language()).toString(
            QDateTime.fromSecsSinceEpoch(int(snapshot.written)), said("d MMMM, HH:mm")
        )
        words = QLabel(said("Not saved before the program ended on {when}: {name}", when=when, name=name))
        words.setWordWrap(True)
        back = PressButton(said("Take it back"))
        back.setAccessibleDescription(said("Opens {name} as it was at the last change", name=name))
        back.clicked.connect(lambda: self.restore_wanted.emit(snapshot))
        drop = PressButton(said("Discard"))
        drop.clicked.connect(lambda: self.discard_wanted.emit(snapshot))
        layout.addWidget(words, 1)
        layout.addWidget(back)
        layout.addWidget(drop)
        return row
