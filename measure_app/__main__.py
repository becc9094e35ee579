"""The console command; `python -m measure_app` does the same."""

from __future__ import annotations

import sys

SERVE = "decode-for-window"
"""Alone on the command line it makes the program a decoder: so a bundle's window starts itself again."""
INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells expect it (128 + SIGINT)."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit status.

    Parameters
    ----------
    arguments : list of str, optional
        What stands after the program's name; None: taken from the process.

    Returns
    -------
    int
        0: done; 1: it ran, but nothing could be found; 2: bad input; 130: stopped by Ctrl-C.
    """
    if (sys.argv[1:] if arguments is None else arguments) == [SERVE]:
        from measure_app.decoder import serving

        serving.serve()
    import click

    from measure_app.cli import commands
    from measure_app.errors import AppError, Stopped
    from measure_app.words import readers_language, said, use_language

    use_language(readers_language())  # unless --language says otherwise
    try:
        status = commands.main(args=arguments, prog_name="clepsydra", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt, Stopped):
        click.echo("clepsydra: " + said("stopped; nothing was written"), err=True)
        return INTERRUPTED
    except AppError as error:
        click.echo(f"clepsydra: {error}", err=True)
        return 2
    except SystemExit:
        # click leaves so when the reader of our output has gone, as `| head` does: no failure of ours.
        return 0
    return status if isinstance(status, int) else 0


if __name__ == "__main__":
    sys.exit(main())
