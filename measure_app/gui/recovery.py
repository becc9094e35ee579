"""What is left after a crash: each change goes to a recovery file, offered back at the next start."""

from __future__ import annotations

import contextlib
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
from PySide6.QtCore import QLockFile, QStandardPaths

from measure_app.contract import run_from_builtins
from measure_app.errors import AppError, OutputError, RunFileError
from measure_app.gui.lane import Job
from measure_app.run import Run
from measure_app.saving import fresh_token, reason_of, write_whole
from measure_app.words import said

FORMAT = "clepsydra-recovery"
_SUFFIX = ".recovery.json"
_LOCK = ".recovery.lock"
_LARGEST = 64 * 2**20
_LAST_TIME_S = 1e12


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A run that was not saved."""

    run: Run
    folder: Path
    """The folder from which the film's path counts."""
    path: Path | None
    """Where the run had been saved before, if ever."""
    written: float = 0.0
    """When, s since 1970."""
    file: Path | None = None
    """The recovery file that it was read from."""
    mark: str | None = None
    """SHA-256 of what stood at `path` when this window last read or wrote it."""


def recovery_folder() -> Path:
    """Return the folder for recovery files, made where it was missing.

    Raises
    ------
    OutputError
        It cannot be made.
    """
    base = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.AppLocalDataLocation)
    folder = Path(base) / "recovery"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            said("cannot be made ({reason_of})", reason_of=reason_of(error)),
            where=str(folder),
        ) from None
    return folder


class RecoveryStore:
    """The recovery file of this window, and those that dead ones left behind.

    A lock beside each file tells whether its window still lives; the system frees it when the process dies,
    however that comes about.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file = folder / f"{fresh_token()}{_SUFFIX}"
        self._lock = _lock_of(self._file)
        self._lock.tryLock(0)

    def keep(self, snapshot: Snapshot | None, _job: Job | None = None) -> None:
        """Write the recovery file, whole and forced to the disk, or remove it with None; for a `Lane`.

        Raises
        ------
        OutputError
            It cannot be written.
        """
        if snapshot is None:
            with contextlib.suppress(OSError):
                self._file.unlink(missing_ok=True)
            return
        tree = {
            "format": FORMAT,
            "format_version": 1,
            "folder": str(snapshot.folder),
            "path": None if snapshot.path is None else str(snapshot.path),
            "mark": snapshot.mark,
            "written": time.time(),
            "run": msgspec.to_builtins(snapshot.run),
        }
        write_whole(self._file, json.dumps(tree, ensure_ascii=False, separators=(",", ":")).encode("utf-8"))

    def left_behind(self) -> tuple[Snapshot, ...]:
        """Return what windows that are no longer alive had not saved, newest first.

        Locks of dead windows that had nothing to save are cleared away.
        """
        found = []
        for file in self._folder.glob(f"*{_SUFFIX}"):
            if file == self._file:
                continue
            lock = _lock_of(file)
            if not lock.tryLock(0):
                continue  # its window lives
            with contextlib.suppress(AppError, OSError):
                found.append(_read(file))
            lock.unlock()
        self._clear_locks()
        return tuple(sorted(found, key=lambda each: each.written, reverse=True))

    def _clear_locks(self) -> None:
        """Take away the locks that no window holds and no recovery file belongs to.

        Only who gets a lock may take it away: one that another window holds, or is about to hold, is not got.
        """
        for place in self._folder.glob(f"*{_LOCK}"):
            file = place.with_name(place.name.removesuffix(_LOCK) + _SUFFIX)
            if file == self._file or file.exists():
                continue
            lock = _lock_of(file)
            if lock.tryLock(0):
                lock.unlock()  # which removes it

    def discard(self, snapshot: Snapshot) -> None:
        """Remove a recovery file that was taken back or is not wanted."""
        if snapshot.file is not None:
            with contextlib.suppress(OSError):
                snapshot.file.unlink(missing_ok=True)

    def close(self) -> None:
        """Give the lock back."""
        self._lock.unlock()


def _lock_of(file: Path) -> QLockFile:
    lock = QLockFile(str(file.with_suffix(".lock")))
    lock.setStaleLockTime(0)
    return lock


def _read(file: Path) -> Snapshot:
    if file.stat().st_size > _LARGEST:
        raise RunFileError(said("is too large"), where=str(file))
    try:
        tree: Any = json.loads(file.read_bytes())
    except (ValueError, RecursionError):
        raise RunFileError(said("is not whole"), where=str(file)) from None
    if not isinstance(tree, dict) or tree.get("format") != FORMAT or tree.get("format_version") != 1:
        raise RunFileError(said("is no recovery file"), where=str(file))
    folder, path, written = tree.get("folder"), tree.get("path"), tree.get("written")
    # By the clock of a machine that may be set to anything, but to a time that there is.
    if not isinstance(written, int | float) or not abs(written) < _LAST_TIME_S:
        raise RunFileError(said("is not whole"), where=str(file))
    if not isinstance(folder, str):
        raise RunFileError(said("is not whole"), where=str(file))
    run = run_from_builtins(tree.get("run"), str(file))
    mark = tree.get("mark")
    return Snapshot(
        run,
        Path(folder),
        Path(path) if isinstance(path, str) else None,
        float(written),
        file,
        mark if isinstance(mark, str) else None,
    )
