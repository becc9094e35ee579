"""Density, viscosity and surface tension of water at one atmosphere."""

from __future__ import annotations

from dataclasses import dataclass

# Dynamic viscosity: IAPWS R12-08, simplified form for 0.1 MPa (equation 15): μ/μPa s = Σ a (T/300 K)^b.
_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))
# Density: Tanaka and others, Metrologia 38 (2001) 301, the formula recommended by the CIPM.
_TANAKA = (-3.983035, 301.797, 522528.9, 69.34881, 999.974950)


@dataclass(frozen=True, slots=True)
class Water:
    """Water at one temperature and at atmospheric pressure."""

    temperature_c: float
    density: float
    """kg/m³."""
    viscosity: float
    """Pa s, dynamic."""
    surface_tension: float
    """N/m, against air."""


def water_at(temperature_c: float) -> Water:
    """
    Properties of clean water at atmospheric pressure.

    Parameters
    ----------
    temperature_c : float
        0 to 40 °C, the range of the density formula.

    Returns
    -------
    Water
        Density by Tanaka and others (2001), viscosity by IAPWS R12-08 at 0.1 MPa, surface tension by IAPWS
        R1-76(2014): σ = 0.2358 N/m · τ^1.256 (1 - 0.625 τ), τ = 1 - T/647.096 K.

    Raises
    ------
    ValueError
        Outside 0 to 40 °C.
    """
    if not 0.0 <= temperature_c <= 40.0:
        raise ValueError(f"water between 0 and 40 °C is wanted, got {temperature_c:g}")
    a1, a2, a3, a4, a5 = _TANAKA
    t = temperature_c
    density = a5 * (1.0 - (t + a1) ** 2 * (t + a2) / (a3 * (t + a4)))
    kelvin = t + 273.15
    viscosity = 1e-6 * sum(a * (kelvin / 300.0) ** b for a, b in _VISCOSITY)
    tau = 1.0 - kelvin / 647.096
    return Water(t, density, viscosity, 0.2358 * tau**1.256 * (1.0 - 0.625 * tau))


def reynolds_number(water: Water, speed_m_s: float, diameter_m: float) -> float:
    """Inertia against viscosity: speed × diameter × density / viscosity."""
    return speed_m_s * diameter_m * water.density / water.viscosity


def weber_number(water: Water, speed_m_s: float, diameter_m: float) -> float:
    """Inertia against surface tension: density × speed² × diameter / surface tension."""
    return water.density * speed_m_s**2 * diameter_m / water.surface_tension


def capillary_loss_m(water: Water, hole_diameter_m: float, gravity_m_s2: float) -> tuple[float, float]:
    """
    Say how much head surface tension seems to take from a thin jet, seen in its throw.

    Parameters
    ----------
    water : Water
        Its density and surface tension.
    hole_diameter_m : float
        Diameter of a sharp-edged hole, m, above zero.
    gravity_m_s2 : float
        g, m/s².

    Returns
    -------
    tuple of float
        m, for a jet that stays whole as far as the landing and for one that breaks into drops: 3.5 and 4
        times σ/(ρ g dj) with a jet of dj = 0.8 d, the root of a contraction of 0.64.

    Notes
    -----
    Laplace's pressure in the jet takes 2σ/(ρ g dj) of head; the pull of the surface along the jet bends its
    path down and makes up the rest (momentum balance of a round jet, integrated along its path).
    """
    head = water.surface_tension / (water.density * gravity_m_s2 * 0.8 * hole_diameter_m)
    return 3.5 * head, 4.0 * head
