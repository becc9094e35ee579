"""The one place where the run changes: undo of every edit, gestures, refusals, blind reading."""

from __future__ import annotations

import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PySide6.QtWidgets import QApplication

from calibration import Pixel
from measure_app import edits
from measure_app.errors import EditRefused
from measure_app.gui.document import FEWEST_STEPS, LARGEST_HISTORY, MOST_STEPS, Document
from measure_app.run import By, ClipPart, Reading, Run, Spot
from tests.measure_app import strategies


def _document(run: Run | None = None) -> Document:
    document = Document()
    document.open(run or Run(clip=ClipPart(path="film.mp4")), None)
    return document


def _all_edits() -> list[type[edits.Edit]]:
    return [kind for kind in vars(edits).values() if isinstance(kind, type) and issubclass(kind, edits.Edit)][
        1:
    ]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(strategies.any_edit, min_size=1, max_size=6))
def test_undo_leads_back_step_by_step_whatever_was_done(qapp: QApplication, made: list[edits.Edit]) -> None:  # noqa: ARG001
    document = _document()
    runs = [document.run]
    for edit in made:
        document.perform(edit)
        if document.run != runs[-1]:
            runs.append(document.run)
    assert document.stack.count() == len(runs) - 1
    for run in reversed(runs):
        assert document.run == run
        document.stack.undo()
    for run in runs:
        assert document.run == run
        document.stack.redo()


def test_every_kind_of_edit_has_a_name_for_undo() -> None:
    labels = [kind.label for kind in _all_edits()]
    assert len(labels) > 20
    assert len(set(labels)) == len(labels)


def test_a_refused_edit_changes_nothing_and_says_why(qapp: QApplication) -> None:  # noqa: ARG001
    document = _document()
    heard: list[EditRefused] = []
    document.refused.connect(heard.append)
    before = document.run
    assert not document.perform(edits.SetPart(10, 5))
    assert document.run is before
    assert document.stack.count() == 0
    assert "greater than start_frame" in heard[0].words


def test_edits_of_one_gesture_are_one_step_and_leading_back_leaves_none(qapp: QApplication) -> None:  # noqa: ARG001
    document = _document()
    gesture = document.new_gesture()
    for title in ("a", "b", "c"):
        document.perform(edits.SetTitle(title), gesture=gesture)
    assert document.stack.count() == 1
    document.perform(edits.SetTitle(""), gesture=gesture)
    assert document.stack.count() == 0
    assert document.stack.isClean()


def test_an_edit_that_changes_nothing_is_no_step(qapp: QApplication) -> None:  # noqa: ARG001
    document = _document()
    assert document.perform(edits.SetTitle(""))
    assert document.stack.count() == 0


def test_only_so_many_steps_are_kept_and_what_fell_off_leaves_the_run_unsaved(qapp: QApplication) -> None:  # noqa: ARG001
    document = _document()
    for i in range(MOST_STEPS + 7):
        document.perform(edits.SetTitle(f"title {i}"))
    assert document.stack.count() == MOST_STEPS
    while document.stack.canUndo():
        document.stack.undo()
    assert document.run is not None
    assert document.run.title == "title 6"
    # The run as it was opened cannot be come back to: leaving has to ask.
    assert not document.stack.isClean()


def test_a_long_film_has_fewer_steps_so_that_their_lists_stay_within_a_bound(qapp: QApplication) -> None:  # noqa: ARG001
    spot = Spot(px=Pixel(1.0, 2.0), px_u=0.5, by=By.FOUND)
    document = _document(
        Run(
            clip=ClipPart(path="film.mp4"),
            readings=tuple(Reading(frame=i, surface=spot) for i in range(200_000)),
        )
    )
    steps = document.stack.undoLimit()
    assert FEWEST_STEPS < steps < MOST_STEPS
    assert 0.9 * LARGEST_HISTORY < steps * sys.getsizeof(document.run.readings) < 1.1 * LARGEST_HISTORY
    document.open(Run(clip=ClipPart(path="film.mp4")), None)
    assert document.stack.undoLimit() == MOST_STEPS


@pytest.mark.parametrize("by", list(By))
def test_blind_reading_hides_what_was_there_and_shows_what_is_read_now(qapp: QApplication, by: By) -> None:  # noqa: ARG001
    document = _document()
    old = Spot(px=Pixel(1.0, 2.0), px_u=0.5, by=by)
    document.perform(edits.SetSurface(3, old))
    document.set_blind(True)
    assert not document.shows(3, old)
    new = Spot(px=Pixel(1.0, 3.0), px_u=0.5, by=By.HAND)
    document.perform(edits.SetSurface(4, new))
    assert document.shows(4, new)
    document.set_blind(False)
    assert document.shows(3, old)
