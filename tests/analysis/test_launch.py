"""Which launch angle the fits begin from, said truly, and what a traced one would change."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis import Conditions, Findings, angle_words, findings_of, size_words
from tests.analysis.test_corrections import D, run

LEVEL = Conditions(
    orifice_diameter_m=D,
    launch_angle_deg=0.0,
    launch_angle_u_deg=0.48,
    traced_angle_deg=-0.40,
    traced_angle_u_deg=0.48,
)


def cv(findings: Findings) -> float:
    found = findings.finding("speed_coefficient")
    assert found is not None
    return found.value


def test_an_angle_that_nobody_stated_is_not_called_stated() -> None:
    traced = replace(LEVEL, launch_angle_deg=-2.0, launch_angle_u_deg=0.3, traced_angle_deg=-2.0)
    stated = replace(LEVEL, traced_angle_deg=None, traced_angle_u_deg=None)
    assert angle_words(stated) == "stated as (0.00 ± 0.48) °"
    assert angle_words(traced) == "none was stated; the jet was traced as (−2.00 ± 0.30) °"
    words = angle_words(LEVEL)
    assert "none was stated" in words
    assert "(−0.40 ± 0.48) °" in words
    assert words.endswith("taken as level, (0.00 ± 0.48) °")
    for conditions, kind in ((stated, "stated"), (traced, "traced"), (LEVEL, "taken as level")):
        found = findings_of(run(), conditions).finding("launch_angle_deg")
        assert found is not None
        assert kind in found.method
        assert found.remarks == (angle_words(conditions),)


def test_what_the_traced_angle_would_change_is_what_a_fit_with_it_changes() -> None:
    series = run(seed=3)
    level = findings_of(series, LEVEL)
    anew = cv(findings_of(series, replace(LEVEL, launch_angle_deg=-0.40))) - cv(level)
    size = next(each for each in level.corrections if each.name == "launch_angle")
    assert size.change_of("Cv") == 0.0
    foretold = next(each.change for each in size.instead if each.of == "Cv")
    assert foretold == pytest.approx(anew, rel=0.1)
    assert abs(anew) > 1e-4
    words = size_words(size)
    assert words.startswith("launch angle: applied; none was stated")
    assert "unchanged" not in words
    assert "the traced angle itself would change Cv +0.00" in words


def test_readings_that_lose_no_head_deny_the_model_of_the_thin_jet() -> None:
    def size(lost_m: float, **corrections: bool) -> str:
        from analysis import Corrections

        findings = findings_of(
            run(lost_m=lost_m), Conditions(orifice_diameter_m=D), corrections=Corrections(**corrections)
        )
        return next(size_words(each) for each in findings.corrections if each.name == "capillary")

    # 3.5 σ/(ρ g dj) of a jet of 3.2 mm is 8.1 mm (0.0728 N/m, IAPWS R1-76 at 20 °C).
    assert "the readings deny this size: they show a loss of (0.0" in size(0.0).replace("(−0.0", "(0.0")
    assert "the model takes (8.1 ± 1.2) mm" in size(0.0)
    assert "deny" not in size(0.0081)
    assert "deny" in size(0.0, capillary=True)
    assert "deny" not in size(0.0081, capillary=True)


def test_a_suspect_is_held_against_what_was_traced_and_not_called_stated() -> None:
    """A jet that leaves at 4° whose trace says level: Cv comes out beyond 1, and the angle is suspected."""
    for conditions, kind in (
        (LEVEL, "traced jet leaves open"),
        (replace(LEVEL, traced_angle_deg=None), "stated"),
    ):
        diagnosis = findings_of(run(angle_deg=4.0, seed=2), conditions).diagnosis
        assert diagnosis is not None
        angle = next(each for group in diagnosis.groups for each in group if each.name == "launch angle")
        assert kind in angle.says
        assert ("stated" in angle.says) == (kind == "stated")


def test_what_would_have_to_be_is_said_in_one_language() -> None:
    from measure_app.words import language, use_language

    before = language()
    use_language("de")
    try:
        diagnosis = findings_of(run(angle_deg=4.0, seed=2), LEVEL).diagnosis
        assert diagnosis is not None
        said = " ".join(each.says for group in diagnosis.groups for each in group)
    finally:
        use_language(before)
    assert "Winkel" in said
    assert not {"above", "below", "along", "against", "longer", "shorter"} & set(said.split())
