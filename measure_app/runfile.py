"""Run files: strict reading, atomic saving, and the JSON Schema made from the types."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import Any, cast

import msgspec

from measure_app.contract import checked, is_absolute, path_fault, run_from_builtins, uncollected
from measure_app.errors import ClipError, OutputError, RunFileError
from measure_app.plain_file import first_bytes
from measure_app.run import FORMAT_VERSION, Run
from measure_app.saving import reason_of, write_whole
from measure_app.words import said

MAX_BYTES = 32 * 1024 * 1024
"""Largest run file that is read; two hours at 60 frames a second, every frame read, stay below it."""


class _NoJsonConstantError(ValueError):
    """NaN or Infinity stood in the text."""


class _KeyedTwice(dict[str, Any]):
    """An object of a file in which a key stood twice; JSON leaves open which one counts, so neither does."""

    __slots__ = ("key",)
    key: str


def load_run(path: Path) -> Run:
    """Read a run file.

    Raises
    ------
    RunFileError
        The file cannot be read or breaks the contract; one line that names the file, the key, the rule and
        what to do.
    """
    where = str(path)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise RunFileError(said("is not a plain file; name the run file itself"), where=where)
        if status.st_size > MAX_BYTES:
            raise RunFileError(_too_large(status.st_size), where=where)
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise RunFileError(said("there is no such file; check the name"), where=where) from None
    except OSError as error:
        raise RunFileError(said("cannot be read ({reason})", reason=reason_of(error)), where=where) from None
    except ValueError:
        raise RunFileError(
            said("is not a file name"), where="".join(c for c in where if c.isprintable())
        ) from None
    return decode_run(data, where)


def decode_run(data: bytes, where: str = "run file") -> Run:
    """Read a run from the bytes of a run file.

    Parameters
    ----------
    data : bytes
        UTF-8 JSON; a byte-order mark is skipped.
    where : str
        What errors name as the place, such as the file.

    Raises
    ------
    RunFileError
        As `load_run`.
    """
    if len(data) > MAX_BYTES:
        raise RunFileError(_too_large(len(data)), where=where)
    with uncollected():
        return run_from_builtins(_tree_of(data, where), where)


def _tree_of(data: bytes, where: str) -> Any:
    """Plain values of a run file's JSON, every key once."""
    twice: list[_KeyedTwice] = []

    def object_from(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(pairs)
        if len(made) == len(pairs):
            return made
        twice.append(_keyed_twice(made, pairs))
        return twice[-1]

    try:
        tree = json.loads(
            data.decode("utf-8-sig"), object_pairs_hook=object_from, parse_constant=_refuse_constant
        )
    except UnicodeDecodeError as error:
        raise RunFileError(
            said("is not UTF-8 text (byte {start}); save it as UTF-8", start=error.start), where=where
        ) from None
    except RecursionError:
        raise RunFileError(said("is nested too deeply to be a run file"), where=where) from None
    except json.JSONDecodeError as error:
        raise RunFileError(
            said(
                "line {line}, column {column}: not JSON ({reason}); mend the text there",
                line=error.lineno,
                column=error.colno,
                reason=f"{error.msg[:1].lower()}{error.msg[1:]}",
            ),
            where=where,
        ) from None
    except ValueError as error:  # a constant that JSON does not have, or a number of thousands of digits
        what = (
            error.args[0]
            if isinstance(error, _NoJsonConstantError)
            else said("a number of thousands of digits")
        )
        raise RunFileError(
            said("holds {what}; write a plain number or null", what=what), where=where
        ) from None
    if twice:  # only then is it asked where, for that takes as long as all the rest
        _refuse_twins(tree, where)
    return tree


def encode_run(run: Run) -> bytes:
    """Turn a run into the bytes of its file: UTF-8 JSON, keys in the contract's order.

    Each value and each position has a line of its own. The same run always gives the same bytes, and a small
    change differs in few lines.

    Raises
    ------
    RunFileError
        The run breaks the contract.
    """
    tree = msgspec.to_builtins(checked(run))
    return (_laid_out(tree, "\n") + "\n").encode("utf-8")


def file_mark(path: Path) -> str | None:
    """Give the SHA-256 of a file's content, by which a change is known; None where it cannot be read.

    Of one that is larger than a run file may be only so much counts.
    """
    from hashlib import sha256

    try:
        return sha256(first_bytes(path, MAX_BYTES + 1)).hexdigest()
    except OSError:
        return None


def save_run(run: Run, path: Path) -> str:
    """Save a run; at any instant the old file or the new one is there, whole.

    Returns
    -------
    str
        `file_mark` of what was written, whatever another program may have put there since.

    Raises
    ------
    RunFileError
        The run breaks the contract; the file was not touched.
    OutputError
        The file cannot be written; the old one is still there.
    """
    data = encode_run(run)
    if len(data) > MAX_BYTES:
        raise OutputError(
            said("{too_large}; nothing was changed", too_large=_too_large(len(data))), where=str(path)
        )
    from hashlib import sha256

    write_whole(path, data)
    return sha256(data).hexdigest()


def run_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of run files, made from the types that loading uses."""
    schema = msgspec.json.schema(Run)
    # The types have defaults for these two; a file must carry them to be known for what it is.
    schema["$defs"]["Run"]["required"] = ["format", "format_version", "clip"]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Clepsydra run file, format version {FORMAT_VERSION}",
        **schema,
    }


def clip_path(run: Run, run_path: Path) -> Path:
    """Say where a run's clip lies.

    A relative path counts from the run file's folder and may not leave it; an absolute one is taken as it is.
    Whether a film is there is found out on opening it.

    Raises
    ------
    RunFileError
        The path leaves the folder, or is no local path.
    """
    if words := path_fault(run.clip.path):
        raise RunFileError(words, where=f"{run_path}: clip.path")
    if is_absolute(run.clip.path):
        return Path(run.clip.path)
    return run_path.parent / run.clip.path.replace("\\", "/")


def check_clip_identity(run: Run, path: Path) -> None:
    """Make sure that the film at `path` is the one that the run was read from, where the run knows.

    Raises
    ------
    ClipError
        The film is missing or is another one than the run's `clip.sha256` says.
    """
    from measure_app.clip import sha256_of

    if run.clip.sha256 is not None and sha256_of(path) != run.clip.sha256.lower():
        raise ClipError(
            said(
                "is not the film that this run was made from: its SHA-256 differs from clip.sha256, "
                "so the readings do not belong to it; put the original film there, or set "
                "clip.sha256 to null if you know that they do"
            ),
            where=str(path),
        )


def _keyed_twice(made: dict[str, Any], pairs: list[tuple[str, Any]]) -> _KeyedTwice:
    twice = _KeyedTwice(made)
    seen: set[str] = set()
    for name, _ in pairs:
        if name in seen:
            twice.key = name
        seen.add(name)
    return twice


def _refuse_constant(name: str) -> Any:
    raise _NoJsonConstantError(said("{name}, which JSON does not have", name=name))


def _refuse_twins(tree: Any, where: str) -> None:
    pending: list[tuple[str, Any]] = [("", tree)]
    while pending:
        key, value = pending.pop()
        if isinstance(value, _KeyedTwice):
            name = f"{key}.{value.key}".lstrip(".")[:200]
            raise RunFileError(
                said("the key stands twice in one object; remove one of them"), where=f"{where}: {name}"
            )
        if isinstance(value, dict):
            pending.extend((f"{key}.{name}".lstrip("."), inside) for name, inside in value.items())
        elif isinstance(value, list):
            pending.extend((f"{key}[{i}]", inside) for i, inside in enumerate(value))


def _laid_out(value: Any, newline: str) -> str:
    """JSON text, indented by one, with lists of plain numbers (positions) on one line."""
    if isinstance(value, dict) and value:
        inner = newline + " "
        items = (f"{_AS_JSON(k)}: {_laid_out(v, inner)}" for k, v in value.items())
        return "{" + inner + ("," + inner).join(items) + newline + "}"
    if isinstance(value, list | tuple) and value and not all(isinstance(v, int | float) for v in value):
        inner = newline + " "
        return "[" + inner + ("," + inner).join(_laid_out(v, inner) for v in value) + newline + "]"
    return _AS_JSON(cast("object", value))


_AS_JSON = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
"""One encoder for all values; `json.dumps` makes one for each."""


def _too_large(size: int) -> str:
    return said(
        "is larger than a run file may be ({size:.0f} MiB, limit {most} MiB)",
        size=size / 2**20,
        most=MAX_BYTES // 2**20,
    )
