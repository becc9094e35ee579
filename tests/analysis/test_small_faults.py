"""Facts that small faults in formulas would break."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from analysis import Estimate, water_at
from analysis.slopes import _usable_u_y


@pytest.mark.parametrize(("t", "density"), [(4.0, 999.9749), (20.0, 998.2067), (25.0, 997.0470)])
def test_density_of_water_as_published(t: float, density: float) -> None:
    """Table of Tanaka and others (2001); the three values are given from memory."""
    assert water_at(t).density == pytest.approx(density, abs=2e-4)


def test_interval_in_the_logarithm_for_a_small_uncertainty_is_the_symmetric_one() -> None:
    estimate = Estimate(10.0, np.zeros((1, 1)), {"a": 1e-3})
    assert estimate.log_interval_95 == pytest.approx(estimate.interval_95, abs=1e-6)


def test_errors_of_y_are_lifted_to_a_hundredth_of_the_hypotenuse() -> None:
    points = SimpleNamespace(y_u=np.array([0.0, 0.1]), x_u=np.array([3.0, 3.0]))
    lifted = _usable_u_y(points, -4.0)  # type: ignore[arg-type]
    assert lifted == pytest.approx([0.12, 0.01 * np.hypot(0.1, 12.0)], rel=1e-9)
