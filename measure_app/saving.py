"""Files that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

from measure_app.errors import OutputError
from measure_app.words import marked, said


def fresh_token() -> str:
    """Sixteen hexadecimal digits for a name that nobody else takes."""
    return os.urandom(8).hex()


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that at any instant either the old or the new content is there, whole.

    The bytes go to a new file in the same folder, are forced to the disk, and take the old file's place in
    one step; the folder's entry is forced to the disk as well. On any failure the old file stays and the new
    one is removed. A symbolic link is followed: the file that it points to is replaced and the link stays.

    Raises
    ------
    OutputError
        The folder is missing or not writable, the disk is full, or `path` is not a plain file.
    """
    target = path.resolve() if path.is_symlink() else path
    try:
        mode = _mode_of(target)
        part = target.with_name(f".{target.name[:100]}.{fresh_token()}.part")
        try:
            write_new(part, data, mode)
            part.replace(target)
        except BaseException:
            with contextlib.suppress(OSError):
                part.unlink()
            raise
        sync_folder(target.parent)
    except OSError as error:
        words = said("cannot be written ({reason}); nothing was changed", reason=reason_of(error))
        raise OutputError(words, where=str(path)) from None


def write_new(path: Path, data: bytes, mode: int = 0o666) -> None:
    """Write a file that must not exist yet, and force it to the disk.

    Raises
    ------
    OSError
        It exists, or cannot be written.
    """
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
    with os.fdopen(os.open(path, flags, mode), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Force a folder's entries to the disk, where the system can."""
    if os.name == "nt":
        return  # Windows has no handle on a folder's entries
    with contextlib.suppress(OSError):  # some network file systems refuse; the data itself is down already
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


_REASONS = (
    marked("no such file or directory"),
    marked("permission denied"),
    marked("operation not permitted"),
    marked("no space left on device"),
    marked("disk quota exceeded"),
    marked("file too large"),
    marked("read-only file system"),
    marked("is a directory"),
    marked("not a directory"),
    marked("directory not empty"),
    marked("file exists"),
    marked("file name too long"),
    marked("too many open files"),
    marked("input/output error"),
    marked("not a plain file"),
)
"""What systems say of failures that a person may meet."""


def reason_of(error: OSError) -> str:
    """Return what the system says about a failure, in lower-case words without paths."""
    return said((error.strerror or type(error).__name__).lower())


def _mode_of(target: Path) -> int:
    """Permissions for the new file: the old file's, else what the user's mask gives.

    Raises
    ------
    OSError
        There is something at the place that is not a plain file.
    """
    try:
        status = target.stat()
    except FileNotFoundError:
        return 0o666
    if not stat.S_ISREG(status.st_mode):
        raise OSError(0, "not a plain file")
    return stat.S_IMODE(status.st_mode)
