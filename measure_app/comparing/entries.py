"""What each run brings to a comparison: findings from a run file or from a result's findings.json."""

from __future__ import annotations

import json
import math
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import msgspec

from analysis import Finding, Share
from measure_app.errors import FindingsError
from measure_app.outcome import Outcome
from measure_app.refusals import named_in, short, shown, without_twins
from measure_app.run import Run
from measure_app.saving import reason_of
from measure_app.series import DROP_SOURCE
from measure_app.strips import Progress
from measure_app.words import said

MAX_BYTES = 8 * 1024 * 1024
"""Largest findings.json that is read; ours are a few tens of kilobytes."""
MAX_RUNS = 200
_BEYOND = 1e100
"""No finding is as large, in whatever unit; squares of what is smaller are still numbers."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One run in a comparison."""

    label: str
    """Short name, different from every other's."""
    findings: Mapping[str, Finding]
    """By name."""
    gravity_m_s2: float
    """The accepted g that was used, m/s²."""
    diameter_m: float | None = None
    """Diameter of the hole; None where nobody told it."""
    temperature_c: float | None = None
    facts: Mapping[str, tuple[float | None, float | None]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    """What was measured once, value and uncertainty by the name of its source; empty where only findings are
    known."""


class _Share(msgspec.Struct):
    source: str
    u: float | None
    shared: bool


class _Finding(msgspec.Struct):
    name: str
    symbol: str
    value: float | None
    u: float | None
    interval_95: tuple[float | None, float | None]
    unit: str
    method: str
    depends_on_assumed_g: bool
    budget: list[_Share] = []


class _Gravity(msgspec.Struct):
    value: float | None


class _File(msgspec.Struct):
    """What a comparison needs of findings.json; other keys are passed over."""

    format: str
    format_version: int
    findings: list[_Finding]
    accepted_gravity: _Gravity
    title: str = ""


def load_entry(
    path: Path,
    *,
    diameter_m: float | None = None,
    progress: Progress | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> Entry:
    """
    Take in a run.

    Parameters
    ----------
    path : Path
        A run file, a result's folder, or its findings.json.
    diameter_m : float, optional
        Diameter of the hole; goes before what a run file says.
    progress, stop_requested : callable, optional
        For a run that has no readings yet and is measured on the way.

    Returns
    -------
    Entry
        Labelled by its title, or by the name of its file.

    Raises
    ------
    AppError
        The file cannot be read, is something else, or holds nothing to compare.
    """
    where = path / "findings.json" if path.is_dir() else path
    data = _bytes_of(where)
    if b'"clepsydra-findings"' in data[:400]:
        entry = decode_findings(data, str(where))
        fallback = (path if path.is_dir() else path.parent).resolve().name
    elif path.is_dir():
        raise FindingsError(said("is not a result of one run; name a result's folder"), where=str(path))
    else:
        entry = _of_run(path, progress, stop_requested)
        fallback = path.name.removesuffix(".json").removesuffix(".run")
    if not entry.findings:
        raise FindingsError(said("holds no finding, so there is nothing to compare"), where=str(path))
    label = " ".join(entry.label.split()) or fallback
    return replace(entry, label=label, diameter_m=diameter_m if diameter_m is not None else entry.diameter_m)


def labelled(entries: list[Entry]) -> tuple[Entry, ...]:
    """Number entries whose labels are the same, so that each can be told from the others."""
    count: dict[str, int] = {}
    for each in entries:
        count[each.label] = count.get(each.label, 0) + 1
    seen: dict[str, int] = {}
    made = []
    for each in entries:
        seen[each.label] = seen.get(each.label, 0) + 1
        twin = count[each.label] > 1
        made.append(replace(each, label=f"{each.label} ({seen[each.label]})") if twin else each)
    return tuple(made)


def _bytes_of(path: Path) -> bytes:
    where = str(path)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise FindingsError(said("is not a plain file; name a run file or a result"), where=where)
        if status.st_size > 4 * MAX_BYTES:
            raise FindingsError(said("is too large to be a run or a result; name another file"), where=where)
        with path.open("rb") as file:
            return file.read(4 * MAX_BYTES + 1)
    except FileNotFoundError:
        words = said("there is no such file; name a run file, a result's folder or its findings.json")
        raise FindingsError(words, where=where) from None
    except OSError as error:
        raise FindingsError(
            said("cannot be read ({reason_of})", reason_of=reason_of(error)),
            where=where,
        ) from None
    except ValueError:
        raise FindingsError(said("is not a file name"), where=short(where)) from None


def decode_findings(data: bytes, where: str) -> Entry:
    """
    Read what a comparison needs from the bytes of a findings.json.

    Parameters
    ----------
    data : bytes
        UTF-8 JSON.
    where : str
        What errors name as the place.

    Raises
    ------
    FindingsError
        It is not one, or breaks the contract.
    """
    if len(data) > MAX_BYTES:
        raise FindingsError(said("is too large to be a findings.json; write the result anew"), where=where)
    try:
        tree: Any = json.loads(
            data.decode("utf-8-sig"), parse_constant=_no_constant, object_pairs_hook=without_twins
        )
        _refuse_newer(tree, where)
        file = msgspec.convert(tree, _File)
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError, ValueError) as error:
        words = str(error).splitlines()[0][:200] if str(error) else said("not JSON")
        raise FindingsError(
            said("is no findings.json of this program ({words}); write the result anew", words=words),
            where=where,
        ) from None
    if (file.format, file.format_version) != ("clepsydra-findings", 1):
        raise FindingsError(
            said(
                "has the format {shown}, version {format_version}; wanted are the findings of one "
                "run, clepsydra-findings version 1",
                shown=shown(file.format),
                format_version=file.format_version,
            ),
            where=where,
        )
    findings: dict[str, Finding] = {}
    for i, each in enumerate(file.findings):
        place = said("{where}: findings[{i}]", where=where, i=i)
        if each.name in findings:
            raise FindingsError(
                said("{shown} stands twice", shown=shown(each.name)),
                where=place,
            )
        if each.value is None or each.u is None or not each.u > 0.0:
            continue  # written so where there was no number; there is nothing to compare
        findings[each.name] = _finding(each, place)
    gravity = file.accepted_gravity.value
    return Entry(file.title, MappingProxyType(findings), gravity if gravity is not None else math.nan)


def _refuse_newer(tree: Any, where: str) -> None:
    """Tell a newer version's file by what it says of itself, before its other keys are missed."""
    version = tree.get("format_version") if isinstance(tree, dict) else None
    if isinstance(version, int) and version > 1 and tree.get("format") == "clepsydra-findings":
        raise FindingsError(
            said(
                "was written by a newer version of the program (format {version}, this one reads "
                "format 1); update the program",
                version=shown(version),
            ),
            where=where,
        )


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number of JSON")


def _finding(told: _Finding, place: str) -> Finding:
    value, u = told.value or 0.0, told.u or 0.0
    low, high = told.interval_95
    shares = tuple(Share(each.source, each.u or 0.0, each.shared) for each in told.budget)
    if any(share.u < 0.0 for share in shares):
        raise FindingsError(said("budget: a share below nought; write the result anew"), where=place)
    if not all(abs(number) < _BEYOND for number in (value, u, *(share.u for share in shares))):
        raise FindingsError(said("holds a number beyond any bench; write the result anew"), where=place)
    squares = sum(share.u**2 for share in shares)
    if shares and not math.isclose(squares, u * u, rel_tol=1e-3):
        raise FindingsError(
            said(
                "u is {u:.4g} but the squares of its budget add up to {sqrt:.4g}²; the file was "
                "changed by hand, write the result anew",
                u=u,
                sqrt=math.sqrt(squares),
            ),
            where=place,
        )
    return Finding(
        name=told.name,
        symbol=told.symbol,
        value=value,
        u=u,
        interval_95=(low if low is not None else -math.inf, high if high is not None else math.inf),
        unit=told.unit,
        method=told.method,
        depends_on_assumed_g=told.depends_on_assumed_g,
        budget=shares,
    )


def _of_run(path: Path, progress: Progress | None, stop_requested: Callable[[], bool] | None) -> Entry:
    from measure_app.clip import open_source
    from measure_app.outcome import measure, outcome_of
    from measure_app.runfile import check_clip_identity, clip_path, load_run

    run = load_run(path)
    film = clip_path(run, path)
    check_clip_identity(run, film)
    with named_in(path), open_source(film, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        if run.readings:
            seconds = clip.stamps.seconds() if clip.info.file_rate else None
            outcome = outcome_of(run, seconds, clip.info)
        else:
            outcome = measure(run, clip, progress=progress, stop_requested=stop_requested)
    return entry_of(outcome)


def entry_of(outcome: Outcome) -> Entry:
    """Take in a run that has been measured, with what is known of its set-up."""
    run = outcome.run
    return Entry(
        label=run.title,
        findings=MappingProxyType({each.name: each for each in outcome.findings.findings}),
        gravity_m_s2=outcome.findings.accepted_gravity.value,
        diameter_m=run.orifice.diameter_m if run.orifice is not None else None,
        temperature_c=run.conditions.water_temperature_c,
        facts=MappingProxyType(_facts(run)),
    )


def _facts(run: Run) -> dict[str, tuple[float | None, float | None]]:
    hole, given = run.orifice, run.conditions
    return {
        DROP_SOURCE: (run.drop.value_m, run.drop.u_m) if run.drop is not None else (None, None),
        "orifice diameter": (hole.diameter_m, hole.diameter_u_m) if hole is not None else (None, None),
        "container area": (given.container_area_m2, given.container_area_u_m2),
    }
