"""The commands. Each imports what it needs when it runs, so that help comes at once."""

from __future__ import annotations

import contextlib
import json
import math
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from measure_app._version import __version__
from measure_app.spoken_help import SpokenGroup, SpokenOption, speak_in_click
from measure_app.words import counted, languages, said, use_language

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from measure_app.report import Results

NOTHING_FOUND = 1
"""Exit status of a command that ran but found nothing."""

speak_in_click()
_file = click.Path(path_type=Path)
_option = partial(click.option, cls=SpokenOption)


class _Bounded(click.FloatRange):
    """A finite number within bounds; "nan" passes every comparison, so it is asked for by name."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(said("{value} is not a finite number.", value=value), param, ctx)
        return number


_length = _Bounded(min=0.0, min_open=True, max=1000.0)
_length_u = _Bounded(min=0.0, min_open=True, max=1000.0)
_area = _Bounded(min=0.0, min_open=True, max=1e6)
_no_report = _option("--no-report", is_flag=True, help="Leave out workbooks and report, which is quicker.")


def _speak(_ctx: click.Context, _param: click.Parameter, code: str | None) -> None:
    if code is not None:
        use_language(code)


@click.group(
    cls=SpokenGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(
    __version__, cls=SpokenOption, message="clepsydra %(version)s", help="Show the version and exit."
)
@_option(
    "--language",
    type=click.Choice(languages()),
    metavar="CODE",
    expose_value=False,
    is_eager=True,
    callback=_speak,
    help="Language of everything that is said: en or de; the system's own if not given.",
)
def commands() -> None:
    """Measure a filmed draining container.

    Head, throw and time from every frame, and the physics that they hold.
    """


@commands.command()
@click.argument("run", type=_file)
@_option(
    "--out", type=_file, required=True, help="Folder for the results; an earlier result there is replaced."
)
@_no_report
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
    from measure_app.report import check_folder, results_of, setup_frame
    from measure_app.runfile import check_clip_identity, clip_path, load_run

    check_folder(out)
    what = load_run(run)
    film = clip_path(what, run)
    # What is needed for calibrating takes a while to load; meanwhile the film is looked through and opened.
    threading.Thread(target=import_module, args=("scipy.special",)).start()
    check_clip_identity(what, film)
    with _stop_flag() as stopped:
        with (
            open_source(film, capture_rate_hz=what.clip.capture_rate_hz) as clip,
            _progress(said("Reading the film")) as progress,
        ):
            outcome = measured(what, clip, progress=progress, stop_requested=stopped)
            picture = None if no_report else setup_frame(outcome, clip)
        return _deliver(results_of(outcome), out, stopped, picture=picture, report=not no_report)


@commands.command()
@click.argument("table", type=_file)
@_option("--drop", type=_length, help="Height of the orifice's centre over the landing level, m.")
@_option("--drop-u", type=_length_u, help="Standard uncertainty of the drop, m.")
@_option(
    "--out", type=_file, required=True, help="Folder for the results; an earlier result there is replaced."
)
@_option("--gravity", type=_Bounded(min=0.0, min_open=True, max=100.0), help="Accepted g, m/s².")
@_option("--latitude", type=_Bounded(-90.0, 90.0), help="Latitude, degrees, for the accepted g.")
@_option("--elevation", type=_Bounded(-11000.0, 100000.0), help="Height above sea level, m.")
@_option("--temperature", type=_Bounded(-10.0, 110.0), help="Temperature of the water, °C.")
@_option("--diameter", type=_length, help="Diameter of the orifice, m.")
@_option("--diameter-u", type=_length_u, help="Standard uncertainty of the diameter, m.")
@_option("--wall", type=_length, help="Thickness of the wall at the orifice, m.")
@_option("--area", type=_area, help="Horizontal area of the container's water, m².")
@_option("--area-u", type=_area, help="Standard uncertainty of the area, m².")
@_no_report
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
    with _stop_flag() as stopped:
        results = results_of_table(load_table(table), conditions, drop, drop_u)
        return _deliver(results, out, stopped, report=not no_report)


@commands.command()
@click.argument("run", type=_file)
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
        _say(f"{said(remark.about)}: {said(remark.says)}")
    if not could_find(what, info):
        _say(said("As it stands, nothing can be measured."))
        return NOTHING_FOUND
    _say(
        said("Nothing is missing.")
        if not remarks
        else said("The run can be measured; the points above limit what it can say.")
    )
    return 0


@commands.command()
@click.argument("run", type=_file)
@_option("--out", type=_file, required=True, help="The pack to be made; ends in .clepsydra or .zip.")
@_option("--height", type=click.IntRange(120, 16384), help="Make the film smaller: rows at most, px.")
@_option("--max-mb", type=_Bounded(0.1, 1900.0), help="Make the film smaller: size at most, MB.")
@_option("--withhold", multiple=True, help="A part of the set-up that students find out themselves.")
@_option("--give-readings", is_flag=True, help="Let RUN's readings go along, as a worked example.")
@_option("--questions", type=_file, help="Text file, one question a line; instead of RUN's own.")
@_option("--blind", is_flag=True, help="Fits and found readings stay hidden while a student reads.")
@_option("--students", type=click.IntRange(2, 500), help="Deal the frames out in so many shares.")
@_option("--each", type=click.IntRange(2, 1000), help="Frames in a share (12).")
@_option("--common", type=click.IntRange(0, 998), help="Frames that everybody reads (2).")
def pack(
    *,
    run: Path,
    out: Path,
    height: int | None,
    max_mb: float | None,
    withhold: tuple[str, ...],
    give_readings: bool,
    questions: Path | None,
    blind: bool,
    students: int | None,
    each: int | None,
    common: int | None,
) -> int:
    """Make one file of RUN and its film that a class can be given.

    The set-up goes along but for the parts withheld (camera, conditions, drop, gauge_line, landing_line,
    orifice, plumb, rules, throw_zero); readings, notes, answers and names stay behind. A smaller film keeps
    every frame at its exact time, and all positions are carried over to it. With --students each gets frames
    of their own, every frame with two readers or more.
    """
    from measure_app.packs import PackPlan, load_questions
    from measure_app.packs import pack as packed

    plan = PackPlan(
        withhold=frozenset(part.replace("-", "_") for part in withhold),
        give_readings=give_readings,
        questions=load_questions(questions) if questions is not None else None,
        blind=blind,
        students=students,
        each=each,
        common=common,
        height=height,
        most_bytes=round(max_mb * 2**20) if max_mb is not None else None,
    )
    with _stop_flag() as stopped, _progress(said("Making the film smaller")) as progress:
        made = packed(run, out, plan, progress=progress, stop_requested=stopped)
    for line in made.says():
        _say(line)
    return 0


@commands.command()
@click.argument("pack", type=_file)
@_option("--out", type=_file, required=True, help="New or empty folder.")
@_option("--share", type=click.IntRange(1, 500), help="Number of your share; all of them if not given.")
def unpack(pack: Path, out: Path, share: int | None) -> int:
    """Open a PACK from a teacher into a folder: its film, and the run to fill in.

    Nothing in the pack can reach outside the folder; a pack with anything in it that packs do not have is
    refused whole. The run, saved with your readings, is your answer.
    """
    from measure_app.packs import unpack as unpacked

    with _stop_flag() as stopped:
        made = unpacked(pack, out, share=share, stop_requested=stopped)
    _say(
        counted(
            "Unpacked to {out}: {film}, {run}. Open it, read, save: the saved run is the answer.",
            "Unpacked to {out}: {film}, {count} runs, one for each share. Open it, read, save: the saved run "
            "is the answer.",
            len(made.runs),
            out=out,
            film=made.film.name,
            run=made.runs[0],
        )
    )
    return 0


@commands.command()
@click.argument("folder", type=_file)
@_option("--key", type=_file, required=True, help="The teacher's run, best with its film beside it.")
@_option("--out", type=_file, required=True, help="Folder for the results; an earlier one is replaced.")
@_option("--criteria", type=_file, help="TOML file that says what counts for the marks.")
@_option("--anonymous", is_flag=True, help="Numbers in place of names and file names.")
@_option("--dask", metavar="ADDRESS", help="Read the answers on a running cluster (clepsydra[dask]).")
def collate(
    folder: Path, key: Path, out: Path, criteria: Path | None, dask: str | None, *, anonymous: bool
) -> int:
    """Hold the answers of a class together: all the run files in FOLDER and below.

    Repeatability and reproducibility (ISO 5725-2), Mandel's h and k, systematic faults by name, agreement
    with the key, the pooled run, marks. A file that cannot be read is listed with the reason and stops
    nothing.
    """
    from measure_app.collating import check_class_folder, load_criteria, told, write_class
    from measure_app.collating import collate as collated

    check_class_folder(out)
    chosen = load_criteria(criteria) if criteria is not None else None
    with _stop_flag() as stopped, _progress(said("Working")) as progress:
        result = collated(
            folder,
            key,
            criteria=chosen,
            anonymous=anonymous,
            dask=dask,
            progress=progress,
            stop_requested=stopped,
        )
        files = write_class(result, out, stop_requested=stopped)
    click.echo(told(result, str(out), files, _encoding()))
    return 0


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


@commands.command()
@_option("--bore", type=length, help="Inner diameter of a round container.")
@_option("--width", type=length, help="Inner width of a box, across the picture.")
@_option("--depth", type=length, help="Inner depth of a box, along the line of sight.")
@_option("--head", type=length, required=True, help="Water over the hole's centre at the start.")
@_option("--hole", type=length, required=True, help="Diameter of the hole.")
@_option("--drop", type=length, required=True, help="Hole's centre over the landing level.")
@_option("--wall", type=length, help="Thickness of the wall at the hole (1mm).")
@_option(
    "--edge",
    type=click.Choice(["sharp", "rounded", "re-entrant"]),
    default="sharp",
    help="Inner edge of the hole (sharp).",
)
@_option("--tray", type=length, help="From below the hole to the tray's far end.")
@_option("--distance", type=length, help="Camera to jet (1.5m).")
@_option("--field", type=length, help="Width of the bench in the picture (as wide as needed).")
@_option("--lens", type=_Bounded(5.0, 2000.0), help="Focal length, mm on 36 x 24 mm film, for --field.")
@_option("--picture", type=columns_x_rows, help="Columns and rows of the film (1920x1080).")
@_option("--rate", type=_Bounded(0.01, 1e5), help="Frames per second (30).")
@_option("--readings", type=click.IntRange(3, 10_000_000), help="Frames that are read (all).")
@_option("--temperature", type=_Bounded(0.0, 40.0), help="Temperature of the water, °C (20).")
@_option("--drop-u", type=length, help="Standard uncertainty of the drop (1mm).")
@_option("--zero-u", type=length, help="... of the throw's zero (1mm).")
@_option("--hole-u", type=length, help="... of the hole's diameter (0.06mm).")
@_option("--area-u", type=_Bounded(0.0, 50.0), help="... of the container's area, per cent (1).")
@_option("--depth-u", type=length, help="... of the rules' distance before or behind the jet (3mm).")
@_option("--sway-u", type=length, help="Unrest of the jet where it lands, standard deviation (1mm).")
@_option("--launch-u", type=_Bounded(0.0, 45.0), help="... of the jet's angle, degrees (0: level).")
@_option("--rule", type=length, help="Length of the rules in the picture (300mm).")
@_option("--hole-between", type=length, nargs=2, help="Look for a better hole between these two.")
@_option("--drop-between", type=length, nargs=2, help="Look for a better drop between these two.")
@_option("--json", "as_json", is_flag=True, help="Print JSON.")
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
    with _stop_flag() as stopped:
        expected, proposal = forecast(planned, hole_between, drop_between, stop_requested=stopped)
    if as_json:
        click.echo(json.dumps(plan_tree(expected, proposal), indent=1, ensure_ascii=True))
    else:
        click.echo(told(expected, proposal, _encoding()))
    return 0


@commands.command()
@click.argument("runs", type=_file, nargs=-1, required=True)
@_option("--out", type=_file, required=True, help="Folder for the results; an earlier one is replaced.")
@_option("--same", help="Words, with commas: only sources so named are common to all runs.")
@_option("--apart", help="Words, with commas: sources so named are each run's own.")
@_option("--hole", type=_Bounded(0.1, 500.0), multiple=True, help="Each run's hole, mm, in their order.")
def compare(
    runs: tuple[Path, ...], out: Path, same: str | None, apart: str | None, hole: tuple[float, ...]
) -> int:
    """Compare RUNS and pool them: repeats with one hole, or holes of different sizes.

    Each is a run file, a result's folder or its findings.json; a run without readings is measured on the way.
    Sources of error of the same name count as common to all runs, the case in which more runs do not make
    them smaller, unless the set-ups show that they were measured anew or --same or --apart says otherwise.
    """
    from measure_app.comparing import check_comparison_folder, labelled, load_entry, told, write_comparison
    from measure_app.comparing import compare as compared

    if hole and len(hole) != len(runs):
        raise click.UsageError(
            said(
                "--hole wants one for each of the {runs} runs, got {holes}.", runs=len(runs), holes=len(hole)
            )
        )
    check_comparison_folder(out)
    with _stop_flag() as stopped, _progress(said("Reading the films")) as progress:
        entries = labelled(
            [
                load_entry(
                    path,
                    diameter_m=1e-3 * hole[i] if hole else None,
                    progress=progress,
                    stop_requested=stopped,
                )
                for i, path in enumerate(runs)
            ]
        )
        result = compared(entries, same=_words(same) if same is not None else None, apart=_words(apart or ""))
        files = write_comparison(result, out, stop_requested=stopped)
    click.echo(told(result, str(out), files, _encoding()))
    return 0


def _words(listed: str) -> tuple[str, ...]:
    return tuple(word for word in (each.strip() for each in listed.split(",")) if word)


@commands.command()
@click.argument("what", type=click.Choice(["run", "findings"]), default="run")
def schema(what: str) -> None:
    """Print the JSON Schema of run files, or of the findings.json that results hold."""
    from measure_app.report import findings_schema
    from measure_app.runfile import run_schema

    tree = findings_schema() if what == "findings" else run_schema()
    click.echo(json.dumps(tree, indent=1, ensure_ascii=True))


def _deliver(
    results: Results,
    out: Path,
    stopped: Callable[[], bool],
    *,
    picture: NDArray[np.uint8] | None = None,
    report: bool = True,
) -> int:
    """Write a result, print its summary, and return the exit status."""
    from measure_app.report import summary, write_checked

    with _telling() as telling:
        results, files = write_checked(
            results, out, picture=picture, report=report, stop_requested=stopped, telling=telling
        )
    click.echo(summary(results, str(out), files, _encoding()))
    return 0 if results.found_anything else NOTHING_FOUND


def _encoding() -> str:
    return getattr(sys.stdout, "encoding", None) or "ascii"


def _say(words: str) -> None:
    """Print words, wrapped, in signs that the terminal has."""
    import textwrap

    from measure_app.report.summary import WIDTH, shown

    click.echo(shown(textwrap.fill(words, WIDTH, subsequent_indent="  "), _encoding()))


@contextmanager
def _stop_flag() -> Iterator[Callable[[], bool]]:
    """Turn the first Ctrl-C into a flag that long work asks for; a second one interrupts at once."""
    pressed = False

    def on_interrupt(_number: int, _frame: FrameType | None) -> None:
        nonlocal pressed
        if pressed:
            raise KeyboardInterrupt
        pressed = True

    try:
        before = signal.signal(signal.SIGINT, on_interrupt)
    except ValueError:  # not the main thread: whoever runs us there handles Ctrl-C
        yield lambda: False
        return
    try:
        yield lambda: pressed
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _progress(what: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show progress on one line of the terminal; on anything else say nothing."""
    with _telling() as tell:
        yield None if tell is None else lambda done, total: tell(done, total, what)


@contextmanager
def _telling() -> Iterator[Callable[[int, int, str], None] | None]:
    """Show on one line of the terminal how far the work is and what is done now; elsewhere say nothing."""
    if not sys.stderr.isatty():
        yield None
        return
    shown = ""

    def show(done: int, total: int, what: str) -> None:
        nonlocal shown
        percent = min(100, 100 * done // max(1, total))
        line = f"{what} [{'#' * (percent // 4):.<25}] {percent:3d} %"
        if line != shown:
            click.echo("\r" + line.ljust(len(shown)), nl=False, err=True)
            shown = line

    try:
        yield show
    finally:
        click.echo("\r" + " " * len(shown) + "\r", nl=False, err=True)


@commands.command(name="open")
@click.argument("file", type=_file, required=False)
def open_(file: Path | None) -> int:
    """Open the window, with FILE (a film or a run) if it is named."""
    from measure_app.screen import check_screen

    check_screen()
    from measure_app.decoder import command_of_decoder, started

    begun = None
    with contextlib.suppress(OSError):  # tried again, and told, when a film is opened
        begun = started(command_of_decoder())  # it makes ready while the window is loaded and built
    from measure_app.decoder import Decoder

    decoder = Decoder(begun=begun)
    try:
        from measure_app.gui.app import run_gui

        source = click.get_current_context().find_root().get_parameter_source("language")
        given = source is click.core.ParameterSource.COMMANDLINE
        return run_gui(file, language_given=given, decoder=decoder)
    finally:
        decoder.close()
