"""Why a run is off, in the window: suspects with their checks, nothing where nothing is off."""

from __future__ import annotations

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from analysis import findings_of
from measure_app.gui.panels.diagnosis_view import DiagnosisView
from measure_app.report import why_off
from measure_app.report.improving import advice_for
from tests.analysis.faults import FAULTS, faulty_run
from tests.analysis.simulated import simulated_run


def test_a_planted_fault_is_told_with_its_check_and_a_sound_run_tells_none(qtbot: QtBot) -> None:
    view = DiagnosisView()
    qtbot.addWidget(view)
    assert not view.why.isVisibleTo(view)
    run = faulty_run(np.random.default_rng(4), FAULTS[6])
    view.show_findings(findings_of(run.series, run.conditions))
    assert view.why.isVisibleTo(view)
    assert "head zero: the hole's centre would have to be" in view.why_words.text()
    assert "Check: mark the hole's upper and lower edge" in view.why_words.text()
    assert "Cv = " in view.improve_words.text()
    sound = simulated_run(np.random.default_rng(3))
    view.show_findings(findings_of(sound.series, sound.conditions))
    assert not view.why.isVisibleTo(view)
    assert view.improve.isVisibleTo(view)
    view.show_findings(None)
    assert not view.improve.isVisibleTo(view)


def test_what_helps_names_the_field_that_takes_it(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    view = DiagnosisView()
    qtbot.addWidget(view)
    helps = advice_for("launch angle")
    assert "orifice.launch_angle_deg" in helps
    monkeypatch.setattr(why_off, "improvement_lines", lambda *_, **__: (helps,))
    sound = simulated_run(np.random.default_rng(3))
    view.show_findings(findings_of(sound.series, sound.conditions))
    place = "give it as “Launch angle of the jet, upwards positive” (step Datum › Orifice)"
    assert view.improve_words.text().endswith(place)
