"""The group of all commands, and the kinds of values that their options take."""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path
from typing import Any

import click

from measure_app._version import __version__
from measure_app.spoken_help import SpokenGroup, SpokenOption, speak_in_click
from measure_app.words import languages, said, use_language

NOTHING_FOUND = 1
"""Exit status of a command that ran but found nothing."""

speak_in_click()
FILE = click.Path(path_type=Path)
option = partial(click.option, cls=SpokenOption)


class Bounded(click.FloatRange):
    """A finite number within bounds; "nan" passes every comparison, so it is asked for by name."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read a number, for click."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(said("{value} is not a finite number.", value=value), param, ctx)
        return number


LENGTH = Bounded(min=0.0, min_open=True, max=1000.0)
LENGTH_U = Bounded(min=0.0, min_open=True, max=1000.0)
AREA = Bounded(min=0.0, min_open=True, max=1e6)
no_report_option = option(
    "--no-report", is_flag=True, help="Leave out workbooks and report, which is quicker."
)


def _speak(_ctx: click.Context, _param: click.Parameter, code: str | None) -> None:
    if code is not None:
        use_language(code)


@click.group(
    cls=SpokenGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(
    __version__, cls=SpokenOption, message="clepsydra %(version)s", help="Show the version and exit."
)
@option(
    "--language",
    type=click.Choice(languages()),
    metavar="CODE",
    expose_value=False,
    is_eager=True,
    callback=_speak,
    help="Language of everything that is said: en or de; the system's own if not given.",
)
def clepsydra() -> None:
    """Measure a filmed draining container.

    Head, throw and time from every frame, and the physics that they hold.
    """
