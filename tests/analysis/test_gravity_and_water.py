"""Normal gravity and water against published values and outside libraries."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from analysis import Conditions, accepted_gravity, normal_gravity, reynolds_number, water_at, weber_number
from analysis.water import capillary_loss_m

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_equator_and_pole_are_the_defining_constants_of_wgs84() -> None:
    # NIMA TR8350.2: 9.7803253359 and 9.8321849378 m/s².
    assert normal_gravity(0.0) == 9.7803253359
    assert normal_gravity(90.0) == pytest.approx(9.8321849378, abs=1e-10)
    assert normal_gravity(-90.0) == normal_gravity(90.0)


@pytest.mark.parametrize("row", rows("normal_gravity.csv"))
def test_normal_gravity_on_the_ellipsoid(row: dict[str, str]) -> None:
    # Table of WGS 84 normal gravity (boule 0.6.0, equator and pole as published).
    assert normal_gravity(float(row["latitude_deg"])) == pytest.approx(float(row["wgs84_m_s2"]), abs=6e-10)
    # GRS 80, an independent set of constants, agrees within the 2e-6 between the two systems.
    assert normal_gravity(float(row["latitude_deg"])) == pytest.approx(float(row["grs80_m_s2"]), abs=2e-6)


@pytest.mark.parametrize("row", rows("normal_gravity_with_height_wgs84.csv"))
def test_normal_gravity_with_height(row: dict[str, str]) -> None:
    ours = normal_gravity(float(row["latitude_deg"]), float(row["height_m"]))
    assert ours == pytest.approx(float(row["boule_0.6_m_s2"]), abs=3e-7)
    # The linear free-air rule of -3.086e-6 per m (from memory) is coarser but must not be far.
    assert ours == pytest.approx(float(row["linear_minus_3.086e-6_h"]), abs=1e-5)


@pytest.mark.parametrize("latitude", [-60.0, 0.0, 33.3, 51.5, 90.0])
@pytest.mark.parametrize("height", [0.0, 250.0, 3000.0])
def test_normal_gravity_agrees_with_boule(latitude: float, height: float) -> None:
    import boule

    theirs = float(boule.WGS84.normal_gravity((0.0, latitude, height))) * 1e-5
    assert normal_gravity(latitude, height) == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize(("latitude", "height"), [(91.0, 0.0), (-90.1, 0.0), (0.0, 2e5), (float("nan"), 0.0)])
def test_places_off_the_earth_are_refused(latitude: float, height: float) -> None:
    with pytest.raises(ValueError, match=r"wanted|lies between"):
        normal_gravity(latitude, height)


def test_less_known_about_the_place_means_a_larger_uncertainty() -> None:
    given = accepted_gravity(Conditions(gravity_m_s2=9.81, latitude_deg=51.5))
    placed = accepted_gravity(Conditions(latitude_deg=51.5, elevation_m=30.0))
    flat = accepted_gravity(Conditions(latitude_deg=51.5))
    nothing = accepted_gravity(Conditions())
    assert (given.value, given.u) == (9.81, 0.0)
    assert placed.value == normal_gravity(51.5, 30.0)
    assert nothing.value == 9.80665
    assert given.u < placed.u < flat.u < nothing.u
    # Standard gravity must cover equator and pole.
    assert abs(normal_gravity(0.0) - nothing.value) < 2.0 * nothing.u
    assert abs(normal_gravity(90.0) - nothing.value) < 2.0 * nothing.u


def test_a_gravity_that_is_not_above_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        accepted_gravity(Conditions(gravity_m_s2=0.0))


@pytest.mark.parametrize("row", rows("water_properties.csv"))
def test_water_agrees_with_the_table(row: dict[str, str]) -> None:
    # Table made with iapws 1.5.5 at 101.325 kPa.
    water = water_at(float(row["t_C"]))
    assert water.density == pytest.approx(float(row["density_kg_m3"]), rel=3e-6)
    assert 1e3 * water.viscosity == pytest.approx(float(row["viscosity_mPa_s"]), rel=2e-4)
    assert 1e3 * water.surface_tension == pytest.approx(float(row["surface_tension_mN_m"]), abs=2e-3)


@pytest.mark.parametrize("t", [1.0, 12.5, 20.0, 33.0])
def test_water_agrees_with_iapws(t: float) -> None:
    from iapws import IAPWS97
    from iapws._iapws import _Tension

    theirs = IAPWS97(T=t + 273.15, P=0.101325)
    water = water_at(t)
    assert water.density == pytest.approx(theirs.rho, rel=1e-5)
    assert water.viscosity == pytest.approx(theirs.mu, rel=5e-4)
    assert water.surface_tension == pytest.approx(_Tension(t + 273.15), rel=1e-6)


def test_water_at_20_degrees_as_the_trade_knows_it() -> None:
    # ISO/TR 3666 viscosity 1.0016 mPa s and CIPM density 998.2067 kg/m³, both from memory.
    water = water_at(20.0)
    assert 1e3 * water.viscosity == pytest.approx(1.0016, abs=1e-4)
    assert water.density == pytest.approx(998.2067, abs=1e-3)


@pytest.mark.parametrize("t", [-0.1, 40.1, float("nan")])
def test_ice_and_hot_water_are_refused(t: float) -> None:
    with pytest.raises(ValueError, match="0 and 40"):
        water_at(t)


def test_numbers_of_a_school_jet() -> None:
    # v = 1.92 m/s through dj = 3.15 mm at 20 °C: Re 6,030 and We 159, by hand from the table's values.
    water = water_at(20.0)
    assert reynolds_number(water, 1.92, 0.00315) == pytest.approx(1.92 * 0.00315 / 1.0034e-6, rel=1e-3)
    assert weber_number(water, 1.92, 0.00315) == pytest.approx(998.2 * 1.92**2 * 0.00315 / 0.07274, rel=1e-3)


def test_surface_tension_takes_some_millimetres_from_a_thin_jet() -> None:
    # Path of a jet with Laplace's pressure and the pull of its surface, integrated: offset 8 mm whole, 9.5
    # mm as drops for a 4 mm hole.
    low, high = capillary_loss_m(water_at(20.0), 0.004, 9.81)
    assert low == pytest.approx(0.008, abs=5e-4)
    assert high == pytest.approx(0.0095, abs=5e-4)
