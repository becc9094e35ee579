"""What stands behind the window: the document, the threads that work for it, films, files."""

from __future__ import annotations

from dataclasses import replace as changed
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal, Slot

from measure_app.contract import is_absolute
from measure_app.edits import MoveClip, SetClip
from measure_app.errors import AppError, ClipError, EditRefused, OutputError
from measure_app.gui.deriver import Deriver
from measure_app.gui.document import Document
from measure_app.gui.film_identity import FilmIdentity
from measure_app.gui.frames import FilmReply, FrameService
from measure_app.gui.hand import Hand
from measure_app.gui.keeper import Keeper
from measure_app.gui.lane import Answer, Lane, Progress
from measure_app.gui.recovery import RecoveryStore, Snapshot
from measure_app.gui.results_writer import Writing, write_results
from measure_app.gui.searcher import Searcher
from measure_app.gui.strip_reader import StripReader
from measure_app.gui.tidying import Tidying
from measure_app.gui.tools import Tool, ToolOptions
from measure_app.run import ClipPart, Run
from measure_app.runfile import clip_path, file_mark, load_run, save_run
from measure_app.words import said

if TYPE_CHECKING:  # the thread that opens the film loads all this; the window need not wait for it
    from measure_app.decoder import DecodedFilm

_UNKNOWN = "unknown"
"""Mark of a file of which it is not known what it held: no content has it."""


class Workbench(QObject):
    """Serves panels and window alike; see `measure_app.gui.services.Services`."""

    finding_progress = Signal(int, int)
    finding_running = Signal(bool)
    results_written = Signal(object)
    """`Path` or `AppError`"""
    writing_progress = Signal(int, int, str)
    film_failed = Signal(object)
    """`AppError`: the run's film cannot be opened; the run itself is in hand."""
    troubled = Signal(object)
    """`AppError`: something else that a person must hear."""
    saved = Signal(object)
    """`Path`"""
    open_film_wanted = Signal()
    help_wanted = Signal(str)
    crop_wanted = Signal(int, int, int)

    def __init__(
        self,
        parent: QObject | None = None,
        recovery: RecoveryStore | None = None,
        frames: FrameService | None = None,
    ) -> None:
        super().__init__(parent)
        self.document = Document(self)
        self.hand = Hand(self.document, self)
        self.frames = frames or FrameService()
        self.frames.setParent(self)
        self._clip: DecodedFilm | None = None
        self._folder = Path.cwd()
        self._saved: Run | None = None
        self._mark: str | None = None
        """Of the run's file as it was last read or written here; None where that is not known."""
        self.keeper = Keeper(recovery, self)
        self.strips = StripReader(self.document, self)
        self._deriver = Deriver(self.document, self)
        self._searcher = Searcher(self.document, self)
        self._writing = Lane(write_results, "results", self)
        self._identity = FilmIdentity(self)
        self._lanes = (self._deriver.lane, self._searcher.lane, self._writing, self._identity.lane)
        """What is waited for; the check of intervals at rest is not, as its answer changes no value."""
        self._tidying = Tidying((*self._lanes, self._deriver.checking, self.strips.lane), self)
        for trouble in (
            self.keeper.troubled,
            self.strips.failed,
            self._searcher.troubled,
            self._identity.troubled,
        ):
            trouble.connect(self.troubled)
        self._searcher.progressed.connect(self.finding_progress)
        self._searcher.lane.busy_changed.connect(self.finding_running)
        self._searcher.ended.connect(self.strips.go_on)
        self._writing.answered.connect(self._on_written)
        self._writing.progressed.connect(self._on_writing)
        self.frames.film_opened.connect(self._on_film)
        self.frames.stopped.connect(self._on_decoder_stopped)
        self.document.run_changed.connect(self._on_run_changed)

    # What panels ask for.

    @property
    def tool_changed(self) -> Any:
        """Signal(object): the tool in hand."""
        return self.hand.tool_changed

    @property
    def tool(self) -> Tool:
        """The tool in hand."""
        return self.hand.tool

    @property
    def options(self) -> ToolOptions:
        """How it is used."""
        return self.hand.options

    def use_tool(self, tool: Tool, **options: Any) -> None:
        """Take a tool into the hand; keywords are the fields of `ToolOptions`."""
        self.hand.take(tool, ToolOptions(**options))

    def frame_stands(self) -> None:
        """The film's frame is in sight, or will not be: what waited for that begins."""
        self._deriver.go_on()

    def find_the_rest(self) -> None:
        """Search the part measured; what is found is adopted in one step that can be undone."""
        if self._searcher.start():
            self.strips.pause()  # two passes at once would only take twice as long

    def stop_finding(self) -> None:
        """Stop the search; nothing of it is kept."""
        self._searcher.lane.stop()

    @property
    def busy(self) -> bool:
        """Whether anything is being worked out, or is about to be."""
        return self.strips.busy or any(lane.busy for lane in self._lanes)

    @property
    def at_rest(self) -> bool:
        """Whether nothing works, nor is about to: intervals are checked, and freed memory is given back."""
        return self._tidying.done and not self.busy

    @property
    def finding(self) -> bool:
        """Whether a search is under way."""
        return self._searcher.lane.busy

    def write_results(self, folder: Path) -> None:
        """Write tables, findings and figures of the outcome in hand."""
        outcome = self.document.outcome
        if outcome is None:
            words = self.document.lack or said("there is nothing to write yet; open a film and read it first")
            self.results_written.emit(OutputError(words, where=str(folder)))
            return
        known = changed(outcome, run=self._identity.filled(outcome.run))
        self._writing.ask(Writing(known, folder, self.film, self.frames.decoder))

    def stop_writing(self) -> None:
        """Stop writing results; what was in the folder stays."""
        self._writing.stop()

    def set_blind(self, on: bool) -> None:
        """Hide what might lead the eye of someone who reads."""
        if not on and self.document.blind and self._read_blind():
            self.document.blind_changed.emit(True)  # whatever was switched shows how it is
            words = said("this run comes from a pack that is to be read blind; hand it in as you read it")
            self.troubled.emit(EditRefused(words))
            return
        self.document.set_blind(on)

    def open_film(self) -> None:
        """Let the person choose a film."""
        self.open_film_wanted.emit()

    def open_help(self, page: str) -> None:
        """Show a page of the help."""
        self.help_wanted.emit(page)

    def frame_crop(self, frame: int, width: int, height: int) -> None:
        """Show a part of a frame beside the pointer."""
        self.crop_wanted.emit(frame, width, height)

    # Films and files.

    @property
    def clip(self) -> DecodedFilm | None:
        """The film that is open."""
        return self._clip

    @property
    def film(self) -> Path | None:
        """Where the run's film should lie."""
        run = self.document.run
        if run is None:
            return None
        try:
            return clip_path(run, self._folder / "run")
        except AppError:
            return None

    @property
    def changed(self) -> bool:
        """Whether there is anything that was not saved."""
        return self.document.run is not None and self.document.run != self._saved

    def new_run(self, film: Path) -> None:
        """Begin a run on a film."""
        film = film.absolute()
        self._take(Run(clip=ClipPart(path=film.name)), None, film.parent)

    def open_run(self, path: Path, *, as_copy: bool = False) -> None:
        """Open a run file.

        Parameters
        ----------
        path : Path
        as_copy : bool
            Whether saving shall ask for a new place, as for the sample.

        Raises
        ------
        RunFileError
            It cannot be read; what was in hand stays.
        """
        path = path.absolute()
        mark = None if as_copy else file_mark(path)
        self._take(load_run(path), None if as_copy else path, path.parent)
        self._mark = mark

    def restore(self, snapshot: Snapshot) -> None:
        """Take back what a dead window left behind; it counts as not saved."""
        self._take(snapshot.run, snapshot.path, snapshot.folder, saved=False)
        # What stands at its place may be another window's by now; where that is not known, it is asked.
        self._mark = snapshot.mark or _UNKNOWN
        self.keeper.take_over(snapshot, changed(snapshot, file=None, mark=self._mark))

    @property
    def changed_outside(self) -> bool:
        """Whether the run's file holds something else than what was last read or written here."""
        path = self.document.path
        if path is None or self._mark is None:
            return False
        return file_mark(path) not in (self._mark, None)

    def choose_film(self, film: Path) -> None:
        """Give the run in hand a film: the same one in another place, or another one; can be undone."""
        run = self.document.run
        if run is None:
            self.new_run(film)
            return
        path = relative_path(film.absolute(), self._folder)
        lost = self._clip is None
        self.document.perform(MoveClip(path) if lost else SetClip(path))

    def save(self, path: Path | None = None) -> bool:
        """Save the run, at its own place or another; False where it could not be, which `troubled` says."""
        run, film = self.document.run, self.film
        target = path or self.document.path
        if run is None or target is None:
            return False
        place = run.clip.path if film is None else relative_path(film, target.absolute().parent)
        try:
            known = self._identity.filled(run)
            mark = save_run(replace(known, clip=replace(known.clip, path=place)), target)
        except AppError as error:
            self.troubled.emit(error)
            return False
        self._saved = run
        self._mark = mark
        self.document.stack.setClean()
        self.document.set_path(target)
        self._keep()
        self.saved.emit(target)
        return True

    def close_run(self) -> None:
        """Let go of run and film; unsaved changes are the caller's care."""
        self._use(None)
        self._saved, self._mark = None, None
        self.document.close()
        self._keep()

    def close(self) -> None:
        """End all threads; what must be written is written first."""
        self.strips.close()
        for lane in (*self._lanes, self._deriver.checking):
            lane.close()
        self._tidying.close()
        self.keeper.close()
        self.frames.close()

    def forget_changes(self) -> None:
        """Take the run in hand for saved, so that it is not offered back."""
        self._saved = self.document.run
        self._keep()

    def _take(self, run: Run, path: Path | None, folder: Path, *, saved: bool = True) -> None:
        self.close_run()
        self._folder = folder
        self._saved = run if saved else None
        self.document.open(run, path)
        if self._read_blind():
            self.document.set_blind(True, own=True)
        self._open_film()

    def _read_blind(self) -> bool:
        """Whether the run comes from a pack whose teacher wants it read blind."""
        run = self.document.run
        if run is None or not run.extra:
            return False
        from measure_app.packs import pack_mark_of

        mark = pack_mark_of(run)
        return mark is not None and mark.blind

    def _open_film(self) -> None:
        run = self.document.run
        self._use(None)
        if run is None:
            return
        try:
            film = clip_path(run, self._folder / "run")
        except AppError as error:
            self.film_failed.emit(error)
            return
        self.frames.open(film)

    def _use(self, clip: DecodedFilm | None) -> None:
        """Let all that reads pixels read them from another film."""
        self._clip = clip
        self.strips.use(clip)
        self._searcher.use(clip)

    @Slot(object)
    def _on_film(self, reply: FilmReply) -> None:
        if reply.clip is None:
            self._use(None)
            self.document.set_clip(None, None)
            self.film_failed.emit(reply.error or ClipError(said("cannot be opened"), where=str(reply.path)))
            return
        self._clip = reply.clip
        self.document.set_clip(reply.clip.info, reply.clip.stamps)
        if self.document.run is not None:
            self._identity.look(self.document.run, reply.path)
        self._use(reply.clip)

    @Slot(str)
    def _on_decoder_stopped(self, words: str) -> None:
        """Say that the film's decoder ended and was begun anew; the run is not touched by it."""
        self.troubled.emit(ClipError(words))

    # What follows from a change.

    def _on_run_changed(self, before: Run | None, after: Run | None) -> None:
        if after is None:
            return
        if before is not None and before.clip.path != after.clip.path:
            self.document.set_clip(None, None)
            self._open_film()
        self._keep()

    @Slot(object)
    def _on_writing(self, progress: Progress) -> None:
        self.writing_progress.emit(progress.done, progress.total, progress.news)

    @Slot(object)
    def _on_written(self, answer: Answer) -> None:
        self.results_written.emit(answer.value if answer.error is None else answer.error)

    def _keep(self) -> None:
        run = self.document.run
        unsaved = run is not None and self.changed
        if run is None or not unsaved:
            self.keeper.keep(None)
        else:
            self.keeper.keep(Snapshot(run, self._folder, self.document.path, mark=self._mark))


def relative_path(film: Path, folder: Path) -> str:
    """Return a film's path as a run file in a folder names it: relative where it lies below, else whole."""
    try:
        inside = film.relative_to(folder)
    except ValueError:
        return str(film)
    text = inside.as_posix()
    return text if not is_absolute(text) else str(film)
