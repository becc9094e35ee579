"""What a pack says of itself, and what it leaves in the runs that it holds."""

from __future__ import annotations

import json
import re
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from measure_app.own_extra import own_of, with_own
from measure_app.packs.errors import PackError
from measure_app.packs.rescaling import Rescaling
from measure_app.refusals import without_twins
from measure_app.run import FrameIndex, Run, ShortText
from measure_app.words import said

PACK_ENDING = ".clepsydra"
"""Ending of a pack's file name; the file is a plain ZIP."""
MANIFEST = "pack.json"
READ_ME = "read-me.txt"
WHOLE_RUN = "film.run.json"
"""The run of a pack without shares."""
FILM_ENDINGS = ("mp4", "mov", "m4v", "mkv", "webm", "avi", "3gp")
FILM_NAME = re.compile(rf"film\.(?:{'|'.join(FILM_ENDINGS)})")
RUN_NAME = re.compile(r"film\.run\.json|share-[0-9]{2,3}\.run\.json")
MAX_FILM_BYTES = 1_900 * 2**20
"""Largest film that goes into a pack; a plain ZIP holds no more than 2 GiB for every reader."""
PACK_KEY = "pack"
"""The key under `extra.clepsydra` that says which pack a run comes from."""

_Sha = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
_Id = Annotated[str, Meta(pattern="^[0-9a-f]{16}$")]
_Scale = Annotated[float, Meta(ge=1e-3, le=1e3)]
_Margin = Annotated[int, Meta(ge=0, le=1000)]
_Side = Annotated[int, Meta(ge=1, le=16_384)]


class PackMark(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Which pack a run comes from, and the student's share; stands in the run under extra.clepsydra.pack."""

    id: _Id
    share: Annotated[int, Meta(ge=1, le=500)] | None = None
    """Number of the share, from 1; None where the pack is not shared out."""
    shares: Annotated[int, Meta(ge=1, le=500)] | None = None
    frames: Annotated[tuple[FrameIndex, ...], Meta(max_length=10_000)] = ()
    """The frames of the share; empty: the student is free."""
    blind: bool = False
    """Whether found readings and fits shall stay hidden while the student reads."""
    original_sha256: _Sha | None = None
    """The film that the pack's film was made from, where that is another one."""
    scale: _Scale = 1.0
    """Pixels of the pack's film in one of the original."""
    left_px: _Margin = 0
    """Columns added at the original's left before scaling."""
    top_px: _Margin = 0
    """Rows added at the original's top before scaling."""
    width: _Side | None = None
    """Columns of the original as displayed, px."""
    height: _Side | None = None
    """Rows of the original as displayed, px."""

    @property
    def rescaling(self) -> Rescaling:
        """From the original's pixels to those of the pack's film."""
        return Rescaling(self.scale, self.left_px, self.top_px)


class Manifest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The file `pack.json` of a pack."""

    film: Annotated[str, Meta(max_length=20)]
    film_sha256: _Sha
    id: _Id
    runs: Annotated[tuple[Annotated[str, Meta(max_length=40)], ...], Meta(min_length=1, max_length=500)]
    title: ShortText = ""
    blind: bool = False
    format: Literal["clepsydra-pack"] = "clepsydra-pack"
    format_version: Literal[1] = 1


def manifest_bytes(manifest: Manifest) -> bytes:
    """Return the bytes of pack.json."""
    return msgspec.json.format(msgspec.json.encode(manifest), indent=1) + b"\n"


def manifest_from(data: bytes, where: str) -> Manifest:
    """Read pack.json.

    Raises
    ------
    PackError
        It is not what this program writes.
    """
    try:
        manifest = msgspec.json.decode(data, type=Manifest)
        json.loads(data, object_pairs_hook=without_twins)
    except (msgspec.DecodeError, ValueError, RecursionError) as error:
        told = str(error).replace("`", "")[:200]
        raise PackError(
            said("is not a pack's own description ({told}); ask for the pack anew", told=told), where=where
        ) from None
    if not FILM_NAME.fullmatch(manifest.film):
        raise PackError(said("names a film that no pack holds; ask for the pack anew"), where=where)
    if len(set(manifest.runs)) != len(manifest.runs) or not all(RUN_NAME.fullmatch(n) for n in manifest.runs):
        raise PackError(said("names runs that no pack holds; ask for the pack anew"), where=where)
    return manifest


def pack_mark_of(run: Run) -> PackMark | None:
    """Return what a run says of the pack it comes from; None where it says nothing that can be understood."""
    entry = own_of(run).get(PACK_KEY)
    if not isinstance(entry, dict):
        return None
    try:
        return msgspec.convert(entry, PackMark)
    except msgspec.ValidationError:
        return None


def with_pack_mark(run: Run, mark: PackMark) -> Run:
    """Return the run with the mark in its extra; everything else there stays."""
    return with_own(run, PACK_KEY, msgspec.to_builtins(mark))


def share_name(number: int) -> str:
    """Return the file name of a share's run."""
    return f"share-{number:02d}.run.json"
