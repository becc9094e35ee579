"""The commands. Each imports what it needs when it runs, so that help comes at once."""

from __future__ import annotations

import json
from pathlib import Path

import click

from measure_app._version import __version__


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="clepsydra %(version)s")
def commands() -> None:
    """Measure a filmed draining container: head, throw and time from every frame, and the physics they hold."""


@commands.command()
def schema() -> None:
    """Print the JSON Schema of run files."""
    from measure_app.runfile import run_schema

    click.echo(json.dumps(run_schema(), indent=1, ensure_ascii=True))
