"""From what a person asks for to a plan: a round container or a box, and what is left to defaults."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace

from analysis import Edge, Forecast, Instruments, Limits, Plan, Proposal, forecast_of, proposal_of
from measure_app.errors import PlanRefused, Stopped
from measure_app.words import said


@dataclass(frozen=True, slots=True)
class Asked:
    """What is known of a planned experiment, m unless said otherwise; None where the usual is meant."""

    head_m: float
    hole_m: float
    drop_m: float
    bore_m: float | None = None
    """Inner diameter of a round container."""
    width_m: float | None = None
    depth_m: float | None = None
    """Inner sides of a box: across the picture, and along the line of sight."""
    wall_m: float | None = None
    edge: Edge = Edge.SHARP
    tray_m: float | None = None
    distance_m: float | None = None
    field_m: float | None = None
    focal_equivalent_mm: float | None = None
    image_px: tuple[int, int] | None = None
    frame_rate_hz: float | None = None
    readings: int | None = None
    temperature_c: float | None = None
    instruments: Instruments = field(default_factory=Instruments)


def plan_of(asked: Asked) -> Plan:
    """
    Make a plan.

    Parameters
    ----------
    asked : Asked

    Returns
    -------
    Plan

    Raises
    ------
    PlanRefused
        The container is neither round nor a box, or a value is one that no bench can have.
    """
    area, depth = _container(asked)
    if asked.field_m is not None and asked.focal_equivalent_mm is not None:
        raise PlanRefused(said("give the width of the picture or the lens, not both"), where="field")
    given = {
        "wall_thickness_m": asked.wall_m,
        "camera_distance_m": asked.distance_m,
        "frame_rate_hz": asked.frame_rate_hz,
        "temperature_c": asked.temperature_c,
        "tray_length_m": asked.tray_m,
        "field_width_m": asked.field_m,
        "focal_equivalent_mm": asked.focal_equivalent_mm,
        "readings": asked.readings,
    }
    if asked.image_px is not None:
        given |= {"image_width_px": asked.image_px[0], "image_height_px": asked.image_px[1]}
    try:
        plan = Plan(area, depth, asked.head_m, asked.hole_m, asked.drop_m, edge=asked.edge)
        return replace(
            plan,
            instruments=asked.instruments,
            **{name: value for name, value in given.items() if value is not None},  # type: ignore[arg-type]
        )
    except ValueError as error:
        raise PlanRefused(str(error)) from None


def instruments_of(**given: float | None) -> Instruments:
    """Make the instruments, with the usual uncertainty wherever None is given."""
    known = {each.name for each in fields(Instruments)}
    if unknown := given.keys() - known:
        raise TypeError(f"no such uncertainty: {', '.join(sorted(unknown))}")
    # Each by its own name, so that the field's type decides and not this function's.
    return replace(Instruments(), **{name: value for name, value in given.items() if value is not None})  # type: ignore[arg-type]


def forecast(
    plan: Plan,
    hole_between: tuple[float, float] | None = None,
    drop_between: tuple[float, float] | None = None,
    *,
    stop_requested: Callable[[], bool] = lambda: False,
) -> tuple[Forecast, Proposal | None]:
    """
    Forecast a plan, and look for a better hole and drop where asked.

    Parameters
    ----------
    plan : Plan
    hole_between, drop_between : tuple of float, optional
        m, ends between which they are sought; with only one given the other stays as planned, with none
        nothing is sought.
    stop_requested : callable
        Asked between two tries.

    Returns
    -------
    Forecast
    Proposal or None

    Raises
    ------
    PlanRefused
        The ends are no range.
    Stopped
        The search was stopped.
    """
    expected = forecast_of(plan)
    if hole_between is None and drop_between is None:
        return expected, None
    try:
        limits = Limits(
            hole_between or (plan.hole_diameter_m, plan.hole_diameter_m),
            drop_between or (plan.drop_m, plan.drop_m),
        )
    except ValueError as error:
        raise PlanRefused(str(error)) from None
    proposal = proposal_of(plan, limits, stop_requested=stop_requested)
    if proposal is None:
        raise Stopped(said("the search was stopped"))
    return expected, proposal


def _container(asked: Asked) -> tuple[float, float]:
    """Area of the water and extent along the line of sight."""
    box = (asked.width_m, asked.depth_m)
    if asked.bore_m is not None:
        if box != (None, None):
            raise PlanRefused(
                said("give the bore of a round container or width and depth of a box, not both")
            )
        _above_nought("bore", asked.bore_m)
        return math.pi * asked.bore_m**2 / 4.0, asked.bore_m
    if asked.width_m is None or asked.depth_m is None:
        raise PlanRefused(
            said("give the container's inner size: the bore, or width and depth"), where="container"
        )
    _above_nought("width", asked.width_m)
    _above_nought("depth", asked.depth_m)
    return asked.width_m * asked.depth_m, asked.depth_m


def _above_nought(name: str, value: float) -> None:
    if not 0.0 < value < math.inf:
        raise PlanRefused(
            said("must be above nought, got {value:g} m", value=value),
            where=name,
        )
