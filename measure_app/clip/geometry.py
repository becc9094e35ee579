"""From the picture as coded to the picture as shown, and back: pixel aspect, turn and mirror, once."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_Picture = TypeVar("_Picture", bound=NDArray[Any])
"""An array of levels of one kind; turning it keeps the kind."""


@dataclass(frozen=True, slots=True)
class PlaneGeometry:
    """How a coded plane lies in the displayed frame.

    The coded plane is stretched along x by the pixel aspect, turned, then mirrored. Positions follow the one
    pixel convention: x right, y down, (0, 0) is the centre of the top-left pixel, in either picture. The
    stretch keeps the picture's left *edge*, so that x_stretched = (x + 0.5)·aspect − 0.5.
    """

    coded_width: int
    """Columns of the coded plane, px."""
    coded_height: int
    """Rows of the coded plane, px."""
    sample_aspect: Fraction = Fraction(1)
    """Width over height of one coded pixel."""
    quarter_turns: int = 0
    """Counter-clockwise quarter turns from coded to shown, 0 to 3, as in ``numpy.rot90``."""
    mirrored: bool = False
    """Whether left and right are exchanged after the turn."""

    @property
    def stretched_width(self) -> int:
        """Columns after the pixel aspect is applied, before the turn."""
        return max(1, round(self.coded_width * float(self.sample_aspect)))

    @property
    def displayed_width(self) -> int:
        """Columns of the displayed frame, px."""
        return self.coded_height if self.quarter_turns % 2 else self.stretched_width

    @property
    def displayed_height(self) -> int:
        """Rows of the displayed frame, px."""
        return self.stretched_width if self.quarter_turns % 2 else self.coded_height

    def to_displayed(self, coded: FloatArray) -> FloatArray:
        """Where positions on the coded plane are shown.

        Parameters
        ----------
        coded : (n, 2) float64
            Positions on the coded plane, px, columns x then y.

        Returns
        -------
        (n, 2) float64
            Positions in the displayed frame, px.
        """
        points = np.asarray(coded, dtype=np.float64)
        x = (points[..., 0] + 0.5) * float(self.sample_aspect) - 0.5
        y = points[..., 1]
        right, bottom = self.stretched_width - 1, self.coded_height - 1
        x, y = ((x, y), (y, right - x), (right - x, bottom - y), (bottom - y, x))[self.quarter_turns]
        if self.mirrored:
            x = self.displayed_width - 1 - x
        return np.stack([x, y], axis=-1)

    def to_coded(self, displayed: FloatArray) -> FloatArray:
        """Where positions of the displayed frame lie on the coded plane.

        Parameters
        ----------
        displayed : (n, 2) float64
            Positions in the displayed frame, px, columns x then y.

        Returns
        -------
        (n, 2) float64
            Positions on the coded plane, px; the exact inverse of `to_displayed`.
        """
        points = np.asarray(displayed, dtype=np.float64)
        x, y = points[..., 0], points[..., 1]
        if self.mirrored:
            x = self.displayed_width - 1 - x
        right, bottom = self.stretched_width - 1, self.coded_height - 1
        x, y = ((x, y), (right - y, x), (right - x, bottom - y), (y, bottom - x))[self.quarter_turns]
        return np.stack([(x + 0.5) / float(self.sample_aspect) - 0.5, y], axis=-1)

    def shown(self, coded: _Picture) -> _Picture:
        """Turn a coded picture into the displayed one.

        Parameters
        ----------
        coded : (coded_height, coded_width) or (coded_height, coded_width, channels), uint8 or uint16
            Picture as coded.

        Returns
        -------
        ndarray
            C-contiguous picture of (displayed_height, displayed_width); the very same memory where nothing
            has to be done. The pixel aspect is applied by linear interpolation.
        """
        picture: Any = coded
        if self.sample_aspect != 1:
            import cv2

            # fx, not a target size: the size would round the aspect, and the mapping with it
            picture = cv2.resize(
                np.ascontiguousarray(picture),
                None,
                fx=float(self.sample_aspect),
                fy=1.0,
                interpolation=cv2.INTER_LINEAR,
            )
        if self.quarter_turns:
            picture = np.rot90(picture, self.quarter_turns)
        if self.mirrored:
            picture = picture[:, ::-1]
        return cast("_Picture", np.ascontiguousarray(picture))
