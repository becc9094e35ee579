"""One film or table: measured, derived, checked beforehand."""

from __future__ import annotations

from pathlib import Path

import click

from measure_app.cli.group import (
    AREA,
    FILE,
    LENGTH,
    LENGTH_U,
    NOTHING_FOUND,
    Bounded,
    no_report_option,
    option,
)
from measure_app.cli.terminal import deliver, say, shown_progress, stop_flag
from measure_app.spoken_help import SpokenCommand
from measure_app.words import said


@click.command(cls=SpokenCommand)
@click.argument("run", type=FILE)
@option(
    "--out", type=FILE, required=True, help="Folder for the results; an earlier result there is replaced."
)
@no_report_option
def measure(run: Path, out: Path, *, no_report: bool) -> int:
    """Find head and throw in every frame of RUN's film, and derive what they say.

    Writes readings.csv, findings.json, figures, workbooks and a report into the folder, all of them or
    none. Hand readings in RUN are kept and win over found ones; RUN itself is not changed. Exit status 1:
    it ran, but nothing could be found.
    """
    import threading
    from importlib import import_module

    from measure_app.clip import open_source
    from measure_app.outcome import measure as measured
    from measure_app.refusals import named_in
    from measure_app.report import check_folder, results_of, setup_frame
    from measure_app.runfile import check_clip_identity, clip_path, load_run

    check_folder(out)
    what = load_run(run)
    film = clip_path(what, run)
    # What is needed for calibrating takes a while to load; meanwhile the film is looked through and opened.
    threading.Thread(target=import_module, args=("scipy.special",)).start()
    check_clip_identity(what, film)
    with stop_flag() as stopped:
        with (
            named_in(run),
            open_source(film, capture_rate_hz=what.clip.capture_rate_hz) as clip,
            shown_progress(said("Reading the film")) as progress,
        ):
            outcome = measured(what, clip, progress=progress, stop_requested=stopped)
            picture = None if no_report else setup_frame(outcome, clip)
        return deliver(results_of(outcome), out, stopped, picture=picture, report=not no_report)


@click.command(cls=SpokenCommand)
@click.argument("table", type=FILE)
@option("--drop", type=LENGTH, help="Height of the orifice's centre over the landing level, m.")
@option("--drop-u", type=LENGTH_U, help="Standard uncertainty of the drop, m.")
@option(
    "--out", type=FILE, required=True, help="Folder for the results; an earlier result there is replaced."
)
@option("--gravity", type=Bounded(min=0.0, min_open=True, max=100.0), help="Accepted g, m/s².")
@option("--latitude", type=Bounded(-90.0, 90.0), help="Latitude, degrees, for the accepted g.")
@option("--elevation", type=Bounded(-11000.0, 100000.0), help="Height above sea level, m.")
@option("--temperature", type=Bounded(-10.0, 110.0), help="Temperature of the water, °C.")
@option("--diameter", type=LENGTH, help="Diameter of the orifice, m.")
@option("--diameter-u", type=LENGTH_U, help="Standard uncertainty of the diameter, m.")
@option("--wall", type=LENGTH, help="Thickness of the wall at the orifice, m.")
@option("--area", type=AREA, help="Horizontal area of the container's water, m².")
@option("--area-u", type=AREA, help="Standard uncertainty of the area, m².")
@no_report_option
def derive(
    *,
    table: Path,
    drop: float | None,
    drop_u: float | None,
    out: Path,
    gravity: float | None,
    latitude: float | None,
    elevation: float | None,
    temperature: float | None,
    diameter: float | None,
    diameter_u: float | None,
    wall: float | None,
    area: float | None,
    area_u: float | None,
    no_report: bool,
) -> int:
    """Derive findings from a TABLE of heads and throws that were measured by other means.

    TABLE is CSV with a header. Columns: head_m, head_cm or head_mm; throw_m, throw_cm or throw_mm; optionally
    time_s, a drop for each row (drop_m ...) and standard uncertainties (head_u_m, throw_u_mm ...). With
    semicolons or tabs between the columns, decimal commas are read too. What the table lacks is named as
    undetermined.
    """
    from analysis import Conditions
    from measure_app.report import check_folder, results_of_table
    from measure_app.table import load_table

    check_folder(out)
    conditions = Conditions(
        gravity_m_s2=gravity,
        latitude_deg=latitude,
        elevation_m=elevation,
        water_temperature_c=temperature,
        orifice_diameter_m=diameter,
        orifice_diameter_u_m=diameter_u,
        wall_thickness_m=wall,
        container_area_m2=area,
        container_area_u_m2=area_u,
    )
    with stop_flag() as stopped:
        results = results_of_table(load_table(table), conditions, drop, drop_u)
        return deliver(results, out, stopped, report=not no_report)


@click.command(cls=SpokenCommand)
@click.argument("run", type=FILE)
def check(run: Path) -> int:
    """Tell what is missing or doubtful in RUN before anything is measured.

    Exit status 1: as it stands, nothing could be found.
    """
    from measure_app.check import check_run, could_find
    from measure_app.clip import open_source
    from measure_app.runfile import check_clip_identity, clip_path, load_run

    what = load_run(run)
    film = clip_path(what, run)
    check_clip_identity(what, film)
    with open_source(film, capture_rate_hz=what.clip.capture_rate_hz) as clip:
        info = clip.info
    remarks = check_run(what, info)
    for remark in remarks:
        say(f"{said(remark.about)}: {said(remark.says)}")
    if not could_find(what, info):
        say(said("As it stands, nothing can be measured."))
        return NOTHING_FOUND
    say(
        said("Nothing is missing.")
        if not remarks
        else said("The run can be measured; the points above limit what it can say.")
    )
    return 0
