"""Starting uncertainties."""

from __future__ import annotations

import math

import numpy as np
import pytest

from measure_app.gui.panels.instruments import (
    CALLIPER,
    STEEL_RULE,
    TAPE,
    area_of_circle,
    area_of_rectangle,
    radius_of_area,
)


def test_half_a_division_is_a_rectangle_of_that_half_width() -> None:
    # JCGM 100:2008, 4.3.7: u² = a²/3 for a rectangular distribution of half-width a.
    assert pytest.approx(0.5e-3 * math.sqrt(2 / 3), rel=0.02) == STEEL_RULE.u
    assert pytest.approx(0.05e-3 / math.sqrt(3), rel=0.02) == CALLIPER.u
    assert CALLIPER.u < STEEL_RULE.u < TAPE.u


def test_the_figure_in_the_sentence_is_the_figure() -> None:
    for instrument, says in ((STEEL_RULE, "0.41 mm"), (TAPE, "0.82 mm"), (CALLIPER, "0.029 mm")):
        assert says in instrument.why
        assert f"{1000 * instrument.u:.2g} mm" == says


def test_areas_carry_their_uncertainty_as_a_draw_of_many_would() -> None:
    rng = np.random.default_rng(7)
    area, u = area_of_circle(0.054, 0.0002)
    drawn = np.pi / 4 * rng.normal(0.054, 0.0002, 200_000) ** 2
    assert area == pytest.approx(drawn.mean(), rel=1e-3)
    assert u == pytest.approx(drawn.std(), rel=0.01)
    area, u = area_of_rectangle(0.1, 0.0003, 0.06, 0.0005)
    drawn = rng.normal(0.1, 0.0003, 200_000) * rng.normal(0.06, 0.0005, 200_000)
    assert area == pytest.approx(drawn.mean(), rel=1e-3)
    assert u == pytest.approx(drawn.std(), rel=0.01)


def test_the_radius_of_an_area_is_that_of_its_circle_and_as_unsure_as_a_draw_of_many() -> None:
    radius, u = radius_of_area(*area_of_circle(0.054, 0.0002))
    assert (radius, u) == pytest.approx((0.027, 0.0001))
    drawn = np.sqrt(np.random.default_rng(7).normal(2.2e-3, 3e-5, 200_000) / np.pi)
    assert radius_of_area(2.2e-3, 3e-5) == pytest.approx((drawn.mean(), drawn.std()), rel=0.01)
