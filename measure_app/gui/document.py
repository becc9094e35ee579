"""The run in hand: the one place where it changes, with undo, and the signals by which views learn of it."""

from __future__ import annotations

import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QUndoCommand, QUndoStack

from calibration import FloatArray
from measure_app.edits import Edit
from measure_app.errors import AppError, EditRefused
from measure_app.gui.finding import Key, has_found, key_of
from measure_app.run import By, Run, Spot
from measure_app.words import said

if TYPE_CHECKING:
    from calibration import RuleFit
    from measure_app.clip import ClipInfo, Stamps
    from measure_app.measuring import Search
    from measure_app.outcome import Outcome

_LARGEST_GESTURE = 2**30  # a command's id is a C int
FEWEST_STEPS, MOST_STEPS = 20, 1_000
"""Steps that can be undone, fewer in a film of over 33,000 frames; one more, and the oldest is let go."""
LARGEST_HISTORY = 256 * 2**20
"""What the readings' lists of all those steps may take, B: each step at a mark has a list of its own."""


class _SwapRun(QUndoCommand):
    """Puts one frozen run in the place of another; neither way can fail."""

    def __init__(self, document: Document, before: Run, after: Run, label: str, gesture: int) -> None:
        super().__init__(label)
        # Weak: a command that held its document would make a circle through Qt's own memory, and taking such
        # a circle apart while Python collects garbage can end the process.
        self._document = weakref.ref(document)
        self.before = before
        self.after = after
        self._gesture = gesture

    def id(self) -> int:
        """Return the gesture; commands of one gesture merge."""
        return self._gesture

    def redo(self) -> None:
        """Put the changed run in place."""
        if (document := self._document()) is not None:
            document.install(self.after)

    def undo(self) -> None:
        """Put the earlier run back."""
        if (document := self._document()) is not None:
            document.install(self.before)

    def mergeWith(self, other: QUndoCommand) -> bool:  # noqa: N802
        """Join a later command of the same gesture; a gesture that leads back leaves no trace."""
        if not isinstance(other, _SwapRun):
            return False
        self.after = other.after
        self.setObsolete(self.after == self.before)
        return True


class Document(QObject):
    """The run in hand, what is known of its film, and the newest outcome.

    Views read it and ask it to `perform` edits; they never write. Everything lives in the window's thread.
    """

    run_changed = Signal(object, object)
    """Before and after, `Run` or None."""
    clip_changed = Signal(object)
    """`ClipInfo` or None."""
    outcome_changed = Signal(object)
    """`Outcome` or None; None also where the set-up does not suffice, see `lack`."""
    search_changed = Signal(object)
    """`Search` or None: the pass over the film that the found readings came from."""
    frame_changed = Signal(int)
    refused = Signal(object)
    """`EditRefused`: an edit that would have broken the run; the run stays as it was."""
    path_changed = Signal(object)
    """`Path` or None: where the run is saved."""
    blind_changed = Signal(bool)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.stack = QUndoStack(self)
        self._run: Run | None = None
        self._path: Path | None = None
        self._info: ClipInfo | None = None
        self._stamps: Stamps | None = None
        self._outcome: Outcome | None = None
        self._search: Search | None = None
        self._search_key: Key | None = None
        self._lack: AppError | None = None
        self._frame = 0
        self._blind = False
        self._veiled: frozenset[tuple[int, Spot]] = frozenset()
        self._rule_fits: tuple[RuleFit, ...] = ()
        self._gesture = 0

    @property
    def run(self) -> Run | None:
        """The run; None before any was opened."""
        return self._run

    @property
    def path(self) -> Path | None:
        """Where the run is saved; None while it never was."""
        return self._path

    @property
    def info(self) -> ClipInfo | None:
        """What is known of the film; None while there is none."""
        return self._info

    @property
    def stamps(self) -> Stamps | None:
        """Times of all frames with the run's capture rate applied."""
        if self._stamps is None or self._info is None or self._run is None:
            return self._stamps
        return self._stamps.slowed(self._info.file_rate, self._run.clip.capture_rate_hz)

    @property
    def seconds(self) -> FloatArray | None:
        """(n_frames,) s, time of every frame in the filmed world; None without a film or a clock."""
        stamps = self.stamps
        clocked = self._info is not None and bool(self._info.file_rate)
        return stamps.seconds() if stamps is not None and clocked else None

    @property
    def outcome(self) -> Outcome | None:
        """The newest outcome; None while there is none."""
        return self._outcome

    @property
    def lack(self) -> str:
        """Why there is no outcome, in words; "" where there is one."""
        return "" if self._lack is None else str(self._lack.words)

    @property
    def rule_fits(self) -> tuple[RuleFit, ...]:
        """What each rule shows, also before the set-up is whole; empty while unknown."""
        return self._rule_fits

    @property
    def search(self) -> Search | None:
        """The pass over the film that the found readings came from; None where none was made here."""
        return self._search

    @property
    def frame(self) -> int:
        """The current frame."""
        return self._frame

    @property
    def blind(self) -> bool:
        """Whether fits, found readings and other people's marks are hidden while someone reads."""
        return self._blind

    def set_blind(self, on: bool, *, own: bool = False) -> None:
        """Hide or show what might lead the eye of someone who reads.

        Parameters
        ----------
        on : bool
        own : bool
            Whether the marks by hand that are there are the reader's own, and stay in sight.
        """
        if on == self._blind:
            return
        self._blind = on
        self._veiled = frozenset(_marks_of(self._run) if on and not own and self._run is not None else ())
        self.blind_changed.emit(on)

    def shows(self, frame: int, spot: Spot | None) -> bool:
        """Whether a position read may be seen: while reading blind, only what was read since it began."""
        if not self._blind or spot is None:
            return True
        return spot.by is By.HAND and (frame, spot) not in self._veiled

    def new_gesture(self) -> int:
        """Return a number for `perform`: edits with the same one are undone together."""
        self._gesture = self._gesture % _LARGEST_GESTURE + 1
        return self._gesture

    def open(self, run: Run, path: Path | None) -> None:
        """Take a run into the hand, with a fresh history."""
        self.close()
        self._bound_history(len(run.readings))
        self._path = path
        self.path_changed.emit(path)
        self.install(run)

    def _bound_history(self, readings: int) -> None:
        """Say how many steps can be undone where there may be so many readings; only before a first step."""
        if self.stack.count() == 0:
            steps = LARGEST_HISTORY // (8 * max(readings, 1))
            self.stack.setUndoLimit(max(FEWEST_STEPS, min(MOST_STEPS, steps)))

    def close(self) -> None:
        """Let go of the run; unsaved changes are the caller's care."""
        self.set_clip(None, None)
        self.stack.clear()
        self._path = None
        self._blind, was = False, self._blind
        if was:
            self.blind_changed.emit(False)
        if self._run is not None:
            before, self._run = self._run, None
            self.run_changed.emit(before, None)

    def install(self, run: Run) -> None:
        """Put a whole run in place; for the undo stack and for opening."""
        before, self._run = self._run, run
        self.run_changed.emit(before, run)

    def perform(self, edit: Edit, *, gesture: int = -1) -> bool:
        """Apply an edit as a step that can be undone.

        Parameters
        ----------
        edit : Edit
        gesture : int
            From `new_gesture`; edits of one gesture are one step. -1: a step of its own.

        Returns
        -------
        bool
            False where it was refused; `refused` says why, and the run stays as it was.
        """
        if self._run is None:
            return False
        try:
            after = edit.apply(self._run)
        except EditRefused as error:
            self.refused.emit(error)
            return False
        if after != self._run:
            self.stack.push(_SwapRun(self, self._run, after, said(edit.label), gesture))
        return True

    def set_clip(self, info: ClipInfo | None, stamps: Stamps | None) -> None:
        """Say what is known of the film now; the start of the part measured becomes the current frame."""
        if info is None and self._info is None:
            return
        self._info, self._stamps = info, stamps
        if info is not None and self._run is not None:
            self._bound_history(max(info.n_frames, len(self._run.readings)))
        self.set_search(None)
        self.set_outcome(None)
        self._frame = min(self._run.clip.start_frame, info.n_frames - 1) if info and self._run else 0
        self.clip_changed.emit(info)
        self.frame_changed.emit(self._frame)

    def set_outcome(
        self,
        outcome: Outcome | None,
        lack: AppError | None = None,
        rule_fits: tuple[RuleFit, ...] = (),
    ) -> None:
        """Take in the newest outcome, or why there is none and what can be said of the rules all the same."""
        changed = outcome is not self._outcome or lack is not self._lack or rule_fits != self._rule_fits
        self._outcome, self._lack = outcome, lack
        self._rule_fits = outcome.calibration.rule_fits if outcome is not None else rule_fits
        if changed:
            self.outcome_changed.emit(outcome)

    @property
    def current_search(self) -> Search | None:
        """The kept search while the run's lines are those that it ran on and its readings are in the run.

        One that found nothing is current while the run holds nothing found: its reasons are all there is.
        """
        if self._search is None or self._run is None or has_found(self._run) != bool(self._search.readings):
            return None
        return self._search if key_of(self._run) == self._search_key else None

    def set_search(self, search: Search | None, key: Key | None = None) -> None:
        """Keep what a pass over the film gave, for the strips and the errors that found readings share.

        Parameters
        ----------
        search : Search or None
        key : tuple, optional
            What the run was like for it, from `measure_app.gui.finding.key_of`.
        """
        self._search_key = key
        if search is not self._search:
            self._search = search
            self.search_changed.emit(search)

    def set_path(self, path: Path | None) -> None:
        """Say where the run is saved now."""
        self._path = path
        self.path_changed.emit(path)

    def go_to(self, frame: int) -> None:
        """Make a frame the current one; beyond the ends of the film the end is meant."""
        if self._info is None:
            return
        frame = max(0, min(frame, self._info.n_frames - 1))
        if frame != self._frame:
            self._frame = frame
            self.frame_changed.emit(frame)


def _marks_of(run: Run) -> Iterator[tuple[int, Spot]]:
    """Name every position read in a run, those that were kept when a frame was marked again among them."""
    from measure_app.extras import earlier_marks_of  # brings the finders: not before the first frame

    for reading in run.readings:
        for spot in (reading.surface, reading.landing):
            if spot is not None:
                yield reading.frame, spot
    for mark in earlier_marks_of(run):
        yield mark.frame, mark.spot
