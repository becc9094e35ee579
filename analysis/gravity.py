"""The g that is taken for granted, and where it comes from."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.series import Conditions
from analysis.words import said

STANDARD_GRAVITY = 9.80665
"""m/s², exact by convention (3rd General Conference on Weights and Measures, 1901)."""

# WGS 84 (NIMA TR8350.2, 3rd edition): gravity at the equator, Somigliana's constant, square of the first
# eccentricity; semi-major axis, flattening, and m = ω²a²b/GM for the change with height.
_EQUATOR = 9.7803253359
_SOMIGLIANA = 0.00193185265241
_ECCENTRICITY_SQUARED = 0.00669437999013
_SEMI_MAJOR_M = 6378137.0
_FLATTENING = 1.0 / 298.257223563
_M = 0.00344978650684

_LOCAL_U = 5e-4
"""m/s², 50 mGal: what the rock beneath adds or takes away; common practice, no source."""
_NO_HEIGHT_U = 1.5e-3
"""m/s²: standard uncertainty for a height that was not given: most places lie between 0 and 1,500 m, which is
0 to 4.6e-3 m/s²."""
_STANDARD_U = 0.02
"""m/s²: between equator and pole normal gravity differs by 0.052 at sea level, and 3,000 m take 0.009 away; a
uniform spread of ±0.035 has a standard deviation of 0.02."""


@dataclass(frozen=True, slots=True)
class AcceptedGravity:
    """A value of g that was not measured in this run."""

    value: float
    """m/s²."""
    u: float
    """m/s², standard uncertainty."""
    source: str
    """Where it comes from, in words."""


def normal_gravity(latitude_deg: float, elevation_m: float = 0.0) -> float:
    """
    Compute normal gravity on the WGS 84 ellipsoid and above it.

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude, -90 to 90.
    elevation_m : float
        Height above the ellipsoid, m; height above sea level serves (the geoid is within 100 m: 3e-4 m/s²).

    Returns
    -------
    float
        m/s².

    Raises
    ------
    ValueError
        For a latitude beyond the poles, or a height that is not between -12 and 100 km, where the series
        ends.

    Notes
    -----
    Somigliana's closed formula on the ellipsoid, and above it the series to second order in height with the
    constants of WGS 84 (NIMA TR8350.2, equation 4-3). Its first-order part is the free-air term of about
    -3.086e-6 m/s² per metre.
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError(f"a latitude lies between -90 and 90 degrees, got {latitude_deg:g}")
    if not -12_000.0 <= elevation_m <= 100_000.0:
        raise ValueError(f"an elevation between -12,000 and 100,000 m is wanted, got {elevation_m:g}")
    sine_squared = math.sin(math.radians(latitude_deg)) ** 2
    surface = (
        _EQUATOR * (1.0 + _SOMIGLIANA * sine_squared) / math.sqrt(1.0 - _ECCENTRICITY_SQUARED * sine_squared)
    )
    relative = elevation_m / _SEMI_MAJOR_M
    first = 2.0 * (1.0 + _FLATTENING + _M - 2.0 * _FLATTENING * sine_squared) * relative
    return surface * (1.0 - first + 3.0 * relative**2)


def accepted_gravity(conditions: Conditions) -> AcceptedGravity:
    """
    Choose the accepted g of a run: given, else normal gravity from the latitude, else standard gravity.

    Parameters
    ----------
    conditions : Conditions
        What was measured once.

    Returns
    -------
    AcceptedGravity
        With a standard uncertainty that grows as less is known. A g that was given is taken as exact.

    Raises
    ------
    ValueError
        For a given g that is not above zero, or a latitude or an elevation off the Earth.
    """
    if conditions.gravity_m_s2 is not None:
        if not 0.0 < conditions.gravity_m_s2 < math.inf:
            raise ValueError(f"an accepted g is a number above zero, got {conditions.gravity_m_s2:g} m/s²")
        return AcceptedGravity(conditions.gravity_m_s2, 0.0, said("given, taken as exact"))
    if conditions.latitude_deg is None:
        return AcceptedGravity(STANDARD_GRAVITY, _STANDARD_U, said("standard gravity, no latitude given"))
    value = normal_gravity(conditions.latitude_deg, conditions.elevation_m or 0.0)
    if conditions.elevation_m is None:
        u = math.hypot(_LOCAL_U, _NO_HEIGHT_U)
        return AcceptedGravity(value, u, said("normal gravity (WGS 84) from the latitude, at sea level"))
    return AcceptedGravity(value, _LOCAL_U, said("normal gravity (WGS 84) from latitude and elevation"))
