"""The command that opens the window."""

from __future__ import annotations

import contextlib
from pathlib import Path

import click

from measure_app.cli.group import FILE
from measure_app.spoken_help import SpokenCommand


@click.command(name="open", cls=SpokenCommand)
@click.argument("file", type=FILE, required=False)
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
