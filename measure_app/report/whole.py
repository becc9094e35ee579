"""A folder of results that appears whole or not at all."""

from __future__ import annotations

import contextlib
import ctypes
import os
import platform
import shutil
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

from measure_app.errors import OutputError
from measure_app.refusals import short
from measure_app.report.findings_json import FORMAT
from measure_app.saving import fresh_token, reason_of, sync_folder, write_new
from measure_app.words import said

FIGURE_NAMES = (
    "head-strip",
    "throw-strip",
    "speed-vs-root-head",
    "speed-squared-vs-head",
    "throw-squared-vs-head",
    "root-head-vs-time",
)
"""Stems of the figures that may be in a result."""
KNOWN_FILES = frozenset(
    {
        "readings.csv",
        "findings.json",
        "workbook.xlsx",
        "workbook-to-fill-in.xlsx",
        "workbook-answers.xlsx",
        "report.pdf",
        "report.html",
        "figures/set-up.jpg",
        *(f"figures/{name}.{kind}" for name in FIGURE_NAMES for kind in ("png", "svg", "pdf")),
    }
)
"""Every file that a result may hold; a folder with anything else in it is never replaced."""


def check_folder(
    folder: Path, known: frozenset[str] = KNOWN_FILES, kind: str = FORMAT, told_in: str = "findings.json"
) -> None:
    """Make sure that results may be written to a folder, before any work is done.

    Parameters
    ----------
    folder : Path
        Where they shall be.
    known : frozenset of str
        Every file that a result of this kind may hold.
    kind : str
        The format that its findings.json names.
    told_in : str
        The file that names it, if another.

    Raises
    ------
    OutputError
        The folder is a file, is the one that the user stands in, or holds other things than results of this
        program.
    """
    where = str(folder)
    if "\0" in where:
        raise OutputError(said("a folder's name holds no zero bytes; name another"), where=said("results"))
    try:
        if not folder.exists():
            _check_above(folder)
            return
        if not folder.is_dir():
            raise OutputError(said("is a file; name a folder for the results"), where=where)
        if folder.resolve() in (Path.cwd(), *Path.cwd().parents):
            raise OutputError(
                said("is the folder that you stand in, or one above it; name a new folder for the results"),
                where=where,
            )
        inside = set(_entries(folder))
        if not inside:
            return
        foreign = sorted(name for name in inside if name not in known)
        if foreign:
            raise OutputError(
                said(
                    'holds files that are not results of this program, such as "{name}"; nothing was '
                    "written, name a new folder",
                    name=short(foreign[0]),
                ),
                where=where,
            )
        if not _is_result(folder / told_in, kind):
            raise OutputError(
                said(
                    "is not empty and is not a result of this program; nothing was written, name a new folder"
                ),
                where=where,
            )
    except OSError as error:
        raise OutputError(
            said("cannot be looked into ({reason})", reason=reason_of(error)), where=where
        ) from None


def write_folder(
    folder: Path,
    files: Mapping[str, bytes],
    known: frozenset[str] = KNOWN_FILES,
    kind: str = FORMAT,
    told_in: str = "findings.json",
) -> None:
    """Write all files of a result; at any instant the old result or the new one is there, whole.

    The files are written beside the folder and forced to the disk; then the two folders change places in one
    step, and the old one is removed.

    Parameters
    ----------
    folder : Path
        Where the result shall be; an earlier result there is replaced.
    files : mapping of str to bytes
        Content by name; all names are among `known`.
    known, kind, told_in
        As in `check_folder`.

    Raises
    ------
    OutputError
        As `check_folder`, or the disk is full, or the place is not writable. What was there before is there
        still.
    """
    check_folder(folder, known, kind, told_in)
    unknown = set(files) - known
    if unknown:
        raise ValueError(f"a result may hold only known files, got {sorted(unknown)}")
    target = folder.resolve()
    fresh = target.with_name(f".{target.name[:100]}.{fresh_token()}.part")
    made: list[Path] = []
    try:
        made = _make_parents(target)
        fresh.mkdir()
        try:
            for name, data in files.items():
                path = fresh / PurePosixPath(name)
                path.parent.mkdir(exist_ok=True)
                write_new(path, data)
            for inner in (*(path for path in fresh.iterdir() if path.is_dir()), fresh):
                sync_folder(inner)
            _put_in_place(fresh, target)
        finally:
            # Either the unfinished new result or the old one that has been replaced.
            shutil.rmtree(fresh, ignore_errors=True)
        sync_folder(target.parent)
    except BaseException as error:
        for parent in reversed(made):
            with contextlib.suppress(OSError):
                parent.rmdir()
        if isinstance(error, OSError):
            words = said(
                "the results cannot be written ({reason}); what was there is unchanged",
                reason=reason_of(error),
            )
            raise OutputError(words, where=str(folder)) from None
        raise


def _put_in_place(fresh: Path, target: Path) -> None:
    """Give the fresh folder the target's name; the old content, if any, then has the fresh one's name."""
    if not target.exists():
        fresh.rename(target)
        return
    if _exchange(fresh, target):
        return
    # Without an exchange in one step there is an instant without a result; the old one then waits beside it.
    old = target.with_name(f"{fresh.name}.old")
    target.rename(old)
    try:
        fresh.rename(target)
    except BaseException:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two folders' names in one step; False where the system or the file system cannot."""
    first, second = os.fsencode(one), os.fsencode(other)
    try:
        library = ctypes.CDLL(None, use_errno=True)
        if platform.system() == "Linux":
            at_cwd, exchange = -100, 2  # AT_FDCWD of fcntl.h, RENAME_EXCHANGE of stdio.h
            return bool(library.renameat2(at_cwd, first, at_cwd, second, exchange) == 0)
        if platform.system() == "Darwin":
            swap = 2  # RENAME_SWAP of sys/stdio.h
            return bool(library.renamex_np(first, second, swap) == 0)
    except (OSError, AttributeError, TypeError):
        return False
    return False


def _make_parents(target: Path) -> list[Path]:
    """Make the folders above the target that are missing, and return them, topmost first."""
    missing = [parent for parent in target.parents if not parent.exists()]
    made = []
    for parent in reversed(missing):
        parent.mkdir()
        made.append(parent)
    return made


def _check_above(folder: Path) -> None:
    """Make sure that the nearest folder above that exists can take a new one."""
    above = next(parent for parent in folder.absolute().parents if parent.exists())
    if not above.is_dir():
        raise OutputError(said("lies below a file; name another folder for the results"), where=str(folder))
    if not os.access(above, os.W_OK | os.X_OK):
        raise OutputError(said("lies in a folder that cannot be written to; name another"), where=str(folder))


def _entries(folder: Path) -> Iterable[str]:
    """Yield everything below a folder: files as `figures/x.png`, odd things with a mark that no file has."""
    for entry in folder.iterdir():
        if stat.S_ISREG(entry.lstat().st_mode):
            yield entry.name
        elif entry.name == "figures" and stat.S_ISDIR(entry.lstat().st_mode):
            for picture in entry.iterdir():
                plain = stat.S_ISREG(picture.lstat().st_mode)
                yield f"figures/{picture.name}" if plain else f"figures/{picture.name}/"
        else:
            yield f"{entry.name}/"


def _is_result(told: Path, kind: str) -> bool:
    """Whether a folder's findings.json is one of ours; its first lines say so."""
    try:
        with told.open("rb") as file:
            return f'"format": "{kind}"'.encode() in file.read(200)
    except OSError:
        return False
