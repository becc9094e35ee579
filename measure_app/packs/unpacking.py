"""Opening a pack from anywhere: nothing outside the folder, nothing unknown, nothing boundless."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from measure_app.errors import AppError, OutputError, Stopped
from measure_app.packs.errors import PackError
from measure_app.packs.manifest import (
    FILM_NAME,
    MANIFEST,
    MAX_FILM_BYTES,
    READ_ME,
    RUN_NAME,
    WHOLE_RUN,
    Manifest,
    PackMark,
    manifest_from,
    pack_mark_of,
    share_name,
)
from measure_app.run import Run
from measure_app.runfile import MAX_BYTES, decode_run
from measure_app.saving import fresh_token, reason_of, sync_folder
from measure_app.words import said

MAX_ENTRIES = 520
"""Most entries of a pack: 500 shares, the film, and what describes them."""
MAX_RATIO = 200
"""Most that an entry may unfold to, for each byte packed; run files stay below 60."""
MAX_RUNS_BYTES = 256 * 2**20
"""Most that all runs of a pack may come to, unfolded."""
_SMALL = 64 * 1024
_CHUNK = 2**20
_END = struct.Struct("<4s4H2LH")
_MAX_DIRECTORY = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What came out of a pack."""

    folder: Path
    runs: tuple[Path, ...]
    """The run to open, or one for each share."""
    film: Path
    manifest: Manifest


def unpack(
    pack: Path,
    out: Path,
    *,
    share: int | None = None,
    stop_requested: Callable[[], bool] | None = None,
    check_film: Callable[[Path], None] | None = None,
) -> Unpacked:
    """Unpack into a new folder, which appears whole or not at all.

    Every entry must be one that a pack has, by its exact name; links, folders, encrypted or overlapping
    entries and whatever unfolds beyond its bounds are refused before anything is written. Runs are checked
    against the contract, the film against its digest and by opening it as any film from outside is opened.

    Parameters
    ----------
    pack : Path
        The pack.
    out : Path
        A folder that does not exist yet, or is empty: nobody's readings are ever written over.
    share : int, optional
        Number of a share, from 1; None: all runs of the pack.
    stop_requested : callable, optional
        True stops before anything is put in place.
    check_film : callable, optional
        Opens and closes the film as it will be opened, or raises what hinders it; by default in this process.

    Raises
    ------
    PackError
        The pack is broken or holds what no pack holds; one line that names the file and the entry.
    OutputError
        The folder cannot be written, or has something in it.
    Stopped
        It was asked to stop.
    """
    _check_folder(out)
    where = str(pack)
    with _opened(pack) as (archive, size):
        entries = _entries(archive, size, where)
        manifest = manifest_from(_read(archive, entries, MANIFEST, where), f"{where}: {MANIFEST}")
        runs = _runs(archive, entries, manifest, where)
        chosen = _chosen(manifest, share, where)
        target = out.absolute()
        fresh = target.with_name(f".{target.name[:100]}.{fresh_token()}.part")
        try:
            fresh.mkdir()
            digest = _copy_film(archive, entries[manifest.film], fresh / manifest.film, where, stop_requested)
            if digest != manifest.film_sha256:
                raise PackError(
                    said("is not the film that the pack was made with; ask for it anew"),
                    where=f"{where}: {manifest.film}",
                )
            _check_film(fresh / manifest.film, f"{where}: {manifest.film}", check_film or _open_and_close)
            for name in chosen:
                _write(fresh / name, runs[name])
            if READ_ME in entries:
                _write(fresh / READ_ME, _read(archive, entries, READ_ME, where))
            sync_folder(fresh)
            if target.exists():
                target.rmdir()
            fresh.rename(target)
            sync_folder(target.parent)
        except OSError as error:
            words = said(
                "the pack cannot be unpacked there ({reason}); nothing was written", reason=reason_of(error)
            )
            raise OutputError(words, where=str(out)) from None
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    return Unpacked(out, tuple(out / name for name in chosen), out / manifest.film, manifest)


def manifest_of(pack: Path) -> Manifest:
    """Read what a pack says of itself; nothing is unfolded.

    Raises
    ------
    PackError
        It is no pack, or holds what no pack holds.
    """
    where = str(pack)
    with _opened(pack) as (archive, size):
        entries = _entries(archive, size, where)
        return manifest_from(_read(archive, entries, MANIFEST, where), f"{where}: {MANIFEST}")


def looks_like_pack(path: Path) -> bool:
    """Whether a file is worth opening as a pack: a plain file that starts as a ZIP does."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(4) == b"PK\x03\x04"
    except OSError:
        return False


def _check_folder(out: Path) -> None:
    where = str(out)
    try:
        if out.is_symlink() or (out.exists() and not out.is_dir()):
            raise OutputError(said("is not a folder; name a new one"), where=where)
        if out.exists() and any(out.iterdir()):
            raise OutputError(
                said("is not empty; name a new folder, so that no readings are lost"), where=where
            )
        if not out.absolute().parent.is_dir():
            raise OutputError(said("lies in a folder that does not exist; make it first"), where=where)
    except OSError as error:
        raise OutputError(
            said("cannot be looked into ({reason})", reason=reason_of(error)), where=where
        ) from None
    except ValueError:
        raise OutputError(said("a folder's name holds no zero bytes; name another"), where="out") from None


@contextlib.contextmanager
def _opened(pack: Path) -> Iterator[tuple[zipfile.ZipFile, int]]:
    """Open the archive after a look at its end, so that its list of entries is known to be short."""
    where = str(pack)
    try:
        status = pack.stat()
        if not stat.S_ISREG(status.st_mode):
            raise PackError(said("is not a plain file; name the pack itself"), where=where)
        with pack.open("rb") as file:
            _check_end(file, status.st_size, where)
            try:
                archive = zipfile.ZipFile(file)
            except (zipfile.BadZipFile, ValueError, NotImplementedError, UnicodeError, struct.error) as error:
                raise PackError(
                    said("is damaged ({error}); copy it again", error=error), where=where
                ) from None
            with archive:
                yield archive, status.st_size
    except FileNotFoundError:
        raise PackError(said("there is no such file; check the name"), where=where) from None
    except OSError as error:
        raise PackError(said("cannot be read ({reason})", reason=reason_of(error)), where=where) from None


def _check_end(file: BinaryIO, size: int, where: str) -> None:
    """Refuse an archive whose list of entries is long, elsewhere, or not at the very end."""
    if size < _END.size:
        raise PackError(said("is no pack; it is too short to be one"), where=where)
    file.seek(size - _END.size)
    sign, disk, start_disk, here, count, length, offset, comment = _END.unpack(file.read(_END.size))
    if sign != b"PK\x05\x06" or comment:
        raise PackError(said("is no pack, or was cut off or changed on the way; copy it again"), where=where)
    if disk or start_disk or here != count or count > MAX_ENTRIES or length > _MAX_DIRECTORY:
        raise PackError(
            said("has more than the {most} entries that a pack can have", most=MAX_ENTRIES),
            where=where,
        )
    if offset + length + _END.size != size:
        raise PackError(said("has something in front of it or behind it that no pack has"), where=where)
    file.seek(0)


def _entries(archive: zipfile.ZipFile, size: int, where: str) -> dict[str, zipfile.ZipInfo]:
    found: dict[str, zipfile.ZipInfo] = {}
    runs = 0
    for entry in archive.infolist():
        _check_entry(entry, where)
        if entry.filename in found:
            raise PackError(said("stands in the pack twice"), where=f"{where}: {entry.filename}")
        found[entry.filename] = entry
        runs += entry.file_size if RUN_NAME.fullmatch(entry.filename) else 0
    if runs > MAX_RUNS_BYTES:
        raise PackError(
            said("its runs unfold to more than {most} MB", most=MAX_RUNS_BYTES // 2**20),
            where=where,
        )
    end = 0
    for entry in sorted(found.values(), key=lambda each: each.header_offset):
        if entry.header_offset < end:
            raise PackError(said("shares its bytes with another entry"), where=f"{where}: {entry.filename}")
        end = entry.header_offset + 30 + len(entry.orig_filename.encode("utf-8")) + entry.compress_size
    if end > size:
        raise PackError(said("is longer than the pack that holds it"), where=where)
    if MANIFEST not in found:
        raise PackError(said("is a ZIP, but no pack: it has no {file}", file=MANIFEST), where=where)
    return found


def _check_entry(entry: zipfile.ZipInfo, where: str) -> None:
    name = entry.orig_filename
    shown = "".join(c if c.isprintable() else "?" for c in name)[:80]
    here = f"{where}: {shown}"
    if name != entry.filename or not _known(name):
        raise PackError(said("is not among the names that a pack may hold; nothing was unpacked"), where=here)
    if stat.S_IFMT(entry.external_attr >> 16) not in {0, stat.S_IFREG} or entry.is_dir():
        raise PackError(said("is a link or a folder, which no pack holds; nothing was unpacked"), where=here)
    if entry.flag_bits & 0x1 or entry.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
        raise PackError(
            said("is locked or packed in a way that no pack is; nothing was unpacked"), where=here
        )
    if entry.file_size > _most(name):
        raise PackError(
            said("unfolds to {size:.0f} MB, more than it may", size=entry.file_size / 2**20),
            where=here,
        )
    if entry.file_size > _SMALL and entry.file_size > MAX_RATIO * max(1, entry.compress_size):
        raise PackError(
            said("unfolds to more than {most} times its size; nothing was unpacked", most=MAX_RATIO),
            where=here,
        )
    if entry.compress_type == zipfile.ZIP_STORED and entry.file_size != entry.compress_size:
        raise PackError(said("says two things about its size; nothing was unpacked"), where=here)


def _known(name: str) -> bool:
    return name in {MANIFEST, READ_ME} or bool(RUN_NAME.fullmatch(name) or FILM_NAME.fullmatch(name))


def _most(name: str) -> int:
    if FILM_NAME.fullmatch(name):
        return MAX_FILM_BYTES
    return MAX_BYTES if RUN_NAME.fullmatch(name) else _SMALL


_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    ValueError,
    NotImplementedError,
    RuntimeError,
    struct.error,
)


def _read(archive: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo], name: str, where: str) -> bytes:
    most = _most(name)
    try:
        with archive.open(entries[name]) as file:
            data = file.read(most + 1)
            if len(data) > most or file.read(1):
                raise PackError(said("unfolds to more than it says"), where=f"{where}: {name}")
            return data
    except _BROKEN:
        raise PackError(said("is damaged; copy the pack again"), where=f"{where}: {name}") from None


def _runs(
    archive: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo], manifest: Manifest, where: str
) -> dict[str, bytes]:
    """Return the bytes of every run, each checked; what the description and the entries say must agree."""
    named = {MANIFEST, manifest.film, *manifest.runs}
    if missing := sorted(named - set(entries)):
        raise PackError(said("is missing from the pack; ask for it anew"), where=f"{where}: {missing[0]}")
    if foreign := sorted(set(entries) - named - {READ_ME}):
        raise PackError(
            said("is not named in the pack's description; nothing was unpacked"),
            where=f"{where}: {foreign[0]}",
        )
    runs = {}
    for name in manifest.runs:
        data = _read(archive, entries, name, where)
        _check_run(decode_run(data, f"{where}: {name}"), manifest, f"{where}: {name}")
        runs[name] = data
    return runs


def _check_run(run: Run, manifest: Manifest, where: str) -> None:
    if run.clip.path != manifest.film:
        raise PackError(
            said("names another film than the pack's; nothing was unpacked"), where=f"{where}: clip.path"
        )
    if (run.clip.sha256 or "").lower() != manifest.film_sha256:
        raise PackError(said("was made from another film than the pack's"), where=f"{where}: clip.sha256")
    mark: PackMark | None = pack_mark_of(run)
    if mark is None or mark.id != manifest.id:
        raise PackError(said("does not belong to this pack"), where=f"{where}: extra.clepsydra.pack")


def _chosen(manifest: Manifest, share: int | None, where: str) -> tuple[str, ...]:
    if share is None:
        return manifest.runs
    name = share_name(share)
    if name in manifest.runs:
        return (name,)
    if manifest.runs == (WHOLE_RUN,):
        raise PackError(said("is not shared out; leave the share's number out"), where=where)
    raise PackError(
        said("has no share {share}; there are {runs}", share=share, runs=len(manifest.runs)), where=where
    )


def _copy_film(
    archive: zipfile.ZipFile,
    entry: zipfile.ZipInfo,
    target: Path,
    where: str,
    stop_requested: Callable[[], bool] | None,
) -> str:
    digest, left = hashlib.sha256(), entry.file_size
    with _new(target) as out:
        try:
            with archive.open(entry) as file:
                while chunk := file.read(_CHUNK):
                    if stop_requested is not None and stop_requested():
                        raise Stopped(said("stopped; nothing was written"))
                    left -= len(chunk)
                    if left < 0:
                        raise PackError(
                            said("unfolds to more than it says"), where=f"{where}: {entry.filename}"
                        )
                    digest.update(chunk)
                    out.write(chunk)
        except _BROKEN:
            raise PackError(
                said("is damaged; copy the pack again"), where=f"{where}: {entry.filename}"
            ) from None
        out.flush()
        os.fsync(out.fileno())
    return digest.hexdigest()


def _open_and_close(path: Path) -> None:
    from measure_app.clip import open_clip

    open_clip(path).close()


def _check_film(path: Path, where: str, check: Callable[[Path], None]) -> None:
    try:
        check(path)
    except AppError as error:
        raise PackError(said("the film cannot be used: {words}", words=error.words), where=where) from None


def _write(path: Path, data: bytes) -> None:
    with _new(path) as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


def _new(path: Path) -> BinaryIO:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
    return os.fdopen(os.open(path, flags, 0o644), "wb")
