"""Starting uncertainties by the instrument that was used. No Qt here.

A reading that may lie anywhere within half a division either way has a standard uncertainty of half a division over
√3 (JCGM 100:2008, 4.3.7). Where two edges are read, as with a rule laid along a length, both count. The person who
measured may know better and type another figure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from measure_app.words import marked

_ROOT_3 = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Instrument:
    """Something to measure a length with, and how well it does so at first guess."""

    name: str
    u: float
    """Standard uncertainty, SI unit of the quantity."""
    why: str
    """Where that figure comes from, in one sentence."""


def _read_to(half_division_m: float, edges: int) -> float:
    """Two figures of the standard uncertainty of a length read to ± a half-width at one or two edges."""
    return float(f"{half_division_m / _ROOT_3 * math.sqrt(edges):.2g}")


STEEL_RULE = Instrument(
    marked("steel rule, mm divisions"),
    _read_to(0.5e-3, 2),
    marked("Both ends read to half a division (0.5 mm): 0.5 mm/√3 each, together 0.41 mm."),
)
TAPE = Instrument(
    marked("tape measure, mm divisions"),
    _read_to(1.0e-3, 2),
    marked("A tape sags and its hook has play: each end within 1 mm, together 0.82 mm."),
)
CALLIPER = Instrument(
    marked("calliper, 0.05 mm"),
    _read_to(0.05e-3, 1),
    marked("Read to one step of its vernier (0.05 mm): 0.05 mm/√3, that is 0.029 mm."),
)
DRILL = Instrument(
    marked("drill size, not measured"),
    _read_to(0.1e-3, 1),
    marked("A drilled hole is within 0.1 mm of its drill at best: 0.1 mm/√3, that is 0.058 mm."),
)
BY_EYE = Instrument(
    marked("judged by eye"),
    _read_to(5e-3, 1),
    marked("Within 5 mm either way: 5 mm/√3, that is 2.9 mm."),
)
CENTIMETRE_RULE = Instrument(
    marked("tape along the bench, to a centimetre"),
    _read_to(10e-3, 1),
    marked("Within 10 mm either way, where the lens's own centre is only guessed: 10 mm/√3, that is 5.8 mm."),
)
PRINTED_SCALE = Instrument(
    marked("printed paper scale"),
    0.3e-3,
    marked("A line off a printer lies within about 0.5 mm of its place, and paper stretches."),
)
ENGRAVED_STEEL = Instrument(
    marked("engraved steel rule"),
    0.1e-3,
    marked(
        "Engraved lines lie within about 0.1 mm of their place (a class II rule may be off "
        "by 0.2 to 0.3 mm as a whole)."
    ),
)
# Common practice, no source: half-widths of about half a millimetre and 0.3 mm, over √3.
WOODEN_RULE = Instrument(
    marked("wooden rule"),
    0.3e-3,
    marked("Lines printed on wood lie within about 0.5 mm of their place, and wood swells when it gets wet."),
)
PLASTIC_RULE = Instrument(
    marked("stiff plastic rule"),
    0.2e-3,
    marked("Lines on stiff plastic lie within about 0.3 mm of their place; warmth lengthens it a little."),
)
TAILORS_TAPE = Instrument(
    marked("cloth or plastic tape"),
    0.5e-3,
    marked("Cloth and thin plastic stretch by a millimetre or so."),
)

LENGTHS = (STEEL_RULE, TAPE, CALLIPER)
SMALL_LENGTHS = (CALLIPER, STEEL_RULE, DRILL)
DEPTHS = (STEEL_RULE, CALLIPER, BY_EYE)
DISTANCES = (TAPE, CENTIMETRE_RULE, STEEL_RULE)
EDGE_ALONG = Instrument(
    marked("straight edge along 2 cm"),
    1.0,
    marked("Half a millimetre in 20 mm is 1.4°: evenly likely within that is 0.8°, and the jet flutters."),
)
ANGLE_BY_EYE = Instrument(
    marked("judged by eye"),
    3.0,
    marked("A slope is judged by eye to within about 5° either way: 5°/√3, that is 2.9°."),
)
ANGLES = (EDGE_ALONG, ANGLE_BY_EYE)
RULES = (ENGRAVED_STEEL, PRINTED_SCALE, TAILORS_TAPE, WOODEN_RULE, PLASTIC_RULE)


def area_of_circle(diameter_m: float, u_m: float) -> tuple[float, float]:
    """Area of a circle and its standard uncertainty.

    Parameters
    ----------
    diameter_m, u_m : float
        Inner diameter and its standard uncertainty, m.

    Returns
    -------
    tuple of float
        m² and m²: A = π d²/4, u(A) = π d u(d)/2.
    """
    return math.pi * diameter_m**2 / 4.0, math.pi * diameter_m * u_m / 2.0


def radius_of_area(area_m2: float, u_m2: float) -> tuple[float, float]:
    """Radius of a circle by its area, and its standard uncertainty.

    Parameters
    ----------
    area_m2, u_m2 : float
        Inner area of a round container and its standard uncertainty, m².

    Returns
    -------
    tuple of float
        m and m: r = √(A/π), u(r) = u(A)/(2 π r).
    """
    radius = math.sqrt(area_m2 / math.pi)
    return radius, u_m2 / (2.0 * math.pi * radius)


def area_of_rectangle(
    width_m: float, width_u_m: float, depth_m: float, depth_u_m: float
) -> tuple[float, float]:
    """Area of a rectangle and its standard uncertainty, the two sides measured independently.

    Parameters
    ----------
    width_m, width_u_m, depth_m, depth_u_m : float
        Inner sides and their standard uncertainties, m.

    Returns
    -------
    tuple of float
        m² and m².
    """
    return width_m * depth_m, math.hypot(depth_m * width_u_m, width_m * depth_u_m)
