"""Opening, saving and letting go of runs, with the questions that go before."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QSettings

from measure_app.errors import AppError
from measure_app.gui.dialogs import Asks, Choice, Clash
from measure_app.gui.pack_opening import PackOpener
from measure_app.gui.recent import recent_files, remember
from measure_app.gui.workbench import Workbench
from measure_app.sample import sample_run
from measure_app.words import said

_RUN_ENDINGS = (".json",)
_FILM_ENDINGS = (".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".json")


class RunFiles:
    """What the menus, the start page and a drop on the window do with files.

    Parameters
    ----------
    bench : Workbench
    settings : QSettings
        Where files that were open lately are kept.
    asks : Asks
        Puts the questions to the person.
    take_typed : callable
        Takes what stands half typed in a panel into the run; called before that is saved or let go.
    """

    def __init__(
        self, bench: Workbench, settings: QSettings, asks: Asks, take_typed: Callable[[], None]
    ) -> None:
        self._bench = bench
        self._settings = settings
        self._asks = asks
        self._take_typed = take_typed
        self._packs = PackOpener(bench.frames.decoder, bench)
        self._packs.troubled.connect(bench.troubled)
        self._packs.unfolded.connect(self._open_unfolded)

    @property
    def folder(self) -> Path:
        """Where a file dialog begins."""
        document = self._bench.document
        if document.path is not None:
            return document.path.parent
        recent = recent_files(self._settings)
        return recent[0].parent if recent else Path.home()

    def new_run(self) -> None:
        """Begin a run on a film."""
        film = self._asks.film(self.folder)
        if film is not None:
            self.open_file(film)

    def new_run_on_pictures(self) -> None:
        """Begin a run on a folder of still pictures."""
        folder = self._asks.pictures(self.folder)
        if folder is not None:
            self.open_file(folder)

    def open_run(self) -> None:
        """Open a run."""
        path = self._asks.run(self.folder)
        if path is not None:
            self.open_file(path)

    def choose_film(self) -> None:
        """Give the run in hand a film."""
        film = self._asks.film(self.folder)
        if film is not None:
            self._bench.choose_film(film)

    def open_sample(self) -> None:
        """Open the sample run; saving it asks for a place."""
        if self.may_go():
            self._try(lambda: self._bench.open_run(sample_run(), as_copy=True))

    def open_file(self, path: Path) -> None:
        """Open a run, or begin one on a film."""
        if not self.may_go():
            return
        path = path.absolute()
        if not path.exists():
            words = said("there is no such file; check its name and folder")
            self._bench.troubled.emit(AppError(words, where=str(path)))
            return
        if self._is_pack(path):
            self._try(lambda: self._open_pack(path))
            return
        if path.name.endswith(_RUN_ENDINGS):
            opened = self._try(lambda: self._bench.open_run(path))
        else:
            opened = self._try(lambda: self._bench.new_run(path))
        if opened:
            remember(self._settings, path)

    def save(self) -> bool:
        """Save the run where it lies, or ask for a place."""
        self._take_typed()
        if self._bench.document.path is None:
            return self.save_as()
        if self._bench.changed_outside:
            clash = self._asks.clash(self._bench.document.path)
            if clash is not Clash.OVER:
                return clash is Clash.ELSEWHERE and self.save_as()
        return self._bench.save()

    def save_as(self) -> bool:
        """Ask for a place and save the run there."""
        self._take_typed()
        run = self._bench.document.run
        if run is None:
            return False
        stem = Path(run.clip.path).stem
        place = self._asks.place(self.folder / said("{stem}.run.json", stem=stem))
        return place is not None and self._bench.save(place)

    def close_run(self) -> None:
        """Go back to the start page."""
        if self.may_go():
            self._bench.close_run()
            self._bench.frames.let_go()

    def may_go(self) -> bool:
        """Ask about changes that were not saved; False: stay."""
        self._take_typed()
        if not self._bench.changed:
            return True
        run = self._bench.document.run
        name = run.title or Path(run.clip.path).name if run is not None else said("the run")
        choice = self._asks.unsaved(name)
        return self.save() if choice is Choice.SAVE else choice is Choice.DROP

    def close(self) -> None:
        """End the thread that unfolds packs."""
        self._packs.lane.close()

    @staticmethod
    def _is_pack(path: Path) -> bool:
        if path.name.endswith(_FILM_ENDINGS):
            return False  # known by its name: the first frame does not wait for the packs' code
        from measure_app.packs import looks_like_pack

        return looks_like_pack(path)

    def _open_pack(self, path: Path) -> None:
        from measure_app.packs import manifest_of

        manifest = manifest_of(path)
        share = None
        if len(manifest.runs) > 1:
            share = self._asks.share(len(manifest.runs))
            if share is None:
                return
        self._packs.open(path, manifest, share)

    def _open_unfolded(self, run: Path) -> None:
        if self._try(lambda: self._bench.open_run(run)):
            remember(self._settings, run)

    def _try(self, act: Callable[[], None]) -> bool:
        try:
            act()
        except AppError as error:
            self._bench.troubled.emit(error)
            return False
        return True
