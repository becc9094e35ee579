"""An experiment forecast before the film."""

from __future__ import annotations

import json

import click

from measure_app.cli.group import Bounded, option
from measure_app.cli.terminal import encoding, stop_flag
from measure_app.spoken_help import SpokenCommand
from measure_app.words import said


def length(text: str) -> float:
    """Read a length with its unit, for click."""
    from measure_app.planning import length_of

    try:
        return length_of(text)
    except ValueError as error:
        raise click.BadParameter(str(error)) from None


def columns_x_rows(text: str) -> tuple[int, int]:
    """Read the size of a picture, such as 1920x1080, for click."""
    sides = [side.strip() for side in text.lower().replace("×", "x").split("x")]
    if len(sides) != 2 or not all(side.isascii() and side.isdigit() and len(side) <= 6 for side in sides):
        raise click.BadParameter(said("“{size}” is not columns x rows, such as 1920x1080", size=text[:30]))
    return int(sides[0]), int(sides[1])


@click.command(cls=SpokenCommand)
@option("--bore", type=length, help="Inner diameter of a round container.")
@option("--width", type=length, help="Inner width of a box, across the picture.")
@option("--depth", type=length, help="Inner depth of a box, along the line of sight.")
@option("--head", type=length, required=True, help="Water over the hole's centre at the start.")
@option("--hole", type=length, required=True, help="Diameter of the hole.")
@option("--drop", type=length, required=True, help="Hole's centre over the landing level.")
@option("--wall", type=length, help="Thickness of the wall at the hole (1mm).")
@option(
    "--edge",
    type=click.Choice(["sharp", "rounded", "re-entrant"]),
    default="sharp",
    help="Inner edge of the hole (sharp).",
)
@option("--tray", type=length, help="From below the hole to the tray's far end.")
@option("--distance", type=length, help="Camera to jet (1.5m).")
@option("--field", type=length, help="Width of the bench in the picture (as wide as needed).")
@option("--lens", type=Bounded(5.0, 2000.0), help="Focal length, mm on 36 x 24 mm film, for --field.")
@option("--picture", type=columns_x_rows, help="Columns and rows of the film (1920x1080).")
@option("--rate", type=Bounded(0.01, 1e5), help="Frames per second (30).")
@option("--readings", type=click.IntRange(3, 10_000_000), help="Frames that are read (all).")
@option("--temperature", type=Bounded(0.0, 40.0), help="Temperature of the water, °C (20).")
@option("--drop-u", type=length, help="Standard uncertainty of the drop (1mm).")
@option("--zero-u", type=length, help="... of the throw's zero (1mm).")
@option("--hole-u", type=length, help="... of the hole's diameter (0.06mm).")
@option("--area-u", type=Bounded(0.0, 50.0), help="... of the container's area, per cent (1).")
@option("--depth-u", type=length, help="... of the rules' distance before or behind the jet (3mm).")
@option("--sway-u", type=length, help="Unrest of the jet where it lands, standard deviation (1mm).")
@option("--launch-u", type=Bounded(0.0, 45.0), help="... of the jet's angle, degrees (0: level).")
@option("--rule", type=length, help="Length of the rules in the picture (300mm).")
@option("--hole-between", type=length, nargs=2, help="Look for a better hole between these two.")
@option("--drop-between", type=length, nargs=2, help="Look for a better drop between these two.")
@option("--json", "as_json", is_flag=True, help="Print JSON.")
def plan(
    *,
    bore: float | None,
    width: float | None,
    depth: float | None,
    head: float,
    hole: float,
    drop: float,
    wall: float | None,
    edge: str,
    tray: float | None,
    distance: float | None,
    field: float | None,
    lens: float | None,
    picture: tuple[int, int] | None,
    rate: float | None,
    readings: int | None,
    temperature: float | None,
    drop_u: float | None,
    zero_u: float | None,
    hole_u: float | None,
    area_u: float | None,
    depth_u: float | None,
    sway_u: float | None,
    launch_u: float | None,
    rule: float | None,
    hole_between: tuple[float, float] | None,
    drop_between: tuple[float, float] | None,
    as_json: bool,
) -> int:
    """Tell before the film what an experiment will give.

    Throws against heads, draining time, tray, picture, how well Cv will be known and what limits it, which g
    could be measured, and advice. With --hole-between or --drop-between it also looks for a better hole and
    drop. Lengths take a unit, 4mm, 25cm or 1.5m; a bare number is metres.
    """
    from analysis import Edge
    from measure_app.planning import Asked, forecast, instruments_of, plan_of, plan_tree, told

    planned = plan_of(
        Asked(
            head,
            hole,
            drop,
            bore_m=bore,
            width_m=width,
            depth_m=depth,
            wall_m=wall,
            edge=Edge(edge),
            tray_m=tray,
            distance_m=distance,
            field_m=field,
            focal_equivalent_mm=lens,
            image_px=picture,
            frame_rate_hz=rate,
            readings=readings,
            temperature_c=temperature,
            instruments=instruments_of(
                drop_u_m=drop_u,
                zero_u_m=zero_u,
                hole_diameter_u_m=hole_u,
                area_relative_u=None if area_u is None else area_u / 100.0,
                rule_depth_u_m=depth_u,
                sway_u_m=sway_u,
                launch_u_deg=launch_u,
                rule_length_m=rule,
            ),
        )
    )
    with stop_flag() as stopped:
        expected, proposal = forecast(planned, hole_between, drop_between, stop_requested=stopped)
    if as_json:
        click.echo(json.dumps(plan_tree(expected, proposal), indent=1, ensure_ascii=True))
    else:
        click.echo(told(expected, proposal, encoding()))
    return 0
