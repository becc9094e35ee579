"""The frame with what stands around it: the notice, the tool's sentence, the zoom, the field for a value."""

from __future__ import annotations

from PySide6.QtCore import Qt, Slot
from PySide6.QtWidgets import QHBoxLayout, QLabel, QToolButton, QVBoxLayout, QWidget

from calibration import Pixel
from measure_app.gui.frame_view import FrameView
from measure_app.gui.frames import FrameReply
from measure_app.gui.notice import Notice
from measure_app.gui.playback import Playback
from measure_app.gui.tools import SHOWN_AS, Tool
from measure_app.gui.value_entry import ValueEntry
from measure_app.gui.workbench import Workbench
from measure_app.words import marked, said

_MOVE = marked("Hold Space and drag to move the picture.")
_SECOND_END = marked("Now press at the other end.")


class Stage(QWidget):
    """Connects the frame view with the workbench's frames and hand."""

    def __init__(self, bench: Workbench, playback: Playback, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bench = bench
        self._playback = playback
        self.notice = Notice()
        self.view = FrameView(bench.document, bench.hand)
        self.notice.left.connect(lambda: self.view.setFocus(Qt.FocusReason.TabFocusReason))
        self.entry = ValueEntry(self.view.viewport())
        self._says = QLabel()
        self._says.setAccessibleName(said("What the tool does"))
        self._says.setWordWrap(True)
        self._says.setFixedHeight(2 * self._says.fontMetrics().lineSpacing() + 2)  # the frame must not jump
        self._scale = QLabel()
        self._scale.setAccessibleName(said("Magnification"))
        self._scale.setMinimumWidth(self._scale.fontMetrics().horizontalAdvance("0000 %"))
        self._scale.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        above = QHBoxLayout()
        above.setContentsMargins(10, 3, 6, 3)
        above.addWidget(self._says, 1)
        above.addWidget(self._scale)
        above.addSpacing(8)
        for text, name, does in (
            ("−", said("Smaller (Ctrl+−)"), lambda: self.view.zoom(0.8)),
            ("+", said("Magnify (Ctrl++)"), lambda: self.view.zoom(1.25)),
            (said("Whole"), said("Show the whole frame (Ctrl+0)"), self.view.fit),
        ):
            button = QToolButton()
            button.setText(text)
            button.setAccessibleName(name)
            button.setToolTip(name)
            button.clicked.connect(lambda _=False, act=does: act())
            above.addWidget(button)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.notice)
        layout.addLayout(above)
        layout.addWidget(self.view, 1)
        bench.frames.frame_ready.connect(self._on_frame)
        bench.document.frame_changed.connect(self._ask)
        bench.document.clip_changed.connect(self._on_clip)
        bench.hand.tool_changed.connect(self._on_tool)
        bench.hand.draft_changed.connect(self._on_draft)
        bench.hand.selected_changed.connect(self._on_draft)
        bench.hand.value_wanted.connect(self._on_value_wanted)
        bench.hand.value_settled.connect(self._on_value_settled)
        self.entry.given.connect(bench.hand.give_value)
        self.entry.dropped.connect(bench.hand.drop_value)
        self.view.step_wanted.connect(lambda step: bench.document.go_to(bench.document.frame + step))
        self.view.zoomed.connect(self._on_zoom)
        self._on_tool(bench.hand.tool)

    @Slot(int)
    def _ask(self, frame: int) -> None:
        if self._bench.document.info is not None:
            self._bench.frames.show(frame, idle=not self._playback.playing)

    @Slot(object)
    def _on_frame(self, reply: FrameReply) -> None:
        if self._bench.document.info is None:
            return
        self.view.show_reply(reply)
        if not self._scale.text():
            self._on_zoom(self.view.map.scale)
        self._playback.shown()

    def _on_clip(self, info: object) -> None:
        if info is None:
            self.view.show_reply(None)
            self.entry.hide()
            self._scale.clear()

    def _on_tool(self, tool: object) -> None:
        self.entry.hide()
        self._on_draft()
        if tool is not Tool.LOOK:
            self.view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_draft(self, *_: object) -> None:
        hand = self._bench.hand
        words = said(SHOWN_AS[hand.tool])
        if hand.draft.line_from is not None:
            words = said(_SECOND_END)
        elif hand.draft.pending and hand.draft.graduation is None:
            words = said("One graduation marked; mark a second one, far from the first.")
        elif hand.selected is not None:
            words = said(
                "{say}. Arrows move it by 0.1 px, with Shift by 1 px; Delete removes it.", say=hand.say()
            )
        self._says.setText(self._with_move(words))

    def _with_move(self, words: str) -> str:
        """Add how a magnified picture is moved while a press marks, where there is room for it."""
        if self._bench.hand.tool is Tool.LOOK or self.view.shows_whole:
            return words
        longer = f"{words} {said(_MOVE)}"
        wrapped = Qt.TextFlag.TextWordWrap
        need = self._says.fontMetrics().boundingRect(0, 0, self._says.width(), 999, wrapped, longer)
        return longer if need.height() <= self._says.height() else words

    def _on_value_wanted(self, at: Pixel, offered: float | None) -> None:
        self.view.loupe.hide()
        self.entry.ask(self.view.map.view_at(at), offered)

    def _on_value_settled(self) -> None:
        if not self.entry.isHidden():
            self.entry.hide()
            self.view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_zoom(self, scale: float) -> None:
        self._scale.setText(f"{100 * scale:.0f} %" if self.view.image is not None else "")
        self._on_draft()
