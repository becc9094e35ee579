"""Making a pack: one file that a class can be given."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import tempfile
import textwrap
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from measure_app.errors import ClipError, OutputError, Stopped
from measure_app.packs.content import PackPlan, runs_of
from measure_app.packs.design import DEFAULT_COMMON, DEFAULT_EACH, Shares, shares_of
from measure_app.packs.errors import PackError
from measure_app.packs.manifest import (
    FILM_ENDINGS,
    MANIFEST,
    MAX_FILM_BYTES,
    PACK_ENDING,
    READ_ME,
    WHOLE_RUN,
    Manifest,
    PackMark,
    manifest_bytes,
    share_name,
)
from measure_app.packs.rescaling import Rescaling, rescaled
from measure_app.packs.shrinking import rescaling_for, shrink
from measure_app.packs.unpacking import manifest_of
from measure_app.run import Run
from measure_app.runfile import check_clip_identity, clip_path, encode_run, load_run
from measure_app.saving import fresh_token, reason_of, sync_folder
from measure_app.words import marked, said

if TYPE_CHECKING:
    from measure_app.clip import Clip

DEFAULT_HEIGHT = 720
"""Rows of the film where only its size in bytes was asked for."""
_CHUNK = 2**20
_EPOCH = (1980, 1, 1, 0, 0, 0)


_PARTS = {
    "camera": marked("camera"),
    "conditions": marked("conditions"),
    "drop": marked("drop"),
    "gauge_line": marked("gauge line"),
    "landing_line": marked("landing line"),
    "orifice": marked("orifice"),
    "plumb": marked("plumb"),
    "rules": marked("rules"),
    "throw_zero": marked("throw zero"),
}
"""Parts of the set-up in words."""


@dataclass(frozen=True, slots=True)
class Packed:
    """What was made."""

    path: Path
    id: str
    size_bytes: int
    film_bytes: int
    film_size: tuple[int, int]
    """Columns and rows of the pack's film, px."""
    shrunk: bool
    grey_frames: tuple[int, ...]
    """Frames that are plain grey because the film is damaged there."""
    shares: Shares | None
    left_out: tuple[str, ...]
    """What the run holds and the pack does not, in words."""

    def says(self) -> tuple[str, ...]:
        """Tell a teacher what was made, a sentence or two a line."""
        columns, rows = self.film_size
        words = marked("{path}: {size:.1f} MB, pack {id}; film {columns} × {rows} px, as it was.")
        if self.shrunk:
            words = marked("{path}: {size:.1f} MB, pack {id}; film {columns} × {rows} px, made smaller.")
        size = self.size_bytes / 2**20
        lines = [said(words, path=self.path, size=size, id=self.id, columns=columns, rows=rows)]
        if not self.shrunk:
            lines.append(
                said(
                    "The film goes along with its sound and with what the camera wrote into it, "
                    "which may tell the place; --height leaves both out."
                )
            )
        if self.grey_frames:
            first, last, count = self.grey_frames[0], self.grey_frames[-1], len(self.grey_frames)
            lines.append(
                said(
                    "{count} damaged frames between {first} and {last} are plain grey in it.",
                    count=count,
                    first=first,
                    last=last,
                )
            )
        if self.left_out:
            lines.append(said("Not in the pack: {listed}.", listed=", ".join(self.left_out)))
        if self.shares is not None:
            lines += _share_words(self.shares)
        return tuple(lines)


def _share_words(shares: Shares) -> list[str]:
    counts = {len(share) for share in shares.frames}
    readers = [shares.readers(frame) for frame in shares.covered]
    each = str(min(counts))
    if len(counts) > 1:
        each = said("{low} to {high}", low=each, high=max(counts))
    words = said(
        "{shares} shares of {each} frames; {frames} frames are read in all, each by {least} to {most} "
        "students, "
        "{common} by everybody.",
        shares=len(shares.frames),
        each=each,
        frames=len(readers),
        least=min(readers),
        most=max(readers),
        common=len(shares.common),
    )
    return [words, said("Tell each student the number of a share, from 1.")]


def pack(
    run_path: Path,
    out: Path,
    plan: PackPlan,
    *,
    progress: Callable[[int, int], None] | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> Packed:
    """Make a pack of a run and its film; the file appears whole or not at all.

    Parameters
    ----------
    run_path : Path
        The teacher's run.
    out : Path
        The pack; ends in .clepsydra, or in .zip for places that take no other ending.
    plan : PackPlan
        What goes into it.
    progress : callable, optional
        Given (frames done, frames in all) while the film is made smaller.
    stop_requested : callable, optional
        True stops before anything is put in place.

    Raises
    ------
    PackError
        The plan asks for what cannot be.
    RunFileError, ClipError
        The run or its film cannot be used.
    OutputError
        The pack cannot be written; what was there before is unchanged.
    Stopped
        It was asked to stop.
    """
    from measure_app.clip import open_clip

    _check_out(out)
    run = load_run(run_path)
    film = clip_path(run, run_path)
    if film.is_dir():
        raise PackError(said("a folder of still pictures cannot be packed; pack a film"), where=str(film))
    check_clip_identity(run, film)
    with (
        open_clip(film, capture_rate_hz=run.clip.capture_rate_hz) as clip,
        _work_folder(out) as folder,
    ):
        shares = _shares(run, clip, plan)
        made = _film(clip, film, folder, plan, progress, stop_requested)
        return _written(run, clip, made, plan, shares, out, stop_requested)


@dataclass(frozen=True, slots=True)
class _Film:
    path: Path
    name: str
    sha256: str
    how: Rescaling
    shrunk: bool
    grey: tuple[int, ...]


def _check_out(out: Path) -> None:
    if out.suffix.lower() not in {PACK_ENDING, ".zip"}:
        raise OutputError(
            said("a pack's name ends in {ending} or .zip; name it so", ending=PACK_ENDING),
            where=str(out),
        )
    if out.exists() and not out.is_file():
        raise OutputError(said("is not a plain file; name another"), where=str(out))
    if out.suffix.lower() == ".zip" and out.exists() and not _is_pack(out):
        raise OutputError(said("is there already and is no pack; name another"), where=str(out))
    if not out.absolute().parent.is_dir():
        raise OutputError(said("lies in a folder that does not exist; make it first"), where=str(out))


def _is_pack(place: Path) -> bool:
    """Whether a file says of itself what packs say; only such a ZIP may be replaced, for much else is one."""
    try:
        manifest_of(place)
    except PackError:
        return False
    return True


@contextlib.contextmanager
def _work_folder(out: Path) -> Iterator[Path]:
    """Keep half-made things in a folder beside the pack, gone at the end."""
    try:
        folder = Path(tempfile.mkdtemp(prefix=".clepsydra-", dir=out.absolute().parent))
    except OSError as error:
        raise OutputError(
            said("cannot be written ({reason})", reason=reason_of(error)), where=str(out)
        ) from None
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _shares(run: Run, clip: Clip, plan: PackPlan) -> Shares | None:
    if plan.students is None:
        if plan.each is not None or plan.common is not None:
            raise PackError(
                said("frames for each student are dealt only with a number of students"), where="students"
            )
        return None
    stop = clip.info.n_frames if run.clip.stop_frame is None else min(run.clip.stop_frame, clip.info.n_frames)
    each = DEFAULT_EACH if plan.each is None else plan.each
    common = min(DEFAULT_COMMON, each - 2) if plan.common is None else plan.common
    try:
        return shares_of(run.clip.start_frame, stop, plan.students, each, common)
    except ValueError as error:
        raise PackError(str(error), where="students") from None


def _film(
    clip: Clip,
    film: Path,
    folder: Path,
    plan: PackPlan,
    progress: Callable[[int, int], None] | None,
    stop_requested: Callable[[], bool] | None,
) -> _Film:
    from measure_app.clip import sha256_of

    rows = plan.height
    too_large = plan.most_bytes is not None and film.stat().st_size > plan.most_bytes
    if rows is None and too_large:
        rows = DEFAULT_HEIGHT
    try:
        how = rescaling_for(clip.info.width, clip.info.height, rows) if rows is not None else Rescaling()
    except ValueError as error:
        raise PackError(str(error), where="height") from None
    if how.identical and not too_large:
        ending = film.suffix.lower().lstrip(".")
        if ending not in FILM_ENDINGS:
            ending = {"mov": "mp4", "matroska": "mkv", "avi": "avi"}[_family(film)]
        if film.stat().st_size > MAX_FILM_BYTES:
            words = said(
                "is larger than a pack can hold ({most} MB); ask for a lower height",
                most=MAX_FILM_BYTES // 2**20,
            )
            raise PackError(words, where=film.name)
        return _Film(film, f"film.{ending}", sha256_of(film), how, shrunk=False, grey=())
    path = folder / "film.mp4"
    grey = shrink(
        clip, path, how, most_bytes=plan.most_bytes, progress=progress, stop_requested=stop_requested
    )
    _check_times(clip, path)
    return _Film(path, "film.mp4", sha256_of(path), how, shrunk=True, grey=grey)


def _family(film: Path) -> str:
    from measure_app.clip.opening import container_of

    return container_of(film)


def _check_times(clip: Clip, path: Path) -> None:
    """Hold the smaller film against the first: the same number of frames at exactly the same times."""
    from measure_app.clip import open_clip

    with open_clip(path) as made:
        same = len(made.stamps) == len(clip.stamps) and all(
            made.stamps[i].after(made.stamps[0]) == clip.stamps[i].after(clip.stamps[0])
            for i in range(len(made.stamps))
        )
        rate_kept = abs(made.info.file_rate / clip.info.file_rate - 1) < 1e-6 if clip.info.file_rate else True
    if not same or not rate_kept:
        raise ClipError(
            said("could not be made smaller with its times kept; pack it as it is"), where=clip.info.path.name
        )


def _written(
    run: Run,
    clip: Clip,
    film: _Film,
    plan: PackPlan,
    shares: Shares | None,
    out: Path,
    stop_requested: Callable[[], bool] | None,
) -> Packed:
    original = run.clip.sha256.lower() if run.clip.sha256 else None
    if film.shrunk and original is None:
        from measure_app.clip import sha256_of

        original = sha256_of(clip.info.path)
    moved = rescaled(run, film.how)
    moved = replace(moved, clip=replace(run.clip, path=film.name, sha256=film.sha256))
    mark = PackMark(
        id="0" * 16,
        blind=plan.blind,
        original_sha256=original if film.shrunk else None,
        scale=film.how.scale,
        left_px=film.how.left_px,
        top_px=film.how.top_px,
        width=clip.info.width,
        height=clip.info.height,
    )
    # The name of a pack is what is in it: the same plan gives the same pack, byte for byte.
    draft = b"".join(encode_run(each) for each in runs_of(moved, plan, mark, shares))
    number = hashlib.sha256(film.sha256.encode() + draft).hexdigest()[:16]
    runs = runs_of(moved, plan, replace(mark, id=number), shares)
    names = (WHOLE_RUN,) if shares is None else tuple(share_name(i) for i in range(1, len(runs) + 1))
    manifest = Manifest(
        film=film.name, film_sha256=film.sha256, id=number, runs=names, title=run.title, blind=plan.blind
    )
    texts = {
        MANIFEST: manifest_bytes(manifest),
        READ_ME: _read_me(manifest, shares).encode("utf-8"),
        **{name: encode_run(each) for name, each in zip(names, runs, strict=True)},
    }
    size = _zip(out, texts, film, stop_requested)
    scaled = film.how.scale
    film_size = (clip.info.width, clip.info.height)
    if film.shrunk:
        film_size = (
            round((clip.info.width + 2 * film.how.left_px) * scaled),
            round((clip.info.height + 2 * film.how.top_px) * scaled),
        )
    return Packed(
        out,
        number,
        size,
        film.path.stat().st_size,
        film_size,
        film.shrunk,
        film.grey,
        shares,
        _left_out(run, plan),
    )


def _left_out(run: Run, plan: PackPlan) -> tuple[str, ...]:
    left = []
    if run.readings and not plan.give_readings:
        left.append(f"{len(run.readings)} readings")
    if run.falls and not plan.give_readings:
        left.append(said("marked falls"))
    if run.observer:
        left.append(said("the observer's name"))
    left += [said("{part} (withheld)", part=said(_PARTS[name])) for name in sorted(plan.withhold)]
    if run.extra:
        left.append(said("notes, answers and whatever else the run keeps under extra"))
    return tuple(left)


def _read_me(manifest: Manifest, shares: Shares | None) -> str:
    lines = [
        manifest.title or said("A filmed draining container"),
        "",
        said("This is a pack of Clepsydra: a film and what is needed to measure it."),
        "",
        said("Open it in Clepsydra by dropping it on the window, or on a command line:"),
        "",
        f"    clepsydra unpack PACK{PACK_ENDING} --out FOLDER" + (" --share NUMBER" if shares else ""),
        "",
        said("Write your name under Observer, read the film, answer the questions, save."),
        said("The saved run (a small file that ends in .run.json) is your answer: hand in that file alone."),
    ]
    if shares is not None:
        lines += [
            "",
            *textwrap.wrap(
                said(
                    "There are {shares} shares; your teacher tells you the number of yours. The frames of "
                    "your "
                    "share are listed among the readings, with a note. Read surface and landing in each.",
                    shares=len(shares.frames),
                ),
                92,
            ),
        ]
    if manifest.blind:
        lines += [
            "",
            said("Read blind: look at no fit and no found reading before you have finished your own."),
        ]
    lines += ["", said("Pack {id}", id=manifest.id), ""]
    return "\r\n".join(lines)


def _zip(out: Path, texts: dict[str, bytes], film: _Film, stop_requested: Callable[[], bool] | None) -> int:
    part = out.absolute().with_name(f".{out.name[:100]}.{fresh_token()}.part")
    try:
        with zipfile.ZipFile(part, "x", compression=zipfile.ZIP_DEFLATED, allowZip64=False) as archive:
            for name, data in texts.items():
                archive.writestr(_entry(name, zipfile.ZIP_DEFLATED), data)
            # A film does not get smaller by packing it once more.
            entry = _entry(film.name, zipfile.ZIP_STORED)
            entry.file_size = film.path.stat().st_size
            with film.path.open("rb") as source, archive.open(entry, "w") as target:
                while chunk := source.read(_CHUNK):
                    if stop_requested is not None and stop_requested():
                        raise Stopped(said("stopped; nothing was written"))
                    target.write(chunk)
        with part.open("rb+") as made:
            os.fsync(made.fileno())
        size = part.stat().st_size
        part.replace(out)
        sync_folder(out.absolute().parent)
    except (OSError, zipfile.LargeZipFile, RuntimeError) as error:
        reason = reason_of(error) if isinstance(error, OSError) else said("too large")
        raise OutputError(
            said("cannot be written ({reason}); nothing was changed", reason=reason), where=str(out)
        ) from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return size


def _entry(name: str, how: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _EPOCH)
    entry.compress_type = how
    entry.external_attr = 0o644 << 16
    entry.create_system = 3
    return entry
