"""Marking again: frames whose first mark is put out of sight, and how well the reader meets it anew."""

from __future__ import annotations

from typing import TYPE_CHECKING

from measure_app.extras import (
    BringBackMarks,
    EarlierMark,
    KeepMark,
    SetHandUncertainty,
    reader_scatter,
    waiting_marks,
)
from measure_app.finders import Part
from measure_app.gui.panels.pieces import Says, Section, Sentence, button, row
from measure_app.gui.panels.reading_rows import evenly_spread, read_by_hand
from measure_app.gui.tools import Tool
from measure_app.run import Reading
from measure_app.words import counted, said

if TYPE_CHECKING:
    from measure_app.gui.panels.readings_panel import ReadingsPanel

_AGAIN = 5
"""Frames offered for marking again: ten give a reader's scatter to a quarter of itself, five to a third."""


class AgainSection(Section):
    """The part of the readings panel in which a reader finds out their own scatter."""

    def __init__(self, panel: ReadingsPanel) -> None:
        super().__init__(said("Mark again: your own scatter"), is_open=False)
        self._panel = panel
        self._document = panel.document
        self.add(
            said(
                "Press a second time in a frame that you marked, and the two marks are compared: "
                "their scatter is how well you repeat yourself. It is fairer when the first mark is "
                "out of sight:"
            )
        )
        self.here = button(said("This frame"), said("Mark the frame in sight again"))
        self.some = button(
            said("{again} frames", again=_AGAIN),
            said("Mark some frames of the run again"),
        )
        self.bring_back = button(
            said("Bring marks back"), said("Give the frames that wait their first mark back")
        )
        self.here.clicked.connect(self._this_frame)
        self.some.clicked.connect(lambda: self._again(evenly_spread(self._hand_frames(), _AGAIN)))
        self.bring_back.clicked.connect(lambda: panel.ask(BringBackMarks()))
        self.add(row(self.here, self.some))
        self.waiting = Sentence(tone="warning")
        self.next_waiting = button(
            said("Next one"), said("Go to the next frame that waits to be marked again")
        )
        self.next_waiting.clicked.connect(self._to_waiting)
        self.add(self.waiting)
        self.add(row(self.next_waiting, self.bring_back))
        self.scatter = Sentence()
        self.add(self.scatter)
        self.use_scatter = button(
            said("Use it as my uncertainty"), said("Give all your marks the scatter found as their ±")
        )
        self.use_scatter.clicked.connect(self._use_scatter)
        self.add(row(self.use_scatter))

    def show_run(self) -> None:
        """Show which frames wait, and the scatter of those marked more than once."""
        run = self._document.run
        waiting = self._waiting()
        self.bring_back.setVisible(bool(waiting))
        self.next_waiting.setVisible(bool(waiting))
        frames = ", ".join(str(mark.frame) for mark in waiting[:8])
        self.waiting.say(
            counted(
                "Waiting to be marked again: frame {frames}.",
                "Waiting to be marked again: frames {frames}.",
                len(waiting),
                frames=frames,
            )
            if waiting
            else ""
        )
        lines = []
        for part in Part:
            found = reader_scatter(run, part, self._document.shows) if run is not None else None
            if found is not None:
                lines.append(
                    said(
                        "{capitalize}: one mark scatters by {sd_px:.2g} px ({counted} marked more than "
                        "once).",
                        capitalize=said(part.value).capitalize(),
                        sd_px=found.sd_px,
                        counted=counted("{count} frame", "{count} frames", found.frames),
                    )
                )
        self.scatter.say("\n".join(lines))
        self.use_scatter.setVisible(bool(lines))
        if waiting or lines:
            self.set_open(True)

    def _waiting(self) -> tuple[EarlierMark, ...]:
        """Return the marks that wait to be made again; in blind mode, the reader's own."""
        run, shows = self._document.run, self._document.shows
        waiting = waiting_marks(run) if run is not None else ()
        return tuple(mark for mark in waiting if shows(mark.frame, mark.spot))

    def _hand_frames(self, part: Part | None = None) -> tuple[int, ...]:
        """Frames in which a part (that in hand) was read by hand; in blind mode, since it began."""
        run, part = self._document.run, part or self._panel.part
        return tuple(r.frame for r in run.readings if self._own(r, part)) if run is not None else ()

    def _own(self, reading: Reading, part: Part) -> bool:
        spot = reading.surface if part is Part.SURFACE else reading.landing
        return read_by_hand(reading, part) and self._document.shows(reading.frame, spot)

    def _this_frame(self) -> None:
        # A mark that blind mode hides is another reader's: kept, it would be taken for scatter of this one.
        frame, blind = self._document.frame, self._document.blind
        self._again(() if blind and frame not in self._hand_frames() else (frame,))

    def _again(self, frames: tuple[int, ...]) -> None:
        panel, part = self._panel, self._panel.part
        if not frames:
            self.waiting.say(
                said("No landing was marked by hand yet: mark a few frames first.")
                if part is Part.LANDING
                else said("No surface was marked by hand yet: mark a few frames first.")
            )
            return
        gesture = self._document.new_gesture()
        if all(panel.ask(KeepMark(frame, part), Says(self.waiting), gesture=gesture) for frame in frames):
            panel.take(Tool.LANDING if part is Part.LANDING else Tool.SURFACE)
            self._document.go_to(frames[0])

    def _to_waiting(self) -> None:
        waiting = self._waiting()
        later = [mark.frame for mark in waiting if mark.frame > self._document.frame]
        if waiting:
            self._document.go_to(later[0] if later else waiting[0].frame)

    def _use_scatter(self) -> None:
        run = self._document.run
        gesture = self._document.new_gesture()
        for part in Part:
            found = reader_scatter(run, part, self._document.shows) if run is not None else None
            if found is not None and found.sd_px > 0.0:
                u = float(f"{found.sd_px:.2g}")
                own = frozenset(self._hand_frames(part))  # what blind mode hides is another reader's
                self._panel.ask(SetHandUncertainty(part, u, own), gesture=gesture)
                if part is self._panel.part:
                    self._panel.set_px_u(u)
