"""Small pieces of which the panels are made: sentences, sections, and controls that mind the wheel."""

from __future__ import annotations

import re

from PySide6.QtCore import QEvent, QObject, QPoint, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QWheelEvent
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QLabel,
    QLayout,
    QPlainTextEdit,
    QSizePolicy,
    QSpinBox,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from measure_app.gui.choice_box import ChoiceBox
from measure_app.gui.press_button import PressButton
from measure_app.gui.theme import colours
from measure_app.words import said

_LENT = "keyboard lent to"
_WITHIN_A_VALUE = re.compile(r"(?<=±) | (?=±)|(?<=[\d)]) (?=(?:[µmck]?m|[mk]?g|°C?|%|s|Pa|Hz|px)(?![^\W_]))")
"""Spaces about ±, and between a number and its unit."""
_SELECTABLE = Qt.TextInteractionFlag.TextSelectableByMouse


def unbroken(text: str) -> str:
    """Keep a value, its uncertainty and its unit on one line where a text wraps."""
    return _WITHIN_A_VALUE.sub("\u00a0", text)


class Sentence(QLabel):
    """A sentence that wraps and can be copied; faint for help, marked with a sign for warnings."""

    def __init__(self, text: str = "", *, tone: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._tone = tone
        self._dressing = False
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setTextInteractionFlags(_SELECTABLE)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        self._dress()
        self.say(text)

    def say(self, text: str, tone: str | None = None) -> None:
        """Show a text; an empty one takes no room."""
        if tone is not None and tone != self._tone:
            self._tone = tone
            self._dress()
        sign = {"warning": "\u26a0 ", "error": "\u2716 ", "good": "\u2714 "}.get(self._tone, "")
        self.setText(sign + unbroken(text) if text else "")
        if text and self.parentWidget() is None:
            # Not yet laid out: shown now it would flash as a window of its own and take the focus away.
            self.setAttribute(Qt.WidgetAttribute.WA_WState_ExplicitShowHide, on=False)
        else:
            self.setVisible(bool(text))

    def text(self) -> str:
        """Return what is said, with spaces where they only keep a value on one line."""
        return super().text().replace("\u00a0", " ")

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Take the colours of the new palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and not self._dressing:
            self._dress()

    def _dress(self) -> None:
        scheme = colours()
        shade = {
            "faint": scheme.faint,
            "warning": scheme.warning,
            "error": scheme.warning,
            "good": scheme.good,
        }.get(self._tone)
        self._dressing = True
        self.setStyleSheet(f"color: {shade};" if shade else "")
        self._dressing = False


class CalmWheel(QObject):
    """Keeps the wheel from changing a control that is merely scrolled past."""

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Pass the wheel on to the panel unless the control has the keyboard."""
        if isinstance(event, QWheelEvent) and isinstance(watched, QWidget) and not watched.hasFocus():
            event.ignore()
            return True
        return super().eventFilter(watched, event)


def calm(control: QComboBox | QAbstractSpinBox) -> None:
    """Let the wheel scroll the panel instead of changing the control."""
    control.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    control.installEventFilter(CalmWheel(control))


def choice(name: str, options: list[tuple[str, object]], parent: QWidget | None = None) -> QComboBox:
    """Make a box to choose one of several things in; each option is its words and its value."""
    box = ChoiceBox(parent)
    box.setAccessibleName(said(name))
    for words, value in options:
        box.addItem(said(words), value)
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.setMinimumContentsLength(8)
    calm(box)
    return box


def number_box(name: str, low: int, high: int, parent: QWidget | None = None) -> QSpinBox:
    """Make a box for a whole number; it speaks when the number is complete, not at every digit."""
    box = QSpinBox(parent)
    box.setAccessibleName(name)
    box.setRange(low, high)
    box.setKeyboardTracking(False)
    box.setAccelerated(True)
    calm(box)
    return box


def button(text: str, tip: str = "", *, checkable: bool = False) -> PressButton:
    """Make a push button that Enter presses too."""
    made = PressButton(said(text))
    made.setAccessibleName(said(text).replace("&", ""))
    made.setToolTip(said(tip))
    made.setCheckable(checkable)
    made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
    return made


def set_ready(control: QWidget, ready: bool) -> None:
    """Enable or disable a control; the keyboard that it lost comes back, unless it was taken elsewhere since."""
    had = control.hasFocus()
    control.setEnabled(ready)
    if had and not ready:
        control.setProperty(_LENT, control.window().focusWidget())
    elif ready and control.property(_LENT) is not None:
        if control.window().focusWidget() is control.property(_LENT):
            control.setFocus()
        control.setProperty(_LENT, None)


def resize_within_screen(window: QWidget, width: int, height: int) -> None:
    """Give a window a size, or the largest that the screen has room for beside the window's own edges."""
    room = window.screen().availableGeometry()
    window.resize(min(width, room.width() - 40), min(height, room.height() - 60))


def row(*items: QWidget | str, stretch: int = -1) -> QHBoxLayout:
    """Lay things side by side; `stretch` names the one that takes the room left over."""
    layout = QHBoxLayout()
    layout.setSpacing(6)
    for i, item in enumerate(items):
        widget = QLabel(said(item)) if isinstance(item, str) else item
        layout.addWidget(widget, 1 if i == stretch else 0)
    if stretch < 0:
        layout.addStretch(1)
    return layout


class TickBox(QCheckBox):
    """A box to tick whose frame and tick show on light and dark grounds alike."""

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the room of the box and its words."""
        metrics = self.fontMetrics()
        return QSize(
            metrics.horizontalAdvance(self.text()) + int(2.2 * metrics.height()), int(1.6 * metrics.height())
        )

    def hitButton(self, pos: QPoint) -> bool:  # noqa: N802
        """Let a press anywhere on box or words count."""
        return self.rect().contains(pos)

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Paint box, tick, words, and a ring when the keyboard is here."""
        scheme = colours()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        side = 0.95 * self.fontMetrics().height()
        box = QRectF(3, (self.height() - side) / 2, side, side)
        ink = QColor(scheme.ink if self.isEnabled() else scheme.faint)
        painter.setPen(
            QPen(QColor(scheme.accent if self.hasFocus() else ink), 2.0 if self.hasFocus() else 1.2)
        )
        painter.setBrush(QColor(scheme.raised))
        painter.drawRoundedRect(box, 3, 3)
        if self.isChecked():
            painter.setPen(QPen(ink, 2.2))
            corners = ((0.22, 0.52), (0.43, 0.74), (0.8, 0.26))
            painter.drawPolyline([QPointF(box.left() + x * side, box.top() + y * side) for x, y in corners])
        painter.setPen(ink)
        words = QRectF(box.right() + 7, 0, self.width() - box.right() - 7, self.height())
        painter.drawText(words, int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft), self.text())


class Section(QWidget):
    """A part of a panel under a heading that folds it away."""

    def __init__(self, title: str, *, is_open: bool = True, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._title = title
        self._head = QToolButton()
        self._head.setCheckable(True)
        self._head.setChecked(is_open)
        self._head.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self._head.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._head.setMinimumWidth(40)
        self._head.setStyleSheet(
            "QToolButton { text-align: left; font-weight: bold; border: 0; border-bottom: 1px solid "
            "palette(mid); border-radius: 0; padding: 0.35em 0; background: transparent; color: "
            "palette(window-text); }QToolButton:focus { border: 2px solid palette(highlight); }"
        )
        self._head.toggled.connect(self._fold)
        self._body = QWidget()
        self._inside = QVBoxLayout(self._body)
        self._inside.setContentsMargins(2, 4, 0, 10)
        self._inside.setSpacing(6)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(0)
        outer.addWidget(self._head)
        outer.addWidget(self._body)
        self.set_state("")
        self._fold(is_open)

    @property
    def is_open(self) -> bool:
        """Whether the part is unfolded."""
        return self._head.isChecked()

    def set_open(self, is_open: bool) -> None:
        """Fold or unfold the part."""
        self._head.setChecked(is_open)

    def set_state(self, words: str) -> None:
        """Show behind the heading how things stand, in a word or two."""
        self._head.setText(f"{self._title}    {words}" if words else self._title)
        self._head.setAccessibleName(f"{self._title}, {words}" if words else self._title)

    def add(self, item: QWidget | QLayout | str) -> None:
        """Add a control, a row of them, or a sentence of help."""
        if isinstance(item, str):
            self._inside.addWidget(Sentence(said(item), tone="faint"))
        elif isinstance(item, QWidget):
            self._inside.addWidget(item)
        else:
            self._inside.addLayout(item)

    def _fold(self, is_open: bool) -> None:
        self._head.setArrowType(Qt.ArrowType.DownArrow if is_open else Qt.ArrowType.RightArrow)
        self._body.setVisible(is_open)


class TextBox(QPlainTextEdit):
    """A few lines of text; Tab leaves it."""

    def __init__(self, name: str, lines: int = 3, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setTabChangesFocus(True)
        self._lines = lines
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the size of the lines wanted."""
        return QSize(200, self.fontMetrics().lineSpacing() * self._lines + 16)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return the same height; the width may shrink."""
        return QSize(80, self.sizeHint().height())


class Says:
    """Shows a refusal in a sentence of the panel."""

    def __init__(self, sentence: Sentence) -> None:
        self._sentence = sentence

    def show_refusal(self, words: str) -> None:
        """Show the words."""
        self._sentence.say(f"{words[:1].upper()}{words[1:]}." if words else "")
