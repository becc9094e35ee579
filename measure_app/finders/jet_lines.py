"""Where the jet is looked for: lines parallel to the landing line, above it and up towards the orifice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration import FloatArray, Pixel, Segment
from measure_app.strips import StripLine

_FRACTIONS = (0.03, 0.04, 0.05, 0.065, 0.08, 0.10, 0.125, 0.15, 0.18, 0.22)
"""Heights of the tracing lines above the landing line, as parts of the drop."""
_UPPER = (0.32, 0.43, 0.54, 0.64, 0.73, 0.80, 0.86)
"""Heights of the lines on which the jet's shape is traced. Higher up it runs too level: a cut parallel to the
landing line would no longer have the jet's centre in its middle."""
_PAST = 1.06
"""How far the upper lines run past the parabola of a jet that lands at the far end of the landing line."""
TRACED_FRAMES = 480
"""Frames in which the jet is followed upwards, evenly spread through longer films; bounds memory and time."""


@dataclass(frozen=True, slots=True)
class JetLines:
    """Lines on which the jet is traced, and the parabola that carries a place on them to the landing line."""

    lines: tuple[StripLine, ...]
    above: tuple[float, ...]
    """Height of each line above the landing line, as a part of the drop."""
    zero_px: float
    """Place of the throw zero along the landing line, px from its start (may lie outside it)."""
    up_px: tuple[float, float]
    """From the landing line squarely up to the orifice, px."""
    upper: tuple[StripLine, ...] = ()
    """Lines further up, between throw zero and parabola, for the jet's shape."""
    upper_above: tuple[float, ...] = ()
    upper_from_px: tuple[float, ...] = ()
    """Where each upper line begins, px along the landing line."""

    def landing_of(self, line: int, along_px: FloatArray, lift: FloatArray | float = 0.0) -> FloatArray:
        """Carry places on a tracing line down the parabola to the landing line; px along it.

        `lift` is how much higher over the landing level the line lies in a frame that the camera's motion
        displaced, as a part of the drop.
        """
        return np.asarray(self.zero_px + (along_px - self.zero_px) / self._part_of_throw(line, lift))

    def carried(self, line: int, beyond_px: float) -> float:
        """Carry a short way along a tracing line down to the landing line, px along it."""
        return float(beyond_px / self._part_of_throw(line, 0.0))

    def place_on(self, line: int, landing_px: FloatArray, lift: FloatArray | float = 0.0) -> FloatArray:
        """Where the jet that lands at `landing_px` crosses a tracing line, px along it."""
        return np.asarray(self.zero_px + (landing_px - self.zero_px) * self._part_of_throw(line, lift))

    def _part_of_throw(self, line: int, lift: FloatArray | float) -> FloatArray:
        return np.asarray(np.sqrt(np.clip(1.0 - self.above[line] - lift, 0.05, 1.0)))


def jet_lines(landing: Segment, orifice: Pixel, throw_zero: Pixel | None) -> JetLines:
    """Lay the tracing lines over the landing line.

    Parameters
    ----------
    landing : the landing line
    orifice : centre of the orifice, px
    throw_zero : where the throw counts from, px; None: the foot of the orifice on the landing line
    """
    step = landing.direction
    normal = np.array([-step[1], step[0]])
    up = float(np.dot(np.subtract(orifice, landing.start), normal))
    zero = landing.along(np.asarray([throw_zero if throw_zero is not None else orifice], dtype=np.float64))[0]

    def line(name: str, part: float, first: float, last: float, most: int | None = None) -> StripLine:
        ends = landing.at(np.array([first, last])) + part * up * normal
        # The jet is far brighter than the noise: averaging across would cost time and gain nothing.
        segment = Segment(*(Pixel(*end) for end in ends.tolist()))
        return StripLine(name, segment, across_px=1.0, most_frames=most)

    length = landing.length_px
    lines = tuple(line(f"jet {index + 1}", part, 0.0, length) for index, part in enumerate(_FRACTIONS))
    far = length if zero < length / 2 else 0.0
    spans = []
    for part in _UPPER:
        reach = (far - zero) * float(np.sqrt(1.0 - part)) * _PAST
        spans.append(sorted((zero + 0.02 * reach, zero + reach)))
    upper = tuple(
        line(f"jet's path {index + 1}", part, span[0], span[1], TRACED_FRAMES)
        for index, (part, span) in enumerate(zip(_UPPER, spans, strict=True))
    )
    return JetLines(
        lines,
        _FRACTIONS,
        float(zero),
        (float(up * normal[0]), float(up * normal[1])),
        upper,
        _UPPER,
        tuple(float(span[0]) for span in spans),
    )
