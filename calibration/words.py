"""Sentences in the reader's language: here only the place where a speaker is set.

English is spoken until a speaker is set; who joins the packages sets one before anything is said. Templates
are `str.format` templates with named fields, so that a translation may put the values in its own order.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

__all__ = ["PlainEnglish", "Speaker", "counted", "marked", "numeral", "said", "speak_by"]


class Speaker(Protocol):
    """Who puts templates into a language."""

    def said(self, template: str, values: Mapping[str, object]) -> str:
        """Translate a template and fill in its values."""

    def counted(self, one: str, many: str, count: int, values: Mapping[str, object]) -> str:
        """Choose between the forms for a count, translate and fill in; `count` may be a field."""

    def numeral(self, digits: str) -> str:
        """Write a number that is ready but for the decimal mark."""


class PlainEnglish:
    """The language that everything is written in."""

    def said(self, template: str, values: Mapping[str, object]) -> str:
        """Fill in the values."""
        return template.format_map(values) if values else template

    def counted(self, one: str, many: str, count: int, values: Mapping[str, object]) -> str:
        """Choose the singular for one alone."""
        return (one if count == 1 else many).format_map({"count": count, **values})

    def numeral(self, digits: str) -> str:
        """Leave the decimal point."""
        return digits


_speaker: Speaker = PlainEnglish()


def speak_by(speaker: Speaker) -> None:
    """Let `speaker` say everything from now on; to be called once, before anything is said."""
    global _speaker  # noqa: PLW0603 - the language of a process is one, as its locale is
    _speaker = speaker


def said(template: str, /, **values: object) -> str:
    """Say a template in the reader's language; numbers in it take the reader's decimal mark.

    Parameters
    ----------
    template : str
        English text; with values it is a `str.format` template with named fields.
    **values
        What stands in the fields.
    """
    return _speaker.said(template, values)


def counted(one: str, many: str, /, count: int, **values: object) -> str:
    """Say how many in the reader's language: ``counted("one frame", "{count} frames", n)``."""
    return _speaker.counted(one, many, count, values)


def numeral(digits: str) -> str:
    """Give a number that is ready (``"0.971"``) the reader's decimal mark."""
    return _speaker.numeral(digits)


def marked(text: str) -> str:
    """Mark a text for translation where it is written; it is said where it is shown."""
    return text
