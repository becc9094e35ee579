"""The renderer's command: ``python -m sample_clips render NAME|all|--seed N --out DIR``."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import click

from sample_clips.hazard_kinds import HAZARDS
from sample_clips.pipette import with_pipette
from sample_clips.random_scenes import DIFFICULTIES, random_scene
from sample_clips.render import render_scene
from sample_clips.scene import Scene
from sample_clips.shipped import SHIPPED, shipped_scene

_HERE = Path(__file__).parent


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Draw films of a draining cylinder whose every truth is known.

    A scene becomes four files: the clip (NAME.mp4), a run file set up as a careful person would
    (NAME.run.json), the
    truth for every frame (NAME.truth.json) and a picture (NAME.png). The same scene gives the same frames
    each time.
    """


@main.command("list")
def list_scenes() -> None:
    """Name the shipped scenes and say what they are."""
    for name in sorted(SHIPPED):
        scene = shipped_scene(name)
        click.echo(f"{name:8} {scene.notebook.title}; {len(scene.timing.ticks)} frames")


@main.command("hazards")
def list_hazards() -> None:
    """Name the hazards of random scenes and say what each is."""
    for name, kind in HAZARDS.items():
        click.echo(f"{name:12} {kind}")


@main.command()
@click.argument("name", required=False, metavar="[NAME|all]")
@click.option(
    "--seed",
    "seeds",
    type=click.IntRange(min=0),
    multiple=True,
    metavar="N",
    help="Draw the random scene of this seed; may be given more than once.",
)
@click.option(
    "--difficulty",
    type=click.Choice(DIFFICULTIES),
    default="clean",
    show_default=True,
    help="How hard a random scene is to measure.",
)
@click.option(
    "--hazard",
    "hazards",
    multiple=True,
    metavar="NAME[:STRENGTH]",
    help="Something that goes wrong in the random scene; may be given more than once. `hazards` lists them.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=None,
    metavar="DIR",
    help="Folder for the files. Left out: each shipped scene goes to its own folder in this package.",
)
@click.option(
    "--pipette",
    is_flag=True,
    help="Let drops go beside the container, one after the other, to time their fall.",
)
@click.option("--picture/--no-picture", default=True, show_default=True, help="Write the still picture too.")
def render(
    name: str | None,
    seeds: tuple[int, ...],
    difficulty: str,
    hazards: tuple[str, ...],
    out: Path | None,
    pipette: bool,
    picture: bool,
) -> None:
    """Render a shipped scene by NAME, `all` of them, or random scenes by --seed."""
    if (name is None) == (not seeds):
        raise click.UsageError(f"name a scene ({', '.join(sorted(SHIPPED))} or all), or give --seed N")
    if hazards and not seeds:
        raise click.UsageError("hazards belong to random scenes; give --seed N")
    if seeds and out is None:
        raise click.UsageError("a random scene needs --out DIR")
    if name is not None and name != "all" and name not in SHIPPED:
        raise click.UsageError(f"there is no scene {name!r}; choose one of {', '.join(sorted(SHIPPED))}, all")
    if name is None:
        try:
            scenes = [random_scene(seed, difficulty, hazards=hazards) for seed in seeds]
        except ValueError as error:
            raise click.UsageError(str(error)) from None
    else:
        scenes = [shipped_scene(n) for n in (sorted(SHIPPED) if name == "all" else [name])]
    if pipette and out is None:
        raise click.UsageError("drops make another film; give --out DIR, so that the shipped one stays")
    for scene in map(with_pipette, scenes) if pipette else scenes:
        _render(scene, out if out is not None else _HERE / scene.name, picture=picture)


def _render(scene: Scene, folder: Path, *, picture: bool) -> None:
    live = sys.stderr.isatty()

    def progress(done: int, total: int) -> None:
        if live and (done % 10 == 0 or done == total):
            click.echo(f"\r{scene.name}: frame {done} of {total}", nl=done == total, err=True)

    start = time.perf_counter()
    files = render_scene(scene, folder, picture=picture, progress=progress)
    took, size = time.perf_counter() - start, files.clip.stat().st_size / 1e6
    click.echo(f"{files.clip}: {len(scene.timing.ticks)} frames, {size:.2f} MB, {took:.0f} s")


if __name__ == "__main__":
    main(prog_name="python -m sample_clips")
