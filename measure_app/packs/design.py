"""Which student reads which frames: a fixed design in which shares overlap."""

from __future__ import annotations

from dataclasses import dataclass

from measure_app.words import said

MAX_STUDENTS = 500
"""Most shares of one pack."""
DEFAULT_EACH = 12
"""Frames for each student unless told otherwise; half an hour's reading for a beginner."""
DEFAULT_COMMON = 2
"""Frames that everybody reads unless told otherwise."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Frames for each student."""

    common: tuple[int, ...]
    """Frames that everybody reads."""
    frames: tuple[tuple[int, ...], ...]
    """One tuple for each student, in order of frames, the common ones among them."""

    @property
    def covered(self) -> tuple[int, ...]:
        """Every frame that is read, in order."""
        return tuple(sorted({frame for share in self.frames for frame in share}))

    def readers(self, frame: int) -> int:
        """Count the students who read a frame."""
        return sum(frame in share for share in self.frames)


def shares_of(
    start: int, stop: int, students: int, each: int = DEFAULT_EACH, common: int = DEFAULT_COMMON
) -> Shares:
    """Share the frames of a part of a film among students, with overlap.

    The design is fixed, so that the same numbers always give the same shares:

    - `common` frames, spread evenly over the part, are read by everybody; they tie the class together.
    - The other frames that are read are spread evenly too and are dealt in passes, each a stretch of time
      with one frame for each student. In pass k student s reads the frame number s of the stretch and the
      frame number s - 1 - k, counted round: every frame has two readers, every student reads two frames of
      every stretch, so that each sees the whole drain, and in each pass a student shares with others than
      before, until all partners have been met.
    - Where the part has fewer frames than the class has students, one stretch holds them all and each student
      reads as many of them, one after the other, counted round.

    Parameters
    ----------
    start, stop : int
        First frame of the part, and one past its last.
    students : int
        At least 2.
    each : int
        Frames for each student; the common ones count. One less is dealt where the rest is odd.
    common : int
        Frames read by everybody.

    Raises
    ------
    ValueError
        In words: the numbers ask for what cannot be.
    """
    available = stop - start
    if not 2 <= students <= MAX_STUDENTS:
        raise ValueError(
            said("shares are for 2 to {most} students, got {students}", most=MAX_STUDENTS, students=students)
        )
    if available < 2:
        raise ValueError(
            said(
                "the part measured has {available} frames; at least 2 are needed to share them",
                available=available,
            )
        )
    if common < 0 or each < common + 2:
        raise ValueError(
            said(
                "each student reads the common frames and at least two more, got {each} frames of "
                "which {common} are common",
                each=each,
                common=common,
            )
        )
    shared = min(common, max(0, available - 2))
    own = each - shared
    passes = min(own // 2, (available - shared) // students)
    count = passes * students if passes else available - shared
    chosen = _spread(start, stop, shared + count)
    common_frames = tuple(chosen[i] for i in _spread(0, len(chosen), shared))
    rest = [frame for frame in chosen if frame not in common_frames]
    if passes:
        shares = [_passes(rest, s, students, passes) for s in range(students)]
    else:
        dealt = max(2, min(own, count))
        shares = [{rest[(s + i) % count] for i in range(dealt)} for s in range(students)]
    return Shares(common_frames, tuple(tuple(sorted({*share, *common_frames})) for share in shares))


def _passes(rest: list[int], s: int, students: int, passes: int) -> set[int]:
    mine = set()
    for k in range(passes):
        stretch = rest[k * students : (k + 1) * students]
        step = 1 + k % (students - 1)
        mine |= {stretch[s], stretch[(s - step) % students]}
    return mine


def _spread(start: int, stop: int, count: int) -> tuple[int, ...]:
    """So many whole numbers from start to below stop, evenly spread, ends included where there are two."""
    if count <= 0:
        return ()
    if count == 1:
        return ((start + stop - 1) // 2,)
    span = stop - 1 - start
    return tuple(start + (span * i + (count - 1) // 2) // (count - 1) for i in range(count))
