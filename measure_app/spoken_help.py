"""Help and usage errors of the command line in the reader's language.

Help stands in docstrings and options, which are read before the language is known; it is said when shown.
"""

from __future__ import annotations

import inspect
from typing import Any

import click
import click.core
import click.exceptions
import click.formatting
import click.parser
import click.types

from measure_app.words import marked, said

__all__ = ["SpokenCommand", "SpokenGroup", "SpokenOption", "speak_in_click"]

_HELP_OF_HELP = marked("Show this message and exit.")
_OF_CLICK = (
    marked("Usage:"),
    marked("Options"),
    marked("Commands"),
    marked("required"),
    marked("Error: {message}"),
    marked("Try '{command} {option}' for help."),
    marked("Invalid value: {message}"),
    marked("Invalid value for {param_hint}: {message}"),
    marked("Missing argument"),
    marked("Missing option"),
    marked("Missing command."),
    marked("Choose from:\n\t{choices}"),
    marked("No such option {name!r}."),
    marked("No such command {name!r}."),
    marked("Did you mean {possibility}?"),
    marked("(Did you mean one of: {possibilities}?)"),
    marked("Got unexpected extra argument ({args})"),
    marked("Got unexpected extra arguments ({args})"),
    marked("Option {name!r} requires an argument."),
    marked("Option {name!r} requires {nargs} arguments."),
    marked("{value!r} is not a valid {number_type}."),
    marked("{value} is not in the range {range}."),
    marked("{value!r} is not {choice}."),
    marked("{value!r} is not one of {choices}."),
)
"""Texts of click that a user of ours can meet, as click has them."""


class SpokenOption(click.Option):
    """An option whose help is in the reader's language."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        """Give names and help."""
        record = super().get_help_record(ctx)
        if record is None or not self.help:
            return record
        names, words = record
        return names, said(self.help) + words[len(self.help) :]


class SpokenCommand(click.Command):
    """A command whose help is in the reader's language."""

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help."""
        _spoken(self).format_help_text(ctx, formatter)

    def get_short_help_str(self, limit: int = 45) -> str:
        """Give the first sentence of the help, as far as there is room."""
        return _spoken(self).get_short_help_str(limit)

    def get_help_option(self, ctx: click.Context) -> click.Option | None:
        """Give the option that shows the help."""
        return _spoken_help_option(super().get_help_option(ctx))


class SpokenGroup(click.Group):
    """A group of commands whose help is in the reader's language."""

    command_class = SpokenCommand

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help."""
        _spoken(self).format_help_text(ctx, formatter)

    def get_help_option(self, ctx: click.Context) -> click.Option | None:
        """Give the option that shows the help."""
        return _spoken_help_option(super().get_help_option(ctx))


def _spoken(command: click.Command) -> click.Command:
    """Give a command that says what this one says, in the reader's language."""
    return click.Command(command.name, help=said(inspect.cleandoc(command.help or "")))


def _spoken_help_option(option: click.Option | None) -> click.Option | None:
    if option is not None:
        option.help = said(_HELP_OF_HELP)  # anew each time: it is kept, the language may have changed
    return option


def speak_in_click() -> None:
    """Let click take its own words from our catalogue instead of one that nobody ships."""

    def one_or_many(one: str, many: str, count: int) -> str:
        return said(one if count == 1 else many)

    # click fetches them by these names and has no setting for it. English stays what click says.
    ours: dict[str, Any] = {"_": said, "ngettext": one_or_many}
    for module in (click.core, click.exceptions, click.formatting, click.parser, click.types):
        for name, says in ours.items():
            if hasattr(module, name):
                setattr(module, name, says)
