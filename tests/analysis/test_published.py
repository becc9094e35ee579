"""Published coefficients: the tables themselves, the formulas printed with them, and the bands made of them.

Every number comes from data/unwin_*.csv (W. C. Unwin, "Hydraulics", Encyclopaedia Britannica 1910; see
unwin_tables.source.md beside them), unless its own source stands beside it.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import (
    Column,
    Conditions,
    Findings,
    Series,
    findings_of,
    published_tables,
    water_at,
    weber_number,
)
from analysis.published import (
    Edge,
    band_words,
    borda_theory,
    expected_bands,
    hamilton_smith_cd,
    mair_formula,
    sharp_cd_by_reynolds,
    short_tube_theory,
)

DATA = Path(__file__).parent / "data"
FOOT, INCH = 0.3048, 0.0254
THIN = 0.5e-3


def rows(name: str) -> list[list[str]]:
    return list(csv.reader((DATA / f"unwin_{name}.csv").read_text().splitlines()))[1:]


def hole(d: float, temperature: float | None = None) -> Conditions:
    return Conditions(orifice_diameter_m=d, water_temperature_c=temperature)


# --- the tables, cell by cell ------------------------------------------------------------------------------


def test_every_cell_of_hamilton_smith() -> None:
    diameters = (0.02, 0.04, 0.10, 0.20, 0.40, 0.60, 1.0)
    cells = 0
    for head, *values in rows("hamilton_smith_cd"):
        for d, value in zip(diameters, values, strict=True):
            got = hamilton_smith_cd(float(head) * FOOT, d * FOOT)
            if value:
                assert got == pytest.approx(float(value), abs=1e-9)
                cells += 1
            else:
                assert got is None
    assert cells == 51


def test_between_cells_hamilton_smith_lies_between_them() -> None:
    between = hamilton_smith_cd(1.4 * FOOT, 0.03 * FOOT)
    assert between is not None
    assert 0.614 < between < 0.644
    assert hamilton_smith_cd(0.5 * FOOT, 0.03 * FOOT) is None  # one neighbour is not tabulated
    assert hamilton_smith_cd(1.0 * FOOT, 0.004) is None


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("bovey_circular_cd", published_tables.BOVEY_CD),
        ("castel_convergent_mouthpieces", published_tables.CASTEL),
    ],
)
def test_short_tables_are_those_printed(name, table) -> None:
    assert [tuple(float(cell) for cell in row) for row in rows(name)] == list(table)


def test_weisbach_and_his_losses() -> None:
    for (head, cv, loss), ours in zip(
        rows("weisbach_conoidal_cv"), published_tables.WEISBACH_CV, strict=True
    ):
        assert (float(head), float(cv)) == ours
        assert 1.0 / float(cv) ** 2 - 1.0 == pytest.approx(float(loss), abs=0.001)


def test_castel_cd_is_cc_times_cv() -> None:
    # The printed table misses this by 0.005 at worst (14° 28').
    assert max(abs(cc * cv - cd) for _, cc, cv, cd in published_tables.CASTEL) < 0.0055
    assert max(published_tables.CASTEL, key=lambda row: row[3])[0] == pytest.approx(13.4)


def test_mair_formula_gives_his_table() -> None:
    diameters = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0)
    missed = []
    for row, (ours_head, ours) in zip(rows("mair_cd"), published_tables.MAIR_CD, strict=True):
        head, *values = (float(cell) for cell in row)
        assert (head, tuple(values)) == (ours_head, ours)
        missed += [mair_formula(head * FOOT, d * INCH) - v for d, v in zip(diameters, values, strict=True)]
    assert max(abs(each) for each in missed) < 0.0085
    assert math.sqrt(float(np.mean(np.square(missed)))) < 0.003
    assert abs(float(np.mean(missed))) < 0.001
    assert mair_formula(FOOT, INCH) == pytest.approx(0.6136, abs=5e-5)


def test_observers_agree_within_the_half_width_of_the_band() -> None:
    smith = [
        (float(h), hamilton_smith_cd(float(h) * FOOT, 0.0127), float(c)) for h, c in rows("bovey_circular_cd")
    ]
    assert max(abs(got - value) for _, got, value in smith if got is not None) < 0.009
    for h, *values in rows("mair_cd"):
        for d, value in zip((1.0, 1.25, 1.5, 1.75, 2.0), values, strict=False):
            got = hamilton_smith_cd(float(h) * FOOT, d * INCH)
            assert got is None or abs(got - float(value)) < 0.0165  # Mair's own rows scatter by 0.008


def test_the_curve_by_reynolds_number_is_the_least_squares_one() -> None:
    numbers, values = [], []
    for head, row in published_tables.HAMILTON_SMITH_CD:
        for d, value in zip(published_tables.HAMILTON_SMITH_DIAMETERS_FT, row, strict=True):
            if value is not None and head >= 4.0 * d:
                numbers.append(math.sqrt(2.0 * 9.80665 * head * FOOT) * d * FOOT / 1.2e-6)
                values.append(value)
    design = np.stack([np.ones(len(numbers)), 1.0 / np.sqrt(numbers)], axis=1)
    (limit, rise), *_ = np.linalg.lstsq(design, np.array(values), rcond=None)
    assert len(values) == 39
    assert sharp_cd_by_reynolds(1e12) == pytest.approx(limit, abs=1e-4)
    assert 1e2 * (sharp_cd_by_reynolds(1e4) - limit) == pytest.approx(rise, abs=2e-2)
    missed = [sharp_cd_by_reynolds(n) - v for n, v in zip(numbers, values, strict=True)]
    assert math.sqrt(float(np.mean(np.square(missed)))) < 0.0038
    assert max(map(abs, missed)) < 0.0112


def test_theory_of_the_short_tube_and_of_borda() -> None:
    assert short_tube_theory(0.64) == pytest.approx(0.872, abs=5e-4)  # s. 49 prints 0.87
    assert short_tube_theory(1.0) == 1.0
    assert borda_theory() == 0.5  # s. 37
    assert published_tables.BORDA_CD == (0.5149, 0.5547, 0.5324)  # s. 37


# --- the bands ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["hamilton_smith_cd"])
def test_a_tabulated_hole_lies_in_its_band_and_is_not_called_extrapolated(name) -> None:
    for head, *values in rows(name):
        for d, value in zip((0.02, 0.04, 0.10, 0.20), values, strict=False):
            if value:
                at = float(head) * FOOT
                cd = expected_bands(hole(d * FOOT), (at, at), wall_thickness_m=THIN).cd
                assert cd.holds(float(value))
                assert not cd.extrapolated
                assert d < 0.04 or cd.high - cd.low < 0.03


def test_bovey_lies_in_the_band() -> None:
    for head, value in rows("bovey_circular_cd"):
        at = float(head) * FOOT
        assert expected_bands(hole(0.0127), (at, at), wall_thickness_m=THIN).cd.holds(float(value))


def test_a_small_hole_is_called_extrapolated_in_words() -> None:
    cd = expected_bands(hole(0.004), (0.03, 0.25), wall_thickness_m=THIN).cd
    assert cd.extrapolated
    # Unwin's round 0.62 (s. 17) is still held possible, and so is 0.65 to 0.70 by Reynolds number.
    assert all(cd.holds(value) for value in (0.62, 0.65, 0.70))
    assert not cd.holds(0.80)
    assert "extrapolated" in band_words(cd, "Cd")
    assert "Reynolds number" in cd.why


def test_thickness_makes_a_short_tube_and_the_middle_is_left_open() -> None:
    thin, middle, thick = (
        expected_bands(hole(0.004), (0.03, 0.25), wall_thickness_m=t) for t in (0.002, 0.004, 0.008)
    )
    assert thin.cv.holds(0.97)
    assert not thin.cv.holds(0.82)
    assert thick.cv.holds(0.82)
    assert thick.cd.holds(0.82)
    assert not thick.cv.holds(0.97)
    assert middle.cv.holds(0.97)
    assert middle.cv.holds(0.82)
    assert "may" in middle.cv.why
    assert expected_bands(hole(0.004), None).cv.holds(0.82)  # the wall is not known


def test_castels_plain_tube_is_a_short_tube() -> None:
    band = expected_bands(hole(0.0155), (1.0, 2.0), wall_thickness_m=2.6 * 0.0155).cd
    assert band.holds(0.829)
    assert not band.extrapolated


def test_weisbachs_and_unwins_rounded_holes() -> None:
    for head, value, _ in rows("weisbach_conoidal_cv"):
        at = float(head) * FOOT
        assert expected_bands(hole(0.02), (at, at), edge=Edge.ROUNDED).cv.holds(float(value))
    for name, _, _, fahrenheit, value, observer in rows("temperature_effect"):
        if name == "conoidal" and observer.startswith("Unwin"):
            celsius = (float(fahrenheit) - 32.0) / 1.8
            band = expected_bands(hole(0.01, celsius), (1.0 * FOOT, 1.5 * FOOT), edge=Edge.ROUNDED).cd
            assert band.holds(float(value))
    cold, warm = (expected_bands(hole(0.01, t), (0.3, 0.4), edge=Edge.ROUNDED).cd for t in (5.0, 80.0))
    assert warm.reckoned > cold.reckoned


def test_temperature_hardly_matters_to_a_sharp_edge() -> None:
    sharp = [
        float(row[4])
        for row in rows("temperature_effect")
        if row[0] == "sharp" and row[5].startswith("Unwin")
    ]
    assert max(sharp) - min(sharp) < 0.005
    for t in (5.0, 35.0):
        band = expected_bands(hole(0.01, t), (1.0 * FOOT, 1.5 * FOOT), wall_thickness_m=THIN).cd
        assert all(band.holds(value) for value in sharp)


def test_a_low_head_lowers_the_cv_of_a_rounded_hole_and_says_that_it_is_extrapolated() -> None:
    low, high = (expected_bands(hole(0.02), (h, h), edge=Edge.ROUNDED).cv for h in (0.05, 0.3))
    assert low.extrapolated
    assert not high.extrapolated
    assert low.low < high.low


def test_castel_by_angle() -> None:
    for row in rows("castel_convergent_mouthpieces"):
        angle, _, cv, cd = (float(cell) for cell in row)
        bands = expected_bands(hole(0.0155), None, edge=Edge.CONVERGENT, convergence_deg=angle)
        assert bands.cv.holds(cv)
        assert bands.cd.holds(cd)
        assert not bands.cv.extrapolated
    assert expected_bands(hole(0.004), None, edge=Edge.CONVERGENT, convergence_deg=13.4).cd.extrapolated


def test_borda_measured_lie_in_the_band() -> None:
    band = expected_bands(hole(0.02), None, edge=Edge.RE_ENTRANT).cd
    assert all(band.holds(value) for value in (0.5, *published_tables.BORDA_CD))
    assert not band.holds(0.62)


@given(
    d=st.floats(5e-4, 0.3),
    low=st.floats(1e-3, 5.0),
    more=st.floats(1.0, 50.0),
    wall=st.none() | st.floats(0.0, 0.05),
    edge=st.none() | st.sampled_from(Edge),
    temperature=st.none() | st.floats(-5.0, 120.0),
)
def test_every_band_is_a_possible_one(d, low, more, wall, edge, temperature) -> None:
    bands = expected_bands(
        hole(d, temperature), (low, low * more), edge=edge, convergence_deg=10.0, wall_thickness_m=wall
    )
    for band in (bands.cv, bands.cd):
        assert 0.4 < band.low < band.high <= 1.0
        assert band.low <= band.reckoned <= band.high
        assert band.source
        assert band.why


@given(d=st.floats(1e-3, 0.05), low=st.floats(0.01, 1.0), a=st.floats(1.0, 3.0), b=st.floats(1.0, 3.0))
def test_a_wider_range_of_heads_never_narrows_the_band(d, low, a, b) -> None:
    narrow = expected_bands(hole(d), (low, low * a), wall_thickness_m=0.1 * d).cd
    wide = expected_bands(hole(d), (low, low * a * b), wall_thickness_m=0.1 * d).cd
    if narrow.extrapolated == wide.extrapolated:
        assert wide.low <= narrow.low + 1e-9
        assert wide.high >= narrow.high - 1e-9


# --- water, meniscus, and where a jet ends -----------------------------------------------------------------


@pytest.mark.parametrize("celsius", range(5, 31))
def test_water_is_that_of_iapws(celsius) -> None:
    iapws = pytest.importorskip("iapws")
    from iapws._iapws import _Tension

    ours, theirs = water_at(celsius), iapws.IAPWS95(T=celsius + 273.15, P=0.101325)
    assert ours.density == pytest.approx(theirs.rho, rel=2e-5)
    assert ours.viscosity == pytest.approx(theirs.mu, rel=1e-3)
    assert ours.surface_tension == pytest.approx(_Tension(celsius + 273.15), rel=1e-5)


@pytest.mark.parametrize(("d_mm", "head_mm"), [(4.0, 7.4), (2.0, 14.9), (1.0, 29.7)])
def test_head_that_a_meniscus_holds(d_mm, head_mm) -> None:
    """Laplace's law, 4σ/(ρ g d) at 20 °C; a jet reaches We = 4 at half that head."""
    water = water_at(20.0)
    held = 4.0 * water.surface_tension / (water.density * 9.80665 * 1e-3 * d_mm)
    assert 1e3 * held == pytest.approx(head_mm, abs=0.05)
    half = weber_number(water, math.sqrt(2.0 * 9.80665 * held / 2.0), 1e-3 * d_mm)
    assert half == pytest.approx(4.0, rel=1e-9)


@pytest.mark.parametrize(("d_mm", "weber"), [(2.0, 1.65), (3.0, 1.07), (4.0, 0.71)])
def test_a_jet_has_long_left_its_hole_where_the_law_is_trusted(d_mm, weber) -> None:
    """
    Dripping turns to jetting from a tube at We_c = 4 [1 + K B² - ((1 + K B²)² - 1)^½]², B² = ρ g D²/(2σ).

    Clanet and Lasheras, J. Fluid Mech. 383 (1999) 307, for equal inner and outer diameter and K = 0.37; the
    formula is from memory. What matters here: the law's limit lies an order of magnitude above it.
    """
    from analysis import law_limit_m

    d, water = 1e-3 * d_mm, water_at(20.0)
    x = 0.37 * water.density * 9.80665 * d**2 / (2.0 * water.surface_tension)
    critical = 4.0 * (1.0 + x - math.sqrt((1.0 + x) ** 2 - 1.0)) ** 2
    assert critical == pytest.approx(weber, abs=0.02)
    limit = law_limit_m(Conditions(orifice_diameter_m=d))
    assert limit is not None
    assert weber_number(water, math.sqrt(2.0 * 9.80665 * limit), d) > 8.0 * critical


# --- beside what a run finds -------------------------------------------------------------------------------


def found_with(wall: float | None, cv: float) -> Findings:
    """Ten exact readings of a hole of 4 mm, with a given Cv and half a millimetre of error each."""
    head = np.linspace(0.25, 0.05, 10)
    none, own = np.zeros((10, 1)), np.full(10, 5e-4)
    series = Series(
        sources=("drop",),
        time_s=None,
        head=Column(head, own, none),
        throw=Column(2.0 * cv * np.sqrt(0.4 * head), own.copy(), none.copy()),
        drop=Column(np.full(10, 0.4), np.zeros(10), np.full((10, 1), 1e-3)),
        kept=np.ones(10, dtype=bool),
    )
    return findings_of(series, Conditions(orifice_diameter_m=0.004, wall_thickness_m=wall))


def test_the_band_stands_beside_cv_and_decides_what_is_doubted() -> None:
    for wall, cv, doubted in (
        (1e-3, 0.97, False),
        (1e-3, 0.82, True),
        (8e-3, 0.82, False),
        (None, 0.82, False),
    ):
        findings = found_with(wall, cv)
        finding = findings.finding("speed_coefficient")
        assert finding is not None
        assert finding.expected is not None
        assert finding.expected.holds(cv) is not doubted
        assert any(words.startswith("published for such a hole") for words in finding.remarks)
        assert any("outside the published band" in remark.says for remark in findings.remarks) is doubted
        others = [each for each in findings.findings if each.name != "speed_coefficient"]
        assert all(each.expected is None for each in others)


def test_a_value_just_outside_is_said_to_be_within_its_uncertainty() -> None:
    findings = found_with(1e-3, 0.9495)
    said = next(remark.says for remark in findings.remarks if "published band" in remark.says)
    assert "within its uncertainty" in said
    far = next(r.says for r in found_with(1e-3, 0.90).remarks if "published band" in r.says)
    assert "within its uncertainty" not in far
