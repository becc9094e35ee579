"""The water's free surface, seen from above beside its near edge, does not draw the place to it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from calibration import FloatArray
from measure_app.finders import find_surface
from measure_app.finders.edge import fit_edges
from measure_app.finders.lid import Lid, lid_of
from measure_app.finders.sight import light_of
from tests.measure_app.finders.drawn import falling, head_light, strip_of

AIR, WATER, BLUR = 0.45, 0.2, 1.1


def looked_down_on(places: FloatArray, length: int, share: float, lid: Lid) -> FloatArray:
    """Light of `head_light` with the band over the edge."""
    x = np.arange(length) - places[:, None]
    band = ndtr((x + lid.width(places)[:, None]) / (BLUR + 0.4)) - ndtr(x / BLUR)
    return head_light(places, length, blur=BLUR, air=AIR, water=WATER) + share * (WATER - AIR) * band


@pytest.mark.parametrize("share", [0.15, 0.3])
def test_the_band_is_told_and_does_not_draw_the_place(share: float) -> None:
    rng = np.random.default_rng(7)
    places = falling(150, 45.0, 210.0)
    lid = Lid(share, 0.05, 20.0)
    strip = strip_of(looked_down_on(places, 260, share, lid), 0.8, rng)
    sight = light_of(strip, falls_forward=True)
    fit = fit_edges(sight.rows(slice(None)), places, BLUR)
    told = lid_of(sight, fit, BLUR)
    assert told is not None
    assert told.share == pytest.approx(share, rel=0.5)
    assert told.width(places[-1:])[0] == pytest.approx(lid.width(places[-1:])[0], abs=1.5)
    track = find_surface(strip)
    assert track.found.mean() > 0.9
    error = (track.along_px - places)[track.found]
    alone = fit.place - places
    assert np.sqrt(np.mean(error**2)) < 0.5 * np.sqrt(np.mean(alone**2))
    u = np.hypot(track.own_u_px, track.shared_u_px)[track.found]
    assert np.mean(np.abs(error) < 2.0 * u) > 0.92


@pytest.mark.parametrize("seed", range(4))
def test_where_nothing_is_seen_of_it_nothing_is_told(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places = falling(150, 45.0, 210.0)
    room = 1.0 + 0.2 * np.cumsum(rng.normal(0.0, 0.02, 260))
    sight = light_of(strip_of(head_light(places, 260) * room, 0.8, rng), falls_forward=True)
    assert lid_of(sight, fit_edges(sight.rows(slice(None)), places, BLUR), BLUR) is None


def test_a_band_has_no_width_where_the_camera_is_below_the_edge() -> None:
    assert Lid(0.2, 0.1, 100.0).width(np.array([50.0, 100.0, 150.0])) == pytest.approx([0.0, 0.0, 5.0])
