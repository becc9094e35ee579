"""What a search keeps of the film, and what it lets go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from msgspec.structs import replace

from measure_app.clip import open_clip
from measure_app.measuring import search
from measure_app.runfile import load_run

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench"


def test_a_search_keeps_the_two_strips_that_are_shown_and_no_other() -> None:
    """A dozen and a half lines are read in one piece of memory; a kept view would hold all of it."""
    run = load_run(BENCH / "bench.run.json")
    run = replace(run, clip=replace(run.clip, stop_frame=run.clip.start_frame + 20))
    with open_clip(BENCH / "bench.mp4") as clip:
        found = search(run, clip)
    assert found.head_strip is not None
    assert found.throw_strip is not None
    for strip in (found.head_strip, found.throw_strip):
        base = strip.levels
        while isinstance(base.base, np.ndarray):
            base = base.base
        assert base.nbytes == strip.levels.nbytes == 20 * len(strip.line.along_px)
        assert strip.colour is None
        assert strip.levels.max() > strip.levels.min()
