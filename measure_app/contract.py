"""What a run must satisfy, checked alike when it is read, edited and saved.

The types of `measure_app.run` hold the shape and the range of each key. Here stand the rules that no single
type can hold: a frame read twice, a line without length, a path that leaves its folder.
"""

from __future__ import annotations

import gc
import math
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

import msgspec

from calibration import Pixel
from measure_app.errors import RunFileError
from measure_app.refusals import dotted, explained, placed, short, shown
from measure_app.run import FrustumShape, LinePart, Profile, RoundShape, RulePart, Run, SphereShape
from measure_app.words import said

MAX_DEPTH = 64
"""Deepest nesting of a run file's values; the contract itself needs seven, the rest is room for `extra`."""
MAX_PIXEL = 1e6
"""Farthest that a position may lie from the frame's corner, px."""


def run_from_builtins(tree: Any, where: str = "") -> Run:
    """Build a run from plain objects, as JSON gives them.

    Parameters
    ----------
    tree : Any
        Nested dicts, lists and scalars.
    where : str
        What the error shall name before the key, such as the file.

    Raises
    ------
    RunFileError
        Naming the key, the rule that is broken, the value got and what to do.
    """
    check_plain(tree, where)
    _check_format(tree, where)
    try:
        run = msgspec.convert(tree, Run)
    except msgspec.ValidationError as error:
        key, words = explained(error, tree, Run)
        raise RunFileError(words, where=placed(where, key)) from None
    run = msgspec.structs.replace(run, readings=tuple(sorted(run.readings, key=lambda r: r.frame)))
    for key, words in _broken_rules(run):
        raise RunFileError(words, where=placed(where, key))
    return run


def checked(run: Run, where: str = "") -> Run:
    """Return the run, readings in order of frames, if it satisfies every rule of the contract.

    Raises
    ------
    RunFileError
        As `run_from_builtins`.
    """
    with uncollected():
        return run_from_builtins(msgspec.to_builtins(run), where)


@contextmanager
def uncollected() -> Iterator[None]:
    """
    Put off the search for cycles while a tree of plain values grows.

    Such a tree has none, and the search would go over all of it again and again, for longer than it is read.
    """
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()


def check_plain(tree: Any, where: str) -> None:
    """Refuse what plain JSON cannot hold or what would choke a reader.

    Raises
    ------
    RunFileError
        A number that is not finite, text that UTF-8 cannot carry, or nesting beyond `MAX_DEPTH`.
    """
    # Keys are joined to a path only when something is wrong: most trees are thousands of sound readings.
    pending: list[tuple[_Link | None, Any, int]] = [(None, tree, 1)]
    while pending:
        link, holder, depth = pending.pop()
        if not isinstance(holder, _HOLDERS):
            _check_scalar(holder, where, link)
            continue
        if depth > MAX_DEPTH:
            raise RunFileError(
                said("is nested more than {most} levels deep; flatten it", most=MAX_DEPTH),
                where=placed(where, short(_key(link))),
            )
        for name, value in holder.items() if isinstance(holder, dict) else enumerate(holder):
            if isinstance(name, str) and not name.isascii():
                _check_text(name, where, link)
            if isinstance(value, float):
                if not math.isfinite(value):
                    _check_scalar(value, where, (link, name))
            elif isinstance(value, str):
                if not value.isascii():
                    _check_text(value, where, (link, name))
            elif isinstance(value, _HOLDERS):
                pending.append(((link, name), value, depth + 1))


_HOLDERS = (dict, list, tuple)  # asked a million times of a long run: a union of types takes twice as long
_Link = tuple[Any, Any]
"""The link above and the name of a key within it."""


def _key(link: _Link | None) -> str:
    """Join the names from the top of the tree down to a link, such as ``rules[0].name``."""
    names = []
    while link is not None:
        link, name = link
        names.append(name)
    key = ""
    for name in reversed(names):
        key = f"{key}[{name}]" if isinstance(name, int) else dotted(key, str(name))
    return key


def _check_scalar(value: Any, where: str, link: _Link | None) -> None:
    if isinstance(value, str):
        _check_text(value, where, link)
    elif isinstance(value, float) and not math.isfinite(value):
        raise RunFileError(
            said(
                "must be a finite number, got {value}; write null or leave it out where it is not known",
                value=value,
            ),
            where=placed(where, _key(link)),
        )


def _check_text(text: str, where: str, link: _Link | None) -> None:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise RunFileError(
            said("holds half a character (a lone surrogate), which UTF-8 cannot carry; write the text anew"),
            where=placed(where, _key(link)),
        ) from None


def _check_format(tree: Any, where: str) -> None:
    if not isinstance(tree, dict):
        raise RunFileError(
            said("a run file is one object in braces, got {tree}", tree=shown(tree)), where=where
        )
    name = tree.get("format")
    if name != "clepsydra-run":
        words = said('must be "clepsydra-run", it is missing; is this a run file?')
        if name is not None:
            words = said('must be "clepsydra-run", got {name}; is this a run file?', name=shown(name))
        raise RunFileError(words, where=placed(where, "format"))
    version = tree.get("format_version")
    if isinstance(version, int) and not isinstance(version, bool) and version > 1:
        raise RunFileError(
            said(
                "the run was saved by a newer version of the program (format {version}, this one "
                "reads format 1); update the program",
                version=shown(version),
            ),
            where=placed(where, "format_version"),
        )
    if version != 1 or isinstance(version, bool):
        words = said("must be 1, it is missing; is this a run file?")
        if version is not None:
            words = said("must be 1, got {version}; is this a run file?", version=shown(version))
        raise RunFileError(words, where=placed(where, "format_version"))


def _broken_rules(run: Run) -> Iterator[tuple[str, str]]:
    """Key and words of each broken rule that spans more than one key."""
    yield from _clip_rules(run)
    for i, rule in enumerate(run.rules):
        yield from _graduation_rules(f"rules[{i}]", rule)
    for name in ("gauge_line", "landing_line"):
        line: LinePart | None = getattr(run, name)
        if line is not None and line.from_px == line.to_px:
            yield (
                name,
                said("a line needs two different ends, from_px and to_px are the same point; draw it anew"),
            )
    if run.plumb is not None and run.plumb.top_px == run.plumb.bottom_px:
        yield "plumb", said("top_px and bottom_px are the same point; a plumb line needs two, far apart")
    yield from _profile_rules("conditions.container_profile", run.conditions.container_profile)
    for i, fall in enumerate(run.falls):
        for j in range(1, len(fall.marks)):
            before, frame = fall.marks[j - 1].frame, fall.marks[j].frame
            if frame <= before:
                words = said(
                    "must be after the mark before it (frame {before}), got {frame}; put the marks in order",
                    before=before,
                    frame=frame,
                )
                yield f"falls[{i}].marks[{j}].frame", words
    for frame, times in Counter(reading.frame for reading in run.readings).items():
        if times > 1:
            words = said(
                "frame {frame} is read {times} times; a frame has at most one reading, keep one",
                frame=frame,
                times=times,
            )
            yield "readings", words
    for key, pixel in pixels_of(run):
        if not (abs(pixel.x) <= MAX_PIXEL and abs(pixel.y) <= MAX_PIXEL):
            words = said(
                "lies over {most:.0f} px from the frame's corner, got {pixel}; mark it again",
                most=MAX_PIXEL,
                pixel=list(pixel),
            )
            yield key, words


def _profile_rules(key: str, profile: Profile | None) -> Iterator[tuple[str, str]]:
    if profile is None or isinstance(profile, SphereShape):
        return
    if isinstance(profile, FrustumShape):
        if profile.upper_head_m <= profile.lower_head_m:
            words = said(
                "must be above lower_head_m ({lower_head_m:g}), got {upper_head_m:g}; give the "
                "two heights in order",
                lower_head_m=profile.lower_head_m,
                upper_head_m=profile.upper_head_m,
            )
            yield f"{key}.upper_head_m", words
        if profile.lower_diameter_m == profile.upper_diameter_m == 0.0:
            yield f"{key}.upper_diameter_m", said("both diameters are nought; one at least must be above it")
        return
    at, rows = (f"{key}.diameters", profile.diameters) if isinstance(profile, RoundShape) else (key, profile)
    for j in range(1, len(rows)):
        below, head = rows[j - 1].head_m, rows[j].head_m
        if head <= below:
            words = said(
                "must be above the height before it ({below:g}), got {head:g}; list them from below up",
                below=below,
                head=head,
            )
            yield f"{at}[{j}].head_m", words


def _clip_rules(run: Run) -> Iterator[tuple[str, str]]:
    clip = run.clip
    if clip.stop_frame is not None and clip.stop_frame <= clip.start_frame:
        words = said(
            "must be greater than start_frame ({start_frame}), got {stop_frame}; it is one past "
            "the last frame measured",
            start_frame=clip.start_frame,
            stop_frame=clip.stop_frame,
        )
        yield "clip.stop_frame", words
    if words := path_fault(clip.path):
        yield "clip.path", words


def path_fault(path: str) -> str:
    """Say what is wrong with a clip's path as written in a run, "" when nothing is.

    A relative path counts from the run file's folder and may not climb out of it, so that a run received from
    someone else cannot point at files beside the folder that it came in. An absolute path is a person's own
    choice and is taken as it is. Both separators count on every system: the file may travel.
    """
    if any(ord(c) < 32 for c in path):
        return said("holds a control character; write the clip's plain file name")
    if "://" in path:
        return said(
            "must be a local file, got {path}; save the film beside the run file and name it here",
            path=shown(path),
        )
    if not is_absolute(path) and ".." in path.replace("\\", "/").split("/"):
        return said(
            "may not leave the run file's folder, got {path}; put the film beside the run file",
            path=shown(path),
        )
    return ""


def is_absolute(path: str) -> bool:
    """Whether a path is absolute (or bound to a drive) on any system."""
    windows = PureWindowsPath(path)
    return PurePosixPath(path).is_absolute() or bool(windows.drive) or bool(windows.root)


def _graduation_rules(key: str, rule: RulePart) -> Iterator[tuple[str, str]]:
    first_at: dict[object, int] = {}
    for j, graduation in enumerate(rule.graduations):
        twin = first_at.setdefault(("place", graduation.px), j)
        if twin != j:
            yield (
                f"{key}.graduations[{j}]",
                said(
                    "has the same place as graduations[{twin}]; remove one or mark it where it belongs",
                    twin=twin,
                ),
            )
        twin = first_at.setdefault(("value", graduation.value_m), j)
        if twin != j:
            yield (
                f"{key}.graduations[{j}]",
                said(
                    "has the same value as graduations[{twin}]; remove one or mark it where it belongs",
                    twin=twin,
                ),
            )


def pixels_of(run: Run) -> Iterator[tuple[str, Pixel]]:
    """Yield every position in the run with its key."""
    for i, rule in enumerate(run.rules):
        for j, graduation in enumerate(rule.graduations):
            yield f"rules[{i}].graduations[{j}].px", graduation.px
    for name in ("camera", "camera.lens", "plumb", "orifice", "throw_zero", "gauge_line", "landing_line"):
        part: Any = run
        for step in name.split("."):
            part = part and getattr(part, step)
        for key in part.__struct_fields__ if part is not None else ():
            if isinstance(pixel := getattr(part, key), Pixel):
                yield f"{name}.{key}", pixel
    for i, fall in enumerate(run.falls):
        for j, mark in enumerate(fall.marks):
            yield f"falls[{i}].marks[{j}].px", mark.px
    for i, reading in enumerate(run.readings):
        if reading.surface is not None:
            yield f"readings[{i}].surface.px", reading.surface.px
        if reading.landing is not None:
            yield f"readings[{i}].landing.px", reading.landing.px
