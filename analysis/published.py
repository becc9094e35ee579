"""What published tables lead one to expect of a hole: a band for Cv and one for Cd."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.published_tables import (
    BORDA_CD,
    CASTEL,
    CASTEL_DIAMETER_M,
    FOOT_M,
    HAMILTON_SMITH_CD,
    HAMILTON_SMITH_DIAMETERS_FT,
    INCH_M,
    ROUNDED_BY_TEMPERATURE,
    WEISBACH_CV,
)
from analysis.series import Conditions
from analysis.water import reynolds_number, water_at
from analysis.words import marked, said

_UNWIN = marked("Unwin, Hydraulics, Encyclopaedia Britannica 1910")
SHARP_CC, SHARP_CV = 0.64, 0.97
"""Contraction and speed coefficient of a sharp edge (Unwin s. 17, p. 38-39)."""
_ANY_CV, _ANY_CD = (0.80, 1.00), (0.55, 0.85)
"""Plain holes of any kind, short tubes to rounded edges (Unwin s. 17-20 and 49)."""
_OBSERVERS = 0.012
"""Half width for a tabulated Cd: Hamilton Smith, Mair and Bovey agree within this (largest difference 0.009),
and so do Smith's cells with a smooth curve (0.011)."""
_SMITH_LIMIT, _SMITH_RISE = 0.5868, 5.926
"""Cd = 0.5868 + 5.926/√Re: least squares through the 39 cells of Hamilton Smith with heads of four diameters
or more, for a kinematic viscosity of 1.2e-6 m²/s; rms 0.0037, Re from 9.6e3 up."""
_LEAST_SMALL, _SMALL_M = 0.59, 0.012
"""Least Cd for sharp holes below 12 mm: Unwin's own hole of 10 mm gave 0.594 to 0.598 under 1 to 1.5 ft (s.
26), where Hamilton Smith's table has 0.63, so that the rise for small holes is not beyond doubt."""
_MOST_SHARP = 0.78
"""Where the curve is no longer believed: at a Reynolds number of 900 nothing was measured near."""
_USUAL_TEMPERATURE_C = 18.0


class Edge(StrEnum):
    """The inner edge of a hole, on which its coefficients depend most."""

    SHARP = "sharp"
    ROUNDED = "rounded"
    CONVERGENT = "convergent"
    RE_ENTRANT = "re-entrant"


@dataclass(frozen=True, slots=True)
class ExpectedBand:
    """Where a coefficient is expected to lie, and why."""

    low: float
    high: float
    source: str
    why: str
    """In a few words, to be put behind the numbers."""
    extrapolated: bool = False
    """Whether the hole or the heads lie outside what the source measured."""
    likely: float | None = None
    """The likeliest value, where the source says more than the two ends."""
    lacks: str = ""
    """What is not known of the hole and would narrow the band."""

    def holds(self, value: float) -> bool:
        """Whether a value lies in the band."""
        return self.low <= value <= self.high

    @property
    def reckoned(self) -> float:
        """The value to reckon with where one is needed: the likeliest, else the middle."""
        return 0.5 * (self.low + self.high) if self.likely is None else self.likely


@dataclass(frozen=True, slots=True)
class ExpectedBands:
    """Both bands of one hole."""

    cv: ExpectedBand
    cd: ExpectedBand
    acts_as: str
    """What the hole is taken for, such as "sharp-edged hole"."""


def expected_bands(
    conditions: Conditions,
    head_range: tuple[float, float] | None = None,
    *,
    edge: Edge | None = None,
    convergence_deg: float | None = None,
    wall_thickness_m: float | None = None,
) -> ExpectedBands:
    """
    Give the published bands of Cv and Cd for a hole.

    Parameters
    ----------
    conditions : Conditions
        Of which the hole's diameter, the wall's thickness and the water's temperature are used.
    head_range : tuple of float, optional
        m, least and greatest head over the hole's centre; None: any.
    edge : Edge, optional
        None: not told; a plain hole in a wall is then taken for sharp-edged.
    convergence_deg : float, optional
        Whole angle of a convergent mouthpiece, degrees.
    wall_thickness_m : float, optional
        m; None: as the conditions say.

    Returns
    -------
    ExpectedBands
        With `extrapolated` set where the tables end before this hole or these heads. Where neither wall nor
        edge are known the bands span all plain holes.

    Notes
    -----
    A jet springs clear of a plain hole if the wall is thinner than the jet (Unwin s. 17, p. 39); a short tube
    flows full from a length of 1.5 diameters (s. 49, p. 51). Between the two either may happen.
    """
    d = conditions.orifice_diameter_m
    temperature = conditions.water_temperature_c
    heads = _sound_range(head_range)
    if wall_thickness_m is None:
        wall_thickness_m = conditions.wall_thickness_m
    if edge is Edge.ROUNDED:
        return _rounded(heads, d, temperature)
    if edge is Edge.RE_ENTRANT:
        return _re_entrant()
    if edge is Edge.CONVERGENT and convergence_deg is not None and math.isfinite(convergence_deg):
        return _convergent(convergence_deg, d)
    if d is None or not d > 0.0 or wall_thickness_m is None or edge is Edge.CONVERGENT:
        return _any(d, wall_thickness_m)
    return _in_a_wall(d, wall_thickness_m / d, heads, temperature)


def band_words(band: ExpectedBand, symbol: str) -> str:
    """Write a band as a sentence: ``published for such a hole: Cv 0.95 to 1.00; why (source)``."""
    beyond = said(", extrapolated") if band.extrapolated else ""
    return said(
        "published for such a hole{beyond}: {symbol} {low:.2f} to {high:.2f}; {why} ({source})",
        beyond=beyond,
        symbol=symbol,
        low=band.low,
        high=band.high,
        why=band.why,
        source=band.source,
    )


def short_tube_theory(contraction: float) -> float:
    """
    Cv of a short tube that loses only what the jet's spreading after its contraction takes.

    Parameters
    ----------
    contraction : float
        Cc inside the tube, above 0 and at most 1.

    Returns
    -------
    float
        1/√(1 + (1/Cc - 1)²), 0.872 for 0.64 (Unwin s. 49, p. 51, by Borda's and Carnot's loss).
    """
    return 1.0 / math.sqrt(1.0 + (1.0 / contraction - 1.0) ** 2)


def borda_theory() -> float:
    """Contraction of an inward tube from which the jet springs clear: by momentum, 1/2 (Unwin s. 37)."""
    # The pressure ρ g h on the area a feeds the momentum ρ v² Cc a of the jet, and v² = 2 g h.
    return 0.5


def mair_formula(head_m: float, diameter_m: float) -> float:
    """
    Cd of a sharp edge by the formula that goes with Mair's table.

    Parameters
    ----------
    head_m, diameter_m : float
        m, above zero; the table has 0.75 to 2 ft and 1 to 3 in.

    Returns
    -------
    float
        0.6075 + 0.0098/√h - 0.0037 d, h in ft and d in in (Unwin s. 20, p. 40).
    """
    return 0.6075 + 0.0098 / math.sqrt(head_m / FOOT_M) - 0.0037 * diameter_m / INCH_M


def hamilton_smith_cd(head_m: float, diameter_m: float) -> float | None:
    """
    Cd of a sharp-edged round hole, interpolated in Hamilton Smith's table.

    Parameters
    ----------
    head_m, diameter_m : float
        m.

    Returns
    -------
    float or None
        Straight between cells in the logarithms of head and diameter; None outside the cells that have a
        number.
    """
    position = float(
        np.interp(
            math.log(diameter_m) if diameter_m > 0.0 else -math.inf,
            np.log(FOOT_M * np.array(HAMILTON_SMITH_DIAMETERS_FT)),
            np.arange(len(HAMILTON_SMITH_DIAMETERS_FT)),
            left=math.nan,
            right=math.nan,
        )
    )
    if math.isnan(position) or not head_m > 0.0:
        return None
    left = min(int(position + 1e-6), len(HAMILTON_SMITH_DIAMETERS_FT) - 1)
    share = position - left
    if share < 1e-6:
        return _in_column(left, head_m)
    ends = _in_column(left, head_m), _in_column(left + 1, head_m)
    return None if ends[0] is None or ends[1] is None else (1.0 - share) * ends[0] + share * ends[1]


def _in_column(j: int, head_m: float) -> float | None:
    """Interpolate in the column of one diameter of Hamilton Smith's; None beyond its numbers."""
    column = [(h * FOOT_M, value) for h, row in HAMILTON_SMITH_CD if (value := row[j]) is not None]
    inside = (1.0 - 1e-6) * column[0][0] <= head_m <= (1.0 + 1e-6) * column[-1][0]
    return _between(head_m, column) if inside else None


def sharp_cd_by_reynolds(reynolds: float) -> float:
    """
    Cd of a sharp edge from the Reynolds number of hole and free speed √(2gh).

    Parameters
    ----------
    reynolds : float
        Above zero. Below 9.6e3 it is an extrapolation.

    Returns
    -------
    float
        0.5868 + 5.926/√Re, a curve through Hamilton Smith's cells.
    """
    return _SMITH_LIMIT + _SMITH_RISE / math.sqrt(reynolds)


def _sound_range(head_range: tuple[float, float] | None) -> tuple[float, float] | None:
    if head_range is None:
        return None
    low, high = head_range
    return (low, high) if math.isfinite(low) and math.isfinite(high) and 0.0 < low <= high else None


def _between(at: float, points: Sequence[tuple[float, float]]) -> float:
    """Interpolate straight in the logarithm of the first; the end values beyond the ends."""
    x = np.log([each for each, _ in points])
    return float(np.interp(math.log(at), x, [value for _, value in points]))


def _any(d: float | None, wall: float | None) -> ExpectedBands:
    lacks = said(" and ").join(
        name
        for name, value in ((said("the hole's diameter"), d), (said("the wall's thickness"), wall))
        if value is None
    )
    why = said("all kinds of plain holes, from a short tube to a rounded edge")
    if lacks:
        why += said("; {lacks} would narrow it", lacks=lacks)
    cv, cd = (ExpectedBand(*ends, f"{_UNWIN}, s. 17-20, 49", why, lacks=lacks) for ends in (_ANY_CV, _ANY_CD))
    return ExpectedBands(cv, cd, said("hole of unknown kind"))


def _in_a_wall(
    d: float, ratio: float, heads: tuple[float, float] | None, temperature: float | None
) -> ExpectedBands:
    """Tell thin wall, short tube and what lies between apart; `ratio` is thickness over diameter."""
    thin = _sharp(d, heads, temperature)
    # The jet is √Cc of the hole wide: in a wall thinner than that it springs clear.
    if ratio < math.sqrt(SHARP_CC):
        return thin
    tube = _short_tube(d, ratio)
    return tube if ratio >= 1.5 else _either(thin, tube, ratio)


def _sharp(d: float, heads: tuple[float, float] | None, temperature: float | None) -> ExpectedBands:
    cv = ExpectedBand(
        0.95,
        1.00,
        said("{unwin}, s. 17; Lienhard and Lienhard, J. Fluids Eng. 106 (1984) 13", unwin=_UNWIN),
        said(
            "a sharp edge in a thin wall gives 0.97 very often, large holes nearer 1; a thin "
            "jet's surface tension can make low heads look lower"
        ),
        likely=SHARP_CV,
    )
    return ExpectedBands(cv, _sharp_cd(d, heads, temperature), said("sharp-edged hole in a thin wall"))


def _sharp_cd(d: float, heads: tuple[float, float] | None, temperature: float | None) -> ExpectedBand:
    if heads is None:
        return ExpectedBand(
            0.58,
            0.72,
            said("{unwin}, s. 20 (Hamilton Smith)", unwin=_UNWIN),
            said("sharp edges of any size and head"),
            True,
        )
    tabulated = [hamilton_smith_cd(head, d) for head in heads]
    known = [value for value in tabulated if value is not None]
    if len(known) == 2:
        return ExpectedBand(
            min(_LEAST_SMALL, *known) if d < _SMALL_M else min(known) - _OBSERVERS,
            max(known) + _OBSERVERS,
            said("{unwin}, s. 20 (Hamilton Smith 1886)", unwin=_UNWIN),
            said("a sharp edge of this size at these heads; temperature hardly matters"),
            likely=0.5 * (min(known) + max(known)),
        )
    water = water_at(
        temperature if temperature is not None and 0.0 <= temperature <= 40.0 else _USUAL_TEMPERATURE_C
    )
    g = 9.80665
    numbers = [reynolds_number(water, math.sqrt(2.0 * g * head), d) for head in heads]
    by_curve = [min(_MOST_SHARP, sharp_cd_by_reynolds(number)) for number in numbers]
    # As far again as the curve has risen since the table's end: nobody measured here.
    edge = sharp_cd_by_reynolds(9.6e3)
    widened = [value + max(0.0, value - edge) for value in by_curve]
    return ExpectedBand(
        min(_LEAST_SMALL, *(value - _OBSERVERS for value in by_curve)),
        min(_MOST_SHARP + 0.02, max(widened) + _OBSERVERS),
        said("{unwin}, s. 20 (Hamilton Smith 1886)", unwin=_UNWIN),
        said(
            "the tables end at 6.1 mm and 0.09 to 0.18 m of head; carried on by Reynolds number "
            "to {two_figures} to {two_figures2}, where Cd is likely {min:.2f} to {max:.2f}",
            two_figures=_two_figures(min(numbers)),
            two_figures2=_two_figures(max(numbers)),
            min=min(by_curve),
            max=max(by_curve),
        ),
        extrapolated=True,
        likely=min(_MOST_SHARP, sharp_cd_by_reynolds(math.sqrt(numbers[0] * numbers[1]))),
    )


def _two_figures(number: float) -> str:
    return said("{number:,.0f}", number=float(f"{number:.2g}"))


def _short_tube(d: float, ratio: float) -> ExpectedBands:
    low = 0.77 if ratio <= 3.0 else 0.73
    small = d < CASTEL_DIAMETER_M
    band = ExpectedBand(
        low - (0.02 if small else 0.0),
        0.87,
        said("{unwin}, s. 49 and 50 (Castel); Molesworth's pocket-book, p. 258", unwin=_UNWIN),
        said(
            "a wall {ratio:.1f} diameters thick makes the hole a short tube that runs full: Cv = "
            "Cd = 0.82, less with length, 0.87 by theory",
            ratio=ratio,
        )
        + (said("; measured with wider tubes than this") if small else ""),
        extrapolated=small,
        likely=0.82 if ratio <= 3.0 else 0.79,
    )
    return ExpectedBands(band, band, said("short tube"))


def _either(thin: ExpectedBands, tube: ExpectedBands, ratio: float) -> ExpectedBands:
    why = said(
        "a wall {ratio:.1f} diameters thick is between a thin wall and a short tube: the jet "
        "may spring clear or run full, and may change from one to the other",
        ratio=ratio,
    )

    def joined(a: ExpectedBand, b: ExpectedBand) -> ExpectedBand:
        return ExpectedBand(
            min(a.low, b.low),
            max(a.high, b.high),
            f"{_UNWIN}, s. 17, 20, 49",
            why,
            a.extrapolated or b.extrapolated,
        )

    return ExpectedBands(
        joined(thin.cv, tube.cv), joined(thin.cd, tube.cd), said("hole in a wall of middle thickness")
    )


def _rounded(heads: tuple[float, float] | None, d: float | None, temperature: float | None) -> ExpectedBands:
    low_head, high_head = heads or (WEISBACH_CV[0][0] * FOOT_M, WEISBACH_CV[2][0] * FOOT_M)
    table = [(h * FOOT_M, value) for h, value in WEISBACH_CV]
    by_temperature = float(
        np.interp(
            _USUAL_TEMPERATURE_C if temperature is None else temperature,
            [each for each, _ in ROUNDED_BY_TEMPERATURE],
            [value for _, value in ROUNDED_BY_TEMPERATURE],
        )
    )
    beyond = low_head < table[0][0] or (d is not None and d < 0.01)
    low = min(_between(low_head, table), by_temperature) - 0.01
    if low_head < table[0][0]:
        # The loss is one of friction along the wall; it goes about as 1/√Re, that is as h to the -1/4.
        loss = 1.0 / table[0][1] ** 2 - 1.0
        low = min(low, 1.0 / math.sqrt(1.0 + loss * (table[0][0] / low_head) ** 0.25) - 0.01)
    high = min(1.0, max(_between(high_head, table), by_temperature) + 0.01)
    why = said(
        "a rounded edge: wall friction takes more of a low head and of a small hole, cold water adds to it"
    )
    source = said("{unwin}, s. 19 (Weisbach) and 26", unwin=_UNWIN)
    return ExpectedBands(
        ExpectedBand(low, high, source, why, beyond),
        ExpectedBand(low - 0.01, high, source, f"{why}; Cc = 1", beyond),
        said("hole with a rounded edge"),
    )


def _re_entrant() -> ExpectedBands:
    source = said("{unwin}, s. 37 (Borda and others)", unwin=_UNWIN)
    return ExpectedBands(
        ExpectedBand(0.95, 1.00, source, said("the jet springs clear of the tube's inner edge")),
        ExpectedBand(
            borda_theory(),
            max(BORDA_CD) + 0.01,
            source,
            said("an inward tube contracts the jet most: 0.5 by theory, 0.51 to 0.55 measured"),
        ),
        said("inward tube"),
    )


def _convergent(angle: float, d: float | None) -> ExpectedBands:
    angles = [row[0] for row in CASTEL]
    cv = float(np.interp(angle, angles, [row[2] for row in CASTEL]))
    cd = float(np.interp(angle, angles, [row[3] for row in CASTEL]))
    beyond = not angles[0] <= angle <= angles[-1] or (d is not None and d < 0.9 * CASTEL_DIAMETER_M)
    half = 0.03 if beyond else 0.01
    source = said("{unwin}, s. 50 (Castel)", unwin=_UNWIN)
    why = said("a mouthpiece that narrows by {angle:.3g}°, 2.6 diameters long", angle=angle) + (
        said("; measured with one 15.5 mm wide") if beyond else ""
    )
    return ExpectedBands(
        ExpectedBand(cv - half, min(1.0, cv + half), source, why, beyond),
        ExpectedBand(cd - half, min(1.0, cd + half), source, why, beyond),
        said("convergent mouthpiece"),
    )
