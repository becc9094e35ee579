"""The JSON Schemas of our files."""

from __future__ import annotations

import json

import click

from measure_app.spoken_help import SpokenCommand


@click.command(cls=SpokenCommand)
@click.argument("what", type=click.Choice(["run", "findings"]), default="run")
def schema(what: str) -> None:
    """Print the JSON Schema of run files, or of the findings.json that results hold."""
    from measure_app.report import findings_schema
    from measure_app.runfile import run_schema

    tree = findings_schema() if what == "findings" else run_schema()
    click.echo(json.dumps(tree, indent=1, ensure_ascii=True))
