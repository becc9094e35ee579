"""A reading that a person took out is not brought back by a search."""

from __future__ import annotations

from calibration import Pixel
from measure_app.edits import AdoptFound
from measure_app.extras import SetAside, frames_set_aside
from measure_app.run import By, ClipPart, Reading, Run, Spot


def test_a_search_leaves_frames_set_aside_alone() -> None:
    spot = Spot(px=Pixel(1.0, 2.0), px_u=0.1, by=By.FOUND)
    found = tuple(Reading(frame=frame, surface=spot) for frame in range(3))
    run = AdoptFound(found).apply(Run(clip=ClipPart(path="film.mp4")))
    run = SetAside((1,), "a splash on the wall").apply(run)
    assert frames_set_aside(run) == {1}
    again = AdoptFound(found).apply(run)
    assert [reading.frame for reading in again.readings if reading.surface is not None] == [0, 2]
