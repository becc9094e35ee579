"""The teacher's run made ready: its film found, its own readings filled in, its strips read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from msgspec.structs import replace

from calibration import Segment
from measure_app.collating.class_key import Key, key_without_film
from measure_app.contract import pixels_of
from measure_app.errors import AppError, ClipError
from measure_app.finders import Part
from measure_app.outcome import Outcome, measure, outcome_of
from measure_app.run import Run
from measure_app.runfile import check_clip_identity, clip_path, load_run
from measure_app.strips import Strip, StripLine, sweep
from measure_app.words import said

_LARGEST = 16_384
_MOST_FRAMES = 1_000_000
"""Frames that a film may have where it is not there to be counted; nine hours at 30 a second."""


@dataclass(frozen=True, slots=True, eq=False)
class TeachersKey:
    """The key and what only the teacher's side needs of it."""

    key: Key
    outcome: Outcome | None
    """What the key's own readings yield."""
    strips: dict[Part, Strip]
    """Empty without the film."""
    remarks: tuple[str, ...]


def teachers_key(
    path: Path,
    *,
    size: tuple[int, int] | None = None,
    progress: Callable[[int, int], None] | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> TeachersKey:
    """Load the key; where it has no readings of its own and the film is there, they are found.

    Parameters
    ----------
    path : Path
        The teacher's run.
    size : (int, int), optional
        Columns and rows of the film, as the packs tell it; used where the film is not there.
    progress : callable, optional
        Given (frames done, frames in all) while the film is read.
    stop_requested : callable, optional
        True stops the work.

    Raises
    ------
    RunFileError
        The run breaks the contract.
    ClipError
        There is another film in the place of the run's.
    Stopped
        If `stop_requested` said so.
    """
    run = load_run(path)
    film = clip_path(run, path)
    if not film.is_file():
        return _without_film(run, size)
    from measure_app.clip import open_clip, sha256_of

    check_clip_identity(run, film)
    if run.clip.sha256 is None:
        run = replace(run, clip=replace(run.clip, sha256=sha256_of(film)))
    with open_clip(film, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        remarks = []
        if not run.readings:
            outcome = measure(run, clip, progress=progress, stop_requested=stop_requested)
            remarks.append(
                said("the key has no readings of its own: those that the program finds are the key")
            )
            found = outcome.search
            strips = {} if found is None else _named(found.head_strip, found.throw_strip)
            return TeachersKey(
                Key(outcome.run, clip.info, clip.stamps.seconds()), outcome, strips, tuple(remarks)
            )
        strips = _strips(run, clip, progress, stop_requested)
        key = Key(run, clip.info, clip.stamps.seconds())
    outcome_now, why = _outcome(key)
    return TeachersKey(key, outcome_now, strips, (*remarks, *why))


def _without_film(run: Run, told: tuple[int, int] | None) -> TeachersKey:
    words = said(
        "the key's film is not beside it: no strips are shown, nothing that needs the clock is worked out"
    )
    if told is None:
        pixels = [px for _, px in pixels_of(run)]
        sides = [max((int(px[axis]) + 2 for px in pixels), default=2) for axis in (0, 1)]
        told = min(max(sides[0], 2), _LARGEST), min(max(sides[1], 2), _LARGEST)
        words += said("; the picture's size is guessed from the marks")
    key = key_without_film(run, told, _MOST_FRAMES)
    outcome, why = _outcome(key)
    return TeachersKey(key, outcome, {}, (words, *why))


def _outcome(key: Key) -> tuple[Outcome | None, tuple[str, ...]]:
    try:
        return outcome_of(key.run, key.seconds, key.info), ()
    except AppError as error:
        return None, (said("the key's own set-up gives no lengths: {error}", error=error),)


def _strips(
    run: Run,
    clip: object,
    progress: Callable[[int, int], None] | None,
    stop_requested: Callable[[], bool] | None,
) -> dict[Part, Strip]:
    from measure_app.clip import Clip

    if not isinstance(clip, Clip):
        raise ClipError(said("is not a film"), where=run.clip.path)
    parts = [(Part.SURFACE, run.gauge_line), (Part.LANDING, run.landing_line)]
    lines = [
        StripLine(part.value, Segment(line.from_px, line.to_px)) for part, line in parts if line is not None
    ]
    if not lines:
        return {}
    start = min(run.clip.start_frame, clip.info.n_frames - 1)
    stop = clip.info.n_frames if run.clip.stop_frame is None else min(run.clip.stop_frame, clip.info.n_frames)
    made = sweep(clip, lines, start, stop, progress=progress, stop_requested=stop_requested)
    return {Part(strip.line.name): strip for strip in made}


def _named(head: Strip | None, throw: Strip | None) -> dict[Part, Strip]:
    pairs = ((Part.SURFACE, head), (Part.LANDING, throw))
    return {part: strip for part, strip in pairs if strip is not None}
