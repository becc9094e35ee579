"""Facts that small faults in formulas would break."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.pixels import Pixel, Segment


def test_along_is_measured_from_the_start() -> None:
    segment = Segment(Pixel(10.0, 20.0), Pixel(13.0, 24.0))
    assert segment.along(np.array([[10.0, 20.0], [13.0, 24.0], [9.0, 27.0]])) == pytest.approx(
        [0.0, 5.0, 5.0]
    )
