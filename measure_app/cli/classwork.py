"""What goes to a class and what comes back: packs, and answers held together."""

from __future__ import annotations

from pathlib import Path

import click

from measure_app.cli.group import FILE, Bounded, option
from measure_app.cli.terminal import encoding, say, shown_progress, stop_flag
from measure_app.spoken_help import SpokenCommand
from measure_app.words import counted, said


@click.command(cls=SpokenCommand)
@click.argument("run", type=FILE)
@option("--out", type=FILE, required=True, help="The pack to be made; ends in .clepsydra or .zip.")
@option("--height", type=click.IntRange(120, 16384), help="Make the film smaller: rows at most, px.")
@option("--max-mb", type=Bounded(0.1, 1900.0), help="Make the film smaller: size at most, MB.")
@option("--withhold", multiple=True, help="A part of the set-up that students find out themselves.")
@option("--give-readings", is_flag=True, help="Let RUN's readings go along, as a worked example.")
@option("--questions", type=FILE, help="Text file, one question a line; instead of RUN's own.")
@option("--blind", is_flag=True, help="Fits and found readings stay hidden while a student reads.")
@option("--students", type=click.IntRange(2, 500), help="Deal the frames out in so many shares.")
@option("--each", type=click.IntRange(2, 1000), help="Frames in a share (12).")
@option("--common", type=click.IntRange(0, 998), help="Frames that everybody reads (2).")
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
    with stop_flag() as stopped, shown_progress(said("Making the film smaller")) as progress:
        made = packed(run, out, plan, progress=progress, stop_requested=stopped)
    for line in made.says():
        say(line)
    return 0


@click.command(cls=SpokenCommand)
@click.argument("pack", type=FILE)
@option("--out", type=FILE, required=True, help="New or empty folder.")
@option("--share", type=click.IntRange(1, 500), help="Number of your share; all of them if not given.")
def unpack(pack: Path, out: Path, share: int | None) -> int:
    """Open a PACK from a teacher into a folder: its film, and the run to fill in.

    Nothing in the pack can reach outside the folder; a pack with anything in it that packs do not have is
    refused whole. The run, saved with your readings, is your answer.
    """
    from measure_app.packs import unpack as unpacked

    with stop_flag() as stopped:
        made = unpacked(pack, out, share=share, stop_requested=stopped)
    say(
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


@click.command(cls=SpokenCommand)
@click.argument("folder", type=FILE)
@option("--key", type=FILE, required=True, help="The teacher's run, best with its film beside it.")
@option("--out", type=FILE, required=True, help="Folder for the results; an earlier one is replaced.")
@option("--criteria", type=FILE, help="TOML file that says what counts for the marks.")
@option("--anonymous", is_flag=True, help="Numbers in place of names and file names.")
@option("--dask", metavar="ADDRESS", help="Read the answers on a running cluster (clepsydra[dask]).")
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
    with stop_flag() as stopped, shown_progress(said("Working")) as progress:
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
    click.echo(told(result, str(out), files, encoding()))
    return 0
