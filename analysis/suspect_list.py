"""Everything that may be wrong at the bench, with what it does to the laws and what would settle it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.basis import Basis
from analysis.drag import slowing
from analysis.published import ExpectedBand
from analysis.series import Column, IntArray
from analysis.shifts import LANDING_HEIGHT, Shift
from analysis.suspect_trials import Trial, Wrong
from analysis.words import marked, said

_DROP_OF_WATER_M = 6e-3
"""A jet that has broken up flies as drops of about twice its diameter (Rayleigh 1879: 1.9)."""
TUBE_CV = TUBE_CD = ExpectedBand(
    0.79,
    0.85,
    marked("Unwin, Hydraulics, Encyclopaedia Britannica 1910, s. 49"),
    marked("short tube flowing full"),
)
_CAPILLARY_DRAIN = 2.0 / 3.5
"""Laplace's pressure alone acts on the discharge, the jet's pull too on the throw (see `analysis.shifts`)."""


@dataclass(frozen=True, slots=True, eq=False)
class Trying:
    """One suspect before it is tried."""

    name: str
    unit: str
    per_unit: float
    """SI size of one `unit`."""
    step: float
    """A small size, SI."""
    trial: Trial
    says: Callable[[str, float], str]
    """What would be so, from the size in words (without sign) and the signed size, SI."""
    check: str
    usual: float
    """Size, SI, that such an error easily has at a bench; common practice, no source. It orders suspects that
    the readings cannot tell apart, and nothing else."""
    stated_u: float | None = None
    """SI."""
    traced: bool = False
    """Whether that uncertainty is of the jet's trace, and nobody stated it."""
    one_sided: bool = False
    """Whether only sizes above zero make sense."""
    expected: float | None = None
    """Size to be expected, SI, where one is; it may be off by half of itself."""


def to_try(basis: Basis) -> tuple[Trying, ...]:
    """
    List the suspects that can be tried on a run, with what was stated of each.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.

    Returns
    -------
    tuple of Trying
        Without the hole acting as a short tube, which is another band and not a size.
    """
    return (*_of_throws(basis), *_of_heads(basis), *_of_flow(basis))


def _of_throws(basis: Basis) -> tuple[Trying, ...]:
    series = basis.corrected.throws
    if basis.pairs is None or series.throw is None or series.drop is None:
        return ()
    rows = basis.pairs.rows
    at = basis.conditions
    u_zero, u_scale = _zero_and_scale(series.throw, series.sources, rows)
    _, u_depth = _zero_and_scale(series.throw, series.sources, rows, depth=True)
    film = at.landing_above_u_m if LANDING_HEIGHT in series.sources else None
    angle_u = None if at.launch_angle_u_deg is None else math.radians(at.launch_angle_u_deg)
    per_wind = _wind(basis)
    return (
        Trying(
            marked("drop"),
            "mm",
            1e-3,
            1e-4,
            lambda s: Wrong(drop_m=s),
            lambda size, s: said(
                "the drop would have to be {size} {more} than stated", size=size, more=_more(s)
            ),
            said(
                "hang a plumb line from the hole and measure again, down to the level on which the jet lands"
            ),
            usual=5e-3,
            stated_u=_known(math.hypot(*series.drop.shared[rows[0]])),
        ),
        Trying(
            marked("wet landing"),
            "mm",
            1e-3,
            1e-4,
            lambda s: Wrong(drop_m=-s),
            lambda size, s: (
                said(
                    "water would have to stand {size} deep where the jet lands, or the landing be read "
                    "that high",
                    size=size,
                )
                if s > 0.0
                else said("the landing would have to lie {size} below its own tray", size=size)
            ),
            said(
                "measure how deep the water stands where the jet lands; tip the tray or lay a cloth "
                "in it, and wipe up spills"
            ),
            usual=3e-3,
            stated_u=film,
            one_sided=True,
        ),
        Trying(
            marked("throw zero"),
            "mm",
            1e-3,
            1e-4,
            lambda s: Wrong(throw_zero_m=s),
            lambda size, s: said(
                "the throw's zero would have to be marked {size} too {words} the landing, so that "
                "all throws are read that much too {words2}",
                size=size,
                words=said("near to") if s > 0.0 else said("far from"),
                words2="short" if s > 0.0 else "long",
            ),
            said(
                "hang a plumb line from the outside of the hole, where the jet springs clear, and "
                "mark its foot again"
            ),
            usual=5e-3,
            stated_u=u_zero,
        ),
        Trying(
            marked("throw scale"),
            "%",
            1e-2,
            1e-3,
            lambda s: Wrong(throw_scale=s),
            lambda size, s: said(
                "all throws would have to be {size} {more} than read", size=size, more=_more(s)
            ),
            said("lay a second rule along the tape and compare them over the whole length that is used"),
            usual=1e-2,
            stated_u=u_scale,
        ),
        Trying(
            marked("tape in another plane than the jet"),
            "%",
            1e-2,
            1e-3,
            lambda s: Wrong(throw_scale=s),
            lambda size, s: said(
                "the tape would have to lie {words} the camera than the jet by {size} of the "
                "camera's distance ({s:.0f} mm for each metre)",
                words=said("nearer to") if s > 0.0 else said("farther from"),
                size=size,
                s=abs(1e3 * s),
            ),
            said(
                "look from above, or measure from the bench's edge, how far tape and landing lie "
                "before or behind each other"
            ),
            usual=3e-2,
            stated_u=u_depth,
        ),
        Trying(
            marked("launch angle"),
            "°",
            math.radians(1.0),
            1e-3,
            lambda s: Wrong(angle_rad=s),
            lambda size, s: said(
                "the jet would have to leave {size} {words} the angle taken",
                size=size,
                words=said("above") if s > 0.0 else said("below"),
            ),
            said(
                "see on a zoomed frame how level the jet leaves, against the plumb line or the "
                "water's surface"
            ),
            usual=0.025,
            stated_u=angle_u,
            traced=at.traced_angle_deg is not None,
        ),
        Trying(
            marked("tilted landing"),
            "°",
            math.radians(1.0),
            1e-3,
            lambda s: Wrong(angle_rad=-s),
            lambda size, s: said(
                "the landing would have to {words} away from the hole by {size}",
                words=said("rise") if s > 0.0 else said("sink"),
                size=size,
            ),
            said("put a spirit level along the tray, or a marble on it"),
            usual=0.025,
        ),
        Trying(
            "wind",
            "m/s",
            1.0,
            1e-2,
            lambda s: Wrong(throw_scale=per_wind * s),
            lambda size, s: said(
                "a steady draught of {size} {words} the jet would have to blow, if the jet flies as "
                "drops; on an unbroken jet it does far less",
                size=size,
                words=said("against") if s > 0.0 else said("along"),
            ),
            said("hang a thread beside the landing, shut windows and doors, and repeat"),
            usual=0.5,
        ),
    )


def _wind(basis: Basis) -> float:
    """
    Relative change of a throw with a steady wind against the jet, per m/s.

    The air slows a drop by c (v + w)², of which 2 c v w is the wind's: over the flight time T that takes
    c w T of the throw.
    """
    drops = np.array([0.3]) if basis.pairs is None else basis.pairs.drop
    flight = math.sqrt(2.0 * float(np.median(drops)) / basis.gravity.value)
    return flight * float(slowing(np.array([2.0]), _DROP_OF_WATER_M)[0]) / 4.0


def _of_heads(basis: Basis) -> tuple[Trying, ...]:
    series = basis.corrected.throws
    if series.head is None or not np.any(basis.chosen.with_head):
        return ()
    rows = np.nonzero(basis.chosen.with_head)[0]
    u_zero, u_scale = _zero_and_scale(series.head, series.sources, rows)
    _, u_depth = _zero_and_scale(series.head, series.sources, rows, depth=True)
    found = [
        Trying(
            marked("head zero"),
            "mm",
            1e-3,
            1e-4,
            lambda s: Wrong(head_zero_m=s),
            lambda size, s: said(
                "the hole's centre would have to be {size} {words} the marked one",
                size=size,
                words=said("below") if s > 0.0 else said("above"),
            ),
            said(
                "mark the hole's upper and lower edge in a zoomed frame and take the middle; read "
                "the flat of the surface, not its rim"
            ),
            usual=2e-3,
            stated_u=u_zero,
        ),
        Trying(
            marked("head scale"),
            "%",
            1e-2,
            1e-3,
            lambda s: Wrong(head_scale=s),
            lambda size, s: said(
                "all heads would have to be {size} {more} than read", size=size, more=_more(s)
            ),
            said(
                "hold a second rule beside the upright one and compare them over the whole height "
                "that is used"
            ),
            usual=1e-2,
            stated_u=u_scale,
        ),
        Trying(
            marked("upright rule in another plane than the surface"),
            "%",
            1e-2,
            1e-3,
            lambda s: Wrong(head_scale=s),
            lambda size, s: said(
                "the upright rule would have to stand {words} the camera than the surface's marked "
                "edge by {size} of the camera's distance ({s:.0f} mm for each metre)",
                words=said("nearer to") if s > 0.0 else said("farther from"),
                size=size,
                s=abs(1e3 * s),
            ),
            said("measure how far the rule stands before or behind the place where the surface is read"),
            usual=3e-2,
            stated_u=u_depth,
        ),
    ]
    tension = basis.shifts.get("capillary")
    applied = basis.corrections.capillary and isinstance(tension, Shift)
    if not applied:
        likely = -float(np.mean(tension.adds["jet_head"])) if isinstance(tension, Shift) else None
        beside = (
            ""
            if likely is None
            else said(" (about {likely:.0f} mm are to be expected of such a jet)", likely=1e3 * likely)
        )
        found.append(
            Trying(
                marked("surface tension of a thin jet"),
                "mm",
                1e-3,
                1e-4,
                lambda s: Wrong(head_lost_m=s, drain_lost_m=_CAPILLARY_DRAIN * s),
                lambda size, s: (
                    said(
                        "{size} of head would have to be lost to the skin of the jet{beside}",
                        size=size,
                        beside=beside,
                    )
                    if s > 0.0
                    else said("surface tension would have to add {size} of head, which it cannot", size=size)
                ),
                said(
                    "repeat with a hole twice as wide: what surface tension takes is then half as much, "
                    "a wrong zero stays (an adult or technician makes the hole, with eye protection)"
                ),
                usual=6e-3 if likely is None else likely,
                one_sided=True,
                expected=likely,
            )
        )
    if basis.drain is not None:
        found.append(
            Trying(
                marked("container not equally wide"),
                "%",
                1e-2,
                1e-3,
                lambda s: Wrong(taper=s),
                lambda size, s: said(
                    "the container's area would have to be {size} {words} at the highest head than at "
                    "the lowest",
                    size=size,
                    words=said("larger") if s > 0.0 else said("smaller"),
                ),
                said(
                    "measure across the container outside at several heights, or pour in equal volumes "
                    "and mark the level after each"
                ),
                usual=5e-2,
                stated_u=None,
            )
        )
    return tuple(found)


def _of_flow(basis: Basis) -> tuple[Trying, ...]:
    at = basis.conditions
    if basis.drain is None or not (at.container_area_m2 or basis.clock.profile is not None):
        return ()
    if not (at.orifice_diameter_m or at.jet_diameter_m):
        return ()
    area_u = at.profile_relative_u
    if basis.clock.profile is None and at.container_area_m2 and at.container_area_u_m2 is not None:
        area_u = at.container_area_u_m2 / at.container_area_m2
    found = [
        Trying(
            marked("slow-motion factor"),
            "%",
            1e-2,
            1e-3,
            lambda s: Wrong(flow=-math.log1p(max(s, -0.99))),
            lambda size, s: said(
                "the film's seconds would have to be {size} {words} than true ones: the speed at "
                "which the film plays is not the one stated",
                size=size,
                words=said("longer") if s > 0.0 else said("shorter"),
            ),
            said("film a clock with a second hand, or time the whole run with a stop-watch, and compare"),
            usual=0.1,
        ),
        Trying(
            marked("container area"),
            "%",
            1e-2,
            1e-3,
            lambda s: Wrong(flow=s),
            lambda size, s: said(
                "the container's area would have to be {size} {more} than stated", size=size, more=_more(s)
            ),
            said(
                "pour in a measured volume and read how far the level rises; what stands in the water counts"
            ),
            usual=3e-2,
            stated_u=area_u,
        ),
    ]
    d, jet = at.orifice_diameter_m, at.jet_diameter_m
    if d is not None and d > 0.0:
        found.append(
            Trying(
                marked("hole's diameter"),
                "mm",
                1e-3,
                1e-5,
                lambda s: Wrong(hole_flow=-2.0 * math.log1p(max(s / d, -0.99))),
                lambda size, s: said(
                    "the hole would have to be {size} {more} than stated",
                    size=size,
                    more=_more(s, "wider", "narrower"),
                ),
                said("gauge the hole with a drill's shank or a calliper, twice, across each other"),
                usual=2e-4,
                stated_u=at.orifice_diameter_u_m,
            )
        )
    if jet is not None and jet > 0.0:
        found.append(
            Trying(
                marked("jet's diameter"),
                "mm",
                1e-3,
                1e-5,
                lambda s: Wrong(jet_flow=-2.0 * math.log1p(max(s / jet, -0.99))),
                lambda size, s: said(
                    "the jet would have to be {size} {more} than stated",
                    size=size,
                    more=_more(s, "thicker", "thinner"),
                ),
                said(
                    "measure the jet again on a close frame, a scale in its plane, half a hole's width "
                    "outside"
                ),
                usual=2e-4,
                stated_u=at.jet_diameter_u_m,
            )
        )
    return tuple(found)


def _more(size: float, more: str = "larger", less: str = "smaller") -> str:
    return more if size > 0.0 else less


def _known(u: float) -> float | None:
    return u if u > 0.0 else None


def _zero_and_scale(
    column: Column, sources: tuple[str, ...], rows: IntArray, *, depth: bool = False
) -> tuple[float | None, float | None]:
    """Split what was stated of a column into an error of its zero, m, and one of its scale."""
    chosen = [j for j, name in enumerate(sources) if not depth or name.endswith("depth")]
    values, shared = column.values[rows], column.shared[rows][:, chosen]
    if not chosen or values.shape[0] < 2 or not float(np.ptp(values)) > 0.0:
        return None, None
    design = np.stack([np.ones_like(values), values], axis=1)
    fitted = np.asarray(np.linalg.lstsq(design, shared, rcond=None)[0], dtype=np.float64)
    zero, scale = (float(np.sqrt(np.sum(row**2))) for row in fitted)
    # Columns that are all zero or all slope leave rounding noise in the other.
    return _known(zero if zero > 1e-7 else 0.0), _known(scale if scale > 1e-6 else 0.0)
