"""The local file that a path names, before anything of it is believed; needs no decoder."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

from measure_app.errors import ClipError
from measure_app.words import said


def film_path(path: str | Path) -> Path:
    """Find the local file that a path names.

    Returns
    -------
    Path
        Absolute, links followed.

    Raises
    ------
    ClipError
        If there is no such file, or it is not a regular file with something in it.
    """
    given = Path(path)
    name = given.name or str(given)
    try:
        found = given.expanduser().resolve(strict=True)
        facts = found.stat()
    except FileNotFoundError:
        words = said("there is no such file here; check the path, relative to the folder of the run file")
        raise ClipError(words, where=name) from None
    except (OSError, ValueError, RuntimeError) as error:
        raise ClipError(
            said("the path cannot be followed ({error}); give a local file", error=error), where=name
        ) from None
    if stat.S_ISDIR(facts.st_mode):
        raise ClipError(said("this is a folder, not a film; name the file inside it"), where=name)
    if not stat.S_ISREG(facts.st_mode):
        raise ClipError(
            said("this is a device or a pipe, not a file; copy the film to a file first"), where=name
        )
    if facts.st_size == 0:
        raise ClipError(said("the file is empty; copy it again from the camera"), where=name)
    if not os.access(found, os.R_OK):
        raise ClipError(said("the file may not be read; change its permissions"), where=name)
    return found


def sha256_of(path: str | Path) -> str:
    """Digest of a film, as run files quote it: 64 hexadecimal digits.

    Raises
    ------
    ClipError
        If the file cannot be read.
    """
    found = film_path(path)
    try:
        with found.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise ClipError(
            said("the file cannot be read ({reason})", reason=error.strerror), where=found.name
        ) from None
