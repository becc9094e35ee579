"""Runs held against each other."""

from __future__ import annotations

from pathlib import Path

import click

from measure_app.cli.group import FILE, Bounded, option
from measure_app.cli.terminal import encoding, shown_progress, stop_flag
from measure_app.spoken_help import SpokenCommand
from measure_app.words import said


@click.command(cls=SpokenCommand)
@click.argument("runs", type=FILE, nargs=-1, required=True)
@option("--out", type=FILE, required=True, help="Folder for the results; an earlier one is replaced.")
@option("--same", help="Words, with commas: only sources so named are common to all runs.")
@option("--apart", help="Words, with commas: sources so named are each run's own.")
@option("--hole", type=Bounded(0.1, 500.0), multiple=True, help="Each run's hole, mm, in their order.")
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
    with stop_flag() as stopped, shown_progress(said("Reading the films")) as progress:
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
    click.echo(told(result, str(out), files, encoding()))
    return 0


def _words(listed: str) -> tuple[str, ...]:
    return tuple(word for word in (each.strip() for each in listed.split(",")) if word)
