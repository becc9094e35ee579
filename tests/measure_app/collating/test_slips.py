"""Systematic faults: named where they are, nobody accused where there are none. Rates in a simulated class."""

from __future__ import annotations

import numpy as np
import pytest

from measure_app.collating.class_key import PARTS, Reference, Source, reference_from_class
from measure_app.collating.setup_facts import GraduationFact, SetupFacts
from measure_app.collating.setup_slips import setup_faults, unit_words
from measure_app.collating.slips import Fault, Ground, Slip, reading_faults, spread_of
from measure_app.finders import Part
from measure_app.packs import shares_of
from tests.measure_app.collating.simulated_class import (
    WIDTH,
    halved,
    lines,
    mirrored,
    other_edge,
    read_by_a_student,
    swapped,
    truth,
)

EVERY = np.arange(300.0)


def read_class(rng, students, changes=None, *, with_key=True):
    """Faults found in a class; `changes` maps a student to the fault that is made."""
    shares = [np.array(f) for f in shares_of(0, 300, students).frames]
    places = []
    for i, frames in enumerate(shares):
        change = (changes or {}).get(i)
        if isinstance(change, int):
            places.append(read_by_a_student(rng, np.clip(frames + change, 0, 299)))
        else:
            read = read_by_a_student(rng, frames)
            places.append(change(read) if change else read)
    references = {}
    for part in PARTS:
        if with_key:
            along = lines()[part].along(truth()[part]) + rng.normal(
                0, 0.1 if part is Part.SURFACE else 0.5, 300
            )
            references[part] = Reference(Source.KEY, EVERY, along)
        else:
            alongs = [lines()[part].along(each[part]) for each in places]
            references[part] = reference_from_class([f.astype(float) for f in shares], alongs, EVERY)
    spreads = {
        part: spread_of(
            [
                lines()[part].along(p[part]) - references[part].at(f)
                for f, p in zip(shares, places, strict=True)
            ]
        )
        for part in PARTS
    }
    ground = Ground(lines(), references, spreads, WIDTH)
    return [reading_faults(f, p, ground) for f, p in zip(shares, places, strict=True)]


def grave(faults: tuple[Fault, ...]) -> list[Slip]:
    return [fault.slip for fault in faults if fault.slip is not Slip.STRAY]


@pytest.mark.parametrize("with_key", [True, False])
@pytest.mark.parametrize(("students", "classes", "most"), [(4, 60, 0.02), (8, 40, 0.01), (30, 12, 0.003)])
def test_careful_observers_are_not_accused(students, classes, most, with_key):
    """At most 2 % of four, 1 % of eight, 0.3 % of thirty, where nobody slips."""
    rng = np.random.default_rng(17)
    accused = [bool(grave(f)) for _ in range(classes) for f in read_class(rng, students, with_key=with_key)]
    assert np.mean(accused) <= most


@pytest.mark.parametrize("with_key", [True, False])
@pytest.mark.parametrize(
    ("change", "slip"),
    [
        (swapped, Slip.SWAPPED),
        (mirrored, Slip.MIRRORED),
        (halved, Slip.PICTURE_SIZE),
        (other_edge(8.0), Slip.EDGE),
        (other_edge(-8.0), Slip.EDGE),
        (12, Slip.FRAMES),
        (-25, Slip.FRAMES),
    ],
)
def test_a_fault_is_named_and_nobody_else_is(change, slip, with_key):
    rng = np.random.default_rng(5)
    for _ in range(3):
        found = read_class(rng, 30, {7: change}, with_key=with_key)
        assert grave(found[7]) == [slip]
        assert not any(grave(each) for i, each in enumerate(found) if i != 7)


def test_an_edge_is_told_with_its_size_and_side():
    found = read_class(np.random.default_rng(2), 30, {0: other_edge(9.0)})[0]
    assert found[0].size == pytest.approx(9.0, abs=2.0)
    assert "too low" in found[0].says
    assert found[0].part is Part.SURFACE


def test_a_shift_of_frames_is_told_within_two():
    found = read_class(np.random.default_rng(3), 30, {0: -20})[0]
    assert found[0].size == pytest.approx(-20, abs=2)
    assert "earlier" in found[0].says


def test_one_stray_reading_is_named_by_its_frame_and_accuses_of_nothing_else():
    def change(places):
        surface = places[Part.SURFACE].copy()
        surface[4, 1] += 40.0
        return {**places, Part.SURFACE: surface}

    frame = shares_of(0, 300, 30).frames[0][4]
    found = read_class(np.random.default_rng(4), 30, {0: change})[0]
    assert [fault.slip for fault in found] == [Slip.STRAY]
    assert f"frame {frame}" in found[0].says


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (10.0, "×10"), (0.1, "÷10"), (25.4, "×25.4"), (1 / 25.4, "÷25.4"), (2.54, "×2.54"), (100.0, "×100"),
        (0.01, "÷100"), (1000.0, "×1000"), (10.2, "×10"), (1.0, ""), (3.0, ""), (1.9, ""),
    ],
)  # fmt: skip
def test_unit_slips_have_names(ratio, words):
    said = unit_words(ratio)
    assert (words in said) if words else said == ""


def facts(**changes) -> SetupFacts:
    nothing = {Part.SURFACE: 1.0, Part.LANDING: 1.0}
    given = {
        "same": False, "scale": nothing, "offset_m": dict.fromkeys(PARTS, 0.0), "drop": 1.0,
        "orifice_px": (0.0, 0.0), "graduations": (), "missing": "",
    }  # fmt: skip
    return SetupFacts(**(given | changes))


def test_a_careful_set_up_is_not_accused():
    assert (
        setup_faults(
            facts(scale={Part.SURFACE: 1.008, Part.LANDING: 0.994}, drop=0.995, orifice_px=(2.0, -2.0))
        )
        == ()
    )


@pytest.mark.parametrize(
    ("changes", "slip", "words"),
    [
        ({"scale": {Part.SURFACE: 25.4, Part.LANDING: 1.0}}, Slip.UNIT, "millimetres taken for inches"),
        ({"scale": {Part.SURFACE: 1.0, Part.LANDING: 0.01}}, Slip.UNIT, "metres taken for centimetres"),
        ({"scale": {Part.SURFACE: 0.9, Part.LANDING: 1.0}}, Slip.SCALE, "0.9 times"),
        ({"scale": {Part.SURFACE: -1.0, Part.LANDING: 1.0}}, Slip.SCALE, "wrong way round"),
        ({"drop": 0.1}, Slip.UNIT, "the drop"),
        ({"drop": 1.1}, Slip.DROP, "1.1 times"),
        ({"orifice_px": (0.0, 9.0)}, Slip.ORIFICE, "9 px too low"),
    ],
)  # fmt: skip
def test_faults_of_a_set_up_are_named(changes, slip, words):
    found = setup_faults(facts(**changes))
    assert [fault.slip for fault in found] == [slip]
    assert words in found[0].says
    assert not found[0].spoils_places


def test_a_wrong_graduation_is_named_with_both_values_whatever_the_zero():
    zero = 0.05
    marked = [0.10, 0.12, 0.15, 0.16, 0.18]
    real = [0.10, 0.12, 0.14, 0.16, 0.18]
    graduations = tuple(
        GraduationFact("upright", Part.SURFACE, m + zero, k) for m, k in zip(marked, real, strict=True)
    )
    found = setup_faults(facts(scale={Part.SURFACE: 1.02, Part.LANDING: 1.0}, graduations=graduations))
    assert [fault.slip for fault in found] == [Slip.GRADUATION]
    assert "20 cm stands where the key's rule reads 14.0 cm" in found[0].says
