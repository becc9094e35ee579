"""Why a run is off: planted faults are found, sound runs are left alone, and what is alike is said to be."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from analysis import Diagnosis, Findings, Shape, Suspect, findings_of
from analysis.basis import basis_of
from analysis.suspect_trials import MOST_GROUPS, Wrong, bench_of
from tests.analysis.faults import FAULTS, SOUND, Fault, faulty_run, walled
from tests.analysis.simulated import Simulated, simulated_run


def _diagnosed(fault: Fault, seed: int) -> tuple[Simulated, Findings, Diagnosis]:
    """Draw runs until one is told to be off."""
    for i in range(20):
        run = faulty_run(np.random.default_rng([seed, i]), fault)
        findings = findings_of(run.series, run.conditions)
        if findings.diagnosis is not None:
            return run, findings, findings.diagnosis
    raise AssertionError(f"no run with {fault.name} was told of")


def _suspect(diagnosis: Diagnosis, name: str) -> Suspect:
    return next(each for group in diagnosis.groups for each in group if each.name == name)


@pytest.mark.parametrize("fault", FAULTS[:17], ids=lambda fault: fault.name)
def test_a_planted_fault_stands_in_the_first_group_and_is_never_acquitted(fault: Fault) -> None:
    _, _, diagnosis = _diagnosed(fault, 31)
    assert fault.name in {each.name for each in diagnosis.groups[0]}
    assert _suspect(diagnosis, fault.name).shape is not Shape.SPEAKS_AGAINST
    assert not diagnosis.unexplained


@pytest.mark.parametrize("name", SOUND)
def test_sound_runs_get_no_diagnosis(name: str) -> None:
    scenario, wall = SOUND[name]
    for i in range(4):
        run = walled(simulated_run(np.random.default_rng([32, i]), scenario), wall)
        assert findings_of(run.series, run.conditions).diagnosis is None


def _moved(seed: int, **by: float) -> Diagnosis:
    """Add lengths to the columns of a sound run."""
    run = walled(simulated_run(np.random.default_rng(seed), SOUND["sound, thin wall"][0]), 1e-3)
    changed = {}
    for name, size in by.items():
        column = getattr(run.series, name)
        changed[name] = replace(column, values=column.values + size, own_u=column.own_u.copy())
    diagnosis = findings_of(replace(run.series, **changed), run.conditions).diagnosis
    assert diagnosis is not None
    return diagnosis


@pytest.mark.parametrize("size", [-0.010, 0.012])
def test_a_wrong_head_zero_is_sized_with_its_sign(size: float) -> None:
    # A head read too large by δ means that the true centre lies δ above the marked one: truth less stated is -δ.
    found = _suspect(_moved(5, head=size), "head zero")
    assert found.unit == "mm"
    assert abs(found.size + 1e3 * size) < 4.0 * found.size_u + 1.0
    assert found.size_u < 1.5
    assert found.shape is Shape.SUPPORTS
    assert ("below" if found.size > 0.0 else "above") in found.says
    assert found.stated_u is not None
    assert found.ratio == pytest.approx(abs(found.size) / found.stated_u)


@pytest.mark.parametrize("size", [-0.02, 0.025])
def test_a_wrong_throw_zero_is_sized_with_its_sign(size: float) -> None:
    found = _suspect(_moved(6, throw=size), "throw zero")
    assert abs(found.size + 1e3 * size) < 4.0 * found.size_u
    assert found.shape is Shape.SUPPORTS


def test_what_leaves_a_line_through_the_origin_cannot_be_told_apart() -> None:
    # x² = 4 y₀ Cv² h: drop, scale of the throws and scale of the heads move the slope alone.
    first = _moved(7, drop=0.08).groups[0]
    names = {each.name for each in first}
    assert {"drop", "throw scale", "tape in another plane than the jet"} <= names
    assert all(each.shape is Shape.SILENT for each in first)


def test_a_film_of_water_cannot_lengthen_throws() -> None:
    run = _moved(7, drop=-0.08)
    film = _suspect(run, "wet landing")
    assert film.explains == 0.0
    assert "other way" in film.says
    assert film not in run.groups[0]


def test_a_suspect_of_which_nothing_was_stated_says_so() -> None:
    angle = _suspect(_diagnosed(FAULTS[10], 3)[2], "launch angle")
    assert angle.stated_u is None
    assert angle.ratio is None
    assert "no uncertainty was stated" in angle.says


def test_the_laws_of_the_trials_are_those_of_the_fits() -> None:
    run = simulated_run(np.random.default_rng(8))
    basis = basis_of(run.series, run.conditions)
    bench = bench_of(basis)
    assert bench is not None
    assert basis.throws is not None
    assert basis.drain is not None
    sound = bench.solved(None, 1.0, bench.cv, bench.cd).misfit_of_shape
    # χ² of so many readings less three parameters; far off, the laws or their errors would be wrong.
    spare = bench.n_readings - 3
    assert 0.3 * spare < sound < spare + 5.0 * math.sqrt(2.0 * spare)
    theta = np.array([basis.throws.value("cv"), basis.drain.value("root_h0"), basis.drain.value("k")])
    misses = bench.whiten_shape @ bench.misses(theta, Wrong(), None, None)[: bench.n_readings]
    assert float(misses @ misses) < sound + 3.0 * math.sqrt(spare)


def test_a_search_that_strays_past_every_float_comes_back_with_numbers() -> None:
    run = simulated_run(np.random.default_rng(8))
    bench = bench_of(basis_of(run.series, run.conditions))
    assert bench is not None
    assert bench.cd is not None
    for flow in (1e3, 1e6, -1e6):
        assert np.isfinite(bench.misses(bench.start, Wrong(flow=flow), bench.cv, bench.cd)).all()


def test_pseudo_readings_say_what_all_readings_say(monkeypatch: pytest.MonkeyPatch) -> None:
    run, _, short = _diagnosed(FAULTS[6], 33)
    assert run.series.kept.shape[0] > 2 * MOST_GROUPS
    monkeypatch.setattr("analysis.suspect_trials.MOST_GROUPS", 10_000)
    whole = findings_of(run.series, run.conditions).diagnosis
    assert whole is not None
    assert {each.name for each in whole.groups[0]} == {each.name for each in short.groups[0]}
    for each in short.groups[0]:
        assert abs(each.size - _suspect(whole, each.name).size) < 0.3 * each.size_u


def test_a_diagnosis_is_made_once_and_only_when_asked_for() -> None:
    _, findings, _ = _diagnosed(FAULTS[0], 34)
    began = time.perf_counter()
    again = findings.diagnosis
    assert again is findings.diagnosis
    assert time.perf_counter() - began < 0.005


def test_readings_that_are_next_to_nothing_are_no_reason_to_fall() -> None:
    run = simulated_run(np.random.default_rng(9))
    for rows in (1, 2, 3, 4, 5):
        kept = np.zeros(run.series.kept.shape[0], dtype=bool)
        kept[:rows] = True
        for series in (
            replace(run.series, kept=kept),
            replace(run.series, kept=kept, throw=None),
            replace(run.series, kept=kept, time_s=None),
        ):
            findings = findings_of(series, replace(run.conditions, orifice_diameter_m=0.002))
            assert findings.diagnosis is None or findings.diagnosis.triggers


@pytest.mark.parametrize("size", [-0.10, 0.12])
def test_a_container_that_widens_is_sized_with_its_sign(size: float) -> None:
    fault = next(each for each in FAULTS if each.name == "container not equally wide")
    run = simulated_run(np.random.default_rng(12), fault.scenario)
    run = walled(fault.spoil(run, size), fault.wall_m)
    diagnosis = findings_of(run.series, run.conditions).diagnosis
    assert diagnosis is not None
    found = _suspect(diagnosis, fault.name)
    assert abs(found.size - 100.0 * size) < 4.0 * found.size_u + 1.0
