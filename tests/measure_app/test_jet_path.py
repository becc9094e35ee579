"""The traced jet is kept in the run, read back with care, and used by the one pipeline."""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
import pytest

from measure_app.finders import JetTrace
from measure_app.jet_path import JET, AdoptJet, trace_of
from measure_app.own_extra import KEY
from measure_app.packs.rescaling import Rescaling, rescaled, scaled_back
from measure_app.run import ClipPart, Run


def trace() -> JetTrace:
    px = np.arange(24.0).reshape(3, 4, 2)
    u = np.full((3, 4), 0.1)
    px[1, 2], u[1, 2] = np.nan, np.nan
    return JetTrace(np.array([4, 14, 24]), px, u, 6.5)


def test_a_trace_comes_back_from_the_file() -> None:
    run = Run(clip=ClipPart(path="film.mp4"), extra={"other": 1, KEY: {"notes": "kept"}})
    kept = AdoptJet(trace()).apply(run)
    again = msgspec.json.decode(msgspec.json.encode(kept), type=Run)
    got = trace_of(again)
    assert got is not None
    np.testing.assert_array_equal(got.frames, trace().frames)
    np.testing.assert_array_equal(got.px, trace().px)
    np.testing.assert_array_equal(got.u_px, trace().u_px)
    assert got.width_px == 6.5
    assert kept.extra["other"] == 1
    assert kept.extra[KEY]["notes"] == "kept"
    assert AdoptJet(None).apply(kept) == run


@pytest.mark.parametrize(
    "spoiled",
    [
        {"width_px": "6"},
        {"width_px": 1e300},
        {"lines": 10**9},
        {"lines": True},
        {"stretches": []},
        {"stretches": 5},
        {"stretches": [{"frame": -1, "line_x_y_u_px": []}]},
        {"stretches": [{"frame": 2**60, "line_x_y_u_px": []}]},
        {"stretches": [{"frame": 1, "line_x_y_u_px": [[9, 1.0, 1.0, 0.1]]}]},
        {"stretches": [{"frame": 1, "line_x_y_u_px": [[0, None, 1.0, 0.1]]}]},
        {"stretches": [{"frame": 1, "line_x_y_u_px": [[0, 1.0, 1.0, 0.0]]}]},
        {"stretches": [{"frame": 9, "line_x_y_u_px": []}, {"frame": 3, "line_x_y_u_px": []}]},
    ],
)
def test_what_is_misshapen_is_passed_over(spoiled: dict[str, Any]) -> None:
    run = AdoptJet(trace()).apply(Run(clip=ClipPart(path="film.mp4")))
    bad = msgspec.structs.replace(run, extra={KEY: {JET: {**run.extra[KEY][JET], **spoiled}}})
    assert trace_of(bad) is None
    assert trace_of(msgspec.structs.replace(run, extra={KEY: 3})) is None


def test_the_trace_follows_its_run_to_a_picture_of_another_size() -> None:
    run = AdoptJet(trace()).apply(Run(clip=ClipPart(path="film.mp4")))
    how = Rescaling(scale=0.5, left_px=4)
    small = trace_of(rescaled(run, how))
    assert small is not None
    assert small.px[0, 0] == pytest.approx([(0.0 + 4.5) * 0.5 - 0.5, (1.0 + 0.5) * 0.5 - 0.5])
    assert small.width_px == pytest.approx(3.25)
    again = trace_of(scaled_back(rescaled(run, how), how))
    assert again is not None
    np.testing.assert_allclose(again.px, trace().px, atol=2e-3)
