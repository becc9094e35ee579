"""The part of the readings panel that leads a student through the frames of their share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from measure_app.gui.panels.pieces import Section, Sentence, button, row
from measure_app.run import Run
from measure_app.words import counted, said

if TYPE_CHECKING:
    from measure_app.gui.panels.readings_panel import ReadingsPanel
    from measure_app.packs import PackMark


class ShareSection(Section):
    """Says which frames of the film are the student's, and goes from one to the next."""

    def __init__(self, panel: ReadingsPanel) -> None:
        super().__init__(said("Your share"))
        self._document = panel.document
        self.words = Sentence()
        self.add(self.words)
        self.next_button = button(
            said("Next of my share"), said("Go to the next frame of your share that is not read")
        )
        self.next_button.clicked.connect(self._next)
        self.add(row(self.next_button))
        self.frames: tuple[int, ...] = ()
        """Frames of the share; () where the run has none."""
        self.setVisible(False)

    def show_run(self, run: Run | None) -> None:
        """Show the share of a run, if it has one."""
        mark = _mark_of(run)
        self.frames = mark.frames if mark is not None else ()
        self.setVisible(bool(self.frames))
        if run is None or mark is None or not self.frames:
            return
        unread = _unread(run, self.frames)
        which = (
            said("Share {share} of {shares}", share=mark.share, shares=mark.shares)
            if mark.share and mark.shares
            else said("This run")
        )
        done = len(self.frames) - len(unread)
        rest = (
            said("the next is frame {unread}", unread=unread[0])
            if unread
            else said("all are read: hand it in")
        )
        self.words.say(
            said(
                "{which}: {counted} to read, surface and landing in each. {done} done; {rest}.",
                which=which,
                counted=counted("{count} frame", "{count} frames", len(self.frames)),
                done=done,
                rest=rest,
            )
        )
        self.next_button.setEnabled(bool(unread))

    def _next(self) -> None:
        run = self._document.run
        if run is None:
            return
        unread = _unread(run, self.frames)
        after = [frame for frame in unread if frame > self._document.frame]
        if unread:
            self._document.go_to((after or unread)[0])


def _mark_of(run: Run | None) -> PackMark | None:
    if run is None or not run.extra:
        return None
    from measure_app.packs import pack_mark_of

    return pack_mark_of(run)


def _unread(run: Run, frames: tuple[int, ...]) -> list[int]:
    """Frames of a share in which surface or landing is still to be read."""
    read = {r.frame for r in run.readings if r.surface is not None and r.landing is not None}
    return [frame for frame in frames if frame not in read]
