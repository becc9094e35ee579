"""What found readings share to err by is kept with them, so that a run file gives the answer that the film gave."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from analysis import SURFACE_WANDER, wandering
from measure_app.clip import open_clip
from measure_app.errors import RunFileError
from measure_app.jet_path import AdoptSearch
from measure_app.outcome import measure, outcome_of
from measure_app.own_extra import KEY, with_own
from measure_app.packs.rescaling import Rescaling, rescaled, scaled_back
from measure_app.run import ClipPart, Run
from measure_app.runfile import load_run, save_run
from measure_app.series import EDGE_U_PX, JET_U_PX, SharedReading, _partly
from measure_app.shared_errors import SHARED, shared_of, with_shared

BARE = Run(clip=ClipPart(path="film.mp4"), extra={"other": 1, KEY: {"notes": "kept"}})


def test_what_is_kept_comes_back_and_goes_again() -> None:
    kept = with_shared(BARE, SharedReading(0.031, 0.083))
    again = msgspec.json.decode(msgspec.json.encode(kept), type=Run)
    assert shared_of(again) == SharedReading(0.031, 0.083)
    assert again.extra["other"] == 1
    assert again.extra[KEY]["notes"] == "kept"
    assert with_shared(kept, None) == BARE
    assert AdoptSearch((), None).apply(kept) == BARE


def test_a_run_that_keeps_none_has_the_usual_ones() -> None:
    assert shared_of(BARE) == SharedReading(EDGE_U_PX, JET_U_PX)
    half = with_own(BARE, SHARED, {"landing": 0.2})
    assert shared_of(half) == SharedReading(EDGE_U_PX, 0.2)


@pytest.mark.parametrize("spoiled", [3, [0.1], {"landing": -0.1}, {"landing": "1"}, {"landing": True}])
def test_what_is_misshapen_is_passed_over(spoiled: Any) -> None:
    assert shared_of(with_own(BARE, SHARED, spoiled)) == SharedReading()


def test_what_another_program_put_there_is_refused_by_name() -> None:
    with pytest.raises(RunFileError, match=r"extra\.clepsydra"):
        with_shared(msgspec.structs.replace(BARE, extra={KEY: 3}), SharedReading())


def test_it_follows_its_run_to_a_picture_of_another_size() -> None:
    kept = with_shared(BARE, SharedReading(0.03, 0.08))
    how = Rescaling(scale=0.5)
    assert shared_of(rescaled(kept, how)).landing_u_px == pytest.approx(0.04)
    assert shared_of(scaled_back(rescaled(kept, how), how)).surface_u_px == pytest.approx(0.03)
    assert rescaled(BARE, how).extra == BARE.extra


def test_a_saved_run_gives_every_uncertainty_that_measuring_gave(tmp_path: Path) -> None:
    sample = Path(__file__).parents[2] / "sample_clips" / "slow" / "slow.run.json"
    run = load_run(sample)
    with open_clip(sample.parent / run.clip.path, capture_rate_hz=run.clip.capture_rate_hz) as clip:
        measured = measure(run, clip)
        seconds, info = clip.stamps.seconds(), clip.info
    save_run(measured.run, tmp_path / "slow.run.json")
    derived = outcome_of(load_run(tmp_path / "slow.run.json"), seconds, info)
    assert measured.search is not None
    assert shared_of(derived.run) == measured.search.shared
    for name in ("surface_u_px", "landing_u_px", "head_u_m", "throw_u_m", "speed_u_m_s"):
        was = [getattr(row, name) for row in measured.rows if row.surface and row.landing]
        got = [getattr(row, name) for row in derived.rows if row.surface and row.landing]
        assert got == was, name
    assert np.median([row.landing_u_px for row in derived.rows if row.landing_u_px]) < 0.5 * JET_U_PX
    was = [(each.name, each.value, each.u) for each in measured.findings.findings]
    assert [(each.name, each.value, each.u) for each in derived.findings.findings] == was


def test_what_is_too_large_to_wander_stays_the_same_all_along() -> None:
    """Which edge of a band is the level is one question for a whole film; its variance is kept all the same."""
    places = np.linspace(20.0, 180.0, 50)
    for u_px in (0.1, 2.0):
        ways = _partly(np.full(50, u_px), places, SURFACE_WANDER, u_px)
        assert np.sum(ways**2, axis=0) == pytest.approx(np.full(50, u_px**2))
        assert np.sqrt(np.sum(ways[1:] ** 2, axis=0)).max() < 0.25
    assert _partly(np.full(50, 0.1), places, SURFACE_WANDER, 0.1) == pytest.approx(
        wandering(np.full(50, 0.1), places, SURFACE_WANDER)
    )
