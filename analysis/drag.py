"""How far the air holds back a falling drop."""

from __future__ import annotations

import numpy as np

from analysis.series import FloatArray

AIR_DENSITY, AIR_VISCOSITY = 1.20, 1.81e-5
"""kg/m³ and Pa s, at 20 °C and one atmosphere; common handbook values."""
WATER_DENSITY = 998.0
"""kg/m³, at 20 °C; common handbook value."""
_NEWTON = 0.44
"""Drag coefficient of a sphere between Reynolds numbers of about a thousand and 2 × 10⁵."""
_GRID = 129


def drag_coefficient(reynolds: FloatArray) -> FloatArray:
    """
    Drag coefficient of a sphere.

    Parameters
    ----------
    reynolds : ndarray
        Reynolds number with the sphere's diameter, above zero.

    Returns
    -------
    ndarray
        24/Re (1 + 0.15 Re^0.687) (Schiller and Naumann, Z. VDI 77 (1933) 318), and 0.44 where that is less.
    """
    re = np.maximum(np.asarray(reynolds, dtype=np.float64), 1e-9)
    return np.asarray(np.maximum(24.0 / re * (1.0 + 0.15 * re**0.687), _NEWTON))


def slowing(speed_m_s: FloatArray, diameter_m: float) -> FloatArray:
    """
    Deceleration of a round drop of water by still air.

    Parameters
    ----------
    speed_m_s : ndarray
        Speed through the air.
    diameter_m : float
        Diameter of the drop, above zero.

    Returns
    -------
    ndarray
        m/s², 3/4 (ρ_air/ρ_water) C v²/d against the motion. A drop of more than 3 mm that falls at nearly
        its final speed is flattened and held back up to a quarter more; at the few m/s of a bench it is
        round.
    """
    speed = np.asarray(speed_m_s, dtype=np.float64)
    reynolds = speed * diameter_m * AIR_DENSITY / AIR_VISCOSITY
    return np.asarray(0.75 * AIR_DENSITY / WATER_DENSITY * drag_coefficient(reynolds) * speed**2 / diameter_m)


def held_back(
    time_s: FloatArray, speed_down_m_s: float, speed_across_m_s: float, g: float, diameter_m: float
) -> tuple[FloatArray, FloatArray]:
    """
    How far the air has held a drop back since its first mark.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times of the marks, increasing.
    speed_down_m_s, speed_across_m_s : float
        Velocity at the first mark.
    g : float
        Acceleration without air, m/s².
    diameter_m : float
        Diameter of the drop.

    Returns
    -------
    down, across : ndarray, shape (n,)
        m, what is to be added to the places seen so that they lie where they would in a vacuum. Second
        order: the drag is that along the path as the drag along the path without air leaves it.
    """
    since = np.asarray(time_s, dtype=np.float64) - float(time_s[0])
    t = np.linspace(0.0, float(since[-1]), _GRID)
    falling = np.stack([speed_down_m_s + g * t, np.full(_GRID, speed_across_m_s)])
    lost = np.zeros_like(falling)
    for _ in range(2):
        moving = falling - lost
        speed = np.hypot(moving[0], moving[1])
        share = slowing(speed, diameter_m) / np.maximum(speed, 1e-12)
        lost = _integral(share * moving, t)
    down, across = _integral(lost, t)
    return np.interp(since, t, down), np.interp(since, t, across)


def _integral(rate: FloatArray, t: FloatArray) -> FloatArray:
    """Running integral (2, n) by the trapezium rule."""
    steps = 0.5 * (rate[:, 1:] + rate[:, :-1]) * np.diff(t)
    return np.concatenate([np.zeros((2, 1)), np.cumsum(steps, axis=1)], axis=1)
