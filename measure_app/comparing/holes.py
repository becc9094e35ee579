"""How the coefficients and the lost head go with the size of the hole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis import FloatArray, capillary_loss_m, plain, straight_line, water_at, with_uncertainty
from measure_app.comparing.entries import Entry
from measure_app.comparing.pools import Pool
from measure_app.words import said

QUANTITIES = ("speed_coefficient", "discharge_coefficient", "head_zero_offset_m")
_ROOM_C = 20.0


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole: value and standard uncertainty of each quantity; NaN where it is not determined."""

    diameter_m: float
    runs: tuple[int, ...]
    values: dict[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, eq=False)
class Holes:
    """Holes of different sizes."""

    holes: tuple[Hole, ...]
    """Smallest first."""
    predicted_m2: tuple[float, float]
    """What surface tension alone would make of offset times diameter: for a jet that stays whole and one that
    breaks up, m²; below nought."""
    fitted_m2: tuple[float, float] | None
    """Slope of the offset against 1/d with its standard uncertainty; None for fewer than three holes."""
    fitted_m: tuple[float, float] | None
    """The offset that is left for 1/d = 0, which all holes have: a wrong zero of the head."""
    says: tuple[str, ...]

    def column(self, name: str) -> tuple[FloatArray, FloatArray]:
        """Give (n,) values and standard uncertainties of one quantity."""
        pairs = [each.values[name] for each in self.holes]
        return np.array([value for value, _ in pairs]), np.array([u for _, u in pairs])

    @property
    def diameters_m(self) -> FloatArray:
        """(n,) m."""
        return np.array([each.diameter_m for each in self.holes])


def holes_of(entries: Sequence[Entry], pools: Sequence[Pool]) -> Holes | None:
    """
    Set out coefficients and offset by hole.

    Parameters
    ----------
    entries : sequence of Entry
        The runs.
    pools : sequence of Pool
        What was pooled; a hole with one run has its own values instead.

    Returns
    -------
    Holes or None
        None where fewer than two sizes are known.
    """
    sizes = sorted({each.diameter_m for each in entries if each.diameter_m is not None})
    if len(sizes) < 2:
        return None
    holes = tuple(_hole(d, entries, pools) for d in sizes)
    temperatures = [each.temperature_c for each in entries if each.temperature_c is not None]
    water = water_at(min(40.0, max(0.0, float(np.mean(temperatures)) if temperatures else _ROOM_C)))
    g = float(
        np.median([each.gravity_m_s2 for each in entries if math.isfinite(each.gravity_m_s2)] or [9.81])
    )
    low, high = capillary_loss_m(water, 1.0, g)
    slope, rest, says = _offsets(holes, (-high, -low))
    return Holes(holes, (-low, -high), slope, rest, says)


def _hole(d: float, entries: Sequence[Entry], pools: Sequence[Pool]) -> Hole:
    runs = tuple(i for i, each in enumerate(entries) if each.diameter_m == d)
    values = {}
    for name in QUANTITIES:
        having = tuple(i for i in runs if name in entries[i].findings)
        pool = next((each for each in pools if each.name == name and each.runs == having), None)
        if pool is not None:
            values[name] = (pool.found.mean.value, pool.found.mean.u)
        elif having:
            finding = entries[having[0]].findings[name]
            values[name] = (finding.value, finding.u)
        else:
            values[name] = (math.nan, math.nan)
    return Hole(d, runs, values)


_Number = tuple[float, float] | None


def _offsets(
    holes: Sequence[Hole], predicted: tuple[float, float]
) -> tuple[_Number, _Number, tuple[str, ...]]:
    """Fit the offset against 1/d where three holes or more have one, and compare with surface tension."""
    having = [each for each in holes if math.isfinite(each.values["head_zero_offset_m"][0])]
    expected = said(
        "surface tension alone would make the offset {predicted} to {predicted2} mm² over "
        "the hole's diameter",
        predicted=plain(1e6 * predicted[1], 3),
        predicted2=plain(1e6 * predicted[0], 3),
    )
    if len(having) < 3:
        return (
            None,
            None,
            (said("{expected}; three holes or more would show whether it does", expected=expected),),
        )
    x = np.array([1.0 / each.diameter_m for each in having])
    y, u = (np.array([each.values["head_zero_offset_m"][j] for each in having]) for j in (0, 1))
    line = straight_line(x, y, u_y=u, checked=False)
    if line.covariance_unscaled is None:
        return None, None, (expected,)
    widening = max(1.0, math.sqrt(line.chi_squared_per_dof or 0.0))
    slope_u, rest_u = (widening * math.sqrt(line.covariance_unscaled[i, i]) for i in (1, 0))
    middle, half = sum(predicted) / 2.0, abs(predicted[0] - predicted[1]) / 2.0
    off = max(0.0, abs(line.slope - middle) - half) / slope_u
    from_none = abs(line.slope) / slope_u
    if off <= 2.0 < from_none:
        verdict = said("that is what surface tension does")
    elif off <= 2.0:
        verdict = said(
            "that agrees with surface tension, but with no loss at all as well: more or smaller holes"
        )
    elif from_none <= 2.0:
        verdict = said("no loss that grows as the hole shrinks is seen")
    else:
        verdict = said("surface tension alone does not explain that")
    fitted = with_uncertainty(1e6 * line.slope, 1e6 * slope_u, "mm²")
    rest = with_uncertainty(1e3 * line.intercept, 1e3 * rest_u, "mm")
    words = (
        said(
            "{expected}; the holes show {fitted} over the diameter: {verdict}",
            expected=expected,
            fitted=fitted,
            verdict=verdict,
        ),
        said(
            "they leave {rest} for all holes alike, which is what a wrong zero of the head would make",
            rest=rest,
        ),
    )
    return (line.slope, slope_u), (line.intercept, rest_u), words
