"""Opens packs: unfolded beside themselves in a thread, a share chosen, and the run in it opened."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal, Slot

from measure_app.decoder import Decoder, open_film
from measure_app.errors import OutputError
from measure_app.gui.lane import Answer, Job, Lane
from measure_app.words import said

if TYPE_CHECKING:
    from measure_app.packs import Manifest

MOST_FOLDERS = 1000
"""Numbers tried for a new folder's name."""


@dataclass(frozen=True, slots=True)
class _Wish:
    pack: Path
    share: int | None
    run: str
    """Name of the run that is to be opened."""
    decoder: Decoder


class PackOpener(QObject):
    """Unfolds a pack and says which run to open."""

    unfolded = Signal(object)
    """`Path` of the run to open."""
    troubled = Signal(object)
    """`AppError`"""

    def __init__(self, decoder: Decoder, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._decoder = decoder
        self.lane = Lane(_unfold, "pack", self)
        self.lane.answered.connect(self._on_answer)

    def open(self, pack: Path, manifest: Manifest, share: int | None) -> None:
        """Unfold a pack, or find where it was unfolded before, and say which run to open."""
        name = manifest.runs[0] if share is None else manifest.runs[share - 1]
        self.lane.ask(_Wish(pack, share, name, self._decoder))

    @Slot(object)
    def _on_answer(self, answer: Answer) -> None:
        if answer.error is not None:
            self.troubled.emit(answer.error)
        else:
            self.unfolded.emit(answer.value)


def folder_for(pack: Path, run: str) -> Path:
    """
    Choose the folder that a pack's run is unfolded into.

    Parameters
    ----------
    pack : Path
    run : str
        Name of the run.

    Returns
    -------
    Path
        Beside the pack, of its name: one that holds that run already, for its readings are gone on with, else
        one that is not there yet.

    Raises
    ------
    OutputError
        All names that are tried are taken.
    """
    stem = pack.name.split(".")[0] or "pack"
    for number in count(1):
        folder = pack.parent / (stem if number == 1 else f"{stem}-{number}")
        if (folder / run).is_file() or not folder.exists():
            return folder
        if number >= MOST_FOLDERS:
            break
    raise OutputError(
        said("has too many folders of its name beside it; move it to a new folder"), where=str(pack)
    )


def _unfold(wish: _Wish, job: Job) -> Path:
    """Unfold; for a `Lane`."""
    from measure_app.packs import unpack

    folder = folder_for(wish.pack, wish.run)
    run = folder / wish.run
    if not run.is_file():

        def check(film: Path) -> None:
            open_film(wish.decoder, film).close()

        unpack(wish.pack, folder, share=wish.share, stop_requested=job.stop_requested, check_film=check)
    return run
