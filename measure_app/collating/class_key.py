"""What answers are held against: the teacher's run, the film's frames, and a curve for each part."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction
from pathlib import Path

import numpy as np

from analysis import FloatArray
from calibration import Segment
from measure_app.clip import ClipInfo, PlaneGeometry
from measure_app.finders import Part
from measure_app.run import LinePart, Run
from measure_app.words import marked

PARTS = (Part.SURFACE, Part.LANDING)


class Source(Enum):
    """Where a curve of reference comes from."""

    KEY = marked("the key's readings")
    CLASS = marked("a smooth curve through all answers")
    NONE = "nothing"


@dataclass(frozen=True, slots=True, eq=False)
class Key:
    """The teacher's run and its film, as every answer needs them; small enough to be sent to others."""

    run: Run
    info: ClipInfo
    seconds: FloatArray | None
    """(n_frames,) s; None without the film."""

    @property
    def lines(self) -> dict[Part, Segment | None]:
        """The lines along which places are compared, px of the key's film."""
        return {Part.SURFACE: _segment(self.run.gauge_line), Part.LANDING: _segment(self.run.landing_line)}


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """Where a part ought to be read, along its line, frame by frame."""

    source: Source
    frames: FloatArray
    along: FloatArray
    _curve: Callable[[FloatArray], FloatArray] | None = field(init=False, default=None, repr=False)

    def __post_init__(self) -> None:
        """Work the curve out once; it is asked for every observer."""
        if self.frames.size > 1:
            from scipy.interpolate import PchipInterpolator

            curve = PchipInterpolator(self.frames, self.along, extrapolate=False)
            object.__setattr__(self, "_curve", curve)

    def at(self, frames: FloatArray) -> FloatArray:
        """Places along the line at some frames, px; NaN outside the frames that are known.

        Between frames that are known the place follows a monotone cubic (Fritsch and Carlson, SIAM J. Numer.
        Anal. 17 (1980) 238): a drain goes one way only.
        """
        wanted = np.asarray(frames, dtype=np.float64)
        if self._curve is not None:
            return np.asarray(self._curve(wanted), dtype=np.float64)
        if self.frames.size == 0:
            return np.full(wanted.shape, np.nan)
        return np.where(wanted == self.frames[0], self.along[0], np.nan)


NO_REFERENCE = Reference(Source.NONE, np.empty(0), np.empty(0))


def key_without_film(run: Run, size: tuple[int, int], n_frames: int) -> Key:
    """Return a key whose film is not at hand: sizes are known, times are not."""
    geometry = PlaneGeometry(*size)
    info = ClipInfo(Path(run.clip.path), "", "", geometry, n_frames, 8, 0.0, Fraction(0), Fraction(0))
    return Key(run, info, None)


def references_from_key(key: Key) -> dict[Part, Reference]:
    """Return what the key's own readings say."""
    return {part: _from_readings(key, part) for part in PARTS}


def _from_readings(key: Key, part: Part) -> Reference:
    line = key.lines[part]
    read = [
        (reading.frame, spot.px)
        for reading in key.run.readings
        if (spot := reading.surface if part is Part.SURFACE else reading.landing) is not None
    ]
    if line is None or not read:
        return NO_REFERENCE
    places = line.along(np.array([px for _, px in read], dtype=np.float64))
    return Reference(Source.KEY, np.array([frame for frame, _ in read], dtype=np.float64), places)


_FEWEST = 8
_BIWEIGHT = 4.685


def reference_from_class(
    frames: Sequence[FloatArray], along: Sequence[FloatArray], every: FloatArray
) -> Reference:
    """Return a smooth curve through all observers' readings that a few who read something else do not move.

    The head follows (√h₀ - k t)² and the throw its root, so that a cubic in time holds either; perspective
    bends them by less than a reader's scatter. It is fitted by Tukey's biweight, from least absolute
    deviations on, with the same weight for every observer.

    Parameters
    ----------
    frames, along : sequence of ndarray
        One pair of arrays for each observer: frames, and places along the line, px.
    every : ndarray
        Frames at which the curve is wanted.
    """
    x = np.concatenate(frames) if len(frames) else np.empty(0)
    y = np.concatenate(along) if len(along) else np.empty(0)
    own = np.concatenate(
        [np.full(len(each), 1.0 / len(each)) for each in frames if len(each)] or [np.empty(0)]
    )
    if len(np.unique(x)) < _FEWEST:
        return NO_REFERENCE
    low, high = float(x.min()), float(x.max())
    basis = _cubic(x, low, high)
    weights = own / own.mean()
    solution = np.zeros(basis.shape[1])
    for step in range(60):
        solution = np.linalg.lstsq(basis * np.sqrt(weights)[:, None], y * np.sqrt(weights), rcond=None)[0]
        off = y - basis @ solution
        scale = max(1.4826 * float(np.median(np.abs(off))), 0.1)
        if step < 30:
            robust = 1.0 / np.maximum(np.abs(off), 0.05 * scale)
        else:
            robust = np.clip(1.0 - (off / (_BIWEIGHT * scale)) ** 2, 0.0, None) ** 2
        weights = own * robust
        weights /= weights.mean()
    within = every[(every >= low) & (every <= high)]
    return Reference(Source.CLASS, within, _cubic(within, low, high) @ solution)


def _cubic(x: FloatArray, low: float, high: float) -> FloatArray:
    u = 2.0 * (np.asarray(x, dtype=np.float64) - low) / max(high - low, 1.0) - 1.0
    return np.stack([np.ones_like(u), u, u**2, u**3], axis=1)


def _segment(line: LinePart | None) -> Segment | None:
    return Segment(line.from_px, line.to_px) if line is not None else None
