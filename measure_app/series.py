"""Readings, rules and stamps joined into the series that the engine fits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from analysis import (
    LANDING_WANDER,
    SURFACE_WANDER,
    AreaProfile,
    BoolArray,
    Column,
    Conditions,
    Corrections,
    Series,
    Wander,
    numbered,
    wandering,
)
from calibration import (
    Calibration,
    Camera,
    FloatArray,
    Gauge,
    Graduation,
    Lens,
    Mark,
    Metres,
    Rule,
    Segment,
    Setup,
)
from measure_app.errors import SetupIncomplete
from measure_app.run import (
    By,
    FrustumShape,
    LinePart,
    OrificePart,
    Profile,
    Reading,
    RoundShape,
    Run,
    SphereShape,
    Spot,
    ThrowZeroPart,
)
from measure_app.words import marked, said

EDGE_U_PX = 0.12
"""Shared error of found surfaces where a run file does not tell it: which place of the blurred edge is the
edge."""
JET_U_PX = 0.4
"""Shared error of found landings where a run file does not tell it: which place of the jet is its centre.
Such a file is of a time when landings were found less well than now."""
SURFACE_SOURCE = marked("surface: which place of the blurred edge")
LANDING_SOURCE = marked("landing: which place of the jet is its centre")
SURFACE_WAY = marked("surface: how its edge wanders")
LANDING_WAY = marked("landing: how its centre wanders")
"""The same errors, as far as they change along the line."""
DROP_SOURCE = "drop"
LEVEL_SOURCE = marked("landing line: height as drawn")
LINE_U_PX = 0.5
"""How far a carefully drawn landing line lies above or below the level that the drop was measured to, px."""

_Place = Callable[[FloatArray, FloatArray], Metres]


@dataclass(frozen=True, slots=True)
class SharedReading:
    """Errors that all found readings of a run have in common, px along their lines."""

    surface_u_px: float = EDGE_U_PX
    landing_u_px: float = JET_U_PX


def setup_of(run: Run, frame_size: tuple[int, int]) -> Setup:
    """Take out of a run what the calibration needs.

    Raises
    ------
    SetupIncomplete
        If the orifice is not marked; everything else may be absent and is then named by the calibration.
    """
    if run.orifice is None:
        raise SetupIncomplete(
            said("the centre of the hole is not marked; mark it in the frame"), where="orifice"
        )
    lens = run.camera.lens
    return Setup(
        frame_size=frame_size,
        orifice=_mark(run.orifice),
        rules=tuple(
            Rule(
                rule.name,
                rule.measures,
                tuple(Graduation(g.px, g.value_m) for g in rule.graduations),
                rule.graduation_u_m,
                rule.px_u,
                rule.behind_m,
                rule.behind_u_m,
            )
            for rule in run.rules
        ),
        camera=Camera(
            run.camera.distance_m,
            run.camera.distance_u_m,
            run.camera.facing_px,
            run.camera.facing_u_deg,
            Lens(lens.k1, lens.k2, lens.focal_px, lens.centre_px) if lens is not None else None,
        ),
        plumb=Segment(run.plumb.top_px, run.plumb.bottom_px) if run.plumb is not None else None,
        gauge_line=_gauge(run.gauge_line),
        landing_line=_gauge(run.landing_line),
        throw_zero=_mark(run.throw_zero) if run.throw_zero is not None else None,
    )


def _mark(part: OrificePart | ThrowZeroPart) -> Mark:
    return Mark(part.px, part.px_u, part.behind_m, part.behind_u_m)


def _gauge(part: LinePart | None) -> Gauge | None:
    if part is None:
        return None
    return Gauge(
        Segment(part.from_px, part.to_px),
        part.behind_m,
        part.behind_u_m,
        part.above_level_m,
        part.above_level_u_m,
    )


def conditions_of(run: Run) -> Conditions:
    """Take out of a run what was measured once, beside the film."""
    given = run.conditions
    hole = run.orifice
    # Where the drop is read from the frame it ends at the line itself, wherever that lies.
    line = run.landing_line if run.drop is not None else None
    return Conditions(
        gravity_m_s2=given.gravity_m_s2,
        latitude_deg=given.latitude_deg,
        elevation_m=given.elevation_m,
        water_temperature_c=given.water_temperature_c,
        orifice_diameter_m=hole.diameter_m if hole is not None else None,
        orifice_diameter_u_m=hole.diameter_u_m if hole is not None else None,
        container_area_m2=given.container_area_m2,
        container_area_u_m2=given.container_area_u_m2,
        jet_diameter_m=hole.jet_diameter_m if hole is not None else None,
        jet_diameter_u_m=hole.jet_diameter_u_m if hole is not None else None,
        wall_thickness_m=hole.wall_thickness_m if hole is not None else None,
        launch_angle_deg=hole.launch_angle_deg if hole is not None else None,
        launch_angle_u_deg=hole.launch_angle_u_deg if hole is not None else None,
        landing_above_m=line.above_level_m if line is not None else 0.0,
        landing_above_u_m=line.above_level_u_m if line is not None else 0.0,
        profile=profile_of(given.container_profile),
        profile_relative_u=given.container_profile_u,
    )


def profile_of(profile: Profile | None) -> AreaProfile | None:
    """Turn a container's shape, as a person states it, into areas at all heights."""
    match profile:
        case None:
            return None
        case RoundShape():
            return AreaProfile.of_diameters(
                [each.head_m for each in profile.diameters], [each.diameter_m for each in profile.diameters]
            )
        case FrustumShape():
            return AreaProfile.of_diameters(
                (profile.lower_head_m, profile.upper_head_m),
                (profile.lower_diameter_m, profile.upper_diameter_m),
            )
        case SphereShape():
            return AreaProfile.of_sphere(profile.centre_head_m, profile.diameter_m)
        case _:
            return AreaProfile.of_areas([each.head_m for each in profile], [each.area_m2 for each in profile])


def corrections_of(run: Run) -> Corrections:
    """Take out of a run which corrections of the law its person wants."""
    return Corrections(**msgspec.structs.asdict(run.corrections))


@dataclass(frozen=True, slots=True, eq=False)
class Lengths:
    """Heads and throws of every reading, in metres, and the series made of them."""

    readings: tuple[Reading, ...]
    heads: Metres
    """One for each reading; NaN where there is no surface or it cannot be turned into a length."""
    throws: Metres
    series: Series


def _partly(shared: FloatArray, places: FloatArray, like: Wander, u_px: float) -> FloatArray:
    """Part what is shared into sources, as `wandering` does, but for what is too large to wander.

    What makes an edge unsure by more than that (which edge of a thin line is the level, which of a band) is
    the same thing all through the film.
    """
    part = min(1.0, _WANDERS_PX / u_px) if u_px > 0.0 else 1.0
    ways = wandering(part * shared, places, like)
    stays = np.sqrt(1.0 - part**2) * shared
    ways[0] = np.where(ways[0] < 0.0, -1.0, 1.0) * np.hypot(ways[0], stays)
    return ways


_WANDERS_PX = 0.25
"""Up to how many px places that are found wander along their way, by measurement on films of all kinds."""


def series_of(
    readings: Sequence[Reading],
    run: Run,
    calibration: Calibration,
    seconds: FloatArray | None,
    shared: SharedReading | None = None,
) -> Lengths:
    """Join readings, calibration and times.

    Parameters
    ----------
    readings : sorted by frame
    run : for the drop and the lines
    calibration : of the same run
    seconds : (n_frames,) s, time of every frame of the clip; None for stills without a clock
    shared : errors that found readings have in common; None: the defaults of this module

    Returns
    -------
    Lengths
        Its series carries every shared source by name: those of the calibration, the drop, and what found
        readings have in common.
    """
    shared = shared or SharedReading()
    rows = tuple(readings)
    surfaces, landings = _spots([r.surface for r in rows]), _spots([r.landing for r in rows])
    heads = calibration.heads(surfaces.pixels, surfaces.u_px)
    throws = calibration.landings(landings.pixels, landings.u_px)
    head_edge = _common_shift(surfaces, run.gauge_line, calibration.heads, heads, shared.surface_u_px)
    throw_edge = _common_shift(landings, run.landing_line, calibration.throws, throws, shared.landing_u_px)
    head_ways = _partly(head_edge, _along(surfaces, run.gauge_line), SURFACE_WANDER, shared.surface_u_px)
    throw_ways = _partly(throw_edge, _along(landings, run.landing_line), LANDING_WANDER, shared.landing_u_px)
    n, k, up, out = len(rows), len(calibration.sources), len(head_ways) - 1, len(throw_ways) - 1
    # A row for each source, those of the calibration first: what follows takes one source after the other.
    head, throw, drop = (np.zeros((k + 4 + up + out, n)) for _ in range(3))
    head[:k], head[k + 1], head[k + 4 : k + 4 + up] = heads.shared.T, head_ways[0], head_ways[1:]
    throw[:k], throw[k + 2], throw[k + 4 + up :] = throws.shared.T, throw_ways[0], throw_ways[1:]
    if run.drop is not None:
        # With a drop measured elsewhere, a line drawn too high is met by the jet too early: dx/dy = x / (2
        # y0).
        throw[k + 3] = _level_shift(throws, rows, run, calibration)
        drop[k] = run.drop.u_m
        drop_m = run.drop.value_m
    else:
        read = calibration.drop()
        drop[:k] = read.shared.T
        drop_m = float(read.values[0])
    used = np.any([(np.abs(moves) > 0.0).any(axis=1) for moves in (head, throw, drop)], axis=0)
    names = (
        *(*calibration.sources, DROP_SOURCE, SURFACE_SOURCE, LANDING_SOURCE, LEVEL_SOURCE),
        *numbered(SURFACE_WAY, SURFACE_WANDER),
        *numbered(LANDING_WAY, LANDING_WANDER),
    )
    series = Series(
        sources=tuple(name for name, keep in zip(names, used.tolist(), strict=True) if keep),
        time_s=np.asarray(seconds[[r.frame for r in rows]], dtype=np.float64)
        if seconds is not None
        else None,
        head=_column(heads.values, heads.own_u, head[used].T),
        throw=_column(throws.values, throws.own_u, throw[used].T),
        drop=_column(np.full(n, drop_m), np.zeros(n), drop[used].T) if np.isfinite(drop_m) else None,
        kept=np.ones(n, dtype=bool),
    )
    return Lengths(rows, heads, throws, series)


def _along(spots: _Spots, line: LinePart | None) -> FloatArray:
    """(n,) px from the start of the line to each found place; NaN elsewhere."""
    if line is None:
        return np.full(len(spots.found), np.nan)
    along = Segment(line.from_px, line.to_px).along(spots.pixels)
    return np.where(spots.found, along, np.nan)


def _column(values: FloatArray, own_u: FloatArray, shared: FloatArray) -> Column | None:
    if not np.isfinite(values).any():
        return None
    return Column(np.array(values), np.array(own_u), shared)


@dataclass(frozen=True, slots=True, eq=False)
class _Spots:
    """Places of one kind, a row each; NaN where a reading has none."""

    pixels: FloatArray
    u_px: FloatArray
    found: BoolArray


def _spots(spots: Sequence[Spot | None]) -> _Spots:
    there = [spot for spot in spots if spot is not None]
    has = np.array([spot is not None for spot in spots], dtype=bool)
    pixels, u = np.full((2, len(spots)), np.nan), np.full(len(spots), np.nan)
    pixels[0, has], pixels[1, has] = [spot.px[0] for spot in there], [spot.px[1] for spot in there]
    u[has] = [spot.px_u for spot in there]
    found = np.zeros(len(spots), dtype=bool)
    found[has] = [spot.by is By.FOUND for spot in there]
    return _Spots(pixels.T, u, found)


def _level_shift(throws: Metres, rows: Sequence[Reading], run: Run, calibration: Calibration) -> FloatArray:
    """Change of each throw when the landing line lies one standard uncertainty above the drop's level."""
    if run.drop is None or run.landing_line is None:
        return np.zeros(len(rows))
    line = Segment(run.landing_line.from_px, run.landing_line.to_px)
    ends = np.array([line.at(np.array([0.25, 0.75]) * line.length_px)]).reshape(2, 2)
    placed = calibration.throws(ends, np.zeros(2)).values
    metres_per_px = abs(placed[1] - placed[0]) / (0.5 * line.length_px)
    if not np.isfinite(metres_per_px):
        return np.zeros(len(rows))
    return np.asarray(-np.nan_to_num(throws.values) / (2.0 * run.drop.value_m) * LINE_U_PX * metres_per_px)


def _common_shift(
    spots: _Spots, line: LinePart | None, place: _Place, lengths: Metres, u_px: float
) -> FloatArray:
    """Change of each found length when all found places move along their line by `u_px`."""
    found = spots.found
    shift = np.zeros(len(found))
    if not found.any() or line is None:
        return shift
    own, pixels = spots.u_px[found], spots.pixels[found]
    # Places err along their line, so that a length's own error over its place's tells what a pixel is worth
    # there; which way it goes is the same all along the line.
    worth = lengths.own_u[found] / own if np.all(own > 0.0) else place(pixels, np.ones(len(pixels))).own_u
    step = 0.5 * Segment(line.from_px, line.to_px).direction
    middle = np.median(pixels, axis=0)
    there, back = place(np.stack([middle + step, middle - step]), np.zeros(2)).values
    shift[found] = np.nan_to_num(worth * u_px * np.sign(there - back))
    return shift
