"""
Coefficients of holes, tubes and mouthpieces as they were published, heads and diameters in their own units.

All from W. C. Unwin, "Hydraulics", Encyclopaedia Britannica, 11th ed., vol. XIV (1910), in the public domain;
the tables' own observers are named beside each.
"""

from __future__ import annotations

FOOT_M, INCH_M = 0.3048, 0.0254

HAMILTON_SMITH_DIAMETERS_FT = (0.02, 0.04, 0.10, 0.20, 0.40, 0.60, 1.0)
HAMILTON_SMITH_CD: tuple[tuple[float, tuple[float | None, ...]], ...] = (
    (0.3, (None, None, 0.621, None, None, None, None)),
    (0.4, (None, 0.637, 0.618, None, None, None, None)),
    (0.6, (0.655, 0.630, 0.613, 0.601, 0.596, 0.588, None)),
    (0.8, (0.648, 0.626, 0.610, 0.601, 0.597, 0.594, 0.583)),
    (1.0, (0.644, 0.623, 0.608, 0.600, 0.598, 0.595, 0.591)),
    (2.0, (0.632, 0.614, 0.604, 0.599, 0.599, 0.597, 0.595)),
    (4.0, (0.623, 0.609, 0.602, 0.599, 0.598, 0.597, 0.596)),
    (8.0, (0.614, 0.605, 0.600, 0.598, 0.597, 0.596, 0.596)),
    (20.0, (0.601, 0.599, 0.596, 0.596, 0.596, 0.596, 0.594)),
)
"""Rows of (head in ft, Cd for each diameter); sharp edges in a vertical wall, jet free in air. Hamilton
Smith, Hydraulics, New York 1886, in Unwin s. 20, p. 40. None: not tabulated."""

MAIR_DIAMETERS_IN = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0)
MAIR_CD: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0.75, (0.616, 0.614, 0.616, 0.610, 0.616, 0.612, 0.607, 0.607, 0.609)),
    (1.0, (0.613, 0.612, 0.612, 0.611, 0.612, 0.611, 0.604, 0.608, 0.609)),
    (1.25, (0.613, 0.614, 0.610, 0.608, 0.612, 0.608, 0.605, 0.605, 0.606)),
    (1.50, (0.610, 0.612, 0.611, 0.606, 0.610, 0.607, 0.603, 0.607, 0.605)),
    (1.75, (0.612, 0.611, 0.611, 0.605, 0.611, 0.605, 0.604, 0.607, 0.605)),
    (2.00, (0.609, 0.613, 0.609, 0.606, 0.609, 0.606, 0.604, 0.604, 0.605)),
)
"""Rows of (head in ft, Cd for each diameter in in); sharp edges, water at 51 to 55 °F. J. G. Mair, Proc.
Inst. Civ. Eng. 84, in Unwin s. 20, p. 40."""

BOVEY_DIAMETER_M = 0.0127
BOVEY_CD: tuple[tuple[float, float], ...] = (
    (1.0, 0.620),
    (2.0, 0.613),
    (4.0, 0.608),
    (6.0, 0.607),
    (8.0, 0.606),
    (10.0, 0.605),
    (12.0, 0.604),
    (14.0, 0.604),
    (16.0, 0.603),
    (18.0, 0.603),
    (20.0, 0.603),
)
"""(head in ft, Cd) of a round sharp edge of 12.7 mm. H. T. Bovey, in Unwin s. 20, p. 40."""

WEISBACH_CV: tuple[tuple[float, float], ...] = (
    (0.66, 0.959),
    (1.64, 0.967),
    (11.48, 0.975),
    (55.77, 0.994),
    (337.93, 0.994),
)
"""(head in ft, Cv) of a bell-mouthed hole. Weisbach, in Unwin s. 19, p. 40."""

CASTEL: tuple[tuple[float, float, float, float], ...] = (
    (0.0, 0.999, 0.830, 0.829),
    (1.6, 1.000, 0.866, 0.866),
    (3.1667, 1.001, 0.894, 0.895),
    (4.1667, 1.002, 0.910, 0.912),
    (5.4333, 1.004, 0.920, 0.924),
    (7.8667, 0.998, 0.931, 0.929),
    (8.9667, 0.992, 0.942, 0.934),
    (10.3333, 0.987, 0.950, 0.938),
    (12.0667, 0.986, 0.955, 0.942),
    (13.4, 0.983, 0.962, 0.946),
    (14.4667, 0.979, 0.966, 0.941),
    (16.6, 0.969, 0.971, 0.938),
    (19.4667, 0.953, 0.970, 0.924),
    (21.0, 0.945, 0.971, 0.918),
    (23.0, 0.937, 0.974, 0.913),
    (29.9667, 0.919, 0.975, 0.896),
    (40.3333, 0.887, 0.980, 0.869),
    (48.8333, 0.861, 0.984, 0.847),
)
"""(angle of convergence in degrees, Cc, Cv, Cd) of mouthpieces 15.5 mm wide at the narrow end and 2.6
diameters long. Castel, in Unwin s. 50, p. 51."""
CASTEL_DIAMETER_M = 0.0155

ROUNDED_BY_TEMPERATURE: tuple[tuple[float, float], ...] = (
    ((60.0 - 32.0) / 1.8, 0.942),
    ((130.0 - 32.0) / 1.8, 0.974),
    ((190.0 - 32.0) / 1.8, 0.987),
)
"""(°C, Cd) of a bell-mouthed hole of 10 mm under 1 to 1.5 ft. Unwin, Phil. Mag., October 1878, p. 281, in
Unwin s. 26, p. 42. A sharp edge of the same size went from .598 at 62 °F to .594 at 205 °F: next to
nothing."""

BORDA_CD = (0.5149, 0.5547, 0.5324)
"""Measured with inward tubes from which the jet springs clear; theory 0.5. Unwin s. 37."""

MOLESWORTH_TUBE = (0.81, 0.77, 0.73)
"""Short tubes, from the shortest to longer ones. Molesworth's pocket-book of engineering formulae, p. 258."""
