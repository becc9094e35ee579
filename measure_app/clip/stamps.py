"""When each frame was shown: whole ticks of an exact base, and what their steps say about the rate."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

_NEIGHBOURS = 31
"""Steps in the running median that tells the rate around a frame, about one second of film."""
_LONG_HISTORY = 200_000
"""Films with more frames are judged by one median: the running one would take memory without telling more."""


@dataclass(frozen=True, slots=True)
class FrameStamp:
    """When one frame is shown."""

    ticks: int
    base: Fraction
    """Seconds per tick."""

    def after(self, first: FrameStamp) -> Fraction:
        """Exact seconds of the file since another stamp."""
        return self.ticks * self.base - first.ticks * first.base


@dataclass(frozen=True, slots=True, eq=False)
class Stamps:
    """The presentation times of every frame of a film; good without the film.

    Parameters
    ----------
    ticks : (n,) int64
        Presentation times in presentation order, read-only.
    base : Fraction
        Seconds per tick.
    ratio : Fraction
        Seconds of the filmed world per second of the file: file rate over capture rate for slow motion,
        else 1.
    """

    ticks: NDArray[np.int64]
    base: Fraction
    ratio: Fraction = Fraction(1)

    def __post_init__(self) -> None:
        own = np.array(self.ticks, dtype=np.int64).reshape(-1)
        own.setflags(write=False)
        object.__setattr__(self, "ticks", own)

    def __len__(self) -> int:
        """Count of frames."""
        return int(self.ticks.size)

    def __getitem__(self, frame: int) -> FrameStamp:
        """Return the stamp of one frame."""
        return FrameStamp(int(self.ticks[frame]), self.base)

    def seconds(self) -> NDArray[np.float64]:
        """Time of each frame since frame 0 in the filmed world, s, shape (n,).

        The presentation timestamp less that of frame 0, times `ratio`.
        """
        if not self.ticks.size:
            return np.zeros(0)
        scale = self.base * self.ratio
        since_first = (self.ticks - self.ticks[0]).astype(np.float64)
        return np.asarray(since_first * scale.numerator / scale.denominator)

    def second(self, frame: int) -> float:
        """Time of one frame since frame 0 in the filmed world, s."""
        return float((int(self.ticks[frame]) - int(self.ticks[0])) * self.base * self.ratio)

    def slowed(self, file_rate: Fraction, capture_rate_hz: float | None) -> Stamps:
        """Return the same stamps for a film captured at another rate than it is played."""
        if capture_rate_hz is None:
            return replace(self, ratio=Fraction(1))
        return replace(self, ratio=file_rate / Fraction(capture_rate_hz).limit_denominator(1_000_000))


@dataclass(frozen=True, slots=True)
class Pace:
    """What the steps between the stamps say."""

    average_rate: Fraction
    """Frames less one over the time from first to last, 1/s of the file; 0 for a single frame."""
    file_rate: Fraction
    """Nominal rate, 1/s of the file: that of the steps in which no frame is missing."""
    variable: bool
    """Whether a step differs from the usual one by more than 2 % and 1.5 ticks."""
    uneven: bool
    """Whether that is so of a step in which no frame is missing."""
    shortest_s: float
    """Shortest step, s of the file."""
    longest_s: float
    """Longest step in which no frame is missing, s of the file."""
    gaps: tuple[tuple[int, int], ...]
    """(frame, count): so many frames are missing after that frame."""


def pace_of(stamps: Stamps, nominal: Fraction | None = None) -> Pace:
    """Judge the steps between the stamps.

    Parameters
    ----------
    stamps : Stamps
        Strictly increasing times.
    nominal : Fraction, optional
        Rate that the file states; taken as the file rate where the steps agree within their own resolution.

    Returns
    -------
    Pace
        A step of 1.6 times the usual one around it or more is a gap. "Usual" is a running median, so a camera
        that halves its rate in dim light shows as variable, not as one long row of gaps.
    """
    if len(stamps) < 2:
        rate = nominal or Fraction(0)
        return Pace(Fraction(0), rate, variable=False, uneven=False, shortest_s=0.0, longest_s=0.0, gaps=())
    steps = np.diff(stamps.ticks)
    span = int(stamps.ticks[-1] - stamps.ticks[0])
    usual = _running_median(steps)
    missing = np.rint(steps / usual).astype(np.int64) - 1
    gap = (steps >= 1.6 * usual) & (missing >= 1)
    regular = steps[~gap & (np.abs(steps - np.median(steps)) <= 0.5 * np.median(steps))]
    if not regular.size:
        regular = steps
    found = 1 / (Fraction(int(regular.sum()), int(regular.size)) * stamps.base)
    resolution = Fraction(2, max(int(regular.sum()), 1))
    agrees = nominal is not None and abs(nominal / found - 1) <= resolution
    middle = float(np.median(steps))
    off = np.abs(steps - middle) > max(1.5, 0.02 * middle)
    return Pace(
        average_rate=(len(stamps) - 1) / (span * stamps.base),
        file_rate=nominal if agrees and nominal is not None else found.limit_denominator(1_000_000),
        variable=bool(off.any()),
        uneven=bool(off[~gap].any()),
        shortest_s=float(int(steps.min()) * stamps.base),
        longest_s=float(int(steps[~gap].max() if not gap.all() else steps.max()) * stamps.base),
        gaps=tuple((int(i), int(missing[i])) for i in np.flatnonzero(gap)),
    )


def _running_median(steps: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the median of the steps around each step."""
    if steps.size <= _NEIGHBOURS or steps.size > _LONG_HISTORY:
        return np.full(steps.size, max(float(np.median(steps)), 1.0))
    half = math.floor(_NEIGHBOURS / 2)
    padded = np.pad(steps, half, mode="reflect")  # not "edge": a gap at the end would outvote the rest
    windows = np.lib.stride_tricks.sliding_window_view(padded, _NEIGHBOURS)
    middle: NDArray[np.float64] = np.median(windows, axis=1)
    return np.maximum(middle, 1.0)
