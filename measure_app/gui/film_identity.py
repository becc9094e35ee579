"""Which film it is: its SHA-256, worked out beside the work, so that a film that was replaced is noticed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal, Slot

from measure_app.errors import Stopped
from measure_app.gui.lane import Answer, Job, Lane
from measure_app.run import Run
from measure_app.runfile import check_clip_identity


@dataclass(frozen=True, slots=True)
class _Question:
    run: Run
    film: Path


class FilmIdentity(QObject):
    """Checks the film of a run that knows its SHA-256, and finds it out for one that does not."""

    troubled = Signal(object)
    """`ClipError`: it is another film than the run was made from."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._known: tuple[str, str] | None = None
        self.lane = Lane(_identify, "identity", self, eager=True)
        self.lane.answered.connect(self._on_answer)

    def look(self, run: Run, film: Path) -> None:
        """Look at a film that was opened; a folder of pictures has no one content to know it by."""
        self._known = None
        if film.is_file():
            self.lane.ask(_Question(run, film))

    def filled(self, run: Run) -> Run:
        """Return the run with the SHA-256 of its film, where that is known by now and the run lacks it."""
        if self._known is None or run.clip.sha256 is not None or run.clip.path != self._known[0]:
            return run
        return replace(run, clip=replace(run.clip, sha256=self._known[1]))

    @Slot(object)
    def _on_answer(self, answer: Answer) -> None:
        question: _Question = answer.request
        if answer.error is None:
            self._known = (question.run.clip.path, str(answer.value))
        elif not isinstance(answer.error, Stopped):
            self.troubled.emit(answer.error)


def _identify(question: _Question, _job: Job) -> str:
    from measure_app.clip import sha256_of

    if question.run.clip.sha256 is not None:
        check_clip_identity(question.run, question.film)
        return question.run.clip.sha256
    return sha256_of(question.film)
