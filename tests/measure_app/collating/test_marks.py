"""Marks by criteria that a teacher sets."""

from __future__ import annotations

import numpy as np
import pytest

from measure_app.collating import CriteriaError, load_criteria
from measure_app.collating.marks import Coefficient, Criteria, Places, Scale, Weighted, Work, marks_of


def work(**changes) -> Work:
    given = {
        "deviations_px": {"surface": np.array([0.5, -3.0, 4.5, 9.0, np.nan]), "landing": None},
        "read": (9, 12),
        "scale_errors": (0.01, -0.03),
        "cv_error": 0.01,
        "answered": (1, 4),
    }
    return Work(**(given | changes))


def test_a_reading_fades_between_one_and_two_tolerances():
    marks = marks_of(work(), Criteria(surface=Places(40.0, 3.0)))
    assert marks.items["surface"] == pytest.approx(40 * (1 + 1 + 0.5 + 0) / 4)


def test_criteria_that_do_not_apply_take_nothing_away():
    marks = marks_of(work(), Criteria(surface=Places(10.0, 100.0), landing=Places(90.0, 3.0)))
    assert marks.items["landing"] is None
    assert (marks.total, marks.most, marks.percent) == (10.0, 10.0, 100.0)


def test_every_criterion_counts_by_its_weight():
    criteria = Criteria(
        complete=Weighted(8.0), setup=Scale(10.0, 2.0), cv=Coefficient(6.0, 0.02), questions=Weighted(4.0)
    )
    marks = marks_of(work(), criteria)
    assert marks.items == pytest.approx({"complete": 6.0, "setup": 5.0, "cv": 6.0, "questions": 1.0})


def test_what_an_observer_does_not_have_gets_nothing():
    criteria = Criteria(setup=Scale(10.0, 2.0), cv=Coefficient(6.0, 0.02))
    marks = marks_of(work(scale_errors=(), cv_error=np.nan), criteria)
    assert (marks.total, marks.most) == (0.0, 16.0)


def test_criteria_are_read_from_toml(tmp_path):
    path = tmp_path / "criteria.toml"
    path.write_text("[surface]\nweight = 40\ntolerance_px = 2.5\n[questions]\nweight = 5\n", encoding="utf-8")
    assert load_criteria(path) == Criteria(surface=Places(40, 2.5), questions=Weighted(5))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[surface]\nweight = 1\ntolerence_px = 2\n", "did you mean tolerance_px"),
        ("[surface]\nweight = -1\ntolerance_px = 2\n", "weight"),
        ("[surface]\nweight = nan\ntolerance_px = 2\n", "weight"),
        ("[surface]\nweight = 1\ntolerance_px = inf\n", "tolerance_px"),
        ("[neatness]\nweight = 1\n", "no such criterion"),
        ("surface", "not TOML"),
        ("", "no criterion"),
    ],
)
def test_a_slip_in_the_criteria_is_named(tmp_path, text, words):
    path = tmp_path / "criteria.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CriteriaError, match=words):
        load_criteria(path)


def test_a_criterion_that_there_is_not_is_refused_with_those_that_there_are(tmp_path):
    path = tmp_path / "criteria.toml"
    path.write_text("[marks]\nsurface = 10\n")
    with pytest.raises(
        CriteriaError, match=r"marks: there is no such criterion; there are surface, landing, .*cv, questions"
    ):
        load_criteria(path)
    path.write_text("[surface]\nweight = 3\ntolerance = 2\n")
    with pytest.raises(CriteriaError, match="tolerance"):
        load_criteria(path)
