"""A sound film spoiled on purpose: what cannot be seen is refused, and nothing is made up."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import pytest

from measure_app.clip import open_clip
from measure_app.measuring import Search, search
from measure_app.runfile import load_run
from tests.benchmarks import hazards as rendered
from tests.benchmarks.finding import truths
from tests.benchmarks.overlays import BENCH, figures, hazards
from tests.spoiled import Hazard, Spoiled


@cache
def spoiled_search(name: str) -> tuple[Search, Hazard, dict[str, Any]]:
    run = load_run(BENCH)
    truth = json.loads(BENCH.with_name("bench.truth.json").read_text(encoding="utf-8"))
    places = truths(run, truth["frames"])
    with open_clip(BENCH.parent / run.clip.path) as clip:
        hazard = hazards(run, clip, places)[name]()
        return search(run, Spoiled(clip, hazard)), hazard, places


@pytest.mark.parametrize(
    ("name", "surface_rms", "landing_rms"),
    [
        ("hand on the container", 0.2, 0.6),
        ("hand on the landing", 0.2, 0.6),
        ("bump 5 px", 0.3, 0.8),
        ("camera sinks 4 px", 0.3, 0.9),
        ("glare", 0.3, 0.6),
        ("exposure drift", 0.2, 0.6),
        ("droplets", 0.3, 0.6),
    ],
)
def test_spoiled_films_give_true_readings_or_none(name: str, surface_rms: float, landing_rms: float) -> None:
    found, hazard, places = spoiled_search(name)
    assert found.surface is not None
    assert found.landing is not None
    nothing = np.zeros(len(found.surface.frames), dtype=bool)
    for part, track, key, least, rms in (
        ("surface", found.surface, "surface", 1.0, surface_rms),
        ("landing", found.landing, "landing_seen", 3.0, landing_rms),
    ):
        got = figures(track, places[key], hazard.hidden.get(part, nothing), least)
        assert got["found"] > 0.9, part
        assert got["wrong"] == 0.0, part
        assert got["rms"] < rms, part


def test_a_camera_that_stood_still_is_left_alone_and_one_that_moved_is_followed() -> None:
    still, _, _ = spoiled_search("none")
    assert not still.drift.moved
    bumped, _, _ = spoiled_search("bump 5 px")
    assert bumped.drift.moved
    # The picture ends 4 px to the left and 3 px down of where it was: all of it alike, which no camera that
    # turns does.
    assert np.median(bumped.drift.right_px[-60:]) == pytest.approx(-4.0, abs=0.5)
    assert np.median(bumped.drift.down_px[-60:]) == pytest.approx(3.0, abs=0.2)
    assert np.abs(bumped.drift.right_px[:100]).max() < 0.15


def test_the_benchmark_tells_bias_from_scatter() -> None:
    rng = np.random.default_rng(1)
    own = rng.normal(0.0, 0.2, 4000)
    n = len(own)
    seen = rendered.Seen(own + 0.3, np.full(n, np.hypot(0.1, 0.15)), np.ones(n), 1.0, np.full(n, 0.1), 0.15)
    bias, scatter, whole = rendered.ratios(seen) or (0.0, 0.0, 0.0)
    assert bias == pytest.approx(2.0, abs=0.1)
    assert scatter == pytest.approx(2.0, abs=0.1)
    assert whole == pytest.approx(2.0, abs=0.1)
    names = [name for name, _ in rendered.pools({"none": [], "hand": [], "hand+label": []})]
    assert names == ["*all*", "*without a hazard*", "*one hazard*", "*several hazards*"]
